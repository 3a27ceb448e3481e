use super::*;
use crate::alarm::State as S;
use crate::dice::Dice;
use std::string::{String, ToString};
use std::{vec, vec::Vec};

fn at(min: i64) -> Timestamp {
    Timestamp::from_unix_ms(1_772_000_000_000 + min * 60_000)
}

fn plain() -> Manner {
    Manner { on_delay: Span::from_min(2), off_delay: Span::from_min(1), latches: false, settles: false }
}

/// One moment a step: `at 0: ill | at 2: raised | at 3: acknowledge, acknowledged`. A verdict holds until the next one
/// and is judged every minute; acts are done before that minute's judging; the rest are the events that must come, no
/// others and no other minute.
fn timeline(manner: Manner, script: &str) {
    let mut setting = Setting { manner, may_raise: true, design: None };
    let mut wanted: Vec<(i64, String)> = vec![];
    let mut inputs: Vec<(i64, String)> = vec![];
    for step in script.split('|') {
        let (when, words) = step.trim().strip_prefix("at ").unwrap().split_once(": ").unwrap();
        let min: i64 = when.trim_end_matches(" min").parse().unwrap();
        for word in words.split(", ") {
            let is_event = Event::ALL.iter().any(|e| e.name() == word) || word == "declined";
            if is_event { &mut wanted } else { &mut inputs }.push((min, word.to_string()));
        }
    }
    let (mut life, mut seen, mut verdict) = (Life::NotJudged, vec![], Verdict::Unknown);
    let last = inputs.iter().chain(&wanted).map(|(min, _)| *min).max().unwrap() + 1;
    for min in 0..=last {
        let now = at(min);
        for (_, word) in inputs.iter().filter(|(m, _)| *m == min) {
            let number = |text: &str| text.split_whitespace().find_map(|w| w.parse::<i64>().ok()).unwrap();
            let trigger = match word.as_str() {
                "ill" => {
                    verdict = Verdict::Ill;
                    continue;
                }
                "well" => {
                    verdict = Verdict::Well;
                    continue;
                }
                "between" => {
                    verdict = Verdict::Between;
                    continue;
                }
                "unknown" => {
                    verdict = Verdict::Unknown;
                    continue;
                }
                "learning" => {
                    setting.may_raise = false;
                    continue;
                }
                "learned" => {
                    setting.may_raise = true;
                    continue;
                }
                "a cause stands" => {
                    setting.design = Some(Design::Cause(Alarm::HeaterStuckOn));
                    continue;
                }
                "no cause stands" | "in season" => {
                    setting.design = None;
                    continue;
                }
                "out of season" => {
                    setting.design = Some(Design::Season);
                    continue;
                }
                "acknowledge" => Trigger::Acknowledge,
                "press reset" => Trigger::Reset,
                "unshelve" => Trigger::Unshelve,
                "put back" => Trigger::PutBack,
                "take out" => Trigger::TakeOut(None),
                "worse" => Trigger::Worse,
                shelve if shelve.starts_with("shelve ") => Trigger::Shelve(now.plus(Span::from_min(number(shelve)))),
                out if out.starts_with("take out ") => Trigger::TakeOut(Some(now.plus(Span::from_min(number(out))))),
                other => unreachable!("{other}"),
            };
            match life.on(now, trigger, &setting) {
                Ok((next, event)) => {
                    life = next;
                    seen.extend(event.map(|e| (min, e.name().to_string())));
                }
                Err(_) => seen.push((min, "declined".to_string())),
            }
        }
        let (next, event) = life.on(now, Trigger::Judged(verdict), &setting).unwrap();
        life = next;
        seen.extend(event.map(|e| (min, e.name().to_string())));
        let (next, event) = life.on(now, Trigger::Time, &setting).unwrap();
        life = next;
        seen.extend(event.map(|e| (min, e.name().to_string())));
    }
    assert_eq!(seen, wanted, "{script}");
}

