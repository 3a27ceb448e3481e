//! Stories of a shelf with two nests: a node dies, the power fails, a window is open, winter comes.
use super::*;
use crate::board::silence_max;
use crate::evidence::{Evidence, Eyes, Saying, Warmth};
use crate::shelf::{Season, SeasonKind};

/// Two nests at rest, each with a node of its own, and the room's.
struct Two {
    core: Core,
    minute: i64,
    seen: Vec<(i64, AlarmChange)>,
}

impl Two {
    fn new(change: impl FnOnce(&mut Shelf)) -> Self {
        let mut shelf = shelf_of(&["oak", "elm"]);
        change(&mut shelf);
        Self { core: Core::new(shelf), minute: 0, seen: vec![] }
    }

    fn at(&self) -> Timestamp {
        BEGIN.plus(Span::from_min(self.minute))
    }

    fn step(&mut self, input: Input) {
        let at = self.at();
        for effect in self.core.step(at, input) {
            if let Effect::Alarm(change) = effect {
                self.seen.push((self.minute, change));
            }
        }
    }

    /// So many minutes in which the named nodes speak; all say `c`.
    fn minutes(&mut self, count: i64, nodes: &[&str], c: f64) {
        for _ in 0..count {
            self.minute += 1;
            self.step(Input::Wake);
            let at = self.at();
            for source in self.core.sources().to_vec() {
                let (node, sensor) = source.split_once(':').unwrap();
                if !nodes.contains(&node) {
                    continue;
                }
                let wobble = 0.02 * ((self.minute + source.len() as i64) % 4) as f64;
                let measured = if sensor == "pad" { Measured::Duty(0.0) } else { Measured::Temperature(c + wobble) };
                let source = self.core.source(&source).unwrap();
                self.step(Input::Reading(Reading { source, at, measured }));
            }
        }
    }

    fn told(&self) -> Vec<(i64, &'static str)> {
        self.seen.iter().filter(|(_, c)| c.told).map(|(m, c)| (*m, c.key.alarm.name())).collect()
    }

    fn of(&self, alarm: Alarm, event: Event) -> Vec<&AlarmChange> {
        self.seen.iter().map(|(_, c)| c).filter(|c| c.key.alarm == alarm && c.event == event).collect()
    }
}

const ALL: [&str; 3] = ["oak-node", "elm-node", "room"];

#[test]
fn a_dead_node_is_one_message_and_its_probes_are_its_consequence() {
    let mut two = Two::new(|_| {});
    two.minutes(60, &ALL, 22.0);
    two.minutes(60, &["elm-node", "room"], 22.0);
    assert_eq!(two.told(), [(71, "node-silent")]);
    let node = two.of(Alarm::NodeSilent, Event::Raised)[0];
    assert_eq!((node.key.node.as_deref(), node.key.nest), (Some("oak-node"), Some(0)));
    let probes = two.of(Alarm::ProbeSilent, Event::Raised);
    assert_eq!(probes.len(), 3);
    assert!(probes.iter().all(|c| c.cause == Some(Alarm::NodeSilent) && !c.told));
    two.minutes(5, &ALL, 22.0);
    assert_eq!(two.of(Alarm::NodeSilent, Event::Cleared).len(), 1);
    let heard = two.of(Alarm::ProbeSilent, Event::Cleared);
    assert_eq!(heard.len(), 3);
    let says = |c: &AlarmChange| matches!(c.evidence.sayings(), [Saying::Eyes(Eyes::ProbeHeard { .. })]);
    assert!(heard.iter().all(|c| says(c)), "what is over is said to be over: {heard:?}");
    let node = two.of(Alarm::NodeSilent, Event::Cleared);
    assert!(node.iter().all(|c| c.evidence == Evidence::of(Eyes::NodeHeard)) && node.len() == 1, "{node:?}");
}

