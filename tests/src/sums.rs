//! Textbook problems put to the core's own parts: heat in a rod, a level and a velocity that are filtered, sums that
//! accumulate. Tests hold the answers against published tables, `tests/reference` against reference libraries.
use enclosure::body::{Axis, Body, Heat, Physics};
use enclosure::cusum::accumulate;
use enclosure::filter::Gaussian;
use enclosure::shelf::Stretch;
use world::Rng;

/// Modes enough for the sharp edges of textbook problems.
const MODES: usize = 400;

/// A rod that loses heat along its side.
#[derive(Clone, Copy, Debug)]
pub struct Rod {
    /// Length, m.
    pub length_m: f64,
    /// Cross-section, m².
    pub area_m2: f64,
    /// Circumference, m.
    pub round_m: f64,
    /// Conductivity, W m⁻¹ K⁻¹.
    pub k_w_mk: f64,
    /// Heat capacity of a volume, J m⁻³ K⁻¹.
    pub rho_c: f64,
    /// Film along the side, W m⁻² K⁻¹.
    pub film_w_m2k: f64,
    /// Film at both ends, W m⁻² K⁻¹.
    pub ends_w_m2k: f64,
}

impl Rod {
    /// The rod as the core's body of two layers so closely joined that they are one, heated by `watts` between two
    /// places (m), for steps of `step_s`.
    pub fn body(&self, heated_m: (f64, f64), watts: f64, step_s: f64) -> Body {
        let span = Stretch { from_mm: 1e3 * heated_m.0, to_mm: 1e3 * heated_m.1 };
        let axis = Axis { wall_mm: 0.0, blur_mm: 0.0, length_mm: 1e3 * self.length_m, pads: vec![span] };
        let loss = self.film_w_m2k * self.round_m / (self.rho_c * self.area_m2);
        let heating = watts / (self.rho_c * self.area_m2 * (heated_m.1 - heated_m.0));
        let diffusivity_mm2_s = 1e6 * self.k_w_mk / self.rho_c;
        let physics = Physics {
            diffusivity_mm2_s,
            base_loss_per_s: loss,
            gallery_loss_per_s: loss,
            base_exchange_per_s: 1e4 * (loss + 1e-4),
            gallery_exchange_per_s: 1e4 * (loss + 1e-4),
            end_loss: self.ends_w_m2k * self.length_m / self.k_w_mk,
            pad_lag_s: 1e-3,
            contact_lag_s: 1e-3,
            // All of it enters the lower of two equal layers.
            gain_k_s: vec![2.0 * heating],
        };
        Body::new(&axis, &physics, step_s, MODES)
    }

    /// Rise over the surroundings at `x_m`, K, once settled.
    pub fn settled_k(&self, heated_m: (f64, f64), watts: f64, x_m: f64) -> f64 {
        let body = self.body(heated_m, watts, 60.0);
        rise_k(&body, &body.settled(&[1.0]), x_m)
    }

    /// Rise at `x_m`, K, after so many steps of `step_s` from cold.
    pub fn after_k(&self, heated_m: (f64, f64), watts: f64, (steps, step_s): (u32, f64), x_m: f64) -> f64 {
        let body = self.body(heated_m, watts, step_s);
        let mut heat = body.cold();
        (0..steps).for_each(|_| body.advance(&mut heat, &[1.0], 0.0));
        rise_k(&body, &heat, x_m)
    }

    /// What is left at `x_m` of a kelvin over the surroundings after so many steps without heat.
    pub fn left_k(&self, (steps, step_s): (u32, f64), x_m: f64) -> f64 {
        let sudden = self.body((0.0, self.length_m), 0.0, 1e-6);
        let mut heat = sudden.cold();
        // The surroundings fall by a kelvin.
        sudden.advance(&mut heat, &[0.0], -1.0);
        let body = self.body((0.0, self.length_m), 0.0, step_s);
        (0..steps).for_each(|_| body.advance(&mut heat, &[0.0], 0.0));
        rise_k(&body, &heat, x_m)
    }
}

fn rise_k(body: &Body, heat: &Heat, x_m: f64) -> f64 {
    let mut amplitudes = vec![0.0; body.modes.len()];
    body.gallery(heat, &mut amplitudes);
    body.modes.at(1e3 * x_m).zip(&amplitudes).map(|(p, a)| p * a).sum()
}

