//! A nest's body as two layers that conduct along the axis and exchange heat: the base that the pad warms, and the
//! galleries above it, where probes and brood are.
//!
//! In excess over the room (θ = T − R), with B the base and G the galleries:
//!
//! ```text
//! ∂B/∂t = α ∂²B/∂x² − (λ_b + c_b) B + c_b G + g s(x) f(t) − dR/dt
//! ∂G/∂t = α ∂²G/∂x² − (λ_g + c_g) G + c_g B               − dR/dt
//! dp/dt = (u − p)/τ_pad   df/dt = (p − f)/τ_contact         both ends: L ∂θ/∂n = −B_end θ
//! ```
//!
//! The fin equation with a source (Incropera, DeWitt, *Fundamentals of Heat and Mass Transfer*, §3.6; Carslaw &
//! Jaeger §4.2), once for each layer. Both layers share their eigenfunctions along x, so every mode is a pair of
//! numbers whose 2 × 2 system is solved in closed form: exact for any time step while the inputs are constant.
use crate::modes::Modes;
use crate::shelf::Stretch;
use alloc::vec::Vec;

/// Modes kept. The galleries' response to a pad's edge falls with the fifth power of the mode's number, so what is
/// dropped is under 0.01 K.
pub const MODES: usize = 24;

/// The physics of one nest: everything a fit may change, in SI-like units along the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Physics {
    /// Diffusivity along the axis, mm²/s.
    pub diffusivity_mm2_s: f64,
    /// Loss of the base to the room, 1/s.
    pub base_loss_per_s: f64,
    /// Loss of the galleries to the room, 1/s.
    pub gallery_loss_per_s: f64,
    /// Exchange with the galleries, as the base feels it, 1/s.
    pub base_exchange_per_s: f64,
    /// Exchange with the base, as the galleries feel it, 1/s.
    pub gallery_exchange_per_s: f64,
    /// End-loss number B = hL/k.
    pub end_loss: f64,
    /// Lag of the pad itself, s.
    pub pad_lag_s: f64,
    /// Lag of its contact with the nest, s.
    pub contact_lag_s: f64,
    /// Heating of the base over each pad at full drive, K/s.
    pub gain_k_s: Vec<f64>,
}

/// One nest's geometry, as the model needs it.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Length of the galleries, mm.
    pub length_mm: f64,
    /// Solid body beyond either end of the galleries, mm.
    pub wall_mm: f64,
    /// Every pad's span.
    pub pads: Vec<Stretch>,
    /// How far heat spreads along the axis on its way from a pad into the base, standard deviation, mm.
    pub blur_mm: f64,
}

/// [`Physics`] on an [`Axis`], prepared for one fixed step.
#[derive(Clone, Debug)]
pub struct Body {
    /// The modes along the axis.
    pub modes: Modes,
    step_s: f64,
    decay: Vec<f64>,
    room: Vec<f64>,
    pads: Vec<Vec<f64>>,
    /// Weight of each branch in the base's amplitude.
    base: Vec<f64>,
    /// Weight of each branch in the galleries' amplitude.
    gallery: Vec<f64>,
    /// Where both branches settle with one pad at full drive.
    settled: Vec<Vec<f64>>,
    /// Steady response of each mode of the galleries to heat in the galleries themselves, s.
    within: Vec<f64>,
    lags: Lags,
}

/// Two lags in series over one step, exact while the drive is constant.
#[derive(Clone, Copy, Debug)]
struct Lags {
    /// What the step keeps of each lag's difference, and its mean over the step.
    pad: (f64, f64),
    contact: (f64, f64),
    /// τ_pad/(τ_pad − τ_contact): how much of the pad's difference shows behind the contact.
    share: f64,
}

impl Lags {
    fn new(pad_s: f64, contact_s: f64, step_s: f64) -> Self {
        // Equal lags are the limit of unequal ones; a per cent apart is near enough and keeps the closed form.
        let contact_s = if (contact_s / pad_s - 1.0).abs() < 0.01 { 1.01 * pad_s } else { contact_s };
        let over = |lag_s: f64| {
            let keep = libm::exp(-step_s / lag_s);
            (keep, lag_s / step_s * (1.0 - keep))
        };
        Self { pad: over(pad_s), contact: over(contact_s), share: pad_s / (pad_s - contact_s) }
    }

