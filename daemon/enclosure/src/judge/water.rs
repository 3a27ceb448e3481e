//! Whether a nest dries as if its water ran out: the water's strength against its own learned course.
//!
//! One number an hour and probe, ln(g/k) of the vapour balance (see [`crate::vapour`]). Its course over the day is
//! the median of the same hours of the days before; how far it usually strays from it is learned too. A fall counts
//! only if it is seen whichever warmth the water has (the probe's own, or that of the dampest place), and by most of
//! the probes.
use crate::psychro::saturation_pa;
use crate::time::Timestamp;
use crate::vapour::{Vapour, hour_of, ln_strength, share};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// Hours remembered: two weeks. What was odd for longer counts as usual.
const HOURS: usize = 14 * 24;
/// The newest hours are compared with the course, and are no part of it.
const RECENT_H: i64 = 12;
/// The present is the median of so many hours, and of at least half of them.
const PRESENT_H: i64 = 6;
/// Its pace is taken over so many.
const PACE_H: i64 = 12;
/// Hours of course that must be known.
const COURSE_LEAST: usize = 36;
/// A fall by less than this (the water gives two thirds of the usual) is never told: ln.
const FALL_LEAST: f64 = 0.4;
/// A fall must be so many of its usual strayings ...
const FALL_SIGMA: f64 = 4.0;
/// ... and so many times the deepest fall from which it came back: who waters once a week knows of it.
const FALL_TIMES: f64 = 1.25;
/// It came back if it rose above this again.
const CAME_BACK: f64 = -0.1;
/// Hours whose median counts as a fall.
const FALL_H: usize = 5;
/// The least that is believed of a straying.
const STRAY_LEAST: f64 = 0.05;
/// It is over when it has come back so far past the fall that is told.
const BACK: f64 = 0.15;
/// A nest whose vapour lies less than this share of saturation above the room's shows no water: what a cheap probe
/// may be off (2 to 5 %RH).
const SHOWS_WATER: f64 = 0.04;
/// Where the room's humidity is only guessed, so much more: a place whose vapour the room may explain tells nothing.
const SHOWS_WATER_GUESSED: f64 = 0.25;
/// Where the room tells no humidity it is taken for this when the course was learned ...
const ROOM_USUAL: f64 = 0.45;
/// ... and for this now: what a dry winter room has, so that the room is never taken for the water (no source).
const ROOM_DRIEST: f64 = 0.2;
/// Nearly nothing left: a tenth.
const NEARLY_DRY: f64 = -2.3;

/// What is seen of the water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Water {
    /// ln of the water's strength against the usual.
    pub level: f64,
    /// Below which level it counts as running out.
    pub limit: f64,
    /// Change of the level an hour, over the last hours.
    pub per_h: f64,
    /// Probes that tell, and how many of them show the fall.
    pub probes: (usize, usize),
    /// Whether the room's humidity was measured.
    pub room_known: bool,
}

/// One hour of one nest, Pa.
#[derive(Clone, Debug)]
struct Hour {
    hour: i64,
    /// Vapour and saturation pressure at each probe.
    places: Vec<Option<(f32, f32)>>,
    /// The room's vapour pressure; else its saturation pressure.
    room: Result<f32, f32>,
    /// Held for drying: no part of the course.
    odd: bool,
}

/// The course of one nest's water.
#[derive(Clone, Debug, Default)]
pub struct Course {
    hours: VecDeque<Hour>,
    seen: Option<Water>,
}

impl Water {
    /// By how much the level is past its limit: above 0 it runs out.
    pub fn short(self) -> f64 {
        self.limit - self.level
    }

    /// Whether it runs out, is well again, or (`None`) lies between.
    pub fn runs_out(self) -> Option<bool> {
        let short = self.short();
        if short > 0.0 {
            Some(true)
        } else if short < -BACK {
            Some(false)
        } else {
            None
        }
    }

    /// The water's strength against the usual, 0 upwards.
    pub fn share_of_usual(self) -> f64 {
        libm::exp(self.level)
    }

    /// Hours until nearly nothing is left if it goes on as over the last hours; `None` while it does not fall.
    pub fn hours_left(self) -> Option<f64> {
        (self.per_h < -0.005 && self.level > NEARLY_DRY).then(|| (NEARLY_DRY - self.level) / self.per_h)
    }
}

