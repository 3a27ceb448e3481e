//! One nest under one set of faces: its body at the prior's medians, and bodies a standard deviation off in every
//! direction, so that anything read off them has an interval.
//!
//! Rises and times are positive, and products of powers of the parameters nearly everywhere: their logarithms are
//! taken as linear in the parameters' logarithms over one standard deviation (an error propagation by central
//! differences; JCGM 100, section 5.1.2, in logarithms).
use crate::body::{Axis, Body, Heat, MODES, Physics};
use crate::models::dot;
use crate::modes::Modes;
use crate::prior::{Prior, from_log};
use crate::shelf::Stretch;
use alloc::rc::Rc;
use alloc::vec::Vec;

/// Half-width of the 90 % interval of a normal distribution, in standard deviations: 1 in 20 lies above its upper end.
pub const Z90: f64 = 1.645;
/// Places of a profile.
pub const GRID: usize = 121;
/// One mode for so many millimetres of the axis, so that a short pad under a long nest is seen.
const MODE_MM: f64 = 4.0;
/// Most modes.
const MODES_MOST: usize = 400;
/// Points over each pad, and over what the brood's limit judges.
const POINTS: usize = 25;
/// Steps over the slowest time constant.
const STEPS: f64 = 200.0;
/// Longest course that is followed, in slowest time constants: e⁻²⁰ of it is left.
const COURSE: f64 = 20.0;
/// A series that was cut off ends in ripples: nothing is told below this share of the highest rise.
const RIPPLE: f64 = 1e-3;
/// What a logarithm is taken of, at least.
const LEAST: f64 = 1e-9;

/// A value as it is likely, and where it lies nine times in ten.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Likely {
    /// One in twenty lies below.
    pub low: f64,
    /// The median.
    pub mid: f64,
    /// One in twenty lies above.
    pub high: f64,
}

impl Likely {
    /// Every one of the three through `f`.
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        Self { low: f(self.low), mid: f(self.mid), high: f(self.high) }
    }
}

/// What a plan looks at along the axis.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Looks {
    /// Where the brood's limit is judged.
    pub(super) judged: Stretch,
    /// Over which the brood place's mean is taken.
    pub(super) mean: Stretch,
    /// Where the heat is held by a thermostat, if it is.
    pub(super) hold_mm: Option<f64>,
}

/// The nest, its pads and what is believed of them under one set of faces.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    pub(super) axis: Axis,
    pub(super) prior: Prior,
    /// Parameters that move together, as whatever covers a nest covers all of it.
    pub(super) together: &'static [usize],
    /// Heat capacity of the base per area, J m⁻² K⁻¹.
    pub(super) base_j_m2k: f64,
    /// From the pad's face to the middle of the base, m² K W⁻¹, and its standard deviation on the log scale.
    pub(super) face_m2k_w: (f64, f64),
    pub(super) looks: Looks,
}

/// One body, and what the pads at full drive come to in it.
#[derive(Clone, Debug)]
pub(super) struct Made {
    pub(super) physics: Physics,
    pub(super) body: Body,
    rows: Rc<Rows>,
    /// Where it comes to rest.
    pub(super) rest: Heat,
    /// From each pad's face into the base, K at full drive.
    face_k: Vec<f64>,
    /// Least rise that is told, K.
    least_k: f64,
}

/// Rows over the modes at everything that is looked at.
#[derive(Clone, Debug)]
struct Rows {
    grid: Vec<Vec<f64>>,
    judged: Vec<Vec<f64>>,
    pads: Vec<Vec<Vec<f64>>>,
    mean: Vec<f64>,
    hold: Vec<f64>,
}

/// The median body and a pair for every direction in which it may be off.
#[derive(Clone, Debug)]
pub(super) struct Fan<'a> {
    scene: &'a Scene,
    modes: Modes,
    pub(super) median: Made,
    pairs: Vec<(Vec<f64>, Made, Made)>,
}

fn points(s: Stretch, count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |i| s.from_mm + s.length_mm() * i as f64 / (count - 1) as f64)
}

impl Rows {
    fn new(m: &Modes, axis: &Axis, looks: &Looks) -> Self {
        let over =
            |s: Stretch, count: usize| -> Vec<Vec<f64>> { points(s, count).map(|x| m.at(x).collect()).collect() };
        let mean: Vec<f64> = m.mean_over(looks.mean).collect();
        Self {
            grid: over(Stretch { from_mm: 0.0, to_mm: axis.length_mm }, GRID),
            judged: over(looks.judged, POINTS),
            pads: axis.pads.iter().map(|p| over(*p, POINTS)).collect(),
            hold: looks.hold_mm.map_or_else(|| mean.clone(), |x| m.at(x).collect()),
            mean,
        }
    }
}

fn hottest(rows: &[Vec<f64>], amplitudes: &[f64]) -> f64 {
    rows.iter().map(|r| dot(r, amplitudes)).fold(f64::NEG_INFINITY, f64::max)
}