#[test]
fn a_power_cut_is_one_message_without_a_nest_and_the_gap_its_consequence() {
    let mut two = Two::new(|_| {});
    two.minutes(60, &ALL, 22.0);
    two.minutes(90, &[], 22.0);
    two.minutes(30, &ALL, 21.0);
    let told = two.told();
    assert_eq!(told.len(), 1, "{told:?}");
    let node = two.of(Alarm::NodeSilent, Event::Raised);
    assert_eq!(node.len(), 1);
    assert_eq!((node[0].key.node.as_deref(), node[0].key.nest), (None, None));
    assert!(two.of(Alarm::ProbeSilent, Event::Raised).iter().all(|c| c.cause == Some(Alarm::NodeSilent)));
    let gap = two.of(Alarm::WatchGap, Event::Raised);
    assert_eq!(gap.len(), 1);
    assert_eq!(gap[0].cause, Some(Alarm::NodeSilent));
    let said = gap[0].evidence.sayings();
    assert!(
        matches!(
            said,
            [
                Saying::Eyes(Eyes::Unwatched { lasts, why: None }),
                Saying::Eyes(Eyes::Meanwhile { nest, before_c, .. }),
                ..
            ] if *lasts == Span::from_min(91) && nest == "oak" && (22.0..23.0).contains(before_c)
        ),
        "{said:?}"
    );
}

#[test]
fn a_dead_broker_explains_all_silence() {
    let mut two = Two::new(|_| {});
    two.minutes(60, &ALL, 22.0);
    two.minutes(1, &[], 22.0);
    two.step(Input::Watch { alarm: Alarm::BrokerLost, failing: true, detail: "no answer".to_string() });
    two.minutes(60, &[], 22.0);
    assert_eq!(two.told(), [(61, "broker-lost")]);
    assert!(!two.of(Alarm::NodeSilent, Event::Raised).is_empty());
}

#[test]
fn a_gap_that_the_shell_knows_of_is_told_with_its_reason_and_settles() {
    let mut two = Two::new(|_| {});
    two.minutes(30, &ALL, 22.0);
    let from = two.at();
    two.minute += 200;
    let to = two.at();
    let reason = "the daemon was stopped";
    two.step(Input::Unwatched { from, to, why: reason.to_string(), power: false });
    two.minutes(90, &ALL, 22.0);
    let gap = two.of(Alarm::WatchGap, Event::Raised);
    assert_eq!(gap.len(), 1);
    let said = gap[0].evidence.sayings();
    let as_told = |lasts: Span, why: &str| lasts == Span::from_min(201) && why == reason;
    assert!(
        matches!(said.first(), Some(Saying::Eyes(Eyes::Unwatched { lasts, why: Some(why) })) if as_told(*lasts, why)),
        "{said:?}"
    );
    assert_eq!(two.of(Alarm::WatchGap, Event::Cleared).len(), 1, "it settles by itself");
}

fn winter(pad_off: bool, kind: SeasonKind, band: Option<Band>) -> Season {
    Season { from: (11, 1), to: (3, 15), kind, band, pad_off }
}

/// BEGIN is the first of March: five months of winter rest end on the sixteenth.
#[test]
fn in_winter_rest_a_cold_brood_place_is_expected_and_judged_again_after_it() {
    let rest = Band { low_c: 2.0, high_c: 10.0, limit_c: 15.0, hot_c: 20.0 };
    let mut two = Two::new(|shelf| {
        for nest in &mut shelf.nests {
            nest.band = Some(Band { low_c: 24.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 });
            nest.seasons = vec![winter(true, SeasonKind::Rest, Some(rest))];
        }
        shelf.alarms.learning = Span::from_h(1);
    });
    two.minutes(14 * 60, &ALL, 6.0);
    assert_eq!(two.of(Alarm::BroodCold, Event::Raised).len(), 0);
    assert!(two.told().is_empty(), "{:?}", two.told());
    let cold = AlarmKey { alarm: Alarm::BroodCold, nest: Some(0), probe: None, node: None };
    assert!(two.core.alarms().any(|(k, s, ..)| *k == cold && s == State::Suppressed));
    // To the morning of the sixteenth.
    two.minute += 15 * 24 * 60;
    two.minutes(14 * 60, &ALL, 6.0);
    assert_eq!(two.of(Alarm::BroodCold, Event::Raised).len(), 2);
}

