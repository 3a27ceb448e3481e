//! The estimate of one nest: a body at nominal physics driven by pads and room, and a Kalman filter over everything
//! that may be off about it.
//!
//! What a probe shows = the nominal body's answer, seen through the probe's lag, + its sensitivity to each parameter ×
//! how far that parameter is off + the probe's offset + slope × how far its place is off + slow and quick disturbances
//! of a few smooth shapes + noise. All of it is linear in what is off, so a filter of some 30 states holds physics,
//! probes and disturbances together, and its covariance is the honest error of every temperature on the axis. When the
//! physics has moved, the nominal body is rebuilt there and the last hours are run through it again.
use crate::body::Axis;
use crate::filter::{Expected, Fade, Gaussian};
use crate::models::{Course, Models, NUDGE, Step, dot};
use crate::prior::{OFFSET_SD_K, PLACE_SD_MM, PROBE_LAG_S, Prior};
use crate::rival::{Jolt, Mode, Rival, Said};
use crate::shelf::Stretch;
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::f64::consts::PI;

/// The estimator's step; readings fall between steps and are weighed there.
pub const STEP: Span = Span::from_s(20);
/// Pads a nest may have.
pub const PADS_MAX: usize = 3;
/// Steps kept to fit the physics again: two days.
const MEMORY: usize = 8640;
/// Steps run again after a pad was found to have done something else: six hours, longer than any nest remembers.
const RERUN: usize = 1080;
/// Readings kept for it: one a step and probe at the most.
const HEARD_MAX: usize = 40_000;
/// What the two layers cannot tell, K: an hour of residual counts as one measurement of this quality.
const MODEL_ERROR_K: f64 = 0.12;
/// From this age on a fit starts from what the last one learned, min.
const FIRST_DAY_MIN: i64 = 1440;
/// The same for what is seen day after day: the model's error repeats with every cycle, so a second day tells less, K.
const AGAIN_ERROR_K: f64 = 0.3;
/// What a day may change about the physics (moisture, contact), log scale, and about a probe, K.
const DRIFT_LOG: f64 = 0.02;
/// See [`DRIFT_LOG`].
const DRIFT_K: f64 = 0.02;
/// Passes of a fit (Gauss–Newton: each linearises where the last one ended).
const PASSES: usize = 8;
/// A fit has settled when no parameter moves by more, in deviations of what is known of it.
const SETTLED: f64 = 0.5;
/// The most a parameter moves in one pass, log scale.
const STRIDE: f64 = 0.5;
/// Smooth shapes along the axis.
const SHAPES: usize = 5;
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
/// Readings are off in time by about this much (clocks, a node's schedule), s.
const TIMING_SD_S: f64 = 6.0;
/// Innovations beyond this many deviations are wild.
const GATE_SIGMA: f64 = 5.0;
/// Share of a rival's heat that must be seen before it counts for a fault.
const FAULT_DOUBT: f64 = 0.6;
/// What the two layers cannot tell at one moment, K.
const MOMENT_ERROR_K: f64 = 0.08;
/// What a few hours seem to say about the physics beyond the last fit is forgotten over this long, s.
const LEAN_S: f64 = 2.0 * 3600.0;
/// Readings of one probe this far apart tell different things, s.
const INDEPENDENT_S: f64 = 60.0;
/// A jolt is considered once a rival has so much to say for itself, nats.
const JOLT_FROM_NATS: f64 = 4.0;
/// A jolt that is so much likelier than the rival is taken, nats.
const JOLT_WINS_NATS: f64 = 4.0;
/// What a jolt may shift, K for each shape.
const JOLT_SD_K: f64 = 1.5;
/// Random walk of every parameter, log scale per root day.
const DRIFT_PER_ROOT_DAY: f64 = 0.02;
/// Nonlinearity: this share of a move of the physics stays as doubt.
const MOVE_DOUBT: f64 = 0.25;

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
    /// Logarithms of the nominal physics.
    log: Vec<f64>,
    /// Nominal lag of each probe, s, and what one step keeps.
    lags: Vec<(f64, f64)>,
    models: Arc<Models>,
    courses: Vec<Course>,
    /// The nominal body seen through slightly longer lags.
    laggards: Course,
    belief: Gaussian,
    noise_k2: Vec<f64>,
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
    last_heard: Vec<Option<Timestamp>>,
    modes: Vec<Mode>,
    rivals: Vec<Rival>,
    /// Whether some drive reports: then a mode other than as told is a fault.
    drives_known: bool,
}

