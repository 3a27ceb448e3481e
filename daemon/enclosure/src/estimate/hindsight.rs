//! Moments that have passed, with what later readings say of them.
use super::readout::between;
use super::{Estimator, STEP};
use crate::smooth::Looked;
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
}

/// Moments that somebody wants with hindsight, on their way.
#[derive(Clone, Debug, Default)]
pub struct LookingBack {
    wanted: VecDeque<Timestamp>,
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
}

impl LookingBack {
    /// `wanted` in the order of time.
    pub fn new(wanted: impl IntoIterator<Item = Timestamp>) -> Self {
        Self { wanted: wanted.into_iter().collect(), ..Self::default() }
    }

    /// A step was made, and its readings taken in.
    pub fn note(&mut self, est: &mut Estimator) {
        let at = est.at();
        let mut due = false;
        // Over a long gap the estimate jumps: a moment within it is not where it stands.
        while let Some(wanted) = self.wanted.front().filter(|wanted| **wanted <= at) {
            due |= *wanted > at.minus(STEP);
            self.wanted.pop_front();
        }
        if due && est.is_recorded() {
            self.drawn.push_back(est.draw());
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
        Some(Hindsight { at: self.at, mean_c: mean_c.collect(), sd_k: sd_k.collect(), brood_c })
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

    /// Marks this moment.
    fn draw(&mut self) -> Drawn {
        self.fade();
        let (brood_c, brood_beside_k2, brood) = self.brood_mean();
        let (nominals, places): (Vec<f64>, Vec<Vec<f64>>) = self.every_third().unzip();
        let (mean_c, beside_k2) = (self.profile_c(), self.unmodelled_along_k2(&nominals));
        let rows: Vec<Vec<f64>> = core::iter::once(brood).chain(places).collect();
        self.belief.mark(&rows);
        Drawn { at: self.at(), mean_c, beside_k2, brood_c, brood_beside_k2 }
    }
}

#[cfg(test)]
#[path = "hindsight_tests.rs"]
mod tests;
