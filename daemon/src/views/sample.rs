//! A made history for tests: the simulated shelf over three days with a power cut, its readings stored, its alarms
//! raised by a core, and the snapshot at its end.
use crate::history::{AlarmRecord, Batch, HistoricReading, KeeperNote, Reader, Store};
use crate::shelf_file::{ShelfFile, check_text};
use crate::snapshot::{Snapshot, StandingAlarm, Vitals};
use crate::views::hours::Hours;
use dashboards::say::{Language, spoken};
use enclosure::reading::Unit;
use enclosure::{Core, Effect, Input, Measured, Reading, Span, Timestamp};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, OnceLock};
use world::{Band, Fault, FaultKind, Value, World, WorldSpec, shelf_toml};

/// 2026-03-01T00:00:00Z.
pub(crate) const START_S: f64 = 1_772_323_200.0;
/// Length of the made history, s.
pub(crate) const LENGTH_S: f64 = 3.0 * 86_400.0;
/// The power cut, hours from the start.
pub(crate) const CUT_H: (f64, f64) = (30.0, 33.0);

pub(crate) struct Made {
    pub(crate) dir: tempfile::TempDir,
    pub(crate) file: ShelfFile,
    pub(crate) snapshot: Snapshot,
    pub(crate) end: Timestamp,
}

impl Made {
    pub(crate) fn history(&self) -> PathBuf {
        self.file.history.path.clone()
    }

    pub(crate) fn reader(&self) -> Reader {
        Reader::open(&self.history()).unwrap()
    }
}

pub(crate) fn at_h(h: f64) -> Timestamp {
    Timestamp::from_unix_s(START_S + h * 3600.0).unwrap()
}

pub(crate) fn utc() -> Hours {
    Hours::new(TimeZone::UTC)
}

/// The made history; the same for all tests of a run, which only read it, but for the language of what it says.
pub(crate) fn made() -> &'static Made {
    static MADE: [OnceLock<Made>; 2] = [OnceLock::new(), OnceLock::new()];
    MADE[usize::from(spoken() == Language::Marked)].get_or_init(|| {
        let mut spec = WorldSpec::demo(START_S);
        spec.settle_s = 6.0 * 3600.0;
        spec.faults.push(Fault::new(FaultKind::PowerCut, 0, at_h(CUT_H.0).unix_s()).until(at_h(CUT_H.1).unix_s()));
        spec.faults.push(Fault::new(FaultKind::StuckOn, 0, START_S + LENGTH_S - 3.0 * 3600.0));
        make(&spec)
    })
}

fn make(spec: &WorldSpec) -> Made {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().canonicalize().unwrap().join("shelf.toml");
    let (file, _) = check_text(&shelf_toml("study", spec, Band::default()), &path, std::iter::empty()).unwrap();
    let mut store = Store::open(&file.history.path, at_h(0.0)).unwrap().store;
    let mut core = Core::new(file.shelf.clone());
    let mut world = World::new(spec, 7);
    let mut details = BTreeMap::new();
    for hour in 1..=(LENGTH_S / 3600.0) as i32 {
        let mut batch = Batch::default();
        for sample in world.advance(START_S + f64::from(hour) * 3600.0) {
            let Some(source) = core.source(&sample.source()) else { continue };
            let measured = match sample.value {
                Value::Number(v) => Measured::new(Unit::from_senml(sample.unit).unwrap(), v),
                Value::Bool(on) => Ok(Measured::On(on)),
            };
            let Ok(measured) = measured else { continue };
            let at = Timestamp::from_unix_s(sample.t).unwrap();
            let source_name: Arc<str> = sample.source().into();
            batch.readings.push(HistoricReading { source: source_name, at, measured, rejection: None });
            while let Some(wake) = core.wake_at().filter(|w| *w <= at) {
                changes(&core.step(wake, Input::Wake).clone(), (&file, core.sources()), &mut batch, &mut details);
            }
            let effects = core.step(at, Input::Reading(Reading { source, at, measured }));
            changes(&effects, (&file, core.sources()), &mut batch, &mut details);
        }
        for outcome in store.commit(&[batch]).unwrap() {
            outcome.unwrap();
        }
    }
    let note = |h: f64, kind: &str, at_mm, text: &str| KeeperNote {
        at: at_h(h),
        nest: Some("oak".to_owned()),
        at_mm,
        kind: kind.to_owned(),
        text: text.to_owned(),
    };
    let notes = vec![note(20.0, "brood", Some(62.0), "two heaps & <eggs>"), note(44.0, "refilled", None, "")];
    store.commit(&[Batch { notes, ..Batch::default() }]).unwrap();
    let end = Timestamp::from_unix_s(START_S + LENGTH_S).unwrap();
    let snapshot = snapshot(&core, &file, end, &details);
    Made { dir, file, snapshot, end }
}

type Details = BTreeMap<enclosure::AlarmKey, String>;

fn changes(effects: &[Effect], (file, sources): (&ShelfFile, &[String]), batch: &mut Batch, details: &mut Details) {
    for effect in effects {
        if let Effect::Alarm(change) = effect {
            let record = AlarmRecord::of(change, &file.shelf, sources);
            if record.event == enclosure::Event::Raised {
                details.insert(change.key.clone(), record.detail.clone());
            }
            batch.changes.push(record);
        }
    }
}

fn snapshot(core: &Core, file: &ShelfFile, at: Timestamp, details: &Details) -> Snapshot {
    let alarms = core.alarms().filter(|(_, state, _, _)| *state != enclosure::State::Normal);
    let alarms = alarms.map(|(key, state, since, cause)| StandingAlarm {
        key: key.clone(),
        state,
        since,
        raised: core.raised_at(key),
        detail: details.get(key).cloned().unwrap_or_default(),
        cause,
        until: core.silent_until(key),
    });
    Snapshot {
        at,
        started: at.minus(Span::from_h(72)),
        shelf: Arc::new(file.shelf.clone()),
        sources: core.sources().into(),
        nests: (0..file.shelf.nests.len()).filter_map(|i| core.nest(i, at)).collect(),
        alarms: alarms.collect(),
        strangers: vec![("attic-node:<b>".to_owned(), "21.5 °C".to_owned(), at.minus(Span::from_s(20)))],
        links: BTreeMap::from([("oak-node".to_owned(), true)]),
        nodes: BTreeMap::new(),
        heat: Vec::new(),
        vitals: Vitals { judged: Some(at), readings: 40_000, stored: 39_990, messages: 9_000, ..Vitals::default() },
    }
}

/// A snapshot of the same shelf before anything was heard.
pub(crate) fn silent() -> Snapshot {
    let made = made();
    let core = Core::new(made.file.shelf.clone());
    Snapshot {
        started: made.end,
        vitals: Vitals::default(),
        strangers: Vec::new(),
        ..snapshot(&core, &made.file, made.end, &Details::new())
    }
}
