//! Leave to heat: how far a node may drive its pad for the next minutes, or why not at all.
//!
//! The estimate is run ahead twice, with the pad off and fully on for as long as the lease holds, and off for half an
//! hour after it, when what is in the base still rises. The brood place's hottest point lies, for any drive between, below
//! the straight line between the two courses: it is the largest of temperatures that each grow linearly with the drive.
//! The drive is permitted up to where that line, with two standard deviations on top, would pass the limit.
//!
//! A reading that is not believed is a reason against heat. A reading from a sensor that anybody on the network could
//! feign is, too; but none of these is a reason for it.
use crate::core::Core;
use crate::estimate::{Estimator, STEP};
use crate::nest::{Ear, Watch};
use crate::reading::SourceId;
use crate::shelf::Band;
use crate::time::{Span, Timestamp};
use crate::{Priority, State};
use alloc::vec::Vec;
use core::fmt;

/// Heat in the base still rises so long after the pad is off.
const AFTER: Span = Span::from_min(30);
/// The hottest point stays so far below the limit, K, besides two standard deviations.
const MARGIN_K: f64 = 0.5;
/// Standard deviations that are kept below the limit.
const SURE: f64 = 2.0;
/// A probe that said nothing for so long justifies nothing.
const FRESH: Span = Span::from_min(5);
/// How far ahead is told what becomes of the brood place without heat.
const COLD_HOURS: i64 = 12;

/// What a node may do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leave {
    /// Drive the pad.
    Grant {
        /// The most, 0 to 1; above 0.
        duty: f64,
        /// No probe of the node may say so much, °C.
        ceiling_c: f64,
    },
    /// Not now; it returns by itself.
    Withhold(Withheld),
    /// Not before a person has reset it.
    Withdraw,
}

/// Why heat is withheld.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Withheld {
    /// The nest has no brood place or no band: nothing says how warm is too warm.
    NoLimit,
    /// No probe of the node's own, or none that spoke of late.
    Unheard,
    /// The last that one of them said is not believed.
    NotBelieved,
    /// A probe is near its limit.
    Warm,
    /// The brood place would pass its limit, as far as the estimate can tell.
    WouldPass,
    /// Somebody spoke in the node's name without proof.
    Doubted,
}

impl fmt::Display for Withheld {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoLimit => "the nest has no brood place or no band",
            Self::Unheard => "no probe of the node's own speaks",
            Self::NotBelieved => "a probe of the node's own is not believed",
            Self::Warm => "a probe is near its limit",
            Self::WouldPass => "the brood place might pass its limit",
            Self::Doubted => "somebody speaks in the node's name without its key",
        })
    }
}

/// What becomes of a brood place without heat, the room staying as it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unheated {
    /// Its mean after twelve hours, °C.
    pub lowest_c: f64,
    /// When its mean falls below the band; none within twelve hours.
    pub below_after: Option<Span>,
}

impl Core {
    /// How far the pad of nest `nest` may be driven for `lease` from `now` on, at most `most` (0 to 1). `owns` tells the
    /// sources that only the node itself can speak for.
    pub fn leave(
        &self,
        nest: usize,
        now: Timestamp,
        (lease, most): (Span, f64),
        owns: impl Fn(SourceId) -> bool,
    ) -> Leave {
        if self.is_in_danger(nest) {
            return Leave::Withdraw;
        }
        let watch = self.watch_of(nest);
        watch.map_or(Leave::Withhold(Withheld::Unheard), |watch| watch.leave(now, (lease, most), owns))
    }

    /// Whether a danger stands at the nest, or is held until somebody has looked.
    pub fn is_in_danger(&self, nest: usize) -> bool {
        let stands = |state: State| match state {
            State::NotJudged | State::Normal | State::Returned => false,
            State::Unacknowledged
            | State::Acknowledged
            | State::Latched
            | State::Shelved
            | State::Suppressed
            | State::OutOfService => true,
        };
        let mut here = self.alarms().filter(|(key, ..)| key.nest.map(usize::from) == Some(nest));
        here.any(|(key, state, ..)| key.alarm.priority() == Priority::Danger && stands(state))
    }

    /// What becomes of the brood place of `nest` if nothing heats it from `now` on.
    pub fn unheated(&self, nest: usize, now: Timestamp) -> Option<Unheated> {
        self.watch_of(nest)?.unheated(now)
    }
}

