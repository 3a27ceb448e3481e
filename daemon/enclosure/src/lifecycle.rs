//! One alarm's life, in the states of ISA-18.2 / IEC 62682. Every state owns what is true only in it, and every
//! transition names its [`Trigger`].
mod judged;

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

/// Why an alarm is suppressed by design.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Design {
    /// It follows from that alarm, which tells of it.
    Cause(Alarm),
    /// The season expects it.
    Season,
    /// It comes and goes too often to be told each time.
    Chatter,
    /// More alarms came than anybody can read: one tells of them all.
    Flood,
}

/// What goes on beneath a silence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Beneath {
    /// Whether it was ever judged.
    pub judged: bool,
    /// Whether the condition holds, delays included.
    pub ill: bool,
    /// Since when it has been the other way: a delay that runs.
    pub turning: Option<Timestamp>,
    /// Whether it was held, or is to be held, until a reset.
    pub latched: bool,
}

/// One alarm's life. Letters are those of the standard's diagram.
///
/// ```text
///  NotJudged ──judged──► A Normal ──ill for on_delay──► B Unacknowledged ──acknowledge──► C Acknowledged
///                          ▲ ▲                           ▲ │     ▲   └─over, latches─┐     │ │   │over, latches
///                          │ └──acknowledge── D Returned ┼─┘over └──────worse────────┼─────┘ │   │
///                          │                     └──ill──┘                           ▼       │   ▼
///                          ├◄──────────────── reset (only when over) ───────── E Latched     │ F Latched (answered)
///                          │                                                 └─ill again─► B │   └─ill again─► B
///                          └◄───────────────────────── over ─────────────────────────────────┘
///  any ──shelve──► G Shelved ──unshelve, or its end──►            to where the condition, which was judged
///  any ──take out──► I OutOfService ──put back, or its end──►     on beneath, puts it: A, B, E or H
///  A ──ill, but a cause stands──► H Suppressed ◄──a cause came── B
///  H ──the cause is gone and it still holds──► B;  H ──over──► A;  A, B, D ──season──► H ──season over──► A
///  over, and the alarm settles by itself: B ──► A
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Life {
    /// Never judged since the start: not the same as well.
    NotJudged,
    /// A: nothing the matter.
    Normal {
        /// Since when the condition has been holding: an on-delay that runs.
        holding: Option<Timestamp>,
    },
    /// B: in alarm, unanswered.
    Unacknowledged {
        /// Raised when.
        since: Timestamp,
        /// Since when it has been over: an off-delay that runs.
        over: Option<Timestamp>,
    },
    /// C: in alarm, answered.
    Acknowledged {
        /// Answered when.
        since: Timestamp,
        /// Since when it has been over: an off-delay that runs.
        over: Option<Timestamp>,
    },
    /// D: over, unanswered.
    Returned {
        /// Over since.
        since: Timestamp,
        /// Since when the condition has been holding again.
        holding: Option<Timestamp>,
    },
    /// E, F: over, held until reset.
    Latched {
        /// Over since.
        since: Timestamp,
        /// Whether a keeper has answered (F).
        acknowledged: bool,
        /// Since when the condition has been holding again.
        holding: Option<Timestamp>,
    },
    /// G: silenced by a keeper.
    Shelved {
        /// Until when.
        until: Timestamp,
        /// What goes on meanwhile.
        beneath: Beneath,
    },
    /// H: silenced by design.
    Suppressed {
        /// Why.
        why: Design,
        /// What goes on meanwhile.
        beneath: Beneath,
    },
    /// I: taken out of service by a keeper.
    OutOfService {
        /// Until when; none: until it is put back.
        until: Option<Timestamp>,
        /// What goes on meanwhile.
        beneath: Beneath,
    },
}

/// What can happen to a life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trigger {
    /// The judge spoke.
    Judged(Verdict),
    /// Time passed: silences end.
    Time,
    /// A keeper answered.
    Acknowledge,
    /// A keeper reset it.
    Reset,
    /// A keeper silenced it until then.
    Shelve(Timestamp),
    /// A keeper ended that.
    Unshelve,
    /// A keeper took it out of service, until then or until it is put back.
    TakeOut(Option<Timestamp>),
    /// A keeper put it back.
    PutBack,
    /// It became worse than when it was answered.
    Worse,
}

