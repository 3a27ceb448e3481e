//! Heat in a stack of layers along an axis: finite volumes in two dimensions, stepped implicitly.
//!
//! Approximate factorisation in delta form (Douglas and Gunn 1964, Numer. Math. 6): one tridiagonal sweep along the
//! axis, one through the layers. Its steady state is that of the unsplit equations, and every joule is accounted for.

/// A stack of `layers` layers of `cells` cells. Cell (layer, i) stands at `layer * cells + i`; layer 0 is the lowest.
#[derive(Clone, Debug)]
pub(crate) struct Slab {
    /// Cells along the axis.
    pub(crate) cells: usize,
    /// Layers, from below.
    pub(crate) layers: usize,
    /// Temperatures, °C.
    pub(crate) temp_c: Vec<f64>,
    /// Heat capacities, J/K.
    pub(crate) capacity_j_k: Vec<f64>,
    /// Conductance from a cell to its next along the axis, W/K (of a layer's last cell: to the room).
    pub(crate) along_w_k: Vec<f64>,
    /// Conductance of each layer's first cell to the room, W/K.
    pub(crate) head_w_k: Vec<f64>,
    /// Conductance from a cell to the one above it, W/K (of the top layer: unused).
    pub(crate) up_w_k: Vec<f64>,
    /// Conductance of a cell to the room across faces other than the ends, W/K.
    pub(crate) room_w_k: Vec<f64>,
    /// Heat released in a cell, W.
    pub(crate) source_w: Vec<f64>,
    /// Heat that went to the room since the start, J.
    pub(crate) lost_j: f64,
    /// Heat released since the start, J.
    pub(crate) released_j: f64,
    along: Factors,
    through: Factors,
    delta: Vec<f64>,
    /// Capacity over the step's length, W/K.
    rest: Vec<f64>,
    dt_s: f64,
}

/// A symmetric tridiagonal matrix made ready for sweeps.
#[derive(Clone, Debug, Default)]
struct Factors {
    inverse: Vec<f64>,
    ratio: Vec<f64>,
}

impl Slab {
    /// Makes a stack without any conductance, all at one temperature.
    pub(crate) fn new(layers: usize, cells: usize, temp_c: f64) -> Self {
        let n = layers * cells;
        let fill = |v: f64| vec![v; n];
        Self {
            cells,
            layers,
            temp_c: fill(temp_c),
            capacity_j_k: fill(1.0),
            along_w_k: fill(0.0),
            head_w_k: vec![0.0; layers],
            up_w_k: fill(0.0),
            room_w_k: fill(0.0),
            source_w: fill(0.0),
            lost_j: 0.0,
            released_j: 0.0,
            along: Factors::default(),
            through: Factors::default(),
            delta: fill(0.0),
            rest: fill(0.0),
            dt_s: 0.0,
        }
    }

    /// Takes changed conductances into force for steps of `dt_s` seconds.
    pub(crate) fn prepare(&mut self, dt_s: f64) {
        let (m, n) = (self.cells, self.layers * self.cells);
        self.dt_s = dt_s;
        for f in [&mut self.along, &mut self.through] {
            f.inverse.resize(n, 0.0);
            f.ratio.resize(n, 0.0);
        }
        for k in 0..n {
            let (layer, i) = (k / m, k % m);
            let rest = self.capacity_j_k[k] / dt_s;
            self.rest[k] = rest;
            let before = if i == 0 { self.head_w_k[layer] } else { self.along_w_k[k - 1] };
            let mut pivot = rest + before + self.along_w_k[k];
            if i > 0 {
                pivot -= before * self.along.ratio[k - 1];
            }
            self.along.inverse[k] = 1.0 / pivot;
            self.along.ratio[k] = self.along_w_k[k] / pivot;

            let below = if layer == 0 { 0.0 } else { self.up_w_k[k - m] };
            let above = if layer + 1 == self.layers { 0.0 } else { self.up_w_k[k] };
            let mut pivot = rest + below + above + self.room_w_k[k];
            if layer > 0 {
                pivot -= below * self.through.ratio[k - m];
            }
            self.through.inverse[k] = 1.0 / pivot;
            self.through.ratio[k] = above / pivot;
        }
    }

