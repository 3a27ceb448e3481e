//! Looking back: a connection of its own that reads while the writer writes, or while no daemon runs.
use super::codec::{self, DAY_MS, Row, day_of};
use super::errors::{HistoryError, Step};
use super::packing::merge;
use super::receipts::Receipt;
use super::rows;
use super::schema;
use super::types::{AlarmRecord, Delivery, Gap, HistoricReading, KeeperNote, Quantity, SettingsInForce};
use enclosure::Timestamp;
use rusqlite::{Connection, OpenFlags, OptionalExtension as _};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

mod buckets;
mod deliveries;
mod hours;
mod sizes;
pub use buckets::{Bucket, Extent};
pub use hours::HourLeft;
pub use sizes::Sizes;

/// Reads history. Each call sees one moment of it.
#[derive(Debug)]
pub struct Reader {
    pub(super) conn: Connection,
    path: PathBuf,
}

/// Alarms with their last change, and how many stored ones could not be read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StandingAlarms {
    /// The latest change of every alarm that ever changed, with its id.
    pub latest: Vec<(i64, AlarmRecord)>,
    /// Changes left out because a word in them is unknown.
    pub unreadable: u64,
}

type Series = BTreeMap<i64, (Arc<str>, Quantity)>;

impl Reader {
    /// Opens the history at `path` for reading; the file is not changed.
    ///
    /// # Errors
    /// [`HistoryError`] where there is none, it is another program's, newer than this code, or not yet migrated.
    pub fn open(path: &Path) -> Result<Self, HistoryError> {
        if !path.exists() {
            return Err(HistoryError::Missing { path: path.to_owned() });
        }
        let sql = |source| HistoryError::Sql { doing: Step::Opening, source };
        let conn = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(sql)?;
        schema::prepare_reader(&conn).map_err(sql)?;
        if schema::is_foreign(&conn).map_err(sql)? {
            return Err(HistoryError::Foreign { path: path.to_owned() });
        }
        match schema::version(&conn).map_err(sql)? {
            schema::VERSION => Ok(Self { conn, path: path.to_owned() }),
            found if found > schema::VERSION => {
                Err(HistoryError::Newer { path: path.to_owned(), found, known: schema::VERSION })
            }
            _ => Err(HistoryError::Missing { path: path.to_owned() }),
        }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Every source and quantity ever stored, sorted.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn series(&self) -> Result<Vec<(String, Quantity)>, HistoryError> {
        let all = rows::all_series(&self.conn).map_err(reading)?;
        Ok(all.into_iter().map(|(_, source, quantity)| (source, quantity)).collect())
    }

    /// The readings of `sources` (all if `None`) in `span`, in the order of time, rejected ones included.
    ///
    /// # Errors
    /// [`HistoryError::Sql`]. A damaged day is left out and logged.
    pub fn readings(
        &self,
        sources: Option<&[&str]>,
        span: Range<Timestamp>,
    ) -> Result<Vec<HistoricReading>, HistoryError> {
        let mut all = Vec::new();
        self.each_reading(sources, span, |reading| all.push(reading))?;
        Ok(all)
    }

    /// Hands the same readings to `take` one by one; holds one packed day and the unpacked readings at a time.
    ///
    /// # Errors
    /// As [`Self::readings`].
    pub fn each_reading(
        &self,
        sources: Option<&[&str]>,
        span: Range<Timestamp>,
        mut take: impl FnMut(HistoricReading),
    ) -> Result<(), HistoryError> {
        let snapshot = self.conn.unchecked_transaction().map_err(reading)?;
        let all = rows::all_series(&snapshot).map_err(reading)?;
        let wanted = |source: &str| sources.is_none_or(|names| names.contains(&source));
        let series: Series = all
            .into_iter()
            .filter(|(_, source, _)| wanted(source))
            .map(|(id, source, quantity)| (id, (source.into(), quantity)))
            .collect();
        let span = span.start.unix_ms()..span.end.unix_ms();
        let mut hot = hot_by_day(&snapshot, &series, &span).map_err(reading)?;
        let mut days = packed_days(&snapshot, &span).map_err(reading)?;
        days.extend(hot.keys());
        for day in days {
            let mut merged: Vec<(Row, i64)> = Vec::new();
            let mut late = hot.remove(&day).unwrap_or_default();
            for id in series.keys() {
                let rows = day_rows(&snapshot, *id, day, late.remove(id).unwrap_or_default()).map_err(reading)?;
                merged.extend(rows.into_iter().filter(|row| span.contains(&row.t_ms)).map(|row| (row, *id)));
            }
            merged.sort_by_key(|(row, _)| row.t_ms);
            for (row, id) in merged {
                if let Some((source, quantity)) = series.get(&id)
                    && let Ok(measured) = quantity.measured(row.v)
                {
                    let at = Timestamp::from_unix_ms(row.t_ms);
                    take(HistoricReading { source: Arc::clone(source), at, measured, rejection: row.rejection });
                }
            }
        }
        Ok(())
    }

    /// Alarm changes in `span`, oldest first, with their ids.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn alarm_changes(&self, span: Range<Timestamp>) -> Result<Vec<(i64, AlarmRecord)>, HistoryError> {
        let sql = format!(
            "SELECT {} FROM alarm_change WHERE t_ms >= ?1 AND t_ms < ?2 ORDER BY t_ms, id",
            rows::CHANGE_COLUMNS
        );
        let changes = self.in_span(&sql, span, rows::change_row)?;
        Ok(changes.into_iter().flatten().collect())
    }