impl Course {
    /// Takes in the hour before that of `now`, once, `room_c` warm in the room; `believed` tells whether a probe is.
    pub fn hear(&mut self, now: Timestamp, vapour: &Vapour, room_c: f64, believed: impl Fn(usize) -> bool) {
        let hour = hour_of(now) - 1;
        if self.hours.back().is_some_and(|h| h.hour >= hour) {
            return;
        }
        let narrow = |(e, s): (f64, f64)| (e as f32, s as f32);
        let places: Vec<_> = (0..vapour.places.len())
            .map(|p| if believed(p) { vapour.places[p].hour(hour).map(narrow) } else { None })
            .collect();
        if places.iter().all(Option::is_none) {
            return;
        }
        let room = vapour.room.hour(hour).map_or(Err(saturation_pa(room_c) as f32), |(e, _)| Ok(e as f32));
        if self.hours.len() == HOURS {
            self.hours.pop_front();
        }
        self.hours.push_back(Hour { hour, places, room, odd: false });
        self.seen = self.weigh();
        let odd = self.seen.is_some_and(|s| s.short() > 0.0);
        if let Some(newest) = self.hours.back_mut() {
            newest.odd = odd;
        }
    }

    /// What is seen, as of the last hour; `None` until enough is known, or where nothing shows the water.
    pub fn seen(&self) -> Option<Water> {
        self.seen
    }

    fn weigh(&self) -> Option<Water> {
        let dampest = self.dampest()?;
        let count = self.hours.back()?.places.len();
        let mut told: Vec<Water> = (0..count).filter_map(|p| self.weigh_place(p, dampest)).collect();
        told.sort_by(|a, b| a.short().total_cmp(&b.short()).reverse());
        // The middle one; of two the milder.
        let middle = *told.get(told.len() / 2)?;
        let fallen = told.iter().filter(|w| w.short() > 0.0).count();
        Some(Water { probes: (told.len(), fallen), ..middle })
    }

    /// The probe at the dampest place: the water is nearest to it.
    fn dampest(&self) -> Option<usize> {
        let count = self.hours.back()?.places.len();
        let damp = |p: usize| {
            let of = self.hours.iter().filter_map(|h| h.places[p]).map(|(e, s)| f64::from(e / s)).collect();
            median(of).map(|rh| (p, rh))
        };
        (0..count).filter_map(damp).max_by(|a, b| a.1.total_cmp(&b.1)).map(|(p, _)| p)
    }

    /// What probe `p` says, whichever warmth the water has: the milder of both.
    fn weigh_place(&self, p: usize, dampest: usize) -> Option<Water> {
        let own = self.weigh_against(p, p);
        if p == dampest {
            return own;
        }
        match (own, self.weigh_against(p, dampest)) {
            (Some(a), Some(b)) => Some(if a.short() < b.short() { a } else { b }),
            // The dampest probe is silent now.
            (a, b) => a.or(b),
        }
    }

    fn weigh_against(&self, p: usize, water: usize) -> Option<Water> {
        let newest = self.hours.back()?.hour;
        let old = |h: &&Hour| h.hour <= newest - RECENT_H && !h.odd;
        let course: Vec<(i64, f64)> = self.hours.iter().filter(old).filter_map(|h| h.level(p, water, false)).collect();
        let shows = median(self.hours.iter().filter(old).filter_map(|h| h.excess(p)).collect())?;
        let room_known = self.hours.back()?.room.is_ok();
        if course.len() < COURSE_LEAST || shows < if room_known { SHOWS_WATER } else { SHOWS_WATER_GUESSED } {
            return None;
        }
        let usual: Vec<Option<f64>> = (0..24).map(|of_day| usual_at(&course, of_day)).collect();
        let usual = |hour: i64| usual[hour.rem_euclid(24) as usize];
        let strayed: Vec<f64> = course.iter().filter_map(|(h, v)| Some(v - usual(*h)?)).collect();
        let stray = day_to_day(&course).unwrap_or(0.0).max(STRAY_LEAST);
        let fall = FALL_LEAST.max(FALL_SIGMA * stray).max(FALL_TIMES * deepest_return(&strayed));
        let recent = |within: i64| {
            let of = self.hours.iter().filter(move |h| h.hour > newest - within);
            of.filter_map(|h| h.level(p, water, true)).filter_map(|(h, v)| Some((h, v - usual(h)?)))
        };
        let present: Vec<f64> = recent(PRESENT_H).map(|(_, v)| v).collect();
        if (present.len() as i64) < PRESENT_H / 2 {
            return None;
        }
        Some(Water {
            level: median(present)?,
            limit: -fall,
            per_h: slope(&recent(PACE_H).collect::<Vec<_>>()),
            probes: (1, 0),
            room_known,
        })
    }
}

