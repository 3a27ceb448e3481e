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

/// What is too hot cools for an hour; but a danger, or a silence, that its cause does not explain any more may wait for
/// ten minutes at the most, and one that begins then is told at once.
#[test]
fn a_danger_or_a_silence_outlasts_its_cause_for_ten_minutes_and_no_new_one_is_laid_to_it() {
    let pairs = [(Alarm::BroodLimit, Alarm::HeaterStuckOn), (Alarm::ProbeSilent, Alarm::NodeSilent)];
    for (alarm, cause) in pairs {
        let mut board = Board::default();
        judge(&mut board, 0, &key(cause, 0), &case(cause, true));
        assert!(!judge(&mut board, 1, &key(alarm, 0), &caused(true, alarm, cause))[0].told);
        judge(&mut board, 20, &key(cause, 0), &case(cause, false));
        let told: Vec<i64> = (20..60)
            .filter(|min| judge(&mut board, *min, &key(alarm, 0), &caused(true, alarm, cause)).iter().any(|c| c.told))
            .collect();
        assert_eq!(told, [30], "{alarm}");
        let mut board = Board::default();
        judge(&mut board, 0, &key(cause, 0), &case(cause, true));
        judge(&mut board, 20, &key(cause, 0), &case(cause, false));
        let new = judge(&mut board, 21, &key(alarm, 0), &caused(true, alarm, cause));
        assert!(new[0].told && new[0].cause.is_none(), "{alarm} is new: {new:?}");
    }
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
    assert_eq!(out[1].remark, Some(Remark::WorseBy(Alarm::BroodLimit)));
}

/// Whoever answered for a dead mat knows that the brood place will get cold.
#[test]
fn what_is_no_danger_beneath_an_answered_cause_wakes_nobody() {
    let mut board = Board::default();
    let (dead, cold) = (key(Alarm::HeaterNoHeat, 0), key(Alarm::BroodCold, 0));
    judge(&mut board, 0, &dead, &case(Alarm::HeaterNoHeat, true));
    board.act(at(1), &dead, Trigger::Acknowledge, (None, &[]), &mut vec![]).unwrap();
    let out = judge(&mut board, 9, &cold, &caused(true, Alarm::BroodCold, Alarm::HeaterNoHeat));
    assert_eq!(out.iter().map(|c| (c.key.alarm, c.told)).collect::<Vec<_>>(), [(Alarm::BroodCold, false)]);
}

/// Of most alarms nobody can say how grave they are: an answer to one holds until it is over.
#[test]
fn an_answer_holds_where_nothing_can_be_worse() {
    let mut board = Board::default();
    for (alarm, then, now) in
        [(Alarm::ProbeSilent, None, None), (Alarm::BroodHot, Some(31.0), None), (Alarm::BroodCold, None, Some(19.0))]
    {
        let this = key(alarm, 0);
        judge(&mut board, 0, &this, &case(alarm, true));
        board.act(at(1), &this, Trigger::Acknowledge, (then, &[]), &mut vec![]).unwrap();
        assert_eq!(judge(&mut board, 2, &this, &Case { severity: now, ..case(alarm, true) }), []);
    }
}

/// No verdict is needed: what is silenced may be what tells that nobody can judge.
#[test]
fn silences_end_at_their_own_times() {
    let mut board = Board::default();
    let ends = [(Alarm::BroodCold, 31), (Alarm::ProbeSilent, 7), (Alarm::HeaterStuckOn, 20)];
    for (alarm, end) in ends {
        judge(&mut board, 0, &key(alarm, 0), &case(alarm, true));
        board.act(at(0), &key(alarm, 0), Trigger::Shelve(at(end)), (None, &[]), &mut vec![]).unwrap();
    }
    let mut told = vec![];
    for min in 1..40 {
        let due = ends.iter().map(|(_, end)| *end).filter(|end| *end >= min).min();
        assert_eq!(board.due(), due.map(at), "minute {min}");
        let mut out = vec![];
        board.tick(at(min), |_| vec![], &mut out);
        told.extend(out.into_iter().map(|c| (c.key.alarm, min, c.event, c.told)));
    }
    let mut wanted = ends.map(|(alarm, end)| (alarm, end, Event::Unshelved, true));
    wanted.sort_by_key(|(_, end, ..)| *end);
    assert_eq!(told, wanted);
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
    // What was told before stays told.
    for nest in 0..11 {
        assert_eq!(judge(&mut board, 1, &key(Alarm::BroodCold, nest), &case(Alarm::BroodCold, true)), []);
    }
    // A danger is told all the same.
    let danger = judge(&mut board, 1, &key(Alarm::BroodLimit, 0), &case(Alarm::BroodLimit, true));
    assert_eq!(told(danger), [None]);
    let after: Vec<_> = (0..30).flat_map(|nest| one(&mut board, 12, nest)).collect();
    assert_eq!(after, [Some(Remark::FloodOver(18))]);
}

