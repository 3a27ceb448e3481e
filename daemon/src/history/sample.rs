//! What the tests of history share: a directory, a clock that stands still, readings by formula.
use super::{AlarmRecord, Batch, HistoricReading, HistoryError, Monotonic, PackSeen, Reader, Store};
use enclosure::{Alarm, Event, Measured, Rejection, State, Timestamp};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// 2026-01-05T00:00:00Z, a Monday; the start of a UTC day.
pub(crate) const START_S: i64 = 1_767_571_200;
pub(crate) const DAY_S: i64 = 86_400;

pub(crate) fn at(s: i64) -> Timestamp {
    Timestamp::from_unix_ms((START_S + s) * 1000)
}

pub(crate) fn ever() -> std::ops::Range<Timestamp> {
    Timestamp::from_unix_ms(i64::MIN)..Timestamp::from_unix_ms(i64::MAX)
}

pub(crate) struct Place {
    _dir: tempfile::TempDir,
    pub(crate) path: PathBuf,
}

impl Place {
    pub(crate) fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().canonicalize().unwrap().join("warmend.db");
        Self { _dir: dir, path }
    }

    pub(crate) fn open(&self) -> Store {
        open(&self.path)
    }

    pub(crate) fn reader(&self) -> Reader {
        Reader::open(&self.path).unwrap()
    }

    pub(crate) fn readings(&self) -> Vec<HistoricReading> {
        self.reader().readings(None, ever()).unwrap()
    }
}

/// Opens a history that must be sound.
pub(crate) fn open(path: &Path) -> Store {
    let held = |error: &HistoryError| matches!(error, HistoryError::InUse { .. });
    let opened = once_free(held, || Store::open(path, at(0))).unwrap();
    assert_eq!(opened.report.damaged, None);
    opened.store
}

/// Does what needs the lock of a history that nobody should hold: a child that another test is just starting holds
/// copies of our files for a moment, and with them the lock.
pub(crate) fn once_free<T, E>(held: impl Fn(&E) -> bool, mut work: impl FnMut() -> Result<T, E>) -> Result<T, E> {
    for _ in 0..5_000 {
        match work() {
            Err(error) if held(&error) => std::thread::yield_now(),
            done => return done,
        }
    }
    work()
}

pub(crate) fn still() -> Monotonic {
    Arc::new(|| Duration::ZERO)
}

pub(crate) fn reading(source: &str, s: i64, c: f64) -> HistoricReading {
    HistoricReading { source: source.into(), at: at(s), measured: Measured::Temperature(c), rejection: None }
}

pub(crate) fn rejected(source: &str, s: i64, c: f64) -> HistoricReading {
    HistoricReading { rejection: Some(Rejection::Wild), ..reading(source, s, c) }
}

pub(crate) fn pack_seen(seq: u64) -> PackSeen {
    PackSeen { node: "oak-node".to_owned(), boot: 3, seq, from: Some(0) }
}

pub(crate) fn change(s: i64, alarm: Alarm, state: State) -> AlarmRecord {
    AlarmRecord {
        at: at(s),
        alarm,
        nest: Some("oak".to_owned()),
        probe: None,
        node: None,
        event: Event::Raised,
        state,
        detail: "expected 27.0 °C, seen 33.1 °C for 12 min".to_owned(),
        cause: None,
        told: true,
    }
}

/// The `i`-th pack of a node with four probes, ten minutes after the one before; its readings name it.
pub(crate) fn numbered(i: u64) -> Batch {
    let s = i64::try_from(i).unwrap() * 600;
    let readings = (0..4).map(|k| reading(&format!("oak-node:p{k}"), s, i as f64 % 100.0 + f64::from(k) / 100.0));
    Batch { readings: readings.collect(), packs: vec![pack_seen(i)], ..Batch::default() }
}

/// Which numbered packs are there; each must be whole.
#[track_caller]
pub(crate) fn numbers(readings: &[HistoricReading]) -> Vec<u64> {
    let four: Vec<&[HistoricReading]> = readings.chunk_by(|a, b| a.at == b.at).collect();
    let number = |pack: &&[HistoricReading]| {
        let i = u64::try_from((pack[0].at.unix_ms() / 1000 - START_S) / 600).unwrap();
        assert_eq!(pack.to_vec(), numbered(i).readings, "pack {i} is not whole");
        i
    };
    four.iter().map(number).collect()
}
