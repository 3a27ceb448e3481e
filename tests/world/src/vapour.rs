//! Water vapour along the galleries: a source, the room, and walls that drink and give back.

/// Diffusivity of vapour in air, m² s⁻¹ (from memory: 2.5e-5 at 25 °C), three times over for air that stirs and walks.
const DIFFUSION_M2_S: f64 = 7.5e-5;
/// Gas constant of water vapour, J kg⁻¹ K⁻¹ (from memory).
const GAS_J_KGK: f64 = 461.5;
/// Share of the galleries' air changed with the room per second (no source; once in seven minutes).
const EXCHANGE_1_S: f64 = 2.5e-3;
/// Conductance of the water's surface, m³ s⁻¹ (no source; such that the nest lies near 70 %RH).
const WATER_M3_S: f64 = 4.0e-7;
/// Half-width of the water's surface, mm.
const WATER_SD_MM: f64 = 6.0;
/// Film between air and wall, m s⁻¹, the wall's own resistance included (no source).
const WALL_M_S: f64 = 6.0e-4;
/// Depth of wall that takes part within hours, m (no source).
const WALL_DEPTH_M: f64 = 0.000_15;
/// What an open cover multiplies that by (no source).
const OPEN_TIMES: f64 = 8.0;
/// What is spilled beside the water makes its surface so many times as large, and dries within, s (no source).
const SPILL: f64 = 2.0;
/// See [`SPILL`].
const SPILL_TAU_S: f64 = 12.0 * 3600.0;

/// Saturation pressure over water, Pa (Magnus form; Alduchov and Eskridge 1996, J. Appl. Meteor. 35).
pub fn saturation_pa(temp_c: f64) -> f64 {
    610.94 * (17.625 * temp_c / (temp_c + 243.04)).exp()
}

/// The vapour in one nest's galleries.
#[derive(Clone, Debug)]
pub(crate) struct Vapour {
    cell_m: f64,
    /// Vapour density in the air, kg m⁻³.
    density: Vec<f64>,
    /// Relative humidity of the walls, 0 to 1.
    wall: Vec<f64>,
    air_m2: f64,
    wall_m: f64,
    wall_kg_m: f64,
    source: Vec<f64>,
    wetness: f64,
    dry_tau_s: f64,
    work: Vec<(f64, f64)>,
}

/// What a nest's galleries look like to vapour.
pub(crate) struct Galleries {
    pub(crate) cells: usize,
    pub(crate) cell_mm: f64,
    /// Cross-section of the air, m².
    pub(crate) air_m2: f64,
    /// Length of wall around it, m.
    pub(crate) wall_m: f64,
    pub(crate) moisture_kg_m3: f64,
    pub(crate) water_mm: Option<f64>,
    pub(crate) dry_tau_s: f64,
}

/// What is around them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Air {
    /// The room's vapour pressure, Pa, and warmth, °C.
    pub(crate) room: (f64, f64),
    /// The water runs out.
    pub(crate) dry: bool,
    /// The cover is lifted.
    pub(crate) open: bool,
}

fn density(pressure_pa: f64, temp_c: f64) -> f64 {
    pressure_pa / (GAS_J_KGK * (temp_c + 273.15))
}

impl Vapour {
    pub(crate) fn new(g: &Galleries, room_pa: f64, room_c: f64) -> Self {
        let mut source: Vec<f64> = match g.water_mm {
            Some(at) => (0..g.cells)
                .map(|i| {
                    let off = ((i as f64 + 0.5) * g.cell_mm - at) / WATER_SD_MM;
                    (-0.5 * off * off).exp()
                })
                .collect(),
            None => vec![0.0; g.cells],
        };
        let sum: f64 = source.iter().sum();
        if sum > 0.0 {
            source.iter_mut().for_each(|s| *s *= WATER_M3_S / sum);
        }
        Self {
            cell_m: g.cell_mm / 1000.0,
            density: vec![density(room_pa, room_c); g.cells],
            wall: vec![room_pa / saturation_pa(room_c); g.cells],
            air_m2: g.air_m2,
            wall_m: g.wall_m,
            wall_kg_m: g.moisture_kg_m3 * WALL_DEPTH_M * g.wall_m,
            source,
            wetness: 1.0,
            dry_tau_s: g.dry_tau_s,
            work: vec![(0.0, 0.0); g.cells],
        }
    }

