//! How much truer the past is with what came after it: nests full of lids, sun and refills, seen as they were believed
//! then and with hindsight.
use crate::quiet::EPOCH_S;
use crate::table::{Cell, NINETY};
use crate::watched::{Raised, Watched};
use enclosure::estimate::Fit;
use enclosure::nest::Found;
use enclosure::{Span, Timestamp};
use std::fmt;
use world::{Event, EventKind, FaultRecord, Rng, WorldSpec};

pub(crate) const DAY_S: f64 = 86_400.0;
/// Days of a story; the first is lead, as it is where a span is drawn, the last hours are what comes after.
const DAYS: f64 = 3.0;
/// The days that are judged, from and to.
const JUDGED: (f64, f64) = (1.0, 2.5);
/// Between two moments, s.
const EVERY_S: f64 = 600.0;
/// Between two things that happen to the nest, h, at the least and at the most.
const APART_H: (f64, f64) = (2.0, 8.0);

/// Errors of one way to see the past.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Errors {
    profile_k2: f64,
    brood_k2: f64,
    within: f64,
    sd_k: f64,
    places: f64,
    moments: f64,
}

impl Errors {
    fn add(&mut self, off_k: impl Iterator<Item = (f64, f64)>, brood_off_k: f64) {
        for (off, sd) in off_k {
            self.profile_k2 += off * off;
            self.within += f64::from(u8::from(off.abs() <= NINETY * sd));
            self.sd_k += sd;
            self.places += 1.0;
        }
        self.brood_k2 += brood_off_k * brood_off_k;
        self.moments += 1.0;
    }

    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            profile_k2: self.profile_k2 + other.profile_k2,
            brood_k2: self.brood_k2 + other.brood_k2,
            within: self.within + other.within,
            sd_k: self.sd_k + other.sd_k,
            places: self.places + other.places,
            moments: self.moments + other.moments,
        }
    }

    /// Root mean square along the axis, K.
    pub fn profile_k(&self) -> f64 {
        (self.profile_k2 / self.places).sqrt()
    }

    /// The same of the brood place's mean, K.
    pub fn brood_k(&self) -> f64 {
        (self.brood_k2 / self.moments).sqrt()
    }

    /// Share of the truth within the 90 % interval.
    pub fn cover(&self) -> f64 {
        self.within / self.places
    }

    /// Mean of the stated standard deviations, K.
    pub fn sd_k(&self) -> f64 {
        self.sd_k / self.places
    }
}

impl fmt::Display for Errors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (profile, brood) = (self.profile_k(), self.brood_k());
        write!(f, "{profile:9.3}  {brood:7.3}  {:5.3}  {:5.2}", self.sd_k(), self.cover())
    }
}

/// One story, both ways.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Seen {
    /// As it was believed then.
    pub then: Errors,
    /// With hindsight.
    pub later: Errors,
}

impl Seen {
    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self { then: self.then.and(other.then), later: self.later.and(other.later) }
    }
}

/// A nest of some cell of the table of errors, with lids, sun and refills several times a day.
pub fn lively(run: u32) -> (Cell, WorldSpec) {
    let mut rng = Rng::new(0x51a7 + u64::from(run)).fork("lively");
    let mut between = |low: f64, high: f64| low + (high - low) * rng.uniform();
    let mut pick = |count: usize| (between(0.0, count as f64) as usize).min(count - 1);
    let cells = Cell::all();
    let cell = cells[pick(cells.len())];
    let mut nests = cell.nests();
    let nest = nests.swap_remove(pick(nests.len()));
    let mut spec = WorldSpec::new(EPOCH_S, vec![nest]);
    let mut at_h = between(2.0, 6.0);
    while at_h < 24.0 * DAYS {
        let from_s = EPOCH_S + at_h * 3600.0;
        let (kind, length_h) = match between(0.0, 3.0) {
            x if x < 1.0 => (EventKind::Lid, between(0.05, 0.5)),
            x if x < 2.0 => (EventKind::Sun(between(20.0, 90.0)), between(0.5, 2.0)),
            _ => (EventKind::Refill { ml: between(5.0, 20.0), water_c: between(14.0, 22.0) }, 0.03),
        };
        spec.events.push(Event { kind, nest: 0, from_s, to_s: from_s + 3600.0 * length_h });
        at_h += between(APART_H.0, APART_H.1);
    }
    (cell, spec)
}

