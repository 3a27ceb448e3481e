//! Timelines of what takes hours: refuge, rest, humidity, dew, water; and of a nest that nobody sees.
use super::*;
use crate::alarm::Event;
use crate::evidence::{Evidence, Eyes, Moisture, Place, Saying, Warmth};
use crate::psychro::saturation_pa;
use crate::reading::Measured;
use crate::shelf::{AlarmSettings, Band, Cover, Nest, Season, SeasonKind};
use std::string::ToString;
use std::{vec, vec::Vec};

/// 2026-03-01T00:00:00Z.
const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);
const PROBES: [&str; 3] = ["oak-node:warm", "oak-node:brood", "oak-node:cool"];

fn nest(rated_w: f64) -> Nest {
    let mut nest = tests::nest();
    nest.pads[0].rated_w = rated_w;
    nest.band = Some(Band { low_c: 15.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 });
    nest.humidity_pct = Some((45.0, 75.0));
    nest
}

/// What one minute is like.
#[derive(Clone, Copy)]
struct Air {
    /// The probes, °C; a probe without is silent.
    probes_c: [Option<f64>; 3],
    /// The room, °C and %RH.
    room: (f64, f64),
    /// Vapour pressure in the nest, Pa.
    vapour_pa: f64,
    duty: f64,
}

/// Everything at 22 °C, 60 %RH, the pad off.
const STILL: Air = Air { probes_c: [Some(22.0); 3], room: (22.0, 45.0), vapour_pa: 1587.0, duty: 0.0 };

fn at_rh(rh_pct: f64) -> Air {
    Air { vapour_pa: saturation_pa(22.0) * rh_pct / 100.0, ..STILL }
}

struct Bench {
    core: Core,
    minute: i64,
    changes: Vec<(i64, &'static str, &'static str, Evidence)>,
}

impl Bench {
    fn new(nest: Nest) -> Self {
        let shelf = Shelf { name: "bench".to_string(), nests: vec![nest], alarms: AlarmSettings::default() };
        Self { core: Core::new(shelf).without_fits(), minute: 0, changes: vec![] }
    }

    fn put(&mut self, input: Input) {
        for e in self.core.step(BEGIN.plus(Span::from_min(self.minute)), input) {
            // What the season expects is tried in the board's own stories.
            if let Effect::Alarm(c) = e
                && c.event != Event::Suppressed
            {
                self.changes.push((self.minute, c.key.alarm.name(), c.event.name(), c.evidence));
            }
        }
    }

    fn say(&mut self, source: &str, measured: Measured) {
        let (source, at) = (self.core.source(source).unwrap(), BEGIN.plus(Span::from_min(self.minute)));
        self.put(Input::Reading(Reading { source, at, measured }));
    }

    fn minutes(&mut self, count: i64, air: impl Fn(i64) -> Air) {
        for i in 0..count {
            self.minute += 1;
            self.put(Input::Wake);
            let air = air(i);
            // A probe that repeats one value for hours is held for frozen.
            let alive = 0.02 * (self.minute % 4) as f64;
            if air.probes_c.iter().any(Option::is_some) {
                self.say("oak-node:pad", Measured::Duty(air.duty));
                self.say("room:air", Measured::Humidity(air.room.1));
                self.say("room:air", Measured::Temperature(air.room.0 + alive));
            }
            for (source, c) in PROBES.into_iter().zip(air.probes_c) {
                let Some(c) = c.map(|c| c + alive) else { continue };
                self.say(source, Measured::Humidity((100.0 * air.vapour_pa / saturation_pa(c)).min(100.0)));
                self.say(source, Measured::Temperature(c));
            }
        }
    }

    fn hours(&mut self, count: i64, air: Air) {
        self.minutes(60 * count, |_| air);
    }

    /// Minutes at which `alarm` had `event`.
    fn when(&self, alarm: &str, event: &str) -> Vec<i64> {
        self.changes.iter().filter(|(_, a, e, _)| *a == alarm && *e == event).map(|(m, ..)| *m).collect()
    }

    fn said(&self, alarm: &str) -> &[Saying] {
        self.changes.iter().find(|(_, a, ..)| *a == alarm).map_or(&[], |(.., evidence)| evidence.sayings())
    }
}

