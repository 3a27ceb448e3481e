//! What is in the history file, read from outside.
use rusqlite::{Connection, OpenFlags};
use std::collections::BTreeMap;
use std::path::Path;

/// How often each (source, time in ms) of temperatures is stored; days that are packed already are left out.
pub fn temperatures(path: &Path) -> BTreeMap<(String, i64), u32> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let file = Connection::open_with_flags(path, flags).unwrap();
    file.busy_timeout(crate::SOON).unwrap();
    let text = "SELECT source, t_ms FROM hot JOIN series ON series.id = hot.series
        WHERE quantity = (SELECT min(quantity) FROM series)";
    let mut statement = file.prepare(text).unwrap();
    let mut stored = BTreeMap::new();
    for row in statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap() {
        *stored.entry(row.unwrap()).or_default() += 1;
    }
    stored
}
