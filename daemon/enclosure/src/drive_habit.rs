//! What a pad's drive usually does at each time of day, and where a thermostat lets go and comes on: what to expect of
//! it in the hours ahead.
use crate::day_shape::{BINS, DayShape, bin};
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// Switches remembered of each kind.
const MARKS: usize = 160;
/// So many switches within a day are a thermostat's.
const MARKS_OF_A_DAY: usize = 7;
/// Thermostats let go within so much of where they usually do at that hour, K.
const MARK_SD_K: f64 = 1.2;
/// Marks within this much of a time of day speak for it.
const NEAR: Span = Span::from_min(45);
/// A pad is on above, and off below; between it is as it was.
const ON: f64 = 0.6;
/// See [`ON`].
const OFF: f64 = 0.4;
/// Drive that stays within this share all day is a dimmer's.
const FLAT: f64 = 0.15;
/// Half the hysteresis of a thermostat that nobody has seen switch, K.
const HALF_BAND_K: f64 = 0.3;

/// The habits of one pad's drive.
#[derive(Clone, Debug)]
pub struct DriveHabit {
    day: DayShape,
    /// Drive of late: mean over about an hour.
    recent: Option<f64>,
    /// Drive while on.
    full: f64,
    on: Option<bool>,
    /// Whether it let go since somebody began to watch: a first warm-up comes on anywhere.
    cycling: bool,
    lets_go: VecDeque<(Timestamp, f64)>,
    comes_on: VecDeque<(Timestamp, f64)>,
    last: Option<Timestamp>,
}

/// What the drive will do.
#[derive(Clone, Debug, PartialEq)]
pub enum Control {
    /// It goes on as it is.
    Held(f64),
    /// As usual at each half hour of the day.
    Daily(Vec<f64>),
    /// A thermostat: on below the first, off above the second warmth over the pad at each half hour, °C; drive while on.
    Thermostat(Vec<(f64, f64)>, f64),
}

impl Default for DriveHabit {
    fn default() -> Self {
        let (lets_go, comes_on) = (VecDeque::new(), VecDeque::new());
        Self {
            day: DayShape::new(1.0),
            recent: None,
            full: 1.0,
            on: None,
            cycling: false,
            lets_go,
            comes_on,
            last: None,
        }
    }
}

impl DriveHabit {
    /// Driven at `drive` up to `at`, its place at `over_pad_c` then.
    pub fn note(&mut self, at: Timestamp, drive: f64, over_pad_c: Option<f64>) {
        let gap_s = self.last.replace(at).map_or(0.0, |last| at.since(last).s());
        if gap_s > 600.0 {
            self.interrupt();
        }
        self.day.note(at, drive);
        let keep = libm::exp(-gap_s / 3600.0);
        self.recent = Some(self.recent.map_or(drive, |r| drive + (r - drive) * keep));
        let on = self.turns(drive) != self.is_on();
        if on {
            self.full += 0.01 * (drive - self.full);
        }
        let was = self.on.replace(on);
        let (Some(was), Some(c)) = (was, over_pad_c) else { return };
        if was != on && (was || self.cycling) {
            self.cycling = true;
            let marks = if was { &mut self.lets_go } else { &mut self.comes_on };
            if marks.len() == MARKS {
                marks.pop_front();
            }
            marks.push_back((at, c));
        }
    }

    /// Nobody watched: what it does now begins anew.
    pub fn interrupt(&mut self) {
        self.on = None;
        self.cycling = false;
    }

    /// Whether `drive` would switch it.
    pub fn turns(&self, drive: f64) -> bool {
        if self.is_on() { drive < OFF } else { drive > ON }
    }

    /// Whether it is on.
    pub fn is_on(&self) -> bool {
        self.on == Some(true)
    }

    /// What it will do; none where that is not known. `set_c` is a thermostat's set point by the keeper.
    pub fn control(&self, set_c: Option<f64>) -> Option<Control> {
        if let Some(marks) = self.thermostat() {
            return Some(Control::Thermostat(marks, self.full));
        }
        let flat = self.day.range().is_some_and(|(least, most)| most - least < FLAT);
        if flat {
            return self.recent.map(Control::Held);
        }
        if let Some(c) = set_c {
            return Some(Control::Thermostat(alloc::vec![(c - HALF_BAND_K, c + HALF_BAND_K); BINS], self.full));
        }
        (0..BINS).map(|i| self.day.usual(i)).collect::<Option<_>>().map(Control::Daily)
    }

    fn thermostat(&self) -> Option<Vec<(f64, f64)>> {
        let quick = |marks: &VecDeque<(Timestamp, f64)>| {
            let pairs = marks.iter().zip(marks.iter().skip(MARKS_OF_A_DAY - 1));
            pairs.filter(|(a, b)| b.0.since(a.0) < Span::from_h(24)).count() > 0
        };
        if !quick(&self.lets_go) || !quick(&self.comes_on) {
            return None;
        }
        let (on, off) = (by_hour(&self.comes_on)?, by_hour(&self.lets_go)?);
        Some(on.iter().zip(&off).map(|(on, off)| (on.min(off - 0.05), *off)).collect())
    }
}

/// Where it switches at each half hour; none where it does not look like a thermostat. What the last marks are off by
/// holds for all: somebody turned its knob.
fn by_hour(marks: &VecDeque<(Timestamp, f64)>) -> Option<[f64; BINS]> {
    let mut sums = [(0.0, 0.0); BINS];
    for (at, c) in marks {
        let (from, to) = (bin(at.minus(NEAR)), bin(at.plus(NEAR)));
        let mut i = from;
        loop {
            sums[i].0 += c;
            sums[i].1 += 1.0;
            if i == to {
                break;
            }
            i = (i + 1) % BINS;
        }
    }
    let mut usual = [0.0; BINS];
    for (i, u) in usual.iter_mut().enumerate() {
        // The nearest half hour that has any.
        let near = (0..=BINS / 2).flat_map(|k| [(i + k) % BINS, (i + BINS - k) % BINS]).find(|j| sums[*j].1 > 0.0)?;
        *u = sums[near].0 / sums[near].1;
    }
    let off = |m: &(Timestamp, f64)| m.1 - usual[bin(m.0)];
    let variance = marks.iter().map(|m| off(m) * off(m)).sum::<f64>() / marks.len() as f64;
    if variance > MARK_SD_K * MARK_SD_K {
        return None;
    }
    let mut last: [f64; 3] = [0.0; 3];
    for (l, m) in last.iter_mut().zip(marks.iter().rev()) {
        *l = off(m);
    }
    last.sort_by(f64::total_cmp);
    let turned_k = if last[1].abs() > 0.5 { last[1] } else { 0.0 };
    usual.iter_mut().for_each(|u| *u += turned_k);
    Some(usual)
}

#[cfg(test)]
mod tests;
