//! The whole history as one file, while the daemon goes on; and that file in the history's place again.
use super::errors::{FileStep, HistoryError, Step};
use super::open::{check, free_name, lock, settle};
use super::read::Reader;
use super::schema;
use crate::whole_file::{Part, Readers, beside};
use dashboards::say;
use enclosure::Timestamp;
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};

/// What putting a backup back did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PutBack {
    /// Where the history lies that was there before, if one was.
    pub before: Option<PathBuf>,
}

impl Reader {
    /// Copies the whole history, as it stands at one moment, to the new file `to`; an existing file is left alone. The
    /// writer is not held up. The copy is on the device and looked through before it gets its name; who may not read the
    /// history may not read it.
    ///
    /// # Errors
    /// [`HistoryError`]; no file `to` exists then.
    pub fn backup(&self, to: &Path) -> Result<(), HistoryError> {
        if to.exists() {
            return Err(HistoryError::NameTaken { path: to.to_owned() });
        }
        copy_whole(self.path(), to, Readers::Of(self.path()))?.put()?;
        Ok(())
    }
}

/// Puts the backup at `backup` in the place of the history at `path`, which is kept beside it under another name.
///
/// A crash at any moment leaves either the one or the other in place, whole.
///
/// # Errors
/// [`HistoryError`]: in use, no backup, or out of reach. Nothing was changed then.
pub fn put_back(path: &Path, backup: &Path, now: Timestamp) -> Result<PutBack, HistoryError> {
    let path = settle(path)?;
    let held = lock(&path)?;
    look_through(backup)?;
    let readers = if path.exists() { Readers::AsBefore } else { Readers::Of(backup) };
    let part = copy_whole(backup, &path, readers)?;
    let before = keep(&path, now)?;
    part.put()?;
    drop(held);
    Ok(PutBack { before })
}

/// Gives the history that is there a second name. Its log is written into it first; a damaged one keeps its log beside.
fn keep(path: &Path, now: Timestamp) -> Result<Option<PathBuf>, HistoryError> {
    if !path.exists() {
        return Ok(None);
    }
    let name = free_name(path, "replaced", now);
    let folded = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE)
        .and_then(|conn| conn.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get::<_, i64>(0)));
    let error = |source| HistoryError::File { doing: FileStep::Keeping, path: name.clone(), source };
    let log = beside(path, "-wal");
    if folded != Ok(0) && log.exists() {
        std::fs::copy(&log, beside(&name, "-wal")).map_err(error)?;
    }
    // A second name costs nothing; where the file system knows none, a copy does.
    std::fs::hard_link(path, &name).or_else(|_| std::fs::copy(path, &name).map(drop)).map_err(error)?;
    for suffix in ["-wal", "-shm"] {
        match std::fs::remove_file(beside(path, suffix)) {
            Err(source) if source.kind() != std::io::ErrorKind::NotFound => return Err(error(source)),
            _ => {}
        }
    }
    Ok(Some(name))
}

/// Whether a file is a history that may take this one's place.
fn look_through(backup: &Path) -> Result<(), HistoryError> {
    let none = |why: String| HistoryError::NoBackup { path: backup.to_owned(), why };
    if !backup.is_file() {
        return Err(none(say!("failed-no-backup-missing")));
    }
    let looked = Connection::open_with_flags(backup, OpenFlags::SQLITE_OPEN_READ_ONLY).and_then(|conn| {
        let (foreign, version) = (schema::is_foreign(&conn)?, schema::version(&conn)?);
        Ok((foreign, version, check(&conn)?))
    });
    match looked.map_err(|error| none(error.to_string()))? {
        (true, ..) | (_, 0, _) => Err(none(say!("failed-no-backup-foreign"))),
        (_, found, _) if found > schema::VERSION => {
            Err(HistoryError::Newer { path: backup.to_owned(), found, known: schema::VERSION })
        }
        (.., findings) if !findings.is_empty() => {
            Err(none(say!("failed-no-backup-damaged", why = findings.join("; "))))
        }
        _ => Ok(()),
    }
}

