//! What a page shows of a nest: the estimate run on to the moment asked for, and the vapour along it.
use super::{GAP_TOO_LONG, Watch};
use crate::core::{NestNow, ProbeNow, Profile};
use crate::estimate::{Estimator, STEP};
use crate::psychro;
use crate::time::{Span, Timestamp};
use alloc::vec::Vec;

impl Watch {
    /// A copy of the estimate run on to `at` with what waits, the drive held.
    fn ahead(&self, at: Timestamp) -> Option<Estimator> {
        let mut copy = Self { estimator: None, ..self.clone() };
        let mut est = self.estimator.clone()?;
        let most = est.at().plus(GAP_TOO_LONG);
        let mut dropped = Vec::new();
        while est.at().plus(STEP) <= at.min(most) {
            copy.step(&mut est, &mut dropped);
        }
        Some(est)
    }

    /// Everything a page shows, as believed at `at`.
    pub fn now(&self, at: Timestamp, learning: Span) -> NestNow {
        let probes = self.ears.iter().map(|e| ProbeNow {
            source: e.source,
            temperature: e.temperature,
            humidity: e.humidity,
            rejected: e.rejected,
        });
        let mut now = NestNow {
            heard: self.believed.or(self.newest),
            profile: Profile::default(),
            brood_c: None,
            room_c: None,
            rh_pct: Vec::new(),
            learning_until: self.first.map(|f| f.plus(learning)),
            probes: probes.collect(),
            told_duty: self.told(),
        };
        let Some(est) = self.ahead(at) else { return now };
        let (at_mm, mean_c, sd_c) = est.profile();
        now.rh_pct = self.humidity(&at_mm, &mean_c, at);
        let pad_w = est.arriving().zip(&self.nest.pads).map(|(s, p)| s * p.rated_w).sum::<f64>();
        now.profile = Profile { at_mm, mean_c, sd_c, pad_w, pad_w_sd: 0.15 * pad_w + 0.05 };
        now.brood_c = self.nest.brood.map(|_| est.brood());
        now.room_c = Some((est.room_c(), if self.room.is_measured(at) { 0.2 } else { 0.6 }));
        now
    }

    /// Relative humidity along the axis: vapour pressure between probes by place, saturation from the estimate.
    fn humidity(&self, at_mm: &[f64], mean_c: &[f64], at: Timestamp) -> Vec<Option<f64>> {
        let mut known: Vec<(f64, f64)> = self
            .ears
            .iter()
            .filter_map(|e| {
                let (rh, when) = e.humidity?;
                let (c, _) = e.temperature?;
                (at.since(when) < Span::from_min(30)).then(|| (e.at_mm, psychro::vapour_pa(c, rh)))
            })
            .collect();
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        let vapour = |x: f64| -> Option<f64> {
            let after = known.iter().position(|(m, _)| *m >= x);
            match after {
                None => known.last().map(|k| k.1),
                Some(0) => known.first().map(|k| k.1),
                Some(i) => {
                    let ((x0, e0), (x1, e1)) = (known[i - 1], known[i]);
                    Some(e0 + (e1 - e0) * (x - x0) / (x1 - x0).max(1e-6))
                }
            }
        };
        let rh = |(x, c): (&f64, &f64)| vapour(*x).map(|e| (100.0 * e / psychro::saturation_pa(*c)).clamp(0.0, 100.0));
        at_mm.iter().zip(mean_c).map(rh).collect()
    }
}
