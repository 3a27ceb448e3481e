//! Hindsight over a [`crate::filter::Gaussian`]: what later readings say of moments that have passed.
//!
//! The filter's way is recorded, then walked back (Bierman, *Fixed interval smoothing with discrete measurements*, Int. J.
//! Control 18, 1973, with scalar measurements; the same as Rauch, Tung & Striebel, AIAA J. 3, 1965, but no covariance is
//! ever inverted). With λ = Λ = 0 at the end:
//! over a measurement with row h, gain K = Ph/S and surprise ν, with C = I − Khᵀ:  λ ← Cᵀλ − hν/S,  Λ ← CᵀΛC + hhᵀ/S;
//! over a transition x⁺ = Fx + a + noise:  λ ← Fᵀλ,  Λ ← FᵀΛF (neither a nor the noise matters);
//! and at a moment:  x̂ − Pλ,  P − PΛP.
//!
//! A state that begins anew has a zero row in F: nothing later tells of what it was. Where something happened that is no
//! such transition, λ = Λ = 0 there: hindsight does not reach across.
use crate::models::dot;
use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// A moment has its hindsight from at least so much that came after it, s: three time constants of what fades slowest.
/// What is later still would change it by e⁻³ of a share of its uncertainty.
pub const REACH_S: f64 = 12.0 * 3600.0;
/// The way back is walked for so much at a time, s.
const BLOCK_S: f64 = 24.0 * 3600.0;
/// Measurements recorded at most, some 30 MB: where they come faster, the older half looks back with what there is.
const MEASUREMENTS_MAX: usize = 40_000;

/// Records a Gaussian's way if it was asked to. A copy records nothing, and what is recorded is no part of a belief.
#[derive(Debug, Default)]
pub(crate) struct Recorder(Option<Box<Record>>);

impl Clone for Recorder {
    fn clone(&self) -> Self {
        Self(None)
    }
}

impl PartialEq for Recorder {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Recorder {
    pub(crate) fn begin(&mut self) {
        self.0 = Some(Box::default());
    }

    pub(crate) fn is_on(&self) -> bool {
        self.0.is_some()
    }

    #[inline]
    pub(crate) fn note(&mut self, event: impl FnOnce() -> Event) {
        if let Some(record) = &mut self.0 {
            record.push(event);
        }
    }

    pub(crate) fn pass(&mut self, dt_s: f64) {
        if let Some(record) = &mut self.0 {
            record.now_s += dt_s;
        }
    }

    pub(crate) fn show(&mut self, looks: Vec<Look>) {
        if let Some(record) = &mut self.0 {
            record.events.push_back(Event::Shown(record.now_s, looks));
        }
    }

    pub(crate) fn is_full(&self) -> bool {
        self.0.as_ref().is_some_and(|record| record.is_full())
    }

    /// Where it stands, for [`Self::back_to`].
    pub(crate) fn place(&self) -> Place {
        self.0.as_ref().map_or_else(Place::default, |r| Place { events: r.gone + r.events.len(), now_s: r.now_s })
    }

    /// Forgets all that came after `place`: the way goes on from there in another manner.
    pub(crate) fn back_to(&mut self, place: Place) {
        if let Some(record) = &mut self.0 {
            record.back_to(place);
        }
    }

    pub(crate) fn look_back(&mut self, all: bool) -> Vec<Vec<Looked>> {
        self.0.as_mut().map_or_else(Vec::new, |record| record.look_back(all))
    }
}

/// Where a record stood at a moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Place {
    events: usize,
    now_s: f64,
}

/// What was seen of one row hᵀx at a moment.
#[derive(Clone, Debug)]
pub(crate) struct Look {
    /// Ph.
    pub(crate) gain: Vec<f64>,
    /// hᵀPh.
    pub(crate) variance: f64,
}

/// The same with hindsight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Looked {
    /// What to add to the mean that was believed then.
    pub shift: f64,
    /// Variance that is left.
    pub variance: f64,
}

