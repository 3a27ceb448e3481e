use super::*;
use crate::body::{Axis, Body, Physics};
use crate::models::dot;
use crate::prior::{from_log, prior};
use crate::reading::{Measured, Reading};
use crate::shelf::{AlarmSettings, Nest, Shelf};
use crate::{Input, KeeperAct};
use std::string::ToString;
use std::vec;
use std::vec::Vec;

const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);
const LEASE: Span = Span::from_min(3);
const ROOM_C: f64 = 20.0;

fn nest() -> Nest {
    let mut nest = crate::core::tests::nest();
    nest.pads[0].rated_w = 6.0;
    nest.band = Some(Band { low_c: 22.0, high_c: 28.0, limit_c: 31.0, hot_c: 44.0 });
    nest.probes[1].at_mm = 85.0;
    nest
}

/// A nest whose physics is not what the handbook says, and a node that drives its pad as far as it has leave to.
struct Bench {
    core: Core,
    body: Body,
    heat: crate::body::Heat,
    minute: i64,
    duty: f64,
    /// A relay whose contacts have welded heats whatever it is told.
    welded: bool,
    hottest_c: f64,
    leave: Leave,
    /// A probe that says nothing.
    mute: &'static str,
}

impl Bench {
    fn new(gain: f64) -> Self {
        let nest = nest();
        let axis = Axis { length_mm: nest.length_mm, wall_mm: 10.0, blur_mm: 0.0, pads: vec![nest.pads[0].span] };
        let known = from_log(&prior(&nest).log);
        let gain_k_s = known.gain_k_s.iter().map(|g| g * gain).collect();
        let body = Body::new(&axis, &Physics { gain_k_s, ..known }, 20.0, 40);
        let shelf = Shelf { name: "bench".to_string(), nests: vec![nest], alarms: AlarmSettings::default() };
        let heat = body.cold();
        let leave = Leave::Withhold(Withheld::Unheard);
        Self {
            core: Core::new(shelf),
            body,
            heat,
            minute: 0,
            duty: 0.0,
            welded: false,
            hottest_c: ROOM_C,
            leave,
            mute: "",
        }
    }

    fn now(&self) -> Timestamp {
        BEGIN.plus(Span::from_min(self.minute))
    }

    fn celsius(&self, at_mm: f64) -> f64 {
        let mut amplitudes = vec![0.0; self.body.modes.len()];
        self.body.gallery(&self.heat, &mut amplitudes);
        let row: Vec<f64> = self.body.modes.at(at_mm).collect();
        ROOM_C + dot(&row, &amplitudes)
    }

    fn say(&mut self, source: &str, measured: Measured) {
        let source = self.core.source(source).unwrap();
        let at = self.now();
        self.core.step(at, Input::Reading(Reading { source, at, measured }));
    }

    /// A minute: the nest lives, its probes speak (`brood` with `off_k` on top), and leave is asked for.
    fn minute(&mut self, obeys: bool, off_k: f64) {
        for _ in 0..3 {
            let gives = if self.welded { 1.0 } else { self.duty };
            self.body.advance(&mut self.heat, &[gives], 0.0);
            let points = (0..=40).map(|i| self.celsius(50.0 + f64::from(i)));
            self.hottest_c = points.fold(self.hottest_c, f64::max);
        }
        self.minute += 1;
        let now = self.now();
        self.core.step(now, Input::Wake);
        let (warm, brood, cool) = (self.celsius(10.0), self.celsius(85.0) + off_k, self.celsius(230.0));
        self.say("oak-node:pad", Measured::Duty(self.duty));
        self.say("room:air", Measured::Temperature(ROOM_C));
        let said = [("oak-node:warm", warm), ("oak-node:brood", brood), ("oak-node:cool", cool)];
        let mute = self.mute;
        for (source, c) in said.into_iter().filter(|(source, _)| *source != mute) {
            self.say(source, Measured::Temperature(c));
        }
        self.leave = self.core.leave(0, now, (LEASE, 1.0), |_| true);
        if obeys {
            self.duty = if let Leave::Grant { duty, .. } = self.leave { duty } else { 0.0 };
        }
    }
}

/// How far the brood place's hottest point comes, two standard deviations up, if the mat is driven by `duty` for the
/// lease and off for half an hour after it; now at least as warm as the probe in it says.
fn comes_to_c(watch: &Watch, now: Timestamp, duty: f64) -> f64 {
    let mut est = watch.ahead(now).unwrap();
    let said_c = watch.ears.iter().filter(|ear| ear.by_brood).filter_map(|ear| ear.temperature).map(|(c, _)| c);
    let above_k = (said_c.fold(f64::NEG_INFINITY, f64::max) - est.brood().2).max(0.0);
    let (lease, room_c) = (LEASE.ms() / STEP.ms(), est.room_c());
    let mut most_c = f64::NEG_INFINITY;
    for step in 0..lease + 30 * 60_000 / STEP.ms() {
        est.advance(&[if step < lease { duty } else { 0.0 }], room_c);
        let (_, sd_k, hottest_c) = est.brood();
        most_c = most_c.max(hottest_c + 2.0 * sd_k + above_k);
    }
    most_c
}

