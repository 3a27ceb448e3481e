//! What the pipeline counts, and how the watch itself is.
use crate::history::Counters;
use crate::intake::Counts;
use crate::snapshot::Vitals;
use crate::unpack::Refusals;
use enclosure::{Refusal, Span};

/// How long the worst commit is remembered.
const WORST_KEPT: Span = Span::from_min(1);

/// Counts since start.
#[derive(Debug, Default)]
pub(super) struct Tally {
    pub(super) vitals: Vitals,
    pub(super) refusals: Refusals,
    /// Changes that found no room on their way to whoever sends messages.
    pub(super) untold: u64,
    /// Acknowledgements that found no room; their messages come again.
    pub(super) unacknowledged: u64,
    /// The worst commit of this minute and of the one before, ms, and when this minute began.
    worst_ms: (u64, u64, Span),
}

impl Tally {
    /// Notes how long a message took from its arrival to its commit.
    pub(super) fn commit_took(&mut self, took_ms: u64, now: Span) {
        let (this, _, began) = self.worst_ms;
        if now.ms() - began.ms() >= WORST_KEPT.ms() {
            self.worst_ms = (0, this, now);
        }
        self.worst_ms.0 = self.worst_ms.0.max(took_ms);
        self.vitals.commit_ms.0 = took_ms;
    }

    /// Everything that is counted anywhere.
    pub(super) fn vitals(&self, intake: Counts, history: &Counters, now: Span) -> Vitals {
        let mut vitals = self.vitals.clone();
        vitals.stored = history.stored;
        vitals.duplicates = history.duplicates;
        vitals.thinned = (history.thinned, history.dropped);
        vitals.dropped = intake.dropped + history.queue_full + self.untold + self.unacknowledged;
        for why in Refusal::ALL {
            vitals.refused.insert(why.name(), self.refusals.get(why));
        }
        vitals.refused.insert("oversized", intake.oversized);
        vitals.refused.insert("crowded", history.crowded);
        let (this, before, began) = self.worst_ms;
        vitals.commit_ms.1 = if now.ms() - began.ms() < WORST_KEPT.ms() { this.max(before) } else { this };
        vitals
    }
}
