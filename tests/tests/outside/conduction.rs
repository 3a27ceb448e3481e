//! Heat conduction. Formulae: Incropera, DeWitt et al., *Fundamentals of Heat and Mass Transfer*, §3.6 and §5.5 to 5.7;
//! Carslaw & Jaeger, *Conduction of Heat in Solids*, §2.5, §2.9; Cole et al., *Heat Conduction Using Green's
//! Functions*, 2nd ed. 2011, cases X22 and X33. Values evaluated from them independently of this code.
use crate::near;
use enclosure::modes::Modes;
use tests::sums::Rod;

/// A heated stretch so short that it is a place, m.
const PLACE_M: f64 = 0.000_5;

fn rod(k_w_mk: f64, film_w_m2k: f64, round_m: f64, area_m2: f64, length_m: f64, ends_w_m2k: f64) -> Rod {
    Rod { length_m, area_m2, round_m, k_w_mk, rho_c: 1e6, film_w_m2k, ends_w_m2k }
}

/// Rods of copper, aluminium and steel, 5 mm thick, film 100 W m⁻² K⁻¹, infinite (Incropera, example 3.9: 8.3, 5.6 and
/// 1.6 W at 75 K): what flows in at the base.
#[test]
fn long_rods_take_what_the_worked_example_says() {
    for (k, watts, decay_per_m) in
        [(398.0, 8.309_553, 14.177_624), (180.0, 5.588_206, 21.081_852), (14.0, 1.558_476, 75.592_895)]
    {
        let (round, area) = (core::f64::consts::PI * 0.005, core::f64::consts::PI * 0.002_5 * 0.002_5);
        let long = rod(k, 100.0, round, area, 10.0 / decay_per_m, 0.0);
        let base_k = long.settled_k((0.0, PLACE_M), watts, 0.0);
        near(&format!("base of a rod with k {k}"), base_k, 75.0, 0.02 * 75.0);
        let (near_m, far_m) = (0.5 / decay_per_m, 2.0 / decay_per_m);
        let fall = long.settled_k((0.0, PLACE_M), watts, far_m) / long.settled_k((0.0, PLACE_M), watts, near_m);
        near("fall over one and a half decay lengths", fall, (-1.5_f64).exp(), 2e-3);
    }
}

/// Four fins, their heat with an adiabatic tip, and the rise at middle and tip by the rise at the base.
#[test]
fn fins_are_as_warm_as_the_worked_examples_say() {
    // k, h, P, A, L, rise at the base, its heat with an adiabatic tip, rises: adiabatic middle and tip, convective both.
    let fins = [
        ([0.11, 8.0, 0.24, 0.002, 0.20, 10.0], 0.205_524, [8.766_504e-4, 1.537e-7, 8.766_504e-4, 8.64e-8]),
        ([0.45, 9.0, 0.30, 0.005, 0.25, 12.0], 0.935_307, [0.158_018, 4.160_166e-3, 0.157_998, 2.637_440e-3]),
        ([0.16, 8.0, 0.38, 0.006, 0.30, 8.0], 0.432_178, [1.726_723e-3, 7.45e-7, 1.726_723e-3, 3.95e-7]),
        ([200.0, 8.0, 0.206, 0.000_3, 0.30, 8.0], 2.307_786, [4.219_604, 3.184_018, 4.211_251, 3.161_879]),
    ];
    for ([k, h, round, area, length, base_k], watts, rises) in fins {
        let insulated = rod(k, h, round, area, length, 0.0);
        let got = insulated.settled_k((0.0, PLACE_M), watts, 0.0);
        // The heat enters over half a millimetre, not at a face: worth 3 % where the warmth reaches but 11 mm.
        near(&format!("base of the fin with k {k}"), got, base_k, 0.03 * base_k);
        for (ends, middle, tip) in [(0.0, rises[0], rises[1]), (h, rises[2], rises[3])] {
            let fin = rod(k, h, round, area, length, ends);
            // Clear of where the heat enters, the rise there by the formula of the tip.
            let decay = (h * round / (k * area)).sqrt();
            let shape = |x: f64| {
                let left = decay * (length - x);
                left.cosh() + ends / (decay * k) * left.sinh()
            };
            let from = 0.1 * length;
            let scale = base_k * shape(from) / shape(0.0) / fin.settled_k((0.0, PLACE_M), 1.0, from);
            for (x, want) in [(0.5 * length, middle), (length, tip)] {
                let rise = scale * fin.settled_k((0.0, PLACE_M), 1.0, x);
                near(&format!("k {k}, ends {ends}, at {x} m"), rise, want, 5e-3 * want + 2e-4 * base_k);
            }
        }
    }
}

