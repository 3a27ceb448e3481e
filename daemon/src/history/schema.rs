//! The tables, and how an older file is brought forward.
//!
//! Version n is reached by the first n steps of [`STEPS`]. A step, once published, never changes.
use rusqlite::{Connection, Result};

/// Marks a file as warmend's: `WRMd` (SQLite's `application_id`).
pub(crate) const APPLICATION_ID: i64 = 0x5752_4D64;

/// The version that this code reads and writes.
pub(crate) const VERSION: i64 = STEPS.len() as i64;

/// WAL that is left behind after a checkpoint, bytes.
const WAL_KEPT_BYTES: i64 = 16 * 1024 * 1024;
/// How long a reader or the writer waits for the other's lock, ms.
const BUSY_MS: u64 = 5_000;

/// Step i brings version i to i + 1.
const STEPS: [&str; 4] = [V1, THINNED, MIRROR, FITS];

/// `hot` has no index on purpose: a commit then touches its last page only.
const V1: &str = "
CREATE TABLE series (id INTEGER PRIMARY KEY, source TEXT NOT NULL, quantity INTEGER NOT NULL,
    UNIQUE (source, quantity)) STRICT;
CREATE TABLE hot (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, t_ms INTEGER NOT NULL, v REAL NOT NULL,
    rejection INTEGER) STRICT;
CREATE TABLE chunk (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, day INTEGER NOT NULL, n INTEGER NOT NULL,
    t_min INTEGER NOT NULL, t_max INTEGER NOT NULL, v_min REAL, v_max REAL, v_sum REAL NOT NULL,
    believed INTEGER NOT NULL, t BLOB NOT NULL, v BLOB NOT NULL, rejections BLOB NOT NULL, checksum INTEGER NOT NULL)
    STRICT;
CREATE UNIQUE INDEX chunk_place ON chunk (day, series);
CREATE TABLE chunk_aside (id INTEGER PRIMARY KEY, series INTEGER, day INTEGER, n INTEGER, t BLOB, v BLOB,
    rejections BLOB, checksum INTEGER) STRICT;
CREATE TABLE alarm_change (id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, alarm TEXT NOT NULL, nest TEXT, probe TEXT,
    node TEXT, event TEXT NOT NULL, state TEXT NOT NULL, detail TEXT NOT NULL, cause TEXT, told INTEGER NOT NULL)
    STRICT;
CREATE INDEX alarm_change_time ON alarm_change (t_ms);
CREATE TABLE note (id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, nest TEXT, at_mm REAL, kind TEXT NOT NULL,
    text TEXT NOT NULL) STRICT;
CREATE INDEX note_time ON note (t_ms);
CREATE TABLE delivery (id INTEGER PRIMARY KEY, change INTEGER, way TEXT NOT NULL, attempt INTEGER NOT NULL,
    t_ms INTEGER NOT NULL, outcome TEXT NOT NULL) STRICT;
CREATE INDEX delivery_time ON delivery (t_ms);
CREATE TABLE gap (id INTEGER PRIMARY KEY, from_ms INTEGER NOT NULL, to_ms INTEGER NOT NULL, why TEXT NOT NULL) STRICT;
CREATE TABLE receipt (id INTEGER PRIMARY KEY, node TEXT NOT NULL, boot INTEGER NOT NULL, start INTEGER NOT NULL,
    next INTEGER NOT NULL, ahead TEXT NOT NULL, heard INTEGER NOT NULL, UNIQUE (node, boot)) STRICT;
CREATE TABLE fact (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
";

/// Old days as hours, and what the shelf file said when.
const THINNED: &str = "
CREATE TABLE thinned (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, day INTEGER NOT NULL, n INTEGER NOT NULL,
    places BLOB NOT NULL, ends BLOB NOT NULL, means BLOB NOT NULL, checksum INTEGER NOT NULL) STRICT;
CREATE UNIQUE INDEX thinned_place ON thinned (day, series);
CREATE TABLE setting (id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, text TEXT NOT NULL) STRICT;
";

/// How far the mirror has come, what is due to it, and lines that are kept for it alone. And two bytes that tell a
/// single reading from what a torn page makes of it.
const MIRROR: &str = "
CREATE TABLE mirror (id INTEGER PRIMARY KEY CHECK (id = 1), target TEXT NOT NULL, reading INTEGER NOT NULL,
    change INTEGER NOT NULL, lost INTEGER NOT NULL) STRICT;
CREATE TABLE mirror_due (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, t_min INTEGER NOT NULL,
    t_max INTEGER NOT NULL) STRICT;
CREATE TABLE mirror_line (id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, text TEXT NOT NULL) STRICT;
ALTER TABLE hot ADD COLUMN seal INTEGER;
";

/// What each fit taught, or why it was not taken; and which was in force from when on.
const FITS: &str = "
CREATE TABLE fit (id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, nest TEXT NOT NULL, shape TEXT NOT NULL, refused TEXT,
    body BLOB, checksum INTEGER NOT NULL) STRICT;
CREATE INDEX fit_nest ON fit (nest, id);
CREATE TABLE fit_in_force (id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, nest TEXT NOT NULL, fit INTEGER NOT NULL,
    who TEXT NOT NULL) STRICT;
CREATE INDEX fit_in_force_nest ON fit_in_force (nest, id);
";

/// Sets a writer's connection up: WAL, every commit on the device before it returns.
pub(crate) fn prepare_writer(conn: &Connection) -> Result<()> {
    conn.busy_timeout(std::time::Duration::from_millis(BUSY_MS))?;
    // Takes hold in a new file only: what thinning frees can then be given back to the file system.
    conn.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    let mode: String = conn.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))?;
    if mode != "wal" {
        tracing::warn!(mode, "this file system gives the history no write-ahead log; readers may wait for the writer");
    }
    conn.pragma_update(None, "synchronous", "FULL")?;
    conn.pragma_update_and_check(None, "journal_size_limit", WAL_KEPT_BYTES, |_| Ok(()))?;
    conn.pragma_update(None, "cell_size_check", true)?;
    conn.pragma_update(None, "trusted_schema", false)
}