/// What a filter believed after a value, and what that value did to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filtered {
    /// Mean after the value.
    pub mean: f64,
    /// Its variance.
    pub variance: f64,
    /// What the value said over what was expected.
    pub surprise: f64,
    /// Variance of that.
    pub surprise_variance: f64,
}

impl Filtered {
    /// Logarithm of the value's likelihood.
    pub fn log_likelihood(&self) -> f64 {
        let spread = core::f64::consts::TAU * self.surprise_variance;
        -0.5 * (spread.ln() + self.surprise * self.surprise / self.surprise_variance)
    }
}

/// A level that wanders by `wander` (variance a step) seen through `noise` (variance): what is believed after each
/// value from the second on; the first only begins it.
pub fn level(noise: f64, wander: f64, values: &[f64]) -> Vec<Filtered> {
    let Some((first, rest)) = values.split_first() else { return Vec::new() };
    let mut belief = Gaussian::new(&[noise.sqrt()], Vec::new());
    belief.mean[0] = *first;
    let mut all = Vec::new();
    for value in rest {
        belief.widen(0, wander);
        let expected = belief.expect(&[1.0], noise);
        let surprise = value - expected.value;
        belief.absorb(&expected, surprise);
        all.push(Filtered {
            mean: belief.mean[0],
            variance: belief.variance(0),
            surprise,
            surprise_variance: expected.variance,
        });
    }
    all
}

/// Place and speed under random pushes of variance `push` a step, the place seen through `noise`.
///
/// The core's filter knows states that stay. The same problem in such states: where it began, how fast, and every push;
/// place and speed at any step are rows over these, so that the last belief about a row is its smoothed value.
#[derive(Clone, Debug)]
pub struct Velocity {
    belief: Gaussian,
    noise: f64,
    step: usize,
    steps: usize,
}

impl Velocity {
    /// Begins at rest at 0 with these variances of place and speed; for so many steps.
    pub fn new(begin: (f64, f64), push: f64, noise: f64, steps: usize) -> Self {
        let mut sd = vec![begin.0.sqrt(), begin.1.sqrt()];
        sd.extend(std::iter::repeat_n(push.sqrt(), steps));
        Self { belief: Gaussian::new(&sd, Vec::new()), noise, step: 0, steps }
    }

    /// Rows of place and speed at a step (from 1).
    pub fn rows(&self, step: usize) -> (Vec<f64>, Vec<f64>) {
        let mut place = vec![1.0, step as f64];
        let mut speed = vec![0.0, 1.0];
        for push in 1..=self.steps {
            let acts = push <= step;
            place.push(if acts { (step - push) as f64 + 0.5 } else { 0.0 });
            speed.push(f64::from(u8::from(acts)));
        }
        (place, speed)
    }

    /// One step, at whose end the place is seen at `value`.
    pub fn see(&mut self, value: f64) -> Filtered {
        self.step += 1;
        let (place, _) = self.rows(self.step);
        let expected = self.belief.expect(&place, self.noise);
        let surprise = value - expected.value;
        self.belief.absorb(&expected, surprise);
        let (mean, variance) = (self.mean(&place), self.belief.spread(&place));
        Filtered { mean, variance, surprise, surprise_variance: expected.variance }
    }

    /// Mean of a row.
    pub fn mean(&self, row: &[f64]) -> f64 {
        row.iter().zip(&self.belief.mean).map(|(a, b)| a * b).sum()
    }

    /// Variances of place and speed at a step, and their covariance between them.
    pub fn variances(&self, step: usize) -> [f64; 3] {
        let (place, speed) = self.rows(step);
        let both: Vec<f64> = place.iter().zip(&speed).map(|(a, b)| a + b).collect();
        let (p, s) = (self.belief.spread(&place), self.belief.spread(&speed));
        [p, 0.5 * (self.belief.spread(&both) - p - s), s]
    }
}

/// Values until a sum of normal values around `mean`, each less `slack`, passes `height`: their mean over so many runs,
/// and the standard error of it.
pub fn run_length((slack, height): (f64, f64), mean: f64, runs: u32, rng: &mut Rng) -> (f64, f64) {
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..runs {
        let (mut evidence, mut length) = (0.0, 0.0);
        while evidence <= height {
            accumulate(&mut evidence, mean + rng.normal() - slack, 0.0);
            length += 1.0;
        }
        sum += length;
        squares += length * length;
    }
    let n = f64::from(runs);
    let average = sum / n;
    (average, ((squares / n - average * average) / n).sqrt())
}
