//! What a fit says in units that a person can check: each quantity before and after, what these hours could not tell, and
//! where one more probe would tell most about the brood area.
use super::kept::Fit;
use super::layout::{Layout, SHAPES};
use super::{Estimator, QUICK_SD_K, SLOW_SD_K};
use crate::filter::Gaussian;
use crate::models::{NUDGE, dot};
use crate::nest::estimator_of;
use crate::prior::{AIR_SD_K, COLONY_SD_W, Materials, OFFSET_SD_K, PLACE_SD_MM, PROBE_LAG_S, Prior, SHARED, prior};
use crate::shelf::Nest;
use alloc::vec::Vec;

/// A quantity of whose deviation before more than this share is left was not told.
const UNTOLD_SHARE: f64 = 0.8;
/// Two quantities this much correlated are told only together.
const TOGETHER: f64 = 0.95;
/// Places tried for one more probe, apart by, mm.
const CANDIDATES_APART_MM: f64 = 5.0;
/// Most of them.
const CANDIDATES_MAX: usize = 200;
/// What one look of a probe is off by, beside its offset and place, K.
const LOOK_SD_K: f64 = 0.1;
/// Half-width of a 90 % interval, in standard deviations.
const SIGMAS_90: f64 = 1.645;

/// A physical quantity that a fit learns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Conductivity along the nest, W m⁻¹ K⁻¹.
    Conductivity,
    /// Heat that the base loses to the room, W m⁻² K⁻¹.
    BaseLoss,
    /// Heat that the galleries lose to the room, W m⁻² K⁻¹.
    GalleryLoss,
    /// Exchange between base and galleries as the base feels it, W m⁻² K⁻¹.
    BaseExchange,
    /// The same as the galleries feel it, W m⁻² K⁻¹.
    GalleryExchange,
    /// Loss at both ends, W m⁻² K⁻¹.
    EndLoss,
    /// Lag of the pad itself, s.
    PadLag,
    /// Lag of its contact with the nest, s.
    ContactLag,
    /// Heat that pad i brings into the nest at full drive, W m⁻².
    PadHeat(usize),
    /// Offset of probe i, K.
    Offset(usize),
    /// Place of probe i, mm.
    Place(usize),
    /// Lag of probe i, s.
    ProbeLag(usize),
    /// How much warmer the air about the nest is than what stands for the room, K.
    Air,
    /// The colony's own heat, W.
    Colony,
}

/// A quantity with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Median.
    pub value: f64,
    /// Standard deviation, to first order.
    pub sd: f64,
    /// Lower end of the 90 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// One quantity before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// Which.
    pub what: What,
    /// Before anything was measured.
    pub prior: Value,
    /// After the fit.
    pub learned: Value,
    /// Standard deviation that is left, as a share of that before.
    pub left: f64,
}

impl Known {
    /// Whether these hours told anything worth the name about it.
    pub fn is_told(&self) -> bool {
        self.left < UNTOLD_SHARE
    }
}

/// Two quantities that these hours tell only together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// One.
    pub a: What,
    /// The other.
    pub b: What,
    /// Their correlation.
    pub correlation: f64,
}

/// One more probe, somewhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Where, mm.
    pub at_mm: f64,
    /// Standard deviation of the brood area's mean that it would leave, K.
    pub brood_sd_k: f64,
}

/// What a fit says.
#[derive(Clone, Debug, PartialEq)]
pub struct FitReport {
    /// Every quantity.
    pub known: Vec<Known>,
    /// What is told only together.
    pub pairs: Vec<Pair>,
    /// Standard deviation of the brood area's mean (of the whole nest's, without a brood area) in a usual hour, K.
    pub brood_sd_k: f64,
    /// What one more probe would make of it, place by place.
    pub candidates: Vec<Candidate>,
}

impl FitReport {
    /// Where one more probe would help most.
    pub fn best(&self) -> Option<Candidate> {
        self.candidates.iter().copied().min_by(|a, b| a.brood_sd_k.total_cmp(&b.brood_sd_k))
    }
}

