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

/// What probes said since a rival parted from the belief: the newest 256 readings.
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{Axis, MODES, Physics};
    use crate::shelf::Stretch;

    const NOISE_K: f64 = 0.05;

    /// A nest of 240 mm with a pad on its first third, as a guess by the label has it; layers that exchange at `exchange`.
    fn body(exchange_per_s: f64) -> Body {
        let axis = Axis {
            length_mm: 240.0,
            wall_mm: 0.0,
            blur_mm: 0.0,
            pads: alloc::vec![Stretch { from_mm: 0.0, to_mm: 80.0 }],
        };
        let physics = Physics {
            diffusivity_mm2_s: 0.2,
            base_loss_per_s: 4e-4,
            gallery_loss_per_s: 1e-3,
            base_exchange_per_s: exchange_per_s,
            gallery_exchange_per_s: exchange_per_s,
            end_loss: 0.0,
            pad_lag_s: 120.0,
            contact_lag_s: 60.0,
            gain_k_s: alloc::vec![0.008],
        };
        Body::new(&axis, &physics, 20.0, MODES)
    }

    fn rows(body: &Body) -> Vec<Vec<f64>> {
        [10.0, 66.0, 228.0].iter().map(|x| body.modes.at(*x).collect()).collect()
    }

    const LAGS: [(f64, f64); 3] = [(60.0, 0.716_531); 3];

    fn lid(body: &Body) -> FromAbove {
        let mut warmth = alloc::vec![0.0; body.modes.len()];
        body.gallery(&body.settled(&[1.0]), &mut warmth);
        FromAbove::new(body, &warmth, &rows(body), &LAGS)
    }

    /// What each probe shows each minute for `minutes` of `course`, with a noise that has no pattern in time.
    fn record(minutes: usize, course: impl Fn(usize, usize) -> f64) -> Record {
        let mut record = Record::default();
        let mut seed = 1_u32;
        for step in (3..=3 * minutes).step_by(3) {
            for probe in 0..3 {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise_k = NOISE_K * (f64::from(seed >> 8) / f64::from(1 << 23) - 1.0);
                let seen_k = (course(probe, step) + noise_k) as f32;
                let noise_k2 = (NOISE_K * NOISE_K) as f32;
                record.keep(Word { step, probe, seen_k, own_k: seen_k, noise_k2, weight: 1.0 });
            }
        }
        record
    }

    /// How well the course that was really followed explains a record.
    fn truth(record: &Record, course: impl Fn(usize, usize) -> f64) -> f64 {
        let gain = |w: &Word| {
            let k = course(w.probe, w.step);
            let variance = f64::from(w.noise_k2) + crate::rival::straying_k2(k);
            let off = |k: f64| libm::log(1.0 + k * k / variance);
            off(f64::from(w.own_k)) - off(f64::from(w.seen_k) - k)
        };
        crate::rival::EACH_COUNTS * record.0.iter().map(gain).sum::<f64>()
    }

    /// Lumped capacity (Incropera, DeWitt, *Fundamentals of Heat and Mass Transfer*, §5.1): under constant heat a body
    /// alike everywhere reaches 1 − e⁻¹ of its steady excess after one time constant.
    #[test]
    fn heat_in_galleries_that_exchange_nothing_warms_them_as_a_lump() {
        let body = body(1e-9);
        let all: Vec<f64> = body.modes.project(Stretch { from_mm: 0.0, to_mm: 240.0 }).collect();
        let after = |steps: usize| {
            let mut out = alloc::vec![0.0; body.modes.len()];
            body.answer_within(&all, steps, &mut out);
            dot(&rows(&body)[1], &out)
        };
        // A loss of 1e-3 a second: 1,000 s are 50 steps.
        let share = after(50) / after(100_000);
        assert!((share - (1.0 - libm::exp(-1.0))).abs() < 1e-6, "{share}");
    }

    /// However long it lasts, it comes to rest where heat within the galleries does.
    #[test]
    fn it_settles_as_steady_heat_within_the_galleries() {
        let body = body(1e-3);
        let part = Stretch { from_mm: 30.0, to_mm: 90.0 };
        let shape: Vec<f64> = body.modes.project(part).collect();
        let mut out = alloc::vec![0.0; body.modes.len()];
        body.answer_within(&shape, 1_000_000, &mut out);
        let steady = body.steady_within(part);
        let ratio = out[0] / steady[0];
        for (got, want) in out.iter().zip(&steady) {
            assert!((got - ratio * want).abs() < 1e-9 * ratio.abs(), "{got} for {want}");
        }
    }

    #[test]
    fn a_lid_explains_a_lid_and_no_pad() {
        let body = body(1e-3);
        let lid = lid(&body);
        let rows = rows(&body);
        // A pad that dies: what it had brought goes, as it came.
        let mut heat = body.cold();
        let mut seen = Seen::at_rest(3, 0.0);
        let mut amplitudes = alloc::vec![0.0; body.modes.len()];
        let mut gone = alloc::vec![[0.0; 3]];
        for _ in 0..90 {
            body.advance(&mut heat, &[-0.5], 0.0);
            body.gallery(&heat, &mut amplitudes);
            for (p, row) in rows.iter().enumerate() {
                seen.see(p, dot(row, &amplitudes), LAGS[p], 20.0);
            }
            gone.push([seen.shown[0], seen.shown[1], seen.shown[2]]);
        }
        let dead = |p: usize, step: usize| gone[step][p];
        let opened = |p: usize, step: usize| -1.2 * lid.at(p, step.saturating_sub(6));
        for minutes in [10, 15, 25] {
            let said = record(minutes, opened);
            let (best, true_) = (said.evidence(&lid, -1.0), truth(&said, opened));
            assert!(best > 10.0 && best > true_ - 2.0, "{minutes} min of a lid: {best} for {true_}");
        }
        // For its first quarter of an hour so weak a pad looks like a weak lid; it goes on as no lid does.
        for (minutes, margin) in [(25, 5.0), (29, 8.0)] {
            let said = record(minutes, dead);
            let (best, true_) = (said.evidence(&lid, -1.0), truth(&said, dead));
            assert!(best < true_ - margin, "{minutes} min of a dead pad: {best} for {true_}");
        }
    }

    #[test]
    fn it_never_brings_the_other_sign_and_says_nothing_of_nothing() {
        let body = body(1e-3);
        let lid = lid(&body);
        let opened = |p: usize, step: usize| -1.2 * lid.at(p, step);
        assert!(record(15, opened).evidence(&lid, 1.0) < 1.0, "cold is no warmth");
        assert!(record(15, |_, _| 0.0).evidence(&lid, -1.0) < 4.0, "noise is no lid");
        assert!(Record::default().evidence(&lid, -1.0).abs() < 1e-12);
    }
}
