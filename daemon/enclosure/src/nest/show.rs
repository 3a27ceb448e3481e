//! What a page shows of a nest: the estimate run on to the moment asked for, and the vapour along it.
use super::{GAP_TOO_LONG, Watch};
use crate::core::{NestNow, ProbeNow, Profile};
use crate::draught::Draught;
use crate::estimate::{Estimator, STEP};
use crate::habits::Habits;
use crate::room_course::RoomCourse;
use crate::time::{Span, Timestamp};
use crate::vapour::Vapour;
use alloc::vec::Vec;

impl Watch {
    /// A copy of the estimate run on to `at` with what waits, the drive held.
    pub(crate) fn ahead(&self, at: Timestamp) -> Option<Estimator> {
        let mut est = self.estimator.as_ref()?.without_memory();
        let mut copy = self.without_estimate();
        let most = est.at().plus(GAP_TOO_LONG);
        let mut dropped = Vec::new();
        while est.at().plus(STEP) <= at.min(most) {
            copy.step(&mut est, &mut dropped);
            for (pad, (_, drive)) in copy.drives.iter().enumerate() {
                if let Some(sd) = drive.guess_sd(est.at()) {
                    est.guess(pad, sd);
                }
            }
        }
        Some(est)
    }

    /// A copy that weighs readings and concludes nothing from them.
    fn without_estimate(&self) -> Self {
        Self {
            nest: self.nest.clone(),
            ears: self.ears.clone(),
            vapour: Vapour::new(0),
            drives: self.drives.clone(),
            room: self.room.clone(),
            pending: self.pending.clone(),
            habits: Habits::default(),
            draught: Draught::new(0),
            course: RoomCourse::default(),
            drive_habits: Vec::new(),
            estimator: None,
            looked: None,
            fits: false,
            given: None,
            retrospect: None,
            found: Vec::new(),
            accepted: None,
            ..*self
        }
    }

    /// Everything a page shows, as believed at `at`.
    pub fn now(&self, at: Timestamp, learning: Span) -> NestNow {
        let probes = self.ears.iter().map(|e| ProbeNow {
            source: e.source,
            temperature: e.temperature,
            humidity: e.humidity,
            rejected: e.rejected,
            reads_off_k: None,
            fault: e.trust.fault(),
        });
        let mut now = NestNow {
            heard: self.believed.or(self.newest),
            profile: Profile::default(),
            brood_c: None,
            room_c: None,
            rh_pct: Vec::new(),
            learning_until: self.first.map(|f| f.plus(learning)),
            probes: probes.collect(),
            told: self.drives.iter().map(|(_, drive)| drive.last_duty()).collect(),
            fit: self.estimator.as_ref().map(Estimator::fit_seen).unwrap_or_default(),
            outlook: None,
        };
        let Some(est) = self.ahead(at) else { return now };
        for (p, probe) in now.probes.iter_mut().enumerate() {
            probe.reads_off_k = est.reads_off_k(p);
        }
        let (at_mm, mean_c, sd_c) = est.profile();
        now.rh_pct = alloc::vec![None; at_mm.len()];
        if let Some(vapour) = self.vapour(at) {
            let places = at_mm.iter().zip(mean_c.iter().zip(&sd_c));
            now.rh_pct = places.map(|(x, (c, sd_k))| Some(vapour.rh_pct(*x, *c, *sd_k))).collect();
        }
        let pad_w = est.arriving().zip(&self.nest.pads).map(|(s, p)| s * p.rated_w).sum::<f64>();
        let guessed =
            self.drives.iter().zip(&self.nest.pads).map(|((_, d), p)| d.guess_sd(at).unwrap_or(0.0) * p.rated_w);
        let pad_w_sd = 0.15 * pad_w + 0.05 + guessed.sum::<f64>();
        now.profile = Profile { at_mm, mean_c, sd_c, pad_w, pad_w_sd };
        now.brood_c = self.nest.brood.map(|_| est.brood());
        now.room_c = Some((est.room_c(), if self.room.is_measured(at) { 0.2 } else { 0.6 }));
        now
    }
}