    /// Goes one step forward with the room at `room_c`. Call `prepare` first.
    pub(crate) fn step(&mut self, room_c: f64) {
        self.residual(room_c);
        self.sweep_along(room_c);
        self.sweep_through();
        let dt = self.dt_s;
        let mut lost = 0.0;
        let mut released = 0.0;
        for k in 0..self.temp_c.len() {
            self.temp_c[k] += self.delta[k];
            lost += self.room_w_k[k] * (self.temp_c[k] - room_c);
            released += self.source_w[k];
        }
        self.lost_j += lost * dt;
        self.released_j += released * dt;
    }

    /// Mean conductance over a step of a cell that is brought towards a temperature by `w_k`: what is poured into a light
    /// cell brings it there and no farther.
    pub(crate) fn within_step_w_k(&self, cell: usize, w_k: f64) -> f64 {
        let rest = self.rest[cell];
        if rest > 0.0 { -rest * (-w_k / rest).exp_m1() } else { w_k }
    }

    /// Heat held above 0 °C, J.
    pub(crate) fn held_j(&self) -> f64 {
        self.temp_c.iter().zip(&self.capacity_j_k).map(|(t, c)| t * c).sum()
    }

    /// Net heat flow into every cell at the present temperatures, W, into `delta`.
    fn residual(&mut self, room_c: f64) {
        let m = self.cells;
        let t = &self.temp_c;
        for layer in 0..self.layers {
            let row = layer * m;
            let t = &t[row..row + m];
            let along = &self.along_w_k[row..row + m];
            let source = &self.source_w[row..row + m];
            let room = &self.room_w_k[row..row + m];
            let delta = &mut self.delta[row..row + m];
            let mut inflow = self.head_w_k[layer] * (room_c - t[0]);
            for i in 0..m {
                let next = if i + 1 < m { t[i + 1] } else { room_c };
                let out = along[i] * (t[i] - next);
                delta[i] = inflow - out + source[i] + room[i] * (room_c - t[i]);
                inflow = out;
            }
        }
        for layer in 0..self.layers - 1 {
            let row = layer * m;
            let (low, high) = (&t[row..row + m], &t[row + m..row + 2 * m]);
            let up = &self.up_w_k[row..row + m];
            let (here, above) = self.delta[row..row + 2 * m].split_at_mut(m);
            for i in 0..m {
                let flow = up[i] * (low[i] - high[i]);
                here[i] -= flow;
                above[i] += flow;
            }
        }
    }

    /// Solves along the axis; books the end losses, which this sweep alone decides.
    fn sweep_along(&mut self, room_c: f64) {
        let m = self.cells;
        for layer in 0..self.layers {
            let row = layer * m;
            let delta = &mut self.delta[row..row + m];
            let along = &self.along_w_k[row..row + m];
            let inverse = &self.along.inverse[row..row + m];
            let ratio = &self.along.ratio[row..row + m];
            let mut carried = 0.0;
            for i in 0..m {
                delta[i] = (delta[i] + carried) * inverse[i];
                carried = along[i] * delta[i];
            }
            let mut next = 0.0;
            for i in (0..m).rev() {
                delta[i] += if i + 1 < m { ratio[i] * next } else { 0.0 };
                next = delta[i];
            }
            let (head, tail) = (row, row + m - 1);
            let out = self.head_w_k[layer] * (self.temp_c[head] + self.delta[head] - room_c)
                + self.along_w_k[tail] * (self.temp_c[tail] + self.delta[tail] - room_c);
            self.lost_j += out * self.dt_s;
        }
    }