#[test]
fn delays_hold_back_what_comes_and_goes() {
    timeline(plain(), "at 0: ill | at 1: well | at 9: well");
    timeline(plain(), "at 0: ill | at 2: raised | at 5: well | at 6: returned | at 9: acknowledge, cleared");
    timeline(plain(), "at 0: ill | at 2: raised | at 3: well | at 4: ill | at 7: well | at 8: returned");
    timeline(plain(), "at 0: ill | at 2: raised | at 3: between | at 9: well | at 10: returned");
    timeline(plain(), "at 0: ill | at 1: between | at 5: ill, raised");
    timeline(plain(), "at 0: ill | at 1: between | at 6: well | at 9: ill | at 11: raised");
    timeline(plain(), "at 0: between | at 5: ill | at 7: raised | at 8: unknown | at 20: unknown");
}

/// The on-delay and the off-delay serve different ends (OPC UA Part 9, B.1.5): each runs by itself, and anew.
#[test]
fn a_condition_that_comes_back_is_raised_anew_after_its_on_delay() {
    timeline(plain(), "at 0: ill | at 2: raised | at 3: well | at 4: returned | at 6: ill | at 8: raised");
    timeline(
        plain(),
        "at 0: ill | at 2: raised | at 3: acknowledge, acknowledged | at 4: well | at 5: cleared | at 6: ill | at 8: raised",
    );
}

#[test]
fn advice_needs_no_answer() {
    let settles = Manner { settles: true, ..plain() };
    timeline(settles, "at 0: ill | at 2: raised | at 5: well | at 6: cleared | at 7: acknowledge, declined");
    for alarm in Alarm::ALL.into_iter().filter(|a| a.priority() == Priority::Advice) {
        assert!(Manner::of(alarm, Span::ZERO, Span::ZERO).settles, "{alarm}");
    }
}

#[test]
fn what_was_answered_is_raised_anew_when_it_gets_worse() {
    timeline(
        plain(),
        "at 0: ill | at 2: raised | at 3: acknowledge, acknowledged | at 5: worse, unacknowledged | at 6: worse",
    );
}

#[test]
fn a_latched_alarm_waits_for_its_reset_is_refused_while_true_and_raised_anew() {
    let latching = Manner { latches: true, ..plain() };
    timeline(
        latching,
        "at 0: ill | at 2: raised | at 3: press reset, declined | at 4: well | at 5: returned | at 9: press reset, reset",
    );
    timeline(
        latching,
        "at 0: ill | at 2: raised | at 4: well | at 5: returned | at 6: ill, press reset, reset | at 8: raised",
    );
    timeline(
        latching,
        "at 0: ill | at 2: raised | at 3: acknowledge, acknowledged | at 4: well | at 5: returned | at 7: ill | at 8: press reset, \
         declined | at 9: raised",
    );
    timeline(
        latching,
        "at 0: ill | at 2: raised | at 4: well | at 5: returned | at 6: acknowledge, acknowledged | at 7: acknowledge, declined | at 8: press reset, reset",
    );
}

#[test]
fn a_silence_ends_by_itself_and_history_hears_what_went_on_beneath() {
    timeline(
        plain(),
        "at 0: ill | at 2: raised | at 3: shelve 5 min, shelved | at 8: unshelved | at 9: acknowledge, acknowledged",
    );
    timeline(
        plain(),
        "at 0: well | at 1: shelve 9 min, shelved | at 2: ill | at 4: raised | at 6: well | at 7: cleared | at 10: unshelved",
    );
    // Within the deadband nothing is raised beneath a silence either.
    timeline(plain(), "at 0: well | at 1: shelve 9 min, shelved | at 2: between | at 10: unshelved | at 15: between");
    // An end needs no verdict.
    timeline(plain(), "at 0: ill | at 2: raised | at 3: shelve 5 min, shelved, unknown | at 8: unshelved");
    timeline(
        plain(),
        "at 0: well | at 1: take out 5 min, out-of-service | at 2: ill | at 4: raised | at 6: in-service",
    );
    timeline(
        plain(),
        "at 0: well | at 1: take out, out-of-service | at 2: shelve 5 min, declined | at 99: put back, in-service",
    );
    timeline(plain(), "at 0: well | at 1: unshelve, declined, put back, declined");
}