#[derive(Clone, Copy, Debug)]
struct Past {
    drive: [f32; PADS_MAX],
    told: [f32; PADS_MAX],
    room_c: f32,
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

#[derive(Clone, Copy, Debug)]
struct Heard {
    step: i64,
    part: f32,
    value_c: f32,
    probe: u8,
}

/// Where each kind of state begins.
struct Layout {
    params: usize,
    probes: usize,
}

impl Layout {
    fn offset(&self, p: usize) -> usize {
        self.params + p
    }
    fn place(&self, p: usize) -> usize {
        self.params + self.probes + p
    }
    fn lag(&self, p: usize) -> usize {
        self.params + 2 * self.probes + p
    }
    fn slow(&self) -> usize {
        self.params + 3 * self.probes
    }
    fn quick(&self) -> usize {
        self.slow() + SHAPES
    }
    fn len(&self) -> usize {
        self.quick() + SHAPES
    }
}

impl Estimator {
    /// Begins at `at` with the nest as warm as `room_c`, give or take [`START_SD_K`].
    pub fn new(axis: Axis, prior: &Prior, places_mm: Vec<f64>, brood: Stretch, begin: (Timestamp, f64)) -> Self {
        let (at, room_c) = begin;
        let step = at.unix_ms().div_euclid(STEP.ms());
        let probes = places_mm.len();
        let models = Arc::new(Models::new(&axis, &prior.log, &places_mm, brood, STEP.s()));
        let layout = Layout { params: prior.log.len(), probes };
        let mut sd = prior.sd.clone();
        sd.extend(core::iter::repeat_n(OFFSET_SD_K, probes));
        sd.extend(core::iter::repeat_n(PLACE_SD_MM, probes));
        sd.extend(core::iter::repeat_n(PROBE_LAG_S.1, probes));
        sd.extend(core::iter::repeat_n(SLOW_SD_K, SHAPES));
        sd.extend(core::iter::repeat_n(START_SD_K, SHAPES));
        let fades = (0..SHAPES)
            .map(|k| Fade { state: layout.slow() + k, time_s: SLOW_S, sd: SLOW_SD_K })
            .chain((0..SHAPES).map(|k| Fade { state: layout.quick() + k, time_s: QUICK_S, sd: QUICK_SD_K }))
            .collect();
        let mut belief = Gaussian::new(&sd, fades);
        belief.tie(layout.slow(), LEAN_S);
        let courses = models.bodies.iter().map(|b| Course::cold(b, probes, room_c)).collect();
        let laggards = Course::cold(&models.bodies[0], probes, room_c);
        let lag = (PROBE_LAG_S.0, libm::exp(-STEP.s() / PROBE_LAG_S.0));
        Self {
            modes: alloc::vec![Mode::Follow; axis.pads.len()],
            rivals: Vec::new(),
            drives_known: true,
            prior_sd: prior.sd.clone(),
            log: prior.log.clone(),
            lags: alloc::vec![lag; probes],
            belief,
            noise_k2: alloc::vec![NOISE_SD_K * NOISE_SD_K; probes],
            memory: VecDeque::new(),
            heard: VecDeque::new(),
            prior_log: prior.log.clone(),
            learned: None,
            last_heard: alloc::vec![None; probes],
            started: step,
            faded: step,
            moved: step,
            axis,
            places_mm,
            brood,
            models,
            courses,
            laggards,
            room_c,
            step,
        }
    }

    fn layout(&self) -> Layout {
        Layout { params: self.log.len(), probes: self.places_mm.len() }
    }

