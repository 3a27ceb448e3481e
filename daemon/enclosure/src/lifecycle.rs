//! One alarm's life, in the states of ISA-18.2 / IEC 62682. Every state owns what is true only in it.
use crate::alarm::{Alarm, Event, Priority, State};
use crate::time::{Span, Timestamp};

/// What the judge says of a condition at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nobody can tell: nothing changes.
    Unknown,
    /// Not the case, beyond the deadband.
    Well,
    /// Between the limit and its deadband: as it was.
    Between,
    /// The case.
    Ill,
}

/// How an alarm behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Manner {
    /// The condition must hold this long before it is raised.
    pub on_delay: Span,
    /// It must be over this long before it returns.
    pub off_delay: Span,
    /// Whether it stays until a keeper resets it.
    pub latches: bool,
    /// Whether it settles by itself when over, unanswered.
    pub settles: bool,
}

/// One alarm's life.
///
/// ```text
///  NotJudged ──judged──► Normal ──Ill for on_delay──► Unacknowledged ──acknowledge──► Acknowledged
///                          ▲ ▲                          │  ▲     │                     │        │
///                          │ └──acknowledge── Returned ◄┘  │     └─over, latches─┐     │over    │over, latches
///                          │                     └──Ill────┘                     ▼     │        ▼
///                          └◄──────────────────── reset (only when over) ───── Latched │     Latched
///                          └◄──────────────────────────────────────────────────────────┘
///  any ──shelve──► Shelved ──unshelve or its end──► where the condition puts it
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Life {
    /// Never judged since the start: not the same as well.
    NotJudged,
    /// Nothing the matter; `holding` is when an on-delay began.
    Normal {
        /// Since when the condition has been holding.
        holding: Option<Timestamp>,
    },
    /// In alarm, unanswered.
    Unacknowledged {
        /// Raised when.
        since: Timestamp,
        /// Since when it has been over.
        over: Option<Timestamp>,
    },
    /// In alarm, answered.
    Acknowledged {
        /// Answered when.
        since: Timestamp,
        /// Since when it has been over.
        over: Option<Timestamp>,
    },
    /// Over, unanswered.
    Returned {
        /// Over since.
        since: Timestamp,
    },
    /// Over, held until reset.
    Latched {
        /// Over since.
        since: Timestamp,
        /// Whether a keeper has answered.
        acknowledged: bool,
    },
    /// Silenced by a keeper until `until`.
    Shelved {
        /// Since when.
        since: Timestamp,
        /// Until when.
        until: Timestamp,
        /// Whether the condition holds meanwhile.
        ill: bool,
        /// Whether it was latched or in alarm when shelved: it comes back so.
        latched: bool,
    },
}

/// Why a keeper's act was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Declined {
    /// There is nothing to answer.
    NotRaised,
    /// It does not latch, or is not latched.
    NotLatched,
    /// Its condition still holds.
    StillTrue,
    /// It is not shelved.
    NotShelved,
}

impl Manner {
    /// The manner of an alarm that has these delays.
    pub fn of(alarm: Alarm, on_delay: Span, off_delay: Span) -> Self {
        let watch = matches!(
            alarm,
            Alarm::ProbeSilent
                | Alarm::NodeSilent
                | Alarm::NestUnwatched
                | Alarm::BrokerLost
                | Alarm::HistoryFailing
                | Alarm::NoticeFailing
                | Alarm::ClockJumped
        );
        Self {
            on_delay,
            off_delay,
            latches: alarm == Alarm::HeaterStuckOn,
            settles: watch || alarm.priority() == Priority::Advice,
        }
    }
}

impl Life {
    /// The state the standard names.
    pub fn state(self) -> State {
        match self {
            Self::NotJudged => State::NotJudged,
            Self::Normal { .. } => State::Normal,
            Self::Unacknowledged { .. } => State::Unacknowledged,
            Self::Acknowledged { .. } => State::Acknowledged,
            Self::Returned { .. } => State::Returned,
            Self::Latched { .. } => State::Latched,
            Self::Shelved { .. } => State::Shelved,
        }
    }

    /// Whether the condition is held for true.
    pub fn is_ill(self) -> bool {
        match self {
            Self::Unacknowledged { .. } | Self::Acknowledged { .. } => true,
            Self::Shelved { ill, .. } => ill,
            Self::NotJudged | Self::Normal { .. } | Self::Returned { .. } | Self::Latched { .. } => false,
        }
    }

    /// When the next delay runs out.
    pub fn due(self, manner: Manner) -> Option<Timestamp> {
        match self {
            Self::Normal { holding } => holding.map(|h| h.plus(manner.on_delay)),
            Self::Unacknowledged { over, .. } | Self::Acknowledged { over, .. } => {
                over.map(|o| o.plus(manner.off_delay))
            }
            Self::Shelved { until, .. } => Some(until),
            Self::NotJudged | Self::Returned { .. } | Self::Latched { .. } => None,
        }
    }

