//! How a surface gives heat to a room: free convection that grows with the difference, and radiation.

/// Stefan–Boltzmann constant, W m⁻² K⁻⁴ (CODATA).
const SIGMA: f64 = 5.670_374e-8;
/// Emissivity of wood, plaster, plastics and glass (common practice: 0.9).
const EMISSIVITY: f64 = 0.9;
/// Convection that remains without a difference: air in a room is never quite still, W m⁻² K⁻¹ (no source).
const DRAUGHT_W_M2K: f64 = 0.8;

/// Which way a surface faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Facing {
    /// Up, warm side up.
    Up,
    /// Upright.
    Side,
    /// Down, warm side down.
    Down,
}

/// Film coefficient of a small surface at `surface_c` to a room at `room_c`, W m⁻² K⁻¹.
///
/// Laminar free convection goes with the fourth root of the difference (Incropera, DeWitt et al., eq. 9.27 and 9.30);
/// the constants are those correlations for 50 to 100 mm. Down is half of up (the older eq. 9.32). Radiation is
/// 4 ε σ T³.
pub(crate) fn film_w_m2k(facing: Facing, surface_c: f64, room_c: f64) -> f64 {
    let constant = match facing {
        Facing::Up => 2.5,
        Facing::Side => 2.8,
        Facing::Down => 1.25,
    };
    let mean_k = 0.5 * (surface_c + room_c) + 273.15;
    DRAUGHT_W_M2K + constant * (surface_c - room_c).abs().sqrt().sqrt() + 4.0 * EMISSIVITY * SIGMA * mean_k.powi(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lies_in_the_range_of_small_indoor_objects() {
        // Practical total 8 to 11 W/m2K: convection 3 to 5 plus radiation 5 to 6 (sum of published rows, ISO 6946).
        for facing in [Facing::Up, Facing::Side] {
            let h = film_w_m2k(facing, 26.0, 21.0);
            assert!((8.0..11.0).contains(&h), "{facing:?} {h}");
        }
        assert!(film_w_m2k(Facing::Down, 26.0, 21.0) < film_w_m2k(Facing::Up, 26.0, 21.0));
    }

    #[test]
    fn grows_with_the_difference() {
        assert!(film_w_m2k(Facing::Up, 40.0, 21.0) > film_w_m2k(Facing::Up, 24.0, 21.0));
    }
}