    /// The moment the estimate stands at.
    pub fn at(&self) -> Timestamp {
        Timestamp::from_unix_ms(self.step.saturating_mul(STEP.ms()))
    }

    /// The room it stands at, °C.
    pub fn room_c(&self) -> f64 {
        self.room_c
    }

    /// What each pad is held to do.
    pub fn modes(&self) -> &[Mode] {
        &self.modes
    }

    /// Says what pad `pad` is held to do from here on.
    pub fn set_mode(&mut self, pad: usize, mode: Mode) {
        self.modes[pad] = mode;
        self.drives_known &= mode == Mode::Follow;
        self.rivals.retain(|r| r.pad != pad);
    }

    /// The rivals of what is believed about the pads.
    pub fn rivals(&self) -> &[Rival] {
        &self.rivals
    }

    /// Moves on by one step: each pad told `told`, the room at `room_c` at its end.
    pub fn advance(&mut self, told: &[f64], room_c: f64) {
        let drive: Vec<f64> = told.iter().zip(&self.modes).map(|(t, m)| m.drive(*t)).collect();
        let change = room_c - self.room_c;
        self.run(&drive, room_c, change);
        self.ensure_rivals();
        for r in &mut self.rivals {
            let apart = r.mode.drive(told[r.pad]) - drive[r.pad];
            r.advance(&self.models, &self.lags, apart, STEP.s());
        }
        self.room_c = room_c;
        self.step += 1;
        if self.memory.len() == MEMORY {
            self.memory.pop_front();
            let begins = self.step - MEMORY as i64;
            while self.heard.front().is_some_and(|h| h.step < begins) {
                self.heard.pop_front();
            }
        }
        let mut past = Past { drive: [0.0; PADS_MAX], told: [0.0; PADS_MAX], room_c: room_c as f32 };
        for (i, (d, t)) in drive.iter().zip(told).enumerate().take(PADS_MAX) {
            past.drive[i] = *d as f32;
            past.told[i] = *t as f32;
        }
        self.memory.push_back(past);
    }

    fn run(&mut self, drive: &[f64], room_c: f64, room_change_k: f64) {
        let step = Step { drive, room_c, room_change_k, lags: &self.lags, step_s: STEP.s() };
        for (i, (course, body)) in self.courses.iter_mut().zip(&self.models.bodies).enumerate() {
            course.advance(body, self.models.rows(i), &step);
        }
        // The laggards share the nominal body's surface: only their lag differs.
        let nominal = &self.courses[0];
        for p in 0..self.places_mm.len() {
            let (lag_s, _) = self.lags[p];
            let lag_s = lag_s * (1.0 + NUDGE);
            let keep = libm::exp(-STEP.s() / lag_s);
            let (old_c, new_c) = (self.laggards.surface_c[p], nominal.surface_c[p]);
            let trail = (new_c - old_c) * lag_s / STEP.s();
            let shown = self.laggards.shown_c[p];
            self.laggards.shown_before_c[p] = shown;
            self.laggards.shown_c[p] = new_c - trail + (shown - old_c + trail) * keep;
            self.laggards.surface_c[p] = new_c;
        }
    }

    fn ensure_rivals(&mut self) {
        for (pad, mode) in self.modes.iter().enumerate() {
            for other in mode.rivals() {
                if !self.rivals.iter().any(|r| r.pad == pad && r.mode == *other) {
                    self.rivals.push(Rival::new(&self.models.bodies[0], pad, *other, self.lags.len(), self.belief.len()));
                }
            }
        }
    }

