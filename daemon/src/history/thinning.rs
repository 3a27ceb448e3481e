//! Old days in short: of each hour of a series how many readings, the lowest, the highest and their mean. A spike of
//! one reading outlives its reading.
//!
//! Days leave by age ([`Keep::max_days`]) or by the file's size ([`Keep::max_bytes`]), the oldest first. What leaves is
//! thinned to hours; hours leave only by size, once nothing but the last week is left to be thinned. Alarms, notes,
//! messages, gaps and settings never leave.
use super::codec::{self, DAY_MS, Row, checksum, day_of, offset_of};
use super::errors::WriteError;
use super::mirroring;
use super::read::Extent;
use super::rows;
use super::store::Store;
use enclosure::Timestamp;
use rusqlite::{Connection, Transaction};
use std::collections::BTreeMap;

/// Days that size alone does not thin while there are older hours to drop.
const RAW_KEPT_DAYS: i64 = 7;
/// Pages that one step gives back to the file system; a step is one commit, and new readings wait for it.
const PAGES_BACK: i64 = 1_000;
pub(crate) const HOUR_MS: i64 = 3_600_000;

/// What may stay; by default everything, for ever.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Keep {
    /// Bytes of the file in use above which the oldest day is thinned.
    pub max_bytes: Option<u64>,
    /// Days above which readings are thinned.
    pub max_days: Option<u32>,
}

/// What one step of thinning did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Thinned {
    /// Readings of which only their hour is left.
    pub readings: u64,
    /// Readings whose hours were dropped too: of them nothing is left.
    pub dropped: u64,
    /// Days of a series that could not be unpacked; their bytes are kept.
    pub set_aside: u64,
    /// Whether a further step is due.
    pub more: bool,
    /// The file is larger than it may be, and nothing that may leave is left.
    pub over: bool,
}

/// One hour of a day of a series, its believed or its rejected readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Hour {
    /// 0 to 23, UTC.
    pub(crate) hour: u32,
    pub(crate) rejected: bool,
    pub(crate) extent: Extent,
}

/// A day of hours as it is stored.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ThinDay {
    pub(crate) places: Vec<u8>,
    pub(crate) ends: Vec<u8>,
    pub(crate) means: Vec<u8>,
    pub(crate) checksum: i64,
}

enum Next {
    Thin(i64),
    Drop(i64),
    GiveBack,
    Nothing { over: bool },
}

impl Store {
    /// Thins or drops the oldest day if `keep` asks for it, or gives the room it left back to the file system.
    ///
    /// # Errors
    /// [`WriteError`]; nothing has changed then.
    pub fn thin_step(&mut self, keep: &Keep, now: Timestamp) -> Result<Thinned, WriteError> {
        if *keep == Keep::default() {
            return Ok(Thinned::default());
        }
        self.try_thin(keep, day_of(now.unix_ms())).map_err(|error| WriteError::of_group(&error))
    }

    /// Gives all the room that packing left in the file back to the file system: after a large import.
    ///
    /// # Errors
    /// [`WriteError`]; the file is larger than it need be then.
    pub fn give_back(&mut self) -> Result<(), WriteError> {
        give_back(&self.conn, 0).map_err(|error| WriteError::of_group(&error))
    }

    fn try_thin(&mut self, keep: &Keep, today: i64) -> rusqlite::Result<Thinned> {
        let tx = self.conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        let done = match next(&tx, keep, today)? {
            Next::Thin(day) => thin_day(&tx, day)?,
            Next::Drop(day) => drop_day(&tx, day)?,
            Next::GiveBack => {
                give_back(&tx, PAGES_BACK)?;
                Thinned::default()
            }
            Next::Nothing { over } => return Ok(Thinned { over, ..Thinned::default() }),
        };
        #[cfg(test)]
        self.faults.step()?;
        tx.commit()?;
        Ok(Thinned { more: true, ..done })
    }
}

/// Gives up to `pages` free pages back to the file system, all if 0. The statement gives one page a row: it must be
/// stepped to its end.
fn give_back(conn: &Connection, pages: i64) -> rusqlite::Result<()> {
    let mut statement = conn.prepare(&format!("PRAGMA incremental_vacuum({pages})"))?;
    let mut freed = statement.query([])?;
    while freed.next()?.is_some() {}
    Ok(())
}

fn next(tx: &Transaction<'_>, keep: &Keep, today: i64) -> rusqlite::Result<Next> {
    let oldest = |table| tx.query_row(&format!("SELECT min(day) FROM {table}"), [], |row| row.get::<_, Option<i64>>(0));
    let (raw, thin) = (oldest("chunk")?, oldest("thinned")?);
    let pragma = |name| tx.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let [page, pages, free] = [pragma("page_size")?, pragma("page_count")?, pragma("freelist_count")?];
    let above = |pages: i64| keep.max_bytes.is_some_and(|max| u64::try_from(pages * page).unwrap_or(0) > max);
    let over = above(pages - free);
    let aged = |day: i64| keep.max_days.is_some_and(|days| day < today.saturating_sub(i64::from(days)));
    Ok(match (raw, thin) {
        (Some(day), _) if aged(day) => Next::Thin(day),
        (Some(day), thin) if over && (day < today - RAW_KEPT_DAYS || thin.is_none()) => Next::Thin(day),
        (_, Some(day)) if over => Next::Drop(day),
        // A file that an older version made does not shrink; what is free in it is used again.
        _ if above(pages) && free > 0 && pragma("auto_vacuum")? == 2 => Next::GiveBack,
        _ => Next::Nothing { over },
    })
}

