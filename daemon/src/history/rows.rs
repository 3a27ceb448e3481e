//! Single rows in and out: the only place besides [`super::schema`] that names columns.
use super::codec::{Chunk, Row};
use super::mirroring;
use super::receipts::{Boot, Receipts};
use super::thinning::{self, Hour, ThinDay};
use super::types::{
    AlarmRecord, Delivery, Disbelief, Gap, HistoricReading, KeeperNote, Quantity, SettingsInForce, rejection_code,
    rejection_from_code,
};
use enclosure::{Alarm, Event, State, Timestamp};
use rusqlite::{Connection, OptionalExtension as _, Result, Row as SqlRow, params};
use std::collections::BTreeMap;

/// Longest text of a keeper, a detail or an outcome that is kept, characters; the rest is cut.
const TEXT_MAX: usize = 4_096;

/// Readings looked through for one that is not believed after all. It was stored at most a minute or two before.
const DISBELIEVED_WITHIN: i64 = 10_000;

pub(crate) const CHUNK_COLUMNS: &str = "day, n, t, v, rejections, checksum";

fn clip(text: &str) -> &str {
    text.char_indices().nth(TEXT_MAX).and_then(|(end, _)| text.get(..end)).unwrap_or(text)
}

/// `number` is its place in the order of arrival.
pub(crate) fn insert_reading(conn: &Connection, number: i64, series: i64, reading: &HistoricReading) -> Result<()> {
    // Negative zero becomes zero: SQLite keeps whole numbers as integers, which have no such thing.
    let (_, v) = reading.value();
    let code = reading.rejection.map(rejection_code);
    let (t_ms, v) = (reading.at.unix_ms(), v + 0.0);
    conn.prepare_cached("INSERT INTO hot (id, series, t_ms, v, rejection, seal) VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
        .execute(params![number, series, t_ms, v, code, seal([number, series, t_ms], v)])
        .map(drop)
}

/// Two bytes over a reading's number, series, time and value. Whether it is believed may still change.
pub(crate) fn seal(numbers: [i64; 3], v: f64) -> u16 {
    let [a, b, c] = numbers.map(i64::to_le_bytes);
    let hash = super::codec::checksum([&a, &[b, c].concat(), &v.to_bits().to_le_bytes()]).cast_unsigned();
    [48, 32, 16, 0].into_iter().fold(0, |folded, shift| folded ^ (hash >> shift) as u16)
}

/// Marks a stored reading, if it is among the [`DISBELIEVED_WITHIN`] that were stored last: `hot` has no index.
pub(crate) fn disbelieve(conn: &Connection, series: i64, disbelief: &Disbelief) -> Result<()> {
    conn.prepare_cached(
        "UPDATE hot SET rejection = ?3
         WHERE id > (SELECT coalesce(max(id), 0) FROM hot) - ?4 AND series = ?1 AND t_ms = ?2",
    )?
    .execute(params![series, disbelief.at.unix_ms(), rejection_code(disbelief.why), DISBELIEVED_WITHIN])?;
    mirroring::note_disbelieved(conn, series, disbelief.at.unix_ms())
}

pub(crate) fn hot_row(row: &SqlRow<'_>) -> Result<(i64, Row)> {
    let code: Option<i64> = row.get(3)?;
    let rejection = code.and_then(|code| u8::try_from(code).ok()).and_then(rejection_from_code);
    Ok((row.get(0)?, Row { t_ms: row.get(1)?, v: row.get(2)?, rejection }))
}

/// The chunk of one day of one series.
pub(crate) fn chunk(conn: &Connection, series: i64, day: i64) -> Result<Option<Chunk>> {
    conn.prepare_cached(&format!("SELECT {CHUNK_COLUMNS} FROM chunk WHERE day = ?2 AND series = ?1"))?
        .query_row([series, day], chunk_row)
        .optional()
}

pub(crate) fn chunk_row(row: &SqlRow<'_>) -> Result<Chunk> {
    let n: i64 = row.get(1)?;
    Ok(Chunk {
        day: row.get(0)?,
        n: usize::try_from(n).unwrap_or(0),
        t: row.get(2)?,
        v: row.get(3)?,
        rejections: row.get(4)?,
        checksum: row.get(5)?,
    })
}

/// Puts a day's chunk in place of the one that was there, if any.
pub(crate) fn replace_chunk(conn: &Connection, series: i64, chunk: &Chunk, rows: &[Row]) -> Result<()> {
    let believed: Vec<f64> = rows.iter().filter(|row| row.rejection.is_none()).map(|row| row.v).collect();
    let low = believed.iter().copied().reduce(f64::min);
    let high = believed.iter().copied().reduce(f64::max);
    let (first, last) = (rows.first().map_or(0, |row| row.t_ms), rows.last().map_or(0, |row| row.t_ms));
    conn.prepare_cached(
        "INSERT OR REPLACE INTO chunk (series, day, n, t_min, t_max, v_min, v_max, v_sum, believed, t, v, rejections,
         checksum) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    )?
    .execute(params![
        series,
        chunk.day,
        i64::try_from(chunk.n).unwrap_or(i64::MAX),
        first,
        last,
        low,
        high,
        believed.iter().sum::<f64>(),
        i64::try_from(believed.len()).unwrap_or(i64::MAX),
        chunk.t,
        chunk.v,
        chunk.rejections,
        chunk.checksum,
    ])
    .map(drop)
}

