//! Temperatures read off the bodies, each with the row that says how every uncertain thing would move it.
use super::layout::SHAPES;
use super::{Estimator, alone};
use crate::models::{END_LOSS, GRID, NUDGE, Rows, dot};
use crate::rival::Mode;
use alloc::vec::Vec;
use core::f64::consts::PI;

/// How far an end's sideways loss reaches into the body, mm: about a layer's thickness.
const END_REACH_MM: f64 = 13.0;
/// See [`Estimator::profile`]; divides the grid's intervals.
const GRID_STRIDE: usize = 3;
const _: () = assert!((GRID - 1).is_multiple_of(GRID_STRIDE));

impl Estimator {
    pub(super) fn row_of_probe(&self, p: usize, part: f64) -> Vec<f64> {
        let l = self.layout();
        let mut h = alloc::vec![0.0; l.len()];
        let nominal = self.courses[0].seen.at(p, part);
        for (i, c) in self.courses.iter().skip(1).enumerate() {
            h[i] = (c.seen.at(p, part) - nominal) / NUDGE;
        }
        h[l.offset(p)] = 1.0;
        h[l.place(p)] = dot(&self.models.rows(0).slopes[p], &self.courses[0].amplitudes);
        h[l.lag(p)] = (self.laggards.at(p, part) - nominal) / NUDGE;
        h[l.colony()] = self.colony_k_s_w * dot(&self.models.rows(0).probes[p], &self.models.colony);
        self.shapes(&mut h, self.places_mm[p]);
        self.untold_at_probe(&mut h, p, part);
        h
    }

    fn shapes(&self, h: &mut [f64], x_mm: f64) {
        let l = self.layout();
        h[l.air()] = 1.0;
        for (k, v) in shapes(x_mm, self.axis.length_mm).enumerate() {
            h[l.slow() + k] = v;
            h[l.quick() + k] = v;
        }
    }

    /// A temperature read off the bodies by `row` (given the rows of a body): nominal value over the room and its row
    /// over the states, disturbances at the middle of `at_mm`.
    pub(super) fn read<'a>(&'a self, row: impl Fn(&'a Rows) -> &'a [f64], at_mm: f64) -> (f64, Vec<f64>) {
        let mut h = alloc::vec![0.0; self.layout().len()];
        let nominal = dot(row(self.models.rows(0)), &self.courses[0].amplitudes);
        for (i, c) in self.courses.iter().enumerate().skip(1) {
            h[i - 1] = (dot(row(self.models.rows(i)), &c.amplitudes) - nominal) / NUDGE;
        }
        h[self.layout().colony()] = self.colony_k_s_w * dot(row(self.models.rows(0)), &self.models.colony);
        self.shapes(&mut h, at_mm);
        self.untold_by(&mut h, row(self.models.rows(0)));
        (nominal, h)
    }

