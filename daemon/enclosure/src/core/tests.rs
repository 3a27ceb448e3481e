//! Timelines over the whole core: what is heard, minute by minute, and what is raised.
use super::*;
use crate::alarm::{Event, State};
use crate::lifecycle::Declined;
use crate::reading::Measured;
use crate::shelf::{AlarmSettings, Band, Material, Nest, NestKind, Pad, PadPlace, Probe, Stretch};
use std::string::ToString;
use std::vec;

const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);

/// A shelf of such nests, each with a node of its own.
pub(crate) fn shelf_of(ids: &[&str]) -> Shelf {
    let named = |id: &&str| {
        let mut nest = nest();
        nest.id = id.to_string();
        nest.probes.iter_mut().for_each(|p| p.source = p.source.replace("oak", id));
        nest.pads.iter_mut().for_each(|p| p.drive = p.drive.as_ref().map(|d| d.replace("oak", id)));
        nest
    };
    Shelf { name: "bench".to_string(), nests: ids.iter().map(named).collect(), alarms: AlarmSettings::default() }
}

pub(crate) fn nest() -> Nest {
    let probe = |source: &str, at_mm| Probe { source: source.to_string(), at_mm, offset_k: 0.0, offset_pct: 0.0 };
    Nest {
        id: "oak".to_string(),
        kind: NestKind::Nest,
        joined_to: None,
        length_mm: 240.0,
        width_mm: None,
        height_mm: None,
        material: Material { conductivity_w_mk: 0.18, density_kg_m3: 700.0, heat_capacity_j_kgk: 1600.0 },
        material_limit_c: None,
        cover: None,
        pads: vec![Pad {
            id: None,
            span: Stretch { from_mm: 0.0, to_mm: 80.0 },
            rated_w: 4.0,
            drive: Some("oak-node:pad".to_string()),
            thermostat_c: None,
            thermostat_at_mm: None,
            place: PadPlace::Under,
        }],
        brood: Some(Stretch { from_mm: 50.0, to_mm: 90.0 }),
        band: Some(Band { low_c: 20.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 }),
        humidity_pct: None,
        probes: vec![probe("oak-node:warm", 10.0), probe("oak-node:brood", 70.0), probe("oak-node:cool", 230.0)],
        room: Some("room:air".to_string()),
        seasons: vec![],
        since: None,
        degree_days_above_c: None,
    }
}

/// A nest at rest at 22 °C, its pad off, heard once a minute.
struct Bench {
    core: Core,
    minute: i64,
    raised: Vec<(i64, &'static str, &'static str)>,
}

impl Bench {
    fn new() -> Self {
        let shelf = Shelf { name: "bench".to_string(), nests: vec![nest()], alarms: AlarmSettings::default() };
        Self { core: Core::new(shelf), minute: 0, raised: vec![] }
    }

    fn at(&self) -> Timestamp {
        BEGIN.plus(Span::from_min(self.minute))
    }

    fn say(&mut self, source: &str, measured: Measured) {
        let source = self.core.source(source).unwrap();
        let at = self.at();
        let effects = self.core.step(at, Input::Reading(Reading { source, at, measured }));
        self.note(&effects);
    }

    fn note(&mut self, effects: &[Effect]) {
        for e in effects {
            if let Effect::Alarm(c) = e {
                self.raised.push((self.minute, c.key.alarm.name(), c.event.name()));
            }
        }
    }

    /// One minute in which every probe but `brood` says 22 °C, and `brood` what it is given (nothing: it is silent).
    fn minute(&mut self, brood_c: Option<f64>) {
        self.minute += 1;
        let at = self.at();
        let effects = self.core.step(at, Input::Wake);
        self.note(&effects);
        self.say("oak-node:pad", Measured::Duty(0.0));
        for source in ["room:air", "oak-node:warm", "oak-node:cool"] {
            self.say(source, Measured::Temperature(22.0 + 0.02 * (self.minute % 3) as f64));
        }
        if let Some(c) = brood_c {
            self.say("oak-node:brood", Measured::Temperature(c));
        }
    }

    fn minutes(&mut self, count: i64, brood_c: Option<f64>) {
        for i in 0..count {
            self.minute(brood_c.map(|c| c + 0.02 * (i % 4) as f64));
        }
    }

    fn first(&self, alarm: &str, event: &str) -> Option<i64> {
        self.raised.iter().find(|(_, a, e)| *a == alarm && *e == event).map(|(m, ..)| *m)
    }
}