/// Moves a chunk that cannot be unpacked out of the way; its bytes stay.
pub(crate) fn set_chunk_aside(conn: &Connection, series: i64, day: i64) -> Result<()> {
    conn.execute(
        "INSERT INTO chunk_aside (series, day, n, t, v, rejections, checksum)
         SELECT series, day, n, t, v, rejections, checksum FROM chunk WHERE series = ?1 AND day = ?2",
        [series, day],
    )
    .map(drop)
}

/// The series that have something in `table` on `day`.
pub(crate) fn series_of_day(conn: &Connection, table: &str, day: i64) -> Result<Vec<i64>> {
    let mut statement = conn.prepare(&format!("SELECT series FROM {table} WHERE day = ?1"))?;
    statement.query_map([day], |row| row.get(0))?.collect()
}

/// One day of one series as hours, if it was thinned. A damaged one is as good as none; it is logged.
pub(crate) fn thinned(conn: &Connection, series: i64, day: i64) -> Result<Option<Vec<Hour>>> {
    let found = conn
        .prepare_cached("SELECT places, ends, means, checksum FROM thinned WHERE day = ?2 AND series = ?1")?
        .query_row([series, day], |row| {
            Ok(ThinDay { places: row.get(0)?, ends: row.get(1)?, means: row.get(2)?, checksum: row.get(3)? })
        })
        .optional()?;
    Ok(found.and_then(|day_of_hours| match thinning::unpack(&day_of_hours) {
        Ok(hours) => Some(hours),
        Err(why) => {
            tracing::error!(series, day, why, "a thinned day cannot be read and is left out");
            None
        }
    }))
}

/// Puts a day's hours, which stand for `n` readings, in place of those that were there.
pub(crate) fn replace_thinned(conn: &Connection, (series, day): (i64, i64), n: u64, hours: &ThinDay) -> Result<()> {
    conn.prepare_cached(
        "INSERT OR REPLACE INTO thinned (series, day, n, places, ends, means, checksum)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![series, day, n.cast_signed(), hours.places, hours.ends, hours.means, hours.checksum])
    .map(drop)
}

/// Every series: its number, its source, its quantity.
pub(crate) fn all_series(conn: &Connection) -> Result<Vec<(i64, String, Quantity)>> {
    let mut statement = conn.prepare("SELECT id, source, quantity FROM series ORDER BY source, quantity")?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, Quantity::from_code(row.get(2)?))))?;
    let known = rows.filter_map(|row: Result<(i64, String, Option<Quantity>)>| match row {
        Ok((id, source, quantity)) => quantity.map(|quantity| Ok((id, source, quantity))),
        Err(error) => Some(Err(error)),
    });
    known.collect()
}

pub(crate) fn insert_series(conn: &Connection, source: &str, quantity: Quantity) -> Result<i64> {
    conn.execute("INSERT INTO series (source, quantity) VALUES (?1, ?2)", params![source, quantity.code()])?;
    Ok(conn.last_insert_rowid())
}

