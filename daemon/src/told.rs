//! What travels between the pipeline and those who tell the keeper: a change with every name written out, and back
//! what became of the message.
use crate::history::{AlarmRecord, Delivery};
use enclosure::{Event, Priority, State, Timestamp};

/// Changes that may wait between the pipeline and the messages.
pub const TOLD_WAITING: usize = 256;
/// Outcomes that may wait between the messages and the pipeline.
pub const OUTCOMES_WAITING: usize = 256;

/// A change of an alarm, handed on after it was stored. Every change is handed on, not only those that are told: an
/// answer ends the repeats.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// The change's id in history; none while history fails.
    pub id: Option<i64>,
    /// The change.
    pub change: AlarmRecord,
    /// Quiet hours do not hold it (the brood place is expected far under its band before they end).
    pub pressing: bool,
}

/// What became of one attempt to send one message one way.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// The change it told; none for a test, or while history fails.
    pub change_id: Option<i64>,
    /// The way, as `webhook` or `webhook 2`.
    pub way: String,
    /// Counted from 1.
    pub attempt: u32,
    /// When it ended.
    pub at: Timestamp,
    /// Sent, or in plain words why not.
    pub result: Result<(), String>,
}

/// One alarm, by its names.
pub type Key<'a> = (&'static str, Option<&'a str>, Option<&'a str>, Option<&'a str>);

impl Told {
    /// How urgent it is.
    pub fn priority(&self) -> Priority {
        self.change.alarm.priority()
    }

    /// Which alarm it is about.
    pub fn key(&self) -> Key<'_> {
        let c = &self.change;
        (c.alarm.name(), c.nest.as_deref(), c.probe.as_deref(), c.node.as_deref())
    }

    /// Whether it begins something a keeper must hear of.
    pub fn begins(&self) -> bool {
        let c = &self.change;
        match c.event {
            Event::Raised | Event::Unacknowledged => c.told,
            // A silence that ends while the condition still holds.
            Event::Unshelved | Event::InService | Event::Unsuppressed => {
                c.state == State::Unacknowledged && c.cause.is_none()
            }
            _ => false,
        }
    }

    /// Whether the condition is over.
    pub fn ends(&self) -> bool {
        matches!(self.change.event, Event::Returned | Event::Cleared)
    }
}

impl From<&Outcome> for Delivery {
    fn from(outcome: &Outcome) -> Self {
        Self {
            change: outcome.change_id,
            way: outcome.way.clone(),
            attempt: outcome.attempt,
            at: outcome.at,
            outcome: outcome.result.as_ref().map_or_else(Clone::clone, |()| "sent".to_owned()),
        }
    }
}

/// The name by which keepers and scripts call an alarm: `heater-stuck-on@oak`, `probe-silent@oak/oak-node:warm`.
pub fn alarm_name(key: Key<'_>) -> String {
    let (alarm, nest, probe, node) = key;
    let place = match (nest, probe.or(node)) {
        (Some(nest), Some(part)) => format!("@{nest}/{part}"),
        (Some(nest), None) => format!("@{nest}"),
        (None, Some(part)) => format!("@/{part}"),
        (None, None) => String::new(),
    };
    format!("{alarm}{place}")
}
