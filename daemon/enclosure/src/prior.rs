//! What is believed about a nest's physics before anything was measured: handbook numbers of the material, the
//! keeper's dimensions, and how far each may be off.
//!
//! A body of two layers of thickness d: loss rates are U/(ρ c d), the exchange k/(d' ρ c d) with d' the distance
//! between the layers' middles, the pad's gain q″/(ρ c d). Film coefficients indoors: 8 to 11 W m⁻² K⁻¹ in all
//! (ISO 6946 surface resistances; convection 3 to 5 plus radiation 5 to 6).
use crate::body::Physics;
use crate::shelf::{Cover, Nest, Pad, PadPlace};
use alloc::vec::Vec;

/// Width across the axis where the keeper did not say, mm. Common practice, no source.
pub const WIDTH_MM: f64 = 100.0;
/// Thickness of one layer where the keeper did not say the height, mm. Common practice, no source.
pub const LAYER_MM: f64 = 13.0;
/// Film coefficient from a bare surface to the room, W m⁻² K⁻¹: 8 to 11 for small things indoors (ISO 6946: 7.7
/// sideways, 10 up, 5.9 down for large ones).
const FILM_W_M2K: f64 = 9.0;
/// Lag of a foil pad, s: some 1.5 mm of plastic (2·10³ J m⁻² K⁻¹) behind a contact of 50 to 100 W m⁻² K⁻¹.
const PAD_LAG_S: f64 = 35.0;
/// Lag of its contact with the nest, s. Common practice, no source.
const CONTACT_LAG_S: f64 = 16.0;
/// Way of the heat between the layers' middles, in layers: the galleries' floor is cut into the body, and the ribs
/// between them reach up to the cover. Common practice, no source.
const LAYERS_APART: f64 = 0.5;
/// Galleries are part air: their layer holds about this share of the solid's heat. Common practice, no source.
const GALLERY_SOLID: f64 = 0.6;
/// Heat capacity of the cover that goes with the galleries, J m⁻² K⁻¹: a third of 3 mm of acrylic or 4 mm of glass (EN
/// ISO 10077-2), for it hangs on them through still air.
const COVER_J_M2K: f64 = 2.0e3;
/// Share of the pad's heat that goes into the nest and not downwards. Common practice, no source.
pub(crate) const INTO_NEST: f64 = 0.7;

/// Wall between the galleries' ends and the outside, mm. Common practice, no source.
pub const WALL_MM: f64 = 8.0;
/// How far a pad's heat spreads along the axis before it is in the base, standard deviation, mm: its foil and the board
/// behind it carry some of it past the edge. Common practice, no source.
pub const BLUR_MM: f64 = 5.0;

/// How far a probe's place may be off, standard deviation, mm.
pub const PLACE_SD_MM: f64 = 1.3;
/// How far what stands for the room may be off from the air about the nest, standard deviation, K: the sensor's own
/// offset, and a shelf that is warmer or cooler than the place where it hangs.
pub const AIR_SD_K: f64 = 0.15;
/// The colony's own heat, standard deviation, W: 0.1 W is a large colony's. Common practice, no source.
pub const COLONY_SD_W: f64 = 0.05;
/// How far a probe's offset may be off, standard deviation, K.
pub const OFFSET_SD_K: f64 = 0.2;
/// A probe's lag before anything is known, s, and its standard deviation on the log scale.
pub const PROBE_LAG_S: (f64, f64) = (75.0, 0.5);

/// The prior of one nest: a median and a standard deviation on the log scale for each parameter, in the order of
/// [`to_log`].
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// Natural logarithms of the medians.
    pub log: Vec<f64>,
    /// Standard deviations of those logarithms.
    pub sd: Vec<f64>,
    /// Heating of the galleries over the brood area by 1 W that the colony gives off there, K/s; 0 without a brood area.
    pub colony_k_s_w: f64,
}

/// How many parameters come before the pads' gains.
pub const SHARED: usize = 8;