/// A story as it was watched while it happened.
pub(crate) struct Lived {
    /// What the nest taught by its end, as the nightly fits would have kept it.
    pub(crate) fit: Option<Fit>,
    /// What was raised.
    pub(crate) raised: Vec<Raised>,
    /// What was wrong.
    pub(crate) faults: Vec<FaultRecord>,
}

/// Lives through a story of so many days.
pub(crate) fn watch(spec: &WorldSpec, seed: u64, days: f64) -> Lived {
    let mut watched = Watched::new(spec, seed);
    watched.advance(EPOCH_S + days * DAY_S);
    let fit = watched.fits.into_iter().rev().find(|news| news.refused.is_none()).and_then(|news| news.fit);
    Lived { fit, raised: watched.raised, faults: watched.world.faults().to_vec() }
}

/// Looks at moments (s since 1970) of a story of so many days both ways, with the physics that was learned by its end: for
/// each that the estimate ran through what was believed then, and what with hindsight; and what was found late of the pads.
///
/// # Panics
/// If the nest is not on its own shelf.
pub(crate) fn look_at(
    (spec, seed): (&WorldSpec, u64),
    fit: Option<&Fit>,
    moments: &[f64],
    days: f64,
) -> (Vec<(f64, Seen)>, Vec<Found>) {
    let mut watched = Watched::new(spec, seed);
    if let Some(fit) = fit {
        watched.core().take_up_fit(0, fit, fit.until);
    }
    watched.core().look_back(0, moments.iter().map(|s| at(*s)));
    let mut truths = Vec::new();
    for t_s in moments {
        watched.advance(*t_s);
        let (now, truth) = (watched.believed(0).expect("it is there"), watched.truth(0).expect("it is there"));
        truths.push((*t_s, truth, now));
    }
    watched.advance(EPOCH_S + days * DAY_S);
    let later = watched.core().hindsight(0);
    let mut later = later.iter().peekable();
    let mut looks = Vec::new();
    for (t_s, truth, now) in &truths {
        while later.next_if(|h| h.at < at(*t_s)).is_some() {}
        let Some(h) = later.next_if(|h| h.at < at(*t_s).plus(Span::from_s(20))) else { continue };
        let places = &now.profile.at_mm;
        let off = |mean_c: &[f64], sd_k: &[f64]| -> Vec<(f64, f64)> {
            let truth = places.iter().map(|x| truth.temp_at(*x));
            mean_c.iter().zip(truth).zip(sd_k).map(|((c, t), sd)| (c - t, *sd)).collect()
        };
        let brood = now.brood_c.map_or(f64::NAN, |b| b.0);
        let true_c = truth.brood_c().0;
        let mut seen = Seen::default();
        seen.then.add(off(&now.profile.mean_c, &now.profile.sd_c).into_iter(), brood - true_c);
        seen.later.add(off(&h.mean_c, &h.sd_k).into_iter(), h.brood_c.0 - true_c);
        looks.push((*t_s, seen));
    }
    (looks, watched.core().found(0).to_vec())
}

/// Moments from `from_s` on before `to_s`.
pub(crate) fn moments(from_s: f64, to_s: f64, every_s: f64) -> Vec<f64> {
    std::iter::successors(Some(from_s), |s| Some(s + every_s)).take_while(|s| *s < to_s).collect()
}

/// Lives through story `run` and looks at its judged days both ways, each with the physics that was learned by its end; and
/// what was found late of the pad, that was never faulty.
///
/// # Panics
/// If the nest is not on its own shelf.
pub fn live(run: u32) -> (Seen, Vec<Found>) {
    let ((_, spec), seed) = (lively(run), u64::from(run));
    let lived = watch(&spec, seed, DAYS);
    let moments = moments(EPOCH_S + JUDGED.0 * DAY_S, EPOCH_S + JUDGED.1 * DAY_S, EVERY_S);
    let (looks, found) = look_at((&spec, seed), lived.fit.as_ref(), &moments, DAYS);
    (looks.into_iter().fold(Seen::default(), |all, (_, seen)| all.and(seen)), found)
}

fn at(t_s: f64) -> Timestamp {
    Timestamp::from_unix_ms((t_s * 1000.0) as i64)
}
