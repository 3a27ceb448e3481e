//! What goes into history and comes out of it, and how that can fail.
use super::fits::FitAct;
use super::mirroring::{MirrorLines, MirrorNews};
use super::receipts::PackSeen;
use crate::evidence;
use enclosure::reading::Unit;
use enclosure::{Alarm, AlarmChange, AlarmKey, Event, Measured, Refusal, Rejection, Shelf, SourceId, State, Timestamp};
use std::sync::Arc;

/// What kind of value a series holds; with the source's name it names the series.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// °C.
    Temperature,
    /// %RH.
    Humidity,
    /// Mean duty since the source's previous record, 0 to 1.
    Duty,
    /// The drive's state: 0 or 1.
    On,
    /// Mean power, W.
    Power,
}

/// A reading as history keeps it.
#[derive(Clone, Debug, PartialEq)]
pub struct HistoricReading {
    /// The source's full name, `oak-node:warm`.
    pub source: Arc<str>,
    /// When it was measured.
    pub at: Timestamp,
    /// What was measured. Negative zero comes back as zero.
    pub measured: Measured,
    /// Why it was not believed; `None`: it was.
    pub rejection: Option<Rejection>,
}

/// One change of one alarm, with names in place of the core's indices.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmRecord {
    /// When.
    pub at: Timestamp,
    /// Which alarm.
    pub alarm: Alarm,
    /// Id of the nest; none for alarms of the watch itself.
    pub nest: Option<String>,
    /// The probe it is about.
    pub probe: Option<String>,
    /// The node it is about.
    pub node: Option<String>,
    /// What happened.
    pub event: Event,
    /// Where it stands from here on.
    pub state: State,
    /// What was expected, what was seen.
    pub detail: String,
    /// The alarm of which this one is a consequence.
    pub cause: Option<Alarm>,
    /// Whether a message was due.
    pub told: bool,
}

/// What a keeper wrote down or did.
#[derive(Clone, Debug, PartialEq)]
pub struct KeeperNote {
    /// When it was seen or done.
    pub at: Timestamp,
    /// Id of the nest it is about.
    pub nest: Option<String>,
    /// The place it is about, mm from the nest's zero end.
    pub at_mm: Option<f64>,
    /// `brood`, `fed`, `refilled`, `acknowledged`, ...: a word of the caller's.
    pub kind: String,
    /// In the keeper's words.
    pub text: String,
}

/// One attempt to send one message.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivery {
    /// The alarm change it tells, by the id that [`super::Committed`] gave; none for a test or a heartbeat.
    pub change: Option<i64>,
    /// `webhook`, `mail`, ...
    pub way: String,
    /// Counted from 1.
    pub attempt: u32,
    /// When.
    pub at: Timestamp,
    /// `sent`, or why not.
    pub outcome: String,
}

/// A time in which nothing was watched.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    /// From.
    pub from: Timestamp,
    /// To.
    pub to: Timestamp,
    /// Power cut, daemon stopped, ...
    pub why: String,
}

/// What the shelf file and the environment said, from some moment on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsInForce {
    /// Since when.
    pub since: Timestamp,
    /// The shelf file's text; below it, as comments, what the environment set.
    pub text: String,
}

/// A temperature that was stored before and is not believed after all: some are judged only once the pad's report came.
#[derive(Clone, Debug, PartialEq)]
pub struct Disbelief {
    /// The source's full name.
    pub source: Arc<str>,
    /// When it was measured.
    pub at: Timestamp,
    /// Why it is not believed.
    pub why: Rejection,
}