fn thin_day(tx: &Transaction<'_>, day: i64) -> rusqlite::Result<Thinned> {
    let mut done = Thinned::default();
    for series in rows::series_of_day(tx, "chunk", day)? {
        match rows::chunk(tx, series, day)?.map(|chunk| codec::unpack(&chunk)) {
            Some(Ok(readings)) => {
                mirroring::note_thinned(tx, (series, day), &readings)?;
                let stored = rows::thinned(tx, series, day)?.unwrap_or_default();
                let hours = merged(stored, hours_of(&readings));
                let packed = pack(&hours)?;
                rows::replace_thinned(tx, (series, day), hours.iter().map(|h| h.extent.n).sum(), &packed)?;
                done.readings += readings.len() as u64;
            }
            Some(Err(why)) => {
                tracing::error!(series, day, why, "a packed day cannot be read; its bytes are kept in chunk_aside");
                rows::set_chunk_aside(tx, series, day)?;
                done.set_aside += 1;
            }
            None => {}
        }
    }
    tx.execute("DELETE FROM chunk WHERE day = ?1", [day])?;
    Ok(done)
}

fn drop_day(tx: &Transaction<'_>, day: i64) -> rusqlite::Result<Thinned> {
    let n: i64 = tx.query_row("SELECT coalesce(sum(n), 0) FROM thinned WHERE day = ?1", [day], |row| row.get(0))?;
    tx.execute("DELETE FROM thinned WHERE day = ?1", [day])?;
    Ok(Thinned { dropped: u64::try_from(n).unwrap_or(0), ..Thinned::default() })
}

/// The hours of a day's readings.
pub(crate) fn hours_of(readings: &[Row]) -> Vec<Hour> {
    let mut sums: BTreeMap<(u32, bool), Extent> = BTreeMap::new();
    for row in readings {
        let key = (offset_of(row.t_ms) / HOUR_MS as u32, row.rejection.is_some());
        let sum = sums.entry(key).or_insert(Extent { n: 0, min: row.v, max: row.v, mean: 0.0 });
        sum.n += 1;
        sum.min = sum.min.min(row.v);
        sum.max = sum.max.max(row.v);
        sum.mean += (row.v - sum.mean) / sum.n as f64;
    }
    sums.into_iter().map(|((hour, rejected), extent)| Hour { hour, rejected, extent }).collect()
}

/// What is known of an hour from both. Readings that came again can no longer be told from new ones: the fuller side
/// gives number and mean, so that an import of what was thinned changes nothing.
fn merged(stored: Vec<Hour>, new: Vec<Hour>) -> Vec<Hour> {
    let mut hours: BTreeMap<(u32, bool), Extent> = BTreeMap::new();
    for Hour { hour, rejected, extent } in stored.into_iter().chain(new) {
        let all = hours.entry((hour, rejected)).or_insert(extent);
        let fuller = if extent.n > all.n { extent } else { *all };
        *all = Extent { min: all.min.min(extent.min), max: all.max.max(extent.max), ..fuller };
    }
    hours.into_iter().map(|((hour, rejected), extent)| Hour { hour, rejected, extent }).collect()
}

/// Packs a day's hours. Lowest and highest stay to the bit; a mean keeps seven digits.
pub(crate) fn pack(hours: &[Hour]) -> Result<ThinDay, codec::Unpackable> {
    let numbers = |h: &Hour| [h.hour * 2 + u32::from(h.rejected), u32::try_from(h.extent.n).unwrap_or(u32::MAX)];
    let places: Vec<u32> = [0, 1].iter().flat_map(|i| hours.iter().map(move |h| numbers(h)[*i])).collect();
    let ends: Vec<f64> = hours.iter().map(|h| h.extent.min).chain(hours.iter().map(|h| h.extent.max)).collect();
    let means: Vec<f32> = hours.iter().map(|h| h.extent.mean as f32).collect();
    let (places, ends, means) = (codec::squeezed(&places)?, codec::squeezed(&ends)?, codec::squeezed(&means)?);
    let checksum = checksum([&places, &ends, &means]);
    Ok(ThinDay { places, ends, means, checksum })
}

/// Unpacks a day's hours.
pub(crate) fn unpack(day: &ThinDay) -> Result<Vec<Hour>, &'static str> {
    if checksum([&day.places, &day.ends, &day.means]) != day.checksum {
        return Err("its checksum is wrong");
    }
    let places: Vec<u32> = pco::standalone::simple_decompress(&day.places).map_err(|_| "its hours do not unpack")?;
    let ends: Vec<f64> = pco::standalone::simple_decompress(&day.ends).map_err(|_| "its values do not unpack")?;
    let means: Vec<f32> = pco::standalone::simple_decompress(&day.means).map_err(|_| "its means do not unpack")?;
    let n = means.len();
    if places.len() != 2 * n || ends.len() != 2 * n {
        return Err("its count is wrong");
    }
    let ((places, counts), (lows, highs)) = (places.split_at(n), ends.split_at(n));
    let hours = places.iter().zip(counts).zip(lows.iter().zip(highs)).zip(&means);
    Ok(hours
        .map(|(((place, n), (min, max)), mean)| {
            let extent = Extent { n: u64::from(*n), min: *min, max: *max, mean: f64::from(*mean) };
            Hour { hour: place / 2, rejected: place % 2 == 1, extent }
        })
        .collect())
}

/// The stored hours of one day of a series with the moment each begins; a damaged day is left out and logged.
pub(crate) fn stored(conn: &Connection, series: i64, day: i64) -> rusqlite::Result<Vec<(i64, Hour)>> {
    let hours = rows::thinned(conn, series, day)?.unwrap_or_default();
    let start_ms = day.saturating_mul(DAY_MS);
    Ok(hours.into_iter().map(|h| (start_ms.saturating_add(i64::from(h.hour) * HOUR_MS), h)).collect())
}

#[cfg(test)]
#[path = "thinning_tests.rs"]
mod tests;
