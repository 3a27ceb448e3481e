//! Opening history: lock it, prove it, bring it forward; a damaged file is set aside, never replaced in silence.
use super::errors::{FileStep, HistoryError, Step};
use super::salvage::{self, Saved};
use super::schema;
use super::store::Store;
use crate::whole_file::{self, beside, directory_of};
use enclosure::Timestamp;
use rusqlite::{Connection, ErrorCode, OpenFlags};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read as _, Seek as _, Write as _};
use std::path::{Path, PathBuf};

/// Errors of SQLite's own check that are quoted.
const FINDINGS_MAX: usize = 5;

/// An opened history and what opening it found.
#[derive(Debug)]
pub struct Opened {
    /// To write to.
    pub store: Store,
    /// What a keeper must hear of.
    pub report: OpenReport,
}

/// What opening found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OpenReport {
    /// There was no history yet (or it was damaged).
    pub created: bool,
    /// The older version it had.
    pub migrated_from: Option<i64>,
    /// The file that was damaged, and what became of it.
    pub damaged: Option<SetAside>,
}

/// A damaged file, kept under another name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// Where it lies now.
    pub path: PathBuf,
    /// What was wrong with it.
    pub why: String,
    /// What could be copied from it.
    pub saved: Saved,
}

enum Verdict {
    Absent,
    Sound,
    Damaged(String),
}

impl std::fmt::Display for SetAside {
    /// For the keeper: what happened, where the old file is, what is left.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { path, why, saved } = self;
        write!(
            f,
            "the history was damaged ({why}). It was set aside as {} and a new one begun; {saved}",
            path.display()
        )
    }
}

impl Store {
    /// Opens the history at `path` for writing, or makes it; `now` names a damaged file that is set aside.
    ///
    /// # Errors
    /// [`HistoryError`]: in use, newer, another program's, or out of reach. Nothing was changed then.
    pub fn open(path: &Path, now: Timestamp) -> Result<Opened, HistoryError> {
        let path = settle(path)?;
        let lock = lock(&path)?;
        let mut report = OpenReport::default();
        let set_aside = match examine(&path)? {
            Verdict::Sound => None,
            Verdict::Absent => {
                report.created = true;
                let log = beside(&path, "-wal");
                let orphan = std::fs::metadata(&log).is_ok_and(|log| log.len() > 0);
                orphan.then(|| "its main file is gone, only the log beside it was left".to_owned())
            }
            Verdict::Damaged(why) => {
                report.created = true;
                Some(why)
            }
        };
        let aside = set_aside.map(|why| put_aside(&path, "damaged", now).map(|aside| (aside, why))).transpose()?;
        if report.created {
            make_private(&path)?;
        }
        let sql = |doing| move |source| HistoryError::Sql { doing, source };
        let mut conn = Connection::open(&path).map_err(sql(Step::Opening))?;
        schema::prepare_writer(&conn).map_err(sql(Step::Opening))?;
        let had = schema::migrate(&mut conn).map_err(sql(Step::BringingForward))?;
        report.migrated_from = (had > 0 && had < schema::VERSION).then_some(had);
        if report.created {
            whole_file::sync_name(&path)?;
        }
        report.damaged = aside.map(|(path, why)| {
            let saved = salvage::copy(&path, &mut conn);
            SetAside { path, why, saved }
        });
        let store = Store::over(path, conn, lock).map_err(sql(Step::Reading))?;
        Ok(Opened { store, report })
    }
}

/// Makes the empty file, if there is none, for its owner alone: it will hold the key with which a command may act. SQLite
/// gives its log and its index the same bits.
fn make_private(path: &Path) -> Result<(), HistoryError> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    match options.open(path) {
        Err(source) if source.kind() != std::io::ErrorKind::AlreadyExists => {
            Err(HistoryError::File { doing: FileStep::Opening, path: path.to_owned(), source })
        }
        _ => Ok(()),
    }
}

