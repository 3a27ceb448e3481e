use super::*;
use crate::notices::samples;
use crate::notices::schedule::Quiet;
use crate::shelf_file::QuietHours;
use enclosure::{Alarm, Timestamp};

const REMIND: Span = Span::from_min(5);

/// A way, its clock, and what it said: one word a message.
struct Way {
    desk: Desk,
    turn: Turn,
    quiet: Option<Quiet>,
    now: Span,
    wall: Timestamp,
    said: Vec<String>,
}

impl Way {
    fn new(desk: Desk) -> Self {
        Self {
            desk,
            turn: Turn::FIRST,
            quiet: None,
            now: Span::ZERO,
            wall: Timestamp::from_unix_ms(1_772_323_200_000),
            said: Vec::new(),
        }
    }

    fn plain() -> Self {
        Self::new(Desk::new(Priority::Advice, REMIND))
    }

    fn hear(&mut self, alarm: Alarm, event: Event) {
        self.hear_at(alarm, event, "oak");
    }

    fn hear_at(&mut self, alarm: Alarm, event: Event, nest: &str) {
        self.take(samples::told(alarm, event, nest));
    }

    fn take(&mut self, told: Told) {
        self.desk.take(self.now, Arc::new(told), self.turn, Past::default());
    }

    /// Answered, and still true.
    fn answered(&mut self, alarm: Alarm) {
        let mut told = samples::told(alarm, Event::Acknowledged, "oak");
        told.change.state = State::Acknowledged;
        self.take(told);
    }

    /// Lets `min` minutes pass; every attempt ends as `how` says.
    fn pass(&mut self, min: i64, how: &Sent) {
        let end = Span::from_ms(self.now.ms() + min * 60_000);
        loop {
            let (quiet, wall) = (self.quiet.clone(), self.wall);
            let held = |told: &Told| {
                let outlook = schedule::Outlook::default();
                quiet.as_ref().is_some_and(|q| q.holds(wall)) && schedule::may_wait(told.change.alarm, outlook)
            };
            while let Some(job) = self.desk.next(self.now, &held) {
                if *how == Sent::Done {
                    let c = &job.told.change;
                    let nest = c.nest.clone().unwrap_or_default();
                    self.said.push(format!("{}: {} {} {nest}", self.now.ms() / 60_000, c.event.name(), c.alarm));
                }
                self.desk.done(self.now, job.serial, how);
            }
            let next = self.desk.wake_at(self.now, &held).filter(|next| *next <= end);
            let to = next.unwrap_or(end);
            self.wall = self.wall.plus(Span::from_ms(to.ms() - self.now.ms()));
            self.now = to;
            if next.is_none() {
                return;
            }
        }
    }

    fn minutes(&self) -> Vec<i64> {
        self.said.iter().filter_map(|s| s.split(':').next()?.parse().ok()).collect()
    }
}

fn down() -> Sent {
    Sent::Unreachable("nobody answers".to_owned())
}

#[test]
fn danger_is_repeated_until_somebody_answers_and_a_warning_is_said_once() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodLimit, Event::Raised);
    way.pass(35, &Sent::Done);
    assert_eq!(way.minutes(), [0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 30]);
    way.hear(Alarm::BroodLimit, Event::Acknowledged);
    way.hear(Alarm::BroodHot, Event::Raised);
    way.pass(100, &Sent::Done);
    assert_eq!(way.said[12..], ["35: raised brood-hot oak"]);
}

#[test]
fn the_end_of_a_danger_is_said_once_and_ends_the_repeats() {
    let mut way = Way::plain();
    way.hear(Alarm::HeaterStuckOn, Event::Raised);
    way.pass(1, &Sent::Done);
    way.hear(Alarm::HeaterStuckOn, Event::Returned);
    way.pass(60, &Sent::Done);
    assert_eq!(way.said, ["0: raised heater-stuck-on oak", "1: returned heater-stuck-on oak"]);
}

