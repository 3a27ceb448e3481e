//! A fit in a form that can be kept: given out when it was made, taken up again at a restart or when a keeper puts a
//! former one back.
use super::trial::{DAY_STEPS, Known, NotTaken, Trial};
use super::{Estimator, LEAN_S, Learned, PADS_MAX, STEP};
use crate::filter::Gaussian;
use crate::models::Models;
use crate::time::Timestamp;
use alloc::sync::Arc;
use alloc::vec::Vec;

/// Furthest that a kept logarithm may lie from zero: e^±30 is no body.
const LOG_MAX: f64 = 30.0;
/// Least and most lag of a probe that is taken up, s.
const LAG_S: (f64, f64) = (0.5, 10_000.0);

/// What one fit taught.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Beginning of the hours it learned from.
    pub from: Timestamp,
    /// Their end.
    pub until: Timestamp,
    /// Readings in them.
    pub readings: u32,
    /// Natural logarithms of the physics it is linear around, in the order of [`crate::prior::to_log`].
    pub log: Vec<f64>,
    /// Lag of each probe it is linear around, s.
    pub lag_s: Vec<f64>,
    /// How far everything is off that: physics (log scale), each probe's offset (K), place (mm) and lag (log scale), the
    /// air about the nest (K), the colony's heat (W).
    pub mean: Vec<f64>,
    /// The lower triangle of their covariance, row by row.
    pub triangle: Vec<f64>,
    /// Mean drive of each pad over the memory, 0 to 1.
    pub drive: Vec<f64>,
    /// Mean of the room, °C.
    pub room_c: f64,
    /// Mean absolute error over its own hours, from drive and room alone, K.
    pub error_k: f64,
    /// How it did in the hours before.
    pub trial: Option<Trial>,
    /// Whether every pad's heat was heard; without it the physics is a guess still.
    pub heard_heat: bool,
    /// Whether it rests on a day or more.
    pub whole_day: bool,
}

/// What came of a fit.
#[derive(Clone, Debug, PartialEq)]
pub struct FitNews {
    /// When.
    pub at: Timestamp,
    /// What it taught; `None` if it did not come to rest.
    pub fit: Option<Fit>,
    /// Why it was not taken; `None`: it is in force.
    pub refused: Option<NotTaken>,
}

/// How it stands with the fits of a nest, for a page.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FitSeen {
    /// End of the hours that the fit in force learned from.
    pub learned: Option<Timestamp>,
    /// When a fit was refused since, and why.
    pub refused: Option<(Timestamp, NotTaken)>,
}

impl Fit {
    /// The joint belief, for a nest with so many parameters and probes; `None` if it is none of such a nest.
    pub(super) fn belief(&self, params: usize, probes: usize) -> Option<Gaussian> {
        let sound = self.log.len() == params
            && self.lag_s.len() == probes
            && self.mean.len() == params + 3 * probes + 2
            && self.log.iter().all(|x| x.abs() <= LOG_MAX)
            && self.mean.iter().take(params).all(|x| x.abs() <= LOG_MAX)
            && self.lag_s.iter().all(|s| (LAG_S.0..=LAG_S.1).contains(s));
        sound.then(|| Gaussian::of(self.mean.clone(), &self.triangle))?
    }
}

impl Estimator {
    /// What came of the last fit, once.
    pub fn take_news(&mut self) -> Option<FitNews> {
        self.news.take()
    }

    /// How it stands with the fits.
    pub fn fit_seen(&self) -> FitSeen {
        self.seen
    }

    /// Fits now, whatever is due.
    pub fn fit_now(&mut self) {
        self.moved = self.step;
        self.refit();
    }

    pub(super) fn fit_of(&self, pass: &Self, trial: Option<Trial>) -> Fit {
        let considered = self.layout().slow();
        let (begin, _) = self.lesson();
        let lag_s: Vec<f64> = pass.lags.iter().map(|l| l.0).collect();
        let known = Known { log: &pass.log, lag_s: &lag_s, belief: &pass.belief };
        let error = self.error_k(known, begin, self.step);
        let steps = self.memory.len().max(1) as f64;
        let mean = |of: &dyn Fn(&super::Past) -> f32| self.memory.iter().map(|p| f64::from(of(p))).sum::<f64>() / steps;
        let drive = (0..self.axis.pads.len().min(PADS_MAX)).map(|i| mean(&|p| p.drive[i])).collect();
        Fit {
            from: at_step(begin),
            until: self.at(),
            readings: error.map_or(0, |e| e.1),
            log: pass.log.clone(),
            lag_s,
            mean: pass.belief.mean.iter().take(considered).copied().collect(),
            triangle: pass.belief.triangle(considered),
            drive,
            room_c: mean(&|p| p.room_c),
            error_k: error.map_or(0.0, |e| e.0),
            trial,
            heard_heat: self.heard_heat(&pass.belief),
            whole_day: self.knows_a_day(),
        }
    }

    /// Takes up what `fit` taught in place of what is believed about the physics; false, and nothing changed, if it is
    /// no fit of this nest. It is in force from `since` on, and no hour before that takes its place: a keeper who puts
    /// one back means it.
    pub fn take_up(&mut self, fit: &Fit, since: Timestamp) -> bool {
        let l = self.layout();
        let Some(belief) = fit.belief(l.params, l.probes) else { return false };
        self.log.clone_from(&fit.log);
        self.lags = fit.lag_s.iter().map(|s| (*s, libm::exp(-STEP.s() / s))).collect();
        self.models = Arc::new(Models::new(&self.axis, &self.log, &self.places_mm, self.brood, STEP.s()));
        self.belief.adopt(&belief, l.slow());
        self.belief.tie(l.slow(), LEAN_S);
        self.fitted |= fit.heard_heat;
        self.seen = FitSeen { learned: Some(fit.until), refused: None };
        let until = self.step.max(fit.until.max(since).unix_ms().div_euclid(STEP.ms()));
        self.moved = until;
        self.learned = None;
        if fit.whole_day {
            // It is no nest of the first day, whose fits come by the hour.
            self.started = self.started.min(self.step - DAY_STEPS);
            self.learned = Some(Learned { log: fit.log.clone(), lag_s: fit.lag_s.clone(), belief, until });
        }
        if self.memory.is_empty() {
            // At the very beginning how warm the nest is stays unknown.
            self.rerun();
        } else {
            self.stand_anew();
        }
        true
    }
}

fn at_step(step: i64) -> Timestamp {
    Timestamp::from_unix_ms(step.saturating_mul(STEP.ms()))
}