    /// Weighs what probe `p` said at `at`, within the last step (later or earlier is taken as its end or beginning), and
    /// takes it in if it lies within the gate and `hearing` allows.
    pub fn absorb(&mut self, p: usize, at: Timestamp, value_c: f64, hearing: Hearing) -> Weighed {
        let into = at.since(self.at().minus(STEP)).s() / STEP.s();
        let part = into.clamp(0.0, 1.0);
        self.fade();
        let h = self.row_of_probe(p, part);
        let expected = self.belief.expect(&h, self.noise_of(p));
        let expected_c = self.courses[0].shown(p, part) + expected.value;
        let surprise = value_c - expected_c;
        let sd_k = libm::sqrt(expected.variance);
        let within = surprise.abs() <= GATE_SIGMA * sd_k;
        let mut explained = within;
        if hearing != Hearing::Nobody {
            let said = Said {
                probe: p,
                surprise,
                beyond_nominal: value_c - self.courses[0].shown(p, part),
                row: &h,
                noise: self.noise_of(p),
                weight: self.independence(p, at),
                doubt: if self.drives_known { FAULT_DOUBT } else { 0.5 },
                considered: 0,
            };
            for r in &mut self.rivals {
                let apart = r.apart(p, part, &h);
                r.hear(&said, apart, &expected);
                explained |= r.evidence > 1.0 && (surprise - apart).abs() <= GATE_SIGMA * sd_k;
            }
            if within && hearing == Hearing::All {
                self.take(p, part, surprise, &expected, &h);
                self.remember(p, part, value_c);
            }
        }
        Weighed { expected_c, sd_k, surprise_k: surprise, within, explained }
    }

    /// Readings a minute apart count in full; faster ones share what a minute tells.
    fn independence(&mut self, p: usize, at: Timestamp) -> f64 {
        let last = self.last_heard[p].replace(at);
        last.map_or(1.0, |l| (at.since(l).s() / INDEPENDENT_S).clamp(0.02, 1.0))
    }

    /// Lets a rival that has something to say for itself hold out against a jolt, and takes the jolt where it wins.
    pub fn weigh_jolts(&mut self) {
        let quick = self.layout().quick();
        for r in &mut self.rivals {
            // What is held for a fault must be easy to give up: no jolt shields it.
            let follows = self.drives_known && self.modes[r.pad] == Mode::Follow;
            if follows && r.jolt.is_none() && r.evidence > JOLT_FROM_NATS {
                let mut belief = self.belief.clone();
                for k in 0..SHAPES {
                    belief.widen(quick + k, JOLT_SD_K * JOLT_SD_K);
                }
                r.jolt = Some(Jolt { belief, against: 0.0 });
            }
        }
        let jolted = self.rivals.iter().position(|r| r.jolt.as_ref().is_some_and(|j| j.against < -JOLT_WINS_NATS));
        if let Some(jolt) = jolted.and_then(|i| self.rivals[i].jolt.take()) {
            self.belief = jolt.belief;
            self.rivals.iter_mut().for_each(Rival::restart);
        }
    }

    fn remember(&mut self, p: usize, part: f64, value_c: f64) {
        let again = self.heard.iter().rev().take_while(|h| h.step == self.step).any(|h| usize::from(h.probe) == p);
        if again {
            return;
        }
        if self.heard.len() == HEARD_MAX {
            self.heard.pop_front();
        }
        let probe = p.min(255) as u8;
        self.heard.push_back(Heard { step: self.step, part: part as f32, value_c: value_c as f32, probe });
    }

    fn take(&mut self, p: usize, part: f64, surprise: f64, expected: &Expected, h: &[f64]) {
        for r in &mut self.rivals {
            let apart = r.apart(p, part, h);
            Gaussian::relax(expected, &mut r.means_apart, apart, 0);
        }
        // Noise is what is left of an innovation beyond the model's own doubt.
        let doubt = expected.variance - self.noise_k2[p];
        let left = (surprise * surprise - doubt).clamp(1e-4, 16.0 * self.noise_k2[p]);
        self.noise_k2[p] = (self.noise_k2[p] + (left - self.noise_k2[p]) / 400.0).clamp(4e-4, 1.0);
        self.belief.absorb(expected, surprise, 0);
    }

    /// Opens the estimate to what probe `p` keeps saying: its readings agree with each other against the model.
    pub fn widen(&mut self, surprise_k: f64) {
        let quick = self.layout().quick();
        for k in 0..SHAPES {
            self.belief.widen(quick + k, 0.5 * surprise_k * surprise_k);
        }
    }

