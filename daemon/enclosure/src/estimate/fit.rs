//! The fit: output error over what is remembered. Each pass runs everything through a body at one physics, from the
//! prior, and says where the physics should lie (Gauss–Newton, with the priors as penalties); the last one's posterior
//! becomes the running filter's anchor. Residuals of an hour count as one measurement: fitting one-step predictions
//! instead explains noise.
use super::layout::SHAPES;
use super::{Estimator, LEAN_S, Learned, PADS_MAX, Past, SHAPE_SHARES, SLOW_SD_K, START_SD_K, STEP};
use crate::filter::Gaussian;
use crate::models::{Course, Seen};
use crate::prior::{PAD_LAGS, PROBE_LAG_S, Prior, SHARED};
use crate::rival::Mode;
use crate::time::Timestamp;
use alloc::vec::Vec;

/// A fault that went by itself asks for this much more evidence of the next one, nats; and at the most for so much.
const RETURNED_NATS: f64 = 10.0;
/// See [`RETURNED_NATS`].
const RETURNED_MOST_NATS: f64 = 40.0;
/// Steps run again after a pad was found to have done something else: six hours, longer than any nest remembers.
pub(super) const RERUN: usize = 1080;
/// What the two layers cannot tell, K: an hour of residual counts as one measurement of this quality.
const MODEL_ERROR_K: f64 = 0.12;
/// The same where the drive was inferred: its switches are some tens of seconds out.
const INFERRED_ERROR_K: f64 = 0.2;
/// Deviation of a lag, log scale, where the drive was inferred.
const INFERRED_LAG_SD: f64 = 0.15;
/// From this age on a fit starts from what the last one learned, min.
pub(super) const FIRST_DAY_MIN: i64 = 1440;
/// The same for what is seen day after day: the model's error repeats with every cycle, so a second day tells less, K.
const AGAIN_ERROR_K: f64 = 1.0;
/// What a day may change about the physics (moisture, contact), log scale, and about a probe, K.
const DRIFT_LOG: f64 = 0.02;
/// See [`DRIFT_LOG`].
const DRIFT_K: f64 = 0.02;
/// Passes of a fit (Gauss–Newton: each linearises where the last one ended).
const PASSES: usize = 8;
/// Beyond so many deviations a residual's pull stays the same.
const HUBER: f64 = 2.0;
/// A fit may explain the hours by so much worse than the one in force, nats.
const WORSE_NATS: f64 = 2.0;
/// Least and most lag of a probe, s.
const LAG_S: (f64, f64) = (2.0, 1200.0);
/// Quick disturbances in a fit, K for each shape: the physics must explain what it can.
const FIT_QUICK_K: f64 = 0.01;
/// A fit has settled when no parameter moves by more, in deviations of what is known of it.
const SETTLED: f64 = 0.5;
/// A fit has heard of a pad's heat when less than this share of its gain's variance is left.
const HEAT_TOLD: f64 = 0.8;
/// The most a parameter moves in one pass, log scale.
const STRIDE: f64 = 0.5;

impl Estimator {
    /// Accepts rival `i`: the past since it began is run again with its drive.
    pub fn accept(&mut self, i: usize) {
        let mut r = self.rivals[i].clone();
        let steps = r.steps.saturating_sub(r.late_steps()).min(self.memory.len());
        let from = self.memory.len() - steps;
        for past in self.memory.iter_mut().skip(from) {
            past.drive[r.pad] = r.mode.drive(f64::from(past.told[r.pad])) as f32;
        }
        let was = core::mem::replace(&mut self.modes[r.pad], r.mode);
        if r.mode == Mode::Follow {
            self.note_return(r.pad, was);
        }
        let origin = core::mem::take(&mut r.origin);
        // What was learned since it began was learned from a wrong drive.
        self.belief.cut();
        for (m, was) in self.belief.mean.iter_mut().zip(&origin) {
            *m = *was;
        }
        // If it proves wrong, it was a fruitless peak: ending the rivals keeps it.
        self.rerun();
    }

    /// A fault that went by itself was more likely none: the next one must say more.
    pub(super) fn note_return(&mut self, pad: usize, was: Mode) {
        let usual = self.usual.iter_mut().find(|(p, mode, _)| *p == pad && *mode == was);
        if let Some((_, _, peak)) = usual {
            *peak = (*peak + RETURNED_NATS).min(RETURNED_MOST_NATS);
        }
    }

    /// Fits the physics again when that is due; true if it did.
    pub fn settle(&mut self) -> bool {
        let age_min = (self.step - self.started) * STEP.ms() / 60_000;
        let since_min = (self.step - self.moved) * STEP.ms() / 60_000;
        let due_min = if !self.drives_known {
            480
        } else if age_min <= 120 {
            60
        } else if age_min <= FIRST_DAY_MIN {
            240
        } else {
            1440
        };
        let faulty = self.modes.iter().any(|m| *m != Mode::Follow);
        if since_min < due_min || faulty || self.rivals.iter().any(|r| r.evidence > 2.0) {
            return false;
        }
        self.moved = self.step;
        self.refit();
        true
    }

