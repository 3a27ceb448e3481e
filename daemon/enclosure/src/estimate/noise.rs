//! How far a reading may be off by itself: the probe's noise, its moment, and what the model cannot tell at one moment.
use super::{Estimator, STEP};
use crate::time::Timestamp;
use crate::trust::SAME_K;

/// Least and most variance of a probe's noise, K².
const NOISE_K2: (f64, f64) = (4e-4, 0.09);
/// Readings are off in time by about this much (clocks, a node's schedule), s.
const TIMING_SD_S: f64 = 6.0;
/// What the two layers cannot tell at one moment, K.
const MOMENT_ERROR_K: f64 = 0.08;
/// No probe is held for coarser than this, K: until it has moved often its smallest change may be a leap.
const STEP_MOST_K: f64 = 1.0;
/// Readings of one probe this far apart tell different things, s.
const INDEPENDENT_S: f64 = 60.0;

/// What disturbances usually add is their mean over about so many readings a minute apart: half a day.
const USUAL_READINGS: f64 = 720.0;
/// Variance by which a nest strays within three minutes, K²: before it has shown its own, the least and the most.
const STRAY_K2: (f64, f64, f64) = (0.02, 0.0036, 0.04);
/// From one age to the next it grows by this factor, as far as is not known better.
const STRAY_GROWS: f64 = 1.5;
/// What is not known counts for so many readings, and none is remembered longer than over so many.
const STRAY_READINGS: (f64, f64) = (100.0, 1000.0);
/// A rival with more evidence than this may be right, and its readings tell nothing of quiet times, nats.
const STRAYS_BELOW_NATS: f64 = 2.0;
/// Steps up to which readings after a belief was fixed belong together: 3, 6, 12 minutes; and longer.
const STRAY_STEPS: [usize; 3] = [9, 18, 36];

/// How far a nest strays from a belief some minutes old, by how old it is: mean square, K², and of how many readings.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Strays([(f64, f64); 4]);

impl Strays {
    fn bin(steps: usize) -> usize {
        STRAY_STEPS.iter().position(|most| steps <= *most).unwrap_or(STRAY_STEPS.len())
    }

    fn note(&mut self, steps: usize, k2: f64, weight: f64) {
        let most = 9.0 * self.k2(steps);
        let (mean, count) = &mut self.0[Self::bin(steps)];
        *count = (*count + weight).min(STRAY_READINGS.1);
        *mean += (k2.clamp(0.0, most) - *mean) * weight / *count;
    }

    /// What it strays after `steps`, K².
    pub(super) fn k2(&self, steps: usize) -> f64 {
        let mut expected = STRAY_K2.0;
        for (i, (mean, count)) in self.0.iter().enumerate().take(Self::bin(steps) + 1) {
            let guess = if i == 0 { STRAY_K2.0 } else { STRAY_GROWS * expected };
            expected = (mean * count + guess * STRAY_READINGS.0) / (count + STRAY_READINGS.0);
        }
        expected.clamp(STRAY_K2.1, STRAY_K2.2)
    }
}

/// How finely a probe tells what it feels.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Finest {
    last_c: Option<f64>,
    step_k: Option<f64>,
}

impl Finest {
    fn note(&mut self, value_c: f64) {
        let change_k = self.last_c.replace(value_c).map_or(0.0, |last_c| (value_c - last_c).abs());
        if change_k > SAME_K {
            self.step_k = Some(self.step_k.map_or(change_k, |step_k| step_k.min(change_k)));
        }
    }

    /// Variance of what its steps hide, K²: evenly spread over one (Bennett, Bell System Technical Journal 27, 1948).
    fn hidden_k2(&self) -> f64 {
        let step_k = self.step_k.unwrap_or(0.0).min(STEP_MOST_K);
        step_k * step_k / 12.0
    }
}

impl Estimator {
    /// The smallest change that probe `p` has shown, its own resolution, K; 0 before it has shown any.
    pub fn step_k(&self, p: usize) -> f64 {
        self.finest.get(p).and_then(|f| f.step_k).unwrap_or(0.0)
    }

    /// Learns how finely probe `p` tells.
    pub(super) fn note_step(&mut self, p: usize, value_c: f64) {
        if let Some(finest) = self.finest.get_mut(p) {
            finest.note(value_c);
        }
    }

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
        self.own_noise(p) + MOMENT_ERROR_K * MOMENT_ERROR_K
    }

    /// How much warmer than usual probe `p`'s place is by disturbances, K; learns what is usual.
    pub(super) fn passing_k(&mut self, p: usize, weight: f64) -> f64 {
        let passing_k = self.disturbed_k(self.places_mm[p]) - self.usual_k[p];
        self.usual_k[p] += passing_k * weight / USUAL_READINGS;
        passing_k
    }

    /// Of the probe and its moment alone, K².
    pub(super) fn own_noise(&self, p: usize) -> f64 {
        let c = &self.courses[0];
        let per_s = (c.seen.shown[p] - c.seen.before[p]) / STEP.s();
        self.noise_k2[p] + self.finest[p].hidden_k2() + (TIMING_SD_S * per_s) * (TIMING_SD_S * per_s)
    }

    /// How far the nest strays from a belief that is `steps` old, K².
    pub(super) fn stray_k2(&self, steps: usize) -> f64 {
        self.strays.k2(steps)
    }

    /// Learns how far this nest strays from what was believed some minutes before, while nothing is amiss.
    /// `noise` is the probe's own, K².
    pub(super) fn note_strays(&mut self, p: usize, noise: f64, weight: f64) {
        for r in self.rivals.iter().filter(|r| r.evidence < STRAYS_BELOW_NATS) {
            if let Some(seen_k) = r.seen_k(p) {
                self.strays.note(r.steps, seen_k * seen_k - noise, weight);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bennett, Bell System Technical Journal 27 (1948): the error of rounding to steps is even over one, step²/12.
    #[test]
    fn a_probe_that_rounds_hides_what_rounding_hides() {
        let mut finest = Finest::default();
        let (mut off_k2, mut count) = (0.0, 0.0);
        for i in 0..10_000 {
            let felt_c = 22.0 + 3.7e-4 * f64::from(i);
            let told_c = 0.5 * libm::round(felt_c / 0.5);
            finest.note(told_c);
            off_k2 += (told_c - felt_c) * (told_c - felt_c);
            count += 1.0;
        }
        assert!(
            (finest.hidden_k2() / (off_k2 / count) - 1.0).abs() < 0.02,
            "{} for {}",
            finest.hidden_k2(),
            off_k2 / count
        );
    }

    #[test]
    fn a_leap_is_no_resolution() {
        let mut finest = Finest::default();
        assert!(finest.hidden_k2() < 1e-12, "nothing is known of it yet");
        finest.note(20.0);
        finest.note(31.0);
        assert!(finest.hidden_k2() <= STEP_MOST_K * STEP_MOST_K / 12.0);
        finest.note(31.01);
        assert!(finest.hidden_k2() < 1e-5);
    }
}