impl Watch {
    fn leave(&self, now: Timestamp, (lease, most): (Span, f64), owns: impl Fn(SourceId) -> bool) -> Leave {
        let (Some(_), Some(band)) = (self.nest.brood, self.nest.band) else {
            return Leave::Withhold(Withheld::NoLimit);
        };
        let own: Vec<&Ear> = self.ears.iter().filter(|ear| owns(ear.source)).collect();
        if let Some(why) = against(&own, &self.ears, &band, now) {
            return Leave::Withhold(why);
        }
        let Some(est) = self.ahead(now) else { return Leave::Withhold(Withheld::Unheard) };
        // Whatever foreign sensors made of the estimate: it is at least as warm as the node's own probes say.
        let raised_k = own
            .iter()
            .filter(|ear| ear.by_brood)
            .fold(0.0, |raised: f64, ear| ear.temperature.map_or(raised, |(c, _)| raised.max(c - est.brood().2)));
        let most = most.clamp(0.0, 1.0);
        let duty = room_for(&est, self.nest.pads.len(), lease, band.limit_c - MARGIN_K - raised_k).min(most);
        // A thousandth is what a node can be told.
        if duty < 0.001 { Leave::Withhold(Withheld::WouldPass) } else { Leave::Grant { duty, ceiling_c: band.hot_c } }
    }

    fn unheated(&self, now: Timestamp) -> Option<Unheated> {
        let (mut est, band) = (self.ahead(now)?, self.nest.band);
        self.nest.brood?;
        let (off, room_c) = (alloc::vec![0.0; self.nest.pads.len()], est.room_c());
        let mut below_after = None;
        for step in 1..=COLD_HOURS * 3_600_000 / STEP.ms() {
            est.advance(&off, room_c);
            if below_after.is_none() && band.is_some_and(|band| est.brood().0 < band.low_c) {
                below_after = Some(Span::from_ms(step * STEP.ms()));
            }
        }
        Some(Unheated { lowest_c: est.brood().0, below_after })
    }
}

/// What speaks against heat before any model is asked.
fn against(own: &[&Ear], all: &[Ear], band: &Band, now: Timestamp) -> Option<Withheld> {
    let near = |ear: &Ear| {
        let limit_c = if ear.by_brood { band.limit_c } else { band.hot_c };
        ear.temperature.is_some_and(|(c, _)| c > limit_c - MARGIN_K)
    };
    if all.iter().any(near) {
        return Some(Withheld::Warm);
    }
    let speaks = |ear: &Ear| ear.temperature.is_some_and(|(_, at)| now.since(at) <= FRESH);
    if own.is_empty() || !own.iter().all(|ear| speaks(ear)) {
        return Some(Withheld::Unheard);
    }
    own.iter().any(|ear| ear.rejected.is_some() || ear.trust.fault().is_some()).then_some(Withheld::NotBelieved)
}

/// The largest duty for `lease` with which the brood place's hottest point, two standard deviations up, stays below
/// `cap_c` until half an hour after; 0 if there is none.
fn room_for(est: &Estimator, pads: usize, lease: Span, cap_c: f64) -> f64 {
    let (mut cold, mut warm) = (est.clone(), est.clone());
    let (off, on) = (alloc::vec![0.0; pads], alloc::vec![1.0; pads]);
    let room_c = est.room_c();
    let (heated, whole) = (lease.ms() / STEP.ms() + 1, (lease.ms() + AFTER.ms()) / STEP.ms());
    let upper = |est: &Estimator| {
        let (_, sd_k, hottest_c) = est.brood();
        hottest_c + SURE * sd_k
    };
    let mut duty = room_for_now(upper(est), upper(est), cap_c);
    for step in 0..whole {
        cold.advance(&off, room_c);
        warm.advance(if step < heated { &on } else { &off }, room_c);
        duty = duty.min(room_for_now(upper(&cold), upper(&warm), cap_c));
    }
    duty
}

fn room_for_now(cold_c: f64, warm_c: f64, cap_c: f64) -> f64 {
    if cold_c >= cap_c {
        0.0
    } else if warm_c <= cap_c {
        1.0
    } else {
        (cap_c - cold_c) / (warm_c - cold_c)
    }
}

#[cfg(test)]
mod tests;
