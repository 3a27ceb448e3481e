//! A Kalman filter over states that stay, or fade as Ornstein–Uhlenbeck processes; measurements one by one.
//!
//! x⁺ = F x with F diagonal, P⁺ = F P F + Q;  S = hᵀPh + R, K = Ph/S, x ← x + Kν, P ← P − K(Ph)ᵀ
//! (Kalman 1960; scalar form of Durbin & Koopman, *Time Series Analysis by State Space Methods*, 2nd ed. 2012, §4.3).
//! Only one triangle is computed and mirrored: the covariance is symmetric by construction.
mod recorded;

use crate::smooth::{Event, Recorder};
use alloc::vec::Vec;

/// Mean and covariance of a small state.
#[derive(Clone, Debug, PartialEq)]
pub struct Gaussian {
    /// Mean.
    pub mean: Vec<f64>,
    cov: Vec<f64>,
    fades: Vec<Fade>,
    anchor: Option<Anchor>,
    pace: Pace,
    record: Recorder,
}

/// What one step keeps, reckoned once for all steps of a length.
#[derive(Clone, Debug, Default, PartialEq)]
struct Pace {
    dt_s: f64,
    anchored: f64,
    fading: Vec<f64>,
}

/// The first states lean back to where a fit put them: what a few hours seem to say about them is forgotten.
#[derive(Clone, Debug, PartialEq)]
struct Anchor {
    mean: Vec<f64>,
    cov: Vec<f64>,
    time_s: f64,
}

/// A state that fades: Ornstein–Uhlenbeck with a time constant and a standing standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fade {
    /// Which state.
    pub state: usize,
    /// Time constant, s.
    pub time_s: f64,
    /// Standard deviation it settles at.
    pub sd: f64,
}

/// One scalar measurement against a Gaussian: what was expected and how far it may be off.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// hᵀ mean.
    pub value: f64,
    /// S: its variance, measurement noise included.
    pub variance: f64,
    /// P h.
    gain: Vec<f64>,
}

impl Gaussian {
    /// Independent states with these standard deviations and mean zero.
    pub fn new(sd: &[f64], fades: Vec<Fade>) -> Self {
        let n = sd.len();
        let mut cov = alloc::vec![0.0; n * n];
        for (i, s) in sd.iter().enumerate() {
            cov[i * n + i] = s * s;
        }
        Self { mean: alloc::vec![0.0; n], cov, fades, anchor: None, pace: Pace::default(), record: Recorder::default() }
    }

    /// States with this mean and the lower triangle of their covariance, row by row; nothing fades. `None` if that is no
    /// covariance: of another length, not finite, or not positive (Cholesky's pivots).
    pub fn of(mean: Vec<f64>, triangle: &[f64]) -> Option<Self> {
        let n = mean.len();
        let finite = mean.iter().chain(triangle).all(|v| v.is_finite());
        if triangle.len() != n * (n + 1) / 2 || !finite {
            return None;
        }
        let mut this = Self::new(&alloc::vec![0.0; n], Vec::new());
        this.mean = mean;
        let mut values = triangle.iter();
        for i in 0..n {
            for (j, v) in (0..=i).zip(&mut values) {
                this.cov[i * n + j] = *v;
                this.cov[j * n + i] = *v;
            }
        }
        this.is_positive().then_some(this)
    }

    /// The lower triangle of the first `count` states' covariance, row by row.
    pub fn triangle(&self, count: usize) -> Vec<f64> {
        (0..count).flat_map(|i| (0..=i).map(move |j| self.covariance(i, j))).collect()
    }

