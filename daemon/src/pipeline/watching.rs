//! The watch over the watch itself: broker, history, messages; and the hourly chores.
use super::clocks::Behind;
use super::draft::Draft;
use super::keeping::{self, KEPT};
use super::restoring::{ENDED, ENDED_WELL, WATCHED_UNTIL};
use super::{Pipeline, SHOW_EVERY};
use crate::clock::Clock;
use crate::history::{Batch, Gap};
use crate::intake::Link;
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
    broker_lost: Option<Span>,
    /// Since when, by the wall clock, once it is told.
    broker_told: Option<Timestamp>,
    history_failing: Option<Timestamp>,
    set_aside: Option<Span>,
    dated: Option<Span>,
    pub(super) tended: Option<Timestamp>,
}

impl Watching {
    pub(super) fn new(clock: &dyn Clock) -> Self {
        let (ticked, wall) = (clock.monotonic(), clock.now());
        Self {
            ticked,
            checked: ticked,
            wall,
            jumped: None,
            behind: None,
            broker_lost: Some(ticked),
            broker_told: None,
            history_failing: None,
            set_aside: None,
            dated: None,
            tended: None,
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
            // If it fails, the writer says so, and the days stay as they are.
            drop(self.writer.tend(wall));
        }
        if self.touched || now.ms() - self.shown.ms() >= SHOW_EVERY.ms() {
            self.show();
        }
    }

    pub(super) fn link_changed(&mut self) {
        self.touched = true;
        let link = self.link.borrow_and_update().clone();
        let vitals = &mut self.tally.vitals;
        match link {
            Link::Connected { live: true, .. } => {
                self.watching.broker_lost = None;
                vitals.broker_lost = None;
            }
            Link::Connected { live: false, .. } => {
                self.watching.broker_lost.get_or_insert(self.clock.monotonic());
                vitals.broker_lost = Some(say!("seen-broker-deaf"));
            }
            Link::Lost { why, .. } => {
                self.watching.broker_lost.get_or_insert(self.clock.monotonic());
                vitals.broker_lost = Some(why);
            }
        }
    }

    fn check_broker(&mut self, now: Span) {
        let patience = self.core.shelf().alarms.on_delay(Alarm::BrokerLost);
        let patience_ends = |since: Span| now.ms() - since.ms() > patience.ms();
        match self.watching.broker_lost {
            Some(since) if self.watching.broker_told.is_none() && patience_ends(since) => {
                let ms = (now.ms() - since.ms()) as f64 * self.clock.pace();
                self.watching.broker_told = Some(self.clock.now().minus(Span::from_ms(ms as i64)));
                let why = self.tally.vitals.broker_lost.clone().unwrap_or_else(|| say!("seen-broker-no-answer"));
                let detail = say!("seen-broker-lost", why = why);
                self.watch(Alarm::BrokerLost, true, detail);
            }
            None if let Some(from) = self.watching.broker_told.take() => {
                self.store_gap(Gap { from, to: self.clock.now(), why: say!("gap-broker") });
                self.watch(Alarm::BrokerLost, false, say!("seen-broker-again"));
            }
            _ => {}
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
