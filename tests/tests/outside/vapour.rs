//! Water vapour.
use crate::near;
use enclosure::psychro::{dew_point_c, saturation_pa, vapour_pa};

/// Saturation over water, Pa: IAPWS SR1-86 (Wagner & Pruß, J. Phys. Chem. Ref. Data 31, 2002), ASHRAE Handbook
/// Fundamentals 2017 ch. 1 eq. 6, and WMO-No. 8 annex 4.B (Magnus), which lies 0.3 % low.
#[test]
fn saturation_is_that_of_iapws_ashrae_and_wmo() {
    let table = [
        (0.0, 611.213, 611.154, 611.200),
        (5.0, 872.530, 872.487, 871.743),
        (10.0, 1228.112, 1227.995, 1226.030),
        (15.0, 1705.677, 1705.448, 1701.672),
        (20.0, 2339.194, 2338.804, 2332.596),
        (25.0, 3169.824, 3169.216, 3160.057),
        (30.0, 4246.920, 4246.030, 4233.724),
        (35.0, 5629.057, 5627.819, 5612.842),
        (40.0, 7385.110, 7383.460, 7367.458),
        (45.0, 9595.338, 9593.220, 9579.710),
        (50.0, 12_352.479, 12_349.856, 12_345.158),
    ];
    for (t, iapws, ashrae, wmo) in table {
        let got = saturation_pa(t);
        near(&format!("IAPWS at {t} °C"), got / iapws, 1.0, 1e-4);
        near(&format!("ASHRAE at {t} °C"), got / ashrae, 1.0, 3e-4);
        near(&format!("WMO at {t} °C"), got / wmo, 1.0, 3.3e-3);
    }
}

/// Dew points, °C, of air at °C and %RH: PsychroLib 2.5.0 (ASHRAE) and CoolProp 8.0.0, above freezing (below, both give
/// the frost point).
#[test]
fn dew_points_are_those_of_two_libraries() {
    let table = [
        (10.0, 80.0, 6.7130, 6.7135),
        (15.0, 65.0, 8.4818, 8.4828),
        (18.0, 30.0, 0.1808, 0.1837),
        (20.0, 50.0, 9.2724, 9.2744),
        (22.0, 90.0, 20.2841, 20.2846),
        (24.0, 55.0, 14.4110, 14.4134),
        (26.0, 70.0, 20.1059, 20.1079),
        (28.0, 60.0, 19.5141, 19.5171),
        (30.0, 45.0, 16.7770, 16.7815),
        (32.0, 80.0, 28.1114, 28.1134),
        (35.0, 25.0, 12.0471, 12.0549),
    ];
    for (t, rh, psychrolib, coolprop) in table {
        let got = dew_point_c(vapour_pa(t, rh)).expect("there is vapour in it");
        near(&format!("PsychroLib at {t} °C, {rh} %"), got, psychrolib, 0.005);
        near(&format!("CoolProp at {t} °C, {rh} %"), got, coolprop, 0.01);
    }
    // Below freezing over supercooled water, as WMO's inverse: −7.50 °C for 5 °C and 40 %, not the frost point −6.64.
    near("5 °C, 40 %", dew_point_c(vapour_pa(5.0, 40.0)).expect("vapour"), -7.5047, 0.05);
}

/// The same vapour at another place of the nest, %RH (ASHRAE's formula; the choice of formula moves it under 0.02 %RH).
#[test]
fn the_same_vapour_elsewhere_is_as_damp_as_the_handbook_says() {
    for (t1, rh1, t2, want) in [
        (22.0, 50.0, 26.0, 39.319_790),
        (22.0, 50.0, 28.0, 34.963_094),
        (26.0, 60.0, 30.0, 47.523_906),
        (28.0, 70.0, 24.0, 88.691_195),
        (30.0, 80.0, 22.0, 128.436_340),
    ] {
        near(&format!("{t1} to {t2} °C"), 100.0 * vapour_pa(t1, rh1) / saturation_pa(t2), want, 0.02);
    }
}

/// A jar over a saturated salt (Greenspan, J. Res. NBS 81A, 1977, table 2: NaCl, KCl, K₂SO₄ at 20, 25 and 30 °C): the
/// dew stands where Clausius and Clapeyron put it: lnφ = −(L/Rᵥ)(1/T_d − 1/T), L = 2.45 MJ/kg, Rᵥ = 461.5 J/(kg K).
#[test]
fn over_a_saturated_salt_dew_falls_where_clausius_and_clapeyron_say() {
    for (t, salts) in [(20.0, [75.47, 85.11, 97.59]), (25.0, [75.29, 84.34, 97.30]), (30.0, [75.09, 83.62, 97.00])] {
        for rh in salts {
            let kelvin = t + 273.15;
            let want = 1.0 / (1.0 / kelvin - 461.5 / 2.45e6 * (rh / 100.0_f64).ln()) - 273.15;
            let got = dew_point_c(vapour_pa(t, rh)).expect("there is vapour in it");
            near(&format!("{t} °C over {rh} %"), got, want, 0.03);
        }
    }
}
