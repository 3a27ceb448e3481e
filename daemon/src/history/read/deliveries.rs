//! What became of messages: for whoever goes on telling after a restart.
use super::{Reader, reading};
use crate::history::{Delivery, HistoryError, rows};

impl Reader {
    /// Attempts to tell of these changes (by id), oldest first.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn deliveries_about(&self, changes: &[i64]) -> Result<Vec<Delivery>, HistoryError> {
        let ids = serde_json::to_string(changes).unwrap_or_default();
        let sql = "SELECT change, way, attempt, t_ms, outcome FROM delivery
                   WHERE change IN (SELECT value FROM json_each(?1)) ORDER BY id";
        let mut statement = self.conn.prepare_cached(sql).map_err(reading)?;
        let found = statement.query_map([ids], rows::delivery_row).map_err(reading)?;
        found.collect::<rusqlite::Result<_>>().map_err(reading)
    }

    /// Of each way the newest of each outcome that is about no change: tests, and what was seen of them.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn last_outcomes(&self) -> Result<Vec<Delivery>, HistoryError> {
        let sql = "SELECT change, way, attempt, max(t_ms), outcome FROM delivery WHERE change IS NULL
                   GROUP BY way, outcome ORDER BY 4";
        let mut statement = self.conn.prepare_cached(sql).map_err(reading)?;
        let found = statement.query_map([], rows::delivery_row).map_err(reading)?;
        found.collect::<rusqlite::Result<_>>().map_err(reading)
    }
}
