use super::*;

const DAY_S: f64 = 86_400.0;

fn at(s: f64) -> Timestamp {
    Timestamp::from_unix_ms(1_772_323_200_000 + (s * 1000.0) as i64)
}

fn usual_c(s: f64) -> f64 {
    21.0 + 1.3 * libm::cos(core::f64::consts::TAU * (s / DAY_S - 16.0 / 24.0))
}

/// A room heard every step up to `until_s`, `beyond_k` off its usual day.
fn heard(until_s: f64, beyond_k: impl Fn(f64) -> f64) -> RoomCourse {
    let mut course = RoomCourse::default();
    let steps = (until_s / EVERY.s()) as usize;
    for i in 0..=steps {
        let s = i as f64 * EVERY.s();
        course.note(at(s), usual_c(s) + beyond_k(s));
    }
    course
}

#[test]
fn a_usual_day_is_expected_again() {
    for hour in [0.0, 5.0, 11.0, 17.0, 22.0] {
        let until_s = 3.0 * DAY_S + hour * 3600.0;
        let ahead = heard(until_s, |_| 0.0).ahead(72);
        for (i, (c, sd)) in ahead.iter().enumerate() {
            let want = usual_c(until_s + (i + 1) as f64 * EVERY.s());
            assert!((c - want).abs() < 0.35, "{hour} h, {i}: {c} for {want}");
            assert!(*sd < 2.2, "{sd}");
        }
    }
}

#[test]
fn on_a_first_day_nothing_is_foretold() {
    for hour in [1.0, 9.0, 15.0, 23.0] {
        assert!(heard(hour * 3600.0, |_| 0.0).ahead(36).is_empty(), "{hour} h");
    }
    let ahead = heard(25.0 * 3600.0, |_| 0.0).ahead(36);
    assert_eq!(ahead.len(), 36);
    for (i, (c, _)) in ahead.iter().enumerate() {
        let want = usual_c(25.0 * 3600.0 + (i + 1) as f64 * EVERY.s());
        assert!((c - want).abs() < 0.6, "{i}: {c} for {want}");
    }
}

#[test]
fn a_ramp_of_hours_goes_on_for_some_hours() {
    let from_s = 3.3 * DAY_S;
    let ramp = |s: f64| 2.0 * ((s - from_s) / 3600.0).max(0.0);
    let until_s = from_s + 2.0 * 3600.0;
    let ahead = heard(until_s, ramp).ahead(72);
    let (c, _) = ahead[11];
    let beyond_k = c - usual_c(until_s + 2.0 * 3600.0);
    // 2 K/h for two hours: it goes on, damped, and does not come back.
    assert!((4.4..8.0).contains(&beyond_k), "{beyond_k}");
}

/// An open window: 6 K within 20 minutes. It may stay open, but nobody expects the room to fall on and on; and while it has
/// just been opened most of that is expected back.
#[test]
fn a_window_is_no_trend() {
    let from_s = 3.3 * DAY_S;
    let window = |s: f64| if s < from_s { 0.0 } else { -6.0 * (1.0 - libm::exp(-(s - from_s) / 1200.0)) };
    for minutes in [20.0, 40.0, 60.0, 90.0] {
        let until_s = from_s + minutes * 60.0;
        let ahead = heard(until_s, window).ahead(72);
        for (i, (c, _)) in ahead.iter().enumerate() {
            let beyond_k = c - usual_c(until_s + (i + 1) as f64 * EVERY.s());
            assert!(beyond_k > -7.0, "{minutes} min, {i}: {beyond_k}");
            assert!(minutes > 40.0 || i < 12 || beyond_k > -4.0, "{minutes} min, {i}: {beyond_k}");
        }
    }
}

#[test]
fn a_silence_forgets_the_departure_but_not_the_usual_day() {
    let mut course = heard(3.0 * DAY_S, |s| if s > 2.9 * DAY_S { 3.0 } else { 0.0 });
    let s = 3.5 * DAY_S;
    course.note(at(s), usual_c(s));
    for (i, (c, _)) in course.ahead(36).iter().enumerate() {
        let want = usual_c(s + (i + 1) as f64 * EVERY.s());
        assert!((c - want).abs() < 0.8, "{i}: {c} for {want}");
    }
}