    /// Takes in a verdict. `may_raise` is false while a nest is being learned.
    pub fn judge(&mut self, now: Timestamp, verdict: Verdict, manner: Manner, may_raise: bool) -> Option<Event> {
        let ill = match verdict {
            Verdict::Unknown => return None,
            Verdict::Ill => true,
            Verdict::Well => false,
            Verdict::Between => self.is_ill() || matches!(self, Self::Normal { holding: Some(_) }),
        };
        let (next, event) = self.after(now, ill, manner, may_raise);
        *self = next;
        event
    }

    fn after(self, now: Timestamp, ill: bool, manner: Manner, may_raise: bool) -> (Self, Option<Event>) {
        let held = |since: Timestamp, delay: Span| now.since(since) >= delay;
        let raised = (Self::Unacknowledged { since: now, over: None }, Some(Event::Raised));
        match (self, ill) {
            (Self::NotJudged | Self::Normal { .. }, false) => (Self::Normal { holding: None }, None),
            (Self::NotJudged, true) => Self::Normal { holding: Some(now) }.after(now, true, manner, may_raise),
            (Self::Normal { holding }, true) => {
                let since = holding.unwrap_or(now);
                if held(since, manner.on_delay) && may_raise {
                    raised
                } else {
                    (Self::Normal { holding: Some(since) }, None)
                }
            }
            (Self::Unacknowledged { since, .. }, true) => (Self::Unacknowledged { since, over: None }, None),
            (Self::Acknowledged { since, .. }, true) => (Self::Acknowledged { since, over: None }, None),
            (Self::Unacknowledged { since, over }, false) => {
                let gone = over.unwrap_or(now);
                if !held(gone, manner.off_delay) {
                    return (Self::Unacknowledged { since, over: Some(gone) }, None);
                }
                if manner.latches {
                    (Self::Latched { since: now, acknowledged: false }, Some(Event::Returned))
                } else if manner.settles {
                    (Self::Normal { holding: None }, Some(Event::Cleared))
                } else {
                    (Self::Returned { since: now }, Some(Event::Returned))
                }
            }
            (Self::Acknowledged { since, over }, false) => {
                let gone = over.unwrap_or(now);
                if !held(gone, manner.off_delay) {
                    return (Self::Acknowledged { since, over: Some(gone) }, None);
                }
                if manner.latches {
                    (Self::Latched { since: now, acknowledged: true }, Some(Event::Returned))
                } else {
                    (Self::Normal { holding: None }, Some(Event::Cleared))
                }
            }
            (Self::Returned { since }, false) => (Self::Returned { since }, None),
            (Self::Latched { since, acknowledged }, false) => (Self::Latched { since, acknowledged }, None),
            // Over and ill again: raised anew, whether or not anyone answered or reset it.
            (Self::Returned { .. } | Self::Latched { .. }, true) => raised,
            (Self::Shelved { since, until, latched, .. }, ill) => {
                let shelved = Self::Shelved { since, until, ill, latched: latched || (ill && manner.latches) };
                if now < until { (shelved, None) } else { (shelved.unshelved(now), Some(Event::Unshelved)) }
            }
        }
    }

    fn unshelved(self, now: Timestamp) -> Self {
        match self {
            Self::Shelved { ill: true, .. } => Self::Unacknowledged { since: now, over: None },
            Self::Shelved { latched: true, .. } => Self::Latched { since: now, acknowledged: true },
            Self::Shelved { .. } => Self::Normal { holding: None },
            other => other,
        }
    }

    /// A keeper answers.
    ///
    /// # Errors
    /// [`Declined::NotRaised`] where there is nothing to answer.
    pub fn acknowledge(&mut self, now: Timestamp) -> Result<Event, Declined> {
        let (next, event) = match *self {
            Self::Unacknowledged { over, .. } => (Self::Acknowledged { since: now, over }, Event::Acknowledged),
            Self::Returned { .. } => (Self::Normal { holding: None }, Event::Cleared),
            Self::Latched { since, acknowledged: false } => {
                (Self::Latched { since, acknowledged: true }, Event::Acknowledged)
            }
            Self::NotJudged
            | Self::Normal { .. }
            | Self::Acknowledged { .. }
            | Self::Latched { acknowledged: true, .. }
            | Self::Shelved { .. } => return Err(Declined::NotRaised),
        };
        *self = next;
        Ok(event)
    }

    /// A keeper resets a latched alarm.
    ///
    /// # Errors
    /// [`Declined::StillTrue`] while its condition holds, [`Declined::NotLatched`] where nothing is latched.
    pub fn reset(&mut self) -> Result<Event, Declined> {
        match *self {
            Self::Latched { .. } => {
                *self = Self::Normal { holding: None };
                Ok(Event::Reset)
            }
            Self::Unacknowledged { .. } | Self::Acknowledged { .. } | Self::Shelved { ill: true, .. } => {
                Err(Declined::StillTrue)
            }
            Self::NotJudged | Self::Normal { .. } | Self::Returned { .. } | Self::Shelved { .. } => {
                Err(Declined::NotLatched)
            }
        }
    }

