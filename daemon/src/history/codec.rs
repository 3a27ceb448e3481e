//! One day of one series in a few thousand bytes, bit for bit.
//!
//! Times are milliseconds within the day (u32), values f64; both through pco, which finds a sensor's grid of 0.01 by
//! itself. Rejections are runs. A checksum over all three is proved before anything is unpacked.
use super::types::{rejection_code, rejection_from_code};
use dashboards::say;
use enclosure::Rejection;

/// Milliseconds in a UTC day.
pub(crate) const DAY_MS: i64 = 86_400_000;
/// Bytes of one run of rejections: start and length (u32, little-endian) and the reason's code.
const RUN_BYTES: usize = 9;

/// One reading within a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Row {
    pub(crate) t_ms: i64,
    pub(crate) v: f64,
    pub(crate) rejection: Option<Rejection>,
}

/// A packed day.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Chunk {
    pub(crate) day: i64,
    pub(crate) n: usize,
    pub(crate) t: Vec<u8>,
    pub(crate) v: Vec<u8>,
    pub(crate) rejections: Vec<u8>,
    pub(crate) checksum: i64,
}

/// The UTC day of a moment, in days since 1970.
pub(crate) const fn day_of(t_ms: i64) -> i64 {
    t_ms.div_euclid(DAY_MS)
}

/// The moment's place within its day, ms.
pub(crate) fn offset_of(t_ms: i64) -> u32 {
    u32::try_from(t_ms.rem_euclid(DAY_MS)).unwrap_or(0)
}

/// Numbers that pco does not take: a day stays as it came.
#[derive(Debug, thiserror::Error)]
#[error("{}", say!("failed-packing", why = why.to_string()))]
pub(crate) struct Unpackable {
    why: pco::errors::PcoError,
}

impl From<Unpackable> for rusqlite::Error {
    fn from(why: Unpackable) -> Self {
        Self::ToSqlConversionFailure(why.into())
    }
}

/// Numbers in few bytes.
pub(crate) fn squeezed<T: pco::data_types::Number>(numbers: &[T]) -> Result<Vec<u8>, Unpackable> {
    pco::standalone::simple_compress(numbers, &pco::ChunkConfig::default()).map_err(|why| Unpackable { why })
}

/// Packs `rows`, sorted by time and all of `day`.
pub(crate) fn pack(day: i64, rows: &[Row]) -> Result<Chunk, Unpackable> {
    let t: Vec<u32> = rows.iter().map(|row| offset_of(row.t_ms)).collect();
    let v: Vec<f64> = rows.iter().map(|row| row.v).collect();
    let (t, v) = (squeezed(&t)?, squeezed(&v)?);
    let rejections = pack_rejections(rows);
    let checksum = checksum([&t, &v, &rejections]);
    Ok(Chunk { day, n: rows.len(), t, v, rejections, checksum })
}

/// Unpacks a day.
pub(crate) fn unpack(chunk: &Chunk) -> Result<Vec<Row>, &'static str> {
    if checksum([&chunk.t, &chunk.v, &chunk.rejections]) != chunk.checksum {
        return Err("its checksum is wrong");
    }
    let t: Vec<u32> = pco::standalone::simple_decompress(&chunk.t).map_err(|_| "its times do not unpack")?;
    let v: Vec<f64> = pco::standalone::simple_decompress(&chunk.v).map_err(|_| "its values do not unpack")?;
    if t.len() != chunk.n || v.len() != chunk.n {
        return Err("its count is wrong");
    }
    let start_ms = chunk.day.saturating_mul(DAY_MS);
    let row = |(t, v): (u32, f64)| Row { t_ms: start_ms.saturating_add(i64::from(t)), v, rejection: None };
    let mut rows: Vec<Row> = t.into_iter().zip(v).map(row).collect();
    unpack_rejections(&chunk.rejections, &mut rows)?;
    Ok(rows)
}

