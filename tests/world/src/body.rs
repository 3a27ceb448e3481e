//! A nest as a stack of layers: a board, the pad or the gap beside it, the base, the galleries, the cover.
use crate::film::{Facing, film_w_m2k};
use crate::heat::Slab;
use crate::rng::Rng;
use crate::spec::{Cover, NestSpec, PadSpec};

/// Longest cell along the axis, mm.
const CELL_MM: f64 = 4.0;
/// Layers, from below.
const BOARD: usize = 0;
const PAD: usize = 1;
const BASE: usize = 2;
const BASE_LAYERS: usize = 3;
const GALLERY: usize = BASE + BASE_LAYERS;
const GALLERY_LAYERS: usize = 2;
const COVER: usize = GALLERY + GALLERY_LAYERS;
const LAYERS: usize = COVER + 1;

/// The foamed board beneath: thickness m, W m⁻¹ K⁻¹, J m⁻³ K⁻¹ (common practice, no source).
const BOARD_LAYER: Sheet = Sheet { thick_m: 0.010, k_w_mk: 0.045, rho_c: 1.2e5 };
/// A heating foil between two films (no source).
const FOIL: Sheet = Sheet { thick_m: 0.0012, k_w_mk: 0.25, rho_c: 1.8e6 };
/// The gap beside it: still air and radiation.
const GAP: Sheet = Sheet { thick_m: 0.0012, k_w_mk: 0.035, rho_c: 1.2e3 };
/// Effective conductivity of gallery air, radiation across it included, W m⁻¹ K⁻¹ (no source).
const AIR_K_W_MK: f64 = 0.06;
const AIR_RHO_C: f64 = 1.2e3;
/// Film of galleries that lie open, W m⁻² K⁻¹ (common practice: 8 to 11).
const OPEN_W_M2K: f64 = 10.0;
/// Heat capacity of water, J per ml and K.
const WATER_J_MLK: f64 = 4.18;

/// One sheet of one stuff.
#[derive(Clone, Copy, Debug)]
struct Sheet {
    thick_m: f64,
    k_w_mk: f64,
    rho_c: f64,
}

impl Sheet {
    fn half_m2k_w(self) -> f64 {
        0.5 * self.thick_m / self.k_w_mk
    }
}

/// Heat put into a nest during one step.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Heat {
    /// What the pad takes, W.
    pub(crate) pad_w: f64,
    /// Sun, W per m² of cover.
    pub(crate) sun_w_m2: f64,
    /// Water poured in: where (mm), how much a second (ml), how warm (°C).
    pub(crate) pour: Option<(f64, f64, f64)>,
}

/// A nest's body.
#[derive(Clone, Debug)]
pub(crate) struct Body {
    pub(crate) slab: Slab,
    pub(crate) cell_mm: f64,
    /// Cells along the galleries.
    pub(crate) cells: usize,
    /// Cells of solid body beyond either end of them.
    wall: usize,
    width_m: f64,
    layers: [Sheet; LAYERS],
    /// What the galleries are cut from.
    solid: Sheet,
    /// Share of each cell that the pad covers, 0 to 1.
    covered: Vec<f64>,
    /// Share of the colony's heat in each cell.
    brood: Vec<f64>,
    colony_w: f64,
    /// Mean gallery temperature of each cell, °C.
    pub(crate) gallery_c: Vec<f64>,
    pub(crate) air_m2: f64,
}

