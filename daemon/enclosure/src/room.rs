//! The room around one nest: read by a probe where there is one, else inferred from the cool end.
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;

/// Smoothing of a room probe, s: a room is slower than its probe's noise.
const PROBE_SMOOTHING_S: f64 = 180.0;
/// Smoothing of what the cool end says about the room, s.
const COOL_END_SMOOTHING_S: f64 = 900.0;
/// Where a room (or a probe's place) has been of late is its mean over this long, s.
pub(crate) const CALM_S: f64 = 1800.0;
/// A room so far from that moves faster than houses do, K.
const MOVING_K: f64 = 0.8;
/// Nests follow it for about so long.
const FOLLOWED_FOR: Span = Span::from_min(45);
/// A room probe silent for longer is replaced by the cool end.
const SILENT_AFTER: Span = Span::from_min(30);

/// What is believed about the room.
#[derive(Clone, Debug, Default)]
pub struct Room {
    value_c: Option<f64>,
    /// Where it has been of late, °C.
    calm_c: Option<f64>,
    /// When it last moved as no house does by itself.
    moved: Option<Timestamp>,
    measured: Option<Timestamp>,
    inferred: Option<Timestamp>,
}

impl Room {
    /// The room's own probe said `value_c`.
    pub fn measure(&mut self, at: Timestamp, value_c: f64) {
        let gap_s = self.measured.map_or(f64::INFINITY, |m| at.since(m).s().max(0.0));
        self.value_c = Some(follow(self.value_c, value_c, gap_s, PROBE_SMOOTHING_S));
        self.calm_c = Some(follow(self.calm_c, value_c, gap_s, CALM_S));
        self.note_move(at);
        self.measured = Some(at);
    }

    /// The cool end, less the warmth the pads bring there, says `value_c`; taken in only where no probe speaks.
    pub fn infer(&mut self, at: Timestamp, value_c: f64) {
        if self.measured.is_some_and(|m| at.since(m) < SILENT_AFTER) {
            return;
        }
        let gap_s = self.inferred.map_or(60.0, |m| at.since(m).s().clamp(0.0, 3600.0));
        self.value_c = Some(follow(self.value_c, value_c, gap_s, COOL_END_SMOOTHING_S));
        self.calm_c = Some(follow(self.calm_c, value_c, gap_s, CALM_S));
        self.note_move(at);
        self.inferred = Some(at);
    }

    fn note_move(&mut self, at: Timestamp) {
        if self.risen_k().abs() > MOVING_K {
            self.moved = Some(at);
        }
    }

    /// The room's temperature, °C, once anything was heard.
    pub fn value_c(&self) -> Option<f64> {
        self.value_c
    }

    /// By how much it is warmer than it has been of late, K.
    pub fn risen_k(&self) -> f64 {
        self.value_c.zip(self.calm_c).map_or(0.0, |(now, calm)| now - calm)
    }

    /// Whether it moves as no house does by itself (a window, a door), or did so lately that its nests still follow.
    pub fn is_moving(&self, now: Timestamp) -> bool {
        self.moved.is_some_and(|at| now.since(at) < FOLLOWED_FOR)
    }

    /// Whether its own probe speaks, as of `now`.
    pub fn is_measured(&self, now: Timestamp) -> bool {
        self.measured.is_some_and(|m| now.since(m) < SILENT_AFTER)
    }
}

/// `old` moved on towards `new` after `gap_s`.
pub(crate) fn follow(old: Option<f64>, new: f64, gap_s: f64, smoothing_s: f64) -> f64 {
    let Some(old) = old else { return new };
    old + (new - old) * (1.0 - libm::exp(-gap_s / smoothing_s))
}

/// Samples of a room's last hours.
const COURSE_SAMPLES: usize = 37;
/// Between two of them.
const COURSE_EVERY: Span = Span::from_min(5);
/// A room that moves by so much within three hours is the likely cause of what its nests do, K: twice what a house does
/// by itself at night (common practice, no source).
const COURSE_K: f64 = 4.0;

/// How a room moved of late.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Course {
    /// Where it was, °C.
    pub from_c: f64,
    /// Where it is, °C.
    pub to_c: f64,
    /// How long that took.
    pub within: Span,
}

/// A room's last three hours.
#[derive(Clone, Debug, Default)]
pub struct Rooms(VecDeque<(Timestamp, f64)>);

impl Rooms {
    /// Takes in where the room stands now.
    pub fn note(&mut self, now: Timestamp, room_c: Option<f64>) {
        let Some(room_c) = room_c.filter(|c| c.is_finite()) else { return };
        if self.0.back().is_some_and(|(at, _)| now.since(*at) < COURSE_EVERY) {
            return;
        }
        if self.0.len() == COURSE_SAMPLES {
            self.0.pop_front();
        }
        self.0.push_back((now, room_c));
    }

    /// A move that is large enough to explain something, from its farthest point of the last three hours.
    pub fn course(&self, now: Timestamp) -> Option<Course> {
        let span = Span::from_ms(COURSE_EVERY.ms() * COURSE_SAMPLES as i64);
        let recent = || self.0.iter().filter(|(at, _)| now.since(*at) <= span);
        let (_, to_c) = *recent().next_back()?;
        let (at, from_c) = *recent().max_by(|a, b| (a.1 - to_c).abs().total_cmp(&(b.1 - to_c).abs()))?;
        ((to_c - from_c).abs() >= COURSE_K).then(|| Course { from_c, to_c, within: now.since(at) })
    }
}