    fn noise_of(&self, p: usize) -> f64 {
        let c = &self.courses[0];
        let per_s = (c.shown_c[p] - c.shown_before_c[p]) / STEP.s();
        self.noise_k2[p] + MOMENT_ERROR_K * MOMENT_ERROR_K + (TIMING_SD_S * per_s) * (TIMING_SD_S * per_s)
    }

    fn fade(&mut self) {
        if self.faded == self.step {
            return;
        }
        let dt_s = (self.step - self.faded) as f64 * STEP.s();
        self.belief.fade(dt_s);
        for j in self.rivals.iter_mut().filter_map(|r| r.jolt.as_mut()) {
            j.belief.fade(dt_s);
        }
        let drift = DRIFT_PER_ROOT_DAY * DRIFT_PER_ROOT_DAY * dt_s / 86_400.0;
        for i in 0..self.log.len() {
            self.belief.widen(i, drift);
        }
        self.faded = self.step;
    }

    fn row_of_probe(&self, p: usize, part: f64) -> Vec<f64> {
        let l = self.layout();
        let mut h = alloc::vec![0.0; l.len()];
        let nominal = self.courses[0].shown(p, part);
        for (i, c) in self.courses.iter().skip(1).enumerate() {
            h[i] = (c.shown(p, part) - nominal) / NUDGE;
        }
        h[l.offset(p)] = 1.0;
        h[l.place(p)] = dot(&self.models.rows(0).slopes[p], &self.courses[0].amplitudes);
        h[l.lag(p)] = (self.laggards.shown(p, part) - nominal) / NUDGE;
        self.shapes(&mut h, self.places_mm[p]);
        h
    }

    fn shapes(&self, h: &mut [f64], x_mm: f64) {
        let l = self.layout();
        for k in 0..SHAPES {
            let v = libm::cos(k as f64 * PI * x_mm / self.axis.length_mm);
            h[l.slow() + k] = v;
            h[l.quick() + k] = v;
        }
    }

    /// A temperature read off the bodies by `row` (given the rows of a body): nominal value over the room and its row
    /// over the states, disturbances at the middle of `at_mm`.
    fn read<'a>(&'a self, row: impl Fn(&'a crate::models::Rows) -> &'a [f64], at_mm: f64) -> (f64, Vec<f64>) {
        let mut h = alloc::vec![0.0; self.layout().len()];
        let nominal = dot(row(self.models.rows(0)), &self.courses[0].amplitudes);
        for (i, c) in self.courses.iter().enumerate().skip(1) {
            h[i - 1] = (dot(row(self.models.rows(i)), &c.amplitudes) - nominal) / NUDGE;
        }
        self.shapes(&mut h, at_mm);
        (nominal, h)
    }

    /// Mean and standard deviation at each place of the profile, °C and K.
    pub fn profile(&self) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let m = &self.models;
        let (mut mean, mut sd) = (Vec::with_capacity(m.grid_mm.len()), Vec::with_capacity(m.grid_mm.len()));
        for (j, x) in m.grid_mm.iter().enumerate() {
            let (nominal, h) = self.read(|r| &r.grid[j], *x);
            mean.push(self.room_c + nominal + dot(&h, &self.belief.mean));
            sd.push(libm::sqrt(self.belief.spread(&h) + self.unmodelled_k2(*x, nominal)));
        }
        (m.grid_mm.clone(), mean, sd)
    }

    /// Brood area: mean, its standard deviation, hottest point, °C, K, °C.
    pub fn brood(&self) -> (f64, f64, f64) {
        let mid = 0.5 * (self.brood.from_mm + self.brood.to_mm);
        let (nominal, h) = self.read(|r| &r.brood, mid);
        let mean = self.room_c + nominal + dot(&h, &self.belief.mean);
        let sd = libm::sqrt(self.belief.spread(&h) + self.unmodelled_k2(mid, nominal));
        let count = self.models.rows(0).brood_points.len();
        let hottest = (0..count)
            .map(|j| {
                let x = self.brood.from_mm + self.brood.length_mm() * j as f64 / (count - 1) as f64;
                let (nominal, h) = self.read(|r| &r.brood_points[j], x);
                self.room_c + nominal + dot(&h, &self.belief.mean)
            })
            .fold(f64::NEG_INFINITY, f64::max);
        (mean, sd, hottest)
    }

