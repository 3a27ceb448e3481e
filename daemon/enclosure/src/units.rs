//! Small helpers for numbers with a unit. Quantities carry their unit at the end of their name (`length_mm`,
//! `power_w`, `diffusivity_mm2_s`); what may be absent or out of range is an `Option`, never a NaN.

/// Stefan–Boltzmann constant, W m⁻² K⁻⁴ (CODATA 2018, exact).
pub const STEFAN_BOLTZMANN_W_M2K4: f64 = 5.670_374_419e-8;

/// Keeps a finite number and drops everything else.
pub fn finite(v: f64) -> Option<f64> {
    v.is_finite().then_some(v)
}
