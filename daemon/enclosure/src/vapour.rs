//! Water vapour in one nest: what each probe's humidity says, the balance of water and room, and the vapour in between.
//!
//! Vapour pressure e is what moves, relative humidity only what is read. The air of the galleries gains it from the
//! water and loses it to the room:
//!
//! ```text
//! C de/dt = g (e_sat(T_water) − e) − k (e − e_room) + walls
//! ```
//!
//! The air is changed within minutes, and walls give back what they drank: over hours the right side is nought, and
//! what is left is the share of the way from the room to saturation that the water brings the nest,
//! g/(g + k) = (e − e_room)/(e_sat − e_room). It knows nothing of how warm or how damp the day is, only of water and
//! openings. g/k is how strong the water is against the openings.
use crate::psychro::{saturation_pa, vapour_pa};
use crate::reading::Measured;
use crate::time::{Span, Timestamp};
use alloc::vec::Vec;

/// A humidity is paired with a temperature of its own probe at most so far away.
const PAIR_WITHIN: Span = Span::from_min(10);
/// Smoothing of what a probe says, s: cheap humidity probes are slow and noisy.
const SMOOTHING_S: f64 = 600.0;
/// Below this a humidity probe is dead, not the air dry, %RH (deserts have 5).
const DEAD_PCT: f64 = 1.0;
/// A temperature this far from the last ones makes no vapour pressure: |Δ ln e_sat|, about 3 K.
const WILD_LN: f64 = 0.2;
/// So many in a row and it is the nest that changed.
const WILD_MOST: u8 = 5;
/// A word older than this says nothing about now.
pub const STALE: Span = Span::from_min(30);
/// How far a cheap probe may be off, %RH, one standard deviation (makers' data sheets: ±2 to 3 typical).
const PROBE_SD_PCT: f64 = 2.5;
/// Reach along the galleries over which vapour is alike, mm: √(D/k) with D = 2.5e-5 m²/s (vapour in air at 25 °C,
/// Massman 1998, Atmos. Environ. 32) and the air changed within half an hour (no source).
const REACH_MM: f64 = 200.0;
/// How far vapour differs from place to place, as a share of the nest's excess over the room, and at least this, Pa.
const UNEVEN: (f64, f64) = (0.35, 60.0);
/// Where the room says nothing, this share of the vapour is taken for the nest's own.
const OWN_SHARE: f64 = 0.4;
/// Probes that are used for the vapour in between.
const PLACES_MAX: usize = 12;

/// Vapour at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damp {
    /// Vapour pressure, Pa.
    pub vapour_pa: f64,
    /// Saturation pressure at the probe's own temperature, Pa.
    pub saturation_pa: f64,
    /// When.
    pub at: Timestamp,
}

/// A mean over one whole hour since 1970, its number.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Sum {
    hour: i64,
    count: f64,
    vapour_pa: f64,
    saturation_pa: f64,
}

/// One probe that may tell humidity, with its own temperature.
#[derive(Clone, Debug, Default)]
pub struct Hygrometer {
    warmth: Option<(f64, Timestamp)>,
    waiting: Option<(f64, Timestamp)>,
    now: Option<Damp>,
    newest: Option<Damp>,
    wild: u8,
    hour: Option<Sum>,
    before: Option<Sum>,
}

impl Hygrometer {
    /// Its own temperature, °C.
    pub fn hear_temperature(&mut self, at: Timestamp, c: f64) {
        if self.warmth.is_some_and(|(_, last)| at <= last) {
            return;
        }
        self.warmth = Some((c, at));
        if let Some((rh, when)) = self.waiting.take()
            && at.since(when) <= PAIR_WITHIN
        {
            self.take(at, c, rh);
        }
    }

    /// Its relative humidity, %RH.
    pub fn hear_humidity(&mut self, at: Timestamp, rh_pct: f64) {
        match self.warmth {
            Some((c, when)) if when == at => self.take(at, c, rh_pct),
            _ => self.waiting = Some((rh_pct, at)),
        }
    }

    /// Either of them; tells whether it was.
    pub fn hear(&mut self, at: Timestamp, measured: Measured) -> bool {
        match measured {
            Measured::Temperature(c) => self.hear_temperature(at, c),
            Measured::Humidity(rh_pct) => self.hear_humidity(at, rh_pct),
            Measured::Duty(_) | Measured::On(_) | Measured::Power(_) => return false,
        }
        true
    }