impl Body {
    pub(crate) fn new(spec: &NestSpec, seed: &Rng, room_c: f64) -> Self {
        let mut rng = seed.fork("body");
        let cells = ((spec.length_mm / CELL_MM).ceil() as usize).max(10);
        let cell_mm = spec.length_mm / cells as f64;
        let numbers = spec.material.numbers();
        let k = numbers.conductivity_w_mk * rng.factor(spec.spread);
        let rho_c = numbers.capacity_j_m3k * rng.factor(spec.spread);
        let air = spec.air_share.clamp(0.0, 1.0);
        let base = Sheet { thick_m: spec.base_mm / 1000.0 / BASE_LAYERS as f64, k_w_mk: k, rho_c };
        let gallery = Sheet {
            thick_m: spec.gallery_mm / 1000.0 / GALLERY_LAYERS as f64,
            k_w_mk: (1.0 - air) * k + air * AIR_K_W_MK,
            rho_c: (1.0 - air) * rho_c + air * AIR_RHO_C,
        };
        let cover = match spec.cover {
            Cover::Glass => Sheet { thick_m: 0.004, k_w_mk: 1.0, rho_c: 1.875e6 },
            Cover::Acrylic => Sheet { thick_m: 0.003, k_w_mk: 0.18, rho_c: 1.77e6 },
            Cover::Cork => Sheet { thick_m: 0.008, k_w_mk: 0.04, rho_c: 1.8e5 },
        };
        let mut layers = [base; LAYERS];
        layers[BOARD] = BOARD_LAYER;
        layers[PAD] = FOIL;
        layers[GALLERY..COVER].fill(gallery);
        layers[COVER] = cover;
        let span = spec.pad.map_or((0.0, 0.0), |p| (p.from_mm, p.to_mm));
        let wall = (spec.wall_mm.max(0.0) / cell_mm).round() as usize;
        let along = Along { cells: cells + 2 * wall, cell_mm, begins_mm: -(wall as f64) * cell_mm };
        let mut body = Self {
            slab: Slab::new(LAYERS, along.cells, room_c),
            cell_mm,
            cells,
            wall,
            solid: Sheet { thick_m: gallery.thick_m, ..base },
            width_m: spec.width_mm / 1000.0,
            layers,
            covered: along.shares(span),
            brood: along.shares(spec.brood_mm),
            colony_w: spec.colony_w,
            gallery_c: vec![room_c; cells],
            air_m2: spec.width_mm * spec.gallery_mm * 1.0e-6 * air,
        };
        let brood: f64 = body.brood.iter().sum();
        body.brood.iter_mut().for_each(|b| *b /= brood.max(1.0e-9));
        let contact = spec.pad.map_or(0.02, |p: PadSpec| p.contact_m2k_w) * rng.factor(2.0 * spec.spread);
        body.join(contact);
        body
    }

    /// Cells of the whole body along the axis.
    fn row(&self) -> usize {
        self.cells + 2 * self.wall
    }

    /// What layer `layer` is made of at cell `i`: the galleries end at the walls.
    fn sheet(&self, layer: usize, i: usize) -> Sheet {
        let in_wall = i < self.wall || i >= self.wall + self.cells;
        if in_wall && (GALLERY..COVER).contains(&layer) { self.solid } else { self.layers[layer] }
    }

    /// Sets what never changes: capacities and the conductances between cells.
    fn join(&mut self, contact_m2k_w: f64) {
        let dx = self.cell_mm / 1000.0;
        let area = self.width_m * dx;
        let m = self.row();
        for layer in 0..LAYERS {
            for i in 0..m {
                let at = layer * m + i;
                let share = self.covered[i];
                let blend = |f: fn(Sheet) -> f64, s: Sheet| {
                    if layer == PAD { share * f(FOIL) + (1.0 - share) * f(GAP) } else { f(s) }
                };
                let sheet = self.sheet(layer, i);
                self.slab.capacity_j_k[at] = blend(|s| s.rho_c * s.thick_m, sheet) * area;
                if i + 1 < m {
                    self.slab.along_w_k[at] = blend(|s| s.k_w_mk * s.thick_m, sheet) * self.width_m / dx;
                }
                if layer + 1 < LAYERS {
                    let above = self.sheet(layer + 1, i);
                    let pad_half = share * FOIL.half_m2k_w() + (1.0 - share) * GAP.half_m2k_w();
                    let mut resistance = if layer == PAD { pad_half } else { sheet.half_m2k_w() };
                    resistance += if layer + 1 == PAD { pad_half } else { above.half_m2k_w() };
                    if layer == PAD {
                        resistance += contact_m2k_w;
                    }
                    self.slab.up_w_k[at] = area / resistance;
                }
            }
        }
    }