/// What a transition depends on, beside the life itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setting {
    /// Delays and latching.
    pub manner: Manner,
    /// False while a nest is being learned: nothing is raised, and delays run on.
    pub may_raise: bool,
    /// Why it is to be suppressed now, if it is.
    pub design: Option<Design>,
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
    /// It is in service.
    InService,
    /// A danger stays in service.
    Danger,
    /// The end lies in the past, or too far ahead.
    End,
}

/// Where a transition leads, and the event that says so.
pub type Turn = (Life, Option<Event>);

impl Manner {
    /// The manner of an alarm that has these delays.
    pub fn of(alarm: Alarm, on_delay: Span, off_delay: Span) -> Self {
        let watch = matches!(
            alarm,
            Alarm::ProbeSilent
                | Alarm::NodeSilent
                | Alarm::NestUnwatched
                | Alarm::WatchGap
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
    pub const fn state(self) -> State {
        match self {
            Self::NotJudged => State::NotJudged,
            Self::Normal { .. } => State::Normal,
            Self::Unacknowledged { .. } => State::Unacknowledged,
            Self::Acknowledged { .. } => State::Acknowledged,
            Self::Returned { .. } => State::Returned,
            Self::Latched { .. } => State::Latched,
            Self::Shelved { .. } => State::Shelved,
            Self::Suppressed { .. } => State::Suppressed,
            Self::OutOfService { .. } => State::OutOfService,
        }
    }

    /// Whether it is well, and nothing is under way.
    pub fn rests(self) -> bool {
        matches!(self, Self::Normal { holding: None })
    }

    /// Whether the condition is held for true.
    pub const fn is_ill(self) -> bool {
        match self {
            Self::Unacknowledged { .. } | Self::Acknowledged { .. } => true,
            Self::Shelved { beneath, .. } | Self::Suppressed { beneath, .. } | Self::OutOfService { beneath, .. } => {
                beneath.ill
            }
            Self::NotJudged | Self::Normal { .. } | Self::Returned { .. } | Self::Latched { .. } => false,
        }
    }

    /// The alarm of which this is a consequence.
    pub const fn cause(self) -> Option<Alarm> {
        match self {
            Self::Suppressed { why: Design::Cause(alarm), .. } => Some(alarm),
            _ => None,
        }
    }

    /// When a silence ends by itself.
    pub const fn ends(self) -> Option<Timestamp> {
        match self {
            Self::Shelved { until, .. } => Some(until),
            Self::OutOfService { until, .. } => until,
            _ => None,
        }
    }

    /// What this becomes at `trigger`.
    ///
    /// # Errors
    /// [`Declined`] where a keeper asks for what cannot be done; verdicts and time are never declined.
    pub fn on(self, now: Timestamp, trigger: Trigger, setting: &Setting) -> Result<Turn, Declined> {
        match trigger {
            Trigger::Judged(verdict) => Ok(self.judged(now, verdict, setting)),
            Trigger::Time => Ok(match self.ends() {
                Some(until) if until <= now => self.emerged(now, setting),
                _ => (self, None),
            }),
            Trigger::Acknowledge => self.acknowledged(now),
            Trigger::Reset => self.reset(),
            Trigger::Shelve(until) => match self {
                // Shelving must not undo that it is out of service.
                Self::OutOfService { .. } => Err(Declined::NotRaised),
                _ => Ok((Self::Shelved { until, beneath: self.beneath() }, Some(Event::Shelved))),
            },
            Trigger::Unshelve => match self {
                Self::Shelved { .. } => Ok(self.emerged(now, setting)),
                _ => Err(Declined::NotShelved),
            },
            Trigger::TakeOut(until) => {
                Ok((Self::OutOfService { until, beneath: self.beneath() }, Some(Event::OutOfService)))
            }
            Trigger::PutBack => match self {
                Self::OutOfService { .. } => Ok(self.emerged(now, setting)),
                _ => Err(Declined::InService),
            },
            Trigger::Worse => Ok(match self {
                Self::Acknowledged { over, .. } => {
                    (Self::Unacknowledged { since: now, over }, Some(Event::Unacknowledged))
                }
                _ => (self, None),
            }),
        }
    }

    /// What goes on when a silence begins here.
    const fn beneath(self) -> Beneath {
        match self {
            Self::NotJudged => Beneath::UNKNOWN,
            Self::Normal { holding } | Self::Returned { holding, .. } => {
                Beneath { judged: true, ill: false, turning: holding, latched: false }
            }
            Self::Unacknowledged { over, .. } | Self::Acknowledged { over, .. } => {
                Beneath { judged: true, ill: true, turning: over, latched: false }
            }
            Self::Latched { holding, .. } => Beneath { judged: true, ill: false, turning: holding, latched: true },
            Self::Shelved { beneath, .. } | Self::Suppressed { beneath, .. } | Self::OutOfService { beneath, .. } => {
                beneath
            }
        }
    }

    fn emerged(self, now: Timestamp, setting: &Setting) -> Turn {
        let event = match self {
            Self::Shelved { .. } => Event::Unshelved,
            Self::OutOfService { .. } => Event::InService,
            _ => return (self, None),
        };
        (self.beneath().emerged(now, setting), Some(event))
    }

    fn acknowledged(self, now: Timestamp) -> Result<Turn, Declined> {
        match self {
            Self::Unacknowledged { over, .. } => {
                Ok((Self::Acknowledged { since: now, over }, Some(Event::Acknowledged)))
            }
            Self::Returned { holding, .. } => Ok((Self::Normal { holding }, Some(Event::Cleared))),
            Self::Latched { since, acknowledged: false, holding } => {
                Ok((Self::Latched { since, acknowledged: true, holding }, Some(Event::Acknowledged)))
            }
            Self::NotJudged
            | Self::Normal { .. }
            | Self::Acknowledged { .. }
            | Self::Latched { acknowledged: true, .. }
            | Self::Shelved { .. }
            | Self::Suppressed { .. }
            | Self::OutOfService { .. } => Err(Declined::NotRaised),
        }
    }

    const fn reset(self) -> Result<Turn, Declined> {
        match self {
            Self::Latched { holding: Some(_), .. } => Err(Declined::StillTrue),
            Self::Latched { holding: None, .. } => Ok((Self::Normal { holding: None }, Some(Event::Reset))),
            _ if self.is_ill() => Err(Declined::StillTrue),
            _ => Err(Declined::NotLatched),
        }
    }

    /// The same life on a clock that was set: delays that run go on by the time that passed, ends of silences stay
    /// where the calendar has them, but no farther ahead than `longest`.
    #[must_use]
    pub fn shifted(self, by: Span, now: Timestamp, longest: Span) -> Self {
        let moved = |at: Timestamp| at.plus(by).min(now);
        let moved_all = |at: Option<Timestamp>| at.map(moved);
        let end = |until: Timestamp| until.min(now.plus(longest));
        let under = |b: Beneath| Beneath { turning: moved_all(b.turning), ..b };
        match self {
            Self::NotJudged => self,
            Self::Normal { holding } => Self::Normal { holding: moved_all(holding) },
            Self::Unacknowledged { since, over } => Self::Unacknowledged { since: moved(since), over: moved_all(over) },
            Self::Acknowledged { since, over } => Self::Acknowledged { since: moved(since), over: moved_all(over) },
            Self::Returned { since, holding } => Self::Returned { since: moved(since), holding: moved_all(holding) },
            Self::Latched { since, acknowledged, holding } => {
                Self::Latched { since: moved(since), acknowledged, holding: moved_all(holding) }
            }
            Self::Shelved { until, beneath } => Self::Shelved { until: end(until), beneath: under(beneath) },
            Self::Suppressed { why, beneath } => Self::Suppressed { why, beneath: under(beneath) },
            Self::OutOfService { until, beneath } => Self::OutOfService { until, beneath: under(beneath) },
        }
    }

    /// The life that history says it had, where no more than its state is known; a delay that was running begins anew.
    pub const fn restored(state: State, at: Timestamp) -> Self {
        let beneath = Beneath { judged: true, ..Beneath::UNKNOWN };
        match state {
            State::NotJudged => Self::NotJudged,
            State::Normal => Self::Normal { holding: None },
            State::Unacknowledged => Self::Unacknowledged { since: at, over: None },
            State::Acknowledged => Self::Acknowledged { since: at, over: None },
            State::Returned => Self::Returned { since: at, holding: None },
            State::Latched => Self::Latched { since: at, acknowledged: true, holding: None },
            State::Shelved => Self::Shelved { until: at.plus(Span::from_min(30)), beneath },
            State::Suppressed => Self::Suppressed { why: Design::Season, beneath: Beneath::UNKNOWN },
            State::OutOfService => Self::OutOfService { until: None, beneath },
        }
    }
}

#[cfg(test)]
pub(crate) mod tests;
