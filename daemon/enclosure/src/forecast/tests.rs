use super::*;
use crate::body::Axis;
use crate::estimate::Estimator;
use crate::evidence::Saying;
use crate::prior::Prior;
use crate::shelf::Stretch;

fn at(s: f64) -> Timestamp {
    Timestamp::from_unix_ms(1_772_323_200_000 + (s * 1000.0) as i64)
}

/// An invented nest whose prior warms the pad's place about 15 K at full drive, run for ten hours at `drive`.
fn seed(drive: f64, room_c: f64) -> Seed {
    let axis =
        Axis { length_mm: 200.0, wall_mm: 0.0, blur_mm: 0.0, pads: alloc::vec![Stretch { from_mm: 0.0, to_mm: 80.0 }] };
    let physics = crate::body::Physics {
        diffusivity_mm2_s: 0.4,
        base_loss_per_s: 6e-4,
        gallery_loss_per_s: 6e-4,
        base_exchange_per_s: 2e-3,
        gallery_exchange_per_s: 2e-3,
        end_loss: 2.0,
        pad_lag_s: 200.0,
        contact_lag_s: 60.0,
        gain_k_s: alloc::vec![2.4e-2],
    };
    let log = crate::prior::to_log(&physics);
    let prior = Prior { sd: alloc::vec![0.2; log.len()], log, colony_k_s_w: 0.0 };
    let brood = Stretch { from_mm: 50.0, to_mm: 80.0 };
    let mut est = Estimator::new(axis, &prior, alloc::vec![10.0, 70.0, 190.0], brood, (at(0.0), room_c));
    for _ in 0..1800 {
        est.advance(&[drive], room_c);
    }
    est.seed(STEP.s())
}

fn steady(room_c: f64, sd_k: f64, points: usize) -> Vec<(f64, f64)> {
    alloc::vec![(room_c, sd_k); points]
}

fn thermostat() -> Control {
    Control::Thermostat(alloc::vec![(27.8, 28.4); crate::day_shape::BINS], 1.0)
}

#[test]
fn what_goes_on_as_it_is_stays_as_it_is() {
    let seed = seed(0.3, 21.0);
    let room = steady(21.0, 0.0, 36);
    let first = look_ahead(at(0.0), &seed, &[Control::Held(0.3)], false, (21.0, &room), 0.0).brood_c[35];
    let o = look_ahead(at(0.0), &seed, &[Control::Held(0.3)], false, (21.0, &room), first);
    for c in &o.brood_c {
        assert!((c - first).abs() < 0.05, "{c} for {first}");
    }
}

/// A thermostat takes back what a warmer room brings, until it gives nothing any more; then the nest follows the room.
#[test]
fn a_thermostat_holds_until_its_heat_is_used_up() {
    let seed = seed(0.4, 21.0);
    let brood_c = |room_c: f64| {
        let course: Vec<_> = (1..=72).map(|i| (21.0 + (room_c - 21.0) * f64::from(i.min(12)) / 12.0, 0.5)).collect();
        let o = look_ahead(at(0.0), &seed, &[thermostat()], false, (21.0, &course), 26.0);
        (o.brood_c[71], o.brood_sd_k[71].1)
    };
    let ((c21, _), (c24, sd24), (c31, _), (c33, sd33)) = (brood_c(21.0), brood_c(24.0), brood_c(31.0), brood_c(33.0));
    assert!((c24 - c21).abs() < 1.5, "3 K of room moved it by {}", c24 - c21);
    assert!((c33 - c31 - 2.0).abs() < 0.2, "it must follow the room: {}", c33 - c31);
    assert!((c33 - 33.0).abs() < 1.0, "{c33}");
    assert!(sd33 > sd24, "an unheated nest takes over the room's doubt: {sd33} {sd24}");
}

fn outlook(course: &[f64], sd_k: f64) -> Outlook {
    Outlook {
        at: at(0.0),
        brood_c: course.to_vec(),
        brood_sd_k: alloc::vec![(sd_k, sd_k); course.len()],
        room_c: steady(22.0, 1.0, course.len()),
        leaves: None,
    }
}

#[test]
fn leaving_is_told_with_its_hour_and_its_odds() {
    // 1 K an hour from 27 °C: the bound of 30 °C is crossed after three hours.
    let course: Vec<f64> = (1..=72).map(|i| (27.0 + f64::from(i) / 6.0).min(33.0)).collect();
    let d = outlook(&course, 1.0).leaving(true, 30.0, Span::from_h(6), Span::from_min(15));
    assert!((d.about.since(at(0.0)).s() / 3600.0 - 3.0).abs() < 0.2, "{:?}", d.about);
    // ±1.28 K are 1.28 hours.
    assert!((d.from.since(at(0.0)).s() / 3600.0 - 1.72).abs() < 0.2);
    assert!((d.to.unwrap().since(at(0.0)).s() / 3600.0 - 4.28).abs() < 0.2);
    // Three deviations beyond at the end (Φ(3) = 0.99865, Abramowitz & Stegun, table 26.1), sustained a little less.
    assert!(d.probability > 0.99, "{}", d.probability);
    let short = outlook(&course, 1.0).leaving(true, 30.0, Span::from_h(2), Span::from_min(15));
    assert!(short.probability < 0.2, "{}", short.probability);
    let cold = outlook(&course, 1.0).leaving(false, 24.0, Span::from_h(6), Span::from_min(60));
    assert!(cold.probability < 0.01, "{}", cold.probability);
}