/// What one message brings: stored as a whole or not at all.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Batch {
    /// Readings of listed sources.
    pub readings: Vec<HistoricReading>,
    /// Temperatures of earlier batches that are not believed after all.
    pub disbeliefs: Vec<Disbelief>,
    /// The packs they came in (also those whose records were all refused and counted).
    pub packs: Vec<PackSeen>,
    /// Alarms that changed.
    pub changes: Vec<AlarmRecord>,
    /// What the keeper did.
    pub notes: Vec<KeeperNote>,
    /// Messages that were sent, or were not.
    pub deliveries: Vec<Delivery>,
    /// Times without a watch.
    pub gaps: Vec<Gap>,
    /// What the shelf file says now; stored if it said otherwise before.
    pub settings: Option<SettingsInForce>,
    /// Fits of a nest's physics, and those that are put back.
    pub fits: Vec<FitAct>,
    /// What the mirror has to say.
    pub mirror: Option<MirrorNews>,
    /// What the mirror is to be told and nothing else keeps.
    pub mirror_lines: Vec<MirrorLines>,
    /// Small facts by name (`watched_until`), the newest kept.
    pub facts: Vec<(String, String)>,
    /// Commit at once instead of waiting for company: danger.
    pub urgent: bool,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 5] = [Self::Temperature, Self::Humidity, Self::Duty, Self::On, Self::Power];

    /// The quantity and the plain value of what was measured.
    pub fn of(measured: Measured) -> (Self, f64) {
        match measured {
            Measured::Temperature(c) => (Self::Temperature, c),
            Measured::Humidity(rh_pct) => (Self::Humidity, rh_pct),
            Measured::Duty(duty) => (Self::Duty, duty),
            Measured::On(on) => (Self::On, f64::from(u8::from(on))),
            Measured::Power(w) => (Self::Power, w),
        }
    }

    /// What was measured, from the plain value.
    ///
    /// # Errors
    /// [`Refusal`] where the value cannot be of this quantity.
    pub fn measured(self, v: f64) -> Result<Measured, Refusal> {
        let unit = match self {
            Self::Temperature => Unit::Celsius,
            Self::Humidity => Unit::RelativeHumidity,
            Self::Duty => Unit::Ratio,
            Self::Power => Unit::Watt,
            Self::On => return if v.is_finite() { Ok(Measured::On(v > 0.5)) } else { Err(Refusal::NonFinite) },
        };
        Measured::new(unit, v)
    }

    /// A word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Humidity => "humidity",
            Self::Duty => "duty",
            Self::On => "on",
            Self::Power => "power",
        }
    }

    /// Its number on disk; never changes.
    pub(crate) const fn code(self) -> i64 {
        match self {
            Self::Temperature => 1,
            Self::Humidity => 2,
            Self::Duty => 3,
            Self::On => 4,
            Self::Power => 5,
        }
    }

    pub(crate) fn from_code(code: i64) -> Option<Self> {
        Self::ALL.into_iter().find(|q| q.code() == code)
    }
}

/// A rejection's number on disk; never changes.
pub(crate) const fn rejection_code(why: Rejection) -> u8 {
    match why {
        Rejection::Wild => 1,
        Rejection::Distrusted => 2,
        Rejection::Late => 3,
        Rejection::Duplicate => 4,
    }
}

pub(crate) fn rejection_from_code(code: u8) -> Option<Rejection> {
    [Rejection::Wild, Rejection::Distrusted, Rejection::Late, Rejection::Duplicate]
        .into_iter()
        .find(|why| rejection_code(*why) == code)
}

impl HistoricReading {
    /// The quantity and the plain value.
    pub fn value(&self) -> (Quantity, f64) {
        Quantity::of(self.measured)
    }
}

impl AlarmRecord {
    /// A core's change under the names of `shelf` and `sources` (the core's own table), its evidence in the words of the
    /// language that holds here: what is kept, shown and sent from here on is what was said now.
    pub fn of(change: &AlarmChange, shelf: &Shelf, sources: &[String]) -> Self {
        let nest = change.key.nest.and_then(|i| shelf.nests.get(usize::from(i))).map(|nest| nest.id.clone());
        let probe = change.key.probe.and_then(|id| sources.get(usize::from(id.0))).cloned();
        Self {
            at: change.at,
            alarm: change.key.alarm,
            nest,
            probe,
            node: change.key.node.clone(),
            event: change.event,
            state: change.state,
            detail: evidence::words(&change.evidence),
            cause: change.cause,
            told: change.told,
        }
    }

    /// Which alarm of a core of today it is about; `None` if its nest or its probe no longer stands on the shelf.
    pub fn key(&self, shelf: &Shelf, sources: &[String]) -> Option<AlarmKey> {
        let index = |i: usize| u16::try_from(i).ok();
        let nest = match &self.nest {
            Some(id) => Some(shelf.nests.iter().position(|nest| nest.id == *id).and_then(index)?),
            None => None,
        };
        let probe = match &self.probe {
            Some(name) => Some(SourceId(sources.iter().position(|s| s == name).and_then(index)?)),
            None => None,
        };
        Some(AlarmKey { alarm: self.alarm, nest, probe, node: self.node.clone() })
    }
}

impl Batch {
    /// What nobody would send again: everything but readings and packs.
    pub(crate) fn without_packs(mut self) -> Option<Self> {
        self.readings.clear();
        self.disbeliefs.clear();
        self.packs.clear();
        // The mirror says again how far it has come.
        self.mirror = None;
        let empty = self.changes.is_empty() && self.notes.is_empty() && self.deliveries.is_empty();
        let bare = self.gaps.is_empty() && self.facts.is_empty() && self.mirror_lines.is_empty();
        let bare = bare && self.fits.is_empty();
        (!(empty && bare && self.settings.is_none())).then_some(self)
    }
}