#[test]
fn a_quiet_nest_raises_nothing() {
    let mut b = Bench::new(nest(4.0));
    b.hours(72, STILL);
    assert_eq!(b.changes, []);
}

#[test]
fn a_heated_nest_is_unwatched_after_ten_minutes_and_seen_again_at_once() {
    let mut b = Bench::new(nest(4.0));
    b.hours(3, STILL);
    b.minutes(30, |_| Air { probes_c: [None; 3], ..STILL });
    b.minutes(5, |_| STILL);
    let raised = b.when("nest-unwatched", "raised");
    assert_eq!(raised.len(), 1, "{:?}", b.changes);
    assert!((190..=192).contains(&raised[0]), "during learning too: {raised:?}");
    let said = b.said("nest-unwatched");
    let old = |last: &Span| (Span::from_min(10)..=Span::from_min(12)).contains(last);
    assert!(matches!(said, [Saying::Eyes(Eyes::Unseen { last: Some(last) })] if old(last)), "{said:?}");
    assert!((211..=213).contains(&b.when("nest-unwatched", "cleared")[0]), "{:?}", b.changes);
}

#[test]
fn a_nest_never_heard_is_unwatched_too_but_not_an_unheated_one() {
    let mut b = Bench::new(nest(4.0));
    b.minutes(15, |_| Air { probes_c: [None; 3], ..STILL });
    assert_eq!(b.when("nest-unwatched", "raised"), [11], "{:?}", b.changes);
    let mut cold = Bench::new(Nest { pads: vec![], ..nest(4.0) });
    for _ in 0..60 {
        cold.minute += 1;
        cold.put(Input::Wake);
    }
    assert_eq!(cold.when("nest-unwatched", "raised"), []);
}

#[test]
fn readings_that_cannot_be_believed_are_no_watch() {
    let mut b = Bench::new(nest(4.0));
    b.hours(14, STILL);
    // Every probe says another nonsense every minute.
    b.minutes(25, |i| Air { probes_c: [0.0, 7.0, 19.0].map(|c| Some(-50.0 + (c + 37.0 * i as f64) % 61.0)), ..STILL });
    assert_eq!(b.when("nest-unwatched", "raised").len(), 1, "{:?}", b.changes);
}

#[test]
fn one_probe_that_speaks_is_a_watch() {
    let mut b = Bench::new(nest(4.0));
    b.hours(3, STILL);
    b.minutes(120, |_| Air { probes_c: [None, Some(22.0), None], ..STILL });
    assert_eq!(b.when("nest-unwatched", "raised"), []);
}

#[test]
fn a_nest_as_warm_everywhere_while_its_mat_works_has_no_refuge() {
    // A mat so weak that the estimate expects a kelvin of it.
    let mut b = Bench::new(nest(0.3));
    let flat = Air { probes_c: [Some(22.5), Some(22.4), Some(22.0)], duty: 1.0, ..STILL };
    b.hours(20, flat);
    let raised = b.when("gradient-flat", "raised");
    assert!(raised.len() == 1 && (700..=840).contains(&raised[0]), "at the end of learning: {:?}", b.changes);
    let said = b.said("gradient-flat");
    assert!(
        matches!(said, [Saying::Warmth(Warmth::Apart { apart_k, heat, lasts: Some(_) })] if *apart_k < 1.5 && *heat > 0.5),
        "{said:?}"
    );
    b.hours(4, Air { duty: 0.0, ..STILL });
    assert_eq!(b.when("gradient-flat", "cleared").len(), 1, "the mat is off: {:?}", b.changes);
}

fn resting(band: Option<(f64, f64)>) -> Nest {
    let band = band.map(|(low_c, high_c)| Band { low_c, high_c, limit_c: 30.0, hot_c: 35.0 });
    let season = Season { from: (11, 1), to: (3, 15), kind: SeasonKind::Rest, band, pad_off: true };
    Nest { seasons: vec![season], ..nest(4.0) }
}

fn all_at(c: f64) -> Air {
    Air { probes_c: [Some(c); 3], room: (c, 60.0), vapour_pa: 0.6 * saturation_pa(c), duty: 0.0 }
}

