use super::*;
use crate::body::Physics;
use crate::dice::Dice;
use crate::modes::Modes;
use crate::prior::{INTO_NEST, Prior, SHARED, from_log, to_log};
use crate::shelf::{Band, Cover, Material, NestKind, Pad, PadPlace};
use alloc::string::String;
use proptest::prelude::*;

const ROOM: Room = Room { usual_c: 21.0, swing_k: 4.0, warm_c: 30.0 };

fn pad(from_mm: f64, to_mm: f64, rated_w: f64) -> Pad {
    Pad {
        id: None,
        span: Stretch { from_mm, to_mm },
        rated_w,
        drive: None,
        thermostat_c: None,
        thermostat_at_mm: None,
        place: PadPlace::Under,
    }
}

fn nest(pads: Vec<Pad>) -> Nest {
    Nest {
        id: String::from("beech"),
        kind: NestKind::Nest,
        joined_to: None,
        length_mm: 200.0,
        width_mm: Some(100.0),
        height_mm: Some(24.0),
        material: Material { conductivity_w_mk: 0.174, density_kg_m3: 717.0, heat_capacity_j_kgk: 1650.0 },
        material_limit_c: Some(60.0),
        cover: Some(Cover::Glass),
        pads,
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        band: Some(Band { low_c: 24.0, high_c: 28.0, limit_c: 34.0, hot_c: 39.0 }),
        humidity_pct: None,
        probes: Vec::new(),
        room: None,
        seasons: Vec::new(),
        since: None,
        degree_days_above_c: None,
    }
}

fn ask(nest: &Nest) -> Question<'_> {
    Question::of(nest, ROOM)
}

fn planned(nest: &Nest) -> Plan {
    plan(&ask(nest)).expect("a nest with a pad")
}

/// A rod of both layers, so closely tied that they are one.
fn rod(length_mm: f64, pad: Stretch, diffusivity_mm2_s: f64, loss_per_s: f64, gain_k_s: f64) -> Scene {
    let physics = Physics {
        diffusivity_mm2_s,
        base_loss_per_s: loss_per_s,
        gallery_loss_per_s: loss_per_s,
        base_exchange_per_s: 1.0,
        gallery_exchange_per_s: 1.0,
        end_loss: 1e-9,
        pad_lag_s: 1e-3,
        contact_lag_s: 1e-3,
        // The pad warms the base alone.
        gain_k_s: alloc::vec![2.0 * gain_k_s],
    };
    let log = to_log(&physics);
    Scene {
        prior: Prior { sd: alloc::vec![0.1; log.len()], log, colony_k_s_w: 0.0 },
        together: &[],
        base_j_m2k: 1.0,
        face_m2k_w: (1e-9, 0.1),
        looks: Looks { judged: pad, mean: pad, hold_mm: None },
        axis: Axis { length_mm, wall_mm: 0.0, blur_mm: 0.0, pads: alloc::vec![pad] },
    }
}

/// R1: L 0.30 m, 0.12 × 0.04 m, k 0.35, ρ 800, c 1000, h 8, 3 W on [0, 0.08] m, ends insulated (fin equation with a
/// source, Incropera §3.6; Carslaw & Jaeger §4.2; closed form, series and Crank–Nicolson agree).
fn r1() -> Scene {
    rod(300.0, Stretch { from_mm: 0.0, to_mm: 80.0 }, 0.4375, 6.666_667e-4, 3.0 / (0.0048 * 0.08) / (800.0 * 1000.0))
}

#[test]
fn heat_reaches_as_far_as_the_fin_equation_says() {
    // 1/m = √(kA/hP), Incropera §3.6, for four bars: softwood, wet plaster, aerated concrete, aluminium.
    for (k, h, p, a, want_mm) in [
        (0.11, 8.0, 0.24, 0.002, 10.704_360),
        (0.45, 9.0, 0.30, 0.005, 28.867_513),
        (0.16, 8.0, 0.38, 0.006, 17.770_466),
        (200.0, 8.0, 0.206, 0.0003, 190.808_194),
    ] {
        let rho_c = 1e6;
        let scene = rod(300.0, r1().axis.pads[0], k / rho_c * 1e6, h * p / (rho_c * a), 1.0);
        let got = decay_mm(&from_log(&scene.prior.log));
        assert!((got - want_mm).abs() < 1e-3 * want_mm, "{got} for {want_mm}");
    }
    // R1 for other conductivities.
    for (k, want_mm) in [(0.2, 19.365), (0.5, 30.619), (1.0, 43.301), (5.0, 96.825)] {
        let scene = rod(300.0, r1().axis.pads[0], k / 0.8, 6.666_667e-4, 1.0);
        let got = decay_mm(&from_log(&scene.prior.log));
        assert!((got - want_mm).abs() < 0.01, "k {k}: {got} for {want_mm}");
    }
}

