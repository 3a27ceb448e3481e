//! The room's course: its usual day, how far it is off that now, where that goes, and how far this may be wrong.
//!
//! The departure from the usual day is a level that a slope drives, and a quick part that follows a window or a door and
//! soon returns. The slope fades over hours: Gardner & McKenzie's damped trend (Management Science 31, 1985), as a Kalman
//! filter. What no slope explains is a step: nobody knows at first whether it stays. How wrong it was two hours ahead, of
//! late, scales what it says of itself.
use crate::day_shape::{BINS, DayShape, bin};
use crate::filter::{Fade, Gaussian};
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// The course's step.
pub const EVERY: Span = Span::from_min(10);
/// States: level of the departure, K; its slope, K/h; its quick part, K; where that is drawn to, K.
const LEVEL: usize = 0;
const SLOPE: usize = 1;
const QUICK: usize = 2;
const DRAWN: usize = 3;
const ROW: [f64; 4] = [1.0, 0.0, 1.0, 0.0];
/// Weather's slope and its time constant.
const SLOPE_SD_K_H: f64 = 0.5;
const SLOPE_S: f64 = 6.0 * 3600.0;
/// The level's own wandering.
const LEVEL_SD_K: f64 = 0.6;
const LEVEL_S: f64 = 30.0 * 3600.0;
/// How fast a room follows a window or a door, and what it wanders by itself.
const QUICK_SD_K: f64 = 0.16;
const QUICK_S: f64 = 15.0 * 60.0;
/// How long these stay, and what they draw it to where nobody saw a step.
const DRAWN_SD_K: f64 = 0.4;
const DRAWN_S: f64 = 36.0 * 60.0;
/// What a smoothed room reading is off by, K.
const NOISE_SD_K: f64 = 0.12;
/// A surprise beyond so many deviations is a step.
const STEP_SIGMA: f64 = 2.0;
/// Variance that a step lends to level, quick part and what that is drawn to, in squared surprises: one that is seen
/// ten minutes after a window was opened has hardly begun, and most are closed again.
const STEP_SHARES: [(usize, f64); 3] = [(LEVEL, 0.15), (QUICK, 0.05), (DRAWN, 1.6)];
/// Deviation of a half hour that no day has shown yet, K.
const UNSEEN_SD_K: f64 = 0.75;
/// One day moves the usual day by this much at the most, K.
const DAY_MOST_K: f64 = 2.0;
/// A silence longer than this forgets the departure.
const FORGET: Span = Span::from_h(6);
/// How far ahead it is tried, in steps, and how often.
const TRIED: usize = 12;
/// Least and most by which its own record scales its deviation.
const SCALE: (f64, f64) = (0.35, 2.0);

/// What is known of a room's course.
#[derive(Clone, Debug)]
pub struct RoomCourse {
    day: DayShape,
    /// The usual day with an hour's windows taken out.
    smooth: [Option<f64>; BINS],
    first_c: f64,
    departure: Gaussian,
    at: Option<Timestamp>,
    trials: VecDeque<(Timestamp, f64, f64)>,
    /// Mean squared error of late, in stated variances, and over how many trials.
    record: (f64, f64),
}

impl Default for RoomCourse {
    fn default() -> Self {
        Self {
            day: DayShape::new(DAY_MOST_K),
            smooth: [None; BINS],
            first_c: 0.0,
            departure: unknown(),
            at: None,
            trials: VecDeque::new(),
            record: (0.4, 4.0),
        }
    }
}

fn unknown() -> Gaussian {
    let fades = [
        (LEVEL, LEVEL_S, LEVEL_SD_K),
        (SLOPE, SLOPE_S, SLOPE_SD_K_H),
        (QUICK, QUICK_S, QUICK_SD_K),
        (DRAWN, DRAWN_S, DRAWN_SD_K),
    ];
    let fades = fades.iter().map(|(state, time_s, sd)| Fade { state: *state, time_s: *time_s, sd: *sd });
    Gaussian::new(&[1.5, 0.3, QUICK_SD_K, DRAWN_SD_K], fades.collect())
}

fn pass(departure: &mut Gaussian) {
    departure.shear(LEVEL, SLOPE, EVERY.s() / 3600.0);
    departure.fade(EVERY.s());
    departure.shear(QUICK, DRAWN, 1.0 - libm::exp(-EVERY.s() / QUICK_S));
}

