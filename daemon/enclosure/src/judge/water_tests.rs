use super::*;
use crate::time::Span;
use crate::vapour::Hygrometer;

/// What one hour is like: water's strength g/k, the room's warmth, °C, and humidity, %RH, and how much warmer the probes
/// stand than the room, K, each.
#[derive(Clone, Copy)]
struct Day {
    strength: f64,
    room_c: f64,
    room_rh: f64,
    warmer_k: [f64; 3],
}

const PLAIN: Day = Day { strength: 0.8, room_c: 20.0, room_rh: 45.0, warmer_k: [9.0, 4.0, 0.5] };

struct Story {
    course: Course,
    vapour: Vapour,
    hour: i64,
    /// Which probe lies, and what it adds, %RH.
    liar: Option<(usize, f64)>,
    room_tells: bool,
}

impl Story {
    fn new() -> Self {
        Self { course: Course::default(), vapour: Vapour::new(3), hour: 492_000, liar: None, room_tells: true }
    }

    /// One hour of six readings; the water stands by the last probe, and reaches the others less.
    fn hour(&mut self, day: Day) {
        let room = saturation_pa(day.room_c) * day.room_rh / 100.0;
        let water = saturation_pa(day.room_c + day.warmer_k[2]);
        for tenth in 0..6 {
            let at = Timestamp::from_unix_ms(self.hour * 3_600_000 + tenth * 600_000);
            for (p, reach) in [0.5, 0.7, 1.0].into_iter().enumerate() {
                let share = reach * day.strength / (1.0 + day.strength);
                let (e, c) = (room + share * (water - room), day.room_c + day.warmer_k[p]);
                let lie = self.liar.filter(|(q, _)| *q == p).map_or(0.0, |l| l.1);
                let noise = 0.4 * libm::sin(1.7 * (self.hour * 6 + tenth) as f64 + p as f64);
                say(&mut self.vapour.places[p], at, c, 100.0 * e / saturation_pa(c) + lie + noise);
            }
            if self.room_tells {
                say(&mut self.vapour.room, at, day.room_c, day.room_rh);
            }
        }
        self.hour += 1;
        let now = Timestamp::from_unix_ms(self.hour * 3_600_000).plus(Span::from_min(10));
        self.course.hear(now, &self.vapour, day.room_c, |_| true);
    }

    fn hours(&mut self, count: i64, day: impl Fn(i64) -> Day) {
        (0..count).for_each(|h| self.hour(day(h)));
    }

    fn runs_out(&self) -> bool {
        self.course.seen().is_some_and(|w| w.short() > 0.0)
    }

    /// Hours until it is held to run out, of `most`.
    fn until_told(&mut self, most: i64, day: impl Fn(i64) -> Day) -> Option<i64> {
        (0..most).find(|h| {
            self.hour(day(*h));
            self.runs_out()
        })
    }
}

fn say(h: &mut Hygrometer, at: Timestamp, c: f64, rh: f64) {
    h.hear_humidity(at, rh);
    h.hear_temperature(at, c);
}

/// A day's swing of the room, K.
fn swing(h: i64) -> f64 {
    1.5 * libm::sin(h as f64 * core::f64::consts::TAU / 24.0)
}

fn usual(h: i64) -> Day {
    Day { room_c: 20.0 + swing(h), ..PLAIN }
}

#[test]
fn nothing_is_told_before_two_days() {
    let mut s = Story::new();
    s.hours(47, usual);
    assert_eq!(s.course.seen(), None);
    s.hours(3, usual);
    let seen = s.course.seen().unwrap();
    assert!(seen.level.abs() < 0.1 && seen.runs_out() == Some(false), "{seen:?}");
}

#[test]
fn water_that_runs_out_is_seen_within_hours() {
    let mut s = Story::new();
    s.hours(96, usual);
    let told = s.until_told(48, |h| Day { strength: 0.8 * libm::exp(-h as f64 / 8.0), ..usual(h) });
    // Half an e-fold of 8 h is the least fall that is told; the median of six hours lags by three.
    assert!(told.is_some_and(|h| (3..=10).contains(&h)), "{told:?}");
    let seen = s.course.seen().unwrap();
    assert_eq!(seen.probes.0, 3);
    assert!(seen.hours_left().is_some_and(|h| h > 1.0 && h < 48.0), "{seen:?}");
}

#[test]
fn water_that_weakens_over_weeks_is_seen_before_half_of_it_is_gone() {
    let mut s = Story::new();
    s.hours(120, usual);
    let weakens = |h: i64| Day { strength: 0.8 * libm::exp(-h as f64 / 240.0), ..usual(h) };
    let told = s.until_told(600, weakens).unwrap();
    assert!(libm::exp(-told as f64 / 240.0) > 0.4, "after {told} h");
}

