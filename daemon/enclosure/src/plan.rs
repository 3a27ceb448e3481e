//! Before anything is plugged in: how warm a nest would get, how soon, how far along, and how hot if its pad sticks on.
//!
//! Everything rests on the prior alone: handbook numbers, the keeper's dimensions, and how far each may be off. The
//! worst case is a pad that stays on for ever under a nest that was covered, in a warm room, at the upper end of what
//! is not known. An estimate, never a safety assessment.
use crate::body::{Axis, Body};
use crate::models::dot;
use crate::prior::{BLUR_MM, Faces, WALL_MM, base_j_m2k, layer_mm, prior_among};
use crate::shelf::{Nest, Stretch};
use alloc::vec::Vec;

mod cooling;
mod scene;

pub use cooling::{Cooling, cooling};
use scene::{Fan, Looks, Made, Scene, decay_mm};
pub use scene::{GRID, Likely, Z90};

/// Loss of every face under a cushion or folded towel of some 3 cm, W m⁻² K⁻¹: the film of still air and 0.03 m at
/// 0.05 W m⁻¹ K⁻¹ (loose cloth, from memory) in series let 1.4 through; a small body loses about half as much again by
/// the cushion's edges. Customary for a covered mat are 1 to 2; the prior's own spread reaches from 1 to 4.
pub const COVERED_W_M2K: f64 = 2.0;
/// Air and unevenness between a pad and the nest, m² K W⁻¹: about 0.3 mm of air at 0.026 W m⁻¹ K⁻¹ (CoolProp, Lemmon
/// 2000); the gap itself is common practice, no source.
const CONTACT_M2K_W: f64 = 0.012;
/// Standard deviation of the way from a pad's face into the base, on the log scale. Common practice, no source.
const FACE_SD: f64 = 0.4;
/// Both layers' losses and the ends': one cover lies over them all.
const LOSSES: &[usize] = &[1, 2, 5];
/// Where the rise has fallen to this share of its highest, little of the heat arrives.
pub const SHARE: f64 = 0.1;
/// The end of a warm-up: this share of the rise.
pub const WARM: f64 = 0.9;
/// A room's day, s.
const DAY_S: f64 = 86_400.0;
/// Step of the day's course, s.
const DAY_STEP_S: f64 = 300.0;

/// The room in which a nest will stand, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room {
    /// Its mean over a day.
    pub usual_c: f64,
    /// From its coolest to its warmest hour, K.
    pub swing_k: f64,
    /// In a heatwave.
    pub warm_c: f64,
}

/// What a plan is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Question<'a> {
    /// The nest, its pads, its brood place.
    pub nest: &'a Nest,
    /// Where it will stand.
    pub room: Room,
    /// The hottest that the brood bears, as the keeper says, °C.
    pub limit_c: Option<f64>,
    /// The hottest that the material bears, as the keeper says, °C.
    pub material_limit_c: Option<f64>,
    /// What the brood place is to be held at, °C, unless a thermostat's own set point says so.
    pub held_c: Option<f64>,
    /// Loss of a covered face, W m⁻² K⁻¹ (usually [`COVERED_W_M2K`]).
    pub cover_w_m2k: f64,
    /// The heat's reach ends where the rise has fallen to this share of its highest.
    pub share: f64,
}

impl<'a> Question<'a> {
    /// With everything the shelf's description says of `nest`.
    pub fn of(nest: &'a Nest, room: Room) -> Self {
        Self {
            nest,
            room,
            limit_c: nest.band.map(|b| b.limit_c),
            material_limit_c: nest.material_limit_c,
            held_c: nest.band.map(|b| 0.5 * (b.low_c + b.high_c)),
            cover_w_m2k: COVERED_W_M2K,
            share: SHARE,
        }
    }

    /// What is held, °C: by a thermostat of its own, else what is asked.
    fn held_c(&self) -> Option<f64> {
        self.nest.pads.iter().find_map(|p| p.thermostat_c).or(self.held_c)
    }
}

