//! Water vapour: saturation pressure, dew point, relative humidity elsewhere.

/// Saturation vapour pressure over water, Pa, at `t_c` °C.
///
/// Sonntag, Z. Meteorol. 70 (1990) 340–344: ln(e/hPa) = −6096.9385/T + 16.635794 − 2.711193·10⁻² T
/// + 1.673952·10⁻⁵ T² + 2.433502 ln T, T in K; within 0.01 % of IAPWS over 0 to 50 °C.
pub fn saturation_pa(t_c: f64) -> f64 {
    let t = (t_c + 273.15).max(150.0);
    let ln = -6096.9385 / t + 16.635_794 - 2.711_193e-2 * t + 1.673_952e-5 * t * t + 2.433_502 * libm::log(t);
    100.0 * libm::exp(ln)
}

/// Vapour pressure, Pa, of air at `t_c` °C and `rh_pct` %RH.
pub fn vapour_pa(t_c: f64, rh_pct: f64) -> f64 {
    saturation_pa(t_c) * rh_pct / 100.0
}

/// Dew point over water, °C, at vapour pressure `e_pa`; `None` for dry air.
///
/// Inverse of [`saturation_pa`] by Newton from the Magnus form (WMO-No. 8: 17.62, 243.12).
pub fn dew_point_c(e_pa: f64) -> Option<f64> {
    if !(e_pa > 1.0 && e_pa < 1e5) {
        return None;
    }
    let g = libm::log(e_pa / 611.2);
    let mut t = 243.12 * g / (17.62 - g);
    for _ in 0..4 {
        let e = saturation_pa(t);
        let slope = (saturation_pa(t + 0.01) - e) / 0.01;
        t -= (e - e_pa) / slope;
    }
    Some(t)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of IAPWS SR1-86 (Wagner & Pruß), Pa, at 0, 10 … 50 °C; Sonntag agrees within 0.01 %.
    #[test]
    fn saturation_agrees_with_iapws() {
        for (t, want) in [(10.0, 1228.112), (20.0, 2339.194), (25.0, 3169.824), (30.0, 4246.920), (40.0, 7385.110)] {
            let got = saturation_pa(t);
            assert!((got / want - 1.0).abs() < 1.2e-4, "{t} °C: {got} for {want}");
        }
    }

    /// Relative humidity at the other end for equal vapour (ASHRAE column, Handbook Fundamentals 2017 ch. 1 eq. 6).
    #[test]
    fn the_same_vapour_elsewhere() {
        for (t1, rh1, t2, want) in [(22.0, 50.0, 26.0, 39.319_790), (28.0, 70.0, 24.0, 88.691_195)] {
            let got = 100.0 * vapour_pa(t1, rh1) / saturation_pa(t2);
            assert!((got - want).abs() < 0.02, "{got} for {want}");
        }
    }

    #[test]
    fn dew_point_undoes_saturation() {
        for t in [-5.0, 0.5, 12.0, 24.0, 38.0] {
            assert!((dew_point_c(saturation_pa(t)).unwrap() - t).abs() < 1e-6);
        }
        assert_eq!(dew_point_c(f64::NAN), None);
    }
}