/// Whatever others in the shelf made of the estimate: what the node's own probe in the brood place says is the least.
#[test]
fn leave_ends_half_a_kelvin_below_the_limit_and_is_not_held_back_without_need() {
    let mut bench = Bench::new(1.0);
    let (mut bounded, mut withheld, mut said) = (0, 0, 0);
    for minute in 0..8 * 60 {
        bench.minute(true, 0.0);
        if minute % 5 > 0 {
            continue;
        }
        let now = bench.now();
        let mut watch = bench.core.watch_of(0).unwrap().clone();
        let hottest_c = watch.ahead(now).unwrap().brood().2;
        for above_k in [-1.0, 0.2, 0.6] {
            let brood = watch.ears.iter_mut().find(|ear| ear.by_brood).unwrap();
            brood.temperature = Some((hottest_c + above_k, now));
            let passes = |duty: f64| comes_to_c(&watch, now, duty.min(1.0)) > 30.5;
            match watch.leave(now, (LEASE, 1.0), |_| true) {
                Leave::Grant { duty, .. } => {
                    assert!(!passes(duty - 1e-6), "minute {minute}: {duty:.3}, {above_k} K above what is believed");
                    assert!(duty >= 1.0 || passes(duty + 0.1), "minute {minute}: only {duty:.3}, {above_k} K above");
                    bounded += u32::from(duty < 1.0);
                    said += u32::from(duty < 1.0 && above_k > 0.0);
                }
                Leave::Withhold(Withheld::WouldPass) => {
                    assert!(passes(0.1), "minute {minute}: withheld, {above_k} K above");
                    withheld += 1;
                }
                other => assert_eq!(other, Leave::Withhold(Withheld::Warm), "minute {minute}"),
            }
        }
    }
    assert!(bounded > said && said > 5 && withheld > 0, "{bounded} bounded, {said} by the probe, {withheld} withheld");
}

/// Mats that give a third more or less than their label says, and heat as far as they may for twelve hours.
#[test]
fn a_node_that_takes_all_the_leave_it_gets_warms_the_brood_and_never_passes_the_limit() {
    for gain in [0.7, 1.0, 1.35] {
        let mut bench = Bench::new(gain);
        let mut granted = 0;
        for _ in 0..12 * 60 {
            bench.minute(true, 0.0);
            granted += u32::from(matches!(bench.leave, Leave::Grant { .. }));
        }
        assert!(bench.hottest_c < 31.0, "with {gain} of the label the brood reached {:.2} °C", bench.hottest_c);
        assert!(bench.hottest_c > ROOM_C + 6.0, "with {gain} of the label it never got warm: {:.2}", bench.hottest_c);
        assert!(granted > 120, "leave in {granted} of 720 minutes");
    }
}

#[test]
fn what_is_silent_foreign_or_not_believed_justifies_no_heat() {
    let mut bench = Bench::new(1.0);
    for _ in 0..30 {
        bench.minute(true, 0.0);
    }
    assert!(matches!(bench.leave, Leave::Grant { ceiling_c, .. } if ceiling_c > 43.0));
    let asked = |bench: &Bench, owns: &dyn Fn(SourceId) -> bool| bench.core.leave(0, bench.now(), (LEASE, 1.0), owns);
    // Sensors that anybody could feign.
    assert_eq!(asked(&bench, &|_| false), Leave::Withhold(Withheld::Unheard));
    // Less is more than enough: the keeper's own ceiling holds.
    let most = bench.core.leave(0, bench.now(), (LEASE, 0.2), |_| true);
    assert!(matches!(most, Leave::Grant { duty, .. } if duty <= 0.2), "{most:?}");
    // Silence.
    let later = bench.now().plus(Span::from_min(6));
    assert_eq!(bench.core.leave(0, later, (LEASE, 1.0), |_| true), Leave::Withhold(Withheld::Unheard));
    // One of its probes alone falls silent, then one that is not its own.
    bench.mute = "oak-node:cool";
    for _ in 0..6 {
        bench.minute(true, 0.0);
    }
    assert_eq!(bench.leave, Leave::Withhold(Withheld::Unheard));
    let foreign = bench.core.source("oak-node:cool").unwrap();
    assert!(matches!(asked(&bench, &|source| source != foreign), Leave::Grant { .. }));
    bench.mute = "";
    bench.minute(true, 0.0);
    // A probe that jumps: it is weighed once the drive of its time is known, a reading later.
    bench.minute(true, -6.0);
    bench.minute(true, -6.0);
    assert_eq!(bench.leave, Leave::Withhold(Withheld::NotBelieved));
}

#[test]
fn a_probe_that_never_spoke_speaks_neither_for_heat_nor_where_it_is_foreign_against_it() {
    let mut bench = Bench::new(1.0);
    bench.mute = "oak-node:cool";
    for _ in 0..30 {
        bench.minute(true, 0.0);
    }
    assert_eq!(bench.leave, Leave::Withhold(Withheld::Unheard));
    let foreign = bench.core.source("oak-node:cool").unwrap();
    let leave = bench.core.leave(0, bench.now(), (LEASE, 1.0), |source| source != foreign);
    assert!(matches!(leave, Leave::Grant { .. }), "{leave:?}");
}