#[test]
fn what_was_latched_is_so_again_when_its_silence_ends() {
    let latching = Manner { latches: true, ..plain() };
    timeline(
        latching,
        "at 0: ill | at 2: raised | at 3: well | at 4: returned | at 5: shelve 5 min, shelved | at 10: unshelved | at 11: \
         press reset, reset",
    );
    timeline(
        latching,
        "at 0: ill | at 2: raised | at 3: shelve 30 min, shelved | at 5: well | at 6: returned | at 33: unshelved | at 34: press reset, reset",
    );
}

#[test]
fn a_consequence_is_raised_beneath_its_cause_and_stands_for_itself_when_that_is_gone() {
    timeline(plain(), "at 0: a cause stands, ill | at 2: raised | at 5: well | at 6: cleared");
    timeline(
        plain(),
        "at 0: a cause stands, ill | at 2: raised | at 5: no cause stands, unsuppressed | at 7: well | at 8: returned",
    );
    timeline(plain(), "at 0: ill | at 2: raised | at 4: a cause stands, suppressed | at 5: acknowledge, declined");
    timeline(
        plain(),
        "at 0: ill | at 2: raised | at 3: acknowledge, acknowledged | at 4: a cause stands | at 9: well | at 10: cleared",
    );
}

#[test]
fn a_season_ends_what_stands_and_begins_anew_after_it() {
    timeline(
        plain(),
        "at 0: ill | at 2: raised | at 4: out of season, suppressed | at 9: in season, unsuppressed | at 11: raised",
    );
    timeline(plain(), "at 0: out of season, ill, suppressed | at 99: ill");
}

#[test]
fn what_holds_at_the_end_of_learning_is_raised_then() {
    timeline(plain(), "at 0: learning, ill | at 10: learned, raised");
}