    /// Mean and standard deviation at each place of the profile, °C and K.
    pub fn profile(&self) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let (variances, nominals): (Vec<f64>, Vec<f64>) =
            self.every_third().map(|(nominal, h)| (self.belief.spread(&h), nominal)).unzip();
        let beside_k2 = self.unmodelled_along_k2(&nominals);
        let guessed_k2 = self.guessed_k2(&self.models.rows(0).grid);
        let beside_k2 = beside_k2.iter().zip(&guessed_k2).map(|(a, b)| a + b);
        let sd_k = beside_k2.enumerate().map(|(j, k2)| libm::sqrt(between(&variances, j) + k2));
        (self.models.grid_mm.clone(), self.profile_c(), sd_k.collect())
    }

    /// Mean at each place of the profile, °C.
    pub(super) fn profile_c(&self) -> Vec<f64> {
        let believed = self.believed_amplitudes();
        let places = self.models.grid_mm.iter().enumerate();
        places.map(|(j, x)| self.mean_c(&believed, |r| &r.grid[j], *x)).collect()
    }

    /// Every third place of the profile, as [`Self::read`] gives it. Variance bends slowly along the axis: those between
    /// lie on a straight line ([`between`]).
    pub(super) fn every_third(&self) -> impl Iterator<Item = (f64, Vec<f64>)> + '_ {
        let grid_mm = &self.models.grid_mm;
        (0..grid_mm.len()).step_by(GRID_STRIDE).map(|j| self.read(|r| &r.grid[j], grid_mm[j]))
    }

    /// What no state covers at each place of the profile, K²; `nominals`: what every third has over the room, K.
    pub(super) fn unmodelled_along_k2(&self, nominals: &[f64]) -> Vec<f64> {
        let places = self.models.grid_mm.iter().enumerate();
        places.map(|(j, x)| self.unmodelled_k2(*x, between(nominals, j))).collect()
    }

    /// Brood area: mean, its standard deviation, hottest point, °C, K, °C.
    pub fn brood(&self) -> (f64, f64, f64) {
        let (mean, beside_k2, h) = self.brood_mean();
        let sd = libm::sqrt(self.belief.spread(&h) + beside_k2);
        let believed = self.believed_amplitudes();
        let count = self.models.rows(0).brood_points.len();
        let hottest = (0..count)
            .map(|j| {
                let x = self.brood.from_mm + self.brood.length_mm() * j as f64 / (count - 1) as f64;
                self.mean_c(&believed, |r| &r.brood_points[j], x)
            })
            .fold(f64::NEG_INFINITY, f64::max);
        (mean, sd, hottest)
    }

    /// One step in which the drive of `pad` is a guess that may be off by `sd`, a share of full drive.
    pub fn guess(&mut self, pad: usize, sd: f64) {
        if self.modes.get(pad) != Some(&Mode::Follow) {
            return;
        }
        let body = &self.models.bodies[0];
        self.guessed.resize(self.modes.len(), None);
        let Some(guessed) = self.guessed.get_mut(pad) else { return };
        let (mut heat, _) = guessed.take().unwrap_or_else(|| (body.cold(), sd));
        body.advance(&mut heat, &alone(pad, 1.0), 0.0);
        *guessed = Some((heat, sd));
    }

    /// What guessed drives may add or take at each of these rows, K².
    fn guessed_k2(&self, rows: &[Vec<f64>]) -> Vec<f64> {
        let mut all = alloc::vec![0.0; rows.len()];
        let body = &self.models.bodies[0];
        let mut amplitudes = alloc::vec![0.0; body.modes.len()];
        for (heat, sd) in self.guessed.iter().flatten() {
            body.gallery(heat, &mut amplitudes);
            for (k2, row) in all.iter_mut().zip(rows) {
                let k = sd * dot(row, &amplitudes);
                *k2 += k * k;
            }
        }
        all
    }

    /// Its mean, °C, what no state covers of it, K², and its row over the states.
    pub(super) fn brood_mean(&self) -> (f64, f64, Vec<f64>) {
        let mid = 0.5 * (self.brood.from_mm + self.brood.to_mm);
        let (nominal, h) = self.read(|r| &r.brood, mid);
        let mean = self.room_c + nominal + dot(&h, &self.belief.mean);
        let guessed_k2: f64 = self.guessed_k2(core::slice::from_ref(&self.models.rows(0).brood)).iter().sum();
        (mean, self.unmodelled_k2(mid, nominal) + guessed_k2, h)
    }

    /// Temperature over the middle of the first pad, °C: where a thermostat's habits show.
    pub fn over_pad_c(&self) -> f64 {
        self.mean_c(&self.believed_amplitudes(), |r| &r.pad, self.axis.over_pad_mm())
    }

    /// And its standard deviation, K.
    pub fn over_pad_sd_k(&self) -> f64 {
        let at = self.axis.over_pad_mm();
        let (nominal, h) = self.read(|r| &r.pad, at);
        libm::sqrt(self.belief.spread(&h) + self.unmodelled_k2(at, nominal))
    }

    /// Mode amplitudes at the believed physics, K: all that shares the nominal modes in one row.
    fn believed_amplitudes(&self) -> Vec<f64> {
        let nominal = &self.courses[0].amplitudes;
        let colony = self.colony_k_s_w * self.belief.mean[self.layout().colony()];
        let mut all: Vec<f64> = nominal.iter().zip(&self.models.colony).map(|(a, c)| a + colony * c).collect();
        for (i, course) in self.courses.iter().enumerate().skip(1).filter(|(i, _)| *i != END_LOSS + 1) {
            let share = self.belief.mean[i - 1] / NUDGE;
            for (a, (moved, from)) in all.iter_mut().zip(course.amplitudes.iter().zip(nominal)) {
                *a += share * (moved - from);
            }
        }
        self.add_untold(&mut all);
        all
    }

    /// Believed temperature, °C, read by `row` off what [`Self::believed_amplitudes`] gives, disturbances at `at_mm`.
    fn mean_c<'a>(&'a self, believed: &[f64], row: impl Fn(&'a Rows) -> &'a [f64], at_mm: f64) -> f64 {
        let m = &self.belief.mean;
        let own = row(self.models.rows(0));
        let ends = dot(row(self.models.rows(END_LOSS + 1)), &self.courses[END_LOSS + 1].amplitudes)
            - dot(own, &self.courses[0].amplitudes);
        self.room_c + dot(own, believed) + m[END_LOSS] / NUDGE * ends + m[self.layout().air()] + self.disturbed_k(at_mm)
    }

    /// What slow and quick disturbances are believed to add at `at_mm`, K.
    pub(super) fn disturbed_k(&self, at_mm: f64) -> f64 {
        let (m, l) = (&self.belief.mean, self.layout());
        let by_shape = |(k, v): (usize, f64)| v * (m[l.slow() + k] + m[l.quick() + k]);
        shapes(at_mm, self.axis.length_mm).enumerate().map(by_shape).sum()
    }

    /// Within a layer's thickness of an end heat leaves sideways too: what two layers along one axis cannot tell grows
    /// there, by this factor.
    pub(super) fn end_effect(&self, x_mm: f64) -> f64 {
        let from_end_mm = x_mm.min(self.axis.length_mm - x_mm).max(0.0);
        1.0 + 2.0 * libm::exp(-from_end_mm / END_REACH_MM)
    }

    /// What no shape and no parameter covers: grows with the distance from the nearest probe and with the heat there.
    fn unmodelled_k2(&self, x_mm: f64, excess_k: f64) -> f64 {
        let far = self.places_mm.iter().map(|p| (p - x_mm).abs()).fold(f64::INFINITY, f64::min);
        self.unmodelled_beside_k2(x_mm, excess_k, far)
    }

    /// The same with the nearest probe `far_mm` away.
    pub(super) fn unmodelled_beside_k2(&self, x_mm: f64, excess_k: f64, far_mm: f64) -> f64 {
        let far = far_mm.min(60.0);
        let share = 0.006 + 0.0002 * far + 0.01 * (self.end_effect(x_mm) - 1.0);
        0.02 * 0.02 + (share * excess_k) * (share * excess_k)
    }

    /// How far probe `p` is believed to read above the nest at its listed place, K, and the standard deviation of that.
    /// Its own offset and a place that is not quite the listed one are one number at one probe: only their sum is told.
    pub fn reads_off_k(&self, p: usize) -> Option<(f64, f64)> {
        let l = self.layout();
        let slope = dot(self.models.rows(0).slopes.get(p)?, &self.courses[0].amplitudes);
        let mut h = alloc::vec![0.0; l.len()];
        h[l.offset(p)] = 1.0;
        h[l.place(p)] = slope;
        Some((dot(&h, &self.belief.mean), libm::sqrt(self.belief.spread(&h))))
    }

    /// How much warmer than the room probe `p` should be, K: for inferring the room.
    pub fn excess_at_probe(&self, p: usize) -> f64 {
        dot(&self.models.rows(0).probes[p], &self.courses[0].amplitudes)
    }

    /// Heat arriving from the pads, as shares of full drive, and the relative deviation of the first gain.
    pub fn arriving(&self) -> impl Iterator<Item = f64> + '_ {
        self.courses[0].heat.arriving()
    }
}

