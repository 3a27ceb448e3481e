use super::*;
use crate::estimate::Hearing;
use crate::prior::from_log;
use crate::shelf::{Cover, Material, NestKind, Pad, PadPlace, Probe, Stretch};
use crate::time::Timestamp;
use alloc::string::String;

fn nest(places_mm: &[f64]) -> Nest {
    let probe =
        |(i, x): (usize, &f64)| Probe { source: alloc::format!("n:p{i}"), at_mm: *x, offset_k: 0.0, offset_pct: 0.0 };
    let pad = Pad {
        id: None,
        span: Stretch { from_mm: 0.0, to_mm: 60.0 },
        rated_w: 5.0,
        drive: Some(String::from("n:mat")),
        thermostat_c: None,
        thermostat_at_mm: None,
        place: PadPlace::Under,
    };
    Nest {
        id: String::from("beech"),
        kind: NestKind::Nest,
        joined_to: None,
        length_mm: 200.0,
        width_mm: Some(100.0),
        height_mm: Some(24.0),
        material: Material { conductivity_w_mk: 0.174, density_kg_m3: 717.0, heat_capacity_j_kgk: 1650.0 },
        material_limit_c: None,
        cover: Some(Cover::Glass),
        pads: alloc::vec![pad],
        brood: Some(Stretch { from_mm: 40.0, to_mm: 80.0 }),
        band: None,
        humidity_pct: None,
        probes: places_mm.iter().enumerate().map(probe).collect(),
        room: None,
        seasons: Vec::new(),
        since: None,
        degree_days_above_c: None,
    }
}

/// What is known before anything was measured, as a fit.
fn nothing_learned(nest: &Nest) -> Fit {
    let prior = prior(nest);
    let n = nest.probes.len();
    let many = |sd: f64| core::iter::repeat_n(sd, n);
    let sd: Vec<f64> = prior.sd.iter().copied().chain(many(OFFSET_SD_K)).chain(many(PLACE_SD_MM)).collect();
    let sd: Vec<f64> = sd.into_iter().chain(many(PROBE_LAG_S.1)).chain([AIR_SD_K, COLONY_SD_W]).collect();
    let belief = Gaussian::new(&sd, Vec::new());
    let at = Timestamp::from_unix_ms(1_772_323_200_000);
    Fit {
        from: at,
        until: at,
        readings: 0,
        log: prior.log,
        lag_s: alloc::vec![PROBE_LAG_S.0; n],
        mean: belief.mean.clone(),
        triangle: belief.triangle(belief.len()),
        drive: alloc::vec![0.4],
        room_c: 21.0,
        error_k: 0.0,
        trial: None,
        heard_heat: false,
        whole_day: false,
    }
}

#[test]
fn who_has_learned_nothing_says_so_in_handbook_numbers() {
    let nest = nest(&[15.0, 65.0, 190.0]);
    let said = report(&nest, &nothing_learned(&nest)).unwrap();
    assert!(said.known.iter().all(|k| !k.is_told() && (k.left - 1.0).abs() < 1e-9), "{said:?}");
    assert_eq!(said.pairs, []);
    let of = |what: What| said.known.iter().find(|k| k.what == what).unwrap();
    let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-9, "{got} for {want}");
    // What the keeper wrote comes back: the material's conductivity, films as the prior states them, 70 % of 5 W on
    // 60 × 100 mm.
    near(of(What::Conductivity).learned.value, 0.174);
    near(of(What::EndLoss).learned.value, 9.0);
    near(of(What::BaseLoss).learned.value, 1.0 / (1.0 / 4.5 + 0.5 * 0.012 / 0.174));
    near(of(What::PadHeat(0)).learned.value, 0.7 * 5.0 / 0.006);
    // Both layers exchange the same heat, whoever counts it.
    near(of(What::BaseExchange).learned.value, of(What::GalleryExchange).learned.value);
    for k in &said.known {
        assert_eq!(k.prior, k.learned, "{:?}", k.what);
        assert!(k.learned.low <= k.learned.value && k.learned.value <= k.learned.high);
    }
    near(of(What::Place(1)).learned.value, 65.0);
}

