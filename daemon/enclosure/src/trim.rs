//! What a probe is off by against something that is known better: melting ice, the air over a saturated salt, a
//! neighbour at the same place.
use crate::time::{Span, Timestamp};
use alloc::vec::Vec;

/// Readings it takes at least.
pub const READINGS_LEAST: usize = 10;
/// Over at least this long: a probe's own lag has passed by then.
pub const LASTS_LEAST: Span = Span::from_min(5);
/// No probe is trimmed by more than this, K: one that is further off is broken, or did not lie where it should.
pub const OFFSET_MOST_K: f64 = 3.0;
/// The same for humidity, %RH.
pub const OFFSET_MOST_PCT: f64 = 15.0;
/// Parts whose means are compared, so that readings that stray together do not count as many.
const PARTS: usize = 5;
/// A neighbour's words further apart tell nothing of the time between.
const NEIGHBOUR_APART: Span = Span::from_min(10);
/// What an ice bath made at home may be off by, K (0.01 with care and clean water, as ASTM E563 has it; from memory).
pub const ICE_SD_K: f64 = 0.05;
/// Two probes at what is called the same place are this far apart, K.
pub const NEIGHBOUR_SD_K: f64 = 0.1;
/// The same for their humidity, %RH.
pub const NEIGHBOUR_SD_PCT: f64 = 1.0;

/// A saturated solution of a salt in water: the air over it has a humidity of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Salt {
    /// LiCl, lithium chloride.
    LithiumChloride,
    /// MgCl₂, magnesium chloride.
    MagnesiumChloride,
    /// NaCl, table salt.
    SodiumChloride,
    /// KCl, potassium chloride.
    PotassiumChloride,
    /// K₂SO₄, potassium sulphate.
    PotassiumSulphate,
}

/// How far a probe is off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trim {
    /// By how much it says too much, K or %RH.
    pub offset: f64,
    /// Standard deviation of that, K or %RH: its readings' and what it was held against.
    pub sd: f64,
    /// Readings.
    pub readings: usize,
    /// How much it moved from the first to the last third, K or %RH.
    pub drift: f64,
    /// What it said on average, °C or %RH.
    pub said: f64,
    /// What would have been right, °C or %RH.
    pub right: f64,
}

/// Why readings tell no offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Untrimmed {
    /// Too few of them have something to be held against.
    TooFew {
        /// How many have.
        readings: usize,
    },
    /// They last too short a time.
    TooShort {
        /// How long.
        lasts: Span,
    },
    /// They have not come to rest against it.
    Unsteady {
        /// How much they moved from the first to the last third, K or %RH.
        drift: f64,
        /// How much they may, K or %RH.
        most: f64,
    },
}

impl Salt {
    /// Every salt.
    pub const ALL: [Self; 5] = [
        Self::LithiumChloride,
        Self::MagnesiumChloride,
        Self::SodiumChloride,
        Self::PotassiumChloride,
        Self::PotassiumSulphate,
    ];

    /// Its formula in plain letters.
    pub const fn name(self) -> &'static str {
        match self {
            Self::LithiumChloride => "LiCl",
            Self::MagnesiumChloride => "MgCl2",
            Self::SodiumChloride => "NaCl",
            Self::PotassiumChloride => "KCl",
            Self::PotassiumSulphate => "K2SO4",
        }
    }

    /// Relative humidity over it at `t_c` (15 to 35 °C), % (Greenspan, J. Res. NBS 81A, 1977, Table 2).
    pub fn rh_pct(self, t_c: f64) -> f64 {
        let [a, b, c, d] = match self {
            Self::LithiumChloride => [11.2323, 0.008_244_5, -2.148_90e-4, 0.0],
            Self::MagnesiumChloride => [33.6686, -0.007_973_97, -1.089_88e-3, 0.0],
            Self::SodiumChloride => [75.5164, 0.039_832_1, -2.654_59e-3, 2.848e-5],
            Self::PotassiumChloride => [88.6190, -0.193_340, 8.997_06e-4, 0.0],
            Self::PotassiumSulphate => [98.7792, -0.059_050_2, 0.0, 0.0],
        };
        a + t_c * (b + t_c * (c + t_c * d))
    }

    /// What that is known to, %RH: the source's own uncertainty about 20 °C, and half a per cent for a jar at home
    /// (common practice, no source).
    pub fn sd_pct(self) -> f64 {
        let by_source = match self {
            Self::LithiumChloride => 0.31,
            Self::MagnesiumChloride => 0.18,
            Self::SodiumChloride => 0.14,
            Self::PotassiumChloride => 0.29,
            Self::PotassiumSulphate => 0.53,
        };
        libm::hypot(by_source, 0.5)
    }
}