/// What every third place of the profile says of place `j`, on a straight line.
pub(super) fn between(known: &[f64], j: usize) -> f64 {
    let (i, part) = (j / GRID_STRIDE, (j % GRID_STRIDE) as f64 / GRID_STRIDE as f64);
    let at = |i: usize| known.get(i).or(known.last()).copied().unwrap_or(0.0);
    at(i) + part * (at(i + 1) - at(i))
}

/// cos kπx/L for each shape, by Chebyshev's recurrence: cos (k+1)φ = 2 cos φ cos kφ − cos (k−1)φ.
fn shapes(x_mm: f64, length_mm: f64) -> impl Iterator<Item = f64> {
    let c = libm::cos(PI * x_mm / length_mm);
    let (mut last, mut next) = (c, 1.0);
    core::iter::repeat_with(move || {
        let now = next;
        (last, next) = (now, 2.0 * c * now - last);
        now
    })
    .take(SHAPES)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::tests::nest;
    use crate::nest::estimator_of;
    use crate::time::Timestamp;

    /// A guessed drive is an error of one unknown height: it widens each place by what it would bring there, and by
    /// nothing where heat has not come yet.
    #[test]
    fn a_guessed_drive_widens_the_profile_by_what_it_may_have_brought() {
        let mut est = estimator_of(&nest(), (Timestamp::from_unix_ms(1_772_323_200_000), 20.0));
        let before = est.profile().2;
        let brood_before = est.brood().1;
        let (mut heat, body) = (est.models.bodies[0].cold(), est.models.bodies[0].clone());
        for _ in 0..15 {
            est.guess(0, 0.4);
            body.advance(&mut heat, &[1.0], 0.0);
        }
        let mut amplitudes = alloc::vec![0.0; body.modes.len()];
        body.gallery(&heat, &mut amplitudes);
        let after = est.profile().2;
        for ((before, after), row) in before.iter().zip(&after).zip(&est.models.rows(0).grid) {
            let may_k = 0.4 * dot(row, &amplitudes);
            assert!((after * after - before * before - may_k * may_k).abs() < 1e-9, "{before} {after} {may_k}");
        }
        let grown_k2 = |j: usize| after[j] * after[j] - before[j] * before[j];
        assert!(grown_k2(0) > 0.01 && grown_k2(60) < 1e-4, "{} {}", grown_k2(0), grown_k2(60));
        assert!(est.brood().1 > brood_before);
    }

    #[test]
    fn what_a_pad_does_that_is_held_to_be_stuck_is_no_guess() {
        let mut est = estimator_of(&nest(), (Timestamp::from_unix_ms(1_772_323_200_000), 20.0));
        est.modes[0] = Mode::On;
        let before = est.profile();
        est.guess(0, 0.4);
        est.guess(7, 0.4);
        assert_eq!(est.profile(), before);
    }
}
