//! What one way still has to say: which message is next, and when. Pure; the task that owns it does the sending.
use super::schedule::{self, Quiet};
use crate::snapshot::Told;
use enclosure::{Event, Priority, Span, Timestamp};
use std::sync::Arc;

/// Alarms that one way keeps in mind; beyond, the oldest that is no danger is dropped and counted.
pub const PENDING_MAX: usize = 64;
/// Attempts with a message that the other side refuses; then it is dropped and counted (a danger is repeated anyway).
pub const REFUSED_MAX: u32 = 5;
/// How often what quiet hours hold is looked at again.
const QUIET_LOOK: Span = Span::from_min(1);

/// How one attempt ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sent {
    /// It is out.
    Done,
    /// The way is out of order: tried again until it is out, or no longer true.
    Unreachable(String),
    /// The way works and did not take this message: tried again a few times.
    Refused(String),
}

/// One message to send now.
#[derive(Clone, Debug)]
pub(super) struct Job {
    pub(super) serial: u64,
    pub(super) told: Arc<Told>,
    /// Messages sent about it before.
    pub(super) repeat: u32,
    /// Attempts at this message, this one included.
    pub(super) attempt: u32,
}

#[derive(Debug)]
struct Entry {
    serial: u64,
    told: Arc<Told>,
    due: Span,
    /// When its first message got out.
    first: Option<Span>,
    sent: u32,
    attempts: u32,
}

/// The state of one way.
#[derive(Debug, Default)]
pub(super) struct Desk {
    least: Option<Priority>,
    after: Span,
    quiet: Option<Quiet>,
    entries: Vec<Entry>,
    serial: u64,
    not_before: Span,
    failures: u32,
    dropped: u64,
}

impl Entry {
    fn is_danger(&self) -> bool {
        self.told.priority() == Priority::Danger
    }
}

impl Desk {
    pub(super) fn new(least: Priority, after: Span, quiet: Option<Quiet>) -> Self {
        Self { least: Some(least), after, quiet, ..Self::default() }
    }

    /// Messages dropped for lack of room, or refused too often.
    pub(super) fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Attempts that failed in a row.
    pub(super) fn failures(&self) -> u32 {
        self.failures
    }

    /// Takes in a change; `now` is the monotonic time.
    pub(super) fn take(&mut self, now: Span, told: Arc<Told>) {
        if self.least.is_some_and(|least| told.priority() < least) {
            return;
        }
        // Nobody knows whether it got out before the last end. Said twice is better than never, but not for advice.
        if told.restored && told.priority() == Priority::Advice {
            return;
        }
        let known = self.entries.iter().position(|e| e.told.key() == told.key());
        if told.begins() {
            // Told anew: what was said of it before is superseded.
            known.map(|i| self.entries.remove(i));
            self.add(told, now, self.after);
        } else if told.ends() {
            let Some(before) = known.map(|i| self.entries.remove(i)) else { return };
            // Who heard of a danger, or would have heard but for a way out of order, hears of its end.
            if (before.is_danger() && before.sent > 0) || before.attempts > 0 {
                self.add(told, now, Span::ZERO);
            }
        } else if told.change.event != Event::Raised {
            // Answered, silenced, taken out of service, a consequence: no more of it.
            known.map(|i| self.entries.remove(i));
        }
    }

    fn add(&mut self, told: Arc<Told>, now: Span, after: Span) {
        if self.entries.len() >= PENDING_MAX {
            let victim = self
                .entries
                .iter()
                .position(|e| !e.is_danger())
                .or_else(|| self.entries.iter().position(|e| !e.told.begins()));
            self.entries.remove(victim.unwrap_or(0));
            self.dropped += 1;
        }
        self.serial += 1;
        let due = Span::from_ms(now.ms().saturating_add(after.ms()));
        self.entries.push(Entry { serial: self.serial, told, due, first: None, sent: 0, attempts: 0 });
    }

    /// The message to send now: dangers first, else in the order in which they came.
    pub(super) fn next(&mut self, now: Span, wall: Timestamp) -> Option<Job> {
        if now < self.not_before {
            return None;
        }
        let held = |e: &Entry| self.is_held(e, wall);
        let ready = self.entries.iter().filter(|e| e.due <= now && !held(e));
        let serial = ready.min_by_key(|e| (!e.is_danger(), e.serial)).map(|e| e.serial)?;
        let entry = self.entries.iter_mut().find(|e| e.serial == serial)?;
        entry.attempts += 1;
        Some(Job { serial, told: Arc::clone(&entry.told), repeat: entry.sent, attempt: entry.attempts })
    }

    fn is_held(&self, entry: &Entry, wall: Timestamp) -> bool {
        schedule::may_wait(entry.told.change.alarm) && self.quiet.as_ref().is_some_and(|quiet| quiet.holds(wall))
    }

    /// Takes in how an attempt ended.
    pub(super) fn done(&mut self, now: Span, serial: u64, sent: &Sent) {
        if *sent == Sent::Done {
            self.failures = 0;
        } else {
            self.failures = self.failures.saturating_add(1);
            let urgent = self.entries.iter().map(|e| e.told.priority()).max().unwrap_or(Priority::Advice);
            self.not_before = Span::from_ms(now.ms() + schedule::back_off(self.failures, urgent).ms());
        }
        // It may have been answered or superseded meanwhile.
        let Some(i) = self.entries.iter().position(|e| e.serial == serial) else { return };
        let entry = &mut self.entries[i];
        match sent {
            Sent::Unreachable(_) => return,
            Sent::Refused(_) if entry.attempts < REFUSED_MAX => return,
            Sent::Refused(_) => self.dropped += 1,
            Sent::Done => {
                entry.sent += 1;
                entry.first.get_or_insert(now);
            }
        }
        if entry.is_danger() && entry.told.begins() {
            let first = *entry.first.get_or_insert(now);
            let passed = Span::from_ms(now.ms() - first.ms());
            entry.due = Span::from_ms(first.ms() + schedule::next_repeat(passed).ms());
            entry.attempts = 0;
        } else {
            self.entries.remove(i);
        }
    }

    /// When [`Self::next`] may have something, on the monotonic clock.
    pub(super) fn wake_at(&self, now: Span, wall: Timestamp) -> Option<Span> {
        let due = |e: &Entry| {
            let due = e.due.max(self.not_before);
            if self.is_held(e, wall) { due.max(Span::from_ms(now.ms() + QUIET_LOOK.ms())) } else { due }
        };
        self.entries.iter().map(due).min()
    }

    /// Whether something never got out and is not held back.
    pub(super) fn has_unsent(&self, now: Span, wall: Timestamp) -> bool {
        self.entries.iter().any(|e| e.sent == 0 && e.due <= now && !self.is_held(e, wall))
    }
}

#[cfg(test)]
#[path = "desk_tests.rs"]
mod tests;