#[test]
fn a_room_that_dries_is_not_the_water() {
    for room_rh in [20.0, 30.0, 70.0] {
        let mut s = Story::new();
        s.hours(96, usual);
        let told = s.until_told(72, |h| Day { room_rh, ..usual(h) });
        assert_eq!(told, None, "{room_rh} %RH");
    }
}

#[test]
fn nor_is_it_where_nobody_measures_the_room() {
    let mut s = Story::new();
    s.room_tells = false;
    let damp = |h| Day { strength: 1.6, ..usual(h) };
    s.hours(96, damp);
    assert_eq!(s.until_told(72, |h| Day { room_rh: 25.0, ..damp(h) }), None);
    let told = s.until_told(72, |h| Day { strength: 0.01, ..usual(h) });
    assert!(told.is_some(), "{:?}", s.course.seen());
    assert_eq!(s.course.seen().map(|w| (w.room_known, w.probes.0)), Some((false, 1)));
}

#[test]
fn neither_warmth_nor_cold_is_the_water() {
    for (room_c, warmer_k) in
        [(27.0, [9.0, 4.0, 0.5]), (15.0, [9.0, 4.0, 0.5]), (20.0, [16.0, 9.0, 3.0]), (20.0, [0.0; 3])]
    {
        let mut s = Story::new();
        s.hours(96, usual);
        let told = s.until_told(72, |h| Day { room_c: room_c + swing(h), warmer_k, ..PLAIN });
        assert_eq!(told, None, "{room_c} °C, {warmer_k:?}");
    }
}

#[test]
fn one_bad_probe_of_three_neither_raises_nor_masks() {
    for (p, off) in [(0, -18.0), (1, -30.0), (2, -40.0)] {
        let mut s = Story::new();
        s.hours(96, usual);
        s.liar = Some((p, off));
        assert_eq!(s.until_told(48, usual), None, "probe {p} off by {off} %RH");
    }
    for (p, off) in [(0, 18.0), (1, 20.0), (2, 15.0)] {
        let mut s = Story::new();
        s.hours(96, usual);
        s.liar = Some((p, off));
        let told = s.until_told(48, |h| Day { strength: 0.8 * libm::exp(-h as f64 / 8.0), ..usual(h) });
        assert!(told.is_some(), "probe {p} off by {off} %RH");
    }
}

#[test]
fn an_opened_lid_is_over_before_it_is_told_for_a_day() {
    let mut s = Story::new();
    s.hours(96, usual);
    s.hours(4, |h| Day { strength: 0.1, ..usual(h) });
    s.hours(8, |h| usual(h + 4));
    assert!(!s.runs_out());
}

#[test]
fn who_waters_once_a_week_is_told_only_when_it_was_forgotten() {
    let mut s = Story::new();
    let week = |h: i64| Day { strength: 1.6 * libm::exp(-(h.rem_euclid(168)) as f64 / 110.0), ..usual(h) };
    s.hours(2 * 168, week);
    assert_eq!(s.until_told(168, week), None, "the third week is as the others");
    let forgotten = |h: i64| Day { strength: 1.6 * libm::exp(-(h + 100) as f64 / 110.0), ..usual(h) };
    s.hours(100, week);
    assert!(s.until_told(300, forgotten).is_some());
}

#[test]
fn refilled_water_ends_it_and_dry_hours_are_never_learned_as_usual() {
    let mut s = Story::new();
    s.hours(96, usual);
    s.hours(5 * 24, |h| Day { strength: 0.1, ..usual(h) });
    assert!(s.runs_out(), "five days later still");
    s.hours(8, usual);
    assert_eq!(s.course.seen().and_then(Water::runs_out), Some(false));
}

#[test]
fn a_nest_that_shows_no_water_is_not_judged() {
    let mut s = Story::new();
    s.hours(200, |h| Day { strength: 0.03, ..usual(h) });
    assert_eq!(s.course.seen(), None);
}

#[test]
fn hours_are_taken_once_and_bounded() {
    let mut s = Story::new();
    s.hours(500, usual);
    assert_eq!(s.course.hours.len(), HOURS);
    let now = Timestamp::from_unix_ms(s.hour * 3_600_000).plus(Span::from_min(20));
    s.course.hear(now, &s.vapour, 20.0, |_| true);
    assert_eq!(s.course.hours.len(), HOURS);
    assert!(s.course.hours.iter().zip(s.course.hours.iter().skip(1)).all(|(a, b)| a.hour < b.hour));
}
