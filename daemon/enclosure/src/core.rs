//! Inputs, effects, and the loop that ties estimate, judge and alarms together.
use crate::alarm::{Alarm, AlarmChange, AlarmKey, State};
use crate::reading::{Reading, Rejection, SourceId};
use crate::shelf::Shelf;
use crate::time::{Span, Timestamp};
use alloc::{string::String, vec::Vec};

/// Everything that can happen to the core.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// A source said something.
    Reading(Reading),
    /// A node's link went up or down (its will).
    Link {
        /// What stands before the last `:` of its sources.
        node: String,
        /// Up or down.
        up: bool,
    },
    /// The watch itself is impaired, or well again (broker-lost, history-failing, notice-failing, clock-jumped).
    Watch {
        /// Which alarm of the watch.
        alarm: Alarm,
        /// Whether it is the case now.
        failing: bool,
        /// What was attempted and why it failed.
        detail: String,
    },
    /// A keeper did something.
    Keeper(KeeperAct),
    /// Nothing but time passed.
    Wake,
}

/// What a keeper can do to an alarm.
#[derive(Clone, Debug, PartialEq)]
pub enum KeeperAct {
    /// Answer it.
    Acknowledge(AlarmKey),
    /// Silence it for a time.
    Shelve(AlarmKey, Span),
    /// End that silence.
    Unshelve(AlarmKey),
    /// Reset a latched one; refused while its condition holds.
    Reset(AlarmKey),
}

/// What the shell must do.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// The reading just handed in was not believed. No such effect: it was.
    Rejected {
        /// Whose.
        source: SourceId,
        /// Of when.
        at: Timestamp,
        /// Why.
        why: Rejection,
    },
    /// An alarm changed: store it, show it, and tell it where it says so.
    Alarm(AlarmChange),
}

/// Temperature over the axis of one nest at one moment, as believed.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Profile {
    /// Places, mm, rising from 0 to the nest's length.
    pub at_mm: Vec<f64>,
    /// Believed mean at each place, °C.
    pub mean_c: Vec<f64>,
    /// Standard deviation of the believed error at each place, K.
    pub sd_c: Vec<f64>,
    /// Heat the pads are believed to give, W.
    pub pad_w: f64,
    /// Its standard deviation, W.
    pub pad_w_sd: f64,
}

/// Everything a page shows about one nest at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct NestNow {
    /// Time of the newest believed reading; `None` before the first.
    pub heard: Option<Timestamp>,
    /// The estimate; empty before the first reading.
    pub profile: Profile,
    /// Brood area: mean, its standard deviation, hottest point, °C.
    pub brood_c: Option<(f64, f64, f64)>,
    /// Room, °C, and its standard deviation.
    pub room_c: Option<(f64, f64)>,
    /// Relative humidity on the profile's axis, %RH; `None` where unknown.
    pub rh_pct: Vec<Option<f64>>,
    /// End of the first 12 hours.
    pub learning_until: Option<Timestamp>,
    /// Every probe: its last temperature with its time, last humidity, and whether it is believed.
    pub probes: Vec<ProbeNow>,
    /// What the pads were last told: duty 0 to 1; `None` where nothing reports.
    pub told_duty: Option<f64>,
}

/// A probe's last words.
#[derive(Clone, Debug, PartialEq)]
pub struct ProbeNow {
    /// Which.
    pub source: SourceId,
    /// Last temperature, °C, and when.
    pub temperature: Option<(f64, Timestamp)>,
    /// Last humidity, %RH, and when.
    pub humidity: Option<(f64, Timestamp)>,
    /// Why the last reading was not believed, if it was not.
    pub rejected: Option<Rejection>,
}

/// The core: one for a whole shelf.
#[derive(Clone, Debug)]
pub struct Core {
    shelf: Shelf,
    sources: Vec<String>,
}

impl Core {
    /// A core that has heard nothing yet.
    pub fn new(shelf: Shelf) -> Self {
        let mut sources: Vec<String> = Vec::new();
        for nest in &shelf.nests {
            let probes = nest.probes.iter().map(|p| &p.source);
            let drives = nest.pads.iter().filter_map(|p| p.drive.as_ref());
            for name in probes.chain(drives).chain(nest.room.as_ref()) {
                if !sources.contains(name) {
                    sources.push(name.clone());
                }
            }
        }
        Self { shelf, sources }
    }

    /// The shelf it watches.
    pub fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    /// Every source some nest lists; a [`SourceId`] is a place in this list.
    pub fn sources(&self) -> &[String] {
        &self.sources
    }

    /// The id of a listed source.
    pub fn source(&self, name: &str) -> Option<SourceId> {
        self.sources.iter().position(|s| s == name).and_then(|i| u16::try_from(i).ok()).map(SourceId)
    }

    /// The only way in, the only way out. `now` never runs backwards between calls (a smaller one is taken as equal).
    pub fn step(&mut self, _now: Timestamp, _input: Input) -> Vec<Effect> {
        Vec::new()
    }

    /// When [`Self::step`] wants to be called with [`Input::Wake`] at the latest.
    pub fn wake_at(&self) -> Option<Timestamp> {
        None
    }

    /// What is believed about nest `nest` at `at`, without hindsight and without changing anything.
    pub fn nest(&self, _nest: usize, _at: Timestamp) -> NestNow {
        NestNow {
            heard: None,
            profile: Profile::default(),
            brood_c: None,
            room_c: None,
            rh_pct: Vec::new(),
            learning_until: None,
            probes: Vec::new(),
            told_duty: None,
        }
    }

    /// Every alarm that exists on this shelf, with its state, since when, and its cause where it is a consequence.
    pub fn alarms(&self) -> Vec<(AlarmKey, State, Timestamp, Option<Alarm>)> {
        Vec::new()
    }

    /// Puts an alarm back into the state that history says it had; for a restart only.
    pub fn restore(&mut self, _change: &AlarmChange) {}
}
