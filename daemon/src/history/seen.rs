//! Which readings are there already, in four bytes a reading: `hot` itself has no index (see [`super::schema`]).
use super::codec::{day_of, offset_of};
use super::rows;
use rusqlite::{Connection, Result};
use std::collections::HashMap;

/// Readings of one series on one day: a little over two a second. More are refused and counted.
pub const SERIES_DAY_MAX: usize = 200_000;
/// Readings that wait to be packed (16 MB here); more are refused and counted. At ten readings a second that is
/// four days and a half.
pub const HOT_READINGS_MAX: usize = 4_000_000;
/// Packed readings remembered because late ones were compared with them; over it their days are forgotten.
const PACKED_MAX: usize = 1_000_000;

/// What became of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// New: to be stored.
    New,
    /// There already.
    Again,
    /// One of its bounds is reached.
    Crowded,
}

/// Times of the stored readings of every (series, day) that has hot rows or was asked for.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    days: HashMap<(i64, i64), Day>,
    hot: usize,
    packed: usize,
}

#[derive(Debug, Default)]
struct Day {
    /// Milliseconds within the day, rising.
    offsets: Vec<u32>,
    /// How many of them are in `hot`.
    hot: usize,
    /// Whether the day's chunk, if there is one, was read into it.
    with_chunk: bool,
}

impl Seen {
    /// What `hot` holds.
    pub(crate) fn load(conn: &Connection) -> Result<Self> {
        let mut seen = Self::default();
        let mut statement = conn.prepare("SELECT series, t_ms FROM hot")?;
        let mut found = statement.query([])?;
        while let Some(row) = found.next()? {
            let (series, t_ms): (i64, i64) = (row.get(0)?, row.get(1)?);
            let day = seen.days.entry((series, day_of(t_ms))).or_default();
            day.add(offset_of(t_ms));
            day.hot += 1;
            seen.hot += 1;
        }
        Ok(seen)
    }

    /// Whether a reading is new; then it counts as there from now on.
    pub(crate) fn add(&mut self, conn: &Connection, series: i64, t_ms: i64) -> Result<Place> {
        if self.packed > PACKED_MAX {
            self.days.retain(|_, day| day.hot > 0);
            self.count();
        }
        let key = (series, day_of(t_ms));
        let day = self.days.entry(key).or_default();
        if !day.with_chunk {
            let before = day.offsets.len();
            // A damaged day can tell nothing of its readings: its repetitions are stored again rather than lost.
            let packed = rows::chunk(conn, key.0, key.1)?.and_then(|chunk| super::codec::unpack(&chunk).ok());
            for row in packed.unwrap_or_default() {
                day.add(offset_of(row.t_ms));
            }
            day.with_chunk = true;
            self.packed += day.offsets.len().saturating_sub(before);
        }
        let offset = offset_of(t_ms);
        if day.offsets.binary_search(&offset).is_ok() {
            return Ok(Place::Again);
        }
        if day.offsets.len() >= SERIES_DAY_MAX || self.hot >= HOT_READINGS_MAX {
            return Ok(Place::Crowded);
        }
        day.add(offset);
        day.hot += 1;
        self.hot += 1;
        Ok(Place::New)
    }

    /// Takes back what a failed commit had added.
    pub(crate) fn remove(&mut self, series: i64, t_ms: i64) {
        if let Some(day) = self.days.get_mut(&(series, day_of(t_ms)))
            && let Ok(at) = day.offsets.binary_search(&offset_of(t_ms))
        {
            day.offsets.remove(at);
            day.hot = day.hot.saturating_sub(1);
            self.hot = self.hot.saturating_sub(1);
        }
    }

    /// Forgets days that hold no hot rows any more: those before `day`.
    pub(crate) fn forget_before(&mut self, day: i64) {
        self.days.retain(|(_, d), _| *d >= day);
        self.count();
    }

    fn count(&mut self) {
        self.hot = self.days.values().map(|day| day.hot).sum();
        self.packed = self.days.values().map(|day| day.offsets.len().saturating_sub(day.hot)).sum();
    }
}

impl Day {
    fn add(&mut self, offset: u32) {
        if self.offsets.last().is_none_or(|last| *last < offset) {
            self.offsets.push(offset);
        } else if let Err(at) = self.offsets.binary_search(&offset) {
            self.offsets.insert(at, offset);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::codec::DAY_MS;

    #[test]
    fn a_flood_fills_one_day_of_one_series_only() {
        let mut conn = Connection::open_in_memory().unwrap();
        crate::history::schema::migrate(&mut conn).unwrap();
        let mut seen = Seen::default();
        let max = i64::try_from(SERIES_DAY_MAX).unwrap();
        for t_ms in 0..max {
            assert_eq!(seen.add(&conn, 1, t_ms).unwrap(), Place::New);
        }
        assert_eq!(seen.add(&conn, 1, max).unwrap(), Place::Crowded);
        assert_eq!(seen.add(&conn, 1, 7).unwrap(), Place::Again);
        assert_eq!(seen.add(&conn, 2, max).unwrap(), Place::New);
        assert_eq!(seen.add(&conn, 1, DAY_MS).unwrap(), Place::New);
        seen.remove(1, 7);
        assert_eq!(seen.add(&conn, 1, 7).unwrap(), Place::New, "what was taken back has room again");
    }
}