/// What is to be expected.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The pad stays on for ever: covered, in the warm room.
    pub worst: Stuck,
    /// The pad stays on for ever: as the nest stands, in the warm room.
    pub standing: Stuck,
    /// The largest power whose worst case stays below the keeper's limits.
    pub power: Power,
    /// Places of the profiles, mm.
    pub at_mm: Vec<f64>,
    /// The galleries with the pads always on, in the usual room, °C.
    pub always_on_c: Vec<Likely>,
    /// How it would be held, if there is anything to hold it at.
    pub in_use: Option<InUse>,
    /// Time from as warm as the room to [`WARM`] of the brood place's rise with the pads on, s.
    pub warm_up_s: Likely,
    /// What a day does.
    pub swing: Swing,
    /// How far the heat goes along the nest.
    pub reach: Reach,
}

/// A pad that stays on for ever.
#[derive(Clone, Debug, PartialEq)]
pub struct Stuck {
    /// The hottest of the brood place (of the galleries, if nobody said where the brood will lie), °C.
    pub brood_c: Likely,
    /// The hottest between pad and nest, °C.
    pub mat_c: Likely,
    /// The galleries, °C.
    pub profile_c: Vec<Likely>,
    /// When the brood place passes the keeper's limit; none if no limit was given.
    pub brood: Option<Passing>,
    /// When the pad's face passes what the material bears; none if no limit was given.
    pub mat: Option<Passing>,
}

/// Whether and when a limit is passed, from the moment the pad sticks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passing {
    /// The limit, °C.
    pub limit_c: f64,
    /// In the median nest, s; none if never.
    pub likely_s: Option<f64>,
    /// In a nest at the upper end of what is not known, s; none if never.
    pub soonest_s: Option<f64>,
}

/// Which power is the largest whose worst case stays below the limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Power {
    /// Of all pads together, W.
    AtMost {
        /// Both limits hold, W.
        watts: f64,
        /// The brood's limit alone, W.
        brood_w: f64,
        /// The material's limit alone, W.
        mat_w: f64,
    },
    /// The warm room alone is as hot as a limit.
    None,
    /// Limits that the keeper did not give.
    Missing {
        /// That of the brood.
        brood: bool,
        /// That of the material.
        material: bool,
    },
}

/// The nest as a thermostat would hold it.
#[derive(Clone, Debug, PartialEq)]
pub struct InUse {
    /// What is held, °C.
    pub held_c: f64,
    /// Where a thermostat's sensor holds it, mm; none: the mean of the brood place.
    pub at_mm: Option<f64>,
    /// Part of the time that the pads must be on in the usual room; above 1 they are too weak.
    pub duty: Likely,
    /// The same at the room's coolest and warmest hour, median.
    pub night_day: (f64, f64),
    /// The galleries, °C.
    pub profile_c: Vec<Likely>,
}

/// What a day's swing of the room does to the brood place while the pads' heat stays the same.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Swing {
    /// From coolest to warmest, K.
    pub brood_k: f64,
    /// How much later than the room, s.
    pub late_s: f64,
}

/// How far the heat goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Over this length it falls to 1/e beyond the pad, mm.
    pub decay_mm: Likely,
    /// All places where the rise is at least the asked share of its highest.
    pub warmed: Stretch,
    /// That share.
    pub share: f64,
    /// The highest rise in the galleries, K, median.
    pub most_k: f64,
}