    /// Cholesky's pivots, of the correlations so that units do not matter; rounding may leave one a little below zero.
    fn is_positive(&self) -> bool {
        let n = self.len();
        let sd: Vec<f64> = (0..n).map(|i| libm::sqrt(self.variance(i))).collect();
        if sd.iter().any(|s| !(s.is_finite() && *s > 0.0)) {
            return false;
        }
        let mut l = alloc::vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let told: f64 = (0..j).map(|k| l[i * n + k] * l[j * n + k]).sum();
                let rest = self.covariance(i, j) / (sd[i] * sd[j]) - told;
                if i == j && rest < -1e-6 {
                    return false;
                }
                l[i * n + j] = if i == j { libm::sqrt(rest.max(1e-12)) } else { rest / l[j * n + j] };
            }
        }
        true
    }

    /// Adds independent states with these standard deviations and mean zero at the end.
    pub fn append(&mut self, sd: &[f64]) {
        let (old, n) = (self.len(), self.len() + sd.len());
        self.cut();
        let mut cov = alloc::vec![0.0; n * n];
        for (to, from) in cov.chunks_exact_mut(n).zip(self.cov.chunks_exact(old.max(1))) {
            to[..old].copy_from_slice(from);
        }
        for (i, s) in sd.iter().enumerate() {
            cov[(old + i) * n + old + i] = s * s;
        }
        self.cov = cov;
        self.mean.resize(n, 0.0);
    }

    /// Moves `count` states from `first` on by one place: the last is dropped, and the new first is `share` of the one
    /// that was there and something of `variance` beside.
    pub fn shift(&mut self, first: usize, count: usize, share: f64, variance: f64) {
        let n = self.len();
        self.record.note(|| Event::Shifted { first, count, share });
        let of = |i: usize| match i {
            _ if i == first => (i, share),
            _ if i > first && i < first + count => (i - 1, 1.0),
            _ => (i, 1.0),
        };
        let was = self.cov.clone();
        for i in 0..n {
            for j in 0..n {
                let ((a, s), (b, t)) = (of(i), of(j));
                self.cov[i * n + j] = s * t * was[a * n + b];
            }
        }
        self.widen(first, variance);
        self.mean[first..first + count].rotate_right(1);
        self.mean[first] = share * self.mean.get(first + 1).copied().unwrap_or(0.0);
    }

    /// How many states.
    pub fn len(&self) -> usize {
        self.mean.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.mean.is_empty()
    }

    /// Variance of one state.
    pub fn variance(&self, i: usize) -> f64 {
        self.cov.get(i * self.len() + i).copied().unwrap_or(0.0)
    }

    /// Covariance of two states.
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.cov.get(i * self.len() + j).copied().unwrap_or(0.0)
    }

    /// Ties the first `count` states to where they are now, with this time constant.
    pub fn tie(&mut self, count: usize, time_s: f64) {
        let mean = self.mean.iter().take(count).copied().collect();
        let cov = (0..count * count).map(|k| self.covariance(k / count, k % count)).collect();
        self.anchor = Some(Anchor { mean, cov, time_s });
        self.pace = Pace::default();
    }

    /// Lets them go.
    pub fn untie(&mut self) {
        self.anchor = None;
    }

    fn pace(&mut self, dt_s: f64) {
        if self.pace.dt_s.to_bits() != dt_s.to_bits() || self.pace.fading.len() != self.fades.len() {
            let anchored = self.anchor.as_ref().map_or(1.0, |a| libm::exp(-dt_s / a.time_s));
            let fading = self.fades.iter().map(|f| libm::exp(-dt_s / f.time_s)).collect();
            self.pace = Pace { dt_s, anchored, fading };
        }
    }

    fn lean(&mut self) {
        let n = self.len();
        let Some(a) = &self.anchor else { return };
        let count = a.mean.len();
        let keep = self.pace.anchored;
        for (m, to) in self.mean.iter_mut().zip(&a.mean) {
            *m = to + (*m - to) * keep;
        }
        for (i, row) in self.cov.chunks_exact_mut(n.max(1)).enumerate() {
            if i < count {
                let to = a.cov.chunks_exact(count).nth(i).unwrap_or(&[]);
                for (p, c) in row.iter_mut().zip(to) {
                    *p = *p * keep * keep + c * (1.0 - keep * keep);
                }
                row.iter_mut().skip(count).for_each(|p| *p *= keep);
            } else {
                row.iter_mut().take(count).for_each(|p| *p *= keep);
            }
        }
    }

    /// Lets `dt_s` pass for the states that fade.
    pub fn fade(&mut self, dt_s: f64) {
        self.pace(dt_s);
        self.lean();
        self.note_fade(dt_s);
        let n = self.len();
        for (f, keep) in self.fades.iter().zip(&self.pace.fading) {
            let i = f.state;
            if let Some(m) = self.mean.get_mut(i) {
                *m *= keep;
            }
            for v in self.cov.iter_mut().skip(i * n).take(n) {
                *v *= keep;
            }
            for v in self.cov.iter_mut().skip(i).step_by(n.max(1)) {
                *v *= keep;
            }
            if let Some(v) = self.cov.get_mut(i * n + i) {
                *v += f.sd * f.sd * (1.0 - keep * keep);
            }
        }
    }

    /// Adds `by` times state `from` to state `to`: one that drives another, as a slope its level.
    pub fn shear(&mut self, to: usize, from: usize, by: f64) {
        let n = self.len();
        if to >= n || from >= n {
            return;
        }
        self.record.note(|| Event::Sheared { to, from, by });
        self.mean[to] += by * self.mean[from];
        for j in 0..n {
            self.cov[to * n + j] += by * self.cov[from * n + j];
        }
        for i in 0..n {
            self.cov[i * n + to] += by * self.cov[i * n + from];
        }
    }

    /// Variance of hᵀx by what the last fit left open: what a long prediction may be off by.
    pub fn anchored_spread(&self, h: &[f64]) -> f64 {
        let Some(a) = &self.anchor else { return 0.0 };
        let rows = a.cov.chunks_exact(a.mean.len().max(1));
        let s: f64 = rows.zip(h).map(|(row, x)| x * row.iter().zip(h).map(|(c, y)| c * y).sum::<f64>()).sum();
        s.max(0.0)
    }

    /// Lets as much time pass as in the last [`Self::fade`] for a mean of the same states that is not the filter's own.
    pub fn fade_mean(&self, mean: &mut [f64]) {
        if let Some(a) = &self.anchor {
            let keep = self.pace.anchored;
            for (m, to) in mean.iter_mut().zip(&a.mean) {
                *m = to + (*m - to) * keep;
            }
        }
        for (f, keep) in self.fades.iter().zip(&self.pace.fading) {
            if let Some(m) = mean.get_mut(f.state) {
                *m *= keep;
            }
        }
    }

    /// Adds variance to one state: something happened that the model does not know.
    pub fn widen(&mut self, i: usize, variance: f64) {
        let n = self.len();
        if let Some(v) = self.cov.get_mut(i * n + i) {
            *v += variance;
        }
    }

    /// Replaces the first `other.len()` or fewer states by those of another belief, uncorrelated with the rest.
    pub fn adopt(&mut self, other: &Self, count: usize) {
        let n = self.len();
        self.record.note(|| Event::Renewed(0, count));
        for i in 0..n {
            for j in 0..n {
                if i < count && j < count {
                    self.cov[i * n + j] = other.covariance(i, j);
                } else if i < count || j < count {
                    self.cov[i * n + j] = 0.0;
                }
            }
        }
        for (m, o) in self.mean.iter_mut().zip(&other.mean).take(count) {
            *m = *o;
        }
    }

    /// Changes what a fading state settles at.
    pub fn set_standing(&mut self, state: usize, sd: f64) {
        for f in self.fades.iter_mut().filter(|f| f.state == state) {
            f.sd = sd;
        }
    }

    /// Scales the deviation of the first `count` states by `share`.
    pub fn narrow(&mut self, count: usize, share: f64) {
        let n = self.len();
        self.cut();
        for (i, row) in self.cov.chunks_exact_mut(n.max(1)).enumerate() {
            for (j, v) in row.iter_mut().enumerate() {
                let times = usize::from(i < count) + usize::from(j < count);
                for _ in 0..times {
                    *v *= share;
                }
            }
        }
    }

    /// Forgets one state: mean zero, this variance, no correlation.
    pub fn renew(&mut self, i: usize, variance: f64) {
        let n = self.len();
        self.record.note(|| Event::Renewed(i, 1));
        for j in 0..n {
            self.cov[i * n + j] = 0.0;
            self.cov[j * n + i] = 0.0;
        }
        self.cov[i * n + i] = variance;
        self.mean[i] = 0.0;
    }

    /// What a measurement hᵀx + noise of variance `noise` should give.
    pub fn expect(&self, h: &[f64], noise: f64) -> Expected {
        let n = self.len();
        let gain: Vec<f64> =
            self.cov.chunks_exact(n.max(1)).map(|row| row.iter().zip(h).map(|(a, b)| a * b).sum()).collect();
        let value = h.iter().zip(&self.mean).map(|(a, b)| a * b).sum();
        let spread: f64 = h.iter().zip(&gain).map(|(a, b)| a * b).sum();
        Expected { value, variance: spread.max(0.0) + noise, gain }
    }

    /// Variance of hᵀx.
    pub fn spread(&self, h: &[f64]) -> f64 {
        let n = self.len();
        let rows = self.cov.chunks_exact(n.max(1));
        let s: f64 = rows.zip(h).map(|(row, a)| a * row.iter().zip(h).map(|(x, b)| x * b).sum::<f64>()).sum();
        s.max(0.0)
    }

    /// Takes in a measurement that is `surprise` off what was `expected`. Hindsight, where it is recorded, does not reach
    /// across; [`Self::absorb_row`] tells it what it needs.
    pub fn absorb(&mut self, expected: &Expected, surprise: f64) {
        self.cut();
        self.update(expected, surprise);
    }

    /// Takes in a measurement by its row `h`.
    pub fn absorb_row(&mut self, h: &[f64], expected: &Expected, surprise: f64) {
        let Expected { variance, gain, .. } = expected;
        self.record.note(|| {
            let rows = h.iter().chain(gain).copied().collect();
            Event::Took { rows, variance: *variance, surprise }
        });
        self.update(expected, surprise);
    }

    fn update(&mut self, expected: &Expected, surprise: f64) {
        let n = self.len();
        let scale = 1.0 / expected.variance;
        for (m, g) in self.mean.iter_mut().zip(&expected.gain) {
            *m += g * scale * surprise;
        }
        for (row, g) in self.cov.chunks_exact_mut(n.max(1)).zip(&expected.gain) {
            let k = g * scale;
            for (p, g) in row.iter_mut().zip(&expected.gain) {
                *p -= k * g;
            }
        }
        // Rounding may eat a variance that is all but zero.
        for i in 0..n {
            let v = &mut self.cov[i * n + i];
            *v = v.max(1e-12);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Local level on the Nile series at σ²ε = 15099, σ²η = 1469.1 (Durbin & Koopman 2012, §2.2): the first
    /// observations' filtered means and variances, exact diffuse start taken by starting at the first value.
    #[test]
    fn the_nile_is_filtered_as_published() {
        let mut g = Gaussian::new(&[libm::sqrt(15_099.0)], Vec::new());
        g.mean[0] = 1120.0;
        let want = [(1160.0, 1140.9278, 7899.7364), (963.0, 1072.7985, 5781.4699)];
        for (y, mean, variance) in want {
            g.widen(0, 1469.1);
            let e = g.expect(&[1.0], 15_099.0);
            let surprise = y - e.value;
            g.absorb(&e, surprise);
            assert!((g.mean[0] - mean).abs() < 1e-3, "{}", g.mean[0]);
            assert!((g.variance(0) - variance).abs() < 1e-2, "{}", g.variance(0));
        }
    }

    #[test]
    fn fading_twice_half_as_long_is_fading_once() {
        let start = || {
            let mut g = Gaussian::new(&[1.0, 2.0], alloc::vec![Fade { state: 1, time_s: 600.0, sd: 0.3 }]);
            let e = g.expect(&[1.0, 1.0], 0.1);
            g.absorb(&e, 0.7);
            g
        };
        let (mut once, mut twice) = (start(), start());
        once.fade(100.0);
        twice.fade(50.0);
        twice.fade(50.0);
        for (a, b) in once.cov.iter().chain(&once.mean).zip(twice.cov.iter().chain(&twice.mean)) {
            assert!((a - b).abs() < 1e-12);
        }
    }

    /// A moved state is the old one times its share and something of its own: variances and covariances by hand.
    #[test]
    fn states_move_on_with_all_that_is_known_of_them() {
        let mut g = Gaussian::new(&[1.0], Vec::new());
        g.append(&[0.5, 2.0]);
        let e = g.expect(&[1.0, 1.0, -1.0], 0.1);
        g.absorb(&e, 0.8);
        let was = g.clone();
        g.shift(1, 2, 0.5, 0.3);
        assert_eq!(g.mean, [was.mean[0], 0.5 * was.mean[1], was.mean[1]]);
        assert!((g.variance(1) - (0.25 * was.variance(1) + 0.3)).abs() < 1e-12);
        assert!((g.variance(2) - was.variance(1)).abs() < 1e-12);
        assert!((g.covariance(1, 2) - 0.5 * was.variance(1)).abs() < 1e-12);
        assert!((g.covariance(0, 2) - was.covariance(0, 1)).abs() < 1e-12);
        assert!((g.covariance(0, 1) - 0.5 * was.covariance(0, 1)).abs() < 1e-12);
        assert!((g.covariance(1, 0) - g.covariance(0, 1)).abs() < 1e-12);
        assert!((g.variance(0) - was.variance(0)).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn covariance_stays_symmetric_and_positive(
            steps in proptest::collection::vec((-3.0..3.0f64, -1.0..1.0f64, -1.0..1.0f64, 1.0..900.0f64), 1..80)
        ) {
            let mut g = Gaussian::new(&[1.0, 0.2, 3.0], alloc::vec![Fade { state: 2, time_s: 900.0, sd: 0.5 }]);
            for (y, a, b, dt) in steps {
                g.fade(dt);
                let e = g.expect(&[a, b, 1.0], 1e-3);
                let surprise = y - e.value;
                g.absorb(&e, surprise);
                for i in 0..3 {
                    prop_assert!(g.variance(i) > 0.0);
                    for j in 0..3 {
                        prop_assert!((g.covariance(i, j) - g.covariance(j, i)).abs() < 1e-9);
                        let bound = libm::sqrt(g.variance(i) * g.variance(j));
                        prop_assert!(g.covariance(i, j).abs() <= bound * (1.0 + 1e-6) + 1e-9);
                    }
                }
            }
        }
    }
}
