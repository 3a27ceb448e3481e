//! From a message to the core, and from its effects to what is to be stored.
use super::clocks::Grace;
use super::draft::Draft;
use super::{LINKS_MAX, Pipeline};
use crate::history::{AlarmRecord, Disbelief, FitAct, FitRecord, HistoricReading, PackSeen};
use crate::intake::Message;
use enclosure::{Effect, Event, Input, Measured, Rejection, Timestamp};
use std::sync::Arc;

impl Pipeline {
    /// The time as the core hears it.
    pub(super) fn core_now(&self) -> Timestamp {
        self.grace.as_ref().map_or_else(|| self.clock.now(), Grace::stands)
    }

    pub(super) fn message(&mut self, message: &Message) {
        self.touched = true;
        self.tally.vitals.messages += 1;
        let unpacked = self.unpacking.take(message);
        self.tally.refusals.merge(&unpacked.refused);
        for stranger in unpacked.strangers.iter().cloned() {
            self.strangers.note(stranger, message.arrived);
        }
        self.nodes.hear(&unpacked, &self.sources, message.arrived);
        let mut draft = Draft { message: Some((message.ack, message.arrived)), ..Draft::default() };
        if let Some((node, up)) = unpacked.link.clone() {
            let effects = self.core.step(self.core_now(), Input::Link { node: node.clone(), up });
            self.sort(effects, &mut draft);
            if self.links.len() < LINKS_MAX || self.links.contains_key(&node) {
                self.links.insert(node, up);
            }
        }
        for reading in unpacked.readings.iter().copied() {
            let Some(source) = self.names.get(usize::from(reading.source.0)) else { continue };
            let source = Arc::clone(source);
            let (at, measured) = (reading.at, reading.measured);
            draft.batch.readings.push(HistoricReading { source, at, measured, rejection: None });
            self.tally.vitals.readings += 1;
            // A node whose clock runs ahead must not hide that all others are silent.
            self.tally.vitals.judged = self.tally.vitals.judged.max(Some(at.min(message.arrived)));
            if let Some(grace) = &mut self.grace {
                grace.hear(reading.source, at, self.clock.as_ref());
            }
            let effects = self.core.step(self.core_now(), Input::Reading(reading));
            self.sort(effects, &mut draft);
        }
        self.permit(message, &unpacked);
        self.withdraw();
        if let Some(pack) = unpacked.pack {
            draft.batch.packs.push(PackSeen { node: pack.node, boot: pack.boot, seq: pack.seq, from: pack.from });
        }
        self.submit(draft);
    }

    /// Hands something to the core, and what comes of it to history.
    pub(super) fn feed(&mut self, input: Input) {
        let mut draft = Draft::default();
        let effects = self.core.step(self.core_now(), input);
        self.sort(effects, &mut draft);
        self.submit(draft);
    }

    pub(super) fn sort(&mut self, effects: Vec<Effect>, draft: &mut Draft) {
        for effect in effects {
            match effect {
                Effect::Alarm(mut change) => {
                    if self.grace.is_some() {
                        change.at = change.at.max(self.clock.now());
                        self.core.date(&change.key, change.at);
                    }
                    let mut record = AlarmRecord::of(&change, &self.shelf, &self.sources);
                    if !record.detail.is_empty() {
                        self.details.insert(change.key, record.detail.clone());
                    } else if let Some(said) = self.details.get(&change.key) {
                        // What a keeper does says nothing of the condition: what was said of it stays beside it.
                        record.detail.clone_from(said);
                    }
                    if record.event == Event::Raised {
                        *self.tally.vitals.raised.entry(record.alarm.name()).or_default() += 1;
                    }
                    self.tally.vitals.told += u64::from(record.told);
                    draft.changes.push(record);
                }
                Effect::Fit { nest, news } => {
                    if let Some(nest) = self.shelf.nests.get(nest) {
                        draft.batch.fits.push(FitAct::New(FitRecord::of(*news, nest)));
                    }
                }
                Effect::Rejected { source, at, why } => {
                    let Some(source) = self.names.get(usize::from(source.0)) else { continue };
                    *self.tally.vitals.rejected.entry(why.name()).or_default() += 1;
                    // Only temperatures are rejected.
                    let is_it = |r: &HistoricReading| {
                        r.at == at && r.source == *source && matches!(r.measured, Measured::Temperature(_))
                    };
                    match draft.batch.readings.iter().rposition(is_it) {
                        Some(i) => draft.batch.readings[i].rejection = Some(why),
                        // A pack that came again: what is stored of it stays as it is.
                        None if matches!(why, Rejection::Late | Rejection::Duplicate) => {}
                        None => draft.batch.disbeliefs.push(Disbelief { source: Arc::clone(source), at, why }),
                    }
                }
            }
        }
    }
}