/// Every transition of the ISA-18.2 / IEC 62682 diagram, from each state by each trigger. The base states, shelving,
/// suppression and out of service are named by public course texts and by OPC UA Part 9 (OPC 10000-9, 5.8 and annex B);
/// the letters and the two latched states are from memory.
#[test]
fn every_state_goes_where_the_diagram_says() {
    let now = at(100);
    let manner = Manner { on_delay: Span::ZERO, off_delay: Span::ZERO, latches: false, settles: false };
    let beneath = Beneath { judged: true, ill: true, turning: None, latched: false };
    let until = now.plus(Span::from_min(10));
    let states = [
        ("0", Life::NotJudged),
        ("A", Life::Normal { holding: None }),
        ("B", Life::Unacknowledged { since: at(90), over: None }),
        ("C", Life::Acknowledged { since: at(90), over: None }),
        ("D", Life::Returned { since: at(90), holding: None }),
        ("E", Life::Latched { since: at(90), acknowledged: false, holding: None }),
        ("F", Life::Latched { since: at(90), acknowledged: true, holding: None }),
        ("G", Life::Shelved { until, beneath }),
        ("H", Life::Suppressed { why: Design::Cause(Alarm::HeaterNoHeat), beneath }),
        ("I", Life::OutOfService { until: None, beneath }),
    ];
    let letter = |life: Life| match (life.state(), life) {
        (S::NotJudged, _) => '0',
        (S::Normal, _) => 'A',
        (S::Unacknowledged, _) => 'B',
        (S::Acknowledged, _) => 'C',
        (S::Returned, _) => 'D',
        (S::Latched, Life::Latched { acknowledged: true, .. }) => 'F',
        (S::Latched, _) => 'E',
        (S::Shelved, _) => 'G',
        (S::Suppressed, _) => 'H',
        (S::OutOfService, _) => 'I',
    };
    let judged = Trigger::Judged;
    let cause = Some(Design::Cause(Alarm::HeaterNoHeat));
    // Columns: from 0 A B C D E F G H I; `-` is declined.
    let table: [(&str, Trigger, bool, Option<Design>, &str); 16] = [
        ("occurs", judged(Verdict::Ill), false, None, "BBBCBBBGBI"),
        ("occurs beneath a cause", judged(Verdict::Ill), false, cause, "HHHCHHHGHI"),
        ("is over", judged(Verdict::Well), false, None, "AADADEFGAI"),
        ("is over, latching", judged(Verdict::Well), true, None, "AAEFDEFGFI"),
        ("lies in its deadband", judged(Verdict::Between), false, None, "AABCDEFGBI"),
        ("is not known", judged(Verdict::Unknown), false, None, "0ABCDEFGHI"),
        ("out of season", judged(Verdict::Ill), false, Some(Design::Season), "HHHHHEFGHI"),
        ("acknowledge", Trigger::Acknowledge, false, None, "--C-AF----"),
        ("reset", Trigger::Reset, false, None, "-----AA---"),
        ("shelve", Trigger::Shelve(until), false, None, "GGGGGGGGG-"),
        ("unshelve", Trigger::Unshelve, false, None, "-------B--"),
        ("take out", Trigger::TakeOut(None), false, None, "IIIIIIIIII"),
        ("put back", Trigger::PutBack, false, None, "---------B"),
        ("put back beneath a cause", Trigger::PutBack, false, cause, "---------H"),
        ("time", Trigger::Time, false, None, "0ABCDEFGHI"),
        ("worse", Trigger::Worse, false, None, "0ABBDEFGHI"),
    ];
    for (what, trigger, latches, design, wanted) in table {
        let setting = Setting { manner: Manner { latches, ..manner }, may_raise: true, design };
        let got: String = states
            .iter()
            .map(|(_, life)| life.on(now, trigger, &setting).map_or('-', |(next, _)| letter(next)))
            .collect();
        assert_eq!(got, wanted, "{what}");
    }
    // A silence that ends at once leads where the condition is; what was answered before it is asked for again.
    let setting = Setting { manner, may_raise: true, design: None };
    for (into, out) in [(Trigger::Shelve(until), Trigger::Unshelve), (Trigger::TakeOut(None), Trigger::PutBack)] {
        let through = |life: &Life| {
            let (silent, _) = life.on(now, into, &setting).ok()?;
            silent.on(now, out, &setting).ok().map(|(life, _)| letter(life))
        };
        let got: String = states.iter().map(|(_, life)| through(life).unwrap_or('-')).collect();
        assert_eq!(got, if out == Trigger::Unshelve { "0ABBAFFBB-" } else { "0ABBAFFBBB" }, "{out:?}");
    }
    let declined = |life: Life| life.on(now, Trigger::Reset, &setting).unwrap_err();
    let held_again = Life::Latched { since: at(90), acknowledged: true, holding: Some(at(99)) };
    assert_eq!(declined(held_again), Declined::StillTrue);
    assert_eq!(declined(Life::Unacknowledged { since: at(90), over: None }), Declined::StillTrue);
    assert_eq!(declined(Life::Normal { holding: None }), Declined::NotLatched);
    for state in S::ALL {
        assert_eq!(Life::restored(state, now).state(), state);
    }
}

/// What a keeper or the clock may do, by its number from 0 to 7.
pub(crate) fn act(n: u64, until: Timestamp) -> Trigger {
    match n {
        0 => Trigger::Acknowledge,
        1 => Trigger::Reset,
        2 => Trigger::Shelve(until),
        3 => Trigger::Unshelve,
        4 => Trigger::TakeOut(Some(until)),
        5 => Trigger::PutBack,
        6 => Trigger::Worse,
        _ => Trigger::Time,
    }
}

/// An event names the state that it leads to; a state that changes has an event, but for the first judging.
#[test]
fn no_state_changes_without_an_event() {
    let mut dice = Dice(7);
    for round in 0..2_000 {
        let manner = Manner { latches: round % 3 == 0, settles: round % 2 == 0, ..plain() };
        let mut life = Life::NotJudged;
        for min in 0..60 {
            let design =
                [None, None, Some(Design::Cause(Alarm::NodeSilent)), Some(Design::Season)][dice.below(4) as usize];
            let setting = Setting { manner, may_raise: dice.below(5) > 0, design };
            let now = at(min);
            let until = now.plus(Span::from_min(1 + dice.below(9) as i64));
            let trigger = match dice.below(16) {
                n @ 0..=7 => act(n, until),
                8..=10 => Trigger::Judged(Verdict::Well),
                11 => Trigger::Judged(Verdict::Between),
                _ => Trigger::Judged(Verdict::Ill),
            };
            let Ok((next, event)) = life.on(now, trigger, &setting) else { continue };
            let first = life.state() == S::NotJudged && next.state() == S::Normal;
            assert!(first || event.is_some() || next.state() == life.state(), "{life:?} {trigger:?} {next:?}");
            let fits = match event {
                Some(Event::Unacknowledged) => next.state() == S::Unacknowledged,
                Some(Event::Reset) => next.state() == S::Normal,
                Some(Event::Shelved) => next.state() == S::Shelved,
                Some(Event::OutOfService) => next.state() == S::OutOfService,
                Some(Event::Suppressed) => next.state() == S::Suppressed,
                Some(Event::Acknowledged) => matches!(next.state(), S::Acknowledged | S::Latched),
                _ => true,
            };
            assert!(fits, "{life:?} {trigger:?} {event:?} {next:?}");
            assert!(event != Some(Event::Raised) || setting.may_raise, "nothing is raised while learning");
            life = next;
        }
    }
}