    /// Temperature over the middle of the first pad, °C: where a thermostat's habits show.
    pub fn over_pad_c(&self) -> f64 {
        let at = self.axis.pads.first().map_or(0.0, |p| 0.5 * (p.from_mm + p.to_mm));
        let (nominal, h) = self.read(|r| &r.pad, at);
        self.room_c + nominal + dot(&h, &self.belief.mean)
    }

    /// What no shape and no parameter covers: grows with the distance from the nearest probe and with the heat there.
    fn unmodelled_k2(&self, x_mm: f64, excess_k: f64) -> f64 {
        let far = self.places_mm.iter().map(|p| (p - x_mm).abs()).fold(f64::INFINITY, f64::min).min(60.0);
        let share = 0.004 + 0.0004 * far;
        0.03 * 0.03 + (share * excess_k) * (share * excess_k)
    }

    /// What probe `p` would show now if it told the truth, and its standard deviation, °C and K.
    pub fn expect_probe(&self, p: usize) -> (f64, f64) {
        let h = self.row_of_probe(p, 1.0);
        let e = self.belief.expect(&h, self.noise_k2[p]);
        (self.courses[0].shown_c[p] + e.value, libm::sqrt(e.variance))
    }

    /// How much warmer than the room probe `p` should be, K: for inferring the room.
    pub fn excess_at_probe(&self, p: usize) -> f64 {
        dot(&self.models.rows(0).probes[p], &self.courses[0].amplitudes)
    }