#[test]
fn rest_may_be_cold_but_neither_warm_nor_freezing() {
    let mut b = Bench::new(resting(Some((2.0, 10.0))));
    b.hours(24, all_at(6.0));
    assert_eq!(b.changes, [], "cold on purpose");
    b.minutes(600, |i| all_at(6.0 + 0.012 * i as f64));
    b.hours(3, all_at(13.2));
    let warm = b.when("rest-warm", "raised");
    assert!(warm.len() == 1 && warm[0] > 1440 + 333 + 60, "an hour past 10 °C: {:?}", b.changes);
    let said = b.said("rest-warm");
    assert!(
        matches!(
            said,
            [Saying::Warmth(Warmth::AtRest { nest_c, band_c: Some((2.0, 10.0)), lasts: Some(_) })] if *nest_c > 10.0
        ),
        "{said:?}"
    );
    b.minutes(600, |i| all_at(13.2 - 0.012 * i as f64));
    b.hours(3, all_at(6.0));
    assert_eq!(b.when("rest-warm", "returned").len(), 1, "{:?}", b.changes);
    b.minutes(600, |i| all_at(6.0 - 0.012 * i as f64));
    b.hours(3, all_at(-1.2));
    assert_eq!(b.when("rest-warm", "raised").len(), 2, "frost: {:?}", b.changes);
    let other = b.changes.iter().any(|(_, a, ..)| *a != "rest-warm");
    assert!(!other, "a nest at rest is not too cold for its brood: {:?}", b.changes);
}

#[test]
fn a_rest_without_a_band_is_told_of_frost_only() {
    let mut b = Bench::new(resting(None));
    b.hours(30, all_at(16.0));
    assert_eq!(b.changes, []);
    b.minutes(1200, |i| all_at(16.0 - 0.015 * i as f64));
    b.hours(3, all_at(-2.0));
    assert_eq!(b.when("rest-warm", "raised").len(), 1, "{:?}", b.changes);
}

#[test]
fn humidity_is_told_after_six_hours_and_ends_within_the_deadband() {
    for (alarm, beyond, within, back) in [("humidity-low", 35.0, 46.5, 52.0), ("humidity-high", 85.0, 73.5, 68.0)] {
        let mut b = Bench::new(nest(4.0));
        b.hours(14, at_rh(60.0));
        b.hours(9, at_rh(beyond));
        let raised = b.when(alarm, "raised");
        // Six hours, and what the hour's mean needs to follow.
        assert!(raised.len() == 1 && (14 * 60 + 361..14 * 60 + 480).contains(&raised[0]), "{:?}", b.changes);
        let said = b.said(alarm);
        let is_beyond = |rh_pct: f64| (rh_pct - beyond).abs() < (beyond - within).abs();
        assert!(
            matches!(
                said,
                [Saying::Moisture(Moisture::Humidity {
                    place: Place::Brood, rh_pct, wanted_pct: (45.0, 75.0), lasts: Some(_)
                })] if is_beyond(*rh_pct)
            ),
            "{said:?}"
        );
        b.hours(6, at_rh(within));
        assert_eq!(b.when(alarm, "cleared"), [], "within the deadband");
        b.hours(6, at_rh(back));
        assert_eq!(b.when(alarm, "cleared").len(), 1, "{:?}", b.changes);
        let other = b.changes.iter().any(|(_, a, ..)| *a != alarm);
        assert!(!other, "{:?}", b.changes);
    }
}

#[test]
fn five_hours_of_damp_are_not_told() {
    let mut b = Bench::new(nest(4.0));
    b.hours(14, at_rh(60.0));
    b.hours(5, at_rh(85.0));
    b.hours(6, at_rh(60.0));
    assert_eq!(b.changes, []);
}

#[test]
fn dew_is_told_where_air_and_wall_meet_for_six_hours() {
    let mut b = Bench::new(Nest { humidity_pct: None, ..nest(4.0) });
    b.hours(14, at_rh(90.0));
    b.hours(9, at_rh(100.0));
    let raised = b.when("condensation", "raised");
    assert!(raised.len() == 1 && (14 * 60 + 361..14 * 60 + 540).contains(&raised[0]), "{:?}", b.changes);
    let said = b.said("condensation");
    assert!(
        matches!(
            said,
            [Saying::Moisture(Moisture::Dew { dew_c, sheet: false, lasts: Some(_), .. })] if (dew_c - 22.0).abs() < 1.0
        ),
        "{said:?}"
    );
    b.hours(4, at_rh(85.0));
    assert_eq!(b.when("condensation", "cleared").len(), 1, "{:?}", b.changes);
}