/// What `said` (in the order of time) is off by against what would have been `right` at each moment, where that is
/// known, to `right_sd`; it must not have moved by more than `most_drift`.
///
/// # Errors
/// [`Untrimmed`].
pub fn trim(
    said: &[(Timestamp, f64)],
    right: impl Fn(Timestamp) -> Option<f64>,
    right_sd: f64,
    most_drift: f64,
) -> Result<Trim, Untrimmed> {
    let pairs: Vec<(Timestamp, f64, f64)> = said.iter().filter_map(|(at, v)| Some((*at, *v, right(*at)?))).collect();
    let readings = pairs.len();
    let (Some(first), Some(last)) = (pairs.first(), pairs.last()) else { return Err(Untrimmed::TooFew { readings }) };
    if readings < READINGS_LEAST {
        return Err(Untrimmed::TooFew { readings });
    }
    let lasts = last.0.since(first.0);
    if lasts < LASTS_LEAST {
        return Err(Untrimmed::TooShort { lasts });
    }
    let off = |p: &(Timestamp, f64, f64)| p.1 - p.2;
    let third = readings / 3;
    let drift = mean(pairs[readings - third..].iter().map(off)) - mean(pairs[..third].iter().map(off));
    if drift.abs() > most_drift {
        return Err(Untrimmed::Unsteady { drift, most: most_drift });
    }
    let offset = mean(pairs.iter().map(off));
    let part = readings.div_ceil(PARTS);
    let parts: Vec<f64> = pairs.chunks(part).map(|p| mean(p.iter().map(off)) - offset).collect();
    let own_variance = parts.iter().map(|d| d * d).sum::<f64>() / (parts.len() * (parts.len() - 1)) as f64;
    let sd = libm::sqrt(own_variance + right_sd * right_sd);
    let said = mean(pairs.iter().map(|p| p.1));
    Ok(Trim { offset, sd, readings, drift, said, right: mean(pairs.iter().map(|p| p.2)) })
}