/// What `fit` says of `nest`; `None` if it is no fit of this nest.
pub fn report(nest: &Nest, fit: &Fit) -> Option<FitReport> {
    let prior = prior(nest);
    let mut e = estimator_of(nest, (fit.until, fit.room_c));
    let l = e.layout();
    let belief = fit.belief(l.params, l.probes)?;
    if fit.drive.len() != e.axis.pads.len() || fit.drive.iter().any(|d| !d.is_finite()) || !fit.room_c.is_finite() {
        return None;
    }
    let known = known(nest, fit, &belief, (l, &prior));
    let pairs = pairs(l, &belief);
    e.take_up(fit, fit.until);
    e.stand_usual(&fit.drive);
    let brood_sd_k = e.brood_sd_with(None);
    let count = ((e.axis.length_mm / CANDIDATES_APART_MM) as usize).clamp(1, CANDIDATES_MAX);
    let place = |i: usize| e.axis.length_mm * i as f64 / count as f64;
    let candidate = |at_mm: f64| Candidate { at_mm, brood_sd_k: e.brood_sd_with(Some(at_mm)) };
    Some(FitReport { known, pairs, brood_sd_k, candidates: (0..=count).map(place).map(candidate).collect() })
}

/// Which quantity each state of a fit is.
fn what(l: Layout, i: usize) -> What {
    let physics = [
        What::Conductivity,
        What::BaseLoss,
        What::GalleryLoss,
        What::BaseExchange,
        What::GalleryExchange,
        What::EndLoss,
        What::PadLag,
        What::ContactLag,
    ];
    match i {
        _ if i < SHARED => physics[i],
        _ if i < l.params => What::PadHeat(i - SHARED),
        _ if i < l.place(0) => What::Offset(i - l.offset(0)),
        _ if i < l.lag(0) => What::Place(i - l.place(0)),
        _ if i < l.air() => What::ProbeLag(i - l.lag(0)),
        _ if i == l.air() => What::Air,
        _ => What::Colony,
    }
}

/// Every quantity in units of its own: physics and lags are known by their logarithm, the rest as they are.
fn known(nest: &Nest, fit: &Fit, belief: &Gaussian, (l, prior): (Layout, &Prior)) -> Vec<Known> {
    let unit = Materials::of(nest);
    let logged = |centre: f64, sd: f64, unit: f64| {
        let value = libm::exp(centre) * unit;
        let reach = libm::exp(SIGMAS_90 * sd);
        Value { value, sd: value * sd, low: value / reach, high: value * reach }
    };
    let plain = |value: f64, sd: f64| Value { value, sd, low: value - SIGMAS_90 * sd, high: value + SIGMAS_90 * sd };
    let one = |i: usize| {
        let what = what(l, i);
        let (mean, sd) = (belief.mean[i], libm::sqrt(belief.variance(i)));
        let (before, after, sd_before) = match what {
            What::Offset(_) => (plain(0.0, OFFSET_SD_K), plain(mean, sd), OFFSET_SD_K),
            What::Place(p) => {
                let at_mm = nest.probes.get(p).map_or(0.0, |p| p.at_mm);
                (plain(at_mm, PLACE_SD_MM), plain(at_mm + mean, sd), PLACE_SD_MM)
            }
            What::Air => (plain(0.0, AIR_SD_K), plain(mean, sd), AIR_SD_K),
            What::Colony => (plain(0.0, COLONY_SD_W), plain(mean, sd), COLONY_SD_W),
            What::ProbeLag(p) => {
                let log_s = libm::log(PROBE_LAG_S.0);
                let learned = logged(libm::log(fit.lag_s[p]) + mean, sd, 1.0);
                (logged(log_s, PROBE_LAG_S.1, 1.0), learned, PROBE_LAG_S.1)
            }
            _ => {
                let unit = unit.of_parameter(i);
                (logged(prior.log[i], prior.sd[i], unit), logged(fit.log[i] + mean, sd, unit), prior.sd[i])
            }
        };
        Known { what, prior: before, learned: after, left: sd / sd_before }
    };
    // Where no heat comes from a colony that nobody placed there is nothing to tell of it.
    let end = if prior.colony_k_s_w > 0.0 { l.slow() } else { l.colony() };
    (0..end).map(one).collect()
}