#[test]
fn consequences_and_what_is_not_urgent_enough_are_not_said() {
    let mut way = Way::new(Desk::new(Priority::Danger, REMIND));
    way.hear(Alarm::BroodHot, Event::Raised);
    let mut consequence = samples::told(Alarm::BroodLimit, Event::Raised, "oak");
    consequence.change.told = false;
    way.take(consequence);
    way.pass(60, &Sent::Done);
    assert!(way.said.is_empty());
}

#[test]
fn a_danger_that_outlasts_its_silence_wakes_again() {
    let mut way = Way::plain();
    let mut back = samples::told(Alarm::BroodLimit, Event::Unshelved, "oak");
    back.change.told = false;
    back.change.state = State::Unacknowledged;
    way.take(back.clone());
    way.pass(1, &Sent::Done);
    assert_eq!(way.said, ["0: unshelved brood-limit oak"]);
    back.change.state = State::Normal;
    way.take(back);
    way.pass(60, &Sent::Done);
    assert_eq!(way.said.len(), 1);
}

#[test]
fn a_way_out_of_order_says_everything_later_in_order_dangers_first() {
    let mut way = Way::plain();
    way.hear_at(Alarm::BroodHot, Event::Raised, "ash");
    way.hear_at(Alarm::BroodHot, Event::Raised, "oak");
    way.pass(30, &down());
    way.hear_at(Alarm::BroodLimit, Event::Raised, "elm");
    way.pass(0, &down());
    way.pass(6, &Sent::Done);
    let first: Vec<_> = way.said.iter().take(3).map(|s| s.split_once(' ').map_or("", |p| p.1)).collect();
    assert_eq!(first, ["raised brood-limit elm", "raised brood-hot ash", "raised brood-hot oak"]);
}

#[test]
fn what_ended_while_the_way_was_out_of_order_is_said_as_ended() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodHot, Event::Raised);
    way.pass(3, &down());
    way.hear(Alarm::BroodHot, Event::Returned);
    way.pass(10, &Sent::Done);
    assert_eq!(way.said.len(), 1);
    assert!(way.said[0].ends_with("returned brood-hot oak"), "{:?}", way.said);
}

#[test]
fn a_message_that_is_refused_stands_in_nobodys_way_and_is_not_given_up() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodHot, Event::Raised);
    way.pass(30, &Sent::Refused("no".to_owned()));
    way.hear(Alarm::NestUnwatched, Event::Raised);
    way.pass(1, &Sent::Done);
    assert_eq!(way.said, ["30: raised nest-unwatched oak"]);
    way.pass(65, &Sent::Done);
    assert_eq!(way.said.len(), 2, "{:?}", way.said);
    way.hear(Alarm::BroodLimit, Event::Raised);
    way.pass(30, &Sent::Refused("no".to_owned()));
    way.pass(1, &Sent::Done);
    assert!(way.said[2].ends_with("raised brood-limit oak"), "a danger is tried without a pause");
}

#[test]
fn a_second_recipient_hears_only_what_nobody_answered() {
    let mut way = Way::new(Desk::new(Priority::Danger, REMIND));
    way.turn = Turn { rank: 1, delay: Span::from_min(10), dangers_only: false };
    way.hear_at(Alarm::BroodLimit, Event::Raised, "oak");
    way.hear_at(Alarm::BroodLimit, Event::Raised, "ash");
    way.pass(9, &Sent::Done);
    way.hear_at(Alarm::BroodLimit, Event::Acknowledged, "oak");
    way.pass(2, &Sent::Done);
    assert_eq!(way.said, ["10: raised brood-limit ash"]);
}

