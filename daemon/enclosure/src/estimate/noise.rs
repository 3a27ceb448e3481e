//! How far a reading may be off by itself: the probe's noise, its moment, and what the model cannot tell at one moment.
use super::{Estimator, STEP};
use crate::time::Timestamp;

/// Least and most variance of a probe's noise, K².
const NOISE_K2: (f64, f64) = (4e-4, 0.09);
/// Readings are off in time by about this much (clocks, a node's schedule), s.
const TIMING_SD_S: f64 = 6.0;
/// What the two layers cannot tell at one moment, K.
const MOMENT_ERROR_K: f64 = 0.08;
/// Readings of one probe this far apart tell different things, s.
const INDEPENDENT_S: f64 = 60.0;

impl Estimator {
    /// Noise by second differences: a smooth course cancels, white noise of variance σ² leaves 6σ².
    pub(super) fn note_noise(&mut self, p: usize, value_c: f64) {
        let [older, old] = self.last_values[p];
        self.last_values[p] = [old, Some(value_c)];
        if let (Some(older), Some(old)) = (older, old) {
            let bend = value_c - 2.0 * old + older;
            let seen = (bend * bend / 6.0).min(9.0 * self.noise_k2[p]);
            self.noise_k2[p] = (self.noise_k2[p] + (seen - self.noise_k2[p]) / 200.0).clamp(NOISE_K2.0, NOISE_K2.1);
        }
    }

    /// Readings a minute apart count in full; faster ones share what a minute tells.
    pub(super) fn independence(&mut self, p: usize, at: Timestamp) -> f64 {
        let last = self.last_heard[p].replace(at);
        last.map_or(1.0, |l| (at.since(l).s() / INDEPENDENT_S).clamp(0.02, 1.0))
    }

    pub(super) fn noise_of(&self, p: usize) -> f64 {
        let c = &self.courses[0];
        let per_s = (c.seen.shown[p] - c.seen.before[p]) / STEP.s();
        self.noise_k2[p] + MOMENT_ERROR_K * MOMENT_ERROR_K + (TIMING_SD_S * per_s) * (TIMING_SD_S * per_s)
    }
}