#[test]
fn a_flood_ends_when_fewer_than_five_came_within_ten_minutes() {
    for (later, ends) in [(4, 10), (5, 15)] {
        let mut board = Board::default();
        let one = |board: &mut Board, min, nest| {
            judge(board, min, &key(Alarm::BroodCold, nest), &case(Alarm::BroodCold, true));
            board.flood().0
        };
        let begun: Vec<bool> = (0..7).map(|nest| one(&mut board, 0, nest)).collect();
        assert!(!begun.contains(&true));
        for nest in 7..7 + later {
            assert_eq!(one(&mut board, 5, nest), nest >= 10);
        }
        let over = (6..20).find(|min| !one(&mut board, *min, 0));
        assert_eq!(over, Some(ends), "{later} came after five minutes");
    }
}

/// A flood is of what people are told: neither of dangers, which are told one by one, nor of what follows from a cause,
/// nor of silences that end.
#[test]
fn what_nobody_is_told_of_or_everybody_must_be_makes_no_flood() {
    let mut board = Board::default();
    judge(&mut board, 0, &key(Alarm::HeaterStuckOn, 0), &case(Alarm::HeaterStuckOn, true));
    for nest in 0..30 {
        let danger = judge(&mut board, 0, &key(Alarm::ProbeHot, nest), &case(Alarm::ProbeHot, true));
        assert_eq!(danger.iter().map(|c| (c.told, c.remark)).collect::<Vec<_>>(), [(true, None)]);
        let hot =
            judge(&mut board, 0, &key(Alarm::BroodHot, nest), &caused(true, Alarm::BroodHot, Alarm::HeaterStuckOn));
        assert!(!hot[0].told && hot[0].cause.is_some());
    }
    assert_eq!((board.flood().0, board.raised().count()), (false, 0));
    for nest in 0..30 {
        let cold = key(Alarm::BroodCold, nest);
        // Before there is anything to tell.
        board.put_back(cold.clone(), Standing::new(at(0)));
        board.act(at(0), &cold, Trigger::Shelve(at(1)), (None, &[]), &mut vec![]).unwrap();
        judge(&mut board, 0, &cold, &case(Alarm::BroodCold, true));
    }
    let mut out = vec![];
    board.tick(at(1), |_| vec![], &mut out);
    assert!(out.len() == 30 && out.iter().all(|c| c.event == Event::Unshelved && c.told && c.remark.is_none()));
    assert!(!board.flood().0);
    // However many come, what is remembered of them has its bound.
    for nest in 100..200 {
        judge(&mut board, 2, &key(Alarm::BroodCold, nest), &case(Alarm::BroodCold, true));
    }
    assert_eq!((board.flood().0, board.raised().count()), (true, 4 * FLOOD_BEGINS));
}