    /// Sets the losses to the room as they are at the present temperatures; `open`: the cover is lifted.
    pub(crate) fn refilm(&mut self, room_c: f64, open: bool, dt_s: f64) {
        let dx = self.cell_mm / 1000.0;
        let (m, top) = (self.row(), dx * self.width_m);
        for layer in 0..LAYERS {
            let sheet = self.layers[layer];
            // Mean of a parabola across the width to its side: a sixth of the width.
            let inside = self.width_m / (6.0 * sheet.k_w_mk);
            let ends = sheet.thick_m * self.width_m;
            for i in 0..m {
                let at = layer * m + i;
                let t = self.slab.temp_c[at];
                let side = film_w_m2k(Facing::Side, t, room_c);
                let mut loss = if layer == PAD { 0.0 } else { 2.0 * sheet.thick_m * dx / (1.0 / side + inside) };
                if layer == BOARD {
                    loss += top / (1.0 / film_w_m2k(Facing::Down, t, room_c) + sheet.half_m2k_w());
                } else if layer == COVER {
                    loss += top / (1.0 / film_w_m2k(Facing::Up, t, room_c) + sheet.half_m2k_w());
                } else if open && layer + 1 == COVER {
                    loss += top * OPEN_W_M2K;
                }
                self.slab.room_w_k[at] = loss;
            }
            let end = |t: f64| ends / (1.0 / film_w_m2k(Facing::Side, t, room_c) + 0.5 * dx / sheet.k_w_mk);
            self.slab.head_w_k[layer] = end(self.slab.temp_c[layer * m]);
            self.slab.along_w_k[layer * m + m - 1] = end(self.slab.temp_c[layer * m + m - 1]);
        }
        self.slab.prepare(dt_s);
    }

    /// One step.
    pub(crate) fn step(&mut self, room_c: f64, heat: Heat) {
        let m = self.row();
        let covered: f64 = self.covered.iter().sum();
        let sun = heat.sun_w_m2 * self.width_m * self.cell_mm / 1000.0;
        for i in 0..m {
            self.slab.source_w[PAD * m + i] = heat.pad_w * self.covered[i] / covered.max(1.0e-9);
            // Half of the sun stays in the cover, half falls on the galleries' floor.
            self.slab.source_w[COVER * m + i] = 0.5 * sun;
            self.slab.source_w[GALLERY * m + i] = 0.5 * sun + self.colony_w * self.brood[i];
        }
        if let Some((at_mm, ml_s, water_c)) = heat.pour {
            let middle = self.wall + ((at_mm / self.cell_mm) as usize).min(self.cells - 1);
            let wet = middle.saturating_sub(2)..(middle + 3).min(m);
            let each = ml_s * WATER_J_MLK / wet.len() as f64;
            for i in wet {
                let at = GALLERY * m + i;
                self.slab.source_w[at] += self.slab.within_step_w_k(at, each) * (water_c - self.slab.temp_c[at]);
            }
        }
        self.slab.step(room_c);
        for (i, c) in self.gallery_c.iter_mut().enumerate() {
            let at = GALLERY * m + self.wall + i;
            *c = 0.5 * (self.slab.temp_c[at] + self.slab.temp_c[at + m]);
        }
    }

    /// Gallery temperature at a place, °C.
    pub(crate) fn gallery_at(&self, at_mm: f64) -> f64 {
        at_place(&self.gallery_c, self.cell_mm, at_mm)
    }

    /// Mean temperature of the pad, °C; without one, of the galleries at the zero end.
    pub(crate) fn pad_c(&self) -> f64 {
        let row = &self.slab.temp_c[PAD * self.row()..(PAD + 1) * self.row()];
        let covered: f64 = self.covered.iter().sum();
        if covered > 0.0 {
            row.iter().zip(&self.covered).map(|(t, c)| t * c).sum::<f64>() / covered
        } else {
            self.gallery_c[0]
        }
    }
}

/// The cells of a body along its axis.
#[derive(Clone, Copy, Debug)]
struct Along {
    cells: usize,
    cell_mm: f64,
    begins_mm: f64,
}