fn pairs(l: Layout, belief: &Gaussian) -> Vec<Pair> {
    let correlation = |i: usize, j: usize| {
        belief.covariance(i, j) / libm::sqrt(belief.variance(i) * belief.variance(j)).max(f64::MIN_POSITIVE)
    };
    let all = (0..l.slow()).flat_map(|j| (0..j).map(move |i| (i, j)));
    let pair = |(i, j): (usize, usize)| Pair { a: what(l, i), b: what(l, j), correlation: correlation(i, j) };
    all.map(pair).filter(|p| p.correlation.abs() > TOGETHER).collect()
}

impl Estimator {
    /// A usual hour: bodies at rest under the mean drive, disturbances as they usually are, every probe heard once.
    fn stand_usual(&mut self, drive: &[f64]) {
        let l = self.layout();
        let models = self.models.clone();
        for (course, body) in self.courses.iter_mut().zip(&models.bodies) {
            course.heat = body.settled(drive);
            body.gallery(&course.heat, &mut course.amplitudes);
        }
        for k in 0..SHAPES {
            self.belief.renew(l.slow() + k, SLOW_SD_K * SLOW_SD_K);
            self.belief.renew(l.quick() + k, QUICK_SD_K * QUICK_SD_K);
        }
        for p in 0..l.probes {
            let (mut h, slope) = self.row_at(self.places_mm[p]);
            h[l.offset(p)] = 1.0;
            h[l.place(p)] = slope;
            let expected = self.belief.expect(&h, LOOK_SD_K * LOOK_SD_K);
            self.belief.absorb(&expected, 0.0);
        }
    }

    /// How everything uncertain moves the galleries' temperature at `x_mm`, and the slope there, K/mm.
    fn row_at(&self, x_mm: f64) -> (Vec<f64>, f64) {
        let at = |i: usize| {
            let row: Vec<f64> = self.models.bodies[i].modes.at(x_mm).collect();
            dot(&row, &self.courses[i].amplitudes)
        };
        let (nominal, l) = (at(0), self.layout());
        let (_, mut h) = self.read(|r| &r.brood, x_mm);
        for (i, v) in h.iter_mut().enumerate().take(l.params) {
            *v = (at(i + 1) - nominal) / NUDGE;
        }
        let modes = &self.models.bodies[0].modes;
        let row: Vec<f64> = modes.at(x_mm).collect();
        h[l.colony()] = self.colony_k_s_w * dot(&row, &self.models.colony);
        let slope: Vec<f64> = modes.slope_at(x_mm).collect();
        (h, dot(&slope, &self.courses[0].amplitudes))
    }

    /// Standard deviation of the brood area's mean with one more probe at `at_mm`, heard once, K: what the look tells
    /// (x|y has the variance P − PhhᵀP/(hᵀPh + R)), and that a probe is nearer.
    fn brood_sd_with(&self, at_mm: Option<f64>) -> f64 {
        let mid_mm = 0.5 * (self.brood.from_mm + self.brood.to_mm);
        let (excess_k, brood) = self.read(|r| &r.brood, mid_mm);
        let far = |x: &f64| (x - mid_mm).abs();
        let nearest_mm = self.places_mm.iter().chain(&at_mm).map(far).fold(f64::INFINITY, f64::min);
        let unmodelled_k2 = self.unmodelled_beside_k2(mid_mm, excess_k, nearest_mm);
        let told_k2 = at_mm.map_or(0.0, |x_mm| {
            let (h, slope) = self.row_at(x_mm);
            let place_k = PLACE_SD_MM * slope;
            let noise_k2 = LOOK_SD_K * LOOK_SD_K + OFFSET_SD_K * OFFSET_SD_K + place_k * place_k;
            let both: Vec<f64> = brood.iter().zip(&h).map(|(a, b)| a + b).collect();
            let spread = |h: &[f64]| self.belief.spread(h);
            let shared = 0.5 * (spread(&both) - spread(&brood) - spread(&h));
            shared * shared / (spread(&h) + noise_k2)
        });
        libm::sqrt((self.belief.spread(&brood) - told_k2).max(0.0) + unmodelled_k2)
    }
}

#[cfg(test)]
#[path = "report_tests.rs"]
mod tests;
