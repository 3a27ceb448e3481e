use super::*;
use crate::dice::Dice;
use crate::lifecycle::Declined;
use crate::lifecycle::tests::act;
use std::vec;

const RULES: Rules = Rules { chatter_raised: 3, chatter_within: Span::from_min(60), worse_by: 1.0 };

fn at(min: i64) -> Timestamp {
    Timestamp::from_unix_ms(1_772_000_000_000 + min * 60_000)
}

fn key(alarm: Alarm, nest: u16) -> AlarmKey {
    AlarmKey { alarm, nest: Some(nest), probe: None, node: None }
}

fn case(alarm: Alarm, ill: bool) -> Case {
    Case {
        verdict: if ill { Verdict::Ill } else { Verdict::Well },
        manner: Manner::of(alarm, Span::ZERO, Span::ZERO),
        may_raise: true,
        out_of_season: false,
        causes: vec![],
        severity: None,
    }
}

fn judge(board: &mut Board, min: i64, key: &AlarmKey, case: &Case) -> Vec<Change> {
    let mut out = vec![];
    board.judge(at(min), key, case, &RULES, &mut out);
    out
}

fn caused(ill: bool, alarm: Alarm, cause: Alarm) -> Case {
    Case { causes: vec![key(cause, 0)], ..case(alarm, ill) }
}

#[test]
fn a_cause_is_told_and_its_consequence_is_only_written_down() {
    let mut board = Board::default();
    let (stuck, hot) = (key(Alarm::HeaterStuckOn, 0), key(Alarm::BroodHot, 0));
    let raised = judge(&mut board, 0, &stuck, &case(Alarm::HeaterStuckOn, true));
    assert!(raised[0].told);
    let hot_case = |ill| caused(ill, Alarm::BroodHot, Alarm::HeaterStuckOn);
    let raised = judge(&mut board, 5, &hot, &hot_case(true));
    assert_eq!((raised[0].event, raised[0].cause, raised[0].told), (Event::Raised, Some(Alarm::HeaterStuckOn), false));
    // The pad was unplugged: what is still too hot cools for a while, and only then stands for itself.
    judge(&mut board, 20, &stuck, &case(Alarm::HeaterStuckOn, false));
    assert_eq!(judge(&mut board, 79, &hot, &hot_case(true)), []);
    let alone = judge(&mut board, 80, &hot, &hot_case(true));
    assert_eq!((alone[0].event, alone[0].told, alone[0].cause), (Event::Unsuppressed, true, None));
}

#[test]
fn what_was_told_before_its_cause_was_known_is_withdrawn() {
    let mut board = Board::default();
    let (stuck, limit) = (key(Alarm::HeaterStuckOn, 0), key(Alarm::BroodLimit, 0));
    let limit_case = caused(true, Alarm::BroodLimit, Alarm::HeaterStuckOn);
    assert!(judge(&mut board, 0, &limit, &limit_case)[0].told);
    assert!(judge(&mut board, 2, &stuck, &case(Alarm::HeaterStuckOn, true))[0].told);
    let withdrawn = judge(&mut board, 2, &limit, &limit_case);
    assert_eq!((withdrawn[0].event, withdrawn[0].cause), (Event::Suppressed, Some(Alarm::HeaterStuckOn)));
}

#[test]
fn a_silenced_cause_does_not_silence_a_danger() {
    let mut board = Board::default();
    let (stuck, limit) = (key(Alarm::HeaterStuckOn, 0), key(Alarm::BroodLimit, 0));
    judge(&mut board, 0, &stuck, &case(Alarm::HeaterStuckOn, true));
    let mut out = vec![];
    board.act(at(1), &stuck, Trigger::Shelve(at(31)), (None, &[]), &mut out).unwrap();
    let raised = judge(&mut board, 2, &limit, &caused(true, Alarm::BroodLimit, Alarm::HeaterStuckOn));
    assert!(raised[0].told && raised[0].cause.is_none());
}

#[test]
fn a_danger_beneath_an_answered_cause_makes_that_worse() {
    let mut board = Board::default();
    let (stuck, limit) = (key(Alarm::HeaterStuckOn, 0), key(Alarm::BroodLimit, 0));
    judge(&mut board, 0, &stuck, &case(Alarm::HeaterStuckOn, true));
    board.act(at(1), &stuck, Trigger::Acknowledge, (Some(31.0), &[]), &mut vec![]).unwrap();
    let out = judge(&mut board, 9, &limit, &caused(true, Alarm::BroodLimit, Alarm::HeaterStuckOn));
    let said: Vec<_> = out.iter().map(|c| (c.key.alarm, c.event, c.told)).collect();
    assert_eq!(said, [(Alarm::BroodLimit, Event::Raised, false), (Alarm::HeaterStuckOn, Event::Unacknowledged, true)]);
}

