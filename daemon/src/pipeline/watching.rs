//! The watch over the watch itself: history, messages; and the hourly chores.
use super::clocks::Behind;
use super::draft::Draft;
use super::keeping::{self, KEPT};
use super::reach::Reach;
use super::restoring::{AGED, ENDED, ENDED_WELL, WATCHED_UNTIL};
use super::{Pipeline, SHOW_EVERY};
use crate::clock::Clock;
use crate::history::{Batch, Gap};
use crate::snapshot::Sent;
use dashboards::{list_semicolon, say};
use enclosure::{Alarm, Input, Span, Timestamp};

/// How long a history that was set aside at the start is held for worth saying.
const SET_ASIDE_SHOWN: Span = Span::from_min(10);
/// The moment until which was watched is stored so often.
const DATE_EVERY: Span = Span::from_min(1);
/// Closed days are packed, and old ones thinned, so often.
const TEND_EVERY: Span = Span::from_h(1);

/// What is remembered between two turns.
#[derive(Debug)]
pub(super) struct Watching {
    /// The last tick, by the monotonic clock.
    pub(super) ticked: Span,
    /// When the clocks were compared last, by the monotonic one, and the wall clock then.
    pub(super) checked: Span,
    pub(super) wall: Timestamp,
    pub(super) jumped: Option<Span>,
    pub(super) behind: Option<Behind>,
    pub(super) reach: Reach,
    history_failing: Option<Timestamp>,
    set_aside: Option<Span>,
    dated: Option<Span>,
    pub(super) tended: Option<Timestamp>,
    /// What old days are old by.
    aged: Option<Timestamp>,
}

impl Watching {
    pub(super) fn new(clock: &dyn Clock, aged: Option<Timestamp>) -> Self {
        let (ticked, wall) = (clock.monotonic(), clock.now());
        Self {
            ticked,
            checked: ticked,
            wall,
            jumped: None,
            behind: None,
            reach: Reach::new(ticked),
            history_failing: None,
            set_aside: None,
            dated: None,
            tended: None,
            aged,
        }
    }

    /// Adds to a batch until when was watched, once a minute; whether it did.
    fn date(&mut self, batch: &mut Batch, clock: &dyn Clock) -> bool {
        let now = clock.monotonic();
        let due = self.dated.is_none_or(|dated| now.ms() - dated.ms() >= DATE_EVERY.ms());
        if due {
            self.dated = Some(now);
            batch.facts.push((WATCHED_UNTIL.to_owned(), clock.now().unix_ms().to_string()));
            batch.facts.push((ENDED.to_owned(), String::new()));
        }
        due
    }

    /// Adds to the last batch that the end was a good one.
    pub(super) fn end(&mut self, batch: &mut Batch, clock: &dyn Clock) {
        self.dated = Some(clock.monotonic());
        batch.facts.push((WATCHED_UNTIL.to_owned(), clock.now().unix_ms().to_string()));
        batch.facts.push((ENDED.to_owned(), ENDED_WELL.to_owned()));
    }
}

/// What old days are old by after `known`: the clock, but no more than a day on at a time. An hour of a wrong year must not
/// thin a year of readings; and after a long time without a watch some days later is early enough.
fn aged(known: Option<Timestamp>, wall: Timestamp) -> Timestamp {
    known.map_or(wall, |known| known.plus(Span::from_h(24)).min(wall))
}

impl Pipeline {
    /// Adds to a batch, once a minute, until when was watched and what must outlive a restart.
    pub(super) fn date(&mut self, batch: &mut Batch) {
        if self.watching.date(batch, self.clock.as_ref()) && !batch.facts.iter().any(|(name, _)| name == KEPT) {
            batch.facts.push((KEPT.to_owned(), keeping::written(&self.core)));
        }
    }

    pub(super) async fn tick(&mut self) {
        let now = self.clock.monotonic();
        self.end_grace(now);
        self.withdraw();
        self.watching.ticked = now;
        if let Some(pulse) = self.settings.pulse {
            pulse();
        }
        self.check_broker(now);
        self.settle_set_aside(now);
        if self.watching.dated.is_none_or(|dated| now.ms() - dated.ms() >= DATE_EVERY.ms()) {
            let mut batch = Batch::default();
            self.date(&mut batch);
            self.submit(Draft { batch, ..Draft::default() });
        }
        let wall = self.clock.now();
        if self.watching.tended.is_none_or(|tended| wall.since(tended) >= TEND_EVERY) {
            self.watching.tended = Some(wall);
            let aged = aged(self.watching.aged, wall);
            self.watching.aged = Some(aged);
            let facts = vec![(AGED.to_owned(), aged.unix_ms().to_string())];
            self.submit(Draft { batch: Batch { facts, ..Batch::default() }, ..Draft::default() });
            // If it fails, the writer says so, and the days stay as they are.
            drop(self.writer.tend(wall, aged));
        }
        if self.touched || now.ms() - self.shown.ms() >= SHOW_EVERY.ms() {
            self.show();
        }
    }

