//! A long span as few numbers: lowest, highest and mean of each part, so that a spike of one reading stays visible.
use super::{Reader, day_rows, day_start_ms, reading};
use crate::history::codec::{DAY_MS, Row, day_of};
use crate::history::errors::HistoryError;
use crate::history::rows;
use crate::history::thinning::{self, HOUR_MS};
use crate::history::types::Quantity;
use enclosure::Timestamp;
use rusqlite::{Connection, OptionalExtension as _, params};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// Most buckets one call gives.
const BUCKETS_MAX: usize = 100_000;

/// Some readings in short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// How many.
    pub n: u64,
    /// The lowest.
    pub min: f64,
    /// The highest.
    pub max: f64,
    /// Arithmetic mean, each reading counting once.
    pub mean: f64,
}

/// The readings of one part of a span, in the quantity's own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bucket {
    /// Where the part starts; it ends where the next one starts.
    pub from: Timestamp,
    /// Readings that were believed; `None` if there are none.
    pub believed: Option<Extent>,
    /// Readings that were not.
    pub rejected: Option<Extent>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    n: u64,
    min: f64,
    max: f64,
    sum: f64,
}

/// The parts of a span.
struct Grid {
    span: Range<i64>,
    sums: Vec<[Sum; 2]>,
}

impl Reader {
    /// One series over `span` in `n` parts of equal length (to the millisecond), empty ones included.
    ///
    /// Part `i` starts at the span's start plus `i / n` of its length. Every reading in the span is in one part. Of
    /// days of which only hours are left, an hour lies as a whole in the part of the middle of what it shares with the
    /// span.
    ///
    /// # Errors
    /// [`HistoryError::Sql`]. A damaged day is left out and logged.
    pub fn buckets(
        &self,
        (source, quantity): (&str, Quantity),
        span: Range<Timestamp>,
        n: usize,
    ) -> Result<Vec<Bucket>, HistoryError> {
        let mut grid = Grid::new(span.start.unix_ms()..span.end.unix_ms(), n.clamp(1, BUCKETS_MAX));
        let snapshot = self.conn.unchecked_transaction().map_err(reading)?;
        let id = snapshot.query_row(
            "SELECT id FROM series WHERE source = ?1 AND quantity = ?2",
            params![source, quantity.code()],
            |row| row.get::<_, i64>(0),
        );
        if let Some(id) = id.optional().map_err(reading)? {
            grid.fill(&snapshot, id).map_err(reading)?;
        }
        Ok(grid.buckets())
    }
}

impl Grid {
    fn new(span: Range<i64>, n: usize) -> Self {
        Self { span, sums: vec![<[Sum; 2]>::default(); n] }
    }

    fn length_ms(&self) -> i128 {
        (i128::from(self.span.end) - i128::from(self.span.start)).max(1)
    }

    /// The part of a moment; `None` outside the span.
    fn place(&self, t_ms: i64) -> Option<usize> {
        let since = self.span.contains(&t_ms).then(|| i128::from(t_ms) - i128::from(self.span.start))?;
        usize::try_from(since * self.sums.len() as i128 / self.length_ms()).ok()
    }

    fn fill(&mut self, conn: &Connection, series: i64) -> rusqlite::Result<()> {
        let mut hot: BTreeMap<i64, Vec<Row>> = BTreeMap::new();
        let mut statement = conn.prepare_cached(
            "SELECT series, t_ms, v, rejection FROM hot WHERE t_ms >= ?1 AND t_ms < ?2 AND series = ?3 ORDER BY id",
        )?;
        let mut found = statement.query([self.span.start, self.span.end, series])?;
        while let Some(row) = found.next()? {
            let (_, row) = rows::hot_row(row)?;
            hot.entry(day_of(row.t_ms)).or_default().push(row);
        }
        let mut days: BTreeSet<i64> = super::packed_days(conn, &self.span)?;
        days.extend(hot.keys());
        for day in days {
            for (start_ms, hour) in thinning::stored(conn, series, day)? {
                let shared = start_ms.max(self.span.start)..(start_ms + HOUR_MS).min(self.span.end);
                let middle = shared.start + (shared.end - shared.start) / 2;
                if let Some(sums) = self.place(middle).and_then(|i| self.sums.get_mut(i)) {
                    sums[usize::from(hour.rejected)].add(&Sum::of(&hour.extent));
                }
            }
            let late = hot.remove(&day).unwrap_or_default();
            if late.is_empty() && self.add_summary(conn, series, day)? {
                continue;
            }
            for row in day_rows(conn, series, day, late)? {
                if let Some(sums) = self.place(row.t_ms).and_then(|i| self.sums.get_mut(i)) {
                    sums[usize::from(row.rejection.is_some())].add(&Sum::one(row.v));
                }
            }
        }
        Ok(())
    }

    /// Takes a packed day by its summary where it lies in one part as a whole and holds no rejection.
    fn add_summary(&mut self, conn: &Connection, series: i64, day: i64) -> rusqlite::Result<bool> {
        let start_ms = day_start_ms(day);
        let (first, last) = (self.place(start_ms), self.place(start_ms.saturating_add(DAY_MS - 1)));
        let Some(sums) = first.filter(|_| first == last).and_then(|i| self.sums.get_mut(i)) else { return Ok(false) };
        let mut statement = conn.prepare_cached(
            "SELECT n, v_min, v_max, v_sum FROM chunk WHERE day = ?1 AND series = ?2 AND believed = n AND n > 0",
        )?;
        let summary = statement
            .query_row([day, series], |row| {
                let n = u64::try_from(row.get::<_, i64>(0)?).unwrap_or(0);
                Ok(Sum { n, min: row.get(1)?, max: row.get(2)?, sum: row.get(3)? })
            })
            .optional()?;
        if let Some(summary) = &summary {
            sums[0].add(summary);
        }
        Ok(summary.is_some())
    }

    fn buckets(&self) -> Vec<Bucket> {
        let n = self.sums.len() as i128;
        let start = |i: usize| {
            // The first whole millisecond of the part.
            let since = (i as i128 * self.length_ms() + n - 1) / n;
            let t_ms = i64::try_from(i128::from(self.span.start) + since).unwrap_or(i64::MAX);
            Timestamp::from_unix_ms(t_ms)
        };
        let one = |(i, [believed, rejected]): (usize, &[Sum; 2])| Bucket {
            from: start(i),
            believed: believed.extent(),
            rejected: rejected.extent(),
        };
        self.sums.iter().enumerate().map(one).collect()
    }
}

impl Sum {
    fn one(v: f64) -> Self {
        Self { n: 1, min: v, max: v, sum: v }
    }

    fn of(extent: &Extent) -> Self {
        Self { n: extent.n, min: extent.min, max: extent.max, sum: extent.mean * extent.n as f64 }
    }

    fn add(&mut self, other: &Self) {
        let both = self.n > 0;
        self.min = if both { self.min.min(other.min) } else { other.min };
        self.max = if both { self.max.max(other.max) } else { other.max };
        self.n += other.n;
        self.sum += other.sum;
    }

    fn extent(&self) -> Option<Extent> {
        (self.n > 0).then(|| Extent { n: self.n, min: self.min, max: self.max, mean: self.sum / self.n as f64 })
    }
}