/// Reckons what `question` asks; none if its nest has no pad.
pub fn plan(question: &Question<'_>) -> Option<Plan> {
    let Question { nest, room, .. } = *question;
    if nest.pads.is_empty() {
        return None;
    }
    let cover = question.cover_w_m2k;
    let covered = Faces { under_w_m2k: cover, over_w_m2k: cover, ends_w_m2k: cover, all_in: true };
    let (standing, covered) = (scene(nest, &Faces::standing(nest), &[]), scene(nest, &covered, LOSSES));
    let (standing, covered) = (standing.fan(), covered.fan());
    let worst = stuck(&covered, question);
    let median = &standing.median;
    let profile_k = median.profile(&median.rest);
    let at_mm: Vec<f64> = (0..GRID).map(|i| nest.length_mm * i as f64 / (GRID - 1) as f64).collect();
    let over = |c: f64| move |k: Likely| k.map(|k| c + k);
    Some(Plan {
        standing: stuck(&standing, question),
        power: power(&worst, question),
        worst,
        always_on_c: standing.likely_all(|m| m.profile(&m.rest)).into_iter().map(over(room.usual_c)).collect(),
        in_use: in_use(&standing, question),
        warm_up_s: standing.likely(|m| m.until(&m.held(0.0), WARM * m.mean(&m.rest), |h| m.mean(h)).unwrap_or(0.0)),
        swing: swing(median, &standing, room.swing_k),
        reach: Reach {
            decay_mm: standing.likely(|m| decay_mm(&m.physics)),
            warmed: warmed(&at_mm, &profile_k, question.share),
            share: question.share,
            most_k: profile_k.iter().copied().fold(0.0, f64::max),
        },
        at_mm,
    })
}

fn scene(nest: &Nest, faces: &Faces, together: &'static [usize]) -> Scene {
    let pads: Vec<Stretch> = nest.pads.iter().map(|p| p.span).collect();
    let whole = Stretch { from_mm: 0.0, to_mm: nest.length_mm };
    let held = nest.pads.iter().find(|p| p.thermostat_c.is_some());
    let middle = |s: Stretch| 0.5 * (s.from_mm + s.to_mm);
    let half_layer_m2k_w = 0.5e-3 * layer_mm(nest) / nest.material.conductivity_w_mk;
    Scene {
        prior: prior_among(nest, faces),
        together,
        base_j_m2k: base_j_m2k(nest),
        face_m2k_w: (half_layer_m2k_w + CONTACT_M2K_W, FACE_SD),
        looks: Looks {
            judged: nest.brood.unwrap_or(whole),
            mean: nest.brood.or_else(|| pads.first().copied()).unwrap_or(whole),
            hold_mm: held.map(|p| p.thermostat_at_mm.unwrap_or_else(|| middle(p.span))),
        },
        axis: Axis { length_mm: nest.length_mm, wall_mm: WALL_MM, pads, blur_mm: BLUR_MM },
    }
}

/// Part of the time that the pads must be on to hold `held_c` in a room at `room_c`.
fn duty(m: &Made, held_c: f64, room_c: f64) -> f64 {
    (held_c - room_c).max(0.0) / m.hold(&m.rest).max(1e-9)
}

fn stuck(fan: &Fan<'_>, question: &Question<'_>) -> Stuck {
    let room_c = question.room.warm_c;
    let (judged, face) = (|m: &Made| m.judged(&m.rest), |m: &Made| m.face(&m.rest));
    let (hot_brood, hot_face) = (fan.upper(judged), fan.upper(face));
    // What is read off the body at the upper end and not extrapolated: its course then tells when.
    let likely = |upper: &Made, value: &dyn Fn(&Made) -> f64| {
        let along = fan.likely(value);
        Likely { high: value(upper).max(along.mid), ..along }.map(|k| room_c + k)
    };
    // It sticks while the nest is as warm as it is meant to be.
    let start = |m: &Made| m.held(question.held_c().map_or(0.0, |c| duty(m, c, room_c).min(1.0)));
    let passing = |limit_c: f64, upper: &Made, value: &dyn Fn(&Made, &crate::body::Heat) -> f64| {
        let when = |m: &Made| m.until(&start(m), limit_c - room_c, |h| value(m, h));
        Passing { limit_c, likely_s: when(&fan.median), soonest_s: when(upper) }
    };
    Stuck {
        brood_c: likely(&hot_brood, &judged),
        mat_c: likely(&hot_face, &face),
        profile_c: fan.likely_all(|m| m.profile(&m.rest)).into_iter().map(|k| k.map(|k| room_c + k)).collect(),
        brood: question.limit_c.map(|c| passing(c, &hot_brood, &|m, h| m.judged(h))),
        mat: question.material_limit_c.map(|c| passing(c, &hot_face, &|m, h| m.face(h))),
    }
}