/// The bar that the daemon's model was checked with (closed form, 4000-term series and Crank–Nicolson agree): 3 W on
/// [0, 80] mm of a bar of 0.3 m with insulated ends, and on [20, 100] mm with ends that lose as the side does.
#[test]
fn a_rod_with_a_pad_is_as_warm_as_three_methods_say() {
    let bar = |ends| Rod {
        length_m: 0.3,
        area_m2: 0.0048,
        round_m: 0.32,
        k_w_mk: 0.35,
        rho_c: 8e5,
        film_w_m2k: 8.0,
        ends_w_m2k: ends,
    };
    let settled = [
        (0.0, 14.003_464),
        (0.04, 13.043_901),
        (0.08, 7.310_020),
        (0.1, 3.348_545),
        (0.15, 0.475_558),
        (0.2, 0.067_565),
        (0.3, 0.002_724),
    ];
    for (x, want) in settled {
        near(&format!("settled at {x} m"), bar(0.0).settled_k((0.0, 0.08), 3.0, x), want, 2e-3);
    }
    let later = [
        (600.0, [4.829_059, 4.778_425, 2.414_648, 0.444_323, 0.000_681]),
        (1800.0, [10.162_581, 9.657_851, 5.118_191, 1.823_756, 0.078_164]),
        (3600.0, [12.972_755, 12.122_093, 6.658_191, 2.850_336, 0.286_101]),
        (14_400.0, [14.002_965, 13.043_426, 7.309_610, 3.348_179, 0.475_309]),
    ];
    for (t, wants) in later {
        for (x, want) in [0.0, 0.04, 0.08, 0.1, 0.15].into_iter().zip(wants) {
            let got = bar(0.0).after_k((0.0, 0.08), 3.0, ((t / 60.0) as u32, 60.0), x);
            near(&format!("after {t} s at {x} m"), got, want, 3e-3);
        }
    }
    let open = [
        (0.0, 4.045_720),
        (0.02, 7.385_781),
        (0.06, 11.655_288),
        (0.1, 7.018_642),
        (0.15, 0.996_777),
        (0.2, 0.141_575),
        (0.3, 0.003_601),
    ];
    for (x, want) in open {
        near(&format!("open ends, at {x} m"), bar(8.0).settled_k((0.02, 0.1), 3.0, x), want, 2e-3);
    }
    // Influence in K/W, with the symmetry of a pad in the middle.
    for (pad, wants) in
        [((0.0, 0.08), [4.598_904, 0.158_519, 0.001_199]), ((0.1, 0.2), [0.101_944, 3.351_713, 0.101_944])]
    {
        for (x, want) in [0.02, 0.15, 0.28].into_iter().zip(wants) {
            near(&format!("influence at {x} m"), bar(0.0).settled_k(pad, 1.0, x), want, 1e-3);
        }
    }
}

