//! A Gaussian whose way is recorded for hindsight; see [`crate::smooth`].
use super::{Expected, Gaussian};
use crate::smooth::{Event, Look, Looked, Place};
use alloc::vec::Vec;

impl Gaussian {
    pub(super) fn note_fade(&mut self, dt_s: f64) {
        self.record.pass(dt_s);
        let (n, anchored) = (self.mean.len(), self.anchor.as_ref().map_or(0, |a| a.mean.len()));
        let (fades, pace) = (&self.fades, &self.pace);
        self.record.note(|| {
            let mut keep = alloc::vec![1.0; n];
            keep.iter_mut().take(anchored).for_each(|k| *k = pace.anchored);
            for (f, share) in fades.iter().zip(&pace.fading) {
                if let Some(k) = keep.get_mut(f.state) {
                    *k *= share;
                }
            }
            Event::Faded(keep.into())
        });
    }

    /// From here on the way is recorded, for [`Self::look_back`]. A copy records nothing.
    pub fn record(&mut self) {
        self.record.begin();
    }

    /// Whether it is.
    pub fn is_recorded(&self) -> bool {
        self.record.is_on()
    }

    /// Hindsight does not reach across this moment: something happens that is no measurement and no course of its own.
    pub fn cut(&mut self) {
        let n = self.mean.len();
        self.record.note(|| Event::Cut(n));
    }

    /// Marks this moment: what `rows` read off it will be asked for with hindsight. Answers the variance of each now.
    pub fn mark(&mut self, rows: &[Vec<f64>]) -> Vec<f64> {
        let of = |h: &[f64]| {
            let Expected { variance, gain, .. } = self.expect(h, 0.0);
            Look { gain, variance }
        };
        let looks: Vec<Look> = rows.iter().map(|h| of(h)).collect();
        let variances = looks.iter().map(|l| l.variance).collect();
        self.record.show(looks);
        variances
    }

    /// Where the record stands, for [`Self::go_on_from`].
    pub(crate) fn place(&self) -> Place {
        self.record.place()
    }

    /// This belief stood at `place` of the record of `other`, which went another way since: it takes that record over.
    pub(crate) fn go_on_from(&mut self, place: Place, other: &mut Self) {
        self.record = core::mem::take(&mut other.record);
        self.record.back_to(place);
    }

    /// Whether so much is recorded that [`Self::look_back`] is due.
    pub fn is_look_back_due(&self) -> bool {
        self.record.is_full()
    }

    /// Marked moments, oldest first, with hindsight, row by row: those that later readings will not change any more, or
    /// `all` of them. They are forgotten.
    pub fn look_back(&mut self, all: bool) -> Vec<Vec<Looked>> {
        self.record.look_back(all)
    }
}
