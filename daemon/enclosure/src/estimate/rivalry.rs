//! The rivals of what is believed about the pads: that each mode has its own, and that what they taught outlives them.
use super::{Estimator, PADS_MAX, STEP};
use crate::rival::{Rival, STAGGER_STEPS};
use crate::shelf::Stretch;
use crate::sudden::FromAbove;
use alloc::vec::Vec;

/// A rival that has not made its point within so many steps, twelve hours, begins anew.
const RIVAL_STEPS_MOST: usize = 2160;
/// Ten minutes.
const LATELY_STEPS: usize = 30;

impl Estimator {
    /// Two of each: what the first held against a reading too early must not hide what begins just then.
    fn ensure_rivals(&mut self) {
        for (pad, mode) in self.modes.iter().enumerate().filter(|(pad, _)| !self.untold.holds(*pad)) {
            for other in mode.rivals() {
                if !self.rivals.iter().any(|r| r.pad == pad && r.mode == *other) {
                    let mut rival = Rival::new(&self.models.bodies[0], pad, *other, self.lags.len());
                    let known = self.usual.iter().find(|(p, m, _)| *p == pad && m == other);
                    rival.usual_peak = known.map_or(0.0, |u| u.2);
                    self.rivals.push(rival.clone());
                    self.rivals.push(rival);
                }
            }
        }
    }

    /// One step for all of them.
    pub(super) fn advance_rivals(&mut self, told: &[f64], drive: &[f64]) {
        self.ensure_rivals();
        for pair in self.rivals.chunks_exact_mut(2) {
            let peak = pair[0].usual_peak.max(pair[1].usual_peak);
            for i in 0..2 {
                let other = pair[1 - i].steps;
                let r = &mut pair[i];
                r.usual_peak = peak;
                if r.steps > 0 || other == 0 || other >= STAGGER_STEPS {
                    let apart = r.mode.drive(told[r.pad]) - drive[r.pad];
                    if r.steps > RIVAL_STEPS_MOST || r.is_spent(apart) {
                        r.restart();
                    }
                    r.advance(&self.models, &self.lags, apart, (&self.belief.mean, STEP.s()));
                }
            }
        }
    }

    /// Mean drive that `pad` was told over the last ten minutes.
    pub fn told_lately(&self, pad: usize) -> f64 {
        let told = self.memory.iter().rev().take(LATELY_STEPS).map(|p| f64::from(p.told[pad.min(PADS_MAX - 1)]));
        let (sum, count) = told.fold((0.0, 0.0), |(sum, n), t| (sum + t, n + 1.0));
        if count > 0.0 { sum / count } else { 0.0 }
    }

    /// How much better rival `i` explains what was heard than a lid, or the sun, nats.
    pub fn over_sudden(&mut self, i: usize) -> f64 {
        if self.above.is_empty() {
            let (body, rows) = (&self.models.bodies[0], &self.models.rows(0).probes);
            let mut warmth = alloc::vec![0.0; body.modes.len()];
            body.gallery(&body.settled(&alloc::vec![1.0; self.modes.len()]), &mut warmth);
            let galleries = Stretch { from_mm: 0.0, to_mm: self.axis.length_mm };
            let all: Vec<f64> = body.modes.project(galleries).collect();
            self.above = [warmth, all].iter().map(|shape| FromAbove::new(body, shape, rows, &self.lags)).collect();
        }
        self.rivals.get(i).map_or(0.0, |r| r.over_sudden(&self.above))
    }

    /// What rival `i` saw has another reason: it teaches nothing about what this nest feigns.
    pub fn explain(&mut self, i: usize) {
        if let Some(r) = self.rivals.get_mut(i) {
            r.explain();
        }
    }

    /// The same, and it begins anew.
    pub fn forget(&mut self, i: usize) {
        if let Some(r) = self.rivals.get_mut(i) {
            r.forget();
        }
    }

    /// Lets rivals begin anew: what they saw has another reason, and teaches nothing.
    pub fn excuse(&mut self, which: impl Fn(&Rival) -> bool) {
        self.rivals.iter_mut().filter(|r| which(r)).for_each(Rival::forget);
    }

    /// Ends all rivals, but not what they taught.
    pub(super) fn drop_rivals(&mut self) {
        self.above.clear();
        self.rivals.iter_mut().for_each(Rival::restart);
        for pair in core::mem::take(&mut self.rivals).chunks_exact(2) {
            let peak = pair[0].usual_peak.max(pair[1].usual_peak);
            self.usual.retain(|(p, m, _)| !(*p == pair[0].pad && *m == pair[0].mode));
            self.usual.push((pair[0].pad, pair[0].mode, peak));
        }
    }
}