    fn take(&mut self, at: Timestamp, c: f64, rh_pct: f64) {
        if !(DEAD_PCT..=110.0).contains(&rh_pct) || self.now.is_some_and(|n| at <= n.at) {
            return;
        }
        let (vapour, saturation) = (vapour_pa(c, rh_pct.min(100.0)), saturation_pa(c));
        let fresh = self.now.filter(|n| at.since(n.at) < STALE);
        if fresh.is_some_and(|n| libm::fabs(libm::log(saturation / n.saturation_pa)) > WILD_LN) {
            self.wild += 1;
            if self.wild < WILD_MOST {
                return;
            }
            self.now = None;
        }
        self.wild = 0;
        self.newest = Some(Damp { vapour_pa: vapour, saturation_pa: saturation, at });
        let kept = fresh.filter(|_| self.now.is_some());
        self.now = Some(kept.map_or(Damp { vapour_pa: vapour, saturation_pa: saturation, at }, |n| {
            let gain = 1.0 - libm::exp(-at.since(n.at).s() / SMOOTHING_S);
            Damp {
                vapour_pa: n.vapour_pa + gain * (vapour - n.vapour_pa),
                saturation_pa: n.saturation_pa + gain * (saturation - n.saturation_pa),
                at,
            }
        }));
        let hour = hour_of(at);
        let sum = self.hour.filter(|s| s.hour == hour).unwrap_or_else(|| {
            self.before = self.hour;
            Sum { hour, count: 0.0, vapour_pa: 0.0, saturation_pa: 0.0 }
        });
        self.hour = Some(Sum {
            hour,
            count: sum.count + 1.0,
            vapour_pa: sum.vapour_pa + vapour,
            saturation_pa: sum.saturation_pa + saturation,
        });
    }

    /// Its newest word as it came, not smoothed.
    pub fn newest(&self) -> Option<Damp> {
        self.newest
    }

    /// What it says now, unless that is too old.
    pub fn at(&self, now: Timestamp) -> Option<Damp> {
        self.now.filter(|n| now.since(n.at) < STALE)
    }

    /// Mean vapour and saturation pressure over hour `hour`, Pa, if it is the last or the one before.
    pub fn hour(&self, hour: i64) -> Option<(f64, f64)> {
        let sum = [self.hour, self.before].into_iter().flatten().find(|s| s.hour == hour)?;
        Some((sum.vapour_pa / sum.count, sum.saturation_pa / sum.count))
    }
}

/// Number of the hour since 1970 in which `at` lies.
pub fn hour_of(at: Timestamp) -> i64 {
    at.unix_ms().div_euclid(3_600_000)
}

/// Share of the way from the room's vapour to saturation, from 0.02 to 0.98: beyond, cheap probes tell nothing.
///
/// `None` where saturation does not lie above the room's vapour: then no share can be told.
pub fn share(vapour_pa: f64, room_pa: f64, saturation_pa: f64) -> Option<f64> {
    let way = saturation_pa - room_pa;
    (way > 0.05 * saturation_pa).then(|| ((vapour_pa - room_pa) / way).clamp(0.02, 0.98))
}

/// Logarithm of the water's strength g/k at a share g/(g + k).
pub fn ln_strength(share: f64) -> f64 {
    libm::log(share / (1.0 - share))
}

/// Vapour pressures over one nest.
#[derive(Clone, Debug)]
pub struct Vapour {
    /// One for each probe of the nest.
    pub places: Vec<Hygrometer>,
    /// The room's.
    pub room: Hygrometer,
}

/// One probe's word for the vapour in between: place, vapour pressure, its variance.
type Known = (f64, f64, f64);

impl Vapour {
    /// A nest of so many probes that said nothing yet.
    pub fn new(places: usize) -> Self {
        Self { places: alloc::vec![Hygrometer::default(); places], room: Hygrometer::default() }
    }

    /// The coolest of the probes' last words, °C.
    pub fn coolest_c(&self) -> Option<f64> {
        self.places.iter().filter_map(|h| h.warmth).map(|(c, _)| c).reduce(f64::min)
    }

    /// What lies between the probes at `at_mm` that are heard and believed at `now`; `None` where none tells humidity.
    pub fn between(&self, at_mm: impl Iterator<Item = Option<f64>>, now: Timestamp) -> Option<Between> {
        let known = self.places.iter().zip(at_mm).filter_map(|(h, x)| {
            let damp = h.at(now)?;
            let sd = 0.01 * PROBE_SD_PCT * damp.saturation_pa;
            Some((x?, damp.vapour_pa, sd * sd))
        });
        let known: Vec<Known> = known.take(PLACES_MAX).collect();
        Between::new(&known, self.room.at(now).map(|d| d.vapour_pa))
    }
}

