//! What is in the history file, read from outside.
use rusqlite::{Connection, OpenFlags};
use std::collections::BTreeMap;
use std::path::Path;

fn open(path: &Path) -> Connection {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let file = Connection::open_with_flags(path, flags).unwrap();
    file.busy_timeout(crate::SOON).unwrap();
    file
}

/// Every change of the alarm `alarm`: what happened and when, ms; oldest first.
pub fn changes(path: &Path, alarm: &str) -> Vec<(String, i64)> {
    let file = open(path);
    let mut statement = file.prepare("SELECT event, t_ms FROM alarm_change WHERE alarm = ? ORDER BY id").unwrap();
    let rows = statement.query_map([alarm], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    rows.map(Result::unwrap).collect()
}

/// How often each (source, time in ms) of temperatures is stored; days that are packed already are left out.
pub fn temperatures(path: &Path) -> BTreeMap<(String, i64), u32> {
    let file = open(path);
    let text = "SELECT source, t_ms FROM hot JOIN series ON series.id = hot.series
        WHERE quantity = (SELECT min(quantity) FROM series)";
    let mut statement = file.prepare(text).unwrap();
    let mut stored = BTreeMap::new();
    for row in statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap() {
        *stored.entry(row.unwrap()).or_default() += 1;
    }
    stored
}
