//! Days of which only hours are left, as something to draw.
use super::{Extent, Reader, reading};
use crate::history::codec::day_of;
use crate::history::errors::HistoryError;
use crate::history::rows;
use crate::history::thinning::{self, HOUR_MS};
use crate::history::types::{HistoricReading, Quantity};
use enclosure::{Measured, Timestamp};
use rusqlite::Connection;
use std::ops::Range;
use std::sync::Arc;

/// An hour of which only this is left: its believed or its rejected readings.
#[derive(Clone, Debug, PartialEq)]
pub struct HourLeft {
    /// The source's full name.
    pub source: String,
    /// What it tells.
    pub quantity: Quantity,
    /// When the hour begins.
    pub from: Timestamp,
    /// Whether these were not believed.
    pub rejected: bool,
    /// Number, lowest, highest, mean.
    pub extent: Extent,
}

impl Reader {
    /// Whether anything of `sources` is stored of the days before the one of `at`, or of that day unpacked before it.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn knows_before(&self, sources: &[&str], at: Timestamp) -> Result<bool, HistoryError> {
        let sql = "SELECT EXISTS (SELECT 1 FROM hot WHERE series = ?1 AND t_ms < ?2)
                   OR EXISTS (SELECT 1 FROM chunk WHERE series = ?1 AND day < ?3)
                   OR EXISTS (SELECT 1 FROM thinned WHERE series = ?1 AND day < ?3)";
        let mut known = self.conn.prepare_cached(sql).map_err(reading)?;
        for (id, source, _) in rows::all_series(&self.conn).map_err(reading)? {
            let asked = rusqlite::params![id, at.unix_ms(), day_of(at.unix_ms())];
            if sources.contains(&source.as_str()) && known.query_row(asked, |row| row.get(0)).map_err(reading)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Every hour that is left of thinned readings and begins in `span`, by source and quantity, then in the order of
    /// time.
    ///
    /// # Errors
    /// [`HistoryError::Sql`]. A damaged day is left out and logged.
    pub fn hours_left(&self, span: Range<Timestamp>) -> Result<Vec<HourLeft>, HistoryError> {
        let snapshot = self.conn.unchecked_transaction().map_err(reading)?;
        let mut all = Vec::new();
        for (id, source, quantity) in rows::all_series(&snapshot).map_err(reading)? {
            for day in thinned_days(&snapshot, id, &span).map_err(reading)? {
                for (start_ms, hour) in thinning::stored(&snapshot, id, day).map_err(reading)? {
                    let from = Timestamp::from_unix_ms(start_ms);
                    if span.contains(&from) {
                        let (rejected, extent) = (hour.rejected, hour.extent);
                        all.push(HourLeft { source: source.clone(), quantity, from, rejected, extent });
                    }
                }
            }
        }
        Ok(all)
    }

    /// The mean of the believed readings of `sources` in each hour of which nothing else is left, at its middle, in the
    /// order of time. A drive that said on and off comes back as a duty.
    ///
    /// # Errors
    /// [`HistoryError::Sql`]. A damaged day is left out and logged.
    pub fn hours(&self, sources: &[&str], span: Range<Timestamp>) -> Result<Vec<HistoricReading>, HistoryError> {
        let snapshot = self.conn.unchecked_transaction().map_err(reading)?;
        let mut all = Vec::new();
        for (id, source, quantity) in rows::all_series(&snapshot).map_err(reading)? {
            if !sources.contains(&source.as_str()) {
                continue;
            }
            let source: Arc<str> = source.into();
            for day in thinned_days(&snapshot, id, &span).map_err(reading)? {
                for (start_ms, hour) in thinning::stored(&snapshot, id, day).map_err(reading)? {
                    let at = Timestamp::from_unix_ms(start_ms + HOUR_MS / 2);
                    let measured = match quantity {
                        Quantity::On => Some(Measured::Duty(hour.extent.mean.clamp(0.0, 1.0))),
                        other => other.measured(hour.extent.mean).ok(),
                    };
                    if let (false, true, Some(measured)) = (hour.rejected, span.contains(&at), measured) {
                        all.push(HistoricReading { source: Arc::clone(&source), at, measured, rejection: None });
                    }
                }
            }
        }
        all.sort_by_key(|reading| reading.at);
        Ok(all)
    }
}

/// The days of a series that touch `span` and of which only hours are left, oldest first.
fn thinned_days(conn: &Connection, series: i64, span: &Range<Timestamp>) -> rusqlite::Result<Vec<i64>> {
    let sql = "SELECT day FROM thinned WHERE series = ?1 AND day >= ?2 AND day <= ?3 ORDER BY day";
    let days = [series, day_of(span.start.unix_ms()), day_of(span.end.unix_ms())];
    conn.prepare_cached(sql)?.query_map(days, |row| row.get(0))?.collect()
}