    /// Fits by passes until the physics stays put; a fit that does not settle, or explains the hours worse than the
    /// physics in force, is dropped.
    pub(super) fn refit(&mut self) {
        let l = self.layout();
        let mut log = self.log.clone();
        let mut lag_s: Vec<f64> = self.lags.iter().map(|l| l.0).collect();
        let mut first = None;
        for _ in 0..PASSES {
            let (pass, likelihood) = self.pass(&log, &lag_s);
            let first = *first.get_or_insert(likelihood);
            // A direction that the data leave open may wander without meaning anything: moves count by their doubt.
            let moved = (0..log.len())
                .map(|i| pass.belief.mean[i].abs() / libm::sqrt(pass.belief.variance(i)))
                .fold(0.0, f64::max);
            if moved < SETTLED {
                self.decide(pass, likelihood <= first - WORSE_NATS);
                return;
            }
            for (i, x) in log.iter_mut().enumerate() {
                *x += pass.belief.mean[i].clamp(-STRIDE, STRIDE);
            }
            for (p, x) in lag_s.iter_mut().enumerate() {
                *x = (*x * libm::exp(pass.belief.mean[l.lag(p)].clamp(-STRIDE, STRIDE))).clamp(LAG_S.0, LAG_S.1);
            }
        }
        self.decline();
    }

    /// Hours without heat teach nothing of the pad: such a fit is still a guess about it.
    pub(super) fn heard_heat(&self, belief: &Gaussian) -> bool {
        (SHARED..self.log.len()).all(|i| belief.variance(i) < HEAT_TOLD * self.prior_sd[i] * self.prior_sd[i])
    }

    /// Whether a fit made now has seen a whole day.
    pub(super) fn knows_a_day(&self) -> bool {
        (self.step - self.started) * STEP.ms() / 60_000 >= FIRST_DAY_MIN
    }

    pub(super) fn adopt(&mut self, pass: Self) {
        let considered = self.layout().slow();
        self.fitted |= self.heard_heat(&pass.belief);
        self.log = pass.log;
        self.lags = pass.lags;
        self.models = pass.models;
        self.belief.adopt(&pass.belief, considered);
        self.belief.tie(considered, LEAN_S);
        if self.knows_a_day() {
            let lag_s = self.lags.iter().map(|l| l.0).collect();
            self.learned = Some(Learned { log: self.log.clone(), lag_s, belief: pass.belief, until: self.step });
        }
        self.stand_anew();
    }

    /// Runs the last hours again after the physics moved; disturbances are found anew.
    pub(super) fn stand_anew(&mut self) {
        self.rerun();
        let l = self.layout();
        for (k, share) in SHAPE_SHARES.iter().enumerate() {
            self.belief.renew(l.slow() + k, share * share * SLOW_SD_K * SLOW_SD_K);
            self.belief.renew(l.quick() + k, share * share * 0.3 * 0.3);
        }
    }

    /// One pass of everything remembered since the last lesson through a body at `log`, with the logarithm of its
    /// likelihood.
    fn pass(&self, log: &[f64], lag_s: &[f64]) -> (Self, f64) {
        let (begin, skip) = self.lesson();
        let mut e = self.beginner(log, lag_s, begin, skip);
        let noise_k2 = self.fit_noise_k2(begin, skip);
        let mut heard = self.heard.iter().skip_while(|h| h.step <= begin).peekable();
        let mut likelihood = 0.0;
        for past in self.memory.iter().skip(skip) {
            e.relive(past);
            while let Some(h) = heard.next_if(|h| h.step <= e.step) {
                e.fade();
                let (p, part) = (usize::from(h.probe), f64::from(h.part));
                let row = e.row_of_probe(p, part);
                let expected = e.belief.expect(&row, noise_k2[p]);
                let surprise = f64::from(h.value_c) - e.courses[0].seen.at(p, part) - expected.value;
                // Far-off readings pull with a bounded force (Huber, Ann. Math. Stat. 35, 1964).
                let sd = libm::sqrt(expected.variance);
                let z = (surprise / sd).abs();
                let cost = if z < HUBER { 0.5 * z * z } else { HUBER * (z - 0.5 * HUBER) };
                likelihood -= cost + 0.5 * libm::log(expected.variance);
                e.belief.absorb(&expected, surprise.clamp(-HUBER * sd, HUBER * sd));
            }
        }
        (e, likelihood)
    }

