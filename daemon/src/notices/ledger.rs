//! What was said before this daemon started, from the delivery records in history: so that a restart neither loses a
//! message nor says one again that got out.
use super::desk::Past;
use crate::history::{AlarmRecord, Delivery, HistoryError, Reader};
use crate::snapshot::Told;
use crate::told::Key;
use enclosure::{Priority, Span, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// The outcome of a message that got out.
pub(super) const SENT: &str = "sent";
/// Stands for a way where a person did something.
pub(super) const PERSON: &str = "person";
/// Outcome: someone is on the way.
pub(super) const ON_THE_WAY: &str = "on the way";
/// Outcome: it was passed on to the next person.
pub(super) const PASSED_ON: &str = "passed on";
/// Outcome: a day's report got out.
pub(super) const DAILY: &str = "daily report sent";
/// The outcome of a week's report that got out.
pub(super) const WEEKLY: &str = "weekly report sent";
/// Begins the outcome of a test message that the other side took; the way's fingerprint follows.
pub(super) const ACCEPTED: &str = "test accepted";
/// Begins the outcome of a test message that a person saw; the way's fingerprint follows.
pub(super) const SEEN: &str = "test seen";
/// An end that nobody was told of is still told after so long.
const ENDS_TOLD: Span = Span::from_h(24);

#[derive(Clone, Copy, Debug, Default)]
struct Said {
    sent: u32,
    first: Option<Timestamp>,
    last: Option<Timestamp>,
}

/// What was said and done before.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    said: BTreeMap<(i64, String), Said>,
    acts: BTreeMap<i64, (Option<Timestamp>, u32)>,
    /// Changes that end a danger, each with the ways that had told of it.
    heard: BTreeMap<i64, BTreeSet<String>>,
    ends: Vec<Told>,
    apart: Vec<Delivery>,
}

impl Ledger {
    /// Reads it from the history at `path`. Blocks for some milliseconds.
    ///
    /// # Errors
    /// [`HistoryError`] where it cannot be read.
    pub fn load(path: &Path, now: Timestamp) -> Result<Self, HistoryError> {
        let reader = Reader::open(path)?;
        let latest = reader.standing_alarms()?.latest;
        let lately = now.minus(ENDS_TOLD);
        let before = reader.alarm_changes(lately.minus(ENDS_TOLD)..now.plus(ENDS_TOLD))?;
        let mut ids: Vec<i64> = latest.iter().map(|(id, _)| *id).collect();
        ids.extend(before.iter().map(|(id, _)| *id));
        let mut this = Self::of(&reader.deliveries_about(&ids)?);
        this.apart = reader.last_outcomes()?;
        this.find_ends(&latest, &before, lately);
        Ok(this)
    }

    /// From the records of deliveries alone.
    pub(super) fn of(deliveries: &[Delivery]) -> Self {
        let mut this = Self::default();
        for d in deliveries {
            let Some(change) = d.change else { continue };
            let acts = this.acts.entry(change).or_default();
            match (d.way.as_str(), d.outcome.as_str()) {
                (PERSON, ON_THE_WAY) => acts.0 = Some(d.at),
                (PERSON, PASSED_ON) => acts.1 += 1,
                (_, SENT) => {
                    let said = this.said.entry((change, d.way.clone())).or_default();
                    said.sent += 1;
                    said.first.get_or_insert(d.at);
                    said.last = Some(d.at);
                }
                _ => {}
            }
        }
        this
    }

    /// Ends of dangers of which somebody was told, but not of the end.
    pub(super) fn find_ends(
        &mut self,
        latest: &[(i64, AlarmRecord)],
        before: &[(i64, AlarmRecord)],
        lately: Timestamp,
    ) {
        for (id, change) in latest.iter().filter(|(_, c)| c.alarm.priority() == Priority::Danger) {
            let told = Told { change: change.clone(), id: Some(*id), restored: true };
            if told.leaves() && change.at > lately {
                self.ends.push(told);
                continue;
            }
            if !told.ends() {
                continue;
            }
            let key: Key<'_> = told.key();
            let same =
                |c: &AlarmRecord| (c.alarm.name(), c.nest.as_deref(), c.probe.as_deref(), c.node.as_deref()) == key;
            let ids: Vec<i64> = before.iter().filter(|(other, c)| other < id && same(c)).map(|(id, _)| *id).collect();
            let ways =
                self.said.keys().filter(|(change, _)| ids.contains(change)).map(|(_, way)| way.clone()).collect();
            self.heard.insert(*id, ways);
            if change.at > lately && matches!(change.state, enclosure::State::Normal) {
                self.ends.push(told);
            }
        }
    }

    /// Ends that the core no longer knows of, but which may not have been told.
    pub(super) fn ends(&self) -> &[Told] {
        &self.ends
    }

    /// What was said of `told` by `way`, as of `now`. A clock that was set back makes the past no future.
    pub(super) fn past(&self, told: &Told, way: &str, now: Timestamp) -> Past {
        let ago = |at: Timestamp| now.since(at).max(Span::ZERO);
        let began = if told.restored { ago(told.change.at) } else { Span::ZERO };
        let Some(id) = told.id.filter(|_| told.restored) else { return Past { began, ..Past::default() } };
        let said = self.said.get(&(id, way.to_owned())).copied().unwrap_or_default();
        let (on_the_way, passed_on) = self.acts.get(&id).copied().unwrap_or_default();
        let unheard = self.heard.get(&id).is_some_and(|ways| !ways.contains(way));
        Past {
            began,
            // Who never heard of it needs no end of it either.
            sent: if told.ends() && unheard { 1 } else { said.sent },
            first: said.first.map_or(Span::ZERO, ago),
            last: said.last.map_or(Span::ZERO, ago),
            on_the_way: on_the_way.map(ago),
            passed_on,
        }
    }

    /// When the last day's, or week's, report got out by `way`: what `outcome` says.
    pub(super) fn reported(&self, way: &str, outcome: &str) -> Option<Timestamp> {
        self.apart.iter().rfind(|d| d.way == way && d.outcome == outcome).map(|d| d.at)
    }

    /// When `way`, with these settings, last did what `outcome` says.
    pub(super) fn proof(&self, way: &str, outcome: &str, fingerprint: &str) -> Option<Timestamp> {
        let wanted = format!("{outcome} {fingerprint}");
        self.apart.iter().rfind(|d| d.way == way && d.outcome == wanted).map(|d| d.at)
    }
}