#[test]
fn a_tenth_of_the_rise_is_left_where_the_rods_profile_says() {
    // R1's steady profile: 14.003 K at the pad's insulated end, 3.348 545 K at 100 mm, from there e^(−x/25.617 mm).
    let scene = r1();
    let fan = scene.fan();
    let rise = fan.median.profile(&fan.median.rest);
    let at_mm: Vec<f64> = (0..GRID).map(|i| 300.0 * i as f64 / (GRID - 1) as f64).collect();
    let want = 100.0 + 25.617 * libm::log(3.348_545 / 1.400_346);
    let got = warmed(&at_mm, &rise, 0.1);
    assert!(got.from_mm.abs() < 1e-9 && (got.to_mm - want).abs() < 0.3, "{got:?} for {want}");
    let (mean, hottest) = (fan.median.mean(&fan.median.rest), fan.median.judged(&fan.median.rest));
    // Mean over the pad: (q″ − what leaves by its edge)/hP; its hottest point is the insulated end.
    assert!((hottest - 14.003_464).abs() < 0.03 && mean < hottest, "{hottest} {mean}");
}

#[test]
fn a_lumped_body_warms_up_as_a_first_order_lag() {
    // 1 − e^(−t/τ) at t/τ = 0.5, 1, 2, 3 (published table), and 0.9 after τ ln 10.
    let scene = rod(300.0, Stretch { from_mm: 0.0, to_mm: 300.0 }, 0.4375, 1.0 / 1500.0, 1e-3);
    let fan = scene.fan();
    let body = &fan.median;
    for (share, want_tau) in
        [(0.393_469, 0.5), (0.632_121, 1.0), (0.864_665, 2.0), (0.950_213, 3.0), (0.9, core::f64::consts::LN_10)]
    {
        let got = body.until(&body.held(0.0), share * body.mean(&body.rest), |h| body.mean(h)).expect("reached");
        assert!((got / 1500.0 - want_tau).abs() < 0.004, "{share}: {got} s");
    }
    assert_eq!(body.until(&body.rest, 0.5 * body.mean(&body.rest), |h| body.mean(h)), Some(0.0));
    assert_eq!(body.until(&body.held(0.0), 1.01 * body.mean(&body.rest), |h| body.mean(h)), None);
}

#[test]
fn a_lumped_body_follows_the_rooms_day_as_a_first_order_lag() {
    // Amplitude 1/√(1 + (ωτ)²), late by atan(ωτ)/ω.
    for tau_s in [1500.0, 20_000.0] {
        let scene = rod(300.0, Stretch { from_mm: 0.0, to_mm: 300.0 }, 0.4375, 1.0 / tau_s, 1e-3);
        let fan = scene.fan();
        let got = swing(&fan.median, &fan, 4.0);
        let turn = 2.0 * core::f64::consts::PI / DAY_S * tau_s;
        let want_k = 4.0 / libm::sqrt(1.0 + turn * turn);
        let want_s = libm::atan(turn) * tau_s / turn;
        assert!((got.brood_k - want_k).abs() < 0.02 * want_k, "{got:?} for {want_k} K");
        assert!((got.late_s - want_s).abs() < 1.5 * DAY_STEP_S, "{got:?} for {want_s} s");
    }
}

