//! The writer's side of the file: batches go in as a whole or not at all.
use super::errors::{HistoryError, Step, WriteError};
use super::fits;
use super::mirroring;
use super::receipts::{Receipt, Receipts};
use super::rows;
use super::schema;
use super::seen::{Place, Seen};
use super::types::{Batch, HistoricReading, Quantity};
use rusqlite::{Connection, OpenFlags};
use std::collections::HashMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What became of a batch.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Committed {
    /// Readings that are on disk now and were not before.
    pub stored: u32,
    /// Readings that were there already.
    pub duplicates: u32,
    /// Readings refused because their series' day, or what waits to be packed, is full
    /// ([`super::SERIES_DAY_MAX`], [`super::HOT_READINGS_MAX`]).
    pub crowded: u32,
    /// Ids of the alarm changes, in the batch's order.
    pub change_ids: Vec<i64>,
    /// Receipts that are due to the nodes of the batch's packs.
    pub receipts: Vec<Receipt>,
}

/// The history, open for writing. One per file: a lock file sees to that.
#[derive(Debug)]
pub struct Store {
    pub(crate) conn: Connection,
    pub(crate) path: PathBuf,
    /// Held, not read: the lock ends with it.
    _lock: File,
    known: Known,
    file: FileId,
    #[cfg(test)]
    pub(crate) faults: super::faults::Faults,
}

/// What the store remembers so that it need not ask the file for each reading.
#[derive(Debug)]
struct Known {
    series: HashMap<(Arc<str>, Quantity), i64>,
    /// The number of the next reading in the order of arrival; a failed commit leaves a gap.
    next: i64,
    seen: Seen,
    receipts: Receipts,
}

/// What a commit under way has added to [`Known`]; taken back if it fails.
#[derive(Debug, Default)]
struct Added {
    series: Vec<(Arc<str>, Quantity)>,
    readings: Vec<(i64, i64)>,
}

/// Which file on which device, where the system tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct FileId(u64, u64);

