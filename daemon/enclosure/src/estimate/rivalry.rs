//! The rivals of what is believed about the pads: that each mode has its own, and that what they taught outlives them.
use super::Estimator;
use crate::rival::Rival;

impl Estimator {
    pub(super) fn ensure_rivals(&mut self) {
        for (pad, mode) in self.modes.iter().enumerate() {
            for other in mode.rivals() {
                if !self.rivals.iter().any(|r| r.pad == pad && r.mode == *other) {
                    let mut rival = Rival::new(&self.models.bodies[0], pad, *other, self.lags.len());
                    let known = self.usual.iter().find(|(p, m, _)| *p == pad && m == other);
                    rival.usual_peak = known.map_or(0.0, |u| u.2);
                    self.rivals.push(rival);
                }
            }
        }
    }

    /// Ends all rivals, but not what they taught.
    pub(super) fn drop_rivals(&mut self) {
        for mut r in core::mem::take(&mut self.rivals) {
            r.restart();
            self.usual.retain(|(p, m, _)| !(*p == r.pad && *m == r.mode));
            self.usual.push((r.pad, r.mode, r.usual_peak));
        }
    }
}
