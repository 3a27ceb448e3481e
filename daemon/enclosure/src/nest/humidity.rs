//! Warmth and vapour along one nest for the slow rules: what the estimate holds, at its own moment.
use super::Watch;
use crate::shelf::Cover;
use crate::time::Timestamp;
use crate::vapour::Between;
use alloc::vec::Vec;

/// A sheet over the galleries is this share of their warmth over the room: a gap's conductance against the film
/// outside (as the estimate's prior has it, 0.65 × 9 of 9 W m⁻² K⁻¹; the sheet's own resistance left out).
const SHEET_SHARE: f64 = 0.65;

/// The whole axis as believed at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Along {
    /// Places, mm.
    pub at_mm: Vec<f64>,
    /// Mean at each, °C.
    pub mean_c: Vec<f64>,
    /// Standard deviation at each, K.
    pub sd_k: Vec<f64>,
    /// The room, °C.
    pub room_c: f64,
    /// Of when.
    pub at: Timestamp,
}

impl Watch {
    /// The warmth along the axis; `None` before the first reading.
    pub fn along(&self) -> Option<Along> {
        let est = self.estimator.as_ref()?;
        let (at_mm, mean_c, sd_k) = est.profile();
        Some(Along { at_mm, mean_c, sd_k, room_c: est.room_c(), at: est.at() })
    }

    /// Heat that arrives from the pads now, as a share of what they give at full drive; `None` without pads.
    pub fn heat_share(&self) -> Option<f64> {
        let est = self.estimator.as_ref()?;
        let rated: f64 = self.nest.pads.iter().map(|p| p.rated_w).sum();
        let given: f64 = est.arriving().zip(&self.nest.pads).map(|(s, p)| s * p.rated_w).sum();
        (rated > 0.0).then(|| given / rated)
    }

    /// The vapour between the probes that are believed at `now`.
    pub fn vapour(&self, now: Timestamp) -> Option<Between> {
        let places = self.ears.iter().map(|e| e.trust.fault().is_none().then_some(e.at_mm));
        self.vapour.between(places, now)
    }

    /// How warm the coldest surface over a place is, °C, where the galleries are `c` warm: a sheet of glass or acrylic
    /// lies between them and the room; else the galleries' own wall.
    pub fn coldest_wall_c(&self, c: f64, room_c: f64) -> f64 {
        match self.nest.cover {
            Some(Cover::Glass | Cover::Acrylic) => c.min(room_c + SHEET_SHARE * (c - room_c)),
            Some(Cover::Open | Cover::Lid) | None => c,
        }
    }
}
