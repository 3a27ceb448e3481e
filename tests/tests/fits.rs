//! The fit of a nest's physics judged in this process against the simulated shelf: no odd night spoils it, a lasting
//! change is learned, and a restart goes on from it.
use enclosure::Core;
use enclosure::estimate::{Fit, FitNews, NotTaken, report};
use tests::quiet::EPOCH_S;
use tests::watched::Watched;
use world::{Event, EventKind, Sample, Value, World, WorldSpec};

const DAY_S: f64 = 86_400.0;
/// The odd night, in days: it ends just before the fit that learns from it.
const NIGHT: std::ops::Range<f64> = 2.95..3.9;

fn day(d: f64) -> f64 {
    EPOCH_S + d * DAY_S
}

/// The demonstration's oak nest alone.
fn oak() -> WorldSpec {
    let mut spec = WorldSpec::demo(EPOCH_S);
    spec.nests.truncate(1);
    spec
}

/// With the cover off from the odd night's beginning until a day.
fn with_lid_off(until: f64) -> WorldSpec {
    let mut spec = oak();
    spec.events.push(Event { kind: EventKind::Lid, nest: 0, from_s: day(NIGHT.start), to_s: day(until) });
    spec
}

/// Root mean square error of the believed profile at this moment, K.
fn error_k(w: &Watched) -> f64 {
    let (truth, now) = (w.truth(0).unwrap(), w.believed(0).unwrap());
    let squares = now.profile.at_mm.iter().zip(&now.profile.mean_c).map(|(x, c)| (c - truth.temp_at(*x)).powi(2));
    (squares.sum::<f64>() / now.profile.at_mm.len() as f64).sqrt()
}

/// What the fits said, and the mean error over the days after the odd night's own, K.
fn live(spec: &WorldSpec, mut bend: impl FnMut(f64, &World, &mut Sample)) -> (Vec<FitNews>, f64) {
    let mut w = Watched::new(spec, 7);
    let mut bend = |world: &World, sample: &mut Sample| {
        let d = (sample.t - EPOCH_S) / DAY_S;
        if sample.unit == "Cel" && &*sample.node == "oak-node" {
            bend(d, world, sample);
        }
    };
    w.advance_with(day(5.0), &mut bend);
    let errors = (21..=28).map(|k| {
        w.advance_with(day(f64::from(k) / 4.0), &mut bend);
        error_k(&w)
    });
    let mean_k = errors.sum::<f64>() / 8.0;
    (w.fits, mean_k)
}

/// What became of the fit of day `d`.
fn of_day(fits: &[FitNews], d: f64) -> Option<NotTaken> {
    let near = |news: &&FitNews| (news.at.unix_s() - day(d)).abs() < 0.3 * DAY_S;
    fits.iter().find(near).expect("a fit of that night").refused
}

#[test]
fn good_nights_are_taken_and_no_odd_night_spoils_what_they_taught() {
    let (fits, good_k) = live(&oak(), |_, _, _| {});
    assert!(fits.iter().all(|news| news.refused.is_none()), "{fits:?}");
    assert!(fits.iter().filter_map(|n| n.fit.as_ref()?.trial).count() >= 4, "from the second day on each is tried");
    let cool_is_moved = |d: f64, world: &World, s: &mut Sample| {
        if NIGHT.contains(&d) && &*s.name == "cool" {
            s.value = Value::Number(world.truth("oak").unwrap().temp_at(140.0));
        }
    };
    let (_, moved_k) = live(&oak(), cool_is_moved);
    let mut n = 0_u32;
    let garbage = |d: f64, _: &World, s: &mut Sample| {
        n += 1;
        if let (true, Value::Number(v)) = (NIGHT.contains(&d), s.value) {
            // A slow wave of 3 K with a saw of half a kelvin on it, each probe out of step with the others.
            s.value = Value::Number(v + 3.0 * (f64::from(n) / 300.0).sin() + f64::from(n * 7919 % 13) / 12.0 - 0.5);
        }
    };
    let (_, garbage_k) = live(&oak(), garbage);
    let (open, open_k) = live(&with_lid_off(NIGHT.end), |_, _, _| {});
    assert_eq!(of_day(&open, 3.92), Some(NotTaken::ForetellsWorse));
    assert_eq!(of_day(&open, 4.92), None, "the night after is taken again");
    for (what, k) in [("moved", moved_k), ("garbage", garbage_k), ("open", open_k)] {
        assert!(k < good_k + 0.1, "{what}: {k:.2} K on the days after, {good_k:.2} K without");
    }
}

