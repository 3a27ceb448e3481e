//! Fits of the nests' physics: what each taught, why it was not taken, and which was in force from when on.
//!
//! A fit is kept as numbers, bit for bit, under a checksum. What is in force is the newest entry of its own table, so
//! that putting a former one back destroys nothing.
use super::codec::checksum;
use super::errors::HistoryError;
use super::read::{Reader, reading};
use crate::pipeline::keeping::shape;
use enclosure::Timestamp;
use enclosure::estimate::{Fit, FitNews, NotTaken, Trial};
use enclosure::shelf::Nest;
use rusqlite::{Connection, OptionalExtension as _, Result, Row, params};

/// Fits kept of one nest: more than a year of nights. Beyond it the oldest go, but never one that is in force.
pub(crate) const FITS_MAX: i64 = 500;
/// Numbers in one list of a fit, at most: no nest has more.
const NUMBERS_MAX: usize = 100_000;
/// First byte of a fit's bytes: how they are laid out.
const LAYOUT: u8 = 1;

/// A fit, or that there was none.
#[derive(Clone, Debug, PartialEq)]
pub struct FitRecord {
    /// When it was made.
    pub at: Timestamp,
    /// Id of the nest.
    pub nest: String,
    /// How the nest stood: a fit of another arrangement is of no use to it.
    pub shape: String,
    /// What it taught; `None` if it did not come to rest, or its bytes are damaged.
    pub fit: Option<Fit>,
    /// Why it was not taken; `None`: it was.
    pub refused: Option<NotTaken>,
}

/// What happens to fits.
#[derive(Clone, Debug, PartialEq)]
pub enum FitAct {
    /// One was made; if it was taken, it is in force.
    New(FitRecord),
    /// A former one is in force again.
    PutBack {
        /// From when on.
        at: Timestamp,
        /// Id of the nest.
        nest: String,
        /// Its number.
        fit: i64,
        /// Who did it: `the command line`.
        who: String,
    },
}

/// A fit as it is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptFit {
    /// Its number.
    pub id: i64,
    /// What it is.
    pub record: FitRecord,
    /// Whether it is in force.
    pub in_force: bool,
}

impl FitRecord {
    /// What came of a fit of `nest`.
    pub fn of(news: FitNews, nest: &Nest) -> Self {
        let FitNews { at, fit, refused } = news;
        Self { at, nest: nest.id.clone(), shape: shape(nest), fit, refused }
    }
}

/// Stores what happened to a fit, and lets the oldest go beyond [`FITS_MAX`].
pub(crate) fn store(conn: &Connection, act: &FitAct) -> Result<()> {
    match act {
        FitAct::New(record) => {
            let body = record.fit.as_ref().map(pack);
            conn.prepare_cached(
                "INSERT INTO fit (t_ms, nest, shape, refused, body, checksum) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                record.at.unix_ms(),
                record.nest,
                record.shape,
                record.refused.map(NotTaken::name),
                body,
                checksum([body.as_deref().unwrap_or(&[]), &[], &[]]),
            ])?;
            let id = conn.last_insert_rowid();
            if record.refused.is_none() && record.fit.is_some() {
                put_into_force(conn, (record.at, &record.nest), id, "the nightly fit")?;
            }
            thin(conn, &record.nest)
        }
        FitAct::PutBack { at, nest, fit, who } => put_into_force(conn, (*at, nest), *fit, who),
    }
}