/// Copies the database `from`, as it stands at one moment, for `to`; the copy is looked through, and has yet to be put.
fn copy_whole(from: &Path, to: &Path, readers: Readers<'_>) -> Result<Part, HistoryError> {
    let part = Part::begin(to, readers)?;
    let sql = |source| HistoryError::Sql { doing: Step::Copying, source };
    let conn = Connection::open_with_flags(from, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(sql)?;
    let name = part.name().to_str().ok_or_else(|| part.unfilled(std::io::ErrorKind::InvalidFilename))?;
    conn.execute("VACUUM INTO ?1", [name]).map_err(sql)?;
    drop(conn);
    look_through(part.name())?;
    Ok(part)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::sample::{DAY_S, Place, at, ever, numbered, numbers, once_free, open, pack_seen};
    use crate::history::{Settings, Store, Writer};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

    /// Nobody holds the history.
    fn put(path: &Path, backup: &Path, now: Timestamp) -> Result<PutBack, HistoryError> {
        once_free(|error| matches!(error, HistoryError::InUse { .. }), || put_back(path, backup, now))
    }

    #[test]
    fn a_backup_of_a_running_history_is_a_history() {
        let place = Place::new();
        let mut store = place.open();
        store.commit(&[numbered(0), numbered(1)]).unwrap();
        while store.pack_step(at(DAY_S)).unwrap().more {}
        let copy = place.path.with_file_name("copy.db");
        place.reader().backup(&copy).unwrap();
        store.commit(&[numbered(2)]).unwrap();
        let again = place.reader().backup(&copy).unwrap_err();
        assert!(matches!(&again, HistoryError::NameTaken { path } if *path == copy), "{again}");
        let mut restored = open(&copy);
        assert_eq!(restored.standing_receipts()[0].upto, pack_seen(1).seq);
        restored.commit(&[numbered(5)]).unwrap();
        assert_eq!(numbers(&Reader::open(&copy).unwrap().readings(None, ever()).unwrap()), [0, 1, 5]);
        assert_eq!(numbers(&place.readings()), [0, 1, 2]);
    }

    /// With a writer that never rests: each copy is a whole moment, no commit fails, and the copy ends.
    #[test]
    fn a_backup_neither_waits_for_the_writer_nor_holds_it_up() {
        let place = Place::new();
        let mut store = place.open();
        for i in (0..4_000).step_by(500) {
            store.commit(&(i..i + 500).map(numbered).collect::<Vec<_>>()).unwrap();
        }
        let clock: crate::history::Monotonic = Arc::new(|| std::time::Duration::ZERO);
        let writer = Writer::start(store, Settings { commit_at: 1, ..Settings::default() }, clock).unwrap();
        let (stop, next) = (AtomicBool::new(false), AtomicU64::new(4_000));
        std::thread::scope(|scope| {
            scope.spawn(|| {
                while !stop.load(Ordering::SeqCst) {
                    let i = next.fetch_add(1, Ordering::SeqCst);
                    writer.submit(numbered(i)).unwrap().blocking_recv().unwrap().unwrap();
                }
            });
            for k in 0..4 {
                let copy = place.path.with_file_name(format!("copy{k}.db"));
                let before = next.load(Ordering::SeqCst);
                place.reader().backup(&copy).unwrap();
                let there = numbers(&Reader::open(&copy).unwrap().readings(None, ever()).unwrap());
                assert_eq!(there, (0..there.len() as u64).collect::<Vec<_>>());
                assert!(there.len() as u64 + 1 >= before, "what was answered before is in it");
            }
            stop.store(true, Ordering::SeqCst);
        });
        assert_eq!(writer.counters().failed_batches, 0);
    }

    #[test]
    fn what_is_put_back_is_what_was_and_what_was_there_is_kept() {
        let place = Place::new();
        let mut store = place.open();
        store.commit(&[numbered(0), numbered(1)]).unwrap();
        let copy = place.path.with_file_name("copy.db");
        place.reader().backup(&copy).unwrap();
        store.commit(&[numbered(2)]).unwrap();
        let in_use = put_back(&place.path, &copy, at(0)).unwrap_err();
        assert!(matches!(in_use, HistoryError::InUse { .. }), "{in_use}");
        drop(store);
        // A log that was never written into the file, as a kill leaves it.
        let conn = Connection::open(&place.path).unwrap();
        conn.execute_batch("PRAGMA wal_autocheckpoint = 0; INSERT INTO fact VALUES ('late', 'yes')").unwrap();
        let before = put(&place.path, &copy, at(9)).unwrap().before.unwrap();
        drop(conn);
        assert_eq!(numbers(&place.readings()), [0, 1]);
        let kept = Reader::open(&before).unwrap();
        assert_eq!(numbers(&kept.readings(None, ever()).unwrap()), [0, 1, 2]);
        assert_eq!(kept.fact("late").unwrap().as_deref(), Some("yes"));
        assert_eq!(place.open().standing_receipts()[0].upto, 1);
        // Onto a machine that has none yet.
        let new = Place::new();
        assert_eq!(put(&new.path, &copy, at(0)).unwrap(), PutBack { before: None });
        assert_eq!(numbers(&new.readings()), [0, 1]);
    }

    #[test]
    fn whichever_step_fails_a_backup_is_whole_or_none_and_the_history_stays_what_it_was() {
        use crate::whole_file::Step as Making;
        use crate::whole_file::tests::{STEPS, failing};
        let place = Place::new();
        place.open().commit(&[numbered(0)]).unwrap();
        let copy = place.path.with_file_name("copy.db");
        // The database writes by itself: there is no writing of ours that could fail.
        for step in STEPS.into_iter().filter(|step| *step != Making::Writing) {
            let error = failing(step, || place.reader().backup(&copy)).unwrap_err();
            assert!(matches!(&error, HistoryError::Making(e) if e.step == step), "{error}");
            assert_eq!(copy.exists(), step == Making::SyncingName, "{step:?}");
        }
        place.open().commit(&[numbered(1)]).unwrap();
        for step in STEPS.into_iter().filter(|step| *step != Making::Writing) {
            let failed = || failing(step, || put(&place.path, &copy, at(0)).map(drop));
            assert!(failed().is_err());
            let wanted: &[u64] = if step == Making::SyncingName { &[0] } else { &[0, 1] };
            assert_eq!(numbers(&place.readings()), wanted, "{step:?}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn who_may_not_read_the_history_may_not_read_its_backup() {
        use std::os::unix::fs::PermissionsExt;
        let place = Place::new();
        place.open().commit(&[numbered(0)]).unwrap();
        std::fs::set_permissions(&place.path, PermissionsExt::from_mode(0o600)).unwrap();
        let copy = place.path.with_file_name("copy.db");
        place.reader().backup(&copy).unwrap();
        assert_eq!(std::fs::metadata(&copy).unwrap().permissions().mode() & 0o777, 0o600);
    }

    #[test]
    fn a_backup_of_an_older_version_comes_forward_at_the_next_start() {
        let place = Place::new();
        let old = place.path.with_file_name("old.db");
        Connection::open(&old).unwrap().execute_batch(include_str!("released/v1.sql")).unwrap();
        put(&place.path, &old, at(0)).unwrap();
        assert_eq!(Store::open(&place.path, at(0)).unwrap().report.migrated_from, Some(1));
    }

    #[test]
    fn what_is_no_backup_changes_nothing() {
        let place = Place::new();
        let mut store = place.open();
        store.commit(&[numbered(0)]).unwrap();
        let [damaged, newer, foreign, garbage, missing] =
            ["damaged", "newer", "foreign", "garbage", "missing"].map(|name| place.path.with_file_name(name));
        for i in 0..60 {
            store.commit(&[numbered(i)]).unwrap();
        }
        place.reader().backup(&damaged).unwrap();
        place.reader().backup(&newer).unwrap();
        drop(store);
        let len = std::fs::metadata(&damaged).unwrap().len();
        std::fs::File::options().write(true).open(&damaged).unwrap().set_len(len / 2).unwrap();
        Connection::open(&newer).unwrap().pragma_update(None, "user_version", 999).unwrap();
        Connection::open(&foreign).unwrap().execute_batch("CREATE TABLE recipes (name TEXT)").unwrap();
        std::fs::write(&garbage, "no database at all, ".repeat(500)).unwrap();
        for none in [damaged, newer, foreign, garbage, missing] {
            let error = put(&place.path, &none, at(0)).unwrap_err();
            let right = matches!(error, HistoryError::NoBackup { .. } | HistoryError::Newer { .. });
            assert!(right, "{}: {error}", none.display());
            assert_eq!(numbers(&place.readings()).len(), 60);
        }
    }
}