impl Made {
    fn new(scene: &Scene, log: &[f64], (modes, rows): (&Modes, &Rc<Rows>), step_s: f64) -> Self {
        let (face_log, log) = log.split_last().unwrap_or((&0.0, &[]));
        let physics = from_log(log);
        let body = Body::on(modes.clone(), &scene.axis, &physics, step_s);
        let rest = body.settled(&alloc::vec![1.0; scene.axis.pads.len()]);
        let face_k = physics.gain_k_s.iter().map(|g| g * scene.base_j_m2k * libm::exp(*face_log)).collect();
        let mut made = Self { physics, rest, face_k, rows: Rc::clone(rows), body, least_k: f64::NEG_INFINITY };
        made.least_k = RIPPLE * made.profile(&made.rest).into_iter().fold(0.0, f64::max);
        made
    }

    fn galleries(&self, heat: &Heat) -> Vec<f64> {
        let mut out = alloc::vec![0.0; self.body.modes.len()];
        self.body.gallery(heat, &mut out);
        out
    }

    fn base(&self, heat: &Heat) -> Vec<f64> {
        let mut out = alloc::vec![0.0; self.body.modes.len()];
        self.body.base(heat, &mut out);
        out
    }

    /// The galleries' profile, K over the room.
    pub(super) fn profile(&self, heat: &Heat) -> Vec<f64> {
        let amplitudes = self.galleries(heat);
        self.rows.grid.iter().map(|r| dot(r, &amplitudes).max(self.least_k)).collect()
    }

    /// The hottest of what the brood's limit judges, K over the room.
    pub(super) fn judged(&self, heat: &Heat) -> f64 {
        hottest(&self.rows.judged, &self.galleries(heat)).max(self.least_k)
    }

    /// The brood place's mean, K over the room.
    pub(super) fn mean(&self, heat: &Heat) -> f64 {
        dot(&self.rows.mean, &self.galleries(heat)).max(self.least_k)
    }

    /// Where a thermostat holds the heat (else the brood place's mean), K over the room.
    pub(super) fn hold(&self, heat: &Heat) -> f64 {
        dot(&self.rows.hold, &self.galleries(heat)).max(self.least_k)
    }

    /// The hottest face between a pad and the nest, K over the room.
    pub(super) fn face(&self, heat: &Heat) -> f64 {
        let base = self.base(heat);
        let faces = self.rows.pads.iter().zip(&self.face_k).zip(heat.arriving());
        faces.map(|((rows, face_k), share)| hottest(rows, &base) + face_k * share).fold(0.0, f64::max)
    }

    /// Time from `from` at full drive until `reached`, s, between two steps by a straight line; none if it never is.
    pub(super) fn until(&self, from: &Heat, target: f64, value: impl Fn(&Heat) -> f64) -> Option<f64> {
        let (mut heat, mut before) = (from.clone(), value(from));
        if before >= target {
            return Some(0.0);
        }
        if value(&self.rest) <= target {
            return None;
        }
        let drive = alloc::vec![1.0; self.face_k.len()];
        let steps = (STEPS * COURSE) as usize;
        for i in 0..steps {
            self.body.advance(&mut heat, &drive, 0.0);
            let now = value(&heat);
            if now >= target {
                let part = (target - before) / (now - before).max(LEAST);
                return Some((i as f64 + part) * self.body.step_s());
            }
            before = now;
        }
        Some(steps as f64 * self.body.step_s())
    }

    /// At rest with all pads at duty `u`.
    pub(super) fn held(&self, u: f64) -> Heat {
        self.body.settled(&alloc::vec![u; self.face_k.len()])
    }
}

impl Scene {
    /// Bodies around the prior's medians.
    pub(super) fn fan(&self) -> Fan<'_> {
        let mut log = self.prior.log.clone();
        log.push(libm::log(self.face_m2k_w.0));
        let sd: Vec<f64> = self.prior.sd.iter().copied().chain([self.face_m2k_w.1]).collect();
        let physics = from_log(&self.prior.log);
        let wanted = (self.axis.length_mm / MODE_MM) as usize;
        let count = wanted.clamp(MODES, MODES_MOST);
        let on = |log: &[f64]| {
            let modes = self.axis.modes(from_log(log).end_loss, count);
            let rows = Rows::new(&modes, &self.axis, &self.looks);
            (modes, Rc::new(rows))
        };
        let median = on(&log);
        let step_s = slowest_s(&physics, &median.0) / STEPS;
        let make = |log: &[f64], (modes, rows): &(Modes, Rc<Rows>)| Made::new(self, log, (modes, rows), step_s);
        let moved = |direction: &[f64], sign: f64| {
            let log: Vec<f64> = log.iter().zip(direction).map(|(l, d)| l + sign * d).collect();
            if direction[END_LOSS].abs() > 0.0 { make(&log, &on(&log)) } else { make(&log, &median) }
        };
        let directions = directions(&sd, self.together);
        let pairs = directions.into_iter().map(|d| (d.clone(), moved(&d, 1.0), moved(&d, -1.0))).collect();
        Fan { scene: self, median: make(&log, &median), pairs, modes: median.0 }
    }
}