    /// Moves (pad, behind the contact) on by a step at drive `u`; the mean behind the contact over it.
    fn advance(&self, state: &mut (f64, f64), u: f64) -> f64 {
        let pad = self.share * (state.0 - u);
        let contact = state.1 - u - pad;
        let mean = u + pad * self.pad.1 + contact * self.contact.1;
        *state = (u + (state.0 - u) * self.pad.0, u + pad * self.pad.0 + contact * self.contact.0);
        mean
    }
}

/// Where one body stands: mode amplitudes of both branches, and the heat under way from each pad.
#[derive(Clone, Debug, PartialEq)]
pub struct Heat {
    branches: Vec<f64>,
    /// Each pad's own warmth and what is behind its contact, as shares of full drive.
    arriving: Vec<(f64, f64)>,
}

impl Axis {
    /// The first `count` modes of the body along this axis.
    pub fn modes(&self, end_loss: f64, count: usize) -> Modes {
        Modes::walled(self.length_mm, self.wall_mm, end_loss, count)
    }

    /// The middle of the first pad, mm; the beginning where there is none.
    pub fn over_pad_mm(&self) -> f64 {
        self.pads.first().map_or(0.0, |p| 0.5 * (p.from_mm + p.to_mm))
    }

    /// The whole body, walls included.
    fn whole(&self) -> Stretch {
        Stretch { from_mm: -self.wall_mm, to_mm: self.length_mm + self.wall_mm }
    }
}

impl Body {
    /// Prepares `physics` on `axis` for steps of `step_s`, with `count` modes.
    pub fn new(axis: &Axis, physics: &Physics, step_s: f64, count: usize) -> Self {
        Self::on(axis.modes(physics.end_loss, count), axis, physics, step_s)
    }

    /// The same on modes that are there already (they depend on length and end loss alone).
    pub fn on(modes: Modes, axis: &Axis, physics: &Physics, step_s: f64) -> Self {
        let n = modes.len();
        let whole: Vec<f64> = modes.project(axis.whole()).collect();
        let spans: Vec<Vec<f64>> = axis.pads.iter().map(|s| modes.project(*s).collect()).collect();
        let mut body = Self {
            decay: alloc::vec![0.0; 2 * n],
            room: alloc::vec![0.0; 2 * n],
            pads: alloc::vec![alloc::vec![0.0; 2 * n]; spans.len()],
            base: alloc::vec![0.0; 2 * n],
            gallery: alloc::vec![0.0; 2 * n],
            settled: alloc::vec![alloc::vec![0.0; 2 * n]; spans.len()],
            within: alloc::vec![0.0; n],
            lags: Lags::new(physics.pad_lag_s, physics.contact_lag_s, step_s),
            step_s,
            modes,
        };
        let rates: Vec<f64> = body.modes.wave_numbers2_mm2().collect();
        // Scaling each layer by the root of its heat capacity makes the exchange symmetric.
        let scale = libm::sqrt(physics.base_exchange_per_s / physics.gallery_exchange_per_s);
        for (i, k2) in rates.into_iter().enumerate() {
            let diffusion = physics.diffusivity_mm2_s * k2;
            // A box seen through a normal distribution, mode by mode.
            let blurred = libm::exp(-0.5 * axis.blur_mm * axis.blur_mm * k2);
            let pair = Pair::of(
                diffusion + physics.base_loss_per_s + physics.base_exchange_per_s,
                diffusion + physics.gallery_loss_per_s + physics.gallery_exchange_per_s,
                libm::sqrt(physics.base_exchange_per_s * physics.gallery_exchange_per_s),
            );
            for branch in 0..2 {
                let at = branch * n + i;
                let rate = pair.rate[branch];
                let held = (1.0 - libm::exp(-rate * step_s)) / rate;
                body.decay[at] = libm::exp(-rate * step_s);
                body.base[at] = pair.base[branch];
                body.within[i] += pair.gallery[branch] * pair.gallery[branch] / rate;
                body.gallery[at] = pair.gallery[branch] / scale;
                body.room[at] = -(pair.base[branch] + pair.gallery[branch] * scale) * whole[i] * held / step_s;
                for ((pad, settled), (span, gain)) in
                    body.pads.iter_mut().zip(&mut body.settled).zip(spans.iter().zip(&physics.gain_k_s))
                {
                    let push = pair.base[branch] * gain * span[i] * blurred;
                    pad[at] = push * held;
                    settled[at] = push / rate;
                }
            }
        }
        body
    }