impl Hour {
    fn room_pa(&self, now: bool) -> f64 {
        match self.room {
            Ok(e) => f64::from(e),
            Err(saturation) => f64::from(saturation) * if now { ROOM_DRIEST } else { ROOM_USUAL },
        }
    }

    /// Its number and ln(g/k) at probe `p`, the water as warm as probe `water`.
    fn level(&self, p: usize, water: usize, now: bool) -> Option<(i64, f64)> {
        let (e, _) = self.places[p]?;
        let (_, saturation) = self.places[water]?;
        let share = share(f64::from(e), self.room_pa(now), f64::from(saturation))?;
        Some((self.hour, ln_strength(share)))
    }

    /// Vapour over the room's at probe `p`, as a share of saturation.
    fn excess(&self, p: usize) -> Option<f64> {
        let (e, saturation) = self.places[p]?;
        Some((f64::from(e) - self.room_pa(false)) / f64::from(saturation))
    }
}

/// The course at an hour of the day: the median of that hour and its neighbours on all days.
fn usual_at(course: &[(i64, f64)], of_day: i64) -> Option<f64> {
    let near = |h: i64| (h - of_day + 1).rem_euclid(24) <= 2;
    median(course.iter().filter(|(h, _)| near(*h)).map(|(_, v)| *v).collect())
}

/// How far an hour strays from the same hour a day before, as a standard deviation: a slow fall is none of it.
fn day_to_day(course: &[(i64, f64)]) -> Option<f64> {
    let before = |h: i64| course.binary_search_by_key(&(h - 24), |(h, _)| *h).ok().map(|i| course[i].1);
    let apart = course.iter().filter_map(|(h, v)| Some(libm::fabs(v - before(*h)?))).collect();
    // The median of |x| is 0.6745 of a standard deviation of the normal law; a difference of two has √2 of one.
    median(apart).map(|m| m / (0.6745 * core::f64::consts::SQRT_2))
}

/// The deepest fall, 0 upwards, from which it came back; that a new nest begins dry is none.
fn deepest_return(strayed: &[f64]) -> f64 {
    let smooth: Vec<f64> = strayed.windows(FALL_H).filter_map(|w| median(w.to_vec())).collect();
    let usual = |level: &f64| *level > CAME_BACK;
    let (Some(first), Some(last)) = (smooth.iter().position(usual), smooth.iter().rposition(usual)) else { return 0.0 };
    smooth[first..=last].iter().fold(0.0, |deepest, level| deepest.max(-level))
}

fn median(mut of: Vec<f64>) -> Option<f64> {
    let middle = of.len() / 2;
    if of.is_empty() {
        return None;
    }
    of.sort_unstable_by(f64::total_cmp);
    Some(if of.len().is_multiple_of(2) { 0.5 * (of[middle - 1] + of[middle]) } else { of[middle] })
}

/// Least-squares slope an hour; 0 where there is none.
fn slope(of: &[(i64, f64)]) -> f64 {
    let n = of.len().max(1) as f64;
    let mean = of.iter().fold((0.0, 0.0), |m, (h, v)| (m.0 + *h as f64 / n, m.1 + v / n));
    let (mut up, mut down) = (0.0, 0.0);
    for (h, v) in of {
        let x = *h as f64 - mean.0;
        up += x * (v - mean.1);
        down += x * x;
    }
    if down > 0.0 { up / down } else { 0.0 }
}

#[cfg(test)]
#[path = "water_tests.rs"]
mod tests;