/// Which of them are the pad's lags.
pub const PAD_LAGS: core::ops::Range<usize> = 6..8;

/// Physics as logarithms: diffusivity, both losses, both exchanges, end loss, both lags of the pad, then each pad's gain.
pub fn to_log(p: &Physics) -> Vec<f64> {
    let mut v = alloc::vec![
        p.diffusivity_mm2_s,
        p.base_loss_per_s,
        p.gallery_loss_per_s,
        p.base_exchange_per_s,
        p.gallery_exchange_per_s,
        p.end_loss,
        p.pad_lag_s,
        p.contact_lag_s,
    ];
    v.extend_from_slice(&p.gain_k_s);
    v.iter_mut().for_each(|x| *x = libm::log(*x));
    v
}

/// The physics those logarithms stand for; each is kept within what a body of this size can be (a factor of e^±30).
pub fn from_log(log: &[f64]) -> Physics {
    let e = |i: usize| libm::exp(log.get(i).copied().unwrap_or(0.0).clamp(-30.0, 30.0));
    Physics {
        diffusivity_mm2_s: e(0),
        base_loss_per_s: e(1),
        gallery_loss_per_s: e(2),
        base_exchange_per_s: e(3),
        gallery_exchange_per_s: e(4),
        end_loss: e(5),
        pad_lag_s: e(6),
        contact_lag_s: e(7),
        gain_k_s: (SHARED..log.len()).map(e).collect(),
    }
}

/// How a nest gives off its heat: to the room, or to what was laid over it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Faces {
    /// From the underside, W m⁻² K⁻¹.
    pub under_w_m2k: f64,
    /// From the upper side, W m⁻² K⁻¹.
    pub over_w_m2k: f64,
    /// From both ends, W m⁻² K⁻¹.
    pub ends_w_m2k: f64,
    /// Whether all of the pads' heat goes into the nest, and none beside it.
    pub all_in: bool,
}

impl Faces {
    /// As the nest stands in the room.
    pub fn standing(nest: &Nest) -> Self {
        let over = match nest.cover {
            Some(Cover::Open) => 0.9,
            Some(Cover::Lid) => 0.4,
            Some(Cover::Glass | Cover::Acrylic) | None => 0.65,
        };
        Self { under_w_m2k: 0.5 * FILM_W_M2K, over_w_m2k: over * FILM_W_M2K, ends_w_m2k: FILM_W_M2K, all_in: false }
    }
}

/// Thickness of one layer, mm.
pub fn layer_mm(nest: &Nest) -> f64 {
    nest.height_mm.map_or(LAYER_MM, |h| (0.5 * h).clamp(3.0, 40.0))
}

/// Heat capacity of the base per area, J m⁻² K⁻¹: turns a gain in K/s into W/m².
pub fn base_j_m2k(nest: &Nest) -> f64 {
    nest.material.density_kg_m3 * nest.material.heat_capacity_j_kgk * layer_mm(nest) * 1e-3
}

/// What turns the parameters of a nest into handbook units. Temperatures tell ratios only, so it rests on the heat capacity
/// and the conductivity of the material as the shelf file gives them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Materials {
    base_j_m2k: f64,
    gallery_j_m2k: f64,
    /// Heat capacity per volume, J m⁻³ K⁻¹, per mm²/s of diffusivity.
    solid_j_m3k: f64,
    /// Conductivity over length, W m⁻² K⁻¹.
    end_w_m2k: f64,
}

impl Materials {
    /// Of a nest.
    pub fn of(nest: &Nest) -> Self {
        let m = &nest.material;
        let base_j_m2k = base_j_m2k(nest);
        Self {
            base_j_m2k,
            gallery_j_m2k: gallery_j_m2k(base_j_m2k),
            solid_j_m3k: m.density_kg_m3 * m.heat_capacity_j_kgk * 1e-6,
            end_w_m2k: m.conductivity_w_mk / whole_length_m(nest),
        }
    }