    /// The step it was prepared for, s.
    pub fn step_s(&self) -> f64 {
        self.step_s
    }

    /// A body as warm as the room.
    pub fn cold(&self) -> Heat {
        Heat { branches: alloc::vec![0.0; self.decay.len()], arriving: alloc::vec![(0.0, 0.0); self.pads.len()] }
    }

    /// Moves `heat` on by one step: each pad driven at `drive[i]` (0 to 1), the room `room_change_k` warmer at its end.
    pub fn advance(&self, heat: &mut Heat, drive: &[f64], room_change_k: f64) {
        for (q, (decay, room)) in heat.branches.iter_mut().zip(self.decay.iter().zip(&self.room)) {
            *q = *q * decay + room * room_change_k;
        }
        for ((pad, arriving), u) in self.pads.iter().zip(&mut heat.arriving).zip(drive) {
            let mean = self.lags.advance(arriving, *u);
            // Most steps of a thermostat's night bring no heat at all.
            if mean.abs() > 1e-9 {
                for (q, p) in heat.branches.iter_mut().zip(pad) {
                    *q += p * mean;
                }
            }
        }
    }

    /// The galleries' mode amplitudes, K, into `out` (one a mode).
    pub fn gallery(&self, heat: &Heat, out: &mut [f64]) {
        mix(&heat.branches, &self.gallery, out);
    }

    /// The base's mode amplitudes, K, into `out` (one a mode).
    pub fn base(&self, heat: &Heat, out: &mut [f64]) {
        mix(&heat.branches, &self.base, out);
    }

    /// Where the body comes to rest with each pad driven at `drive[i]` for ever.
    pub fn settled(&self, drive: &[f64]) -> Heat {
        let mut heat = self.cold();
        for ((pad, arriving), u) in self.settled.iter().zip(&mut heat.arriving).zip(drive) {
            *arriving = (*u, *u);
            for (q, p) in heat.branches.iter_mut().zip(pad) {
                *q += p * u;
            }
        }
        heat
    }
}

impl Body {
    /// The galleries' mode amplitudes in steady state, K, for heat of 1 K/s given off in the galleries along `stretch`.
    pub fn steady_within(&self, stretch: Stretch) -> Vec<f64> {
        self.modes.project(stretch).zip(&self.within).map(|(p, w)| p * w).collect()
    }
}

impl Body {
    /// The galleries' mode amplitudes into `out`, in proportion, so many steps after heat began to be given off in the
    /// galleries themselves along `shape` (one amplitude a mode).
    pub fn answer_within(&self, shape: &[f64], steps: usize, out: &mut [f64]) {
        let n = self.modes.len();
        for (i, (o, s)) in out.iter_mut().zip(shape).enumerate().take(n) {
            let of = |at: usize| {
                let rate = -libm::log(self.decay[at]) / self.step_s;
                self.gallery[at] * self.gallery[at] * (1.0 - libm::pow(self.decay[at], steps as f64)) / rate
            };
            *o = s * (of(i) + of(n + i));
        }
    }
}

impl Heat {
    /// What the first `count` modes hold of it.
    #[must_use]
    pub fn first(&self, count: usize) -> Self {
        let n = self.branches.len() / 2;
        let (slow, fast) = self.branches.split_at(n);
        let branches = slow.iter().take(count).chain(fast.iter().take(count)).copied().collect();
        Self { branches, arriving: self.arriving.clone() }
    }

    /// Moves by `share` of the way from `origin` to `moved`: to first order, the heat of a body whose physics lies there.
    pub fn lean(&mut self, origin: &Self, moved: &Self, share: f64) {
        for (q, (o, m)) in self.branches.iter_mut().zip(origin.branches.iter().zip(&moved.branches)) {
            *q += share * (m - o);
        }
        for (a, (o, m)) in self.arriving.iter_mut().zip(origin.arriving.iter().zip(&moved.arriving)) {
            a.0 += share * (m.0 - o.0);
            a.1 += share * (m.1 - o.1);
        }
    }