    /// An estimator at the beginning of what is to be fitted, with the prior (or the last lesson) around `log`.
    fn beginner(&self, log: &[f64], lag_s: &[f64], begin: i64, skip: usize) -> Self {
        let room_c = self.memory.get(skip).map_or(self.room_c, |p| f64::from(p.room_c));
        let prior = Prior { log: log.to_vec(), sd: self.prior_sd.clone(), colony_k_s_w: self.colony_k_s_w };
        let at = Timestamp::from_unix_ms(begin.saturating_mul(STEP.ms()));
        let mut e = Self::new(self.axis.clone(), &prior, self.places_mm.clone(), self.brood, (at, room_c));
        let l = e.layout();
        e.belief.untie();
        for (p, lag_s) in lag_s.iter().enumerate() {
            e.lags[p] = (*lag_s, libm::exp(-STEP.s() / lag_s));
        }
        if let Some(known) = &self.learned {
            e.belief.adopt(&known.belief, l.slow());
            for (i, (was, is)) in known.log.iter().zip(log).enumerate() {
                e.belief.mean[i] += was - is;
                e.belief.widen(i, DRIFT_LOG * DRIFT_LOG);
            }
            for (p, (was, is)) in known.lag_s.iter().zip(lag_s).enumerate() {
                e.belief.mean[l.lag(p)] += libm::log(was / is);
                e.belief.widen(l.offset(p), DRIFT_K * DRIFT_K);
            }
        } else {
            if !self.drives_known {
                // Switches that were inferred are a minute or two out: lags cannot be learned from them.
                for i in PAD_LAGS.chain((0..l.probes).map(|p| l.lag(p))) {
                    e.belief.renew(i, INFERRED_LAG_SD * INFERRED_LAG_SD);
                }
            }
            for (i, x) in log.iter().enumerate() {
                e.belief.mean[i] = self.prior_log[i] - x;
            }
            for (p, is) in lag_s.iter().enumerate() {
                e.belief.mean[l.lag(p)] = libm::log(PROBE_LAG_S.0 / is);
            }
        }
        for k in 0..SHAPES {
            e.belief.set_standing(l.quick() + k, FIT_QUICK_K);
        }
        e
    }

    /// Variance a reading of each probe counts with in a fit, K²: an hour of them is one measurement.
    fn fit_noise_k2(&self, begin: i64, skip: usize) -> Vec<f64> {
        let hours = ((self.memory.len() - skip) as f64 * STEP.s() / 3600.0).max(0.1);
        let quality_k = if self.learned.is_some() {
            AGAIN_ERROR_K
        } else if self.drives_known {
            MODEL_ERROR_K
        } else {
            INFERRED_ERROR_K
        };
        let of_probe = |p: usize| {
            let count = self.heard.iter().filter(|h| h.step > begin && usize::from(h.probe) == p).count() as f64;
            let error_k = quality_k * self.end_effect(self.places_mm[p]);
            error_k * error_k * (count / hours).max(1.0)
        };
        (0..self.places_mm.len()).map(of_probe).collect()
    }

    /// One remembered step, run again.
    pub(super) fn relive(&mut self, past: &Past) {
        let mut drive = [0.0; PADS_MAX];
        for (d, p) in drive.iter_mut().zip(&past.drive) {
            *d = f64::from(*p);
        }
        let room_c = f64::from(past.room_c);
        let change_k = room_c - self.room_c;
        self.run(&drive[..self.axis.pads.len().min(PADS_MAX)], room_c, change_k);
        self.room_c = room_c;
        self.step += 1;
    }

    /// Jumps over a gap too long to run through: nothing is known of the warmth at its end.
    pub fn skip_to(&mut self, at: Timestamp, room_c: f64) {
        self.step = at.unix_ms().div_euclid(STEP.ms());
        self.room_c = room_c;
        self.memory.clear();
        self.heard.clear();
        self.forget_untold();
        self.rerun();
        self.fade();
        self.widen(START_SD_K);
    }

    /// Runs the last remembered hours through the bodies as they are now.
    pub(super) fn rerun(&mut self) {
        let skip = self.memory.len().saturating_sub(RERUN);
        let (now, now_c) = (self.step, self.room_c);
        self.room_c = self.memory.get(skip).map_or(now_c, |p| f64::from(p.room_c));
        let probes = self.places_mm.len();
        self.courses = self.models.bodies.iter().map(|b| Course::cold(b, probes, self.room_c)).collect();
        self.laggards = Seen::at_rest(probes, self.room_c);
        let memory = core::mem::take(&mut self.memory);
        for (k, past) in memory.iter().enumerate().skip(skip) {
            self.note_base(memory.len() - k);
            self.relive(past);
        }
        self.note_base(0);
        self.memory = memory;
        self.prepare_untold();
        (self.step, self.room_c) = (now, now_c);
        self.drop_rivals();
    }
}