/// One thing that happened to a Gaussian.
#[derive(Clone, Debug)]
pub(crate) enum Event {
    /// A measurement was taken in: h, then Ph; S and ν.
    Took { rows: Box<[f64]>, variance: f64, surprise: f64 },
    /// Each state kept this share of itself (of its distance from an anchor).
    Faded(Box<[f64]>),
    /// `by` times state `from` was added to state `to`.
    Sheared { to: usize, from: usize, by: f64 },
    /// `count` states from `first` moved on by one; the new first is `share` of the old.
    Shifted { first: usize, count: usize, share: f64 },
    /// So many states from this one on began anew.
    Renewed(usize, usize),
    /// Hindsight does not reach across; there were so many states before.
    Cut(usize),
    /// Somebody wants to look at this moment, s since the record began.
    Shown(f64, Vec<Look>),
}

#[derive(Debug, Default)]
struct Record {
    /// Oldest first; the first is a moment: what came before the first moment tells nothing of any.
    events: VecDeque<Event>,
    measurements: usize,
    /// Events that were forgotten at the front.
    gone: usize,
    now_s: f64,
}

impl Record {
    /// Apart from the filter's own course, which mostly is not recorded.
    #[cold]
    #[inline(never)]
    fn push(&mut self, event: impl FnOnce() -> Event) {
        if self.events.is_empty() {
            return;
        }
        let event = event();
        self.measurements += usize::from(matches!(event, Event::Took { .. }));
        self.events.push_back(event);
    }

    fn is_full(&self) -> bool {
        let began_s = match self.events.front() {
            Some(Event::Shown(at_s, _)) => *at_s,
            _ => return false,
        };
        self.measurements >= MEASUREMENTS_MAX || self.now_s - began_s >= BLOCK_S + REACH_S
    }

    /// How many of the oldest events are settled: their moments will not change worth a word by what is still to come.
    fn settled(&self) -> usize {
        let until_s = self.now_s - REACH_S;
        let most = if self.measurements >= MEASUREMENTS_MAX { self.events.len() / 2 } else { 0 };
        let is_settled = |(i, e): &(usize, &Event)| matches!(e, Event::Shown(s, _) if *s <= until_s || *i <= most);
        self.events.iter().enumerate().rfind(is_settled).map_or(0, |(i, _)| i + 1)
    }

    /// Every moment that is settled, or all of them, oldest first, with the hindsight there is; they are forgotten.
    fn look_back(&mut self, all: bool) -> Vec<Vec<Looked>> {
        let settled = if all { self.events.len() } else { self.settled() };
        let mut back = Back::default();
        let mut seen = Vec::new();
        for (i, event) in self.events.iter().enumerate().rev() {
            match event {
                Event::Shown(_, looks) if i < settled => seen.push(looks.iter().map(|l| back.look(l)).collect()),
                _ => back.over(event),
            }
        }
        seen.reverse();
        let were = self.events.len();
        self.events.drain(..settled);
        while self.events.front().is_some_and(|e| !matches!(e, Event::Shown(..))) {
            self.events.pop_front();
        }
        self.gone += were - self.events.len();
        self.count();
        seen
    }

    fn count(&mut self) {
        self.measurements = self.events.iter().filter(|e| matches!(e, Event::Took { .. })).count();
    }

    fn back_to(&mut self, place: Place) {
        self.events.truncate(place.events.saturating_sub(self.gone));
        self.gone = self.gone.min(place.events);
        self.now_s = place.now_s;
        self.count();
    }
}

/// λ and Λ on the way back; none where nothing is known from later.
#[derive(Debug, Default)]
struct Back {
    lambda: Vec<f64>,
    info: Vec<f64>,
    /// ΛK, kept for its room.
    told: Vec<f64>,
}

impl Back {
    fn over(&mut self, event: &Event) {
        match event {
            Event::Took { rows, variance, surprise } => self.measure(rows, *variance, *surprise),
            Event::Faded(keep) => self.scale(keep),
            Event::Sheared { to, from, by } => self.shear(*to, *from, *by),
            Event::Shifted { first, count, share } => self.shift(*first, *count, *share),
            Event::Renewed(first, count) => self.drop(*first, *count),
            Event::Cut(states) => self.reset(*states),
            Event::Shown(..) => {}
        }
    }