    /// A keeper silences it for a time.
    pub fn shelve(&mut self, now: Timestamp, length: Span) -> Event {
        let latched = matches!(self, Self::Latched { .. });
        *self = Self::Shelved { since: now, until: now.plus(length), ill: self.is_ill(), latched };
        Event::Shelved
    }

    /// A keeper ends that.
    ///
    /// # Errors
    /// [`Declined::NotShelved`].
    pub fn unshelve(&mut self, now: Timestamp) -> Result<Event, Declined> {
        if !matches!(self, Self::Shelved { .. }) {
            return Err(Declined::NotShelved);
        }
        *self = self.unshelved(now);
        Ok(Event::Unshelved)
    }

    /// The life that history says it had; a delay that was running begins anew.
    pub fn restored(state: State, at: Timestamp) -> Self {
        match state {
            State::NotJudged => Self::NotJudged,
            State::Normal | State::Suppressed | State::OutOfService => Self::Normal { holding: None },
            State::Unacknowledged => Self::Unacknowledged { since: at, over: None },
            State::Acknowledged => Self::Acknowledged { since: at, over: None },
            State::Returned => Self::Returned { since: at },
            State::Latched => Self::Latched { since: at, acknowledged: true },
            State::Shelved => {
                Self::Shelved { since: at, until: at.plus(Span::from_min(30)), ill: false, latched: false }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::{string::String, vec::Vec};

    fn at(min: i64) -> Timestamp {
        Timestamp::from_unix_ms(1_772_000_000_000 + min * 60_000)
    }

    /// One character a minute: `!` ill, `.` well, `-` between, `?` unknown, `a` acknowledge, `r` reset, `s` shelve 3 min.
    fn line(manner: Manner, moments: &str) -> String {
        let mut life = Life::NotJudged;
        let mut seen = Vec::new();
        for (i, c) in moments.chars().enumerate() {
            let now = at(i as i64);
            match c {
                '!' => drop(life.judge(now, Verdict::Ill, manner, true)),
                '.' => drop(life.judge(now, Verdict::Well, manner, true)),
                '-' => drop(life.judge(now, Verdict::Between, manner, true)),
                '?' => drop(life.judge(now, Verdict::Unknown, manner, true)),
                'a' => drop(life.acknowledge(now)),
                'r' => drop(life.reset()),
                's' => drop(life.shelve(now, Span::from_min(3))),
                _ => unreachable!(),
            }
            seen.push(match life.state() {
                State::NotJudged => '0',
                State::Normal => 'A',
                State::Unacknowledged => 'B',
                State::Acknowledged => 'C',
                State::Returned => 'D',
                State::Latched => 'E',
                State::Shelved => 'G',
                State::Suppressed => 'H',
                State::OutOfService => 'I',
            });
        }
        seen.into_iter().collect()
    }

    fn plain() -> Manner {
        Manner { on_delay: Span::from_min(2), off_delay: Span::from_min(1), latches: false, settles: false }
    }

    #[test]
    fn the_base_states_follow_the_diagram() {
        // Letters of the ISA-18.2 state diagram.
        for (moments, states) in [
            ("?..", "0AA"),
            ("!!!", "AAB"),
            ("!!.!!!", "AAAAAB"),
            ("!!!a!", "AABCC"),
            ("!!!a..", "AABCCA"),
            ("!!!..", "AABBD"),
            ("!!!..!", "AABBDB"),
            ("!!!..a.", "AABBDAA"),
            ("!!!.!..", "AABBBBD"),
            ("!!!---.", "AABBBBB"),
            ("!!!s..", "AABGGG"),
            ("!!!s...", "AABGGGA"),
            ("!!!s!!!", "AABGGGB"),
        ] {
            assert_eq!(line(plain(), moments), states, "{moments}");
        }
    }

    #[test]
    fn a_latched_alarm_waits_for_its_reset_and_is_refused_while_true() {
        let latching = Manner { latches: true, ..plain() };
        for (moments, states) in [
            ("!!!r!", "AABBB"),
            ("!!!..", "AABBE"),
            ("!!!..ar", "AABBEEA"),
            ("!!!a..r", "AABCCEA"),
            ("!!!..!", "AABBEB"),
        ] {
            assert_eq!(line(latching, moments), states, "{moments}");
        }
    }

    #[test]
    fn what_holds_at_the_end_of_learning_is_raised_then() {
        let mut life = Life::NotJudged;
        for min in 0..10 {
            assert_eq!(life.judge(at(min), Verdict::Ill, plain(), false), None);
        }
        assert_eq!(life.judge(at(10), Verdict::Ill, plain(), true), Some(Event::Raised));
    }
}
