//! What a damaged file still gives: each table read from both ends towards the damage.
//!
//! Where the mirror stood is left behind too: it sends everything anew.
//! Receipts are left behind on purpose: they speak of packs whose readings may be among what was lost. The nodes
//! send again what they still keep, and get new ones.
use super::rows;
use crate::whole_file::beside;
use dashboards::say;
use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags, Result, Transaction, params_from_iter};
use std::fmt;
use std::path::Path;

/// Tables and their columns, the row's number first.
const TABLES: [(&str, &str); 12] = [
    ("series", "id, source, quantity"),
    ("chunk", "id, series, day, n, t_min, t_max, v_min, v_max, v_sum, believed, t, v, rejections, checksum"),
    ("thinned", "id, series, day, n, places, ends, means, checksum"),
    ("hot", HOT),
    ("alarm_change", "id, t_ms, alarm, nest, probe, node, event, state, detail, cause, told"),
    ("note", "id, t_ms, nest, at_mm, kind, text"),
    ("delivery", "id, change, way, attempt, t_ms, outcome"),
    ("gap", "id, from_ms, to_ms, why"),
    ("setting", "id, t_ms, text"),
    ("fit", "id, t_ms, nest, shape, refused, body, checksum"),
    ("fit_in_force", "id, t_ms, nest, fit, who"),
    ("fact", "rowid, name, value"),
];

/// A single reading. Files of before version 3 have no seals.
const HOT: &str = "id, series, t_ms, v, rejection, seal";
const HOT_UNSEALED: &str = "id, series, t_ms, v, rejection";

/// What was copied from a damaged file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Saved {
    /// Rows by table.
    pub rows: Vec<(&'static str, u64)>,
    /// Tables that could not be read to their end, or not at all.
    pub torn: Vec<&'static str>,
    /// Why nothing was copied, if nothing could be.
    pub failed: Option<String>,
}

impl Saved {
    /// Rows copied from `table`.
    pub fn of(&self, table: &str) -> u64 {
        self.rows.iter().find(|(name, _)| *name == table).map_or(0, |(_, n)| *n)
    }
}

impl fmt::Display for Saved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(why) = &self.failed {
            return f.write_str(&say!("failed-saved-nothing-because", why = why));
        }
        if self.rows.iter().all(|(_, n)| *n == 0) {
            return f.write_str(&say!("failed-saved-nothing"));
        }
        let [days, readings, changes, notes] = ["chunk", "hot", "alarm_change", "note"].map(|table| self.of(table));
        let said = say!("failed-saved", days = days, readings = readings, changes = changes, notes = notes);
        f.write_str(&match self.torn.is_empty() {
            true => said,
            false => say!("failed-saved-torn", saved = said, tables = self.torn.join(", ")),
        })
    }
}

/// Copies what can be read of the file `from` into the new history `to`, in one commit.
pub(crate) fn copy(from: &Path, to: &mut Connection) -> Saved {
    let done = (|| {
        let old = Connection::open_with_flags(from, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
        let tx = to.transaction()?;
        let mut saved = Saved::default();
        for (table, columns) in TABLES.into_iter().filter(|(table, _)| !is_younger(&old, table)) {
            let unsealed = table == "hot" && old.prepare("SELECT seal FROM hot").is_err();
            let columns = if unsealed { HOT_UNSEALED } else { columns };
            let (rows, whole) = copy_table(&old, &tx, table, columns);
            saved.rows.push((table, rows));
            if !whole {
                saved.torn.push(table);
            }
        }
        drop_nameless(&tx)?;
        tx.commit()?;
        Ok(saved)
    })();
    // Reading made it; the damaged file itself and its log stay.
    let _ = std::fs::remove_file(beside(from, "-shm"));
    done.unwrap_or_else(|error: rusqlite::Error| Saved { failed: Some(error.to_string()), ..Saved::default() })
}

/// Whether the file is of a version that had no such table yet; one that cannot tell is taken to have it.
fn is_younger(old: &Connection, table: &str) -> bool {
    let found =
        old.query_row("SELECT count(*) FROM sqlite_master WHERE name = ?1", [table], |row| row.get::<_, i64>(0));
    found.is_ok_and(|n| n == 0)
}

/// Copies one table forwards until it breaks, then backwards; rows copied, and whether it never broke.
fn copy_table(old: &Connection, new: &Transaction<'_>, table: &str, columns: &str) -> (u64, bool) {
    let mut copied = 0;
    let row_number = columns.split(',').next().unwrap_or("rowid");
    // Rows met from both ends are copied once: their numbers are the same.
    let mut take = |order: &str| -> Result<()> {
        let sql = format!("SELECT {columns} FROM {table} ORDER BY {row_number} {order}");
        let mut statement = old.prepare(&sql)?;
        let width = statement.column_count();
        let marks = vec!["?"; width].join(", ");
        let mut insert = new.prepare(&format!("INSERT OR IGNORE INTO {table} ({columns}) VALUES ({marks})"))?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let values: Vec<Value> = (0..width).map(|i| row.get(i)).collect::<Result<_>>()?;
            // A row whose values make no sense is left behind, the rest goes on.
            if columns == HOT && !is_sealed(&values) {
                continue;
            }
            copied += insert.execute(params_from_iter(values)).map_or(0, |n| n as u64);
        }
        Ok(())
    };
    let whole = take("ASC").is_ok();
    if !whole {
        // It breaks there too, at the other side of the damage; what came until then is in.
        let _ = take("DESC");
    }
    (copied, whole)
}

/// Whether a single reading is what was once written: a torn page can look like a whole one.
fn is_sealed(values: &[Value]) -> bool {
    let [Value::Integer(id), Value::Integer(series), Value::Integer(t_ms), v, _, seal] = values else { return false };
    let v = match v {
        Value::Real(v) => *v,
        Value::Integer(v) => *v as f64,
        _ => return false,
    };
    match seal {
        // Written by an older version.
        Value::Null => true,
        Value::Integer(seal) => *seal == i64::from(rows::seal([*id, *series, *t_ms], v)),
        _ => false,
    }
}

/// Readings whose series is lost have no name any more.
fn drop_nameless(tx: &Transaction<'_>) -> Result<()> {
    for table in ["hot", "chunk", "thinned"] {
        tx.execute(&format!("DELETE FROM {table} WHERE series NOT IN (SELECT id FROM series)"), [])?;
    }
    Ok(())
}
