//! What one way would say of a course of changes if nobody answered, on the changes' own clock: nothing is sent.
use super::desk::{Desk, Past, Sent, Turn};
use super::text::{Context, Message, Occasion, compose};
use crate::history::AlarmRecord;
use crate::shelf_file::ShelfFile;
use crate::snapshot::Told;
use enclosure::{Priority, Span, Timestamp};
use jiff::tz::TimeZone;
use std::sync::Arc;

/// One message that would have gone out.
#[derive(Clone, Debug, PartialEq)]
pub struct Rehearsed {
    /// When.
    pub at: Timestamp,
    /// What it is about.
    pub change: AlarmRecord,
    /// Messages that went out about it before.
    pub repeat: u32,
    /// Its text.
    pub message: Message,
}

/// The first recipient's way that takes everything at once: no quiet hours, no other people.
#[derive(Debug)]
pub struct Rehearsal {
    desk: Desk,
    context: Context,
    began: Option<Timestamp>,
    ids: i64,
    said: Vec<Rehearsed>,
}

impl Rehearsal {
    /// Nothing was said yet of the shelf that `file` describes; hours are told in UTC.
    pub fn new(file: &ShelfFile) -> Self {
        let (desk, context) = (Desk::new(Priority::Advice, file.remind), Context::new(file, TimeZone::UTC));
        Self { desk, context, began: None, ids: 0, said: Vec::new() }
    }

    /// Takes in a change, and says what was due before it. Changes come in the order of their times.
    pub fn hear(&mut self, change: AlarmRecord) {
        let at = change.at;
        self.until(at);
        self.ids += 1;
        let told = Arc::new(Told { change, id: Some(self.ids), restored: false });
        let now = self.own(at);
        self.desk.take(now, told, Turn::FIRST, Past::default());
        self.until(at);
    }

    /// Says what is due until `end`.
    pub fn until(&mut self, end: Timestamp) {
        let end = self.own(end);
        let began = self.began.unwrap_or(Timestamp::from_unix_ms(0));
        let held = |_: &Told| false;
        while let Some(due) = self.desk.wake_at(end, &held).filter(|due| *due <= end) {
            // What is due at once came by a change at its own time.
            let now = due.max(self.said.last().map_or(Span::ZERO, |said| said.at.since(began)));
            let Some(job) = self.desk.next(now, &held) else { return };
            let occasion =
                Occasion { repeat: job.repeat, reminder: job.reminder, second: job.second, ..Occasion::default() };
            let message = compose(&job.told, &self.context, occasion);
            let at = began.plus(now);
            self.said.push(Rehearsed { at, change: job.told.change.clone(), repeat: job.repeat, message });
            self.desk.done(now, job.serial, &Sent::Done);
        }
    }

    /// All that went out, oldest first.
    pub fn said(&self) -> &[Rehearsed] {
        &self.said
    }

    fn own(&mut self, at: Timestamp) -> Span {
        at.since(*self.began.get_or_insert(at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notices::samples;
    use enclosure::{Alarm, Event, State};

    #[test]
    fn a_danger_that_nobody_answers_is_said_in_its_rhythm_and_its_end_once() {
        let begin = Timestamp::from_unix_ms(1_772_323_200_000);
        let change = |alarm, event, min| {
            let mut change = samples::told(alarm, event, "oak").change;
            change.at = begin.plus(Span::from_min(min));
            change
        };
        let mut rehearsal = Rehearsal::new(&samples::shelf());
        rehearsal.hear(change(Alarm::BroodHot, Event::Raised, 0));
        rehearsal.hear(change(Alarm::HeaterStuckOn, Event::Raised, 3));
        let mut over = change(Alarm::HeaterStuckOn, Event::Returned, 14);
        over.state = State::Latched;
        rehearsal.hear(over);
        rehearsal.until(begin.plus(Span::from_h(24)));
        let said: Vec<_> = rehearsal
            .said()
            .iter()
            .map(|s| (s.at.since(begin).ms() / 60_000, s.change.alarm.name(), s.change.event.name(), s.repeat))
            .collect();
        let stuck = |min, repeat| (min, "heater-stuck-on", "raised", repeat);
        assert_eq!(
            said,
            [
                (0, "brood-hot", "raised", 0),
                stuck(3, 0),
                stuck(5, 1),
                stuck(7, 2),
                stuck(9, 3),
                stuck(11, 4),
                stuck(13, 5),
                (14, "heater-stuck-on", "returned", 0),
            ]
        );
        assert!(rehearsal.said()[1].message.first_line.starts_with("DANGER: nest oak"));
    }
}
