//! How it stands with the broker: away, or coming and going.
use super::Pipeline;
use crate::history::Gap;
use crate::intake::Link;
use crate::times::length;
use dashboards::say;
use enclosure::{Alarm, Span, Timestamp};
use std::collections::VecDeque;

/// A connection that was made anew so often ...
const OFTEN: usize = 5;
/// ... within this time comes and goes, though it is never away for long: messages wait, and some come late.
const OFTEN_WITHIN: Span = Span::from_min(30);
/// Unbroken for so long it is steady again.
const STEADY: Span = Span::from_min(15);

/// What is remembered of the connection.
#[derive(Debug)]
pub(super) struct Reach {
    /// Since when it is away, by the monotonic clock.
    lost: Option<Span>,
    /// Since when, by the wall clock, once it is told.
    told: Option<Timestamp>,
    /// Since when it holds, as the client says: another moment is another connection.
    held: Option<Timestamp>,
    /// When it was made anew of late, oldest first; at most [`OFTEN`].
    anew: VecDeque<Span>,
    /// What was said when it was lost last.
    why: Option<String>,
    restless: bool,
}

impl Reach {
    pub(super) const fn new(now: Span) -> Self {
        Self { lost: Some(now), told: None, held: None, anew: VecDeque::new(), why: None, restless: false }
    }

    /// The connection holds since `since`.
    fn holds(&mut self, since: Timestamp, now: Span) {
        self.lost = None;
        if self.held.replace(since).is_some_and(|held| held != since) {
            if self.anew.len() == OFTEN {
                self.anew.pop_front();
            }
            self.anew.push_back(now);
        }
    }

    /// Whether it comes and goes.
    fn is_restless(&mut self, now: Span) -> bool {
        let ago = |at: Option<&Span>| at.map(|at| now.ms() - at.ms());
        self.restless = if self.restless {
            ago(self.anew.back()).is_some_and(|ms| ms < STEADY.ms())
        } else {
            self.anew.len() == OFTEN && ago(self.anew.front()).is_some_and(|ms| ms <= OFTEN_WITHIN.ms())
        };
        self.restless
    }

    const fn is_told(&self) -> bool {
        self.told.is_some() || self.restless
    }
}

impl Pipeline {
    pub(super) fn link_changed(&mut self) {
        self.touched = true;
        let link = self.link.borrow_and_update().clone();
        let (vitals, reach, now) = (&mut self.tally.vitals, &mut self.watching.reach, self.clock.monotonic());
        match link {
            Link::Connected { live: true, since } => {
                reach.holds(since, now);
                vitals.broker_lost = None;
            }
            Link::Connected { live: false, .. } => {
                reach.lost.get_or_insert(now);
                vitals.broker_lost = Some(say!("seen-broker-deaf"));
            }
            Link::Lost { why, .. } => {
                reach.lost.get_or_insert(now);
                reach.why = Some(why.clone());
                vitals.broker_lost = Some(why);
            }
        }
    }

    pub(super) fn check_broker(&mut self, now: Span) {
        let patience = self.core.shelf().alarms.on_delay(Alarm::BrokerLost);
        let reach = &mut self.watching.reach;
        let was_told = reach.is_told();
        let restless = reach.is_restless(now);
        let mut detail = restless.then(|| {
            let why = reach.why.clone().unwrap_or_else(|| say!("seen-broker-no-answer"));
            say!("seen-broker-restless", times = OFTEN, within = length(OFTEN_WITHIN), why = why)
        });
        match reach.lost {
            Some(since) if reach.told.is_none() && now.ms() - since.ms() > patience.ms() => {
                let ms = (now.ms() - since.ms()) as f64 * self.clock.pace();
                reach.told = Some(self.clock.now().minus(Span::from_ms(ms as i64)));
                let why = self.tally.vitals.broker_lost.clone().unwrap_or_else(|| say!("seen-broker-no-answer"));
                detail = Some(say!("seen-broker-lost", why = why));
            }
            None if let Some(from) = reach.told.take() => {
                self.store_gap(Gap { from, to: self.clock.now(), why: say!("gap-broker") });
            }
            _ => {}
        }
        match (was_told, self.watching.reach.is_told()) {
            (false, true) => self.watch(Alarm::BrokerLost, true, detail.unwrap_or_default()),
            (true, false) => self.watch(Alarm::BrokerLost, false, say!("seen-broker-again")),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Connections made anew every `every_s` for an hour, then none: the minutes in which it counts as coming and going.
    fn restless_min(every_s: i64) -> Vec<i64> {
        let mut reach = Reach::new(Span::ZERO);
        let mut minutes = Vec::new();
        for s in 0..3 * 3_600_i64 {
            let (now, wall) = (Span::from_s(s), Timestamp::from_unix_ms(1_772_323_200_000 + s * 1_000));
            if s <= 3_600 && s % every_s == 0 {
                reach.holds(wall, now);
            }
            if reach.is_restless(now) && s % 60 == 0 {
                minutes.push(s / 60);
            }
        }
        minutes
    }

    #[test]
    fn a_connection_that_breaks_every_half_minute_is_told_and_one_that_breaks_now_and_then_is_not() {
        let often = restless_min(30);
        assert_eq!(
            (often.first(), often.last()),
            (Some(&3), Some(&74)),
            "the fifth time; until a quarter of an hour of calm"
        );
        assert_eq!(often.len(), 72, "once, not again and again");
        assert!(restless_min(10 * 60).is_empty());
        assert!(restless_min(3 * 3_600).is_empty(), "the first connection is no breach");
    }
}