impl RoomCourse {
    /// The room was `room_c` warm at `at`; taken in once a step.
    pub fn note(&mut self, at: Timestamp, room_c: f64) {
        let gap = self.at.map_or(FORGET, |last| at.since(last));
        if gap < EVERY {
            return;
        }
        if self.at.is_none() {
            self.first_c = room_c;
        }
        if gap > FORGET {
            self.departure = unknown();
            self.trials.clear();
        }
        let before_c = self.base(at).0;
        if self.day.note(at, room_c) {
            self.smoothen();
        }
        // A better usual day is no weather.
        self.departure.mean[LEVEL] += before_c - self.base(at).0;
        for _ in 0..(gap.ms() / EVERY.ms()).clamp(1, FORGET.ms() / EVERY.ms()) {
            pass(&mut self.departure);
        }
        let off_k = room_c - self.base(at).0;
        let mut expected = self.departure.expect(&ROW, NOISE_SD_K * NOISE_SD_K);
        let surprise = off_k - expected.value;
        if surprise * surprise > STEP_SIGMA * STEP_SIGMA * expected.variance {
            for (state, share) in STEP_SHARES {
                self.departure.widen(state, share * surprise * surprise);
            }
            expected = self.departure.expect(&ROW, NOISE_SD_K * NOISE_SD_K);
        }
        self.departure.absorb(&expected, surprise);
        self.at = Some(at);
        self.judge_itself(at, room_c);
    }

    fn judge_itself(&mut self, at: Timestamp, room_c: f64) {
        while let Some((due, mean_c, sd_k)) = self.trials.front().copied().filter(|t| t.0 <= at) {
            self.trials.pop_front();
            if at.since(due) < EVERY {
                let z = (room_c - mean_c) / sd_k;
                let (mean, count) = &mut self.record;
                *count = (*count + 1.0).min(288.0);
                *mean += ((z * z).min(9.0) - *mean) / *count;
            }
        }
        let stated = self.departures(TRIED);
        if let Some((k, variance)) = stated.last() {
            let due = at.plus(Span::from_ms(EVERY.ms() * TRIED as i64));
            let (base_c, unseen) = self.base(due);
            self.trials.push_back((due, base_c + k, libm::sqrt(variance + unseen)));
        }
    }

    fn departures(&self, count: usize) -> Vec<(f64, f64)> {
        let mut ahead = self.departure.clone();
        let step = |_| {
            pass(&mut ahead);
            let k = ROW.iter().zip(&ahead.mean).map(|(a, b)| a * b).sum();
            (k, ahead.spread(&ROW))
        };
        (0..count).map(step).collect()
    }

    /// Mean and standard deviation of the room at each of the next `count` steps, °C and K; none before it has shown a
    /// whole day, for until then a house's own swing looks like weather.
    pub fn ahead(&self, count: usize) -> Vec<(f64, f64)> {
        let Some(at) = self.at.filter(|_| self.day.is_whole()) else { return Vec::new() };
        let scale = libm::sqrt(self.record.0).clamp(SCALE.0, SCALE.1);
        let step = |(i, (k, variance)): (usize, (f64, f64))| {
            let (base_c, unseen) = self.base(at.plus(Span::from_ms(EVERY.ms() * (i as i64 + 1))));
            (base_c + k, libm::sqrt(variance * scale * scale + unseen))
        };
        self.departures(count).into_iter().enumerate().map(step).collect()
    }

    /// Median of five half hours: an hour's open window is not usual.
    fn smoothen(&mut self) {
        for i in 0..BINS {
            let mut near: Vec<f64> = (0..5).filter_map(|k| self.day.usual(i + BINS + k - 2)).collect();
            near.sort_by(f64::total_cmp);
            self.smooth[i] = self.day.usual(i).and_then(|_| near.get(near.len() / 2).copied());
        }
    }

    /// What the nearest half hour that a day has shown was like, °C: a jump between what is known and a mean would look
    /// like a slope.
    fn nearest(&self, i: usize) -> f64 {
        let around = (1..=BINS / 2).flat_map(|k| [(i + BINS - k) % BINS, (i + k) % BINS]);
        around.filter_map(|j| self.smooth[j]).next().unwrap_or(self.first_c)
    }

    /// The usual day at `at`, °C, and the variance that it may be off by where no day has shown it, K².
    fn base(&self, at: Timestamp) -> (f64, f64) {
        let half = Span::from_min(15);
        let (i, j) = (bin(at.minus(half)), bin(at.plus(half)));
        let into = at.minus(half).unix_ms().rem_euclid(1_800_000) as f64 / 1_800_000.0;
        let of = |i: usize| match self.smooth[i] {
            Some(c) => (c, 0.0),
            None => (self.nearest(i), UNSEEN_SD_K),
        };
        let ((a, sa), (b, sb)) = (of(i), of(j));
        let sd_k = sa + (sb - sa) * into;
        (a + (b - a) * into, sd_k * sd_k)
    }
}

#[cfg(test)]
mod tests;