/// What a neighbour said at `at`, between its words before and after.
pub fn neighbour(said: &[(Timestamp, f64)], at: Timestamp) -> Option<f64> {
    let after = said.partition_point(|(t, _)| *t < at);
    let (later, value) = *said.get(after)?;
    if later == at {
        return Some(value);
    }
    let (earlier, before) = *said.get(after.checked_sub(1)?)?;
    let apart = later.since(earlier);
    (apart <= NEIGHBOUR_APART).then(|| before + (value - before) * at.since(earlier).s() / apart.s())
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len().max(1) as f64;
    values.sum::<f64>() / count
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: i64) -> Timestamp {
        Timestamp::from_unix_ms(1_772_323_200_000 + 1000 * s)
    }

    fn each_minute(count: i64, value: impl Fn(i64) -> f64) -> Vec<(Timestamp, f64)> {
        (0..count).map(|m| (at(60 * m), value(m))).collect()
    }

    /// Greenspan 1977, Table 2: relative humidity at 15, 20, 25, 30, 35 °C (printed values, from memory).
    #[test]
    fn salts_are_as_damp_as_their_table_says() {
        for (salt, want) in [
            (Salt::LithiumChloride, [11.30, 11.31, 11.30, 11.28, 11.25]),
            (Salt::MagnesiumChloride, [33.30, 33.07, 32.78, 32.44, 32.05]),
            (Salt::SodiumChloride, [75.61, 75.47, 75.29, 75.09, 74.87]),
            (Salt::PotassiumChloride, [85.92, 85.11, 84.34, 83.62, 82.95]),
            (Salt::PotassiumSulphate, [97.89, 97.59, 97.30, 97.00, 96.71]),
        ] {
            for (i, want) in want.iter().enumerate() {
                let got = salt.rh_pct(15.0 + 5.0 * i as f64);
                assert!((got - want).abs() <= 0.025, "{}: {got} for {want}", salt.name());
            }
        }
    }

    #[test]
    fn an_offset_is_found_with_its_noise_and_never_better_than_what_it_is_held_against() {
        let wave = |m: i64| if m % 2 == 0 { 0.04 } else { -0.04 };
        let found = trim(&each_minute(20, |m| 0.31 + wave(m)), |_| Some(0.0), ICE_SD_K, 0.1).unwrap();
        assert!((found.offset - 0.31).abs() < 1e-9 && found.readings == 20, "{found:?}");
        assert!((ICE_SD_K..0.06).contains(&found.sd), "{found:?}");
        // Parts that differ are less sure than parts that agree.
        let steps = trim(&each_minute(20, |m| 0.31 + 0.05 * (m / 4 % 2) as f64), |_| Some(0.0), ICE_SD_K, 0.1).unwrap();
        assert!(steps.sd > found.sd, "{steps:?}");
    }

    #[test]
    fn what_has_not_come_to_rest_tells_nothing() {
        let cooling = each_minute(20, |m| 20.0 * libm::exp(-m as f64 / 3.0));
        assert!(
            matches!(trim(&cooling, |_| Some(0.0), ICE_SD_K, 0.1), Err(Untrimmed::Unsteady { drift, .. }) if drift < -1.0)
        );
        // Its last ten minutes have.
        let found = trim(&cooling[..], |t| (t >= at(1500)).then_some(0.0), ICE_SD_K, 0.1);
        assert_eq!(found, Err(Untrimmed::TooFew { readings: 0 }));
        let few = each_minute(9, |_| 0.3);
        assert_eq!(trim(&few, |_| Some(0.0), ICE_SD_K, 0.1), Err(Untrimmed::TooFew { readings: 9 }));
        let quick: Vec<_> = (0..30).map(|s| (at(s), 0.3)).collect();
        assert_eq!(trim(&quick, |_| Some(0.0), ICE_SD_K, 0.1), Err(Untrimmed::TooShort { lasts: Span::from_s(29) }));
        assert_eq!(trim(&[], |_| Some(0.0), ICE_SD_K, 0.1), Err(Untrimmed::TooFew { readings: 0 }));
    }

    #[test]
    fn a_neighbour_speaks_between_its_words_and_not_over_a_gap() {
        let said = [(at(0), 20.0), (at(120), 22.0), (at(3600), 25.0)];
        assert_eq!(neighbour(&said, at(0)), Some(20.0));
        assert_eq!(neighbour(&said, at(60)), Some(21.0));
        assert_eq!(neighbour(&said, at(600)), None);
        assert_eq!([neighbour(&said, at(-1)), neighbour(&said, at(3601))], [None; 2]);
        // Both follow the same room: only what parts them is left.
        let room = |m: i64| 21.0 + 0.02 * m as f64;
        let other: Vec<_> = (0..20).map(|m| (at(60 * m + 30), room(m) + 0.01)).collect();
        let found = trim(&each_minute(20, |m| room(m) - 0.2), |t| neighbour(&other, t), NEIGHBOUR_SD_K, 0.1).unwrap();
        assert!((found.offset + 0.2).abs() < 1e-6 && found.readings == 19, "{found:?}");
    }
}