/// A rejection may spare the keeper a warning, never a danger: the estimate cannot believe 36 °C, the guard does.
#[test]
fn three_readings_past_the_limit_are_a_danger_whatever_the_estimate_holds() {
    let mut b = Bench::new();
    b.minutes(120, Some(22.0));
    b.minutes(3, Some(36.0));
    assert_eq!(b.first("brood-limit", "raised"), Some(123), "{:?}", b.raised);
}

/// A hot room, and no probe in or beside the brood place: the estimate alone tells, two minutes after it lies above the
/// limit by half of its own deviation.
#[test]
fn what_no_probe_of_the_brood_place_sees_is_a_danger_by_the_estimate() {
    let mut b = Bench::new();
    let mut shelf = b.core.shelf().clone();
    shelf.nests[0].probes[1].at_mm = 130.0;
    b.core = Core::new(shelf);
    let mut beyond = None;
    while b.minute < 500 {
        b.minute += 1;
        let c = 22.0 + 0.05 * (b.minute - 120).clamp(0, 300) as f64 + 0.02 * (b.minute % 3) as f64;
        let effects = b.core.step(b.at(), Input::Wake);
        b.note(&effects);
        b.say("oak-node:pad", Measured::Duty(0.0));
        for source in ["room:air", "oak-node:warm", "oak-node:brood", "oak-node:cool"] {
            b.say(source, Measured::Temperature(c));
        }
        let (_, sd_k, hottest_c, _) = b.core.watches[0].brood().unwrap();
        if hottest_c - 0.5 * sd_k > 35.0 {
            beyond.get_or_insert(b.minute);
        }
    }
    assert_eq!(b.core.watches[0].guard(), (None, None));
    let (beyond, raised) = (beyond.unwrap(), b.first("brood-limit", "raised").unwrap());
    assert!((beyond + 2..=beyond + 3).contains(&raised), "beyond at minute {beyond}, raised at {raised}");
}

/// A probe that reads half a kelvin too warm and is trimmed by that is heard as one that reads right, by the estimate
/// and by the guard. Both numbers are sums of powers of two, so nothing is lost in taking it off.
#[test]
fn a_trimmed_probe_is_heard_as_one_that_reads_right() {
    let run = |offset_k: f64| {
        let mut bench = Bench::new();
        let mut shelf = bench.core.shelf().clone();
        shelf.nests[0].probes[1].offset_k = offset_k;
        bench.core = Core::new(shelf);
        for i in 0..60_i64 {
            bench.minute(Some(22.0 + 0.25 * (i % 2) as f64 + offset_k));
        }
        for _ in 0..3 {
            bench.minute(Some(35.25 + offset_k));
        }
        let now = bench.core.nest(0, bench.at()).unwrap();
        (bench.raised, now.profile, now.probes[1].temperature)
    };
    let (right, trimmed) = (run(0.0), run(0.5));
    assert_eq!(right, trimmed);
    assert!(right.0.iter().any(|(_, alarm, _)| *alarm == "brood-limit"), "{:?}", right.0);
}

/// With no brood place in the shelf file the guard alone watches, and must also say when it is over.
#[test]
fn a_danger_told_by_the_guard_alone_ends() {
    let mut bench = Bench::new();
    let mut shelf = bench.core.shelf().clone();
    (shelf.nests[0].brood, shelf.nests[0].band) = (None, None);
    bench.core = Core::new(shelf);
    let hear = |bench: &mut Bench, c: f64, minutes: usize| {
        for _ in 0..minutes {
            bench.minute += 1;
            bench.say("oak-node:brood", Measured::Temperature(c));
        }
    };
    hear(&mut bench, 22.0, 60);
    hear(&mut bench, 41.0, 3);
    hear(&mut bench, 25.0, 30);
    let of_limit: Vec<_> = bench.raised.iter().filter(|r| r.1 == "brood-limit").map(|r| (r.0, r.2)).collect();
    assert_eq!(of_limit.first(), Some(&(63, "raised")), "{:?}", bench.raised);
    assert!(of_limit.len() == 2 && of_limit[1].1 == "returned", "{of_limit:?}");
}

#[test]
fn two_readings_past_the_limit_are_none() {
    let mut b = Bench::new();
    b.minutes(120, Some(22.0));
    b.minutes(2, Some(36.0));
    b.minutes(30, Some(22.0));
    assert_eq!(b.first("brood-limit", "raised"), None, "{:?}", b.raised);
}

#[test]
fn a_probe_past_its_hot_mark_is_a_danger_too() {
    let mut b = Bench::new();
    b.minutes(60, Some(22.0));
    b.minutes(3, Some(41.0));
    assert_eq!(b.first("probe-hot", "raised"), Some(63), "{:?}", b.raised);
}

