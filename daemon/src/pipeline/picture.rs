//! The picture for pages, metrics and messages.
use super::flight::IN_FLIGHT_MAX;
use super::restoring::is_well;
use super::{Pipeline, UNTOLD_MAX};
use crate::intake::INBOX_MESSAGES;
use crate::snapshot::{Snapshot, StandingAlarm};
use std::cmp::Reverse;
use std::sync::Arc;

impl Pipeline {
    /// Shows how everything stands now.
    pub(super) fn show(&mut self) {
        let snapshot = self.picture();
        self.shown = self.clock.monotonic();
        self.touched = false;
        self.changed = false;
        self.snapshots.send_replace(Arc::new(snapshot));
    }

    pub(super) fn picture(&self) -> Snapshot {
        let at = self.clock.now();
        let nests = (0..self.core.shelf().nests.len()).filter_map(|i| self.core.nest(i, at)).collect();
        let mut alarms: Vec<StandingAlarm> = self
            .core
            .alarms()
            .filter(|(_, state, ..)| !is_well(*state))
            .map(|(key, state, since, cause)| StandingAlarm {
                key: key.clone(),
                state,
                since,
                raised: self.core.raised_at(key),
                detail: self.details.get(key).cloned().unwrap_or_default(),
                cause,
                until: self.core.silent_until(key),
            })
            .collect();
        alarms.sort_by_key(|alarm| (Reverse(alarm.priority()), alarm.since));
        let strangers = self.strangers.iter().map(|(name, last)| {
            let unit = if last.unit.is_empty() { String::new() } else { format!(" {}", last.unit) };
            (name.to_owned(), format!("{}{unit}", last.value), last.heard)
        });
        let mut vitals = self.tally.vitals(self.acker.counts(), &self.writer.counters(), self.clock.monotonic());
        vitals.waiting = vec![
            ("inbox", self.inbox.len(), INBOX_MESSAGES),
            ("flights", self.flights.len(), IN_FLIGHT_MAX),
            ("untold", self.untold.len(), UNTOLD_MAX),
        ];
        vitals.mirror = self.settings.mirror.as_ref().map(|counts| counts.now());
        Snapshot {
            at,
            started: self.started,
            shelf: Arc::clone(&self.shelf),
            sources: Arc::clone(&self.sources),
            nests,
            alarms,
            strangers: strangers.collect(),
            links: self.links.clone(),
            nodes: self.nodes.all(),
            heat: self.permits.iter().map(|standing| standing.now().clone()).collect(),
            vitals,
        }
    }
}