#[test]
fn what_stood_when_the_season_came_ends_with_it() {
    let mut two = Two::new(|shelf| {
        let empty = Season { from: (3, 2), ..winter(true, SeasonKind::Empty, None) };
        for nest in &mut shelf.nests {
            nest.band = Some(Band { low_c: 24.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 });
            nest.seasons = vec![empty];
        }
        shelf.alarms.learning = Span::from_h(1);
    });
    two.minutes(4 * 60, &ALL, 22.0);
    assert_eq!(two.of(Alarm::BroodCold, Event::Raised).len(), 2);
    two.minutes(21 * 60, &ALL, 22.0);
    assert_eq!(two.of(Alarm::BroodCold, Event::Suppressed).len(), 2);
}

#[test]
fn the_limit_of_the_season_is_the_raw_guards_too() {
    let rest = Band { low_c: 2.0, high_c: 10.0, limit_c: 15.0, hot_c: 20.0 };
    let mut two = Two::new(|shelf| shelf.nests[0].seasons = vec![winter(true, SeasonKind::Rest, Some(rest))]);
    two.minutes(30, &ALL, 6.0);
    two.minutes(4, &ALL, 16.0);
    assert_eq!(two.of(Alarm::BroodLimit, Event::Raised).iter().filter(|c| c.key.nest == Some(0)).count(), 1);
}

#[test]
fn a_keepers_work_excuses_steps_for_an_hour_but_no_danger() {
    let band = Some(Band { low_c: 24.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 });
    let mut two = Two::new(|shelf| {
        shelf.nests.iter_mut().for_each(|n| n.band = band);
        shelf.alarms.learning = Span::from_min(30);
        shelf.alarms.cold_on_delay = Span::ZERO;
    });
    two.minutes(25, &ALL, 22.0);
    let at = two.at();
    two.step(Input::Worked { nest: 0, at });
    two.minutes(40, &ALL, 22.0);
    let cold = two.of(Alarm::BroodCold, Event::Raised);
    assert_eq!(cold.iter().map(|c| c.key.nest).collect::<Vec<_>>(), [Some(1)], "the other nest is not excused");
    two.minutes(4, &ALL, 36.0);
    assert!(!two.of(Alarm::BroodLimit, Event::Raised).is_empty(), "a danger is not excused");
}

#[test]
fn a_room_that_falls_fast_is_named_and_told_for_one_nest() {
    let mut two = Two::new(|shelf| {
        shelf
            .nests
            .iter_mut()
            .for_each(|n| n.band = Some(Band { low_c: 19.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 }));
        shelf.alarms.learning = Span::from_h(1);
        shelf.alarms.cold_on_delay = Span::ZERO;
    });
    two.minutes(120, &ALL, 22.0);
    for step in 0..80 {
        two.minutes(1, &ALL, 22.0 - 0.1 * f64::from(step));
    }
    let cold = two.of(Alarm::BroodCold, Event::Raised);
    assert_eq!(cold.len(), 2);
    assert_eq!(
        cold.iter().map(|c| (c.told, c.cause)).collect::<Vec<_>>(),
        [(true, None), (false, Some(Alarm::BroodCold))]
    );
    let said = cold[0].evidence.sayings();
    assert!(
        matches!(
            said,
            [Saying::Warmth(Warmth::BroodMean { hot: false, .. }), Saying::Warmth(Warmth::RoomMoved { from_c, to_c, .. })]
                if (22.0..23.0).contains(from_c) && to_c < from_c
        ),
        "{said:?}"
    );
}