/// One room, two nests: the second is the first one's consequence, but not for somebody who answered for the first only.
#[test]
fn another_nest_is_news_to_who_answered_for_the_first() {
    let (oak, elm, ash) = (key(Alarm::BroodHot, 0), key(Alarm::BroodHot, 1), key(Alarm::BroodHot, 2));
    let others = |this: &AlarmKey| [&oak, &elm, &ash].into_iter().filter(|k| *k != this).cloned().collect();
    let hot = |this: &AlarmKey| Case { causes: others(this), ..case(Alarm::BroodHot, true) };
    let mut board = Board::default();
    assert!(judge(&mut board, 0, &oak, &hot(&oak))[0].told);
    assert!(!judge(&mut board, 1, &elm, &hot(&elm))[0].told, "told with the first");
    assert_eq!(judge(&mut board, 1, &oak, &hot(&oak)), [], "what follows from it does not silence it");
    board.act(at(2), &oak, Trigger::Acknowledge, (Some(31.0), &[]), &mut vec![]).unwrap();
    assert_eq!(judge(&mut board, 3, &elm, &hot(&elm)), [], "what was so when it was answered is no news");
    let third = judge(&mut board, 4, &ash, &hot(&ash));
    assert_eq!(third.iter().map(|c| (c.event, c.told)).collect::<Vec<_>>(), [(Event::Raised, true)]);
}

#[test]
fn hotter_than_when_it_was_answered_is_raised_anew() {
    let mut board = Board::default();
    let limit = key(Alarm::BroodLimit, 0);
    let hot = |c: f64| Case { severity: Some(c), ..case(Alarm::BroodLimit, true) };
    judge(&mut board, 0, &limit, &hot(35.2));
    board.act(at(1), &limit, Trigger::Acknowledge, (Some(35.2), &[]), &mut vec![]).unwrap();
    assert_eq!(judge(&mut board, 2, &limit, &hot(36.1)), []);
    let worse = judge(&mut board, 3, &limit, &hot(36.3));
    assert_eq!((worse[0].event, worse[0].told), (Event::Unacknowledged, true));
}

/// ISA-18.2 and EEMUA 191: more than ten alarms in ten minutes begin a flood, fewer than five end it.
#[test]
fn a_flood_is_told_as_one_and_its_end_once() {
    let mut board = Board::default();
    let told = |changes: Vec<Change>| changes.into_iter().filter(|c| c.told).map(|c| c.remark).collect::<Vec<_>>();
    let one = |board: &mut Board, min, nest| {
        told(judge(board, min, &key(Alarm::BroodCold, nest), &case(Alarm::BroodCold, true)))
    };
    for nest in 0..10 {
        assert_eq!(one(&mut board, 0, nest), [None], "ten are no flood");
    }
    assert_eq!(one(&mut board, 1, 10), [Some(Remark::Flood(11))]);
    for nest in 11..30 {
        assert_eq!(one(&mut board, 1, nest), []);
    }
    // A danger is told all the same.
    let danger = judge(&mut board, 1, &key(Alarm::BroodLimit, 0), &case(Alarm::BroodLimit, true));
    assert_eq!(told(danger), [None]);
    let after: Vec<_> = (0..30).flat_map(|nest| one(&mut board, 12, nest)).collect();
    assert_eq!(after, [Some(Remark::FloodOver(18))]);
}

#[test]
fn one_that_comes_and_goes_is_held_back_until_it_stays() {
    let mut board = Board::default();
    let silent = key(Alarm::ProbeSilent, 0);
    let mut told = vec![];
    for min in 0..30 {
        let out = judge(&mut board, min, &silent, &case(Alarm::ProbeSilent, min % 2 == 0));
        told.extend(out.iter().filter(|c| c.told).map(|_| min));
        if min == 4 {
            assert_eq!(out[0].remark, Some(Remark::Chatters(3)));
        }
    }
    assert_eq!(told, [0, 2], "the third time it is only written down");
    for min in 30..120 {
        let out = judge(&mut board, min, &silent, &case(Alarm::ProbeSilent, true));
        told.extend(out.iter().filter(|c| c.told).map(|_| min));
    }
    assert_eq!(told, [0, 2, 90], "it has stood for an hour");
}

#[test]
fn a_danger_that_comes_and_goes_is_told_each_time() {
    let mut board = Board::default();
    let hot = key(Alarm::ProbeHot, 0);
    let told = (0..10).flat_map(|m| judge(&mut board, m, &hot, &case(Alarm::ProbeHot, m % 2 == 0))).filter(|c| c.told);
    assert_eq!(told.count(), 5);
}

