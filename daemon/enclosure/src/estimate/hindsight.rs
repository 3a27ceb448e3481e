//! Moments that have passed, with what later readings say of them.
use super::readout::between;
use super::{Estimator, STEP};
use crate::rival::Mode;
use crate::smooth::{Looked, Place};
use crate::time::Timestamp;
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// A nest at a moment that has passed, with hindsight.
#[derive(Clone, Debug, PartialEq)]
pub struct Hindsight {
    /// When: the end of the step in which the moment lay that was asked for.
    pub at: Timestamp,
    /// Mean at each place of the profile, °C.
    pub mean_c: Vec<f64>,
    /// Standard deviation of the error at each place, K.
    pub sd_k: Vec<f64>,
    /// Brood area: mean and the standard deviation of its error, °C and K.
    pub brood_c: (f64, f64),
    /// Heat of the pads, W, where it was found later that they did something else than was believed then.
    pub heat_w: Option<f64>,
}

/// Moments that somebody wants with hindsight, on their way.
#[derive(Clone, Debug, Default)]
pub struct LookingBack {
    wanted: Vec<Timestamp>,
    /// How many of them have passed.
    passed: usize,
    drawn: VecDeque<Drawn>,
    seen: Vec<Hindsight>,
}

/// A moment as it was believed then.
#[derive(Clone, Debug)]
struct Drawn {
    at: Timestamp,
    /// Mean at each place of the profile, °C.
    mean_c: Vec<f64>,
    /// Of the variance there what hindsight does not lessen, K²: no state holds it.
    beside_k2: Vec<f64>,
    /// The same of the brood area.
    brood_c: f64,
    brood_beside_k2: f64,
    /// See [`Hindsight::heat_w`].
    heat_w: Option<f64>,
}

impl LookingBack {
    /// `wanted` in the order of time.
    pub fn new(wanted: impl IntoIterator<Item = Timestamp>) -> Self {
        Self { wanted: wanted.into_iter().collect(), ..Self::default() }
    }

    /// A step was made, and its readings taken in; `heat_w`: see [`Hindsight::heat_w`].
    pub fn note(&mut self, est: &mut Estimator, heat_w: Option<f64>) {
        let at = est.at();
        let mut due = false;
        // Over a long gap the estimate jumps: a moment within it is not where it stands.
        while let Some(wanted) = self.wanted.get(self.passed).filter(|wanted| **wanted <= at) {
            due |= *wanted > at.minus(STEP);
            self.passed += 1;
        }
        if due && est.is_recorded() {
            self.drawn.push_back(Drawn { heat_w, ..est.draw() });
        }
        if est.belief.is_look_back_due() {
            self.settle(est, false);
        }
    }

    /// All that was noted, oldest first, with the hindsight there is; it is handed out once.
    pub fn take(&mut self, est: &mut Estimator) -> Vec<Hindsight> {
        self.settle(est, true);
        core::mem::take(&mut self.seen)
    }

    /// All after `at` is lived through once more.
    pub fn back_to(&mut self, at: Timestamp) {
        self.passed = self.wanted.partition_point(|wanted| *wanted <= at);
        self.drawn.truncate(self.drawn.partition_point(|drawn| drawn.at <= at));
        self.seen.truncate(self.seen.partition_point(|seen| seen.at <= at));
    }

    fn settle(&mut self, est: &mut Estimator, all: bool) {
        for looked in est.belief.look_back(all) {
            self.seen.extend(self.drawn.pop_front().and_then(|drawn| drawn.looked(&looked)));
        }
    }
}

impl Drawn {
    /// `looked`: the brood area, then every third place.
    fn looked(self, looked: &[Looked]) -> Option<Hindsight> {
        let (brood, places) = looked.split_first()?;
        let shifts: Vec<f64> = places.iter().map(|l| l.shift).collect();
        let variances: Vec<f64> = places.iter().map(|l| l.variance).collect();
        let mean_c = self.mean_c.iter().enumerate().map(|(j, c)| c + between(&shifts, j));
        let sd_k = self.beside_k2.iter().enumerate().map(|(j, k2)| libm::sqrt(k2 + between(&variances, j)));
        let brood_c = (self.brood_c + brood.shift, libm::sqrt(brood.variance + self.brood_beside_k2));
        let (mean_c, sd_k) = (mean_c.collect(), sd_k.collect());
        Some(Hindsight { at: self.at, mean_c, sd_k, brood_c, heat_w: self.heat_w })
    }
}

impl Estimator {
    /// From here on it remembers how it came to its belief, for [`LookingBack`].
    pub fn record(&mut self) {
        self.belief.record();
    }

    fn is_recorded(&self) -> bool {
        self.belief.is_recorded()
    }

    /// Where the record stands, for [`Self::go_on_from`].
    pub(crate) fn recorded(&self) -> Place {
        self.belief.place()
    }

    /// This estimate stood at `place` of the record of `other`, which lived on otherwise: it takes that record over.
    pub(crate) fn go_on_from(&mut self, place: Place, other: &mut Self) {
        self.belief.go_on_from(place, &mut other.belief);
    }

    /// From here on pad `pad` did as `mode` says: it was found later. Nothing that is believed changes, only what is to
    /// come; so hindsight reaches across. True if it was held to do something else.
    pub fn hold(&mut self, pad: usize, mode: Mode) -> bool {
        let Some(was) = self.modes.get(pad).copied().filter(|was| *was != mode) else { return false };
        self.modes[pad] = mode;
        if mode == Mode::Follow {
            self.note_return(pad, was);
        }
        self.drop_rivals();
        true
    }

    /// What each pad is held to do.
    pub fn modes(&self) -> impl Iterator<Item = (usize, Mode)> {
        self.modes.iter().copied().enumerate()
    }

    /// Whether `pad` is held to heat whatever it is told.
    pub fn is_held_on(&self, pad: usize) -> bool {
        self.modes.get(pad) == Some(&Mode::On)
    }

    /// What was held by [`Self::hold`] is open to dispute again: its rivals begin anew.
    pub fn let_go(&mut self) {
        self.drop_rivals();
    }

    /// Marks this moment.
    fn draw(&mut self) -> Drawn {
        self.fade();
        let (brood_c, brood_beside_k2, brood) = self.brood_mean();
        let (nominals, places): (Vec<f64>, Vec<Vec<f64>>) = self.every_third().unzip();
        let (mean_c, beside_k2) = (self.profile_c(), self.unmodelled_along_k2(&nominals));
        let rows: Vec<Vec<f64>> = core::iter::once(brood).chain(places).collect();
        self.belief.mark(&rows);
        Drawn { at: self.at(), mean_c, beside_k2, brood_c, brood_beside_k2, heat_w: None }
    }
}

#[cfg(test)]
#[path = "hindsight_tests.rs"]
mod tests;
