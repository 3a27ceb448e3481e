//! How an estimate begins, and the fits that are handed out and in.
use super::Watch;
use crate::body::Axis;
use crate::estimate::{Estimator, Fit, FitNews, PADS_MAX, report};
use crate::prior::{BLUR_MM, WALL_MM, prior};
use crate::shelf::{Nest, Stretch};
use crate::time::Timestamp;
use alloc::vec::Vec;

/// The estimate of `nest` as it begins at a moment in a room of some °C.
pub(crate) fn estimator_of(nest: &Nest, begin: (Timestamp, f64)) -> Estimator {
    let mut nest = nest.clone();
    nest.pads.truncate(PADS_MAX);
    let pads = nest.pads.iter().map(|p| p.span).collect();
    let axis = Axis { length_mm: nest.length_mm, wall_mm: WALL_MM, pads, blur_mm: BLUR_MM };
    let brood = nest.brood.unwrap_or(Stretch { from_mm: 0.0, to_mm: nest.length_mm });
    let places = nest.probes.iter().map(|p| p.at_mm).collect();
    let mut est = Estimator::new(axis, &prior(&nest), places, brood, begin);
    let untold: Vec<usize> = (0..nest.pads.len()).filter(|i| nest.pads[*i].drive.is_none()).collect();
    est.infer_drives(&untold);
    est
}

impl Watch {
    /// Takes up a fit that was kept, in force since then; false if it is none of this nest.
    pub fn take_up(&mut self, fit: &Fit, since: Timestamp) -> bool {
        match &mut self.estimator {
            Some(est) => est.take_up(fit, since),
            None => {
                let fits = report(&self.nest, fit).is_some();
                self.given = fits.then(|| (fit.clone(), since));
                fits
            }
        }
    }

    /// Fits now, whatever is due.
    pub fn fit_now(&mut self) {
        if let Some(est) = &mut self.estimator {
            est.fit_now();
        }
    }

    /// What came of the last fit, once.
    pub fn fit_news(&mut self) -> Option<FitNews> {
        self.estimator.as_mut()?.take_news()
    }
}