#[test]
fn one_that_comes_and_goes_is_held_back_until_it_stays() {
    let mut board = Board::default();
    let silent = key(Alarm::ProbeSilent, 0);
    let mut told = vec![];
    // What it did last week is not counted.
    for hour in -200..-190 {
        judge(&mut board, hour * 60, &silent, &case(Alarm::ProbeSilent, hour % 2 == 0));
    }
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
    let told = (0..70).flat_map(|m| judge(&mut board, m, &hot, &case(Alarm::ProbeHot, m % 2 == 0))).filter(|c| c.told);
    assert_eq!(told.count(), 35);
    // The newest raisings are remembered, no more of them than are needed.
    let turns: Vec<Timestamp> = board.get(&hot).unwrap().turns.iter().copied().collect();
    assert_eq!(turns, (0..35).map(|n| at(2 * n)).skip(35 - TURNS_KEPT).collect::<Vec<_>>());
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

/// One minute of a random history upon `board`, whose clock says `late` minutes more; a keeper does what `acts` name. Now and then
/// everything is the case at once.
fn minute(board: &mut Board, dice: &mut Dice, min: i64, late: i64, acts: std::ops::Range<u64>) -> Vec<Change> {
    let at = |min: i64| at(min + late);
    let storm = dice.below(12) == 0;
    let alarms =
        [Alarm::BroodCold, Alarm::BroodLimit, Alarm::HeaterStuckOn, Alarm::ProbeImplausible, Alarm::HeaterNoHeat];
    let mut out = vec![];
    board.tick(at(min), |_| vec![], &mut out);
    for nest in 0..5 {
        for alarm in alarms {
            let verdict = match dice.below(8) {
                _ if storm => Verdict::Ill,
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
    let n = dice.below(12);
    if !acts.contains(&n) {
        return out;
    }
    let trigger = act(n, until);
    let chosen = key(alarms[dice.below(5) as usize], dice.below(5) as u16);
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
    let mut floods = 0;
    for seed in 0..40 {
        let (mut left, mut cut) = (Board::default(), Board::default());
        let (mut a, mut b) = (Dice(seed), Dice(seed));
        let mut count = 0;
        for min in 0..200 {
            let before = left.clone();
            let wanted = minute(&mut left, &mut a, min, 0, 0..6);
            count += wanted.len();
            floods += usize::from(left.flood().0 && !before.flood().0);
            cut = restarted(&cut);
            assert_eq!(minute(&mut cut, &mut b, min, 0, 0..6), wanted, "seed {seed}, minute {min}");
            // Since when it is so is the moment of the last change, whatever else is said of it.
            for (key, s) in left.standing() {
                let same = before.get(key).filter(|was| was.life.state() == s.life.state());
                let came_back = wanted.iter().filter(|c| c.key == *key).count() > 1;
                assert!(came_back || s.since == same.map_or(at(min), |was| was.since), "{key:?} {s:?}");
            }
        }
        assert!(count > 100, "seed {seed} tells something: {count}");
    }
    assert!(floods > 10, "{floods} floods");
}

/// Nothing happened in the hours by which a clock was put forward: all goes on as it would have. Ends of silences are
/// moments of the calendar, so nobody silences anything here.
#[test]
fn a_clock_that_is_put_forward_changes_no_event() {
    for seed in 0..20 {
        let (mut left, mut put) = (Board::default(), Board::default());
        let (mut a, mut b) = (Dice(seed), Dice(seed));
        let mut late = 0;
        for min in 0..200 {
            let wanted = minute(&mut left, &mut a, min, 0, 0..2);
            assert_eq!(minute(&mut put, &mut b, min, late, 0..2), wanted, "seed {seed}, minute {min}");
            if min % 7 == 0 {
                late += 90 + min;
                put.shift(Span::from_min(90 + min), at(min + late));
            }
        }
    }
}

/// Put back by a day, what was written then lies ahead: no delay and no flood may wait for that day to come.
#[test]
fn a_clock_that_is_put_back_leaves_nothing_waiting_for_tomorrow() {
    let day = 24 * 60;
    let mut board = Board::default();
    for nest in 0..12 {
        judge(&mut board, day, &key(Alarm::BroodCold, nest), &case(Alarm::BroodCold, true));
    }
    assert!(board.flood().0);
    board.shift(Span::ZERO, at(0));
    assert!(board.raised().chain(board.standing().map(|(_, s)| s.since)).all(|t| t <= at(0)));
    let turns = board.standing().flat_map(|(_, s)| s.turns.iter().copied().chain(s.ended));
    assert!(turns.into_iter().all(|t| t <= at(0)));
    judge(&mut board, 10, &key(Alarm::BroodCold, 0), &case(Alarm::BroodCold, true));
    assert!(!board.flood().0, "ten minutes later it has run off");
}