/// How much of a sudden change of the room is still to come at `x_mm` after `after_s`, through the ends alone.
fn left(length_mm: f64, end_loss: f64, x_mm: f64, after_s: f64) -> f64 {
    let mut physics = from_log(&rod(length_mm, r1().axis.pads[0], 0.4375, 1e-12, 1e-3).prior.log);
    physics.end_loss = end_loss;
    let axis = Axis { length_mm, wall_mm: 0.0, blur_mm: 0.0, pads: alloc::vec![r1().axis.pads[0]] };
    let modes = Modes::new(length_mm, end_loss, 300);
    let sudden = Body::on(modes.clone(), &axis, &physics, 1e-6);
    let long = Body::on(modes, &axis, &physics, after_s);
    let (mut heat, mut out) = (sudden.cold(), alloc::vec![0.0; 300]);
    sudden.advance(&mut heat, &[0.0], -1.0);
    long.advance(&mut heat, &[0.0], 0.0);
    long.gallery(&heat, &mut out);
    long.modes.at(x_mm).zip(&out).map(|(p, a)| p * a).sum()
}

#[test]
fn the_rooms_changes_enter_by_the_ends_as_in_a_plane_wall() {
    // Plane wall of half-thickness L/2 with Bi = 1 (Incropera §5.5): θ* at the centre and at the surface by Fourier
    // number, from the full series.
    for (fo, centre, surface) in [
        (0.1, 0.993_108, 0.723_577),
        (0.5, 0.772_526, 0.504_522),
        (1.0, 0.533_859, 0.348_177),
        (2.0, 0.254_668, 0.166_091),
    ] {
        let after_s = fo * 50.0 * 50.0 / 0.4375;
        for (x_mm, want) in [(50.0, centre), (0.0, surface), (100.0, surface)] {
            let got = left(100.0, 2.0, x_mm, after_s);
            assert!((got - want).abs() < 2e-4, "Fo {fo}, {x_mm} mm: {got} for {want}");
        }
    }
}

#[test]
fn a_sudden_change_at_an_end_travels_as_into_a_semi_infinite_solid() {
    // erfc(x/2√(αt)), Carslaw & Jaeger §2.5: a film so good that the end takes the room's temperature at once.
    for (x_mm, after_s, want) in [(20.0, 600.0, 0.382_733), (20.0, 3600.0, 0.721_580), (50.0, 3600.0, 0.372_998)] {
        let got = 1.0 - left(1000.0, 1e6, x_mm, after_s);
        assert!((got - want).abs() < 1e-3, "{x_mm} mm, {after_s} s: {got} for {want}");
    }
}

#[test]
fn a_nest_without_a_pad_has_no_plan_and_missing_limits_name_no_power() {
    assert_eq!(plan(&ask(&nest(Vec::new()))), None);
    let full = nest(alloc::vec![pad(0.0, 60.0, 5.0)]);
    for (brood, material) in [(true, false), (false, true), (true, true)] {
        let mut some = full.clone();
        if brood {
            some.band = None;
        }
        if material {
            some.material_limit_c = None;
        }
        let plan = planned(&some);
        assert_eq!(plan.power, Power::Missing { brood, material });
        assert_eq!((plan.worst.brood.is_none(), plan.worst.mat.is_none()), (brood, material));
    }
    let hot = Question { room: Room { warm_c: 35.0, ..ROOM }, ..ask(&full) };
    assert_eq!(plan(&hot).map(|p| p.power), Some(Power::None));
}

#[test]
fn a_strong_pad_passes_the_limits_and_says_when_and_a_thermostat_is_held_where_it_sits() {
    let mut strong = nest(alloc::vec![pad(0.0, 60.0, 5.0)]);
    let plan = planned(&strong);
    let brood = plan.worst.brood.expect("a limit");
    let (soonest, likely) = (brood.soonest_s.expect("passed"), brood.likely_s.expect("passed"));
    assert!(0.0 < soonest && soonest < likely && likely < 7200.0, "{brood:?}");
    // 5 W on 60 × 100 mm are 833 W/m²: strong. The base under the pad is hotter than any gallery.
    assert!(plan.worst.mat_c.mid > plan.worst.brood_c.mid + 20.0, "{:?}", plan.worst.mat_c);
    assert!(plan.swing.brood_k > 3.5 && plan.swing.brood_k < 4.0, "{:?}", plan.swing);
    strong.pads[0].thermostat_c = Some(31.0);
    strong.pads[0].thermostat_at_mm = Some(50.0);
    let held = planned(&strong).in_use.expect("a thermostat");
    let at = held.profile_c[GRID / 4];
    assert!((at.mid - 31.0).abs() < 1e-6 && at.high - at.low < 1e-6, "{at:?}");
    assert!(held.duty.low < held.duty.mid && held.night_day.0 > held.night_day.1, "{held:?}");
    // A weak one never reaches what it is held at, and never passes a limit.
    let weak = planned(&nest(alloc::vec![pad(0.0, 60.0, 0.01)]));
    assert!(weak.in_use.expect("a band").duty.mid > 1.0);
    assert_eq!(weak.worst.brood.expect("a limit").soonest_s, None);
}

