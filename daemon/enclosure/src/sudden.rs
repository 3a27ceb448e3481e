//! What comes from above: a lid that is taken off or put back, the sun through the glass. It reaches the galleries at
//! once and fades into a new balance, where a pad's heat has its way through the body before it and comes slowly, then
//! faster. So the one looks like the other in a single reading, never in a row of them.
//!
//! The course is that of the body itself under heat given off in the galleries ([`Body::answer_within`]): along the axis
//! as the nest's own warmth lies (what a lid lets out) or alike everywhere (what the sun brings). Its strength is fitted
//! by least squares, its beginning is the best one; what is left over is weighed as the rivals' is.
use crate::body::Body;
use crate::models::{Seen, dot};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// Readings kept of what a rival saw: half an hour of four probes that speak every thirty seconds.
const WORDS: usize = 256;
/// No lid stays off longer than so many steps, as far as this is asked: half an hour.
const STEPS_MOST: usize = 90;
/// Steps between two beginnings that are tried.
const STARTS_APART: usize = 2;
/// Rounds in which its strength is fitted; outliers count for less each time.
const ROUNDS: usize = 3;

/// What a probe said while a rival waited.
#[derive(Clone, Copy, Debug)]
pub struct Word {
    /// At which of the rival's steps.
    pub step: usize,
    /// Whose.
    pub probe: usize,
    /// What it said over the belief, K, less what all of the nest showed.
    pub seen_k: f32,
    /// The same less what may end by itself, K.
    pub own_k: f32,
    /// Variance of what is not the pad's, K².
    pub noise_k2: f32,
    /// How much it counts.
    pub weight: f32,
}

/// What probes said since a rival parted from the belief: the newest [`WORDS`].
#[derive(Clone, Debug, Default)]
pub struct Record(VecDeque<Word>);

/// What every probe would show so many steps after something came from above, K, at one strength.
#[derive(Clone, Debug)]
pub struct FromAbove(Vec<Vec<f64>>);

impl Record {
    /// Keeps a word.
    pub fn keep(&mut self, word: Word) {
        if self.0.len() == WORDS {
            self.0.pop_front();
        }
        self.0.push_back(word);
    }

    /// Forgets all of them.
    pub fn clear(&mut self) {
        self.0.clear();
    }

    /// How much better the best course from above explains what was said than that nothing happened, nats.
    /// `side` is the sign of what it must bring: 1 warms, −1 cools.
    pub fn evidence(&self, course: &FromAbove, side: f64) -> f64 {
        let Some(last) = self.0.back().map(|w| w.step) else { return 0.0 };
        let first = last.saturating_sub(STEPS_MOST);
        let starts = self.0.front().map_or(first, |w| w.step.saturating_sub(1).max(first))..last;
        starts.step_by(STARTS_APART).map(|start| self.since(course, start, side)).fold(0.0, f64::max)
    }

    /// The same for one that came at step `start`.
    fn since(&self, course: &FromAbove, start: usize, side: f64) -> f64 {
        let brought = |w: &Word| course.at(w.probe, w.step.saturating_sub(start));
        let mut strength = 0.0;
        for round in 0..ROUNDS {
            let (mut top, mut bottom) = (0.0, 1e-12);
            for w in self.0.iter().filter(|w| w.step > start) {
                let (k, seen_k) = (brought(w), f64::from(w.seen_k));
                let missed_k = if round == 0 { 0.0 } else { seen_k - strength * k };
                let share = f64::from(w.weight) / (f64::from(w.noise_k2) + missed_k * missed_k);
                top += share * k * seen_k;
                bottom += share * k * k;
            }
            strength = (side * top / bottom).max(0.0) * side;
        }
        let gain = |w: &Word| {
            let k = strength * brought(w);
            let variance = f64::from(w.noise_k2) + crate::rival::straying_k2(k);
            let off = |missed_k: f64| libm::log(1.0 + missed_k * missed_k / variance);
            f64::from(w.weight) * (off(f64::from(w.own_k)) - off(f64::from(w.seen_k) - k))
        };
        crate::rival::EACH_COUNTS * self.0.iter().map(gain).sum::<f64>()
    }
}

impl FromAbove {
    /// The course of `shape` (amplitudes of the galleries' modes), seen by probes with these rows and lags.
    pub fn new(body: &Body, shape: &[f64], rows: &[Vec<f64>], lags: &[(f64, f64)]) -> Self {
        let mut seen = Seen::at_rest(rows.len(), 0.0);
        let mut shown = alloc::vec![alloc::vec![0.0]; rows.len()];
        let mut amplitudes = alloc::vec![0.0; shape.len()];
        for step in 1..=STEPS_MOST {
            body.answer_within(shape, step, &mut amplitudes);
            for (p, row) in rows.iter().enumerate() {
                seen.see(p, dot(row, &amplitudes), lags[p], body.step_s());
                shown[p].push(seen.shown[p]);
            }
        }
        // One kelvin at the probe that feels it most: its strength is then one that a person would understand.
        let most = shown.iter().flatten().fold(1e-12, |m: f64, v| m.max(v.abs()));
        shown.iter_mut().flatten().for_each(|v| *v /= most);
        Self(shown)
    }

    fn at(&self, probe: usize, steps: usize) -> f64 {
        self.0.get(probe).and_then(|c| c.get(steps.min(STEPS_MOST))).copied().unwrap_or(0.0)
    }
}