/// Roots ζ₁…ζ₄ of ζ tan ζ = Bi for a plane wall (Incropera, table 5.1 and app. B.3). A wall whose two faces lose heat is
/// the axis with two equal ends: every other root, halved, at twice the number.
#[test]
fn plane_walls_have_the_roots_of_the_table() {
    let table = [
        (0.01, [0.099_834, 3.144_773, 6.284_776, 9.425_839]),
        (0.1, [0.311_053, 3.173_097, 6.299_059, 9.435_376]),
        (0.5, [0.653_271, 3.292_310, 6.361_620, 9.477_486]),
        (1.0, [0.860_334, 3.425_618, 6.437_298, 9.529_334]),
        (5.0, [1.313_838, 4.033_568, 6.909_596, 9.892_753]),
        (20.0, [1.496_129, 4.491_480, 7.495_412, 10.511_670]),
        (100.0, [1.555_245, 4.665_765, 7.776_374, 10.887_130]),
    ];
    for (bi, wants) in table {
        let modes = Modes::new(100.0, 2.0 * bi, 7);
        for (z, want) in modes.roots().iter().step_by(2).zip(wants) {
            near(&format!("Bi {bi}"), 0.5 * z, want, 1e-6);
        }
    }
}

/// Roots of two convective ends, tan z = 2Bz/(z² − B²) (case X33).
#[test]
fn convective_ends_have_the_roots_of_the_table() {
    let table = [
        (0.5, [0.960_189, 3.431_014, 6.438_197, 9.529_618]),
        (2.0, [1.720_667, 4.057_516, 6.851_237, 9.826_361]),
        (5.0, [2.284_454, 4.761_289, 7.463_676, 10.326_611]),
    ];
    for (b, wants) in table {
        for (z, want) in Modes::new(300.0, b, 4).roots().iter().zip(wants) {
            near(&format!("B {b}"), *z, want, 1e-6);
        }
    }
}

/// A slab of Bi = 1 that cools: what is left at the middle and at the face at Fourier numbers Fo = αt/a² (Heisler's
/// chart is the first term of this series; here the whole series).
#[test]
fn a_slab_cools_as_the_series_says() {
    let half_m = 0.05;
    let k = 0.5;
    let slab = Rod {
        length_m: 2.0 * half_m,
        area_m2: 0.01,
        round_m: 0.4,
        k_w_mk: k,
        rho_c: 1e6,
        film_w_m2k: 0.0,
        ends_w_m2k: k / half_m,
    };
    for (fo, middle, face) in [
        (0.1, 0.993_108, 0.723_577),
        (0.2, 0.950_642, 0.643_391),
        (0.5, 0.772_526, 0.504_522),
        (1.0, 0.533_859, 0.348_177),
        (2.0, 0.254_668, 0.166_091),
    ] {
        let step_s = fo * half_m * half_m / (k / 1e6) / 100.0;
        near(&format!("middle at Fo {fo}"), slab.left_k((100, step_s), half_m), middle, 1e-4);
        near(&format!("face at Fo {fo}"), slab.left_k((100, step_s), 0.0), face, 1e-4);
    }
}

/// A solid that reaches far: its face falls by a kelvin at once, or takes 100 W/m² from then on.
#[test]
fn a_deep_solid_warms_from_its_face_as_the_error_function_says() {
    let deep =
        Rod { length_m: 0.5, area_m2: 0.01, round_m: 0.4, k_w_mk: 0.35, rho_c: 8e5, film_w_m2k: 0.0, ends_w_m2k: 1e5 };
    let insulated = Rod { ends_w_m2k: 0.0, ..deep };
    for (x, t, share, flux_k) in [
        (0.02, 600.0, 0.382_733, 1.381_622),
        (0.02, 3600.0, 0.721_580, 7.884_200),
        (0.05, 3600.0, 0.372_998, 3.275_209),
    ] {
        near(&format!("step at {x} m, {t} s"), 1.0 - deep.left_k((100, t / 100.0), x), share, 1e-3);
        let got = insulated.after_k((0.0, PLACE_M), 100.0 * 0.01, (100, t / 100.0), x);
        near(&format!("flux at {x} m, {t} s"), got, flux_k, 5e-3 * flux_k);
    }
}