/// A lumped body falls as e^(−t/τ) from where it was held (a first-order lag); the pad's own lag makes it a little later.
#[test]
fn without_heat_a_nest_falls_below_its_band_as_the_body_that_is_simulated_does() {
    let bare = nest(Vec::new());
    let nest = nest(Vec::from([pad(0.0, 80.0, 6.0)]));
    let told = cooling(&ask(&nest)).expect("a nest with pad and band");
    assert!((told.end_c - 19.0).abs() < 1e-12 && (told.low_c - 24.0).abs() < 1e-12);
    let when = told.below_s.expect("the room is colder than the band");
    assert!(when.low < when.mid && when.mid < when.high, "{when:?}");
    // The very body at the prior's medians, step by step with its pads off.
    let scene = scene(&nest, &Faces::standing(&nest), &[]);
    let fan = scene.fan();
    let median = &fan.median;
    let mut heat = median.held(duty(median, 26.0, 19.0).min(1.0));
    let mut steps = 0;
    while 19.0 + median.mean(&heat) >= 24.0 {
        median.body.advance(&mut heat, &[0.0], 0.0);
        steps += 1;
    }
    let simulated_s = f64::from(steps) * median.body.step_s();
    assert!((when.mid - simulated_s).abs() <= median.body.step_s(), "{} s told, {simulated_s} s", when.mid);
    // A warmer room leaves more time, or all of it; what is held warmer, too.
    let at = |usual_c: f64, held_c: f64| {
        let room = Room { usual_c, ..ROOM };
        cooling(&Question { held_c: Some(held_c), room, ..ask(&nest) }).and_then(|told| told.below_s)
    };
    assert!(at(23.0, 26.0).expect("still colder").mid > when.mid && at(21.0, 27.0).expect("as above").mid > when.mid);
    assert_eq!(at(26.0, 26.0), None);
    assert_eq!(at(21.0, 23.0).map(|when| when.mid < 1e-6), Some(true), "held below the band");
    assert_eq!(cooling(&ask(&bare)), None);
}

#[test]
fn a_short_pad_under_a_very_long_nest_is_seen() {
    let long = Nest { length_mm: 5000.0, ..nest(alloc::vec![pad(0.0, 60.0, 5.0)]) };
    let short = planned(&nest(alloc::vec![pad(0.0, 60.0, 5.0)]));
    let got = planned(&long);
    let off = got.standing.brood_c.mid / short.standing.brood_c.mid - 1.0;
    assert!(off.abs() < 0.02, "{:?} for {:?}", got.standing.brood_c, short.standing.brood_c);
}

