//! What history knows of its mirror: how far it has come, and what is still due to it.
//!
//! Readings are sent in the order of arrival, by their row's number. What is packed before it was sent, what is not
//! believed after all, and everything that was there before the mirror was set up stands in `mirror_due`, by source
//! and span. Sending something twice changes nothing at the other end, so a mark may lag behind; it never runs ahead.
use super::codec::{DAY_MS, Row};
use super::errors::HistoryError;
use super::read::{Reader, reading};
use super::rows;
use super::types::{AlarmRecord, HistoricReading};
use enclosure::{Span, Timestamp};
use rusqlite::{Connection, OptionalExtension as _, Result, params};
use std::sync::Arc;

/// Lines of estimates that wait for the mirror: a nest's for half a year. Beyond, the oldest are lost, and counted.
pub const LINES_MAX: i64 = 50_000;

/// What the mirror has to say to history.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MirrorNews {
    /// It sends to this target from now on. Another one than before: everything that is there is due to it.
    Target(String),
    /// It has come so far.
    Mark(MirrorMark),
}

/// How far the mirror has come.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MirrorMark {
    /// Number of the last reading sent, in the order of arrival.
    pub reading: i64,
    /// Id of the last alarm change sent.
    pub change: i64,
    /// Number of the last line of estimates sent.
    pub line: i64,
    /// What was due and is done, by its number.
    pub done: Vec<i64>,
    /// What was lost since the last mark: refused for good by the other end.
    pub lost: u64,
}

/// Something that waits in line protocol, because it is kept nowhere else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MirrorLines {
    /// When it was so.
    pub at: Timestamp,
    /// Whole lines.
    pub text: String,
}

/// Where the mirror stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MirrorState {
    /// What it sends to.
    pub target: String,
    /// As [`MirrorMark::reading`].
    pub reading: i64,
    /// As [`MirrorMark::change`].
    pub change: i64,
    /// Readings and lines lost in all.
    pub lost: u64,
    /// Readings that arrived since the last one sent.
    pub waiting: u64,
    /// Days of a source that are due.
    pub due: u64,
}

/// A row of `mirror_due`: its number, source, quantity's code, first and last moment, ms.
type Piece = (i64, String, i64, i64, i64);

/// A piece that is due: its number, and what is in it.
pub type Due = (i64, Vec<HistoricReading>);

pub(crate) fn store(conn: &Connection, news: &MirrorNews) -> Result<()> {
    match news {
        MirrorNews::Target(target) => begin(conn, target),
        MirrorNews::Mark(mark) => {
            conn.prepare_cached(
                "UPDATE mirror SET reading = max(reading, ?1), change = max(change, ?2), lost = lost + ?3",
            )?
            .execute(params![mark.reading, mark.change, mark.lost.cast_signed()])?;
            conn.prepare_cached("DELETE FROM mirror_line WHERE id <= ?1")?.execute([mark.line])?;
            let mut done = conn.prepare_cached("DELETE FROM mirror_due WHERE id = ?1")?;
            mark.done.iter().try_for_each(|id| done.execute([id]).map(drop))
        }
    }
}

fn begin(conn: &Connection, target: &str) -> Result<()> {
    let same: Option<bool> = conn.query_row("SELECT target = ?1 FROM mirror", [target], |row| row.get(0)).optional()?;
    if same == Some(true) {
        return Ok(());
    }
    conn.execute_batch("DELETE FROM mirror; DELETE FROM mirror_due; DELETE FROM mirror_line")?;
    conn.execute("INSERT INTO mirror (id, target, reading, change, lost) VALUES (1, ?1, 0, 0, 0)", [target])?;
    conn.execute(
        "INSERT INTO mirror_due (series, t_min, t_max) SELECT series, t_min, t_max FROM chunk ORDER BY day",
        [],
    )
    .map(drop)
}

pub(crate) fn store_lines(conn: &Connection, lines: &MirrorLines) -> Result<()> {
    conn.prepare_cached("INSERT INTO mirror_line (t_ms, text) VALUES (?1, ?2)")?
        .execute(params![lines.at.unix_ms(), lines.text])?;
    let lost = conn
        .prepare_cached("DELETE FROM mirror_line WHERE id <= (SELECT max(id) FROM mirror_line) - ?1")?
        .execute([LINES_MAX])?;
    lose(conn, lost as u64)
}

