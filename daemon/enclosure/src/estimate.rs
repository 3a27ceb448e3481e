//! The estimate of one nest: a body at nominal physics driven by pads and room, and a Kalman filter over everything
//! that may be off about it.
//!
//! What a probe shows = the nominal body's answer, seen through the probe's lag, + its sensitivity to each parameter ×
//! how far that parameter is off + the probe's offset + slope × how far its place is off + slow and quick disturbances
//! of a few smooth shapes + noise. All of it is linear in what is off, so a filter of some 30 states holds physics,
//! probes and disturbances together, and its covariance is the honest error of every temperature on the axis. When the
//! physics has moved, the nominal body is rebuilt there and the last hours are run through it again.
mod fit;
mod hindsight;
mod kept;
mod layout;
mod memory;
mod noise;
mod readout;
mod report;
mod rivalry;
mod seed;
mod trial;
mod untold;

use crate::body::{Axis, Heat};
use crate::filter::{Fade, Gaussian};
use crate::models::{Course, Models, NUDGE, Seen, Step};
use crate::prior::{AIR_SD_K, COLONY_SD_W, OFFSET_SD_K, PLACE_SD_MM, PROBE_LAG_S, Prior};
use crate::rival::{Mode, Rival, Said};
use crate::shelf::Stretch;
use crate::sudden::FromAbove;
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;
use alloc::sync::Arc;
use alloc::vec::Vec;
pub use hindsight::{Hindsight, LookingBack};
pub use kept::{Fit, FitNews, FitSeen};
use layout::{Layout, SHAPES};
use memory::{Heard, Past};
pub use report::{Candidate, FitReport, Known, Pair, Value, What, report};
pub use seed::{Place, Seed};
pub use trial::{NotTaken, Trial};

/// The estimator's step; readings fall between steps and are weighed there.
pub const STEP: Span = Span::from_s(20);
/// Pads a nest may have.
pub const PADS_MAX: usize = 3;

/// Drives with which pad `pad` alone is driven, at `share` of full drive.
pub(crate) fn alone(pad: usize, share: f64) -> [f64; PADS_MAX] {
    let mut drive = [0.0; PADS_MAX];
    if let Some(d) = drive.get_mut(pad) {
        *d = share;
    }
    drive
}
/// What disturbs a nest is smooth: ants, lids and the sun reach far. Each finer shape has this share of the deviation;
/// their squares add up to one a shape.
const SHAPE_SHARES: [f64; SHAPES] = [1.5, 1.2, 0.9, 0.65, 0.45];
/// Standing deviation of the slow disturbances (ants, lids, sun), K for each shape.
const SLOW_SD_K: f64 = 0.10;
/// Their time constant, s.
const SLOW_S: f64 = 4.0 * 3600.0;
/// Standing deviation of the quick disturbances (what two layers do not tell), K for each shape.
const QUICK_SD_K: f64 = 0.08;
/// Their time constant, s.
const QUICK_S: f64 = 25.0 * 60.0;
/// Deviation of a nest's unknown warmth at the first reading, K for each shape.
const START_SD_K: f64 = 4.0;
/// Noise of a probe before any was seen, K.
const NOISE_SD_K: f64 = 0.08;
/// Innovations beyond this many deviations are wild.
const GATE_SIGMA: f64 = 5.0;
/// What a few hours seem to say about the physics beyond the last fit is forgotten over this long, s.
const LEAN_S: f64 = 2.0 * 3600.0;
/// Share of what the last fit left open by which a rival's long prediction may be off: the belief bends meanwhile.
const OPEN_SHARE: f64 = 0.1;
/// Random walk of every parameter, log scale per root day.
const DRIFT_PER_ROOT_DAY: f64 = 0.02;

/// What a reading was worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    /// What was expected, °C.
    pub expected_c: f64,
    /// Standard deviation of the difference, K.
    pub sd_k: f64,
    /// What it said over that, K.
    pub surprise_k: f64,
    /// Whether it lies within the gate.
    pub within: bool,
    /// Whether it does, or a rival that has something to say for itself expects it.
    pub explained: bool,
}

/// Who listens to a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hearing {
    /// Belief and rivals.
    All,
    /// Only what disputes the pad: a probe held for odd may be the first to tell of a stuck one.
    Rivals,
    /// Nobody: it says nothing about its place.
    Nobody,
}

/// One nest's estimate.
#[derive(Clone, Debug)]
pub struct Estimator {
    axis: Axis,
    places_mm: Vec<f64>,
    brood: Stretch,
    prior_sd: Vec<f64>,
    colony_k_s_w: f64,
    /// Logarithms of the nominal physics.
    log: Vec<f64>,
    /// Nominal lag of each probe, s, and what one step keeps.
    lags: Vec<(f64, f64)>,
    models: Arc<Models>,
    courses: Vec<Course>,
    /// The nominal body seen through slightly longer lags.
    laggards: Seen,