#[test]
fn the_normal_distribution_is_the_tables() {
    for (z, p) in [(0.0, 0.5), (1.0, 0.841_344_7), (-1.96, 0.024_997_9), (3.0, 0.998_650_1)] {
        assert!((below(z) - p).abs() < 1e-6, "{z}");
    }
}

/// Feeds a course of probabilities, one a minute, as (from minute, expected maximum over the bound of 30 °C).
fn timeline(parts: &[(i64, f64)], until_min: i64, mean_c: f64) -> Vec<(i64, Verdict)> {
    let band = Band { low_c: 20.0, high_c: 30.0, limit_c: 36.0, hot_c: 40.0 };
    let settings = AlarmSettings::default();
    let mut f = Foresight::default();
    let mut changes: Vec<(i64, Verdict)> = Vec::new();
    for min in 0..until_min {
        let now = at(min as f64 * 60.0);
        if f.is_due(now) {
            let top = parts.iter().rev().find(|(from, _)| *from <= min).map_or(25.0, |p| p.1);
            let mut o = outlook(&alloc::vec![top; 72], 0.5);
            o.at = now;
            f.renew(Some(o), band, &settings);
        }
        let verdict = f.verdicts(now, band, Some(mean_c), &settings)[0].1;
        if changes.last().is_none_or(|c| c.1 != verdict) {
            changes.push((min, verdict));
        }
    }
    changes
}

#[test]
fn a_forecast_must_last_half_an_hour_and_end_for_an_hour() {
    use Verdict::{Ill, Well};
    assert_eq!(timeline(&[(60, 31.0), (80, 25.0)], 200, 26.0), [(0, Well)], "twenty minutes are not enough");
    assert_eq!(timeline(&[(60, 31.0), (200, 25.0)], 400, 26.0), [(0, Well), (90, Ill), (260, Well)]);
    assert_eq!(timeline(&[(60, 31.0), (200, 25.0), (240, 31.0)], 400, 26.0), [(0, Well), (90, Ill)], "it came back");
}

#[test]
fn what_is_true_already_is_no_forecast() {
    assert_eq!(timeline(&[(0, 32.0)], 200, 31.0), [(0, Verdict::Well)]);
}

#[test]
fn an_old_outlook_says_nothing() {
    let band = Band { low_c: 20.0, high_c: 30.0, limit_c: 36.0, hot_c: 40.0 };
    let mut f = Foresight::default();
    let settings = AlarmSettings::default();
    f.renew(Some(outlook(&[25.0; 72], 0.5)), band, &settings);
    assert_eq!(f.verdicts(at(600.0), band, Some(25.0), &settings)[0].1, Verdict::Well);
    assert_eq!(f.verdicts(at(3600.0), band, Some(25.0), &settings)[0].1, Verdict::Unknown);
    assert!(f.outlook().is_none());
}

#[test]
fn it_is_said_when_how_far_and_how_sure() {
    let band = Band { low_c: 20.0, high_c: 30.0, limit_c: 36.0, hot_c: 40.0 };
    let mut f = Foresight::default();
    let settings = AlarmSettings::default();
    let course: Vec<f64> = (1..=72).map(|i| (27.0 + f64::from(i) / 6.0).min(33.0)).collect();
    for min in [0.0, 31.0] {
        let mut o = outlook(&course, 1.0);
        o.at = at(min * 60.0);
        f.renew(Some(o), band, &settings);
        let _ = f.verdicts(at(min * 60.0), band, Some(26.0), &settings);
    }
    let evidence = f.evidence(Alarm::ForecastHot, at(31.0 * 60.0));
    let [
        Saying::Ahead(Ahead::Leaving {
            hot: true,
            bound_c: 30.0,
            about,
            from,
            to: Some(to),
            extreme_c,
            off_k,
            probability,
        }),
        Saying::Ahead(Ahead::RoomByThen { room_c, off_k: room_off_k }),
    ] = evidence.sayings()
    else {
        panic!("{evidence:?}");
    };
    // The mean rises a kelvin an hour from 27 °C, its last hour lagging half of one behind.
    let hours = [from, about, to].map(|span| (span.s() / 3600.0 * 2.0).round() / 2.0);
    assert!(hours[0] < hours[1] && hours[1] < hours[2] && (3.0..=3.5).contains(&hours[1]), "{hours:?}");
    // 80 % of a normal lies within 1.28 deviations.
    assert!((extreme_c - 33.0).abs() < 0.05 && (off_k - 1.28).abs() < 0.05 && *probability > 0.99, "{evidence:?}");
    assert!((room_c - 22.0).abs() < 0.05 && (room_off_k - 1.28).abs() < 0.05, "{evidence:?}");
}