#[test]
fn a_warm_reading_withholds_at_once_and_a_danger_withdraws() {
    let mut bench = Bench::new(1.0);
    for _ in 0..30 {
        bench.minute(true, 0.0);
    }
    let brood_c = bench.celsius(85.0);
    bench.minute(true, 30.4 - brood_c);
    assert_ne!(bench.leave, Leave::Withhold(Withheld::Warm), "more than half a kelvin below the limit");
    bench.minute(true, 30.8 - brood_c);
    assert_eq!(bench.leave, Leave::Withhold(Withheld::Warm));
    assert!(!bench.core.is_in_danger(0));
    for _ in 0..4 {
        bench.minute(true, 33.0 - brood_c);
    }
    assert!(bench.core.is_in_danger(0));
    assert_eq!(bench.leave, Leave::Withdraw);
    // An answer is no end of it; its end is.
    let danger =
        bench.core.alarms().find(|(_, state, ..)| *state == State::Unacknowledged).map(|(key, ..)| key.clone());
    bench.core.step(bench.now(), Input::Keeper(KeeperAct::Acknowledge(danger.unwrap())));
    bench.minute(true, 33.0 - brood_c);
    assert_eq!(bench.leave, Leave::Withdraw);
}

#[test]
fn a_nest_without_brood_place_or_band_gets_no_leave() {
    for take in [|nest: &mut Nest| nest.brood = None, |nest: &mut Nest| nest.band = None] {
        let mut bare = nest();
        take(&mut bare);
        let shelf = Shelf { name: "bare".to_string(), nests: vec![bare], alarms: AlarmSettings::default() };
        let core = Core::new(shelf);
        assert_eq!(core.leave(0, BEGIN, (LEASE, 1.0), |_| true), Leave::Withhold(Withheld::NoLimit));
    }
    assert_eq!(Bench::new(1.0).core.leave(7, BEGIN, (LEASE, 1.0), |_| true), Leave::Withhold(Withheld::Unheard));
}

#[test]
fn it_is_told_how_cold_the_brood_place_gets_and_how_soon() {
    let mut bench = Bench::new(1.0);
    bench.duty = 0.3;
    for _ in 0..6 * 60 {
        bench.minute(false, 0.0);
    }
    let told = bench.core.unheated(0, bench.now()).unwrap();
    assert!((told.lowest_c - ROOM_C).abs() < 0.6, "{told:?}");
    bench.duty = 0.0;
    let mut minutes = 0;
    let mean = |bench: &Bench| (0..=40).map(|i| bench.celsius(50.0 + f64::from(i))).sum::<f64>() / 41.0;
    while mean(&bench) >= 22.0 {
        bench.minute(false, 0.0);
        minutes += 1;
    }
    let expected = told.below_after.map(|span| span.ms() / 60_000).unwrap();
    assert!((expected - minutes).abs() * 5 <= minutes + 10, "told {expected} minutes, it took {minutes}");
}

/// A thermostat's swing under leave, then contacts that weld: the node opens its switch, and heat goes on.
#[test]
fn a_relay_that_welds_is_told_off_and_found_by_its_heat_and_leave_does_not_come_back() {
    let mut bench = Bench::new(1.0);
    let stuck = |bench: &Bench| {
        let mut all = bench.core.alarms();
        all.any(|(key, state, ..)| key.alarm == crate::Alarm::HeaterStuckOn && state == State::Unacknowledged)
    };
    // Fourteen hours: past the first twelve, in which little is concluded.
    for minute in 0..14 * 60 {
        bench.minute(true, 0.0);
        bench.duty = if minute / 20 % 2 == 0 { 0.0 } else { bench.duty.min(0.4) };
        assert!(!stuck(&bench), "minute {minute}: a sound mat");
    }
    bench.welded = true;
    let mut told_off = None;
    let mut minutes = 0;
    while !stuck(&bench) {
        bench.minute(true, 0.0);
        minutes += 1;
        if bench.duty == 0.0 {
            told_off = told_off.or(Some(minutes));
        }
        assert!(minutes < 60, "an hour of full power and nobody says so; leave is {:?}", bench.leave);
    }
    assert!(told_off.is_some_and(|told_off| told_off <= minutes), "told off after {told_off:?}, found after {minutes}");
    std::println!("told off after {told_off:?} min, found after {minutes} min, the brood at {:.1} °C", bench.hottest_c);
    bench.minute(true, 0.0);
    assert_eq!(bench.leave, Leave::Withdraw);
    // Somebody pulls the plug: it cools, and still no leave until a person has looked.
    (bench.welded, bench.duty) = (false, 0.0);
    for _ in 0..3 * 60 {
        bench.minute(true, 0.0);
        assert_eq!(bench.leave, Leave::Withdraw);
    }
}