/// Which parameter is the end loss.
const END_LOSS: usize = 5;

/// One direction for each parameter; those that move together share one.
fn directions(sd: &[f64], together: &[usize]) -> Vec<Vec<f64>> {
    let joins = |i: usize| together.contains(&i);
    let leads = |i: usize| !joins(i) || together.first() == Some(&i);
    let direction = |i: usize| -> Vec<f64> {
        let moves = |k: usize| k == i || (joins(i) && joins(k));
        sd.iter().enumerate().map(|(k, s)| if moves(k) { *s } else { 0.0 }).collect()
    };
    (0..sd.len()).filter(|i| leads(*i)).map(direction).collect()
}

/// The slowest time constant of a body, s.
fn slowest_s(p: &Physics, modes: &Modes) -> f64 {
    let diffusion = p.diffusivity_mm2_s * modes.wave_numbers2_mm2().next().unwrap_or(0.0);
    1.0 / (diffusion + slow_loss_per_s(p))
}

/// The smaller eigenvalue of both layers' losses and exchange, 1/s: what is left where no heat is led along the axis.
pub(super) fn slow_loss_per_s(p: &Physics) -> f64 {
    let (base, gallery) = (p.base_loss_per_s + p.base_exchange_per_s, p.gallery_loss_per_s + p.gallery_exchange_per_s);
    let half = 0.5 * (base - gallery);
    let root = libm::sqrt(half * half + p.base_exchange_per_s * p.gallery_exchange_per_s);
    // The product of both eigenvalues is exact where their difference would cancel.
    (base * gallery - p.base_exchange_per_s * p.gallery_exchange_per_s) / (0.5 * (base + gallery) + root)
}

/// How far heat travels along the axis before it has fallen to 1/e, mm: √(α/λ) with the slow of both losses.
pub(super) fn decay_mm(p: &Physics) -> f64 {
    libm::sqrt(p.diffusivity_mm2_s / slow_loss_per_s(p))
}

impl Fan<'_> {
    /// What is looked at.
    pub(super) fn looks(&self) -> &Looks {
        &self.scene.looks
    }

    /// The axis and its pads.
    pub(super) fn axis(&self) -> &Axis {
        &self.scene.axis
    }

    #[cfg(test)]
    pub(super) fn directions(&self) -> usize {
        self.pairs.len()
    }

    /// How far each direction moves the logarithm of `value`, per standard deviation.
    fn pulls<'b>(&'b self, value: &'b impl Fn(&Made) -> f64) -> impl Iterator<Item = f64> + 'b {
        let log = |made: &Made| libm::log(value(made).max(LEAST));
        self.pairs.iter().map(move |(_, up, down)| 0.5 * (log(up) - log(down)))
    }

    /// A positive value with its interval.
    pub(super) fn likely(&self, value: impl Fn(&Made) -> f64) -> Likely {
        let mid = value(&self.median);
        let wide = libm::exp(Z90 * libm::sqrt(self.pulls(&value).map(|p| p * p).sum()));
        Likely { low: mid / wide, mid, high: mid * wide }
    }

    /// Many positive values at once, each with its interval.
    pub(super) fn likely_all(&self, values: impl Fn(&Made) -> Vec<f64>) -> Vec<Likely> {
        let log = |v: f64| libm::log(v.max(LEAST));
        let moved: Vec<_> = self.pairs.iter().map(|(_, up, down)| (values(up), values(down))).collect();
        let one = |(i, mid): (usize, f64)| {
            let pull = |(up, down): &(Vec<f64>, Vec<f64>)| 0.5 * (log(up[i]) - log(down[i]));
            let wide = libm::exp(Z90 * libm::sqrt(moved.iter().map(|m| pull(m) * pull(m)).sum()));
            Likely { low: mid / wide, mid, high: mid * wide }
        };
        values(&self.median).into_iter().enumerate().map(one).collect()
    }

    /// The likeliest body in which `value` is as high as it is once in twenty: the design point of a first-order
    /// reliability method (Hasofer & Lind 1974, from memory).
    pub(super) fn upper(&self, value: impl Fn(&Made) -> f64) -> Made {
        let pulls: Vec<f64> = self.pulls(&value).collect();
        let sd = libm::sqrt(pulls.iter().map(|p| p * p).sum::<f64>()).max(LEAST);
        let mut log = self.scene.prior.log.clone();
        log.push(libm::log(self.scene.face_m2k_w.0));
        for ((direction, _, _), pull) in self.pairs.iter().zip(&pulls) {
            for (l, d) in log.iter_mut().zip(direction) {
                *l += Z90 * pull / sd * d;
            }
        }
        let modes = self.scene.axis.modes(libm::exp(log[END_LOSS]), self.modes.len());
        let rows = Rc::new(Rows::new(&modes, &self.scene.axis, &self.scene.looks));
        Made::new(self.scene, &log, (&modes, &rows), self.median.body.step_s())
    }
}