    belief: Gaussian,
    noise_k2: Vec<f64>,
    /// How far this nest strays from a belief some minutes old, K², by how old it is.
    strays: noise::Strays,
    /// What disturbances usually add at each probe, K.
    usual_k: Vec<f64>,
    room_c: f64,
    step: i64,
    started: i64,
    faded: i64,
    moved: i64,
    memory: VecDeque<Past>,
    /// Readings taken in since the memory begins.
    heard: VecDeque<Heard>,
    prior_log: Vec<f64>,
    /// What the fits so far have learned, from the second day on: the prior of the next one.
    learned: Option<Learned>,
    /// Whether any fit has been adopted.
    fitted: bool,
    /// What came of the last fit, until it is taken away.
    news: Option<FitNews>,
    seen: FitSeen,
    last_heard: Vec<Option<Timestamp>>,
    last_values: Vec<[Option<f64>; 2]>,
    finest: Vec<noise::Finest>,
    modes: Vec<Mode>,
    rivals: Vec<Rival>,
    /// What probes show of a lid and of the sun with this physics, once it was asked for.
    above: Vec<FromAbove>,
    /// Whether some drive reports: then a mode other than as told is a fault.
    drives_known: bool,
    /// Highest fruitless evidence of late of each rival, by pad and mode: it outlives the rivals.
    usual: Vec<(usize, Mode, f64)>,
    /// What pads that do not report are held to have done.
    untold: untold::Untold,
    /// For each pad whose newest drive is a guess: the heat that full drive would have brought meanwhile, and how far the
    /// guess may be off, a share of full drive.
    guessed: Vec<Option<(Heat, f64)>>,
}

/// What a fit has learned: physics and probes with their joint uncertainty, absolute.
#[derive(Clone, Debug)]
struct Learned {
    log: Vec<f64>,
    lag_s: Vec<f64>,
    belief: Gaussian,
    /// When, as a step.
    until: i64,
}

impl Estimator {
    /// Begins at `at` with the nest as warm as `room_c`, give or take `START_SD_K`.
    pub fn new(axis: Axis, prior: &Prior, places_mm: Vec<f64>, brood: Stretch, begin: (Timestamp, f64)) -> Self {
        let (at, room_c) = begin;
        let step = at.unix_ms().div_euclid(STEP.ms());
        let probes = places_mm.len();
        let models = Arc::new(Models::new(&axis, &prior.log, &places_mm, brood, STEP.s()));
        let layout = Layout { params: prior.log.len(), probes, untold: 0 };
        let mut sd = prior.sd.clone();
        sd.extend(core::iter::repeat_n(OFFSET_SD_K, probes));
        sd.extend(core::iter::repeat_n(PLACE_SD_MM, probes));
        sd.extend(core::iter::repeat_n(PROBE_LAG_S.1, probes));
        sd.extend([AIR_SD_K, COLONY_SD_W]);
        sd.extend(SHAPE_SHARES.map(|s| s * SLOW_SD_K));
        sd.extend(core::iter::repeat_n(START_SD_K, SHAPES));
        let fades = SHAPE_SHARES
            .iter()
            .enumerate()
            .map(|(k, s)| Fade { state: layout.slow() + k, time_s: SLOW_S, sd: s * SLOW_SD_K })
            .chain(SHAPE_SHARES.iter().enumerate().map(|(k, s)| Fade {
                state: layout.quick() + k,
                time_s: QUICK_S,
                sd: s * QUICK_SD_K,
            }))
            .collect();
        let mut belief = Gaussian::new(&sd, fades);
        belief.tie(layout.slow(), LEAN_S);
        let courses = models.bodies.iter().map(|b| Course::cold(b, probes, room_c)).collect();
        let lag = (PROBE_LAG_S.0, libm::exp(-STEP.s() / PROBE_LAG_S.0));
        Self {
            modes: alloc::vec![Mode::Follow; axis.pads.len()],
            rivals: Vec::new(),
            above: Vec::new(),
            drives_known: true,
            usual: Vec::new(),
            untold: untold::Untold::default(),
            guessed: Vec::new(),
            prior_sd: prior.sd.clone(),
            colony_k_s_w: prior.colony_k_s_w,
            log: prior.log.clone(),
            lags: alloc::vec![lag; probes],
            belief,
            noise_k2: alloc::vec![NOISE_SD_K * NOISE_SD_K; probes],
            strays: noise::Strays::default(),
            usual_k: alloc::vec![0.0; probes],
            memory: VecDeque::new(),
            heard: VecDeque::new(),
            prior_log: prior.log.clone(),
            learned: None,
            fitted: false,
            news: None,
            seen: FitSeen::default(),
            last_heard: alloc::vec![None; probes],
            last_values: alloc::vec![[None; 2]; probes],
            finest: alloc::vec![noise::Finest::default(); probes],
            started: step,
            faded: step,
            moved: step,
            axis,
            places_mm,
            brood,
            models,
            courses,
            laggards: Seen::at_rest(probes, room_c),
            room_c,
            step,
        }
    }

    fn layout(&self) -> Layout {
        Layout { params: self.log.len(), probes: self.places_mm.len(), untold: self.untold.len() }
    }

