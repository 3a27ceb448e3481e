//! How much there is.
use super::{Reader, reading};
use crate::history::codec::day_of;
use crate::history::errors::HistoryError;
use enclosure::Timestamp;
use std::ops::Range;
use std::path::Path;

/// How much there is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sizes {
    /// Readings that wait to be packed.
    pub hot_readings: u64,
    /// Readings in chunks.
    pub packed_readings: u64,
    /// Chunks.
    pub chunks: u64,
    /// Bytes in chunks.
    pub packed_bytes: u64,
    /// Readings of which only their hour is left.
    pub thinned_readings: u64,
    /// Bytes in such hours.
    pub thinned_bytes: u64,
    /// Alarm changes.
    pub alarm_changes: u64,
    /// Size of the file, its write-ahead log included, bytes.
    pub file_bytes: u64,
}

impl Reader {
    /// Readings on the days of `span` of which only hours are left.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn thinned(&self, span: Range<Timestamp>) -> Result<u64, HistoryError> {
        let sql = "SELECT coalesce(sum(n), 0) FROM thinned WHERE day >= ?1 AND day <= ?2";
        let days = [day_of(span.start.unix_ms()), day_of(span.end.unix_ms())];
        let n: i64 = self.conn.query_row(sql, days, |row| row.get(0)).map_err(reading)?;
        Ok(u64::try_from(n).unwrap_or(0))
    }

    /// How much there is.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn sizes(&self) -> Result<Sizes, HistoryError> {
        let number = |sql: &str| -> Result<u64, HistoryError> {
            let n: i64 = self.conn.query_row(sql, [], |row| row.get(0)).map_err(reading)?;
            Ok(u64::try_from(n).unwrap_or(0))
        };
        let on_disk = |path: &Path| std::fs::metadata(path).map_or(0, |file| file.len());
        Ok(Sizes {
            hot_readings: number("SELECT count(*) FROM hot")?,
            packed_readings: number("SELECT coalesce(sum(n), 0) FROM chunk")?,
            chunks: number("SELECT count(*) FROM chunk")?,
            packed_bytes: number("SELECT coalesce(sum(length(t) + length(v) + length(rejections)), 0) FROM chunk")?,
            thinned_readings: number("SELECT coalesce(sum(n), 0) FROM thinned")?,
            thinned_bytes: number(
                "SELECT coalesce(sum(length(places) + length(ends) + length(means)), 0) FROM thinned",
            )?,
            alarm_changes: number("SELECT count(*) FROM alarm_change")?,
            file_bytes: on_disk(&self.path) + on_disk(&crate::whole_file::beside(&self.path, "-wal")),
        })
    }
}