impl Along {
    /// Share of each cell that lies in a span.
    fn shares(self, (from_mm, to_mm): (f64, f64)) -> Vec<f64> {
        (0..self.cells)
            .map(|i| {
                let left = self.begins_mm + i as f64 * self.cell_mm;
                ((to_mm.min(left + self.cell_mm) - from_mm.max(left)) / self.cell_mm).clamp(0.0, 1.0)
            })
            .collect()
    }
}

/// A value between cell centres; flat in the outer half cells.
pub(crate) fn at_place(values: &[f64], cell_mm: f64, at_mm: f64) -> f64 {
    let last = values.len().saturating_sub(1);
    let place = (at_mm / cell_mm - 0.5).clamp(0.0, last as f64);
    let i = place.floor() as usize;
    let next = values[(i + 1).min(last)];
    values[i] + (next - values[i]) * (place - i as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::Material;

    fn body(material: Material) -> Body {
        let spec = NestSpec {
            spread: 0.0,
            ..NestSpec::new("n", material, 240.0).pad(PadSpec::new(0.0, 80.0, 4.0), crate::spec::Control::Off)
        };
        Body::new(&spec, &Rng::new(1), 20.0)
    }

    fn run(body: &mut Body, hours: u32, heat: Heat) {
        for step in 0..hours * 720 {
            if step % 12 == 0 {
                body.refilm(20.0, false, 5.0);
            }
            body.step(20.0, heat);
        }
    }

    #[test]
    fn the_balance_closes_within_a_thousandth() {
        let mut body = body(Material::Plaster);
        let start = body.slab.held_j();
        run(&mut body, 12, Heat { pad_w: 4.0, sun_w_m2: 30.0, pour: Some((150.0, 0.01, 12.0)) });
        let error = body.slab.held_j() - start - body.slab.released_j + body.slab.lost_j;
        assert!(error.abs() < 1.0e-3 * body.slab.released_j, "{error} of {}", body.slab.released_j);
    }

    #[test]
    fn a_quick_pour_cools_a_light_body_to_the_water_and_no_farther() {
        let mut body = body(Material::Cork);
        run(&mut body, 6, Heat { pad_w: 1.0, ..Heat::default() });
        // 20 ml in half a minute.
        for _ in 0..6 {
            body.step(20.0, Heat { pour: Some((40.0, 0.67, 16.0)), ..Heat::default() });
            assert!((15.9..40.0).contains(&body.gallery_at(40.0)), "{}", body.gallery_at(40.0));
        }
        assert!(body.gallery_at(40.0) < 22.0, "{}", body.gallery_at(40.0));
    }

    #[test]
    fn rise_is_nearly_linear_in_power() {
        let rise = |w: f64| {
            let mut b = body(Material::Pine);
            run(&mut b, 24, Heat { pad_w: w, ..Heat::default() });
            b.gallery_at(40.0) - 20.0
        };
        let (one, two) = (rise(1.0), rise(2.0));
        // Films grow with the difference, so twice the power gives a little less than twice the rise.
        let ratio = two / one;
        assert!((1.8..2.0).contains(&ratio), "{one} K then {two} K");
    }

    #[test]
    fn warmth_decays_when_the_pad_is_off() {
        let mut b = body(Material::Oak);
        run(&mut b, 12, Heat { pad_w: 3.0, ..Heat::default() });
        let hot = b.gallery_at(40.0);
        run(&mut b, 12, Heat::default());
        assert!(hot > 26.0 && (b.gallery_at(40.0) - 20.0).abs() < 0.1, "{hot}, {}", b.gallery_at(40.0));
    }

    #[test]
    fn every_material_warms_at_the_pad_and_stays_cool_at_the_far_end() {
        for material in Material::ALL {
            let mut b = body(material);
            run(&mut b, 24, Heat { pad_w: 1.5, ..Heat::default() });
            let (warm, cool) = (b.gallery_at(40.0), b.gallery_at(236.0));
            assert!((22.0..45.0).contains(&warm) && cool < 21.0, "{}: {warm} {cool}", material.name());
            assert!(b.pad_c() > warm, "{}", material.name());
        }
    }
}