/// Vapour pressure along the galleries from a few probes: best linear unbiased estimate (ordinary kriging) with an
/// exponential covariance, the stationary law of diffusion against exchange with the room.
#[derive(Clone, Debug)]
pub struct Between {
    places_mm: Vec<f64>,
    /// Lower triangle of the Cholesky factor of the covariance between the probes, row by row.
    factor: Vec<f64>,
    /// Covariance times ones, and times what differs from the mean, both solved.
    ones: Vec<f64>,
    apart: Vec<f64>,
    mean_pa: f64,
    mean_variance: f64,
    variance: f64,
}

impl Between {
    fn new(known: &[Known], room_pa: Option<f64>) -> Option<Self> {
        let n = known.len();
        if n == 0 {
            return None;
        }
        let average = known.iter().map(|k| k.1).sum::<f64>() / n as f64;
        let own = room_pa.map_or(OWN_SHARE * average, |r| average - r).max(0.0);
        let sd = (UNEVEN.0 * own).max(UNEVEN.1);
        let variance = sd * sd;
        let mut factor = alloc::vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let noise = if i == j { known[i].2 } else { 0.0 };
                let dot: f64 = (0..j).map(|k| factor[i * n + k] * factor[j * n + k]).sum();
                let left = variance * alike(known[i].0 - known[j].0) + noise - dot;
                // Positive by the noise on the diagonal; the bound guards against rounding.
                factor[i * n + j] = if i == j { libm::sqrt(left.max(1e-6)) } else { left / factor[j * n + j] };
            }
        }
        let mut this = Self {
            places_mm: known.iter().map(|k| k.0).collect(),
            factor,
            ones: Vec::new(),
            apart: Vec::new(),
            mean_pa: 0.0,
            mean_variance: 0.0,
            variance,
        };
        this.ones = this.solve(alloc::vec![1.0; n]);
        this.mean_variance = 1.0 / this.ones.iter().sum::<f64>();
        this.mean_pa = this.mean_variance * this.ones.iter().zip(known).map(|(w, k)| w * k.1).sum::<f64>();
        this.apart = this.solve(known.iter().map(|k| k.1 - this.mean_pa).collect());
        Some(this)
    }

    /// Solves covariance · x = b.
    fn solve(&self, mut b: Vec<f64>) -> Vec<f64> {
        let n = b.len();
        for i in 0..n {
            let dot: f64 = (0..i).map(|k| self.factor[i * n + k] * b[k]).sum();
            b[i] = (b[i] - dot) / self.factor[i * n + i];
        }
        for i in (0..n).rev() {
            let dot: f64 = (i + 1..n).map(|k| self.factor[k * n + i] * b[k]).sum();
            b[i] = (b[i] - dot) / self.factor[i * n + i];
        }
        b
    }

    /// Vapour pressure at `x_mm` and its standard deviation, Pa.
    pub fn vapour_pa(&self, x_mm: f64) -> (f64, f64) {
        let near: Vec<f64> = self.places_mm.iter().map(|p| self.variance * alike(p - x_mm)).collect();
        let e = self.mean_pa + near.iter().zip(&self.apart).map(|(a, b)| a * b).sum::<f64>();
        let told: f64 = near.iter().zip(self.solve(near.clone())).map(|(a, b)| a * b).sum();
        let lean = 1.0 - near.iter().zip(&self.ones).map(|(a, b)| a * b).sum::<f64>();
        let variance = self.variance - told + lean * lean * self.mean_variance;
        (e.max(0.0), libm::sqrt(variance.max(0.0)))
    }

    /// Relative humidity at `x_mm` where it is `c` ± `sd_k` warm: %RH from 0 to 100, and its standard deviation.
    pub fn rh_pct(&self, x_mm: f64, c: f64, sd_k: f64) -> (f64, f64) {
        let (e, sd_pa) = self.vapour_pa(x_mm);
        let saturation = saturation_pa(c);
        let rh = 100.0 * e / saturation;
        // d ln e_sat / dT by a small step: the law itself, not a rule of thumb.
        let by_warmth = rh * sd_k * 10.0 * libm::log(saturation_pa(c + 0.1) / saturation);
        let by_vapour = 100.0 * sd_pa / saturation;
        (rh.clamp(0.0, 100.0), libm::sqrt(by_vapour * by_vapour + by_warmth * by_warmth))
    }
}

fn alike(apart_mm: f64) -> f64 {
    libm::exp(-libm::fabs(apart_mm) / REACH_MM)
}

#[cfg(test)]
mod tests;