/// What OPC 10000-9 (v1.05) says of its two-state variables, on random paths: active means that the condition holds now,
/// and neither answering nor silencing changes that (4.8, 5.8.2); every new activity needs an answer of its own (4.3,
/// 5.7.2); what latched stays until it is reset, even if its value came back (4.8). One thing differs on purpose: there an
/// answer outlives a silence, here it is asked for again.
#[test]
fn what_part_9_says_of_its_states_holds_on_every_path() {
    let mut dice = Dice(11);
    let (mut raised, mut resets) = (0, 0);
    for round in 0..1_000 {
        let manner = Manner { latches: round % 2 == 0, ..plain() };
        let (mut life, mut held) = (Life::NotJudged, false);
        for min in 0..80 {
            let design =
                [None, None, Some(Design::Cause(Alarm::NodeSilent)), Some(Design::Chatter)][dice.below(4) as usize];
            let setting = Setting { manner, may_raise: true, design };
            let now = at(min);
            let until = now.plus(Span::from_min(1 + dice.below(9) as i64));
            let trigger = match dice.below(14) {
                n @ 0..=7 => act(n, until),
                8..=10 => Trigger::Judged(Verdict::Well),
                _ => Trigger::Judged(Verdict::Ill),
            };
            let Ok((next, event)) = life.on(now, trigger, &setting) else { continue };
            let judged = matches!(trigger, Trigger::Judged(_));
            assert!(judged || next.is_ill() == life.is_ill(), "{life:?} {trigger:?} {next:?}: nobody but the judge");
            if event == Some(Event::Raised) {
                (held, raised) = (true, raised + 1);
                let answered = matches!(next.state(), S::Acknowledged | S::Returned | S::Latched | S::Normal);
                assert!(!answered, "{life:?} {next:?}: raised needs an answer of its own");
            }
            if event == Some(Event::Reset) {
                assert!(manner.latches && !life.is_ill(), "{life:?}: reset while true, or what does not latch");
                (held, resets) = (false, resets + 1);
            }
            assert!(!manner.latches || !held || next.state() != S::Normal, "{life:?} {trigger:?}: latched and let go");
            life = next;
        }
    }
    assert!(raised > 1_000 && resets > 100, "the paths lead somewhere: {raised} raised, {resets} reset");
}

#[test]
fn on_a_clock_that_was_set_no_delay_is_longer_and_no_silence_endless() {
    let now = at(0);
    let day = Span::from_h(24);
    let longest = Span::from_min(30);
    // Back by a day: what was written then lies ahead.
    let ahead = Life::Normal { holding: Some(now.plus(day)) };
    assert_eq!(ahead.shifted(Span::ZERO, now, longest), Life::Normal { holding: Some(now) });
    let silent = Life::Shelved { until: now.plus(day), beneath: Beneath::UNKNOWN };
    assert_eq!(silent.shifted(Span::ZERO, now, longest).ends(), Some(now.plus(longest)));
    // Forward by a day: a delay that ran for a minute has run for a minute.
    let ran = Life::Normal { holding: Some(now.minus(Span::from_min(1))) };
    let later = now.plus(day);
    assert_eq!(ran.shifted(day, later, longest), Life::Normal { holding: Some(later.minus(Span::from_min(1))) });
}