fn put_into_force(conn: &Connection, (at, nest): (Timestamp, &str), fit: i64, who: &str) -> Result<()> {
    conn.prepare_cached("INSERT INTO fit_in_force (t_ms, nest, fit, who) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![at.unix_ms(), nest, fit, who])
        .map(drop)
}

fn thin(conn: &Connection, nest: &str) -> Result<()> {
    let oldest: Option<i64> = conn
        .prepare_cached("SELECT id FROM fit WHERE nest = ?1 ORDER BY id DESC LIMIT 1 OFFSET ?2")?
        .query_row(params![nest, FITS_MAX - 1], |row| row.get(0))
        .optional()?;
    let Some(oldest) = oldest else { return Ok(()) };
    conn.prepare_cached(
        "DELETE FROM fit WHERE nest = ?1 AND id < ?2
         AND id IS NOT (SELECT fit FROM fit_in_force WHERE nest = ?1 ORDER BY id DESC LIMIT 1)",
    )?
    .execute(params![nest, oldest])?;
    conn.prepare_cached("DELETE FROM fit_in_force WHERE nest = ?1 AND fit NOT IN (SELECT id FROM fit)")?
        .execute([nest])
        .map(drop)
}

const COLUMNS: &str = "id, t_ms, nest, shape, refused, body, checksum,
    id IS (SELECT f.fit FROM fit_in_force f WHERE f.nest = fit.nest ORDER BY f.id DESC LIMIT 1)";

fn row(row: &Row<'_>) -> Result<KeptFit> {
    let (id, body): (i64, Option<Vec<u8>>) = (row.get(0)?, row.get(5)?);
    let sum: i64 = row.get(6)?;
    let fit = body.and_then(|body| {
        let sound = checksum([&body, &[], &[]]) == sum;
        let fit = sound.then(|| unpack(&body)).flatten();
        if fit.is_none() {
            tracing::error!(id, "a kept fit is damaged and is left out");
        }
        fit
    });
    let refused: Option<String> = row.get(4)?;
    let refused = refused.and_then(|word| NotTaken::ALL.into_iter().find(|why| why.name() == word));
    let (nest, shape) = (row.get(2)?, row.get(3)?);
    let record = FitRecord { at: Timestamp::from_unix_ms(row.get(1)?), nest, shape, fit, refused };
    Ok(KeptFit { id, record, in_force: row.get(7)? })
}

impl Reader {
    /// The fits kept of a nest (of all, if `None`), oldest first.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn fits(&self, nest: Option<&str>) -> Result<Vec<KeptFit>, HistoryError> {
        let sql = format!("SELECT {COLUMNS} FROM fit WHERE ?1 IS NULL OR nest = ?1 ORDER BY t_ms, id");
        let mut statement = self.conn.prepare_cached(&sql).map_err(reading)?;
        let found = statement.query_map([nest], row).map_err(reading)?;
        found.collect::<Result<_>>().map_err(reading)
    }

    /// A fit by its number.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn fit(&self, id: i64) -> Result<Option<KeptFit>, HistoryError> {
        let sql = format!("SELECT {COLUMNS} FROM fit WHERE id = ?1");
        self.conn.query_row(&sql, [id], row).optional().map_err(reading)
    }

    /// The fit in force of a nest, and since when it is: a fit of the night since its night, one that was put back since
    /// then.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn fit_in_force(&self, nest: &str) -> Result<Option<(KeptFit, Timestamp)>, HistoryError> {
        let sql = "SELECT fit, t_ms FROM fit_in_force WHERE nest = ?1 ORDER BY id DESC LIMIT 1";
        let newest = self.conn.query_row(sql, [nest], |row| Ok((row.get(0)?, row.get(1)?))).optional();
        let Some((id, since_ms)) = newest.map_err(reading)? else { return Ok(None) };
        Ok(self.fit(id)?.map(|kept| (kept, Timestamp::from_unix_ms(since_ms))))
    }

    /// The fit that tells most of what was before `until`: the first one taken after it, else the last one before.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn fit_of_hindsight(&self, nest: &Nest, until: Timestamp) -> Result<Option<Fit>, HistoryError> {
        let sql = format!(
            "SELECT {COLUMNS} FROM fit WHERE nest = ?1 AND shape = ?2 AND refused IS NULL AND body IS NOT NULL
             ORDER BY t_ms < ?3, abs(t_ms - ?3) LIMIT 1"
        );
        let found = self.conn.query_row(&sql, params![nest.id, shape(nest), until.unix_ms()], row).optional();
        Ok(found.map_err(reading)?.and_then(|kept| kept.record.fit))
    }

    /// When the last fit of a nest was made, taken or not.
    ///
    /// # Errors
    /// [`HistoryError::Sql`].
    pub fn last_fit_at(&self, nest: &str) -> Result<Option<Timestamp>, HistoryError> {
        let sql = "SELECT max(t_ms) FROM fit WHERE nest = ?1";
        let ms: Option<i64> = self.conn.query_row(sql, [nest], |row| row.get(0)).map_err(reading)?;
        Ok(ms.map(Timestamp::from_unix_ms))
    }
}

/// A fit as bytes: the layout's number, whether pads were heard and whether a day was seen, then lists of f64, each with
/// its length (u32), little-endian.
fn pack(fit: &Fit) -> Vec<u8> {
    let trial = fit.trial.map(|t| vec![t.new_k, t.in_force_k, f64::from(t.readings)]).unwrap_or_default();
    let ms = |at: Timestamp| at.unix_ms() as f64;
    let plain = vec![ms(fit.from), ms(fit.until), f64::from(fit.readings), fit.room_c, fit.error_k];
    let mut out = vec![LAYOUT, u8::from(fit.heard_heat), u8::from(fit.whole_day)];
    for list in [&plain, &trial, &fit.log, &fit.lag_s, &fit.mean, &fit.triangle, &fit.drive] {
        out.extend(u32::try_from(list.len()).unwrap_or(0).to_le_bytes());
        out.extend(list.iter().flat_map(|v| v.to_le_bytes()));
    }
    out
}

/// The other way; `None` for anything else.
fn unpack(bytes: &[u8]) -> Option<Fit> {
    let (&[layout, heard_heat, whole_day], mut rest) = bytes.split_first_chunk()?;
    if layout != LAYOUT {
        return None;
    }
    let mut list = || -> Option<Vec<f64>> {
        let (count, after) = rest.split_first_chunk::<4>()?;
        let count = usize::try_from(u32::from_le_bytes(*count)).ok().filter(|n| *n <= NUMBERS_MAX)?;
        let (values, after) = after.split_at_checked(8 * count)?;
        rest = after;
        values.chunks_exact(8).map(|b| Some(f64::from_le_bytes(b.try_into().ok()?))).collect()
    };
    let (plain, trial) = (list()?, list()?);
    let (log, lag_s, mean, triangle, drive) = (list()?, list()?, list()?, list()?, list()?);
    let [from, until, readings, room_c, error_k] = plain[..] else { return None };
    let trial = match trial[..] {
        [] => None,
        [new_k, in_force_k, readings] => Some(Trial { new_k, in_force_k, readings: readings as u32 }),
        _ => return None,
    };
    let at = |ms: f64| Timestamp::from_unix_ms(ms as i64);
    rest.is_empty().then(|| Fit {
        from: at(from),
        until: at(until),
        readings: readings as u32,
        log,
        lag_s,
        mean,
        triangle,
        drive,
        room_c,
        error_k,
        trial,
        heard_heat: heard_heat != 0,
        whole_day: whole_day != 0,
    })
}

#[cfg(test)]
#[path = "fits_tests.rs"]
mod tests;