/// The posterior of one more look, by formula, against a nest that has that probe.
#[test]
fn what_one_more_probe_would_do_is_what_it_does() {
    let places = [15.0, 190.0];
    let without = nest(&places);
    let said = report(&without, &nothing_learned(&without)).unwrap();
    for candidate in said.candidates.iter().step_by(4) {
        let with = nest(&[places[0], places[1], candidate.at_mm]);
        let got = report(&with, &nothing_learned(&with)).unwrap().brood_sd_k;
        assert!((got - candidate.brood_sd_k).abs() < 1e-6, "{got} for {candidate:?}");
        assert!(candidate.brood_sd_k <= said.brood_sd_k + 1e-12, "more is never less");
    }
    let best = said.best().unwrap();
    assert!((30.0..=90.0).contains(&best.at_mm), "with probes at the ends only it belongs to the brood: {best:?}");
    assert!(best.brood_sd_k < 0.6 * said.brood_sd_k);
    // Where one is already, another tells least.
    let there = said.candidates.iter().find(|c| (c.at_mm - 190.0).abs() < 1e-9).unwrap();
    assert!(there.brood_sd_k > 0.95 * said.brood_sd_k, "{there:?}");
}

#[test]
fn what_is_told_only_together_is_named() {
    let nest = nest(&[15.0, 65.0, 190.0]);
    let mut fit = nothing_learned(&nest);
    let at = |i: usize, j: usize| i * (i + 1) / 2 + j;
    let product = (fit.triangle[at(8, 8)] * fit.triangle[at(1, 1)]).sqrt();
    fit.triangle[at(8, 1)] = 0.97 * product;
    let pairs = report(&nest, &fit).unwrap().pairs;
    assert_eq!(pairs.len(), 1);
    assert_eq!((pairs[0].a, pairs[0].b), (What::BaseLoss, What::PadHeat(0)));
    assert!((pairs[0].correlation - 0.97).abs() < 1e-9);
}

/// A body of the model's own kind, its physics one deviation off the handbook's, heard for a day under a thermostat-like
/// drive: what the fit says of it holds, and is told.
#[test]
fn a_known_body_is_learned_within_what_the_fit_says() {
    let nest = nest(&[15.0, 65.0, 190.0]);
    let begin = Timestamp::from_unix_ms(1_772_323_200_000);
    let prior = prior(&nest);
    let off = [0.5, -0.8, 0.7, 0.4, 0.4, 0.3, 0.5, -0.5, -0.6];
    let log: Vec<f64> = prior.log.iter().zip(prior.sd.iter().zip(off)).map(|(x, (sd, o))| x + o * sd).collect();
    let truth = from_log(&log);
    let mut learner = estimator_of(&nest, (begin, 21.0));
    let body = crate::body::Body::new(&learner.axis, &truth, 20.0, 24);
    let (mut heat, mut amplitudes) = (body.cold(), alloc::vec![0.0; 24]);
    let rows: Vec<Vec<f64>> = learner.places_mm.iter().map(|x| body.modes.at(*x).collect()).collect();
    let mut seen = crate::models::Seen::at_rest(3, 21.0);
    let lag = (PROBE_LAG_S.0, libm::exp(-20.0 / PROBE_LAG_S.0));
    let mut fit = None;
    for step in 1..=5_000_i64 {
        // On for a third of 40 minutes, for two thirds of them in every third hour.
        let part = step % 120;
        let on = part < if (step / 180) % 3 == 0 { 80 } else { 40 };
        let drive = [if on { 1.0 } else { 0.0 }];
        let room_c = 21.0 + 1.5 * libm::sin(step as f64 / 690.0);
        let before_c = 21.0 + 1.5 * libm::sin((step - 1) as f64 / 690.0);
        body.advance(&mut heat, &drive, if step == 1 { 0.0 } else { room_c - before_c });
        body.gallery(&heat, &mut amplitudes);
        learner.advance(&drive, room_c);
        for (p, row) in rows.iter().enumerate() {
            seen.see(p, room_c + dot(row, &amplitudes), lag, 20.0);
            if step % 3 == p as i64 {
                learner.absorb(p, learner.at(), seen.at(p, 1.0), Hearing::All);
            }
        }
        learner.settle();
        fit = learner.take_news().filter(|n| n.refused.is_none()).and_then(|n| n.fit).or(fit);
    }
    let fit = fit.expect("a day brings fits");
    assert!(fit.heard_heat && fit.error_k < 0.05, "off by {} K", fit.error_k);
    let said = report(&nest, &fit).unwrap();
    let unit = Materials::of(&nest);
    for (i, k) in said.known.iter().enumerate().take(prior.log.len()) {
        let want = libm::exp(log[i]) * unit.of_parameter(i);
        let sigmas = libm::log(k.learned.value / want).abs() / (k.left * prior.sd[i]);
        assert!(sigmas < 2.6, "{:?}: {} for {want}, {sigmas:.1} deviations off", k.what, k.learned.value);
    }
    let told = said.known.iter().filter(|k| k.is_told()).count();
    assert!(told >= 6, "only {told} told");
}