impl Store {
    /// Takes over a connection to a sound file of the current version.
    pub(crate) fn over(path: PathBuf, conn: Connection, lock: File) -> rusqlite::Result<Self> {
        schema::prepare_writer(&conn)?;
        let known = Known::load(&conn)?;
        let file = FileId::of(&path).unwrap_or(FileId(0, 0));
        Ok(Self {
            conn,
            path,
            _lock: lock,
            known,
            file,
            #[cfg(test)]
            faults: super::faults::Faults::default(),
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// For each node the receipt of its newest start.
    pub fn standing_receipts(&self) -> Vec<Receipt> {
        self.known.receipts.standing()
    }

    /// Stores `batches` in one commit; each is stored as a whole or not at all.
    ///
    /// A batch that cannot be stored for its own sake ([`WriteError::Refused`]) leaves the others alone.
    ///
    /// # Errors
    /// [`WriteError`] where nothing at all was stored.
    pub fn commit(&mut self, batches: &[Batch]) -> Result<Vec<Result<Committed, WriteError>>, WriteError> {
        if FileId::of(&self.path) != Some(self.file) {
            let gone = HistoryError::Gone { path: self.path.clone() };
            return Err(WriteError::Failing { why: gone.to_string() });
        }
        let mut added = Added::default();
        let done = self.try_commit(batches, &mut added);
        done.map_err(|error| {
            self.known.take_back(&added, &Mark::default());
            WriteError::of_group(&error)
        })
    }

    fn try_commit(
        &mut self,
        batches: &[Batch],
        added: &mut Added,
    ) -> rusqlite::Result<Vec<Result<Committed, WriteError>>> {
        let mut receipts = self.known.receipts.clone();
        let mut tx = self.conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        let mut outcomes = Vec::with_capacity(batches.len());
        for batch in batches {
            let mark = added.mark();
            let savepoint = tx.savepoint()?;
            let work = Work {
                conn: &savepoint,
                known: &mut self.known,
                added,
                #[cfg(test)]
                faults: &self.faults,
            };
            match work.store(batch) {
                Ok(committed) => {
                    savepoint.commit()?;
                    for pack in &batch.packs {
                        receipts.seen(pack);
                    }
                    outcomes.push(Ok(committed));
                }
                Err(error) => {
                    let why = WriteError::of(&error);
                    if !matches!(why, WriteError::Refused { .. }) {
                        return Err(error);
                    }
                    drop(savepoint);
                    self.known.take_back(added, &mark);
                    added.cut(&mark);
                    outcomes.push(Err(why));
                }
            }
        }
        rows::store_receipts(&tx, &mut receipts)?;
        #[cfg(test)]
        self.faults.step()?;
        tx.commit()?;
        self.known.receipts = receipts;
        for (batch, outcome) in batches.iter().zip(&mut outcomes) {
            if let Ok(committed) = outcome {
                committed.receipts = self.known.receipts_due(batch);
            }
        }
        Ok(outcomes)
    }

    /// Opens the file anew after a failure; what was known of it is read again.
    ///
    /// # Errors
    /// [`HistoryError`] where it is gone, or no longer what it was.
    pub fn reopen(&mut self) -> Result<(), HistoryError> {
        let sql = |source| HistoryError::Sql { doing: Step::OpeningAgain, source };
        let file = FileId::of(&self.path).ok_or_else(|| HistoryError::Gone { path: self.path.clone() })?;
        let conn = Connection::open_with_flags(&self.path, OpenFlags::SQLITE_OPEN_READ_WRITE).map_err(sql)?;
        if schema::version(&conn).map_err(sql)? != schema::VERSION || schema::is_foreign(&conn).map_err(sql)? {
            return Err(HistoryError::Foreign { path: self.path.clone() });
        }
        schema::prepare_writer(&conn).map_err(sql)?;
        self.known = Known::load(&conn).map_err(sql)?;
        self.conn = conn;
        self.file = file;
        Ok(())
    }

    pub(crate) fn forget_before(&mut self, day: i64) {
        self.known.seen.forget_before(day);
    }
}

/// One batch on its way in.
struct Work<'a> {
    conn: &'a Connection,
    known: &'a mut Known,
    added: &'a mut Added,
    #[cfg(test)]
    faults: &'a super::faults::Faults,
}

impl Work<'_> {
    #[cfg_attr(not(test), expect(clippy::unused_self, reason = "counts writes where a test makes the n-th fail"))]
    fn step(&self) -> rusqlite::Result<()> {
        #[cfg(test)]
        self.faults.step()?;
        Ok(())
    }

    fn store(mut self, batch: &Batch) -> rusqlite::Result<Committed> {
        let mut committed = Committed::default();
        for reading in &batch.readings {
            self.step()?;
            let count = match self.store_reading(reading)? {
                Place::New => &mut committed.stored,
                Place::Again => &mut committed.duplicates,
                Place::Crowded => &mut committed.crowded,
            };
            *count += 1;
        }
        for disbelief in &batch.disbeliefs {
            self.step()?;
            let key = (Arc::clone(&disbelief.source), Quantity::Temperature);
            if let Some(series) = self.known.series.get(&key) {
                rows::disbelieve(self.conn, *series, disbelief)?;
            }
        }
        for change in &batch.changes {
            self.step()?;
            committed.change_ids.push(rows::insert_change(self.conn, change)?);
        }
        for note in &batch.notes {
            self.step()?;
            rows::insert_note(self.conn, note)?;
        }
        for delivery in &batch.deliveries {
            self.step()?;
            rows::insert_delivery(self.conn, delivery)?;
        }
        for gap in &batch.gaps {
            self.step()?;
            rows::insert_gap(self.conn, gap)?;
        }
        for fit in &batch.fits {
            self.step()?;
            fits::store(self.conn, fit)?;
        }
        for lines in &batch.mirror_lines {
            self.step()?;
            mirroring::store_lines(self.conn, lines)?;
        }
        if let Some(news) = &batch.mirror {
            self.step()?;
            mirroring::store(self.conn, news)?;
        }
        if let Some(settings) = &batch.settings {
            self.step()?;
            rows::insert_settings(self.conn, settings)?;
        }
        for (name, value) in &batch.facts {
            self.step()?;
            rows::set_fact(self.conn, name, value)?;
        }
        Ok(committed)
    }

    fn store_reading(&mut self, reading: &HistoricReading) -> rusqlite::Result<Place> {
        let key = (Arc::clone(&reading.source), reading.value().0);
        let series = match self.known.series.get(&key) {
            Some(series) => *series,
            None => {
                let series = rows::insert_series(self.conn, &reading.source, key.1)?;
                self.known.series.insert(key.clone(), series);
                self.added.series.push(key);
                series
            }
        };
        let t_ms = reading.at.unix_ms();
        let place = self.known.seen.add(self.conn, series, t_ms)?;
        if place == Place::New {
            self.added.readings.push((series, t_ms));
            rows::insert_reading(self.conn, self.known.next, series, reading)?;
            self.known.next += 1;
        }
        Ok(place)
    }
}

impl Known {
    fn load(conn: &Connection) -> rusqlite::Result<Self> {
        let series = rows::all_series(conn)?;
        Ok(Self {
            series: series.into_iter().map(|(id, source, quantity)| ((source.into(), quantity), id)).collect(),
            next: mirroring::next_number(conn)?,
            seen: Seen::load(conn)?,
            receipts: rows::load_receipts(conn)?,
        })
    }