/// Sets a reader's connection up.
pub(crate) fn prepare_reader(conn: &Connection) -> Result<()> {
    conn.busy_timeout(std::time::Duration::from_millis(BUSY_MS))?;
    conn.pragma_update(None, "query_only", true)?;
    conn.pragma_update(None, "trusted_schema", false)
}

/// The file's version; 0 for a new one.
pub(crate) fn version(conn: &Connection) -> Result<i64> {
    conn.pragma_query_value(None, "user_version", |row| row.get(0))
}

/// Whether the file is another program's: it holds tables, but not our mark.
pub(crate) fn is_foreign(conn: &Connection) -> Result<bool> {
    let mark: i64 = conn.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let tables: i64 = conn.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    Ok(mark != APPLICATION_ID && (tables > 0 || mark != 0))
}

/// Brings the file from its version to [`VERSION`], all steps or none; gives the version it had.
pub(crate) fn migrate(conn: &mut Connection) -> Result<i64> {
    let had = version(conn)?;
    let done = usize::try_from(had).unwrap_or(0);
    if had < VERSION {
        let tx = conn.transaction()?;
        tx.pragma_update(None, "application_id", APPLICATION_ID)?;
        for step in STEPS.iter().skip(done) {
            tx.execute_batch(step)?;
        }
        tx.pragma_update(None, "user_version", VERSION)?;
        tx.commit()?;
    }
    Ok(had)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::sample::{DAY_S, Place, at, ever, numbered, pack_seen};
    use crate::history::{Quantity, Reader, Store};
    use enclosure::estimate::NotTaken;
    use enclosure::{Rejection, State};

    /// Every version's history, as that version left it. Those of 2 and 3 were cut from that of 4: what they hold is
    /// written today as it was then.
    const RELEASED: [(i64, &str); 4] = [
        (1, include_str!("released/v1.sql")),
        (2, include_str!("released/v2.sql")),
        (3, include_str!("released/v3.sql")),
        (4, include_str!("released/v4.sql")),
    ];

    fn tables(conn: &Connection) -> Vec<(String, Option<String>)> {
        let mut statement = conn.prepare("SELECT name, sql FROM sqlite_master ORDER BY name").unwrap();
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap().collect::<Result<_>>().unwrap()
    }

    #[test]
    fn a_file_is_brought_forward_once() {
        let mut conn = Connection::open_in_memory().unwrap();
        assert_eq!(migrate(&mut conn).unwrap(), 0);
        let made = tables(&conn);
        assert_eq!(migrate(&mut conn).unwrap(), VERSION);
        assert_eq!((version(&conn).unwrap(), tables(&conn)), (VERSION, made));
        assert!(!is_foreign(&conn).unwrap());
    }

    #[test]
    fn a_step_that_fails_half_way_changes_nothing() {
        let mut conn = Connection::open_in_memory().unwrap();
        conn.execute_batch("CREATE TABLE gap (x)").unwrap();
        migrate(&mut conn).unwrap_err();
        assert_eq!((version(&conn).unwrap(), tables(&conn).len()), (0, 1));
    }

    #[test]
    fn every_released_history_is_brought_forward_with_all_that_is_in_it() {
        let mut new = Connection::open_in_memory().unwrap();
        migrate(&mut new).unwrap();
        for (number, dump) in RELEASED {
            let place = Place::new();
            Connection::open(&place.path).unwrap().execute_batch(dump).unwrap();
            assert_eq!(Reader::open(&place.path).is_err(), number < VERSION, "only a writer brings it forward");
            let opened = Store::open(&place.path, at(0)).unwrap();
            let from = (number < VERSION).then_some(number);
            assert_eq!((opened.report.migrated_from, opened.report.damaged), (from, None));
            let mut store = opened.store;
            assert_eq!(tables(&store.conn), tables(&new), "from {number}: other tables than a new one has");
            let reader = place.reader();
            holds_what_version_1_held(&reader);
            assert_eq!(reader.readings(None, ever()).unwrap().len(), if number < 3 { 24 } else { 25 });
            if number >= 2 {
                holds_what_version_2_brought(&reader);
            }
            if number >= 3 {
                holds_what_version_3_brought(&reader);
            }
            if number >= 4 {
                holds_what_version_4_brought(&reader);
            }
            // It goes on where it stood.
            assert_eq!((store.standing_receipts()[0].upto, store.standing_receipts()[0].boot), (2, pack_seen(0).boot));
            let again = store.commit(&[numbered(0), numbered(144), numbered(3)]).unwrap();
            let stored: Vec<_> = again.into_iter().map(|outcome| outcome.unwrap().stored).collect();
            assert_eq!(stored, [0, 0, 4]);
        }
    }

    /// Between releases too: whoever built from source has a file of any of these.
    #[test]
    fn from_every_step_the_way_leads_to_the_same_tables() {
        let mut new = Connection::open_in_memory().unwrap();
        migrate(&mut new).unwrap();
        for n in 1..STEPS.len() {
            let mut old = Connection::open_in_memory().unwrap();
            STEPS.iter().take(n).for_each(|step| old.execute_batch(step).unwrap());
            old.pragma_update(None, "user_version", n as i64).unwrap();
            assert_eq!(migrate(&mut old).unwrap(), n as i64);
            assert_eq!((version(&old).unwrap(), tables(&old)), (VERSION, tables(&new)));
        }
    }

    /// What stands in `released/v1.sql`.
    #[track_caller]
    fn holds_what_version_1_held(reader: &Reader) {
        let readings = reader.readings(None, ever()).unwrap();
        let of_packs = |i: u64| numbered(i).readings;
        for reading in [0, 1, 2, 144, 145].into_iter().flat_map(of_packs) {
            assert!(readings.contains(&reading), "{reading:?} is gone");
        }
        let late: Vec<_> = readings.iter().filter(|r| r.at >= at(90_000)).map(|r| (r.value(), r.rejection)).collect();
        assert_eq!(late.len(), 4);
        for one in [
            ((Quantity::Temperature, 85.0), Some(Rejection::Wild)),
            ((Quantity::Humidity, 61.5), None),
            ((Quantity::Duty, 0.4), None),
            ((Quantity::On, 1.0), None),
        ] {
            assert!(late.contains(&one), "{one:?} is gone");
        }
        let [(id, raised)] = &reader.alarm_changes(ever()).unwrap()[..] else { panic!("one change") };
        assert_eq!((raised.alarm.name(), raised.state, raised.at), ("brood-hot", State::Unacknowledged, at(4)));
        let notes = reader.notes(ever()).unwrap();
        assert_eq!((notes.len(), notes[0].text.as_str(), notes[0].at_mm), (1, "larvae, white", Some(60.0)));
        assert_eq!(reader.deliveries(ever()).unwrap()[0].change, Some(*id));
        assert_eq!(reader.gaps(at(0)..at(DAY_S)).unwrap()[0].why, "power cut");
        assert_eq!(reader.fact("watched_until").unwrap().as_deref(), Some("1767571200000"));
    }

    /// A day of hours with a spike that was not believed, and the shelf file as it was.
    #[track_caller]
    fn holds_what_version_2_brought(reader: &Reader) {
        let hours = reader.hours_left(ever()).unwrap();
        let told: Vec<_> = hours.iter().map(|h| (h.from, h.rejected, h.extent.n, h.extent.max)).collect();
        let first = at(-30 * DAY_S);
        let second = at(-30 * DAY_S + 3_600);
        assert_eq!(told, [(first, false, 4, 23.0), (first, true, 1, 85.0), (second, false, 4, 27.0)]);
        assert_eq!(reader.settings(ever()).unwrap()[0].text, "[shelf]\nname = \"study\"\n");
    }

    /// How far the mirror was, what waits for it, and a sealed reading.
    #[track_caller]
    fn holds_what_version_3_brought(reader: &Reader) {
        let mirror = reader.mirror().unwrap().unwrap();
        assert_eq!((mirror.target.as_str(), mirror.reading, mirror.change), ("http://127.0.0.1:8086 home shelf", 3, 1));
        assert_eq!((mirror.lost, mirror.due), (2, 4));
        let (lines, last) = reader.mirror_lines(10).unwrap();
        assert_eq!((lines, last), (vec!["estimate,nest=oak room=21.5 1767571500000\n".to_owned()], 1));
        let sealed = crate::history::sample::reading("oak-node:p0", 80_000, 24.5);
        assert!(reader.readings(None, ever()).unwrap().contains(&sealed));
    }

    /// A fit that was taken and one that was not.
    #[track_caller]
    fn holds_what_version_4_brought(reader: &Reader) {
        let fits = reader.fits(Some("oak")).unwrap();
        let refused: Vec<_> = fits.iter().map(|kept| kept.record.refused.map(NotTaken::name)).collect();
        assert_eq!(refused, [None, Some("foretells-worse")]);
        let (in_force, _) = reader.fit_in_force("oak").unwrap().unwrap();
        let fit = in_force.record.fit.unwrap();
        assert_eq!(
            (in_force.id, fit.log.as_slice(), fit.triangle.len()),
            (1, &[-1.25, 2.1, f64::MIN_POSITIVE][..], 66)
        );
    }
}