/// The file behind links, so that two names of one history share one lock.
pub(super) fn settle(path: &Path) -> Result<PathBuf, HistoryError> {
    let error = |source| HistoryError::File { doing: FileStep::Opening, path: path.to_owned(), source };
    if path.exists() {
        return path.canonicalize().map_err(error);
    }
    let name = path.file_name().ok_or_else(|| error(std::io::ErrorKind::InvalidFilename.into()))?;
    Ok(directory_of(path).canonicalize().map_err(error)?.join(name))
}

/// Takes the lock file beside the history; the system lets go of it when the process ends, however it ends.
pub(super) fn lock(path: &Path) -> Result<File, HistoryError> {
    let lock_path = beside(path, ".lock");
    let error = |source| HistoryError::File { doing: FileStep::Locking, path: lock_path.clone(), source };
    let mut file =
        OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&lock_path).map_err(error)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let mut holder = String::new();
            // Only for the message: without it the holder stays unnamed.
            let _ = file.take(64).read_to_string(&mut holder);
            let holder = if holder.trim().is_empty() { "process unknown".to_owned() } else { holder.trim().to_owned() };
            return Err(HistoryError::InUse { path: path.to_owned(), lock: lock_path, holder });
        }
        Err(TryLockError::Error(source)) => return Err(error(source)),
    }
    let name = format!("process {}\n", std::process::id());
    // A name in the file helps a keeper; the lock holds without it, on a full disk too.
    let _ = file.set_len(0).and_then(|()| file.rewind()).and_then(|()| file.write_all(name.as_bytes()));
    Ok(file)
}

/// Looks the file over without changing it.
fn examine(path: &Path) -> Result<Verdict, HistoryError> {
    match std::fs::metadata(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Verdict::Absent),
        Err(source) => {
            return Err(HistoryError::File { doing: FileStep::Opening, path: path.to_owned(), source });
        }
        Ok(file) if file.len() == 0 => return Ok(Verdict::Absent),
        Ok(_) => {}
    }
    let findings = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE).and_then(|conn| {
        let foreign = schema::is_foreign(&conn)?;
        let version = schema::version(&conn)?;
        let findings = if foreign || version > schema::VERSION { Vec::new() } else { check(&conn)? };
        Ok((foreign, version, findings))
    });
    match findings {
        Ok((true, ..)) => Err(HistoryError::Foreign { path: path.to_owned() }),
        Ok((_, found, _)) if found > schema::VERSION => {
            Err(HistoryError::Newer { path: path.to_owned(), found, known: schema::VERSION })
        }
        Ok((_, _, findings)) if findings.is_empty() => Ok(Verdict::Sound),
        Ok((_, _, findings)) => Ok(Verdict::Damaged(findings.join("; "))),
        Err(error) => match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => Ok(Verdict::Damaged(error.to_string())),
            _ => Err(HistoryError::Sql { doing: Step::Opening, source: error }),
        },
    }
}

/// SQLite's own check; empty if all is well.
pub(super) fn check(conn: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut statement = conn.prepare(&format!("PRAGMA quick_check({FINDINGS_MAX})"))?;
    let found: Vec<String> = statement.query_map([], |row| row.get(0))?.collect::<rusqlite::Result<_>>()?;
    Ok(found.into_iter().filter(|line| line != "ok").map(|line| line.replace('\n', " ")).collect())
}

/// Renames the history and the files beside it; the log first, so that no new history ever meets an old log.
fn put_aside(path: &Path, what: &str, now: Timestamp) -> Result<PathBuf, HistoryError> {
    let aside = free_name(path, what, now);
    for suffix in ["-wal", "-shm", ""] {
        let (from, to) = (beside(path, suffix), beside(&aside, suffix));
        match std::fs::rename(&from, &to) {
            Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
                return Err(HistoryError::File { doing: FileStep::SettingAside, path: from, source });
            }
            _ => {}
        }
    }
    Ok(aside)
}