/// Rows before `end_ms` are about to leave their place: those not sent yet become due.
pub(crate) fn note_packed(conn: &Connection, end_ms: i64) -> Result<()> {
    conn.execute(
        "INSERT INTO mirror_due (series, t_min, t_max) SELECT series, min(t_ms), max(t_ms) FROM hot
         WHERE t_ms < ?1 AND id > (SELECT reading FROM mirror)
         GROUP BY series, (t_ms - ((t_ms % ?2) + ?2) % ?2) / ?2",
        [end_ms, DAY_MS],
    )
    .map(drop)
}

/// A stored reading is not believed after all: it is due again.
pub(crate) fn note_disbelieved(conn: &Connection, series: i64, t_ms: i64) -> Result<()> {
    conn.prepare_cached("INSERT INTO mirror_due (series, t_min, t_max) SELECT ?1, ?2, ?2 FROM mirror")?
        .execute([series, t_ms])
        .map(drop)
}

/// A day of a series is about to be thinned: what of it was due is lost, and counted.
pub(crate) fn note_thinned(conn: &Connection, (series, day): (i64, i64), readings: &[Row]) -> Result<()> {
    let due = {
        let mut due = conn.prepare_cached("SELECT t_min, t_max FROM mirror_due WHERE series = ?1")?;
        let spans = due.query_map([series], |row| Ok(row.get::<_, i64>(0)?..=row.get::<_, i64>(1)?))?;
        spans.collect::<Result<Vec<_>>>()?
    };
    if due.is_empty() {
        return Ok(());
    }
    let lost = readings.iter().filter(|row| due.iter().any(|span| span.contains(&row.t_ms))).count();
    let start_ms = day.saturating_mul(DAY_MS);
    conn.prepare_cached("DELETE FROM mirror_due WHERE series = ?1 AND t_min >= ?2 AND t_max < ?3")?.execute([
        series,
        start_ms,
        start_ms.saturating_add(DAY_MS),
    ])?;
    lose(conn, lost as u64)
}

fn lose(conn: &Connection, lost: u64) -> Result<()> {
    if lost == 0 {
        return Ok(());
    }
    conn.execute("UPDATE mirror SET lost = lost + ?1", [lost.cast_signed()]).map(drop)
}