    /// Solves through the layers, a whole row of columns at a time.
    fn sweep_through(&mut self) {
        let m = self.cells;
        for layer in 0..self.layers {
            let row = layer * m;
            let (below, here) = self.delta.split_at_mut(row);
            let here = &mut here[..m];
            let rest = &self.rest[row..row + m];
            let inverse = &self.through.inverse[row..row + m];
            if layer == 0 {
                for i in 0..m {
                    here[i] *= rest[i] * inverse[i];
                }
            } else {
                let below = &below[row - m..];
                let up = &self.up_w_k[row - m..row];
                for i in 0..m {
                    here[i] = (rest[i] * here[i] + up[i] * below[i]) * inverse[i];
                }
            }
        }
        for layer in (0..self.layers - 1).rev() {
            let row = layer * m;
            let (here, above) = self.delta.split_at_mut(row + m);
            let ratio = &self.through.ratio[row..row + m];
            for ((d, r), a) in here[row..].iter_mut().zip(ratio).zip(above) {
                *d += r * *a;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The rod R1: 0.30 m, 0.12 m wide, 0.04 m high, k 0.35, rho c 8e5, h 8, pad 3 W on the first 0.08 m, ends
    /// insulated. Split into four layers joined so well that it is one-dimensional.
    fn rod(cells: usize) -> Slab {
        let (length, width, height, k, rho_c, h) = (0.30, 0.12, 0.04, 0.35, 8.0e5, 8.0);
        let layers = 4;
        let dx = length / cells as f64;
        let mut slab = Slab::new(layers, cells, 0.0);
        for layer in 0..layers {
            for i in 0..cells {
                let at = layer * cells + i;
                slab.capacity_j_k[at] = rho_c * width * height * dx / layers as f64;
                slab.along_w_k[at] = if i + 1 < cells { k * width * height / dx / layers as f64 } else { 0.0 };
                slab.up_w_k[at] = 1.0e4;
                slab.room_w_k[at] = h * 2.0 * (width + height) * dx / layers as f64;
                let covered = ((0.08 - i as f64 * dx) / dx).clamp(0.0, 1.0);
                slab.source_w[at] = if layer == 0 { 3.0 * covered * dx / 0.08 } else { 0.0 };
            }
        }
        slab
    }

    fn at(slab: &Slab, x_m: f64) -> f64 {
        let dx = 0.30 / slab.cells as f64;
        let place = (x_m / dx - 0.5).clamp(0.0, (slab.cells - 1) as f64);
        let i = (place as usize).min(slab.cells - 2);
        slab.temp_c[i] + (slab.temp_c[i + 1] - slab.temp_c[i]) * (place - i as f64)
    }

    /// Steady rise of that rod in closed form: fin equation with a uniform source on [0, b] and insulated ends
    /// (Incropera, DeWitt et al., section 3.6; matched at b).
    fn closed_form(x_m: f64) -> f64 {
        let (length, b, perimeter, area) = (0.30_f64, 0.08_f64, 0.32_f64, 0.0048_f64);
        let m = (8.0 * perimeter / (0.35 * area)).sqrt();
        let top = 3.0 / b / (8.0 * perimeter);
        if x_m <= b {
            top * (1.0 - (m * (length - b)).sinh() / (m * length).sinh() * (m * x_m).cosh())
        } else {
            top * (m * b).sinh() / (m * length).sinh() * (m * (length - x_m)).cosh()
        }
    }

    #[test]
    fn steady_state_is_the_fin_formula() {
        let mut slab = rod(150);
        slab.prepare(5.0);
        for _ in 0..8000 {
            slab.step(0.0);
        }
        for x in [0.0, 0.04, 0.08, 0.10, 0.15, 0.20] {
            let (got, want) = (at(&slab, x), closed_form(x));
            assert!((got - want).abs() < 0.01, "at {x} m: {got} against {want}");
        }
    }

    #[test]
    fn warm_up_is_that_of_the_series() {
        // Expected: 4000-term cosine series of the rod (Cole, Beck, Haji-Sheikh, Litkouhi 2011, case X22 with a fin
        // term), at 1800 s.
        let mut slab = rod(150);
        slab.prepare(5.0);
        for _ in 0..360 {
            slab.step(0.0);
        }
        for (x, want) in [(0.04, 9.657_851), (0.08, 5.118_191), (0.10, 1.823_756), (0.15, 0.078_164)] {
            let got = at(&slab, x);
            assert!((got - want).abs() < 0.03, "at {x} m: {got} against {want}");
        }
    }

    #[test]
    fn every_joule_is_accounted_for() {
        let mut slab = rod(60);
        slab.head_w_k.fill(0.02);
        slab.along_w_k[59] = 0.05;
        slab.prepare(5.0);
        let start = slab.held_j();
        for step in 0..5000_u32 {
            slab.step(20.0 + f64::from(step % 7));
        }
        let error = slab.held_j() - start - slab.released_j + slab.lost_j;
        assert!(error.abs() < 1.0e-6 * slab.released_j, "{error} J of {}", slab.released_j);
    }

    #[test]
    fn steps_of_any_length_stay_bounded() {
        for dt in [0.1, 5.0, 600.0, 86_400.0] {
            let mut slab = rod(60);
            slab.prepare(dt);
            for _ in 0..500 {
                slab.step(0.0);
                assert!(slab.temp_c.iter().all(|t| t.abs() < 40.0), "dt {dt}");
            }
        }
    }
}
