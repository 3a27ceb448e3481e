//! What one way still has to say: which message is next, and when. Pure; the task that owns it does the sending.
use super::schedule;
use crate::snapshot::{AlarmName, Told};
use enclosure::{Event, Priority, Span, State};
use std::sync::Arc;

/// Alarms that one way keeps in mind; beyond, the oldest that is no danger is dropped and counted.
pub const PENDING_MAX: usize = 64;
/// Attempts in a row with a message that the other side refuses; then it is put off for [`PUT_OFF`].
pub const REFUSED_MAX: u32 = 5;
/// How long a message that is refused again and again stands back for others.
pub const PUT_OFF: Span = Span::from_h(1);
/// How long "someone is on the way" quiets the repetition of a danger.
pub const ON_THE_WAY: Span = Span::from_min(30);
/// How often what quiet hours hold is looked at again.
const QUIET_LOOK: Span = Span::from_min(1);

/// How one attempt ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sent {
    /// It is out.
    Done,
    /// The way is out of order: tried again until it is out, or no longer true.
    Unreachable(String),
    /// The way works and did not take this message: tried again, with ever longer waits.
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
    /// It was answered, and still holds.
    pub(super) reminder: bool,
    /// Others were told before, and did not answer.
    pub(super) second: bool,
}

/// When it is this way's turn to tell of something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Turn {
    /// 0 for who is told first, 1 for the next, 2 for all others.
    pub(super) rank: u8,
    /// How long after the beginning.
    pub(super) delay: Span,
    /// It is told of nothing but danger.
    pub(super) dangers_only: bool,
}

impl Turn {
    /// At once, of everything.
    pub(super) const FIRST: Self = Self { rank: 0, delay: Span::ZERO, dangers_only: false };

    /// By the order of recipients.
    pub(super) fn of_rank(rank: usize) -> Self {
        let rank = rank.min(2);
        Self { rank: rank as u8, delay: schedule::STAGES[rank], dangers_only: rank > 0 }
    }
}

/// What was said of a change before this daemon started, by this way; spans back from now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Past {
    /// Since the change.
    pub(super) began: Span,
    /// Messages that got out.
    pub(super) sent: u32,
    /// Since the first of them.
    pub(super) first: Span,
    /// Since the last of them.
    pub(super) last: Span,
    /// Since somebody said that they are on their way.
    pub(super) on_the_way: Option<Span>,
    /// How often it was passed on to the next person.
    pub(super) passed_on: u32,
}

#[derive(Debug)]
struct Entry {
    serial: u64,
    told: Arc<Told>,
    turn: Turn,
    /// When it began; it is set back where somebody passes it on.
    base: Span,
    due: Span,
    /// When its first message got out.
    first: Option<Span>,
    sent: u32,
    attempts: u32,
    /// Answered, and still true.
    answered: bool,
    /// Somebody heard of it by this way.
    heard: bool,
    /// Its repetition is quiet until then.
    quiet: Option<Span>,
}

/// The state of one way.
#[derive(Debug)]
pub(super) struct Desk {
    least: Priority,
    remind: Span,
    entries: Vec<Entry>,
    serial: u64,
    not_before: Span,
    failures: u32,
    dropped: u64,
}

fn plus(a: Span, b: Span) -> Span {
    Span::from_ms(a.ms().saturating_add(b.ms()))
}

fn minus(a: Span, b: Span) -> Span {
    Span::from_ms(a.ms().saturating_sub(b.ms()))
}

impl Entry {
    fn is_danger(&self) -> bool {
        self.told.priority() == Priority::Danger
    }

    fn is_about(&self, name: &AlarmName) -> bool {
        let (alarm, nest, probe, node) = self.told.key();
        alarm == name.alarm
            && nest == name.nest.as_deref()
            && probe == name.probe.as_deref()
            && node == name.node.as_deref()
    }

    /// When it is due, with what quiets it.
    fn due(&self) -> Span {
        let quiet = self.quiet.filter(|_| self.sent > 0 && !self.answered);
        quiet.map_or(self.due, |until| self.due.max(until))
    }