/// Rises are proportional to the pads' power, so the largest one is a quotient.
fn power(worst: &Stuck, question: &Question<'_>) -> Power {
    let room_c = question.room.warm_c;
    let (Some(limit_c), Some(material_c)) = (question.limit_c, question.material_limit_c) else {
        return Power::Missing { brood: question.limit_c.is_none(), material: question.material_limit_c.is_none() };
    };
    let rated_w: f64 = question.nest.pads.iter().map(|p| p.rated_w).sum();
    let allowed = |limit_c: f64, reached: Likely| rated_w * (limit_c - room_c) / (reached.high - room_c).max(1e-9);
    let (brood_w, mat_w) = (allowed(limit_c, worst.brood_c), allowed(material_c, worst.mat_c));
    let watts = brood_w.min(mat_w);
    if watts > 0.0 { Power::AtMost { watts, brood_w, mat_w } } else { Power::None }
}

fn in_use(fan: &Fan<'_>, question: &Question<'_>) -> Option<InUse> {
    let (held_c, room) = (question.held_c()?, question.room);
    let need = |m: &Made, room_c: f64| duty(m, held_c, room_c);
    let half = 0.5 * room.swing_k;
    let profile = |m: &Made| m.profile(&m.held(need(m, room.usual_c).min(1.0)));
    Some(InUse {
        held_c,
        at_mm: fan.looks().hold_mm,
        duty: fan.likely(|m| need(m, room.usual_c)),
        night_day: (need(&fan.median, room.usual_c - half), need(&fan.median, room.usual_c + half)),
        profile_c: fan.likely_all(profile).into_iter().map(|k| k.map(|k| room.usual_c + k)).collect(),
    })
}

/// The brood place's second day in a room that swings as a sine.
fn swing(median: &Made, fan: &Fan<'_>, swing_k: f64) -> Swing {
    let body = Body::on(median.body.modes.clone(), fan.axis(), &median.physics, DAY_STEP_S);
    let row: Vec<f64> = body.modes.mean_over(fan.looks().mean).collect();
    let (mut heat, mut amplitudes) = (body.cold(), alloc::vec![0.0; row.len()]);
    let none = alloc::vec![0.0; fan.axis().pads.len()];
    let steps = (DAY_S / DAY_STEP_S) as usize;
    let room_k = |i: usize| 0.5 * swing_k * libm::sin(2.0 * core::f64::consts::PI * i as f64 / steps as f64);
    let (mut lowest, mut highest, mut at) = (f64::INFINITY, f64::NEG_INFINITY, 0);
    for i in 1..=2 * steps {
        body.advance(&mut heat, &none, room_k(i) - room_k(i - 1));
        body.gallery(&heat, &mut amplitudes);
        let now = room_k(i) + dot(&row, &amplitudes);
        if i > steps {
            lowest = lowest.min(now);
            if now > highest {
                (highest, at) = (now, i - steps);
            }
        }
    }
    Swing { brood_k: highest - lowest, late_s: (at as f64 - 0.25 * steps as f64).max(0.0) * DAY_STEP_S }
}

/// From the first to the last place whose rise is at least `share` of the highest, between two places by a straight
/// line.
fn warmed(at_mm: &[f64], rise_k: &[f64], share: f64) -> Stretch {
    let least = share * rise_k.iter().copied().fold(0.0, f64::max);
    let mut edges = at_mm.iter().zip(rise_k).filter(|(_, k)| **k >= least).map(|(x, _)| *x);
    let first = edges.next().unwrap_or(0.0);
    let (mut from_mm, mut to_mm) = (first, edges.next_back().unwrap_or(first));
    for (x, k) in at_mm.windows(2).zip(rise_k.windows(2)) {
        let crossing = x[0] + (x[1] - x[0]) * (least - k[0]) / (k[1] - k[0]);
        if k[0] < least && k[1] >= least && x[1] <= from_mm {
            from_mm = crossing;
        } else if k[0] >= least && k[1] < least && x[0] >= to_mm {
            to_mm = crossing;
        }
    }
    Stretch { from_mm, to_mm }
}

#[cfg(test)]
mod tests;
