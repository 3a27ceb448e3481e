//! Closed days, from rows to chunks: a sixteenth of the space, and a week of a series in a moment.
use super::codec::{self, DAY_MS, Row, day_of};
use super::errors::WriteError;
use super::mirroring;
use super::rows;
use super::store::Store;
use enclosure::Timestamp;
use rusqlite::Transaction;
use std::collections::BTreeMap;

/// Rows that one step packs at most, unless a single day has more. A step is one commit, and commits of new
/// readings wait for it.
const STEP_ROWS: i64 = 200_000;

/// What one packing step did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Packed {
    /// Readings moved from rows into chunks.
    pub readings: u64,
    /// Chunks written.
    pub chunks: u64,
    /// Chunks that could not be unpacked and were set aside, their bytes kept.
    pub set_aside: u64,
    /// Whether closed days remain for a further step.
    pub more: bool,
}

impl Store {
    /// Packs the oldest UTC days that ended before `before`, as many as one step takes.
    ///
    /// Late readings join the chunk of their day. All or nothing: chunks and deleted rows share one commit.
    ///
    /// # Errors
    /// [`WriteError`]; nothing has changed then.
    pub fn pack_step(&mut self, before: Timestamp) -> Result<Packed, WriteError> {
        let end_ms = day_of(before.unix_ms()).saturating_mul(DAY_MS);
        let packed = self.try_pack(end_ms).map_err(|error| WriteError::of_group(&error))?;
        Ok(packed)
    }

    fn try_pack(&mut self, end_ms: i64) -> rusqlite::Result<Packed> {
        let tx = self.conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        let Some((step_end_ms, more)) = step_end(&tx, end_ms)? else { return Ok(Packed::default()) };
        let mut packed = Packed { more, ..Packed::default() };
        for ((day, series), late) in hot_days(&tx, step_end_ms)? {
            packed.readings += late.len() as u64;
            packed.chunks += 1;
            packed.set_aside += u64::from(!pack_one(&tx, day, series, late)?);
            #[cfg(test)]
            self.faults.step()?;
        }
        mirroring::note_packed(&tx, step_end_ms)?;
        mirroring::keep_number(&tx)?;
        tx.execute("DELETE FROM hot WHERE t_ms < ?1", [step_end_ms])?;
        #[cfg(test)]
        self.faults.step()?;
        tx.commit()?;
        self.forget_before(day_of(step_end_ms));
        Ok(packed)
    }
}

/// Until when this step packs, and whether closed days remain after it.
fn step_end(tx: &Transaction<'_>, end_ms: i64) -> rusqlite::Result<Option<(i64, bool)>> {
    let mut statement = tx.prepare(
        "SELECT (t_ms - ((t_ms % ?2) + ?2) % ?2) / ?2 AS day, count(*) FROM hot WHERE t_ms < ?1 GROUP BY day ORDER BY day",
    )?;
    let mut days = statement.query([end_ms, DAY_MS])?;
    let (mut rows, mut end) = (0_i64, None);
    while let Some(row) = days.next()? {
        let (day, n): (i64, i64) = (row.get(0)?, row.get(1)?);
        rows = rows.saturating_add(n);
        if end.is_some() && rows > STEP_ROWS {
            return Ok(end.map(|end| (end, true)));
        }
        end = Some(day.saturating_add(1).saturating_mul(DAY_MS));
    }
    Ok(end.map(|end| (end, false)))
}

/// The rows of all days before `end_ms`, by day and series, in the order of arrival.
fn hot_days(tx: &Transaction<'_>, end_ms: i64) -> rusqlite::Result<BTreeMap<(i64, i64), Vec<Row>>> {
    let mut days: BTreeMap<(i64, i64), Vec<Row>> = BTreeMap::new();
    let mut statement = tx.prepare("SELECT series, t_ms, v, rejection FROM hot WHERE t_ms < ?1 ORDER BY id")?;
    let mut found = statement.query([end_ms])?;
    while let Some(row) = found.next()? {
        let (series, row) = rows::hot_row(row)?;
        days.entry((day_of(row.t_ms), series)).or_default().push(row);
    }
    Ok(days)
}

/// Packs one day of one series, what was packed of it before included; false if that was damaged.
fn pack_one(tx: &Transaction<'_>, day: i64, series: i64, late: Vec<Row>) -> rusqlite::Result<bool> {
    let (mut all, sound) = match rows::chunk(tx, series, day)?.map(|chunk| codec::unpack(&chunk)) {
        Some(Ok(rows)) => (rows, true),
        Some(Err(why)) => {
            tracing::error!(series, day, why, "a packed day cannot be read; its bytes are kept in chunk_aside");
            rows::set_chunk_aside(tx, series, day)?;
            (Vec::new(), false)
        }
        None => (Vec::new(), true),
    };
    all.extend(late);
    merge(&mut all);
    let chunk = codec::pack(day, &all)?;
    rows::replace_chunk(tx, series, &chunk, &all)?;
    Ok(sound)
}

/// Sorts by time; of several readings of one moment the first stays.
pub(crate) fn merge(rows: &mut Vec<Row>) {
    rows.sort_by_key(|row| row.t_ms);
    rows.dedup_by_key(|row| row.t_ms);
}