    /// When it is to be said again after it was said at `last`.
    fn again(&self, last: Span, remind: Span) -> Span {
        if self.answered {
            return plus(last, remind);
        }
        // Counted as though this way's first message had been on time.
        let anchor = minus(self.first.unwrap_or(last), self.turn.delay);
        // A clock that was set between two starts moves the anchor: no two messages come closer for that.
        plus(anchor, schedule::next_repeat(minus(last, anchor))).max(plus(last, schedule::REPEAT_FIRST))
    }
}

impl Desk {
    /// `remind`: after so long an answered danger that still holds is said again.
    pub(super) fn new(least: Priority, remind: Span) -> Self {
        Self { least, remind, entries: Vec::new(), serial: 0, not_before: Span::ZERO, failures: 0, dropped: 0 }
    }

    /// Messages dropped for lack of room.
    pub(super) fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Attempts that failed in a row.
    pub(super) fn failures(&self) -> u32 {
        self.failures
    }

    /// Takes in a change; `now` is the monotonic time, `past` what was said of it before a restart.
    pub(super) fn take(&mut self, now: Span, told: Arc<Told>, turn: Turn, past: Past) {
        let danger = told.priority() == Priority::Danger;
        if told.priority() < self.least || (turn.dangers_only && !danger) {
            return;
        }
        let before = self.entries.iter().position(|e| e.told.key() == told.key()).map(|i| self.entries.remove(i));
        if told.begins() {
            // Told anew: what was said of it before is superseded. What was said before a restart is said once.
            if danger || past.sent == 0 {
                self.begin(now, told, turn, past);
            }
        } else if told.leaves() {
            if past.sent == 0 {
                self.add(Entry::new(told, Turn::FIRST, now));
            }
        } else if told.ends() {
            // Who heard of a danger, or would have heard but for a way out of order, hears of its end.
            let due = match &before {
                Some(before) => (before.is_danger() && before.heard) || before.attempts > 0,
                None => told.restored && danger && past.sent == 0,
            };
            if due {
                self.add(Entry::new(told, Turn::FIRST, now));
            }
        } else if danger && told.change.event == Event::Acknowledged && told.change.state == State::Acknowledged {
            let heard = before.is_none_or(|before| before.heard);
            self.remind_of(now, told, turn, past, heard);
        } else if told.change.event == Event::Raised
            && let Some(before) = before
        {
            // A consequence is no reason to be silent about what was told.
            self.entries.push(before);
        }
    }

    fn begin(&mut self, now: Span, told: Arc<Told>, turn: Turn, past: Past) {
        let mut entry = Entry::new(told, turn, minus(now, past.began));
        entry.due = plus(entry.base, turn.delay);
        entry.quiet = past.on_the_way.map(|ago| plus(minus(now, ago), ON_THE_WAY));
        if past.sent > 0 {
            (entry.sent, entry.heard, entry.first) = (past.sent, true, Some(minus(now, past.first)));
            entry.due = entry.again(minus(now, past.last), self.remind);
        }
        for _ in 0..past.passed_on.min(2) {
            entry.pass_on(now);
        }
        self.add(entry);
    }

    /// An answered danger that still holds: brought to mind, and after the second time to the next person too.
    fn remind_of(&mut self, now: Span, told: Arc<Told>, turn: Turn, past: Past, heard: bool) {
        let mut entry = Entry::new(told, turn, minus(now, past.began));
        (entry.answered, entry.heard) = (true, heard);
        let rounds = i64::from(turn.rank) + 1;
        entry.due = Span::from_ms(entry.base.ms() + rounds * self.remind.ms());
        if turn.rank > 0 {
            entry.due = plus(entry.due, schedule::NEXT_AFTER_REMINDER);
        }
        if past.sent > 0 {
            entry.sent = past.sent;
            entry.due = plus(minus(now, past.last), self.remind);
        }
        self.add(entry);
    }

    fn add(&mut self, mut entry: Entry) {
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
        entry.serial = self.serial;
        self.entries.push(entry);
    }

