//! The room around one nest: read by a probe where there is one, else inferred from the cool end.
use crate::time::{Span, Timestamp};

/// Smoothing of a room probe, s: a room is slower than its probe's noise.
const PROBE_SMOOTHING_S: f64 = 180.0;
/// Smoothing of what the cool end says about the room, s.
const COOL_END_SMOOTHING_S: f64 = 900.0;
/// A room probe silent for longer is replaced by the cool end.
const SILENT_AFTER: Span = Span::from_min(30);

/// What is believed about the room.
#[derive(Clone, Debug, Default)]
pub struct Room {
    value_c: Option<f64>,
    measured: Option<Timestamp>,
    inferred: Option<Timestamp>,
}

impl Room {
    /// The room's own probe said `value_c`.
    pub fn measure(&mut self, at: Timestamp, value_c: f64) {
        let gap_s = self.measured.map_or(f64::INFINITY, |m| at.since(m).s().max(0.0));
        self.value_c = Some(follow(self.value_c, value_c, gap_s, PROBE_SMOOTHING_S));
        self.measured = Some(at);
    }

    /// The cool end, less the warmth the pads bring there, says `value_c`; taken in only where no probe speaks.
    pub fn infer(&mut self, at: Timestamp, value_c: f64) {
        if self.measured.is_some_and(|m| at.since(m) < SILENT_AFTER) {
            return;
        }
        let gap_s = self.inferred.map_or(60.0, |m| at.since(m).s().clamp(0.0, 3600.0));
        self.value_c = Some(follow(self.value_c, value_c, gap_s, COOL_END_SMOOTHING_S));
        self.inferred = Some(at);
    }

    /// The room's temperature, °C, once anything was heard.
    pub fn value_c(&self) -> Option<f64> {
        self.value_c
    }

    /// Whether its own probe speaks, as of `now`.
    pub fn is_measured(&self, now: Timestamp) -> bool {
        self.measured.is_some_and(|m| now.since(m) < SILENT_AFTER)
    }
}

fn follow(old: Option<f64>, new: f64, gap_s: f64, smoothing_s: f64) -> f64 {
    let Some(old) = old else { return new };
    old + (new - old) * (1.0 - libm::exp(-gap_s / smoothing_s))
}
