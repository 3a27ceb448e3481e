use super::*;

fn at(s: f64) -> Timestamp {
    Timestamp::from_unix_ms(1_772_323_200_000 + (s * 1000.0) as i64)
}

/// `hours` of a drive given by the minute.
fn habit(hours: i32, drive: impl Fn(f64) -> f64, over_pad_c: impl Fn(f64) -> f64) -> DriveHabit {
    let mut h = DriveHabit::default();
    for minute in 0..hours * 60 {
        let s = f64::from(minute) * 60.0;
        h.note(at(s), drive(s), Some(over_pad_c(s)));
    }
    h
}

#[test]
fn a_dimmer_goes_on_as_it_is() {
    let Some(Control::Held(share)) = habit(14, |_| 0.45, |_| 27.0).control(None) else { panic!("no dimmer") };
    assert!((share - 0.45).abs() < 1e-9);
}

#[test]
fn a_timer_is_not_known_before_its_day_is_over() {
    let on = |s: f64| if (6.0..14.0).contains(&(s / 3600.0).rem_euclid(24.0)) { 1.0 } else { 0.0 };
    assert_eq!(habit(20, on, |_| 27.0).control(None), None);
    let Some(Control::Daily(day)) = habit(26, on, |_| 27.0).control(None) else { panic!("no timer") };
    assert!(day[7 * 2] > 0.95 && day[15 * 2] < 0.05, "{day:?}");
}

/// 12 minutes on, 18 off; it lets go at 29 °C by day and at 27.5 °C by night. The first warm-up begins at 20 °C.
#[test]
fn a_thermostats_marks_follow_the_hour_and_not_the_warm_up() {
    let phase = |s: f64| (s / 60.0).rem_euclid(30.0);
    let day = |s: f64| (7.0..21.0).contains(&(s / 3600.0).rem_euclid(24.0));
    let over = |s: f64| {
        let top = if day(s) { 29.0 } else { 27.5 };
        if s < 1800.0 {
            20.0
        } else if phase(s) < 12.0 {
            top - 1.0
        } else {
            top
        }
    };
    let h = habit(50, |s| if (1.0..12.0).contains(&phase(s)) { 1.0 } else { 0.0 }, over);
    let Some(Control::Thermostat(marks, full)) = h.control(None) else { panic!("no thermostat") };
    assert!((full - 1.0).abs() < 1e-6);
    assert!((marks[12 * 2].1 - 29.0).abs() < 0.1 && (marks[12 * 2].0 - 28.0).abs() < 0.1, "{:?}", marks[24]);
    assert!((marks[3 * 2].1 - 27.5).abs() < 0.1 && (marks[3 * 2].0 - 26.5).abs() < 0.1, "{:?}", marks[6]);
}

#[test]
fn a_turned_knob_holds_for_every_hour() {
    let phase = |s: f64| (s / 60.0).rem_euclid(30.0);
    let over = |s: f64| if s < 40.0 * 3600.0 { 29.0 } else { 27.5 };
    let h = habit(42, |s| if (1.0..12.0).contains(&phase(s)) { 1.0 } else { 0.0 }, over);
    let Some(Control::Thermostat(marks, _)) = h.control(None) else { panic!("no thermostat") };
    assert!(marks.iter().all(|(_, off)| *off < 28.3), "{marks:?}");
}

#[test]
fn a_set_point_stands_in_for_switches_that_nobody_saw() {
    let rare = |s: f64| if s < 7.0 * 3600.0 { 1.0 } else { 0.0 };
    let Some(Control::Thermostat(marks, _)) = habit(14, rare, |_| 28.0).control(Some(29.0)) else { panic!("none") };
    assert!((marks[0].0 - 28.7).abs() < 1e-9 && (marks[0].1 - 29.3).abs() < 1e-9);
}