    /// Somebody cannot get there: the next person's turn is now.
    pub(super) fn pass_on(&mut self, now: Span, name: &AlarmName) {
        for entry in self.entries.iter_mut().filter(|e| e.is_about(name) && !e.answered) {
            entry.pass_on(now);
        }
    }

    /// Someone is on the way: who was told is left in peace for a while; the others are told in their turn.
    pub(super) fn on_the_way(&mut self, now: Span, name: &AlarmName) {
        for entry in self.entries.iter_mut().filter(|e| e.is_about(name)) {
            entry.quiet = Some(plus(now, ON_THE_WAY));
        }
    }

    /// The message to send now: dangers first, else in the order in which they came. `held` says what must wait.
    pub(super) fn next(&mut self, now: Span, held: &dyn Fn(&Told) -> bool) -> Option<Job> {
        if now < self.not_before {
            return None;
        }
        let ready = self.entries.iter().filter(|e| e.due() <= now && !held(&e.told));
        let serial = ready.min_by_key(|e| (!e.is_danger(), e.serial)).map(|e| e.serial)?;
        let entry = self.entries.iter_mut().find(|e| e.serial == serial)?;
        entry.attempts += 1;
        Some(Job {
            serial,
            told: Arc::clone(&entry.told),
            repeat: entry.sent,
            attempt: entry.attempts,
            reminder: entry.answered,
            second: entry.turn.rank > 0,
        })
    }

    /// Takes in how an attempt ended.
    pub(super) fn done(&mut self, now: Span, serial: u64, sent: &Sent) {
        if *sent == Sent::Done {
            self.failures = 0;
        } else {
            self.failures = self.failures.saturating_add(1);
            let urgent = self.entries.iter().map(|e| e.told.priority()).max().unwrap_or(Priority::Advice);
            self.not_before = plus(now, schedule::back_off(self.failures, urgent));
        }
        let remind = self.remind;
        // It may have been answered or superseded meanwhile.
        let Some(i) = self.entries.iter().position(|e| e.serial == serial) else { return };
        let entry = &mut self.entries[i];
        match sent {
            Sent::Refused(_) if entry.attempts >= REFUSED_MAX && !entry.is_danger() => {
                entry.attempts = 0;
                entry.due = plus(now, PUT_OFF);
                self.not_before = now;
            }
            Sent::Unreachable(_) | Sent::Refused(_) => {}
            Sent::Done => {
                entry.sent += 1;
                entry.attempts = 0;
                entry.heard = true;
                entry.first.get_or_insert(now);
                if entry.answered || (entry.is_danger() && entry.told.begins()) {
                    entry.due = entry.again(now, remind);
                } else {
                    self.entries.remove(i);
                }
            }
        }
    }

    /// When [`Self::next`] may have something, on the monotonic clock.
    pub(super) fn wake_at(&self, now: Span, held: &dyn Fn(&Told) -> bool) -> Option<Span> {
        let due = |e: &Entry| {
            let due = e.due().max(self.not_before);
            if held(&e.told) { due.max(plus(now, QUIET_LOOK)) } else { due }
        };
        self.entries.iter().map(due).min()
    }

    /// Whether something never got out and is not held back.
    pub(super) fn has_unsent(&self, now: Span, held: &dyn Fn(&Told) -> bool) -> bool {
        self.entries.iter().any(|e| e.sent == 0 && e.due() <= now && !held(&e.told))
    }
}

impl Entry {
    fn new(told: Arc<Told>, turn: Turn, base: Span) -> Self {
        let (serial, first, sent, attempts) = (0, None, 0, 0);
        let (answered, heard, quiet) = (false, false, None);
        Self { serial, told, turn, base, due: base, first, sent, attempts, answered, heard, quiet }
    }

    /// The next stage of telling begins now.
    fn pass_on(&mut self, now: Span) {
        let passed = minus(now, self.base);
        let stage = if passed < schedule::STAGES[1] { schedule::STAGES[1] } else { passed.max(schedule::STAGES[2]) };
        self.base = minus(now, stage);
        if self.sent == 0 && self.turn.delay <= stage {
            self.due = self.due.min(now);
        }
    }
}

#[cfg(test)]
#[path = "desk_tests.rs"]
mod tests;
