//! A nest's past with hindsight.
use super::Watch;
use crate::estimate::{Hindsight, LookingBack};
use crate::time::Timestamp;
use alloc::vec::Vec;

impl Watch {
    /// From here on `moments`, in the order of time, are remembered for [`Self::hindsight`].
    pub fn look_back(&mut self, moments: impl IntoIterator<Item = Timestamp>) {
        self.looking_back = Some(LookingBack::new(moments));
        if let Some(est) = &mut self.estimator {
            est.record();
        }
    }

    /// Those of the moments that the estimate ran through, oldest first, with what was heard since; once.
    pub fn hindsight(&mut self) -> Vec<Hindsight> {
        let both = self.looking_back.as_mut().zip(self.estimator.as_mut());
        both.map_or_else(Vec::new, |(looking_back, est)| looking_back.take(est))
    }
}
