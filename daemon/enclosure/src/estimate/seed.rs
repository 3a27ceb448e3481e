//! Where a prediction begins: one body at the believed physics, its heat, and what disturbances add to it.
use super::layout::SHAPES;
use super::{Estimator, QUICK_S, SLOW_S};
use crate::body::{Body, Heat};
use crate::models::{END_LOSS, NUDGE, Rows, dot};
use crate::prior::from_log;
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// Modes of a body that runs ahead: the brood area's mean feels little of what is finer, and that is held as it is.
const MODES_AHEAD: usize = 12;

/// One body to run ahead.
#[derive(Clone, Debug)]
pub struct Seed {
    /// At the believed physics, for the step asked for.
    pub body: Body,
    /// Where it stands.
    pub heat: Heat,
    /// Mean over the brood area.
    pub brood: Place,
    /// Middle of the first pad.
    pub over_pad: Place,
    /// Standard deviation of the brood area's mean, K.
    pub brood_sd_k: f64,
}

/// A temperature read off the body, and what the body does not tell about it.
#[derive(Clone, Debug)]
pub struct Place {
    /// Over the mode amplitudes.
    pub row: Vec<f64>,
    held_k: f64,
    slow_k: f64,
    quick_k: f64,
}

impl Place {
    /// What to add to the body's excess over the room after each step of `step_s`, K: disturbances fade as the filter
    /// says.
    pub fn beside_k(&self, step_s: f64) -> impl Iterator<Item = f64> + use<> {
        let (held_k, mut slow_k, mut quick_k) = (self.held_k, self.slow_k, self.quick_k);
        let (slow, quick) = (libm::exp(-step_s / SLOW_S), libm::exp(-step_s / QUICK_S));
        core::iter::repeat_with(move || {
            slow_k *= slow;
            quick_k *= quick;
            held_k + slow_k + quick_k
        })
    }

    /// What it is now, with the bodies' mode amplitudes at `amplitudes`, K over the room.
    pub fn now_k(&self, amplitudes: &[f64]) -> f64 {
        dot(&self.row, amplitudes) + self.held_k + self.slow_k + self.quick_k
    }
}

impl Estimator {
    /// A copy to run ahead with: it cannot fit.
    #[must_use]
    pub fn without_memory(&self) -> Self {
        Self {
            axis: self.axis.clone(),
            places_mm: self.places_mm.clone(),
            prior_sd: self.prior_sd.clone(),
            log: self.log.clone(),
            lags: self.lags.clone(),
            models: self.models.clone(),
            courses: self.courses.clone(),
            laggards: self.laggards.clone(),
            usual_k: self.usual_k.clone(),
            belief: self.belief.clone(),
            noise_k2: self.noise_k2.clone(),
            memory: self.open_memory(),
            heard: VecDeque::new(),
            prior_log: self.prior_log.clone(),
            learned: None,
            last_heard: self.last_heard.clone(),
            last_values: self.last_values.clone(),
            finest: self.finest.clone(),
            modes: self.modes.clone(),
            rivals: self.rivals.clone(),
            above: Vec::new(),
            usual: self.usual.clone(),
            untold: self.untold.clone(),
            guessed: self.guessed.clone(),
            news: None,
            ..*self
        }
    }

    /// One body at the believed physics where it stands now, prepared for steps of `step_s`.
    pub fn seed(&self, step_s: f64) -> Seed {
        let mut log = self.log.clone();
        let nominal = &self.courses[0].heat;
        let mut heat = nominal.clone();
        for (i, x) in log.iter_mut().enumerate() {
            // The end loss changes the modes themselves; what it is off by stays in what is held.
            if i != END_LOSS {
                *x += self.belief.mean[i];
                heat.lean(nominal, &self.courses[i + 1].heat, self.belief.mean[i] / NUDGE);
            }
        }
        let body = Body::on(self.models.bodies[0].modes.first(MODES_AHEAD), &self.axis, &from_log(&log), step_s);
        let heat = heat.first(MODES_AHEAD);
        let mut amplitudes = alloc::vec![0.0; body.modes.len()];
        body.gallery(&heat, &mut amplitudes);
        let brood_mm = 0.5 * (self.brood.from_mm + self.brood.to_mm);
        let pad_mm = self.axis.pads.first().map_or(0.0, |p| 0.5 * (p.from_mm + p.to_mm));
        let brood = self.place(|r| &r.brood, brood_mm, &amplitudes);
        let over_pad = self.place(|r| &r.pad, pad_mm, &amplitudes);
        Seed { body, heat, brood, over_pad, brood_sd_k: self.brood().1 }
    }

    fn place<'a>(&'a self, row: impl Fn(&'a Rows) -> &'a [f64] + Copy, at_mm: f64, amplitudes: &[f64]) -> Place {
        let (nominal, h) = self.read(row, at_mm);
        let l = self.layout();
        let of = |from: usize| dot(&h[from..from + SHAPES], &self.belief.mean[from..from + SHAPES]);
        let (slow_k, quick_k) = (of(l.slow()), of(l.quick()));
        let believed_k = nominal + dot(&h, &self.belief.mean);
        let row = row(self.models.rows(0)).to_vec();
        let held_k = believed_k - slow_k - quick_k - dot(&row, amplitudes);
        Place { row, held_k, slow_k, quick_k }
    }
}