#[test]
fn what_stays_changed_is_learned_in_the_second_night() {
    let (fits, changed_k) = live(&with_lid_off(30.0), |_, _, _| {});
    assert_eq!((of_day(&fits, 3.92), of_day(&fits, 4.92)), (Some(NotTaken::ForetellsWorse), None));
    let trial = fits.iter().rev().find_map(|n| n.fit.as_ref()?.trial).unwrap();
    assert!(trial.is_passed() && trial.new_k < 0.25, "{trial:?}");
    assert!(changed_k < 0.45, "{changed_k:.2} K");
}

/// What a daemon does after a stop: the fit in force, then the readings from there on.
#[test]
fn a_kept_fit_spares_a_restart_the_first_days() {
    let mut before = Watched::new(&oak(), 7);
    before.advance(day(3.0));
    let fit: Fit = before.fits.iter().rev().find_map(|n| n.fit.clone()).unwrap();
    assert!(fit.whole_day && fit.heard_heat);
    let live_on = |fit: Option<&Fit>| {
        let mut w = Watched::new(&oak(), 7);
        // The same world, unheard until the restart.
        w.skip(day(3.0));
        if let Some(fit) = fit {
            assert!(w.core().take_up_fit(0, fit, fit.until));
        }
        // The first hour and a half it finds out how warm the nest is.
        let errors = (4..=24).map(|k| {
            w.advance(day(3.0) + f64::from(k) * 1800.0);
            error_k(&w)
        });
        let mean_k = errors.sum::<f64>() / 21.0;
        (mean_k, w.fits.len())
    };
    let ((with_k, fits), (without_k, _)) = (live_on(Some(&fit)), live_on(None));
    assert!(with_k < 0.85 * without_k, "{with_k:.2} K with it, {without_k:.2} K without");
    assert_eq!(fits, 0, "it is no new nest, whose fits come by the hour");
}

#[test]
fn no_fit_is_taken_up_that_is_not_of_this_nest() {
    let mut w = Watched::new(&oak(), 7);
    w.advance(day(1.2));
    let fit = w.fits.iter().rev().find_map(|n| n.fit.clone()).unwrap();
    let nest = w.core().shelf().nests[0].clone();
    let said = report(&nest, &fit).unwrap();
    let wrong: [fn(&mut Fit); 6] = [
        |f| f.log.truncate(3),
        |f| f.log[0] = f64::NAN,
        |f| f.mean.push(0.0),
        |f| f.lag_s[0] = -1.0,
        |f| f.triangle[0] = -1.0,
        // A correlation beyond one.
        |f| f.triangle[1] = 10.0 * (f.triangle[0] * f.triangle[2]).sqrt(),
    ];
    let mut fresh = Core::new(w.core().shelf().clone());
    let before = w.believed(0);
    for spoil in wrong {
        let mut bad = fit.clone();
        spoil(&mut bad);
        assert!(
            !w.core().take_up_fit(0, &bad, bad.until)
                && !fresh.take_up_fit(0, &bad, bad.until)
                && report(&nest, &bad).is_none(),
            "{bad:?}"
        );
    }
    assert_eq!(w.believed(0), before, "nothing was changed");
    assert!(!w.core().take_up_fit(1, &fit, fit.until), "there is no such nest");
    assert_eq!(report(&nest, &fit), Some(said));
}