    /// Heat arriving from the pads, as shares of full drive, and the relative deviation of the first gain.
    pub fn arriving(&self) -> impl Iterator<Item = f64> + '_ {
        self.courses[0].heat.arriving()
    }

    /// How fast probe `p` should be changing, K/s.
    pub fn rate_at_probe(&self, p: usize) -> f64 {
        (self.courses[0].shown_c[p] - self.courses[0].shown_before_c[p]) / STEP.s()
    }

    /// Posterior standard deviation of every parameter over its prior's: near 1 means the data said nothing.
    pub fn parameter_doubt(&self) -> Vec<f64> {
        (0..self.log.len()).map(|i| libm::sqrt(self.belief.variance(i)) / self.prior_sd[i]).collect()
    }

    /// Accepts rival `i`: the past since it began is run again with its drive.
    pub fn accept(&mut self, i: usize) {
        let r = self.rivals.swap_remove(i);
        let steps = r.steps.min(self.memory.len());
        let from = self.memory.len() - steps;
        for past in self.memory.iter_mut().skip(from) {
            past.drive[r.pad] = r.mode.drive(f64::from(past.told[r.pad])) as f32;
        }
        self.modes[r.pad] = r.mode;
        for (m, d) in self.belief.mean.iter_mut().zip(&r.means_apart) {
            *m += d;
        }
        self.rerun();
    }

    /// Fits the physics again when that is due; true if it did.
    pub fn settle(&mut self) -> bool {
        let age_min = (self.step - self.started) * STEP.ms() / 60_000;
        let since_min = (self.step - self.moved) * STEP.ms() / 60_000;
        let due_min = if age_min <= 120 { 60 } else if age_min <= FIRST_DAY_MIN { 240 } else { 1440 };
        let faulty = self.drives_known && self.modes.iter().any(|m| *m != Mode::Follow);
        if since_min < due_min || faulty || self.rivals.iter().any(|r| r.evidence > 2.0) {
            return false;
        }
        self.moved = self.step;
        self.refit();
        true
    }

    /// Fits by passes until the physics stays put; a fit that does not settle, or explains the hours worse than the
    /// physics in force, is dropped.
    fn refit(&mut self) {
        let considered = self.layout().slow();
        let mut log = self.log.clone();
        let mut lag_s: Vec<f64> = self.lags.iter().map(|l| l.0).collect();
        let mut first = None;
        for _ in 0..PASSES {
            let (pass, likelihood) = self.pass(&log, &lag_s);
            // A direction that the data leave open may wander without meaning anything: moves count by their doubt.
            let moved = (0..log.len())
                .map(|i| pass.belief.mean[i].abs() / libm::sqrt(pass.belief.variance(i)))
                .fold(0.0, f64::max);
            let first = *first.get_or_insert(likelihood);
            crate::debug(&alloc::format!("step {} moved {:.3} likelihood {:.1} ({:.1}) log-prior {:.2?} lags {:.0?} offs {:.2?} place {:.2?} noise {:.3?}", self.step-self.started, moved, likelihood, first, log.iter().zip(&self.prior_log).map(|(a,b)|a-b).collect::<Vec<_>>(), lag_s, (0..self.places_mm.len()).map(|p|pass.belief.mean[self.layout().offset(p)]).collect::<Vec<_>>(), (0..self.places_mm.len()).map(|p|pass.belief.mean[self.layout().place(p)]).collect::<Vec<_>>(), pass.noise_k2.iter().map(|x|libm::sqrt(*x)).collect::<Vec<_>>()));
            if moved < SETTLED {
                if likelihood > first - 2.0 {
                    self.adopt(pass, considered);
                }
                return;
            }
            let l = self.layout();
            for (i, x) in log.iter_mut().enumerate() {
                *x += pass.belief.mean[i].clamp(-STRIDE, STRIDE);
            }
            for (p, x) in lag_s.iter_mut().enumerate() {
                *x = (*x * libm::exp(pass.belief.mean[l.lag(p)].clamp(-STRIDE, STRIDE))).clamp(2.0, 1200.0);
            }
        }
    }

    fn adopt(&mut self, pass: Self, considered: usize) {
        self.log = pass.log;
        self.lags = pass.lags;
        self.models = pass.models;
        self.belief.adopt(&pass.belief, considered);
        self.belief.tie(considered, LEAN_S);
        if (self.step - self.started) * STEP.ms() / 60_000 >= FIRST_DAY_MIN {
            let lag_s = self.lags.iter().map(|l| l.0).collect();
            self.learned =
                Some(Learned { log: self.log.clone(), lag_s, belief: pass.belief, until: self.step });
        }
        self.rerun();
        let l = self.layout();
        for k in 0..SHAPES {
            self.belief.renew(l.slow() + k, SLOW_SD_K * SLOW_SD_K);
            self.belief.renew(l.quick() + k, 0.3 * 0.3);
        }
    }

    /// One pass of everything remembered through a body at `log`, from the prior.
    fn pass(&self, log: &[f64], lag_s: &[f64]) -> (Self, f64) {
        let mut likelihood = 0.0;
        let probes = self.places_mm.len();
        let oldest = self.step - self.memory.len() as i64;
        let begin = self.learned.as_ref().map_or(oldest, |k| k.until.max(oldest));
        let skip = (begin - oldest).max(0) as usize;
        let room_c = self.memory.get(skip).map_or(self.room_c, |p| f64::from(p.room_c));
        let prior = Prior { log: log.to_vec(), sd: self.prior_sd.clone() };
        let at = Timestamp::from_unix_ms(begin.saturating_mul(STEP.ms()));
        let mut e = Self::new(self.axis.clone(), &prior, self.places_mm.clone(), self.brood, (at, room_c));
        e.prior_log.clone_from(&self.prior_log);
        e.noise_k2.clone_from(&self.noise_k2);
        e.modes.clone_from(&self.modes);
        e.belief.untie();
        let l = e.layout();
        let mut model_error_k = MODEL_ERROR_K;
        match &self.learned {
            Some(known) => {
                e.belief.adopt(&known.belief, l.slow());
                for i in 0..log.len() {
                    e.belief.mean[i] += known.log[i] - log[i];
                    e.belief.widen(i, DRIFT_LOG * DRIFT_LOG);
                }
                for p in 0..probes {
                    e.belief.mean[l.lag(p)] += libm::log(known.lag_s[p] / lag_s[p]);
                    e.belief.widen(l.offset(p), DRIFT_K * DRIFT_K);
                }
                model_error_k = AGAIN_ERROR_K;
            }
            None => {
                for i in 0..log.len() {
                    e.belief.mean[i] = self.prior_log[i] - log[i];
                }
                for p in 0..probes {
                    e.belief.mean[l.lag(p)] = libm::log(PROBE_LAG_S.0 / lag_s[p]);
                }
            }
        }
        for p in 0..probes {
            e.lags[p] = (lag_s[p], libm::exp(-STEP.s() / lag_s[p]));
        }
        for k in 0..SHAPES {
            e.belief.set_standing(l.quick() + k, 0.01);
        }
        let hours = ((self.memory.len() - skip) as f64 * STEP.s() / 3600.0).max(0.1);
        let weights: Vec<f64> = (0..probes)
            .map(|p| {
                let count = self.heard.iter().filter(|h| h.step > begin && usize::from(h.probe) == p).count() as f64;
                model_error_k * model_error_k * (count / hours).max(1.0)
            })
            .collect();
        let mut heard = self.heard.iter().skip_while(|h| h.step <= begin).peekable();
        for past in self.memory.iter().skip(skip) {
            let mut drive = [0.0; PADS_MAX];
            for (d, p) in drive.iter_mut().zip(&past.drive) {
                *d = f64::from(*p);
            }
            let next_c = f64::from(past.room_c);
            let change = next_c - e.room_c;
            e.run(&drive[..self.axis.pads.len().min(PADS_MAX)], next_c, change);
            e.room_c = next_c;
            e.step += 1;
            while let Some(h) = heard.peek() {
                if h.step > e.step {
                    break;
                }
                e.fade();
                let (p, part) = (usize::from(h.probe), f64::from(h.part));
                let row = e.row_of_probe(p, part);
                let expected = e.belief.expect(&row, weights[p]);
                let surprise = f64::from(h.value_c) - e.courses[0].shown(p, part) - expected.value;
                // Far-off readings pull with a bounded force (Huber).
                let sd = libm::sqrt(expected.variance);
                let z = surprise / sd;
                let cost = if z.abs() < 2.0 { 0.5 * z * z } else { 2.0 * z.abs() - 2.0 };
                likelihood -= cost + 0.5 * libm::log(expected.variance);
                e.belief.absorb(&expected, surprise.clamp(-2.0 * sd, 2.0 * sd), 0);
                heard.next();
            }
        }
        (e, likelihood)
    }

    /// Jumps over a gap too long to run through: nothing is known of the warmth at its end.
    pub fn skip_to(&mut self, at: Timestamp, room_c: f64) {
        self.step = at.unix_ms().div_euclid(STEP.ms());
        self.room_c = room_c;
        self.memory.clear();
        self.heard.clear();
        self.rerun();
        self.fade();
        self.widen(START_SD_K);
    }

    /// Runs the remembered hours through the bodies as they are now.
    fn rerun(&mut self) {
        let skip = self.memory.len().saturating_sub(RERUN);
        let begin_c = self.memory.get(skip).map_or(self.room_c, |p| f64::from(p.room_c));
        let probes = self.places_mm.len();
        self.courses = self.models.bodies.iter().map(|b| Course::cold(b, probes, begin_c)).collect();
        self.laggards = Course::cold(&self.models.bodies[0], probes, begin_c);
        let memory = core::mem::take(&mut self.memory);
        let mut room_c = begin_c;
        for past in memory.iter().skip(skip) {
            let mut drive = [0.0; PADS_MAX];
            for (d, p) in drive.iter_mut().zip(&past.drive) {
                *d = f64::from(*p);
            }
            let next_c = f64::from(past.room_c);
            self.run(&drive[..self.axis.pads.len().min(PADS_MAX)], next_c, next_c - room_c);
            room_c = next_c;
        }
        self.memory = memory;
        self.rivals.clear();
    }
}