impl Reader {
    /// Where the mirror stands; none if there never was one.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn mirror(&self) -> std::result::Result<Option<MirrorState>, HistoryError> {
        let sql = "SELECT target, reading, change, lost, (SELECT count(*) FROM hot WHERE id > reading),
                   (SELECT count(*) FROM mirror_due) FROM mirror";
        let number = |row: &rusqlite::Row<'_>, i: usize| row.get::<_, i64>(i).map(|n| u64::try_from(n).unwrap_or(0));
        let found = self.conn.query_row(sql, [], |row| {
            Ok(MirrorState {
                target: row.get(0)?,
                reading: row.get(1)?,
                change: row.get(2)?,
                lost: number(row, 3)?,
                waiting: number(row, 4)?,
                due: number(row, 5)?,
            })
        });
        found.optional().map_err(reading)
    }

    /// The next `most` readings in the order of arrival after number `after`, and the number of the last one.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn arrived(&self, after: i64, most: usize) -> std::result::Result<(Vec<HistoricReading>, i64), HistoryError> {
        let read = || -> Result<_> {
            let mut names = std::collections::HashMap::new();
            for (id, source, quantity) in rows::all_series(&self.conn)? {
                names.insert(id, (Arc::<str>::from(source), quantity));
            }
            let mut statement = self
                .conn
                .prepare_cached("SELECT series, t_ms, v, rejection, id FROM hot WHERE id > ?1 ORDER BY id LIMIT ?2")?;
            let mut found = statement.query(params![after, i64::try_from(most).unwrap_or(i64::MAX)])?;
            let (mut all, mut last) = (Vec::new(), after);
            while let Some(row) = found.next()? {
                last = row.get(4)?;
                let (series, Row { t_ms, v, rejection }) = rows::hot_row(row)?;
                if let Some((source, quantity)) = names.get(&series)
                    && let Ok(measured) = quantity.measured(v)
                {
                    let (source, at) = (Arc::clone(source), Timestamp::from_unix_ms(t_ms));
                    all.push(HistoricReading { source, at, measured, rejection });
                }
            }
            Ok((all, last))
        };
        read().map_err(reading)
    }

    /// Pieces that are due, the first `most` readings of them or a little more; empty: nothing is.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn due(&self, most: usize) -> std::result::Result<Vec<Due>, HistoryError> {
        let pieces = || -> Result<Vec<Piece>> {
            let mut statement = self.conn.prepare_cached(
                "SELECT mirror_due.id, source, quantity, t_min, t_max FROM mirror_due
                 JOIN series ON series.id = series ORDER BY mirror_due.id LIMIT 256",
            )?;
            let rows =
                statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?)))?;
            rows.collect()
        };
        let (mut due, mut n) = (Vec::new(), 0);
        for (id, source, quantity, first, last) in pieces().map_err(reading)? {
            if n >= most {
                break;
            }
            let span = Timestamp::from_unix_ms(first)..Timestamp::from_unix_ms(last.saturating_add(1));
            let mut piece = self.readings(Some(&[&source]), span)?;
            piece.retain(|r| r.value().0.code() == quantity);
            n += piece.len();
            due.push((id, piece));
        }
        Ok(due)
    }

    /// The next `most` alarm changes after id `after`, and the last one's id. Where one alarm changed twice within a
    /// millisecond the second stands a millisecond later: at the other end a series has one point a moment.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn changes_after(&self, after: i64, most: usize) -> std::result::Result<(Vec<AlarmRecord>, i64), HistoryError> {
        let read = || -> Result<_> {
            let sql = format!(
                "SELECT {}, (SELECT count(*) FROM alarm_change b WHERE b.t_ms = a.t_ms AND b.id < a.id
                             AND b.alarm = a.alarm AND b.nest IS a.nest AND b.probe IS a.probe AND b.node IS a.node)
                 FROM alarm_change a WHERE id > ?1 ORDER BY id LIMIT ?2",
                rows::CHANGE_COLUMNS
            );
            let mut statement = self.conn.prepare_cached(&sql)?;
            let mut found = statement.query(params![after, i64::try_from(most).unwrap_or(i64::MAX)])?;
            let (mut all, mut last) = (Vec::new(), after);
            while let Some(row) = found.next()? {
                last = row.get(0)?;
                let later = Span::from_ms(row.get(11)?);
                all.extend(rows::change_row(row)?.map(|(_, c)| AlarmRecord { at: c.at.plus(later), ..c }));
            }
            Ok((all, last))
        };
        read().map_err(reading)
    }

    /// The next `most` pieces of lines that wait, and the number of the last one.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn mirror_lines(&self, most: usize) -> std::result::Result<(Vec<String>, i64), HistoryError> {
        let read = || -> Result<_> {
            let mut statement = self.conn.prepare_cached("SELECT id, text FROM mirror_line ORDER BY id LIMIT ?1")?;
            let rows: Result<Vec<(i64, String)>> = statement
                .query_map([i64::try_from(most).unwrap_or(i64::MAX)], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect();
            let rows = rows?;
            let last = rows.last().map_or(0, |(id, _)| *id);
            Ok((rows.into_iter().map(|(_, text)| text).collect(), last))
        };
        read().map_err(reading)
    }
}

/// The number that the next reading gets: never one that was given before, though its row has left since.
pub(crate) fn next_number(conn: &Connection) -> Result<i64> {
    conn.query_row(
        "SELECT 1 + max(coalesce((SELECT max(id) FROM hot), 0),
                        coalesce((SELECT CAST(value AS INTEGER) FROM fact WHERE name = 'hot_last'), 0))",
        [],
        |row| row.get(0),
    )
}

/// Remembers the highest number before rows leave.
pub(crate) fn keep_number(conn: &Connection) -> Result<()> {
    let last: i64 = conn.query_row("SELECT coalesce(max(id), 0) FROM hot", [], |row| row.get(0))?;
    rows::set_fact(conn, "hot_last", &last.to_string())
}
