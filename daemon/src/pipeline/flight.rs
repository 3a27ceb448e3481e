//! What was handed to history and waits for its answer, in the order of arrival.
use crate::history::{AlarmRecord, Committed, Pending, WriteError};
use crate::intake::AckToken;
use enclosure::{Priority, Span, Timestamp};
use std::collections::VecDeque;
use tokio::sync::oneshot;

/// Batches that may wait for history's answer before no further message is taken. Less than what the writer queues, so
/// that there is room for alarms and acts.
pub(super) const IN_FLIGHT_MAX: usize = 192;
/// How long a danger waits for the disk.
pub(super) const DANGER_WAITS: Span = Span::from_s(2);
/// How long anything waits for the disk, before it is held for failing.
pub(super) const DISK_WAITS: Span = Span::from_s(10);

/// A keeper who waits for an answer.
#[derive(Debug)]
pub(super) struct Waiting {
    pub(super) reply: oneshot::Sender<Result<(), String>>,
    /// Whether the answer is no where it could not be written down.
    pub(super) must_be_stored: bool,
}

/// One batch under way.
#[derive(Debug)]
pub(super) struct Flight {
    pub(super) answer: Answer,
    /// When it was handed in, by the monotonic clock.
    pub(super) since: Span,
    /// The message it came with: its acknowledgement, and when it arrived.
    pub(super) message: Option<(AckToken, Timestamp)>,
    /// Changes, and whether they were told already, because they could not wait.
    pub(super) changes: Vec<(AlarmRecord, bool)>,
    pub(super) keeper: Option<Waiting>,
}

/// History's answer.
#[derive(Debug)]
pub(super) enum Answer {
    /// It is known.
    Known(Result<Committed, WriteError>),
    /// It is still to come.
    Awaited(Pending),
}

impl Flight {
    fn holds_danger(&self) -> bool {
        let is_danger =
            |(change, told): &(AlarmRecord, bool)| !told && change.told && change.alarm.priority() == Priority::Danger;
        self.changes.iter().any(is_danger)
    }
}

/// All that is under way.
#[derive(Debug, Default)]
pub(super) struct Flights(VecDeque<Flight>);

impl Flights {
    pub(super) fn push(&mut self, flight: Flight) {
        self.0.push_back(flight);
    }

    pub(super) fn has_room(&self) -> bool {
        self.0.len() < IN_FLIGHT_MAX
    }

    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Waits for the oldest one's answer; for ever while there is none. Cancel-safe.
    pub(super) async fn answer(&mut self) -> Result<Committed, WriteError> {
        match self.0.front_mut().map(|flight| &mut flight.answer) {
            Some(Answer::Known(answer)) => answer.clone(),
            // Without an answer the writer has died.
            Some(Answer::Awaited(pending)) => pending.await.unwrap_or(Err(WriteError::Stopped)),
            None => std::future::pending().await,
        }
    }

    pub(super) fn land(&mut self) -> Option<Flight> {
        self.0.pop_front()
    }

    /// When the oldest one has waited for too long.
    pub(super) fn overdue_at(&self) -> Option<Span> {
        self.0.front().map(|flight| later(flight.since, DISK_WAITS))
    }

    /// When a danger has waited for long enough.
    pub(super) fn danger_at(&self) -> Option<Span> {
        self.0.iter().filter(|flight| flight.holds_danger()).map(|flight| later(flight.since, DANGER_WAITS)).min()
    }

    /// The dangers that have waited for long enough at `now`; they count as told from here on.
    pub(super) fn dangers_due(&mut self, now: Span) -> Vec<AlarmRecord> {
        let mut due = Vec::new();
        for flight in self.0.iter_mut().filter(|flight| later(flight.since, DANGER_WAITS) <= now) {
            for (change, told) in &mut flight.changes {
                if !*told && change.alarm.priority() == Priority::Danger {
                    *told = true;
                    due.push(change.clone());
                }
            }
        }
        due
    }
}

pub(super) fn later(moment: Span, by: Span) -> Span {
    Span::from_ms(moment.ms().saturating_add(by.ms()))
}