    /// What one of parameter `i` (in the order of [`to_log`]) is: W m⁻¹ K⁻¹ of conductivity, W m⁻² K⁻¹ of losses and
    /// exchanges, s of lags, W m⁻² of the pads' heat.
    pub fn of_parameter(&self, i: usize) -> f64 {
        match i {
            0 => self.solid_j_m3k,
            2 | 4 => self.gallery_j_m2k,
            5 => self.end_w_m2k,
            6 | 7 => 1.0,
            // Losses and exchange of the base, and the pads' gains.
            _ => self.base_j_m2k,
        }
    }
}

fn gallery_j_m2k(base_j_m2k: f64) -> f64 {
    GALLERY_SOLID * base_j_m2k + COVER_J_M2K
}

fn whole_length_m(nest: &Nest) -> f64 {
    (nest.length_mm + 2.0 * WALL_MM) * 1e-3
}

/// What is believed about `nest` before anything was measured.
pub fn prior(nest: &Nest) -> Prior {
    prior_among(nest, &Faces::standing(nest))
}

/// The same where its faces are not as they usually stand.
pub fn prior_among(nest: &Nest, faces: &Faces) -> Prior {
    let m = &nest.material;
    let layer_mm = layer_mm(nest);
    let width_mm = nest.width_mm.unwrap_or(WIDTH_MM);
    let base_j_m2k = base_j_m2k(nest);
    let gallery_j_m2k = gallery_j_m2k(base_j_m2k);
    let exchange_w_m2k = m.conductivity_w_mk / (LAYERS_APART * layer_mm * 1e-3);
    // A film in series with the body between it and the layer's middle.
    let behind =
        |film_w_m2k: f64, layers: f64| 1.0 / (1.0 / film_w_m2k + layers * layer_mm * 1e-3 / m.conductivity_w_mk);
    let physics = Physics {
        diffusivity_mm2_s: m.conductivity_w_mk / (m.density_kg_m3 * m.heat_capacity_j_kgk) * 1e6,
        base_loss_per_s: behind(faces.under_w_m2k, 0.5) / base_j_m2k,
        gallery_loss_per_s: behind(faces.over_w_m2k, 0.25) / gallery_j_m2k,
        base_exchange_per_s: exchange_w_m2k / base_j_m2k,
        gallery_exchange_per_s: exchange_w_m2k / gallery_j_m2k,
        end_loss: faces.ends_w_m2k * whole_length_m(nest) / m.conductivity_w_mk,
        pad_lag_s: PAD_LAG_S,
        contact_lag_s: CONTACT_LAG_S,
        gain_k_s: nest.pads.iter().map(|p| flux_w_m2(p, width_mm, faces.all_in) / base_j_m2k).collect(),
    };
    let known = |v: Option<f64>, with: f64, without: f64| if v.is_some() { with } else { without };
    let size = known(nest.height_mm, 0.15, 0.22);
    let area = known(nest.width_mm, 0.12, 0.2);
    let mut sd = alloc::vec![0.25, 0.4, 0.4, 0.6, 0.6, 0.3, 0.6, 0.7];
    // The label's own tolerance is some 15 %.
    sd.extend(nest.pads.iter().map(|_| libm::sqrt(size * size + area * area + 0.15 * 0.15)));
    let colony_k_s_w = nest.brood.map_or(0.0, |b| 1.0 / (gallery_j_m2k * b.length_mm() * width_mm * 1e-6));
    Prior { log: to_log(&physics), sd, colony_k_s_w }
}

fn flux_w_m2(pad: &Pad, width_mm: f64, all_in: bool) -> f64 {
    let reach = match pad.place {
        _ if all_in => 1.0,
        PadPlace::Under => INTO_NEST,
        PadPlace::Beside | PadPlace::Lid => 0.6,
        PadPlace::Inside => 1.0,
    };
    reach * pad.rated_w / (pad.span.length_mm() * width_mm * 1e-6)
}