/// A name beside the history that nothing has: `warmend.db.damaged-1767571207`.
pub(super) fn free_name(path: &Path, what: &str, now: Timestamp) -> PathBuf {
    let seconds = now.unix_ms().div_euclid(1000);
    let names = (0..).map(|i| match i {
        0 => beside(path, &format!(".{what}-{seconds}")),
        i => beside(path, &format!(".{what}-{seconds}-{i}")),
    });
    let free = |name: &PathBuf| !name.exists() && !beside(name, "-wal").exists();
    names.take(1_000).find(free).unwrap_or_else(|| beside(path, &format!(".{what}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::Batch;
    use crate::history::sample::{Place, START_S, at, change, numbered, numbers};
    use enclosure::{Alarm, State};
    use std::os::unix::fs::FileExt as _;

    /// Opens what must be refused; gives the sentence. Nothing on disk may change.
    #[track_caller]
    fn refused(place: &Place) -> String {
        let before = std::fs::read(&place.path).unwrap();
        let error = Store::open(&place.path, at(0)).unwrap_err();
        assert!(std::fs::read(&place.path).unwrap() == before, "the file was changed");
        error.to_string()
    }

    #[test]
    fn a_bare_name_lies_in_the_working_directory() {
        assert_eq!(directory_of(Path::new("copy.db")), Path::new("."));
        assert_eq!(directory_of(Path::new("kept/copy.db")), Path::new("kept"));
        whole_file::sync_name(Path::new("copy.db")).unwrap();
    }

    #[test]
    fn a_second_daemon_is_refused_until_the_first_lets_go() {
        let place = Place::new();
        let store = place.open();
        let text = Store::open(&place.path, at(0)).unwrap_err().to_string();
        let expected = format!("process {}", std::process::id());
        assert!(text.contains(&expected) && text.contains("warmend.db.lock"), "{text}");
        drop(store);
        drop(place.open());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_the_same_history_shares_its_lock() {
        let place = Place::new();
        let _store = place.open();
        let link = place.path.with_file_name("link.db");
        std::os::unix::fs::symlink(&place.path, &link).unwrap();
        assert!(matches!(Store::open(&link, at(0)), Err(HistoryError::InUse { .. })));
    }

    #[test]
    fn a_newer_history_is_left_alone() {
        let place = Place::new();
        let store = place.open();
        store.conn.pragma_update(None, "user_version", schema::VERSION + 1).unwrap();
        drop(store);
        let text = refused(&place);
        let (newer, known) = (schema::VERSION + 1, schema::VERSION);
        assert!(text.contains(&format!("of version {newer}, this warmend knows up to {known}")), "{text}");
        assert!(matches!(super::super::Reader::open(&place.path), Err(HistoryError::Newer { .. })));
    }

    #[test]
    fn another_programs_database_is_left_alone() {
        let place = Place::new();
        Connection::open(&place.path).unwrap().execute_batch("CREATE TABLE recipes (name TEXT)").unwrap();
        let text = refused(&place);
        assert!(text.contains("of some other program"), "{text}");
    }

    #[cfg(unix)]
    #[test]
    fn a_new_history_is_its_owners_alone_and_an_old_one_keeps_its_bits() {
        use std::os::unix::fs::PermissionsExt as _;
        let bits = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let place = Place::new();
        let store = place.open();
        assert_eq!([bits(&place.path), bits(&beside(&place.path, "-wal"))], [0o600; 2]);
        drop(store);
        std::fs::set_permissions(&place.path, std::fs::Permissions::from_mode(0o640)).unwrap();
        drop(place.open());
        assert_eq!(bits(&place.path), 0o640, "a keeper who lets a group read it is not overruled");
    }

    #[test]
    fn a_missing_directory_is_named() {
        let place = Place::new();
        let path = place.path.with_file_name("nowhere").join("warmend.db");
        let text = Store::open(&path, at(0)).unwrap_err().to_string();
        assert!(text.contains("nowhere"), "{text}");
    }

    #[test]
    fn garbage_is_set_aside_and_said() {
        let place = Place::new();
        std::fs::write(&place.path, "no database at all, ".repeat(500)).unwrap();
        let Opened { mut store, report } = Store::open(&place.path, at(7)).unwrap();
        let damaged = report.damaged.unwrap();
        assert_eq!(damaged.path, beside(&place.path, &format!(".damaged-{}", START_S + 7)));
        assert!(std::fs::read_to_string(&damaged.path).unwrap().starts_with("no database at all"));
        assert!(damaged.to_string().contains("nothing could be copied"), "{damaged}");
        store.commit(&[numbered(0)]).unwrap();
        assert_eq!(numbers(&place.readings()), [0]);
    }

    /// Overwrites part of a full history; what opening it saves must be whole packs of what was there.
    #[track_caller]
    fn check_torn(from: f64, to: f64) -> Saved {
        const N: u64 = 3_000;
        let place = Place::new();
        let mut store = place.open();
        for i in (0..N).step_by(100) {
            let mut batches: Vec<Batch> = (i..i + 100).map(numbered).collect();
            batches[0].changes.push(change(i.cast_signed(), Alarm::WaterLow, State::Unacknowledged));
            store.commit(&batches).unwrap();
            // Half way: the pages that packing frees are used again, so that damage anywhere meets something.
            if i == N / 2 {
                store.pack_step(at(i.cast_signed() * 600)).unwrap();
            }
        }
        drop(store);
        let file = OpenOptions::new().write(true).open(&place.path).unwrap();
        let len = file.metadata().unwrap().len() as f64;
        let (start, end) = ((len * from) as u64, (len * to) as u64);
        file.write_all_at(&vec![0x5A; (end - start) as usize], start).unwrap();
        drop(file);
        let Opened { store, report } = Store::open(&place.path, at(0)).unwrap();
        let damaged = report.damaged.expect("the damage is noticed");
        assert!(damaged.path.exists());
        assert_eq!(store.standing_receipts(), [], "no receipt may cover what may be lost");
        // Whatever was saved says what was once written.
        for reading in place.readings() {
            let i = (reading.at.unix_ms() / 1000 - START_S) / 600;
            assert!(numbered(i.cast_unsigned()).readings.contains(&reading), "never written: {reading:?}");
        }
        drop(store);
        drop(place.open());
        damaged.saved
    }

    #[test]
    fn of_a_torn_file_is_saved_what_can_be_read() {
        let late = check_torn(0.75, 0.76);
        let n: u64 = late.rows.iter().map(|(_, n)| n).sum();
        assert!(n > 1_000 && !late.torn.is_empty(), "{late}");
        check_torn(0.4, 0.5);
        check_torn(0.0, 0.001);
        check_torn(0.02, 1.0);
    }

    #[test]
    fn a_truncated_file_is_noticed() {
        let place = Place::new();
        let mut store = place.open();
        store.commit(&(0..2_000).map(numbered).collect::<Vec<_>>()).unwrap();
        drop(store);
        let len = std::fs::metadata(&place.path).unwrap().len();
        OpenOptions::new().write(true).open(&place.path).unwrap().set_len(len / 2 + 100).unwrap();
        assert!(Store::open(&place.path, at(0)).unwrap().report.damaged.is_some());
    }

    #[test]
    fn a_log_without_its_file_is_kept() {
        let place = Place::new();
        let log = beside(&place.path, "-wal");
        std::fs::write(&log, b"what was written last").unwrap();
        let damaged = Store::open(&place.path, at(0)).unwrap().report.damaged.unwrap();
        assert_eq!(std::fs::read(beside(&damaged.path, "-wal")).unwrap(), b"what was written last");
    }
}