    /// Takes back everything in `added` past `mark`.
    fn take_back(&mut self, added: &Added, mark: &Mark) {
        for (series, t_ms) in added.readings.iter().skip(mark.readings) {
            self.seen.remove(*series, *t_ms);
        }
        for key in added.series.iter().skip(mark.series) {
            self.series.remove(key);
        }
    }

    fn receipts_due(&self, batch: &Batch) -> Vec<Receipt> {
        let mut due: Vec<Receipt> = Vec::new();
        for receipt in batch.packs.iter().filter_map(|pack| self.receipts.of(&pack.node, pack.boot)) {
            if !due.contains(&receipt) {
                due.push(receipt);
            }
        }
        due
    }
}

/// How far [`Added`] had come.
#[derive(Clone, Copy, Debug, Default)]
struct Mark {
    series: usize,
    readings: usize,
}

impl Added {
    fn mark(&self) -> Mark {
        Mark { series: self.series.len(), readings: self.readings.len() }
    }

    fn cut(&mut self, mark: &Mark) {
        self.series.truncate(mark.series);
        self.readings.truncate(mark.readings);
    }
}

impl FileId {
    #[cfg(unix)]
    fn of(path: &Path) -> Option<Self> {
        use std::os::unix::fs::MetadataExt as _;
        std::fs::metadata(path).ok().map(|file| Self(file.dev(), file.ino()))
    }

    #[cfg(not(unix))]
    fn of(path: &Path) -> Option<Self> {
        path.exists().then_some(Self(0, 0))
    }
}

#[cfg(test)]
mod tests {
    use crate::history::sample::{Place, at, change, numbered, numbers, pack_seen, reading, rejected};
    use crate::history::{Batch, Disbelief, HistoricReading, Quantity, WriteError};
    use enclosure::{Alarm, Measured, Rejection, State};

    #[test]
    fn a_reading_is_stored_once_per_source_quantity_and_millisecond() {
        let place = Place::new();
        let mut store = place.open();
        let humid = HistoricReading { measured: Measured::Humidity(61.5), ..reading("oak-node:warm", 10, 0.0) };
        let first = reading("oak-node:warm", 10, 27.25);
        let again = rejected("oak-node:warm", 10, 29.0);
        let other = reading("oak-node:cool", 10, 22.0);
        let batch = |readings: &[&HistoricReading]| Batch {
            readings: readings.iter().map(|r| (*r).clone()).collect(),
            ..Batch::default()
        };
        let outcomes = store.commit(&[batch(&[&first, &humid, &again]), batch(&[&first, &other])]).unwrap();
        let counts: Vec<_> = outcomes.into_iter().map(Result::unwrap).map(|c| (c.stored, c.duplicates)).collect();
        assert_eq!(counts, [(2, 1), (1, 1)]);
        drop(store);
        let again = place.open().commit(&[batch(&[&first, &humid, &other])]).unwrap().remove(0).unwrap();
        assert_eq!((again.stored, again.duplicates), (0, 3), "known after a restart too");
        let found: Vec<_> = place.readings().into_iter().map(|r| (r.source.to_string(), r.measured)).collect();
        assert_eq!(found.len(), 3);
        assert!(found.contains(&("oak-node:warm".to_owned(), first.measured)), "the first one stays: {found:?}");
    }