#[test]
fn what_a_keeper_may_not_do_is_declined_and_changes_nothing() {
    let mut board = Board::default();
    let (stuck, cold) = (key(Alarm::HeaterStuckOn, 0), key(Alarm::BroodCold, 0));
    judge(&mut board, 0, &stuck, &case(Alarm::HeaterStuckOn, true));
    judge(&mut board, 0, &cold, &case(Alarm::BroodCold, true));
    let day = |days: i64| at(days * 24 * 60);
    for (key, trigger, why) in [
        (&stuck, Trigger::TakeOut(Some(day(1))), Declined::Danger),
        (&stuck, Trigger::TakeOut(None), Declined::Danger),
        (&stuck, Trigger::Shelve(at(31)), Declined::End),
        (&stuck, Trigger::Shelve(at(-5)), Declined::End),
        (&stuck, Trigger::Reset, Declined::StillTrue),
        (&cold, Trigger::Shelve(day(8)), Declined::End),
        (&cold, Trigger::TakeOut(Some(day(401))), Declined::End),
        (&cold, Trigger::TakeOut(Some(at(0))), Declined::End),
        (&cold, Trigger::PutBack, Declined::InService),
        (&key(Alarm::BroodHot, 7), Trigger::Acknowledge, Declined::NotRaised),
    ] {
        let before = board.clone();
        let mut out = vec![];
        assert_eq!(board.act(at(0), key, trigger, (None, &[]), &mut out), Err(why), "{trigger:?}");
        assert_eq!((&board, out), (&before, vec![]));
    }
    let heat = key(Alarm::HeaterNoHeat, 0);
    assert!(board.act(at(0), &heat, Trigger::TakeOut(Some(day(120))), (None, &[]), &mut vec![]).is_ok());
    assert_eq!(board.get(&heat).unwrap().life.ends(), Some(day(120)), "before it was ever judged, too");
}

/// One minute of a random history upon `board`.
fn minute(board: &mut Board, dice: &mut Dice, min: i64) -> Vec<Change> {
    let alarms =
        [Alarm::BroodCold, Alarm::BroodLimit, Alarm::HeaterStuckOn, Alarm::ProbeImplausible, Alarm::HeaterNoHeat];
    let mut out = vec![];
    board.tick(at(min), |_| vec![], &mut out);
    for nest in 0..3 {
        for alarm in alarms {
            let verdict = match dice.below(8) {
                0..=3 => continue,
                4 => Verdict::Well,
                5 => Verdict::Between,
                6 => Verdict::Unknown,
                _ => Verdict::Ill,
            };
            let causes = match alarm {
                Alarm::BroodCold => vec![key(Alarm::HeaterNoHeat, nest)],
                Alarm::BroodLimit => vec![key(Alarm::HeaterStuckOn, nest)],
                _ => vec![],
            };
            let manner = Manner::of(alarm, Span::from_min(dice.below(3) as i64), Span::from_min(1));
            let severity = Some(30.0 + dice.below(8) as f64);
            let (may_raise, out_of_season) = (dice.below(9) > 0, dice.below(40) == 0);
            let case = Case { verdict, manner, may_raise, out_of_season, causes, severity };
            board.judge(at(min), &key(alarm, nest), &case, &RULES, &mut out);
        }
    }
    let until = at(min + 1 + dice.below(25) as i64);
    let trigger = match dice.below(12) {
        n @ 0..=5 => act(n, until),
        _ => return out,
    };
    let chosen = key(alarms[dice.below(5) as usize], dice.below(3) as u16);
    // Declined acts are part of it.
    let _ = board.act(at(min), &chosen, trigger, (Some(31.0), &[]), &mut out);
    out
}

fn restarted(board: &Board) -> Board {
    let mut anew = Board::default();
    for (key, standing) in board.standing() {
        anew.put_back(key.clone(), standing.clone());
    }
    anew.put_back_flood(board.flood(), board.raised());
    anew
}

/// Whatever was running (delays, ends of silences, floods, answers) goes on as if there had been no restart.
#[test]
fn a_restart_at_every_step_changes_no_event() {
    for seed in 0..40 {
        let (mut left, mut cut) = (Board::default(), Board::default());
        let (mut a, mut b) = (Dice(seed), Dice(seed));
        let mut count = 0;
        for min in 0..200 {
            let wanted = minute(&mut left, &mut a, min);
            count += wanted.len();
            cut = restarted(&cut);
            assert_eq!(minute(&mut cut, &mut b, min), wanted, "seed {seed}, minute {min}");
        }
        assert!(count > 100, "seed {seed} tells something: {count}");
    }
}