/// The guard holds within the first 12 hours as well; a warning waits for their end.
#[test]
fn while_a_nest_is_learned_only_danger_and_silence_are_raised() {
    let mut b = Bench::new();
    b.core.shelf.nests[0].band = Some(Band { low_c: 24.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 });
    b.core.watches[0].nest.band = b.core.shelf.nests[0].band;
    b.minutes(11 * 60, Some(22.0));
    assert!(b.raised.is_empty(), "{:?}", b.raised);
    b.minutes(90, Some(22.0));
    let at = b.first("brood-cold", "raised");
    let end = 12 * 60;
    assert!(
        at.is_some_and(|m| (end + 1..=end + 2).contains(&m)),
        "what holds at their end is raised then: {:?}",
        b.raised
    );
}

#[test]
fn a_probe_that_stops_is_told_after_ten_minutes_and_settles_when_it_speaks_again() {
    let mut b = Bench::new();
    b.minutes(60, Some(22.0));
    b.minutes(20, None);
    b.minutes(10, Some(22.0));
    let told = b.first("probe-silent", "raised").unwrap();
    assert!((71..=72).contains(&told), "after ten minutes, at the next judging: {told}");
    assert!(b.first("probe-silent", "cleared").is_some(), "{:?}", b.raised);
}

#[test]
fn a_keeper_answers_and_a_reset_is_declined_while_the_condition_holds() {
    let mut b = Bench::new();
    b.minutes(60, Some(22.0));
    b.minutes(5, Some(36.0));
    let key = AlarmKey { alarm: Alarm::BroodLimit, nest: Some(0), probe: None, node: None };
    let at = b.at();
    assert_eq!(b.core.declines(at, &KeeperAct::Reset(key.clone())), Some(Declined::StillTrue));
    let effects = b.core.step(at, Input::Keeper(KeeperAct::Acknowledge(key.clone())));
    assert!(
        matches!(&effects[0], Effect::Alarm(c) if c.event == Event::Acknowledged && c.state == State::Acknowledged)
    );
    assert_eq!(b.core.declines(at, &KeeperAct::Acknowledge(key)), Some(Declined::NotRaised));
}

#[test]
fn a_repeated_or_older_reading_changes_nothing_and_says_so() {
    let mut b = Bench::new();
    b.minutes(30, Some(22.0));
    let source = b.core.source("oak-node:brood").unwrap();
    let now = b.at();
    for (back_min, why) in [(0, Rejection::Duplicate), (7, Rejection::Late)] {
        let at = now.minus(Span::from_min(back_min));
        let reading = Reading { source, at, measured: Measured::Temperature(22.0) };
        let effects = b.core.step(now, Input::Reading(reading));
        assert_eq!(effects, [Effect::Rejected { source, at, why }]);
    }
}

/// Readings on the wire may come in any order of sources; what is believed must not depend on how often it is asked.
#[test]
fn asking_changes_nothing() {
    let (mut asked, mut left) = (Bench::new(), Bench::new());
    for i in 0..200 {
        asked.minute(Some(22.0 + 0.1 * (i % 5) as f64));
        left.minute(Some(22.0 + 0.1 * (i % 5) as f64));
        let _ = asked.core.nest(0, asked.at().plus(Span::from_min(3)));
    }
    assert_eq!(asked.core.nest(0, asked.at()), left.core.nest(0, left.at()));
}

/// Looking back needs what is believed, not what was raised.
#[test]
fn a_core_that_judges_nothing_believes_the_same() {
    let (mut judged, mut unjudged) = (Bench::new(), Bench::new());
    unjudged.core = unjudged.core.clone().unjudged();
    for b in [&mut judged, &mut unjudged] {
        b.minutes(120, Some(22.0));
        b.minutes(3, Some(44.0));
    }
    let believed = |b: &Bench| b.core.nest(0, b.at()).map(|now| (now.profile, now.brood_c, now.room_c));
    assert_eq!(believed(&judged), believed(&unjudged));
    assert_eq!((judged.raised.is_empty(), unjudged.raised.is_empty()), (false, true));
    assert!(unjudged.core.alarms().next().is_none() && unjudged.core.wake_at().is_none());
}

#[test]
fn a_profile_reaches_from_end_to_end_and_is_finite() {
    let mut b = Bench::new();
    b.minutes(30, Some(22.0));
    let p = b.core.nest(0, b.at()).unwrap().profile;
    assert!(p.at_mm.len() >= 41 && p.at_mm[0] == 0.0 && p.at_mm.last() == Some(&240.0));
    assert!(p.mean_c.iter().all(|c| (c - 22.0).abs() < 0.5), "{:?}", p.mean_c);
    assert!(p.sd_c.iter().all(|sd| *sd > 0.0 && sd.is_finite()));
}

mod stories;