/// The intervals are an approximation to first order: drawn nests must agree with them.
#[test]
fn nine_of_ten_nests_drawn_from_the_prior_lie_within_the_intervals() {
    let nest = nest(alloc::vec![pad(0.0, 60.0, 5.0)]);
    let mut dice = Dice(7);
    for (faces, together) in [
        (Faces::standing(&nest), &[][..]),
        (Faces { under_w_m2k: 2.0, over_w_m2k: 2.0, ends_w_m2k: 2.0, all_in: true }, LOSSES),
    ] {
        let scene = scene(&nest, &faces, together);
        let fan = scene.fan();
        let brood = |m: &Made| m.judged(&m.rest);
        let face = |m: &Made| m.face(&m.rest);
        let warm = |m: &Made| m.until(&m.held(0.0), WARM * m.mean(&m.rest), |h| m.mean(h)).unwrap_or(0.0);
        let far = |m: &Made| decay_mm(&m.physics);
        let values: [&dyn Fn(&Made) -> f64; 4] = [&brood, &face, &warm, &far];
        let uppers = [fan.upper(brood), fan.upper(face)];
        let draws: Vec<Made> = (0..400)
            .map(|_| {
                let joint = dice.normal();
                let own: Vec<f64> = scene.prior.sd.iter().map(|_| dice.normal()).collect();
                let mut drawn = scene.clone();
                for (i, log) in drawn.prior.log.iter_mut().enumerate() {
                    *log += scene.prior.sd[i] * if together.contains(&i) { joint } else { own[i] };
                }
                drawn.face_m2k_w.0 *= libm::exp(FACE_SD * dice.normal());
                drawn.fan().median
            })
            .collect();
        for (i, (what, value)) in ["brood", "face", "warm-up", "decay"].iter().zip(values).enumerate() {
            let all: Vec<f64> = draws.iter().map(value).collect();
            let interval = fan.likely(value);
            let high = uppers.get(i).map_or(interval.high, value);
            let share = |f: &dyn Fn(f64) -> bool| all.iter().filter(|v| f(**v)).count() as f64 / all.len() as f64;
            let (above, within) = (share(&|v| v > high), share(&|v| v >= interval.low && v <= interval.high));
            assert!((0.85..0.95).contains(&within), "{what}: {within} within {interval:?}");
            assert!((0.02..0.08).contains(&above), "{what}: {above} above {high}");
        }
    }
}