    /// How every alarm stood last: for a restart, and for `alarms`.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn standing_alarms(&self) -> Result<StandingAlarms, HistoryError> {
        let sql = format!(
            "SELECT {} FROM alarm_change WHERE id IN
             (SELECT max(id) FROM alarm_change GROUP BY alarm, nest, probe, node) ORDER BY id",
            rows::CHANGE_COLUMNS
        );
        let mut standing = StandingAlarms::default();
        let mut statement = self.conn.prepare_cached(&sql).map_err(reading)?;
        for change in statement.query_map([], rows::change_row).map_err(reading)? {
            match change.map_err(reading)? {
                Some(change) => standing.latest.push(change),
                None => standing.unreadable += 1,
            }
        }
        Ok(standing)
    }

    /// What the keeper wrote and did in `span`, oldest first.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn notes(&self, span: Range<Timestamp>) -> Result<Vec<KeeperNote>, HistoryError> {
        let sql = "SELECT t_ms, nest, at_mm, kind, text FROM note WHERE t_ms >= ?1 AND t_ms < ?2 ORDER BY t_ms, id";
        self.in_span(sql, span, rows::note_row)
    }

    /// Attempts to send messages in `span`, oldest first.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn deliveries(&self, span: Range<Timestamp>) -> Result<Vec<Delivery>, HistoryError> {
        let sql = "SELECT change, way, attempt, t_ms, outcome FROM delivery WHERE t_ms >= ?1 AND t_ms < ?2
                   ORDER BY t_ms, id";
        self.in_span(sql, span, rows::delivery_row)
    }

    /// Times without a watch that touch `span`, oldest first.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn gaps(&self, span: Range<Timestamp>) -> Result<Vec<Gap>, HistoryError> {
        let sql = "SELECT from_ms, to_ms, why FROM gap WHERE to_ms >= ?1 AND from_ms < ?2 ORDER BY from_ms, id";
        self.in_span(sql, span, rows::gap_row)
    }

    /// What the shelf file said: what was in force when `span` began (the last of the entries before it), and every
    /// change within it, oldest first.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn settings(&self, span: Range<Timestamp>) -> Result<Vec<SettingsInForce>, HistoryError> {
        let sql = "SELECT t_ms, text FROM setting WHERE t_ms < ?2
                   AND id >= coalesce((SELECT max(id) FROM setting WHERE t_ms <= ?1), 0) ORDER BY id";
        self.in_span(sql, span, rows::settings_row)
    }

    /// A small fact by its name.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn fact(&self, name: &str) -> Result<Option<String>, HistoryError> {
        let found = self.conn.query_row("SELECT value FROM fact WHERE name = ?1", [name], |row| row.get(0));
        found.optional().map_err(reading)
    }

    /// The facts whose names begin with `head`.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn facts(&self, head: &str) -> Result<BTreeMap<String, String>, HistoryError> {
        let text = "SELECT name, value FROM fact WHERE substr(name, 1, length(?1)) = ?1";
        let mut statement = self.conn.prepare(text).map_err(reading)?;
        let rows = statement.query_map([head], |row| Ok((row.get(0)?, row.get(1)?))).map_err(reading)?;
        rows.collect::<Result<_, _>>().map_err(reading)
    }

    /// For each node the receipt of its newest start.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn receipts(&self) -> Result<Vec<Receipt>, HistoryError> {
        Ok(rows::load_receipts(&self.conn).map_err(reading)?.standing())
    }

    fn in_span<T>(
        &self,
        sql: &str,
        span: Range<Timestamp>,
        row: impl FnMut(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, HistoryError> {
        let mut statement = self.conn.prepare_cached(sql).map_err(reading)?;
        let found = statement.query_map([span.start.unix_ms(), span.end.unix_ms()], row).map_err(reading)?;
        found.collect::<rusqlite::Result<_>>().map_err(reading)
    }
}

pub(super) fn reading(source: rusqlite::Error) -> HistoryError {
    HistoryError::Sql { doing: Step::Reading, source }
}

type ByDay = BTreeMap<i64, BTreeMap<i64, Vec<Row>>>;

/// Unpacked readings of `series` in `span`, by day and series.
fn hot_by_day(conn: &Connection, series: &Series, span: &Range<i64>) -> rusqlite::Result<ByDay> {
    let mut days = ByDay::new();
    let mut statement =
        conn.prepare_cached("SELECT series, t_ms, v, rejection FROM hot WHERE t_ms >= ?1 AND t_ms < ?2 ORDER BY id")?;
    let mut found = statement.query([span.start, span.end])?;
    while let Some(row) = found.next()? {
        let (id, row) = rows::hot_row(row)?;
        if series.contains_key(&id) {
            days.entry(day_of(row.t_ms)).or_default().entry(id).or_default().push(row);
        }
    }
    Ok(days)
}

fn packed_days(conn: &Connection, span: &Range<i64>) -> rusqlite::Result<BTreeSet<i64>> {
    let mut statement = conn.prepare_cached(
        "SELECT day FROM chunk WHERE day >= ?1 AND day <= ?2 UNION SELECT day FROM thinned WHERE day >= ?1 AND day <= ?2",
    )?;
    let days = statement.query_map([day_of(span.start), day_of(span.end)], |row| row.get(0))?;
    days.collect()
}

/// One day of one series: its chunk, and `late` rows that are not packed yet.
fn day_rows(conn: &Connection, series: i64, day: i64, late: Vec<Row>) -> rusqlite::Result<Vec<Row>> {
    let mut all = match rows::chunk(conn, series, day)?.map(|chunk| codec::unpack(&chunk)) {
        Some(Ok(rows)) => rows,
        Some(Err(why)) => {
            tracing::error!(series, day, why, "a packed day cannot be read and is left out");
            Vec::new()
        }
        None => Vec::new(),
    };
    if !late.is_empty() {
        all.extend(late);
        merge(&mut all);
    }
    Ok(all)
}

/// The start of a day, ms.
fn day_start_ms(day: i64) -> i64 {
    day.saturating_mul(DAY_MS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::sample::{DAY_S, Place, at, change, ever, reading};
    use crate::history::{Batch, Store};
    use enclosure::{Alarm, Rejection, State};
    use proptest::prelude::*;

    const SOURCES: [&str; 3] = ["oak-node:warm", "oak-node:cool", "room:air"];

    #[derive(Clone, Debug)]
    enum Act {
        Store(Vec<HistoricReading>),
        Pack(i64),
        Restart,
    }

    fn some_reading() -> impl Strategy<Value = HistoricReading> {
        // Few moments, so that many come twice; -0.0 among the values.
        let value = prop_oneof![Just(-0.0), (-2_000..9_000_i32).prop_map(|c| f64::from(c) / 100.0), -50.0..90.0];
        let why = prop_oneof![3 => Just(None), 1 => Just(Some(Rejection::Wild)), 1 => Just(Some(Rejection::Late))];
        (0..3_usize, 0..400_i64, value, why)
            .prop_map(|(i, k, c, rejection)| HistoricReading { rejection, ..reading(SOURCES[i], k * 900, c) })
    }

    fn act() -> impl Strategy<Value = Act> {
        prop_oneof![
            5 => prop::collection::vec(some_reading(), 1..40).prop_map(Act::Store),
            2 => (0..6_i64).prop_map(Act::Pack),
            1 => Just(Act::Restart),
        ]
    }

    fn pack_all(store: &mut Store, before: Timestamp) {
        while store.pack_step(before).unwrap().more {}
    }

    /// What must be there: of each source and moment the first that came.
    type Model = BTreeMap<(Timestamp, String), (u64, Option<Rejection>)>;

    fn run(place: &Place, acts: &[Act]) -> Model {
        let mut model = Model::new();
        let mut store = place.open();
        for act in acts {
            match act {
                Act::Store(readings) => {
                    store.commit(&[Batch { readings: readings.clone(), ..Batch::default() }]).unwrap();
                    for r in readings {
                        let bits = (r.value().1 + 0.0).to_bits();
                        model.entry((r.at, r.source.to_string())).or_insert((bits, r.rejection));
                    }
                }
                Act::Pack(days) => pack_all(&mut store, at(days * DAY_S)),
                Act::Restart => {
                    drop(store);
                    store = place.open();
                }
            }
        }
        model
    }

    fn as_model(readings: Vec<HistoricReading>) -> Model {
        let one = |r: HistoricReading| ((r.at, r.source.to_string()), (r.value().1.to_bits(), r.rejection));
        readings.into_iter().map(one).collect()
    }

    fn naive(readings: &[HistoricReading], from: Timestamp, to: Timestamp, rejected: bool) -> Option<Extent> {
        let inside = |r: &&HistoricReading| r.at >= from && r.at < to && r.rejection.is_some() == rejected;
        let v: Vec<f64> = readings.iter().filter(inside).map(|r| r.value().1).collect();
        let [min, max] = [v.iter().copied().reduce(f64::min)?, v.iter().copied().reduce(f64::max)?];
        Some(Extent { n: v.len() as u64, min, max, mean: v.iter().sum::<f64>() / v.len() as f64 })
    }

    fn same(a: Option<Extent>, b: Option<Extent>) -> bool {
        match (a, b) {
            (None, None) => true,
            (Some(a), Some(b)) => {
                let ends = [a.min, a.max].map(f64::to_bits) == [b.min, b.max].map(f64::to_bits);
                a.n == b.n && ends && (a.mean - b.mean).abs() < 1e-9
            }
            _ => false,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

        /// However it came, was packed, packed again and restarted: each reading is there once, bit for bit, in order.
        #[test]
        fn packing_changes_nothing_that_is_read(
            acts in prop::collection::vec(act(), 1..16),
            (a, b) in (0..400_i64, 0..400_i64),
        ) {
            let place = Place::new();
            let model = run(&place, &acts);
            let all = place.readings();
            prop_assert!(all.is_sorted_by_key(|r| r.at));
            prop_assert_eq!(all.len(), model.len());
            prop_assert_eq!(&as_model(all), &model);

            let (from, to) = (at(a.min(b) * 900), at(a.max(b) * 900));
            let part = place.reader().readings(Some(&SOURCES[..1]), from..to).unwrap();
            let wanted = |(t, s): &(Timestamp, String)| *t >= from && *t < to && s == SOURCES[0];
            let expected: Model = model.into_iter().filter(|(key, _)| wanted(key)).collect();
            prop_assert_eq!(as_model(part), expected);
        }

        /// Buckets say what a plain walk over the same readings says, whole packed days included.
        #[test]
        fn buckets_agree_with_the_readings_in_them(
            acts in prop::collection::vec(act(), 1..12),
            (start, days, n) in (0..3_i64, 1..6_i64, 1..40_usize),
        ) {
            let place = Place::new();
            run(&place, &acts);
            let reader = place.reader();
            let span = at(start * DAY_S)..at((start + days) * DAY_S);
            let readings = reader.readings(Some(&SOURCES[..1]), span.clone()).unwrap();
            let buckets = reader.buckets((SOURCES[0], Quantity::Temperature), span.clone(), n).unwrap();
            prop_assert_eq!(buckets.len(), n);
            prop_assert_eq!(buckets[0].from, span.start);
            for (i, bucket) in buckets.iter().enumerate() {
                let to = buckets.get(i + 1).map_or(span.end, |next| next.from);
                prop_assert!(same(bucket.believed, naive(&readings, bucket.from, to, false)), "{i}: {bucket:?}");
                prop_assert!(same(bucket.rejected, naive(&readings, bucket.from, to, true)), "{i}: {bucket:?}");
            }
        }
    }

    #[test]
    fn one_spike_in_a_year_is_not_lost() {
        let place = Place::new();
        let mut store = place.open();
        let mut readings: Vec<_> = (0..365).map(|d| reading(SOURCES[0], d * DAY_S + 7, 26.0)).collect();
        readings.push(reading(SOURCES[0], 200 * DAY_S + 8, 71.5));
        store.commit(&[Batch { readings, ..Batch::default() }]).unwrap();
        pack_all(&mut store, at(366 * DAY_S));
        let buckets = place.reader().buckets((SOURCES[0], Quantity::Temperature), at(0)..at(365 * DAY_S), 12).unwrap();
        let hottest = buckets.iter().filter_map(|b| b.believed).map(|b| b.max).fold(f64::MIN, f64::max);
        assert_eq!(hottest.to_bits(), 71.5_f64.to_bits());
        assert_eq!(buckets.iter().filter_map(|b| b.believed).map(|b| b.n).sum::<u64>(), 366);
    }

    #[test]
    fn a_damaged_day_costs_that_day_and_its_bytes_are_kept() {
        let place = Place::new();
        let mut store = place.open();
        let days = [0, 1, 2].map(|d| reading(SOURCES[0], d * DAY_S, 20.0 + d as f64));
        store.commit(&[Batch { readings: days.to_vec(), ..Batch::default() }]).unwrap();
        pack_all(&mut store, at(3 * DAY_S));
        let wound = "UPDATE chunk SET v = zeroblob(length(v)) WHERE day = (SELECT min(day) + 1 FROM chunk)";
        store.conn.execute(wound, []).unwrap();
        assert_eq!(place.readings(), [days[0].clone(), days[2].clone()]);
        let late = reading(SOURCES[0], DAY_S + 60, 23.5);
        store.commit(&[Batch { readings: vec![late.clone()], ..Batch::default() }]).unwrap();
        assert_eq!(store.pack_step(at(3 * DAY_S)).unwrap().set_aside, 1);
        assert_eq!(place.readings(), [days[0].clone(), late, days[2].clone()]);
        let kept: i64 = store.conn.query_row("SELECT count(*) FROM chunk_aside", [], |row| row.get(0)).unwrap();
        assert_eq!(kept, 1);
    }

    #[test]
    fn notes_deliveries_gaps_and_facts_come_back() {
        let place = Place::new();
        let note = |s, mm| KeeperNote {
            at: at(s),
            nest: Some("oak".into()),
            at_mm: mm,
            kind: "brood".into(),
            text: "larvae, white".into(),
        };
        let gap = Gap { from: at(0), to: at(600), why: "power cut".into() };
        let batch = Batch {
            notes: vec![note(9, Some(60.0)), note(3, Some(f64::NAN))],
            gaps: vec![gap.clone()],
            facts: vec![("watched_until".into(), "1".into()), ("watched_until".into(), "2".into())],
            changes: vec![change(4, Alarm::WatchGap, State::Unacknowledged)],
            ..Batch::default()
        };
        let mut store = place.open();
        let id = store.commit(&[batch]).unwrap().remove(0).unwrap().change_ids[0];
        let delivery =
            Delivery { change: Some(id), way: "webhook".into(), attempt: 2, at: at(5), outcome: "x".repeat(9_999) };
        store.commit(&[Batch { deliveries: vec![delivery], ..Batch::default() }]).unwrap();
        let reader = place.reader();
        assert_eq!(reader.notes(ever()).unwrap(), [note(3, None), note(9, Some(60.0))]);
        assert_eq!(reader.gaps(at(599)..at(700)).unwrap(), [gap]);
        assert_eq!(reader.gaps(at(601)..at(700)).unwrap(), []);
        assert_eq!(reader.fact("watched_until").unwrap().as_deref(), Some("2"));
        assert_eq!(reader.fact("nothing").unwrap(), None);
        let sent = reader.deliveries(ever()).unwrap();
        assert_eq!((sent[0].change, sent[0].attempt, sent[0].outcome.len()), (Some(id), 2, 4_096));
    }

    #[test]
    fn a_missing_history_is_not_made_by_reading() {
        let place = Place::new();
        assert!(matches!(Reader::open(&place.path), Err(HistoryError::Missing { .. })));
        assert!(!place.path.exists());
    }
}