#[test]
fn a_sheet_of_glass_is_colder_than_the_galleries_and_a_lid_is_not() {
    let wall_c = |cover| Watch::new(&Nest { cover, ..nest(4.0) }, |_| None).coldest_wall_c(28.0, 18.0);
    // 0.65 of the ten kelvin over the room: a gap of 0.65 × 9 W m⁻² K⁻¹ in all behind a film of 9.
    assert!((wall_c(Some(Cover::Glass)) - 24.5).abs() < 1e-9);
    assert_eq!((wall_c(Some(Cover::Lid)), wall_c(None)), (28.0, 28.0));
}

#[test]
fn water_that_runs_out_is_told_a_day_after_it_shows_and_not_before() {
    let mut b = Bench::new(nest(4.0));
    let at = |share: f64| {
        let room = 0.45 * saturation_pa(22.0);
        Air { vapour_pa: room + share * (saturation_pa(22.0) - room), ..STILL }
    };
    b.hours(72, at(0.5));
    assert_eq!(b.changes, []);
    b.hours(20, at(0.1));
    b.hours(6, at(0.5));
    b.hours(24, at(0.5));
    assert_eq!(b.when("water-low", "raised"), [], "refilled within the day: {:?}", b.changes);
    let begins = b.minute;
    b.hours(34, at(0.1));
    let raised = b.when("water-low", "raised");
    assert!(raised.len() == 1 && (24 * 60..30 * 60).contains(&(raised[0] - begins)), "{:?}", b.changes);
    let said = b.said("water-low");
    assert!(
        matches!(
            said.first(),
            Some(Saying::Moisture(Moisture::WaterLow { share, strays_to, tell: 3, .. })) if share < strays_to
        ),
        "{said:?}"
    );
    b.hours(8, at(0.5));
    assert_eq!(b.when("water-low", "returned").len(), 1, "{:?}", b.changes);
}

/// After a restart the last weeks are read again: a nest that dried in the meantime must not look usual.
#[test]
fn what_is_recalled_is_what_dry_hours_are_held_against() {
    let at = |share: f64| {
        let room = 0.45 * saturation_pa(22.0);
        Air { vapour_pa: room + share * (saturation_pa(22.0) - room), ..STILL }
    };
    for (recalled_days, told) in [(4, 1), (0, 0)] {
        let mut b = Bench::new(nest(4.0));
        for m in 0..recalled_days * 1440 {
            b.minute = m - 4 * 1440;
            let moment = BEGIN.plus(Span::from_min(b.minute));
            let rh = 100.0 * at(0.5).vapour_pa / saturation_pa(22.0);
            for (source, c, rh) in PROBES.iter().map(|p| (*p, 22.0, rh)).chain([("room:air", 22.0, 45.0)]) {
                let source = b.core.source(source).unwrap();
                b.core.recall(Reading { source, at: moment, measured: Measured::Humidity(rh) });
                b.core.recall(Reading { source, at: moment, measured: Measured::Temperature(c) });
            }
        }
        assert!(b.core.alarms().next().is_none(), "nothing is judged");
        b.minute = 0;
        b.hours(36, at(0.1));
        assert_eq!(b.when("water-low", "raised").len(), told, "{recalled_days} days: {:?}", b.changes);
    }
}

#[test]
fn garbage_raises_no_slow_alarm() {
    let mut b = Bench::new(nest(4.0));
    b.hours(14, STILL);
    for i in 0..14 * 60_i64 {
        b.minutes(1, |_| STILL);
        // A humidity probe that fails: nothing, everything, and what no reading may be was refused before it came here.
        b.say("oak-node:cool", Measured::Humidity(if i % 2 == 0 { 0.0 } else { 0.4 }));
    }
    let slow = ["humidity-low", "humidity-high", "condensation", "water-low", "gradient-flat", "rest-warm"];
    assert!(!b.changes.iter().any(|(_, a, ..)| slow.contains(a)), "{:?}", b.changes);
}