fn pack_rejections(rows: &[Row]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut start = 0_usize;
    for run in rows.chunk_by(|a, b| a.rejection == b.rejection) {
        if let Some(why) = run.first().and_then(|row| row.rejection) {
            for number in [start, run.len()] {
                bytes.extend(u32::try_from(number).unwrap_or(u32::MAX).to_le_bytes());
            }
            bytes.push(rejection_code(why));
        }
        start += run.len();
    }
    bytes
}

fn unpack_rejections(bytes: &[u8], rows: &mut [Row]) -> Result<(), &'static str> {
    const WRONG: &str = "its rejections are wrong";
    for run in bytes.chunks(RUN_BYTES) {
        let [a, b, c, d, e, f, g, h, code] = *run else { return Err(WRONG) };
        let start = u32::from_le_bytes([a, b, c, d]) as usize;
        let end = start.saturating_add(u32::from_le_bytes([e, f, g, h]) as usize);
        let why = rejection_from_code(code).ok_or(WRONG)?;
        for row in rows.get_mut(start..end).ok_or(WRONG)? {
            row.rejection = Some(why);
        }
    }
    Ok(())
}

/// FNV-1a, 64 bits (draft-eastlake-fnv, section 5), the lengths mixed in so that no byte can change its part.
pub(crate) fn checksum(parts: [&[u8]; 3]) -> i64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for part in parts {
        for byte in part.iter().chain(&(part.len() as u64).to_le_bytes()) {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    hash.cast_signed()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rejection() -> impl Strategy<Value = Option<Rejection>> {
        prop_oneof![
            4 => Just(None),
            1 => Just(Some(Rejection::Wild)),
            1 => Just(Some(Rejection::Distrusted)),
            1 => Just(Some(Rejection::Late)),
        ]
    }

    fn rows(day: i64) -> impl Strategy<Value = Vec<Row>> {
        let one = (0..DAY_MS, prop_oneof![any::<f64>(), (-6000..15000_i32).prop_map(|c| f64::from(c) / 100.0)]);
        prop::collection::vec((one, rejection()), 1..600).prop_map(move |mut raw| {
            raw.sort_by_key(|((t, _), _)| *t);
            raw.into_iter().map(|((t, v), rejection)| Row { t_ms: day * DAY_MS + t, v, rejection }).collect()
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn a_day_comes_back_bit_for_bit(day in -40_000..40_000_i64, seed in rows(0)) {
            let rows: Vec<Row> = seed.iter().map(|r| Row { t_ms: r.t_ms + day * DAY_MS, ..*r }).collect();
            let back = unpack(&pack(day, &rows).unwrap()).unwrap();
            prop_assert_eq!(back.len(), rows.len());
            for (a, b) in back.iter().zip(&rows) {
                prop_assert_eq!((a.t_ms, a.v.to_bits(), a.rejection), (b.t_ms, b.v.to_bits(), b.rejection));
            }
        }

        /// One flipped bit anywhere is noticed, never unpacked into other readings.
        #[test]
        fn a_flipped_bit_is_noticed(rows in rows(3), at in any::<prop::sample::Index>(), bit in 0..8_u32) {
            let mut chunk = pack(3, &rows).unwrap();
            let (t, v) = (chunk.t.len(), chunk.v.len());
            let at = at.index(t + v + chunk.rejections.len());
            let byte = if at < t {
                &mut chunk.t[at]
            } else if at < t + v {
                &mut chunk.v[at - t]
            } else {
                &mut chunk.rejections[at - t - v]
            };
            *byte ^= 1 << bit;
            prop_assert_eq!(unpack(&chunk), Err("its checksum is wrong"));
        }
    }

    #[test]
    fn days_turn_at_midnight_before_1970_too() {
        for t_ms in [-DAY_MS - 1, -DAY_MS, -1, 0, 1, DAY_MS - 1, DAY_MS, i64::MIN, i64::MAX] {
            let whole = i128::from(day_of(t_ms)) * i128::from(DAY_MS) + i128::from(offset_of(t_ms));
            assert_eq!(whole, i128::from(t_ms));
        }
    }
}