    /// The moment the estimate stands at.
    pub fn at(&self) -> Timestamp {
        Timestamp::from_unix_ms(self.step.saturating_mul(STEP.ms()))
    }

    /// The room it stands at, °C.
    pub fn room_c(&self) -> f64 {
        self.room_c
    }

    /// How long it has been running.
    pub fn age(&self) -> Span {
        Span::from_ms((self.step - self.started).saturating_mul(STEP.ms()))
    }

    /// Whether some pad's drive reports.
    pub fn drives_known(&self) -> bool {
        self.drives_known
    }

    /// Whether a fit has seen this nest.
    pub fn is_fitted(&self) -> bool {
        self.fitted
    }

    /// The rivals of what is believed about the pads.
    pub fn rivals(&self) -> &[Rival] {
        &self.rivals
    }

    /// Moves on by one step: each pad told `told`, the room at `room_c` at its end.
    pub fn advance(&mut self, told: &[f64], room_c: f64) {
        self.judge_untold();
        self.turn_untold();
        let drive_of = |(pad, (t, m)): (usize, (&f64, &Mode))| self.untold.drive(pad).unwrap_or_else(|| m.drive(*t));
        let drive: Vec<f64> = told.iter().zip(&self.modes).enumerate().map(drive_of).collect();
        let change = room_c - self.room_c;
        self.run(&drive, room_c, change);
        self.advance_rivals(told, &drive);
        self.room_c = room_c;
        self.step += 1;
        self.remember_step(told, &drive);
        self.pass_untold();
    }

    fn run(&mut self, drive: &[f64], room_c: f64, room_change_k: f64) {
        let step = Step { drive, room_c, room_change_k, lags: &self.lags, step_s: STEP.s() };
        for (i, (course, body)) in self.courses.iter_mut().zip(&self.models.bodies).enumerate() {
            course.advance(body, self.models.rows(i), &step);
        }
        let nominal = &self.courses[0];
        for p in 0..self.lags.len() {
            let lag_s = self.lags[p].0 * (1.0 + NUDGE);
            let longer = (lag_s, libm::exp(-STEP.s() / lag_s));
            self.laggards.see(p, nominal.seen.surface[p], longer, STEP.s());
        }
    }

    /// Weighs what probe `p` said at `at`, within the last step (later or earlier is taken as its end or beginning), and
    /// takes it in if it lies within the gate and `hearing` allows.
    pub fn absorb(&mut self, p: usize, at: Timestamp, value_c: f64, hearing: Hearing) -> Weighed {
        let into = at.since(self.at().minus(STEP)).s() / STEP.s();
        let part = into.clamp(0.0, 1.0);
        self.fade();
        self.note_step(p, value_c);
        let h = self.row_of_probe(p, part);
        let expected = self.belief.expect(&h, self.noise_of(p));
        let expected_c = self.courses[0].seen.at(p, part) + expected.value;
        let surprise = value_c - expected_c;
        let sd_k = libm::sqrt(expected.variance);
        let within = surprise.abs() <= GATE_SIGMA * sd_k;
        let mut explained = within;
        if hearing != Hearing::Nobody {
            let weight = self.independence(p, at);
            let open = OPEN_SHARE * self.belief.anchored_spread(&h);
            let (own, beyond_nominal) = (self.own_noise(p), value_c - self.courses[0].seen.at(p, part));
            let passing_k = self.passing_k(p, weight);
            let mut rivals = core::mem::take(&mut self.rivals);
            for r in &mut rivals {
                let noise = own + open + self.stray_k2(r.steps);
                explained |= r.hear(&Said { probe: p, part, beyond_nominal, row: &h, noise, passing_k, weight });
            }
            self.rivals = rivals;
            if within {
                self.note_strays(p, own, weight);
            }
            if within && hearing == Hearing::All {
                self.belief.absorb_row(&h, &expected, surprise);
                self.note_noise(p, value_c);
                self.remember_reading(p, part, value_c);
            }
        }
        Weighed { expected_c, sd_k, surprise_k: surprise, within, explained }
    }

    /// Opens the estimate to what probe `p` keeps saying: its readings agree with each other against the model.
    pub fn widen(&mut self, surprise_k: f64) {
        let quick = self.layout().quick();
        for (k, share) in SHAPE_SHARES.iter().enumerate() {
            self.belief.widen(quick + k, 0.5 * share * share * surprise_k * surprise_k);
        }
    }

    fn fade(&mut self) {
        if self.faded == self.step {
            return;
        }
        let dt_s = (self.step - self.faded) as f64 * STEP.s();
        self.belief.fade(dt_s);
        for r in &mut self.rivals {
            self.belief.fade_mean(&mut r.origin);
        }
        let drift = DRIFT_PER_ROOT_DAY * DRIFT_PER_ROOT_DAY * dt_s / 86_400.0;
        for i in 0..self.log.len() {
            self.belief.widen(i, drift);
        }
        self.faded = self.step;
    }
}
