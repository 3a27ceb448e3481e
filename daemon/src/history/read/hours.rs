//! Days of which only hours are left, as something to draw.
use super::{Reader, reading};
use crate::history::codec::day_of;
use crate::history::errors::HistoryError;
use crate::history::rows;
use crate::history::thinning::{self, HOUR_MS};
use crate::history::types::{HistoricReading, Quantity};
use enclosure::{Measured, Timestamp};
use std::ops::Range;
use std::sync::Arc;

impl Reader {
    /// The mean of the believed readings of `sources` in each hour of which nothing else is left, at its middle, in the
    /// order of time. A drive that said on and off comes back as a duty.
    ///
    /// # Errors
    /// [`HistoryError::Sql`]. A damaged day is left out and logged.
    pub fn hours(&self, sources: &[&str], span: Range<Timestamp>) -> Result<Vec<HistoricReading>, HistoryError> {
        let snapshot = self.conn.unchecked_transaction().map_err(reading)?;
        let mut all = Vec::new();
        let mut statement = snapshot
            .prepare_cached("SELECT day FROM thinned WHERE series = ?1 AND day >= ?2 AND day <= ?3")
            .map_err(reading)?;
        for (id, source, quantity) in rows::all_series(&snapshot).map_err(reading)? {
            if !sources.contains(&source.as_str()) {
                continue;
            }
            let source: Arc<str> = source.into();
            let days = [id, day_of(span.start.unix_ms()), day_of(span.end.unix_ms())];
            let days: rusqlite::Result<Vec<i64>> =
                statement.query_map(days, |row| row.get(0)).map_err(reading)?.collect();
            for day in days.map_err(reading)? {
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