    #[test]
    fn a_pack_is_answered_after_its_commit_and_again_after_a_restart() {
        let place = Place::new();
        let mut store = place.open();
        let upto = |outcome: &Result<super::Committed, WriteError>| outcome.as_ref().unwrap().receipts[0].upto;
        let outcomes = store.commit(&[numbered(0), numbered(1)]).unwrap();
        assert_eq!(outcomes.iter().map(upto).collect::<Vec<_>>(), [1, 1]);
        // A pack whose records were all refused: counted elsewhere, covered here.
        let refused = Batch { packs: vec![pack_seen(2)], ..Batch::default() };
        store.commit(&[refused, numbered(4)]).unwrap();
        drop(store);
        let mut store = place.open();
        assert_eq!(place.reader().receipts().unwrap(), store.standing_receipts());
        let outcomes = store.commit(&[numbered(1), numbered(3)]).unwrap();
        assert_eq!(outcomes.iter().map(upto).collect::<Vec<_>>(), [4, 4]);
        assert_eq!(outcomes[0].as_ref().unwrap().duplicates, 4);
        assert_eq!(numbers(&place.readings()), [0, 1, 3, 4]);
    }

    #[test]
    fn alarms_stand_as_they_were_last() {
        let place = Place::new();
        let mut store = place.open();
        let hot = change(0, Alarm::BroodHot, State::Unacknowledged);
        let stuck = change(5, Alarm::HeaterStuckOn, State::Unacknowledged);
        let calm = change(9, Alarm::BroodHot, State::Normal);
        let batch = Batch { changes: vec![hot.clone(), stuck.clone(), calm.clone()], ..Batch::default() };
        let ids = store.commit(&[batch]).unwrap().remove(0).unwrap().change_ids;
        assert_eq!(ids.len(), 3);
        let standing = place.reader().standing_alarms().unwrap();
        assert_eq!(standing.latest, [(ids[1], stuck), (ids[2], calm)]);
        assert_eq!(standing.unreadable, 0);
        let all = place.reader().alarm_changes(at(0)..at(5)).unwrap();
        assert_eq!(all, [(ids[0], hot)]);
    }

    #[test]
    fn a_reading_of_an_earlier_batch_can_be_disbelieved_later() {
        let place = Place::new();
        let mut store = place.open();
        let humid = HistoricReading { measured: Measured::Humidity(61.5), ..reading("oak-node:warm", 10, 0.0) };
        let early = [reading("oak-node:warm", 10, 85.0), humid, reading("oak-node:warm", 70, 27.0)];
        store.commit(&[Batch { readings: early.to_vec(), ..Batch::default() }]).unwrap();
        let doubt = |source: &str, s| Disbelief { source: source.into(), at: at(s), why: Rejection::Wild };
        let disbeliefs = vec![doubt("oak-node:warm", 10), doubt("oak-node:warm", 11), doubt("nobody:x", 10)];
        store.commit(&[Batch { disbeliefs, ..Batch::default() }]).unwrap();
        let found: Vec<_> = place.readings().into_iter().map(|r| (r.value().0, r.rejection)).collect();
        assert_eq!(found.iter().filter(|(_, why)| why.is_some()).count(), 1);
        assert!(found.contains(&(Quantity::Temperature, Some(Rejection::Wild))), "{found:?}");
    }

    #[cfg(unix)]
    #[test]
    fn a_file_that_was_moved_away_is_no_place_to_write_to() {
        let place = Place::new();
        let mut store = place.open();
        store.commit(&[numbered(0)]).unwrap();
        let elsewhere = place.path.with_extension("moved");
        std::fs::rename(&place.path, &elsewhere).unwrap();
        let error = store.commit(&[numbered(1)]).unwrap_err();
        assert!(error.to_string().contains("was moved, deleted or replaced"), "{error}");
        std::fs::rename(&elsewhere, &place.path).unwrap();
        store.commit(&[numbered(1)]).unwrap();
        assert_eq!(numbers(&place.readings()), [0, 1]);
    }
}
