use super::*;
use crate::notices::samples;
use crate::shelf_file::QuietHours;
use enclosure::{Alarm, State};

/// A way, its clock, and what it said: one word a message.
struct Way {
    desk: Desk,
    now: Span,
    wall: Timestamp,
    said: Vec<String>,
}

impl Way {
    fn new(desk: Desk) -> Self {
        Self { desk, now: Span::ZERO, wall: Timestamp::from_unix_ms(1_772_323_200_000), said: Vec::new() }
    }

    fn plain() -> Self {
        Self::new(Desk::new(Priority::Advice, Span::ZERO, None))
    }

    fn hear(&mut self, alarm: Alarm, event: Event) {
        self.hear_at(alarm, event, "oak");
    }

    fn hear_at(&mut self, alarm: Alarm, event: Event, nest: &str) {
        self.desk.take(self.now, Arc::new(samples::told(alarm, event, nest)));
    }

    /// Lets `min` minutes pass; every attempt ends as `how` says.
    fn pass(&mut self, min: i64, how: &Sent) {
        let end = Span::from_ms(self.now.ms() + min * 60_000);
        loop {
            while let Some(job) = self.desk.next(self.now, self.wall) {
                if *how == Sent::Done {
                    let c = &job.told.change;
                    let nest = c.nest.clone().unwrap_or_default();
                    self.said.push(format!("{}: {} {} {nest}", self.now.ms() / 60_000, c.event.name(), c.alarm));
                }
                self.desk.done(self.now, job.serial, how);
            }
            let next = self.desk.wake_at(self.now, self.wall).filter(|next| *next <= end);
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
    let mut way = Way::new(Desk::new(Priority::Danger, Span::ZERO, None));
    way.hear(Alarm::BroodHot, Event::Raised);
    let mut consequence = samples::told(Alarm::BroodLimit, Event::Raised, "oak");
    consequence.change.told = false;
    way.desk.take(way.now, Arc::new(consequence));
    way.pass(60, &Sent::Done);
    assert!(way.said.is_empty());
}

#[test]
fn a_danger_that_outlasts_its_silence_wakes_again() {
    let mut way = Way::plain();
    let mut back = samples::told(Alarm::BroodLimit, Event::Unshelved, "oak");
    back.change.told = false;
    back.change.state = State::Unacknowledged;
    way.desk.take(way.now, Arc::new(back.clone()));
    way.pass(1, &Sent::Done);
    assert_eq!(way.said, ["0: unshelved brood-limit oak"]);
    back.change.state = State::Normal;
    way.desk.take(way.now, Arc::new(back));
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
fn a_message_that_is_refused_stands_in_nobodys_way() {
    let mut way = Way::plain();
    way.hear(Alarm::BroodHot, Event::Raised);
    way.hear(Alarm::WaterLow, Event::Raised);
    way.pass(30, &Sent::Refused("no".to_owned()));
    assert_eq!((way.desk.entries.len(), way.desk.dropped()), (0, 2));
    way.hear(Alarm::BroodLimit, Event::Raised);
    way.pass(30, &Sent::Refused("no".to_owned()));
    assert_eq!(way.desk.entries.len(), 1, "a danger is never given up");
}

#[test]
fn a_second_recipient_hears_only_what_nobody_answered() {
    let mut way = Way::new(Desk::new(Priority::Danger, Span::from_min(10), None));
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
    let mut way = Way::new(Desk::new(Priority::Advice, Span::ZERO, Quiet::new(&hours)));
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
fn what_stood_at_the_start_is_said_again_except_advice() {
    let mut way = Way::plain();
    for alarm in [Alarm::BroodLimit, Alarm::BroodHot, Alarm::GradientFlat] {
        let mut told = samples::told(alarm, Event::Raised, "oak");
        told.restored = true;
        way.desk.take(way.now, Arc::new(told));
    }
    way.pass(1, &Sent::Done);
    assert_eq!(way.said, ["0: raised brood-limit oak", "0: raised brood-hot oak"]);
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