    /// Goes `dt_s` on: the air implicitly along the axis, the walls after it.
    pub(crate) fn advance(&mut self, dt_s: f64, temp_c: &[f64], air: Air) {
        let Air { room, dry, open } = air;
        let target = if dry { 0.0 } else { 1.0 };
        // Refilled water wets the nest at once; what was spilled and dry water fade.
        let tau = match (dry, self.wetness > 1.0) {
            (true, _) => self.dry_tau_s,
            (false, true) => SPILL_TAU_S,
            (false, false) => 600.0,
        };
        self.wetness += (target - self.wetness) * (1.0 - (-dt_s / tau).exp());
        let n = self.density.len();
        let dx = self.cell_m;
        let (room_pa, room_c) = room;
        let outside = density(room_pa, room_c);
        let hold = self.air_m2 * dx / dt_s;
        let change = if open { OPEN_TIMES } else { 1.0 } * EXCHANGE_1_S * self.air_m2 * dx;
        let film = WALL_M_S * self.wall_m * dx;
        let link = DIFFUSION_M2_S * self.air_m2 / dx;
        for (i, t) in temp_c.iter().enumerate().take(n) {
            let full = density(saturation_pa(*t), *t);
            let source = self.source[i] * self.wetness;
            let (left, right) = (if i > 0 { link } else { 0.0 }, if i + 1 < n { link } else { 0.0 });
            let mut pivot = hold + change + film + source + left + right;
            let mut load = hold * self.density[i] + change * outside + film * self.wall[i] * full + source * full;
            if i > 0 {
                let (ratio, value) = self.work[i - 1];
                pivot -= left * ratio;
                load += left * value;
            }
            self.work[i] = (right / pivot, load / pivot);
        }
        for i in (0..n).rev() {
            let (ratio, value) = self.work[i];
            let next = if i + 1 < n { self.density[i + 1] } else { 0.0 };
            let full = density(saturation_pa(temp_c[i]), temp_c[i]);
            let air = value + ratio * next;
            // What the air cannot hold settles on the wall.
            let dew = (air - full).max(0.0) * self.air_m2 * dx;
            self.density[i] = air.min(full);
            let capacity = (self.wall_kg_m * dx).max(1.0e-12);
            let rate = film * full / capacity;
            let aim = self.density[i] / full;
            self.wall[i] += (aim - self.wall[i]) * (1.0 - (-rate * dt_s).exp()) + dew / capacity;
            self.wall[i] = self.wall[i].clamp(0.0, 1.0);
        }
    }

    /// Water was poured in, and some of it beside.
    pub(crate) fn spill(&mut self) {
        self.wetness = SPILL;
    }

    /// Vapour pressure in cell `i` at `temp_c`, Pa.
    pub(crate) fn pressure_pa(&self, i: usize, temp_c: f64) -> f64 {
        self.density[i] * GAS_J_KGK * (temp_c + 273.15)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn galleries(water_mm: Option<f64>) -> Galleries {
        Galleries {
            cells: 60,
            cell_mm: 4.0,
            air_m2: 5.0e-4,
            wall_m: 0.1,
            moisture_kg_m3: 80.0,
            water_mm,
            dry_tau_s: 28_800.0,
        }
    }

    fn air(dry: bool) -> Air {
        Air { room: (1100.0, 21.0), dry, open: false }
    }

    #[test]
    fn saturation_agrees_with_the_table() {
        // IAPWS at 20 and 30 C: 2339.2 and 4246.9 Pa; the Magnus form lies within 0.4 %.
        for (t, want) in [(20.0, 2339.2), (30.0, 4246.9)] {
            assert!((saturation_pa(t) / want - 1.0).abs() < 0.004);
        }
    }

    #[test]
    fn without_water_the_galleries_come_to_the_rooms_vapour() {
        let g = galleries(None);
        let mut v = Vapour::new(&g, 1100.0, 21.0);
        let temps: Vec<f64> = (0..60).map(|i| 32.0 - 0.15 * f64::from(i)).collect();
        for _ in 0..40_000 {
            v.advance(20.0, &temps, air(false));
        }
        let outside = density(1100.0, 21.0);
        assert!(v.density.iter().all(|d| (d / outside - 1.0).abs() < 0.01));
    }

    #[test]
    fn water_wets_and_its_end_dries() {
        let g = galleries(Some(170.0));
        let mut v = Vapour::new(&g, 1100.0, 21.0);
        let temps = vec![22.0; 60];
        for _ in 0..20_000 {
            v.advance(20.0, &temps, air(false));
        }
        let wet = v.pressure_pa(50, 22.0);
        assert!(wet > 1400.0 && wet < saturation_pa(22.0), "{wet}");
        for _ in 0..40_000 {
            v.advance(20.0, &temps, air(true));
        }
        assert!(v.pressure_pa(50, 22.0) < 1150.0);
    }
}
