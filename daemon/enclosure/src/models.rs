//! One nest's body at its nominal physics and at physics a little off in each parameter, with the rows that read a
//! temperature off a body's modes. Rebuilt only when the nominal physics moves.
use crate::body::{Axis, Body, Heat, MODES};
use crate::modes::Modes;
use crate::prior::from_log;
use crate::shelf::Stretch;
use alloc::vec::Vec;

/// How far each parameter is moved for its sensitivity, on the log scale.
pub const NUDGE: f64 = 0.03;
/// Places at which a profile is reported, at least (the contract asks for 41).
pub const GRID: usize = 61;
/// Which parameter is the end loss: the only one that changes the modes.
pub const END_LOSS: usize = 5;

/// Nominal body first, then one for each parameter.
#[derive(Clone, Debug)]
pub struct Models {
    /// Nominal first.
    pub bodies: Vec<Body>,
    nominal: Rows,
    nudged_ends: Rows,
    /// Amplitudes of the galleries' modes for 1 K/s of heat given off along the brood area, K.
    pub colony: Vec<f64>,
    /// Places of the profile, mm.
    pub grid_mm: Vec<f64>,
}

/// Rows over the modes: at every probe, over the brood area, along the grid.
#[derive(Clone, Debug)]
pub struct Rows {
    /// One for each probe.
    pub probes: Vec<Vec<f64>>,
    /// Slope at each probe, 1/mm.
    pub slopes: Vec<Vec<f64>>,
    /// Mean over the brood area.
    pub brood: Vec<f64>,
    /// Points across the brood area.
    pub brood_points: Vec<Vec<f64>>,
    /// The profile.
    pub grid: Vec<Vec<f64>>,
    /// Middle of the first pad.
    pub pad: Vec<f64>,
}

/// Where one body stands, with every probe's lagged view of it.
#[derive(Clone, Debug)]
pub struct Course {
    /// The body's heat.
    pub heat: Heat,
    /// Galleries' mode amplitudes, K over the room.
    pub amplitudes: Vec<f64>,
    /// What the probes see of it.
    pub seen: Seen,
}

/// What probes see of a temperature at their places: a first-order lag, exact for a surface that moves evenly.
#[derive(Clone, Debug)]
pub struct Seen {
    /// At each probe's place.
    pub surface: Vec<f64>,
    /// What each probe shows at the end of the last step.
    pub shown: Vec<f64>,
    /// What it showed at its beginning.
    pub before: Vec<f64>,
}

impl Seen {
    /// Every probe at `value`.
    pub fn at_rest(probes: usize, value: f64) -> Self {
        let all = alloc::vec![value; probes];
        Self { surface: all.clone(), shown: all.clone(), before: all }
    }

    /// One step of `step_s`, at whose end probe `p`'s place is at `new`.
    pub fn see(&mut self, p: usize, new: f64, (lag_s, keep): (f64, f64), step_s: f64) {
        let trail = (new - self.surface[p]) * lag_s / step_s;
        self.before[p] = self.shown[p];
        self.shown[p] = new - trail + (self.shown[p] - self.surface[p] + trail) * keep;
        self.surface[p] = new;
    }

    /// What probe `p` shows at `part` (0 to 1) of the last step.
    pub fn at(&self, p: usize, part: f64) -> f64 {
        self.before[p] + (self.shown[p] - self.before[p]) * part
    }
}

impl Models {
    /// Bodies around the physics in `log` (see [`crate::prior::to_log`]).
    pub fn new(axis: &Axis, log: &[f64], places_mm: &[f64], brood: Stretch, step_s: f64) -> Self {
        let nominal = from_log(log);
        let modes = axis.modes(nominal.end_loss, MODES);
        let mut bodies = alloc::vec![Body::on(modes.clone(), axis, &nominal, step_s)];
        let mut nudged_ends = modes.clone();
        for i in 0..log.len() {
            let mut moved = log.to_vec();
            moved[i] += NUDGE;
            let physics = from_log(&moved);
            let on = if i == END_LOSS { axis.modes(physics.end_loss, MODES) } else { modes.clone() };
            if i == END_LOSS {
                nudged_ends = on.clone();
            }
            bodies.push(Body::on(on, axis, &physics, step_s));
        }
        let grid_mm: Vec<f64> = (0..GRID).map(|i| axis.length_mm * i as f64 / (GRID - 1) as f64).collect();
        let rows = |m: &Modes| Rows::new(m, places_mm, brood, &grid_mm, axis.over_pad_mm());
        let colony = bodies[0].steady_within(brood);
        Self { colony, nominal: rows(&modes), nudged_ends: rows(&nudged_ends), bodies, grid_mm }
    }

    /// The rows that belong to body `i`.
    pub fn rows(&self, i: usize) -> &Rows {
        if i == END_LOSS + 1 { &self.nudged_ends } else { &self.nominal }
    }
}

impl Rows {
    fn new(m: &Modes, places_mm: &[f64], brood: Stretch, grid_mm: &[f64], pad_mm: f64) -> Self {
        let points = (0..7).map(|i| brood.from_mm + brood.length_mm() * f64::from(i) / 6.0);
        Self {
            probes: places_mm.iter().map(|x| m.at(*x).collect()).collect(),
            slopes: places_mm.iter().map(|x| m.slope_at(*x).collect()).collect(),
            brood: m.mean_over(brood).collect(),
            brood_points: points.map(|x| m.at(x).collect()).collect(),
            grid: grid_mm.iter().map(|x| m.at(*x).collect()).collect(),
            pad: m.at(pad_mm).collect(),
        }
    }
}

/// Sum of products.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl Course {
    /// A body as warm as the room at `room_c`.
    pub fn cold(body: &Body, probes: usize, room_c: f64) -> Self {
        Self { heat: body.cold(), amplitudes: alloc::vec![0.0; body.modes.len()], seen: Seen::at_rest(probes, room_c) }
    }

    /// One step: pads driven at `drive`, the room `room_change_k` warmer and at `room_c` at its end.
    pub fn advance(&mut self, body: &Body, rows: &Rows, step: &Step<'_>) {
        body.advance(&mut self.heat, step.drive, step.room_change_k);
        body.gallery(&self.heat, &mut self.amplitudes);
        for (p, row) in rows.probes.iter().enumerate() {
            self.seen.see(p, step.room_c + dot(row, &self.amplitudes), step.lags[p], step.step_s);
        }
    }
}

/// What happens during one step.
#[derive(Clone, Copy, Debug)]
pub struct Step<'a> {
    /// Drive of each pad.
    pub drive: &'a [f64],
    /// Room at its end, °C.
    pub room_c: f64,
    /// How much the room warmed over it, K.
    pub room_change_k: f64,
    /// Each probe's lag, s, and what is kept of a difference over one step.
    pub lags: &'a [(f64, f64)],
    /// Length, s.
    pub step_s: f64,
}