#[test]
fn a_pad_that_the_keeper_unplugged_is_out_of_service_until_the_day_he_says() {
    let mut two = Two::new(|_| {});
    two.minutes(30, &ALL, 22.0);
    let key = AlarmKey { alarm: Alarm::HeaterNoHeat, nest: Some(0), probe: None, node: None };
    let until = two.at().plus(Span::from_min(45));
    two.step(Input::Keeper(KeeperAct::TakeOut(key.clone(), Some(until))));
    assert_eq!(two.core.silent_until(&key), Some(until));
    two.minutes(60, &ALL, 22.0);
    assert_eq!(two.of(Alarm::HeaterNoHeat, Event::InService).iter().map(|c| c.at).collect::<Vec<_>>(), [until]);
    let stuck = KeeperAct::TakeOut(AlarmKey { alarm: Alarm::HeaterStuckOn, ..key }, None);
    assert_eq!(two.core.declines(two.at(), &stuck), Some(Declined::Danger));
}

/// What is kept brings everything back: a core that is restarted every ten minutes says the same.
#[test]
fn a_core_that_is_restarted_says_what_one_that_ran_on_says() {
    let run = |restarts: bool| {
        let mut two = Two::new(|shelf| {
            shelf
                .nests
                .iter_mut()
                .for_each(|n| n.band = Some(Band { low_c: 24.0, high_c: 31.0, limit_c: 35.0, hot_c: 40.0 }));
            shelf.alarms.learning = Span::from_h(1);
        });
        two.minutes(90, &ALL, 22.0);
        for round in 0..20 {
            let c = if round % 7 == 3 { 36.0 } else { 22.0 };
            two.minutes(10, &ALL, c);
            if round == 9 {
                let standing: Vec<AlarmKey> = two.core.alarms().map(|(k, ..)| k.clone()).collect();
                for key in standing {
                    two.step(Input::Keeper(KeeperAct::Shelve(key.clone(), silence_max(key.alarm))));
                }
            }
            if restarts {
                let kept = two.core.kept();
                two.core.forget_alarms();
                two.core.take_back(kept, two.core.now.unwrap());
            }
        }
        two.seen.into_iter().map(|(m, c)| (m, c.key, c.event, c.told)).collect::<Vec<_>>()
    };
    let on = run(false);
    assert!(on.len() > 20, "{on:?}");
    assert_eq!(run(true), on);
}

#[test]
fn learning_is_kept_over_a_restart_and_begun_anew_after_seven_silent_days() {
    let mut two = Two::new(|_| {});
    two.minutes(13 * 60, &ALL, 22.0);
    let kept = two.core.kept();
    for (days, learned) in [(1, true), (6, true), (8, false)] {
        let mut anew = Core::new(two.core.shelf().clone());
        let now = two.at().plus(Span::from_h(24 * days));
        anew.take_back(kept.clone(), now);
        let source = anew.source("oak-node:warm").unwrap();
        anew.step(now, Input::Reading(Reading { source, at: now, measured: Measured::Temperature(22.0) }));
        assert_eq!(anew.watches[0].is_learned(Span::from_h(12)), learned, "after {days} days");
    }
}

#[test]
fn readings_of_another_arrangement_are_not_taken() {
    let mut core = Core::new(shelf_of(&["oak"]));
    core.begin_nest(0, BEGIN);
    let source = core.source("oak-node:warm").unwrap();
    let hear = |core: &mut Core, min| {
        let at = BEGIN.plus(Span::from_min(min));
        core.step(at, Input::Reading(Reading { source, at, measured: Measured::Temperature(22.0) }));
        core.watches[0].newest
    };
    assert_eq!(hear(&mut core, -5), None);
    assert_eq!(hear(&mut core, 5), Some(BEGIN.plus(Span::from_min(5))));
}