    /// Heat under way from each pad, as a share of full drive.
    pub fn arriving(&self) -> impl Iterator<Item = f64> + '_ {
        self.arriving.iter().map(|a| a.1)
    }

    /// Cools to the room at once.
    pub fn clear(&mut self) {
        self.branches.fill(0.0);
        self.arriving.fill((0.0, 0.0));
    }
}

fn mix(branches: &[f64], weights: &[f64], out: &mut [f64]) {
    let n = out.len().min(branches.len() / 2);
    let ((slow, fast), (ws, wf)) = (branches.split_at(n), weights.split_at(n));
    for (i, o) in out.iter_mut().enumerate().take(n) {
        *o = slow[i] * ws[i] + fast[i] * wf[i];
    }
}

/// Rates and weights of one mode's two branches: the eigenpairs of [[b, −c], [−c, g]].
struct Pair {
    rate: [f64; 2],
    base: [f64; 2],
    gallery: [f64; 2],
}

impl Pair {
    fn of(base: f64, gallery: f64, exchange: f64) -> Self {
        let mean = 0.5 * (base + gallery);
        let half = 0.5 * (base - gallery);
        let root = libm::sqrt(half * half + exchange * exchange);
        // Angle of the eigenvectors: tan 2φ = 2c/(b − g).
        let angle = 0.5 * libm::atan2(exchange, half);
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        Self { rate: [mean + root, (mean - root).max(1e-9)], base: [cos, sin], gallery: [-sin, cos] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(exchange: f64) -> (Axis, Physics) {
        // R1: L 0.30 m, w 0.12 m, t 0.04 m, k 0.35, ρ 800, c 1000, h 8, a pad of 3 W on [0, 0.08] m, insulated ends.
        let axis = Axis {
            length_mm: 300.0,
            wall_mm: 0.0,
            blur_mm: 0.0,
            pads: alloc::vec![Stretch { from_mm: 0.0, to_mm: 80.0 }],
        };
        let physics = Physics {
            diffusivity_mm2_s: 0.4375,
            base_loss_per_s: 6.666_667e-4,
            gallery_loss_per_s: 6.666_667e-4,
            base_exchange_per_s: exchange,
            gallery_exchange_per_s: exchange,
            end_loss: 0.0,
            pad_lag_s: 1e-3,
            contact_lag_s: 1e-3,
            gain_k_s: alloc::vec![3.0 / (0.0048 * 0.08) / (800.0 * 1000.0)],
        };
        (axis, physics)
    }

    fn steady(body: &Body, u: f64) -> Vec<f64> {
        let mut out = alloc::vec![0.0; body.modes.len()];
        body.gallery(&body.settled(&[u]), &mut out);
        out
    }

    fn at(body: &Body, amplitudes: &[f64], x_mm: f64) -> f64 {
        body.modes.at(x_mm).zip(amplitudes).map(|(p, a)| p * a).sum()
    }

    /// With the exchange far faster than everything else both layers are one bar of twice the capacity and loss.
    /// Closed form, 4000-term cosine series and Crank–Nicolson agree on these values (fin equation with a source,
    /// Incropera §3.6; Green's function X22 with side losses, Cole et al. 2011).
    #[test]
    fn a_rod_with_a_pad_settles_at_the_published_profile() {
        let (axis, mut physics) = bar(1.0);
        physics.gain_k_s[0] *= 2.0;
        let body = Body::new(&axis, &physics, 20.0, 200);
        let steady = steady(&body, 1.0);
        for (x, want) in
            [(0.0, 14.003_464), (40.0, 13.043_901), (80.0, 7.310_020), (150.0, 0.475_558), (200.0, 0.067_565)]
        {
            let got = at(&body, &steady, x);
            assert!((got - want).abs() < 0.02, "at {x} mm: {got} for {want}");
        }
    }

    #[test]
    fn a_rod_with_a_pad_warms_up_as_published() {
        let (axis, mut physics) = bar(1.0);
        physics.gain_k_s[0] *= 2.0;
        let body = Body::new(&axis, &physics, 20.0, 200);
        let mut heat = body.cold();
        let mut out = alloc::vec![0.0; body.modes.len()];
        for (steps, x, want) in [(30, 40.0, 4.778_425), (60, 40.0, 9.657_851), (90, 80.0, 6.658_191)] {
            for _ in 0..steps {
                body.advance(&mut heat, &[1.0], 0.0);
            }
            body.gallery(&heat, &mut out);
            let got = at(&body, &out, x);
            assert!((got - want).abs() < 0.03, "{steps} steps on, at {x} mm: {got} for {want}");
        }
    }

    /// R2: both ends convective with the same film as the sides (X33), pad on [20, 100] mm.
    #[test]
    fn convective_ends_take_what_the_handbook_says() {
        let (mut axis, mut physics) = bar(1.0);
        axis.pads[0] = Stretch { from_mm: 20.0, to_mm: 100.0 };
        physics.end_loss = 8.0 * 0.3 / 0.35;
        physics.gain_k_s[0] *= 2.0;
        let body = Body::new(&axis, &physics, 20.0, 200);
        let steady = steady(&body, 1.0);
        for (x, want) in
            [(0.0, 4.045_720), (20.0, 7.385_781), (60.0, 11.655_288), (100.0, 7.018_642), (150.0, 0.996_777)]
        {
            let got = at(&body, &steady, x);
            assert!((got - want).abs() < 0.02, "at {x} mm: {got} for {want}");
        }
    }

    #[test]
    fn two_half_steps_equal_one_step() {
        let (axis, physics) = bar(2e-3);
        let (whole, half) = (Body::new(&axis, &physics, 40.0, 24), Body::new(&axis, &physics, 20.0, 24));
        let (mut a, mut b) = (whole.cold(), half.cold());
        for u in [1.0, 0.3, 0.0, 0.8] {
            whole.advance(&mut a, &[u], 0.2);
            half.advance(&mut b, &[u], 0.1);
            half.advance(&mut b, &[u], 0.1);
        }
        for (x, y) in a.branches.iter().zip(&b.branches) {
            assert!((x - y).abs() < 1e-4 * (1.0 + x.abs()), "{x} {y}");
        }
    }

    #[test]
    fn a_long_stay_reaches_the_steady_state() {
        let (axis, physics) = bar(2e-3);
        let body = Body::new(&axis, &physics, 20.0, 24);
        let mut heat = body.cold();
        for _ in 0..5_000 {
            body.advance(&mut heat, &[0.6], 0.0);
        }
        let mut out = alloc::vec![0.0; 24];
        body.gallery(&heat, &mut out);
        for (a, b) in out.iter().zip(steady(&body, 0.6)) {
            assert!((a - b).abs() < 1e-6, "{a} {b}");
        }
    }

    /// Balance of both layers for heat given off evenly in the galleries: G = 1/(λ_g + c_g λ_b/(λ_b + c_b)).
    #[test]
    fn heat_within_the_galleries_settles_where_the_balance_says() {
        let (axis, mut physics) = bar(2e-3);
        physics.gallery_exchange_per_s = 3e-3;
        let body = Body::new(&axis, &physics, 20.0, 60);
        let steady = body.steady_within(Stretch { from_mm: 0.0, to_mm: 300.0 });
        let back = physics.base_loss_per_s / (physics.base_loss_per_s + physics.base_exchange_per_s);
        let want = 1.0 / (physics.gallery_loss_per_s + physics.gallery_exchange_per_s * back);
        for x in [0.0, 80.0, 150.0, 300.0] {
            let got = at(&body, &steady, x);
            assert!((got / want - 1.0).abs() < 1e-3, "at {x} mm: {got} for {want}");
        }
    }

    #[test]
    fn walls_are_a_longer_body_seen_from_within() {
        let (mut axis, mut physics) = bar(1.0);
        physics.end_loss = 5.0;
        let long = Axis {
            length_mm: 320.0,
            wall_mm: 0.0,
            blur_mm: 0.0,
            pads: alloc::vec![Stretch { from_mm: 10.0, to_mm: 90.0 }],
        };
        axis.wall_mm = 10.0;
        let (walled, long) = (Body::new(&axis, &physics, 20.0, 24), Body::new(&long, &physics, 20.0, 24));
        let (a, b) = (steady(&walled, 1.0), steady(&long, 1.0));
        for x in [0.0, 40.0, 200.0, 300.0] {
            assert!((at(&walled, &a, x) - at(&long, &b, x + 10.0)).abs() < 1e-9, "at {x} mm");
        }
    }
}