fn any_nest() -> impl Strategy<Value = Nest> {
    let body = (60.0..600.0_f64, 40.0..250.0_f64, 6.0..80.0_f64);
    let material = (0.04..1.2_f64, 100.0..2500.0_f64, 750.0..1800.0_f64);
    let heat = (0.0..0.7_f64, 0.1..0.3_f64, 0.2..12.0_f64);
    let brood = (0.0..0.7_f64, 0.05..0.3_f64);
    (body, material, heat, brood, 0..4_usize).prop_map(
        |((l, w, h), (k, rho, c), (from, wide, watts), (b, bw), cover)| Nest {
            length_mm: l,
            width_mm: Some(w),
            height_mm: Some(h),
            material: Material { conductivity_w_mk: k, density_kg_m3: rho, heat_capacity_j_kgk: c },
            cover: [None, Some(Cover::Open), Some(Cover::Glass), Some(Cover::Lid)][cover],
            brood: Some(Stretch { from_mm: b * l, to_mm: (b + bw) * l }),
            ..nest(alloc::vec![pad(from * l, (from + wide) * l, watts)])
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, ..ProptestConfig::default() })]

    /// At rest, what the pad gives is what both layers and both ends give off.
    #[test]
    fn what_goes_in_comes_out(nest in any_nest(), covered in any::<bool>()) {
        let faces = Faces { under_w_m2k: 2.0, over_w_m2k: 2.0, ends_w_m2k: 2.0, all_in: true };
        let scene = scene(&nest, &if covered { faces } else { Faces::standing(&nest) }, &[]);
        let fan = scene.fan();
        let (m, p) = (&fan.median, &fan.median.physics);
        let mut base = alloc::vec![0.0; m.body.modes.len()];
        let mut gallery = base.clone();
        m.body.base(&m.rest, &mut base);
        m.body.gallery(&m.rest, &mut gallery);
        let body = Stretch { from_mm: -WALL_MM, to_mm: nest.length_mm + WALL_MM };
        let whole: Vec<f64> = m.body.modes.mean_over(body).collect();
        let ends: Vec<f64> = m.body.modes.at(body.from_mm).zip(m.body.modes.at(body.to_mm)).map(|(a, b)| a + b).collect();
        // Per heat capacity of the base; the galleries hold less by the ratio of the exchanges.
        let ratio = p.base_exchange_per_s / p.gallery_exchange_per_s;
        let through_ends = p.diffusivity_mm2_s * p.end_loss / body.length_mm();
        let out = body.length_mm() * (p.base_loss_per_s * dot(&whole, &base) + ratio * p.gallery_loss_per_s * dot(&whole, &gallery))
            + through_ends * (dot(&ends, &base) + ratio * dot(&ends, &gallery));
        let into = p.gain_k_s[0] * nest.pads[0].span.length_mm();
        prop_assert!((out / into - 1.0).abs() < 0.01, "{out} for {into}");
        // In watts: the label's, as far as they go into the nest.
        let watts = into * 1e-3 * base_j_m2k(&nest) * nest.width_mm.unwrap_or(0.0) * 1e-3;
        let share = watts / nest.pads[0].rated_w;
        prop_assert!((share - if covered { 1.0 } else { INTO_NEST }).abs() < 1e-9, "{share}");
    }

    #[test]
    fn rises_are_proportional_to_the_power_and_covering_never_cools(nest in any_nest(), more in 1.1..4.0_f64) {
        let one = planned(&nest);
        let mut stronger = nest.clone();
        stronger.pads[0].rated_w *= more;
        let two = planned(&stronger);
        let rise = |c: f64| c - ROOM.warm_c;
        let pairs = |a: &Stuck, b: &Stuck| [(a.brood_c, b.brood_c), (a.mat_c, b.mat_c)];
        for (a, b) in pairs(&one.worst, &two.worst).into_iter().chain(pairs(&one.standing, &two.standing)) {
            for (a, b) in [(a.low, b.low), (a.mid, b.mid), (a.high, b.high)] {
                prop_assert!((rise(b) / rise(a) - more).abs() < 1e-6 * more, "{a} {b}");
            }
            prop_assert!(a.low <= a.mid && a.mid <= a.high && b.mid > a.mid);
        }
        for (cool, hot) in pairs(&one.standing, &one.worst) {
            prop_assert!(hot.mid >= cool.mid && hot.high >= cool.high, "{cool:?} {hot:?}");
        }
        for (cool, hot) in one.standing.profile_c.iter().zip(&one.worst.profile_c) {
            prop_assert!(hot.mid >= cool.mid - 1e-6, "{cool:?} {hot:?}");
        }
    }

    /// A pad of the largest power comes just to the limit, and its worst case passes none.
    #[test]
    fn the_largest_power_is_the_largest(nest in any_nest()) {
        let Power::AtMost { watts, .. } = planned(&nest).power else { panic!("both limits are given") };
        let with = |watts: f64| {
            let mut tried = nest.clone();
            tried.pads[0].rated_w = watts;
            planned(&tried).worst
        };
        let below = with(0.999 * watts);
        prop_assert!(below.brood_c.high < 34.0 && below.mat_c.high < 60.0, "{below:?}");
        prop_assert_eq!((below.brood.and_then(|b| b.soonest_s), below.mat.and_then(|b| b.soonest_s)), (None, None));
        let above = with(1.001 * watts);
        prop_assert!(above.brood_c.high > 34.0 || above.mat_c.high > 60.0, "{above:?}");
    }

    #[test]
    fn rest_is_where_a_long_stay_leads(nest in any_nest()) {
        let scene = scene(&nest, &Faces::standing(&nest), &[]);
        let fan = scene.fan();
        let m = &fan.median;
        let mut heat = m.held(0.0);
        for _ in 0..6000 {
            m.body.advance(&mut heat, &[1.0], 0.0);
        }
        for (a, b) in m.profile(&heat).iter().zip(m.profile(&m.rest)) {
            prop_assert!((a - b).abs() < 1e-6 * (1.0 + b.abs()), "{a} {b}");
        }
        prop_assert!((m.face(&heat) / m.face(&m.rest) - 1.0).abs() < 1e-6);
        prop_assert!(m.face(&m.rest) > m.judged(&m.rest));
    }
}

#[test]
fn every_parameter_moves_something() {
    let nest = nest(alloc::vec![pad(0.0, 60.0, 5.0)]);
    let alone = scene(&nest, &Faces::standing(&nest), &[]);
    assert_eq!(alone.fan().directions(), SHARED + 2, "the pad's gain and its face too");
    let together = scene(&nest, &Faces::standing(&nest), LOSSES);
    assert_eq!(together.fan().directions(), SHARED, "three losses are one");
}