    /// A history that was damaged is told like one that fails: not everybody reads a log. Once, for some minutes.
    pub(super) fn say_set_aside(&mut self) {
        if let Some(what) = self.settings.set_aside.take() {
            self.watching.set_aside = Some(self.clock.monotonic());
            self.watch(Alarm::HistoryFailing, true, what);
        }
    }

    fn settle_set_aside(&mut self, now: Span) {
        let since = self.watching.set_aside;
        if since.is_some_and(|since| now.ms() - since.ms() > SET_ASIDE_SHOWN.ms()) {
            self.watching.set_aside = None;
            if self.watching.history_failing.is_none() {
                self.watch(Alarm::HistoryFailing, false, say!("seen-history-new"));
            }
        }
    }

    /// History can be written, or why not.
    pub(super) fn history_is(&mut self, failing: Option<String>) {
        self.touched = true;
        let was = std::mem::replace(&mut self.tally.vitals.history_failing, failing.clone());
        match (was, failing) {
            (None, Some(why)) => {
                self.watching.history_failing = Some(self.clock.now());
                self.watch(Alarm::HistoryFailing, true, say!("seen-history-failing", why = why));
            }
            (Some(why), None) => {
                if let Some(from) = self.watching.history_failing.take() {
                    let why = say!("gap-history", why = why);
                    self.store_gap(Gap { from, to: self.clock.now(), why });
                }
                self.watch(Alarm::HistoryFailing, false, say!("seen-history-again"));
            }
            _ => {}
        }
    }

    /// A message to a keeper was sent, or was not.
    pub(super) fn message_sent(&mut self, sent: Sent) {
        self.touched = true;
        let Sent { delivery, failing } = sent;
        let failing_ways = &mut self.tally.vitals.notices_failing;
        let were = failing_ways.len();
        if failing {
            failing_ways.insert(delivery.way.clone(), delivery.outcome.clone());
        } else {
            failing_ways.remove(&delivery.way);
        }
        let (are, list) = (failing_ways.len(), failing_ways.iter());
        let detail = list_semicolon(&list.map(|(way, why)| format!("{way}: {why}")).collect::<Vec<_>>());
        let mut draft = Draft::default();
        draft.batch.deliveries.push(delivery);
        self.submit(draft);
        if are > were {
            self.watch(Alarm::NoticeFailing, true, say!("seen-messages-failing", ways = detail));
        } else if are == 0 && were > 0 {
            self.watch(Alarm::NoticeFailing, false, say!("seen-messages-again"));
        }
    }

    pub(super) fn store_gap(&mut self, gap: Gap) {
        self.submit(Draft { batch: Batch { gaps: vec![gap], ..Batch::default() }, ..Draft::default() });
    }

    pub(super) fn watch(&mut self, alarm: Alarm, failing: bool, detail: String) {
        self.feed(Input::Watch { alarm, failing, detail });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY: Span = Span::from_h(24);

    #[test]
    fn an_hour_of_a_wrong_year_ages_history_by_days_and_a_long_absence_is_made_up_for() {
        let right = Timestamp::from_unix_ms(1_772_323_200_000);
        let wrong = right.plus(Span::from_h(24 * 365));
        let hour = aged(Some(aged(Some(right), wrong)), wrong.plus(Span::from_h(1)));
        assert_eq!(hour, right.plus(DAY).plus(DAY));
        assert_eq!(aged(Some(hour), right.plus(Span::from_h(2))), right.plus(Span::from_h(2)), "back at once");
        let rounds = (0..).scan(right, |known, _| {
            *known = aged(Some(*known), wrong);
            Some(*known)
        });
        assert_eq!(rounds.take_while(|known| *known < wrong).count(), 364);
        assert_eq!(aged(None, right), right, "a new history has nothing that is old");
    }
}