#[test]
fn quiet_hours_hold_what_may_wait_and_drop_what_is_over_by_morning() {
    let hours = QuietHours { from_min: 0, to_min: 60, time_zone: "UTC".to_owned() };
    let mut way = Way::plain();
    way.quiet = Quiet::new(&hours);
    way.hear_at(Alarm::GradientFlat, Event::Raised, "ash");
    way.hear_at(Alarm::WaterLow, Event::Raised, "oak");
    way.hear_at(Alarm::BroodHot, Event::Raised, "elm");
    way.pass(30, &Sent::Done);
    assert_eq!(way.said, ["0: raised brood-hot elm"]);
    way.hear_at(Alarm::GradientFlat, Event::Cleared, "ash");
    way.pass(60, &Sent::Done);
    assert_eq!(way.said[1..], ["60: raised water-low oak"]);
}

#[test]
fn a_flood_drops_the_oldest_that_is_no_danger_and_counts_it() {
    let mut way = Way::plain();
    way.hear_at(Alarm::BroodLimit, Event::Raised, "first");
    for i in 0..2 * PENDING_MAX {
        way.hear_at(Alarm::BroodHot, Event::Raised, &format!("nest-{i}"));
    }
    assert_eq!((way.desk.entries.len(), way.desk.dropped()), (PENDING_MAX, PENDING_MAX as u64 + 1));
    way.pass(0, &Sent::Done);
    assert_eq!(way.said[0], "0: raised brood-limit first");
    assert_eq!(way.said[1], format!("0: raised brood-hot nest-{}", PENDING_MAX + 1));
}

#[test]
fn the_same_alarm_told_anew_replaces_the_old_message() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodHot, Event::Raised);
    way.hear(Alarm::BroodHot, Event::Raised);
    way.pass(1, &Sent::Done);
    assert_eq!(way.said.len(), 1);
}

#[test]
fn the_next_person_is_told_at_4_minutes_and_everyone_at_8() {
    for (rank, minutes) in [
        (0, vec![0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 30, 40]),
        (1, vec![4, 6, 8, 10, 12, 14, 16, 18, 20, 30, 40]),
        (2, vec![8, 10, 12, 14, 16, 18, 20, 30, 40]),
        (7, vec![8, 10, 12, 14, 16, 18, 20, 30, 40]),
    ] {
        let mut way = Way::plain();
        way.turn = Turn::of_rank(rank);
        way.hear(Alarm::HeaterStuckOn, Event::Raised);
        way.hear(Alarm::BroodHot, Event::Raised);
        way.pass(41, &Sent::Done);
        let dangers: Vec<_> = way.said.iter().filter(|s| s.contains("heater-stuck-on")).cloned().collect();
        let warned = way.said.len() - dangers.len();
        assert_eq!(warned, usize::from(rank == 0), "a neighbour is woken for danger only");
        way.said = dangers;
        assert_eq!(way.minutes(), minutes, "rank {rank}");
    }
}

#[test]
fn an_answered_danger_that_goes_on_is_brought_to_mind_and_goes_on_to_the_next_person() {
    for (rank, minutes) in [(0, vec![1, 6, 11, 16, 21]), (1, vec![12, 17, 22]), (2, vec![17, 22])] {
        let mut way = Way::plain();
        way.turn = Turn::of_rank(rank);
        way.hear(Alarm::HeaterStuckOn, Event::Raised);
        way.pass(1, &Sent::Done);
        let before = way.said.len();
        way.answered(Alarm::HeaterStuckOn);
        way.pass(23, &Sent::Done);
        let reminders = way.minutes().split_off(before);
        let wanted: Vec<i64> = if rank == 0 { minutes[1..].to_vec() } else { minutes };
        assert_eq!(reminders, wanted, "rank {rank}: {:?}", way.said);
        // It ends when it is over, and whoever was told hears that.
        way.said.clear();
        way.hear(Alarm::HeaterStuckOn, Event::Cleared);
        way.pass(60, &Sent::Done);
        assert_eq!(way.said.len(), 1, "rank {rank}: {:?}", way.said);
    }
}