pub(crate) fn insert_change(conn: &Connection, change: &AlarmRecord) -> Result<i64> {
    conn.prepare_cached(
        "INSERT INTO alarm_change (t_ms, alarm, nest, probe, node, event, state, detail, cause, told)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?
    .execute(params![
        change.at.unix_ms(),
        change.alarm.name(),
        change.nest,
        change.probe,
        change.node,
        change.event.name(),
        change.state.name(),
        clip(&change.detail),
        change.cause.map(Alarm::name),
        change.told,
    ])?;
    Ok(conn.last_insert_rowid())
}

pub(crate) const CHANGE_COLUMNS: &str = "id, t_ms, alarm, nest, probe, node, event, state, detail, cause, told";

/// A stored change with its id; `None` where a word in it is unknown (a column was damaged).
pub(crate) fn change_row(row: &SqlRow<'_>) -> Result<Option<(i64, AlarmRecord)>> {
    let word = |i: usize| row.get::<_, String>(i);
    let (alarm, event, state) = (Alarm::from_name(&word(2)?), Event::from_name(&word(6)?), State::from_name(&word(7)?));
    let (Some(alarm), Some(event), Some(state)) = (alarm, event, state) else { return Ok(None) };
    let cause: Option<String> = row.get(9)?;
    let record = AlarmRecord {
        at: Timestamp::from_unix_ms(row.get(1)?),
        alarm,
        nest: row.get(3)?,
        probe: row.get(4)?,
        node: row.get(5)?,
        event,
        state,
        detail: row.get(8)?,
        cause: cause.as_deref().and_then(Alarm::from_name),
        told: row.get(10)?,
    };
    Ok(Some((row.get(0)?, record)))
}

pub(crate) fn insert_note(conn: &Connection, note: &KeeperNote) -> Result<()> {
    let at_mm = note.at_mm.filter(|mm| mm.is_finite());
    conn.prepare_cached("INSERT INTO note (t_ms, nest, at_mm, kind, text) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![note.at.unix_ms(), note.nest, at_mm, clip(&note.kind), clip(&note.text)])
        .map(drop)
}

pub(crate) fn note_row(row: &SqlRow<'_>) -> Result<KeeperNote> {
    let at = Timestamp::from_unix_ms(row.get(0)?);
    Ok(KeeperNote { at, nest: row.get(1)?, at_mm: row.get(2)?, kind: row.get(3)?, text: row.get(4)? })
}

pub(crate) fn insert_delivery(conn: &Connection, delivery: &Delivery) -> Result<()> {
    conn.prepare_cached("INSERT INTO delivery (change, way, attempt, t_ms, outcome) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![
            delivery.change,
            delivery.way,
            delivery.attempt,
            delivery.at.unix_ms(),
            clip(&delivery.outcome)
        ])
        .map(drop)
}

pub(crate) fn delivery_row(row: &SqlRow<'_>) -> Result<Delivery> {
    let at = Timestamp::from_unix_ms(row.get(3)?);
    Ok(Delivery { change: row.get(0)?, way: row.get(1)?, attempt: row.get(2)?, at, outcome: row.get(4)? })
}

pub(crate) fn insert_gap(conn: &Connection, gap: &Gap) -> Result<()> {
    conn.prepare_cached("INSERT INTO gap (from_ms, to_ms, why) VALUES (?1, ?2, ?3)")?
        .execute(params![gap.from.unix_ms(), gap.to.unix_ms(), clip(&gap.why)])
        .map(drop)
}

pub(crate) fn gap_row(row: &SqlRow<'_>) -> Result<Gap> {
    let moment = |i: usize| row.get(i).map(Timestamp::from_unix_ms);
    Ok(Gap { from: moment(0)?, to: moment(1)?, why: row.get(2)? })
}

/// Writes down what the shelf file said, unless it said so last time.
pub(crate) fn insert_settings(conn: &Connection, settings: &SettingsInForce) -> Result<()> {
    conn.prepare_cached(
        "INSERT INTO setting (t_ms, text) SELECT ?1, ?2
         WHERE ?2 IS NOT (SELECT text FROM setting ORDER BY id DESC LIMIT 1)",
    )?
    .execute(params![settings.since.unix_ms(), settings.text])
    .map(drop)
}

pub(crate) fn settings_row(row: &SqlRow<'_>) -> Result<SettingsInForce> {
    Ok(SettingsInForce { since: Timestamp::from_unix_ms(row.get(0)?), text: row.get(1)? })
}

pub(crate) fn set_fact(conn: &Connection, name: &str, value: &str) -> Result<()> {
    conn.prepare_cached("INSERT INTO fact (name, value) VALUES (?1, ?2) ON CONFLICT DO UPDATE SET value = ?2")?
        .execute([name, clip(value)])
        .map(drop)
}

/// Writes what changed in `receipts` since the last time.
pub(crate) fn store_receipts(conn: &Connection, receipts: &mut Receipts) -> Result<()> {
    for node in receipts.take_dirty() {
        conn.prepare_cached("DELETE FROM receipt WHERE node = ?1")?.execute([&node])?;
        let mut insert = conn.prepare_cached(
            "INSERT INTO receipt (node, boot, start, next, ahead, heard) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?;
        for (number, boot) in receipts.boots(&node) {
            let ahead: Vec<String> = boot.ahead.iter().map(|(first, last)| format!("{first}-{last}")).collect();
            let [number, start, next, heard] = [number, boot.start, boot.next, boot.heard].map(u64::cast_signed);
            insert.execute(params![node, number, start, next, ahead.join(" "), heard])?;
        }
    }
    Ok(())
}

/// What is known of the nodes' packs. A row that makes no sense is left out: its node sends again.
pub(crate) fn load_receipts(conn: &Connection) -> Result<Receipts> {
    let mut receipts = Receipts::new();
    let mut statement = conn.prepare("SELECT node, boot, start, next, ahead, heard FROM receipt")?;
    let mut found = statement.query([])?;
    while let Some(row) = found.next()? {
        let (node, number, ahead): (String, i64, String) = (row.get(0)?, row.get(1)?, row.get(4)?);
        let number_at = |i: usize| row.get::<_, i64>(i).map(|n| u64::try_from(n).ok());
        let runs: Option<BTreeMap<u64, u64>> = ahead.split_whitespace().map(run).collect();
        if let (Ok(number), Some(start), Some(next), Some(heard), Some(runs)) =
            (u64::try_from(number), number_at(2)?, number_at(3)?, number_at(5)?, runs)
            && let Some(boot) = Boot::stored(start, next, runs, heard)
        {
            receipts.restore(&node, number, boot);
        }
    }
    Ok(receipts)
}

fn run(text: &str) -> Option<(u64, u64)> {
    let (first, last) = text.split_once('-')?;
    Some((first.parse().ok()?, last.parse().ok()?))
}