    fn reset(&mut self, states: usize) {
        self.lambda.clear();
        self.lambda.resize(states, 0.0);
        self.info.clear();
        self.info.resize(states * states, 0.0);
    }

    fn measure(&mut self, rows: &[f64], variance: f64, surprise: f64) {
        let n = rows.len() / 2;
        let (h, gain) = rows.split_at(n);
        if self.lambda.len() != n {
            self.reset(n);
        }
        let over = 1.0 / variance;
        self.told.clear();
        self.told.extend(self.info.chunks_exact(n.max(1)).map(|row| dot(row, gain) * over));
        let pull = -over * (surprise + dot(&self.lambda, gain));
        self.lambda.iter_mut().zip(h).for_each(|(l, h)| *l += pull * h);
        let own = over * (1.0 + dot(&self.told, gain));
        for ((row, h_i), told_i) in self.info.chunks_exact_mut(n.max(1)).zip(h).zip(&self.told) {
            let by_h = own * h_i - told_i;
            for ((v, h_j), told_j) in row.iter_mut().zip(h).zip(&self.told) {
                *v += by_h * h_j - h_i * told_j;
            }
        }
    }

    fn scale(&mut self, keep: &[f64]) {
        self.lambda.iter_mut().zip(keep).for_each(|(l, k)| *l *= k);
        let n = self.lambda.len().max(1);
        for (row, k_i) in self.info.chunks_exact_mut(n).zip(keep) {
            row.iter_mut().zip(keep).for_each(|(v, k_j)| *v *= k_i * k_j);
        }
    }

    fn shear(&mut self, to: usize, from: usize, by: f64) {
        let n = self.lambda.len();
        if to >= n || from >= n {
            return;
        }
        self.lambda[from] += by * self.lambda[to];
        for j in 0..n {
            self.info[from * n + j] += by * self.info[to * n + j];
        }
        for i in 0..n {
            self.info[i * n + from] += by * self.info[i * n + to];
        }
    }

    fn shift(&mut self, first: usize, count: usize, share: f64) {
        let n = self.lambda.len();
        if count == 0 || first + count > n {
            return;
        }
        let last = first + count - 1;
        // Fᵀ: what is now the first was nothing but a share of the old first, and each next one the one before it.
        let moved = |v: &mut dyn FnMut(usize) -> f64, i: usize| match i {
            _ if i == first && i < last => share * v(i) + v(i + 1),
            _ if i == first => share * v(i),
            _ if i > first && i < last => v(i + 1),
            _ if i == last => 0.0,
            _ => v(i),
        };
        let was = core::mem::take(&mut self.lambda);
        self.lambda = (0..n).map(|i| moved(&mut |k| was[k], i)).collect();
        let was = core::mem::take(&mut self.info);
        self.info = (0..n * n)
            .map(|at| {
                let (i, j) = (at / n, at % n);
                moved(&mut |k| moved(&mut |l| was[k * n + l], j), i)
            })
            .collect();
    }

    fn drop(&mut self, first: usize, count: usize) {
        let n = self.lambda.len();
        for i in first..(first + count).min(n) {
            self.lambda[i] = 0.0;
            self.info[i * n..(i + 1) * n].fill(0.0);
            self.info.iter_mut().skip(i).step_by(n).for_each(|v| *v = 0.0);
        }
    }

    fn look(&self, look: &Look) -> Looked {
        if self.lambda.len() != look.gain.len() {
            return Looked { shift: 0.0, variance: look.variance };
        }
        let rows = self.info.chunks_exact(look.gain.len().max(1));
        let less: f64 = rows.zip(&look.gain).map(|(row, g)| g * dot(row, &look.gain)).sum();
        // Rounding may take a hair more than there is.
        let variance = (look.variance - less.max(0.0)).max(0.0);
        Looked { shift: -dot(&self.lambda, &look.gain), variance }
    }
}

#[cfg(test)]
#[path = "smooth_tests.rs"]
mod tests;