#[test]
fn worse_than_when_it_was_answered_is_raised_anew_and_a_silence_ends_the_reminders() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodLimit, Event::Raised);
    way.pass(1, &Sent::Done);
    way.answered(Alarm::BroodLimit);
    let mut worse = samples::told(Alarm::BroodLimit, Event::Unacknowledged, "oak");
    (worse.change.told, worse.change.state) = (true, State::Unacknowledged);
    way.pass(1, &Sent::Done);
    way.take(worse);
    way.pass(3, &Sent::Done);
    assert_eq!(way.said[1..], ["2: unacknowledged brood-limit oak", "4: unacknowledged brood-limit oak"]);
    way.answered(Alarm::BroodLimit);
    way.hear(Alarm::BroodLimit, Event::Shelved);
    way.pass(60, &Sent::Done);
    assert_eq!(way.said.len(), 3);
}

/// Three people's ways, the first of which has told of a stuck mat; and the name of that.
fn three_ways_a_minute_on() -> ([Way; 3], AlarmName) {
    let ways = [0, 1, 2].map(|rank| {
        let mut way = Way::plain();
        way.turn = Turn::of_rank(rank);
        way.hear(Alarm::HeaterStuckOn, Event::Raised);
        way.pass(1, &Sent::Done);
        way
    });
    (ways, AlarmName { alarm: "heater-stuck-on".to_owned(), nest: Some("oak".to_owned()), probe: None, node: None })
}

#[test]
fn someone_on_the_way_quiets_the_repetition_for_half_an_hour_and_not_the_escalation() {
    let (mut ways, name) = three_ways_a_minute_on();
    for way in &mut ways {
        way.desk.on_the_way(way.now, &name);
        way.pass(45, &Sent::Done);
    }
    let minutes = ways.map(|way| way.minutes());
    assert_eq!(minutes, [vec![0, 31, 40], vec![4, 31, 40], vec![8, 31, 40]]);
}

#[test]
fn who_cannot_get_there_passes_it_on_at_once() {
    let (mut ways, name) = three_ways_a_minute_on();
    for way in &mut ways {
        way.desk.pass_on(way.now, &name);
        way.pass(1, &Sent::Done);
    }
    assert_eq!([ways[0].minutes(), ways[1].minutes(), ways[2].minutes()], [vec![0, 2], vec![1], vec![]]);
    for way in &mut ways {
        way.desk.pass_on(way.now, &name);
        way.pass(0, &Sent::Done);
    }
    assert_eq!(ways[2].minutes(), [2]);
}

#[test]
fn what_stood_at_the_start_is_said_if_it_did_not_get_out_before() {
    let mut way = Way::plain();
    let past = |sent| Past {
        sent,
        first: Span::from_min(3),
        last: Span::from_min(1),
        began: Span::from_min(3),
        ..Past::default()
    };
    for (alarm, sent) in [
        (Alarm::BroodLimit, 0),
        (Alarm::ProbeHot, 2),
        (Alarm::BroodHot, 0),
        (Alarm::BroodCold, 1),
        (Alarm::GradientFlat, 1),
    ] {
        let mut told = samples::told(alarm, Event::Raised, "oak");
        told.restored = true;
        way.desk.take(Span::from_min(10), Arc::new(told), Turn::FIRST, past(sent));
    }
    way.now = Span::from_min(10);
    way.pass(0, &Sent::Done);
    assert_eq!(way.said, ["10: raised brood-limit oak", "10: raised brood-hot oak"]);
    way.said.clear();
    way.pass(1, &Sent::Done);
    assert_eq!(way.said, ["11: raised probe-hot oak"], "its repeats go on as though nothing had been");
}

#[test]
fn failures_in_a_row_are_counted_until_one_succeeds() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodHot, Event::Raised);
    way.pass(1, &down());
    assert!(way.desk.failures() >= crate::notices::FAILING_AFTER);
    way.pass(1, &Sent::Done);
    assert_eq!(way.desk.failures(), 0);
}
