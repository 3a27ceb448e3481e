//! The time between a fault of the heating and its finding, as it was believed then and with hindsight.
use crate::hindsight::{Seen, look_at, moments, watch};
use crate::quiet::EPOCH_S;
use crate::table::Cell;
use enclosure::Alarm;
use enclosure::nest::Found;
use std::fmt;
use world::{Fault, FaultKind, Report, Rng, WorldSpec};

/// Days of a story.
const DAYS: f64 = 2.5;
/// The fault begins between these hours of it.
const BEGINS_H: (f64, f64) = (26.0, 40.0);
/// One that goes by itself lasts for so long, h.
const LASTS_H: (f64, f64) = (1.0, 4.0);
/// The hours that are judged of the rest: from the second day on, without the last, that has nothing after it.
const JUDGED_H: (f64, f64) = (24.0, 48.0);
/// After a fault that went by itself so much is looked at, s.
const AFTER_S: f64 = 3600.0;
/// Between two moments of it, and of the rest, s.
const EVERY_S: (f64, f64) = (60.0, 600.0);

/// One story.
#[derive(Clone, Debug)]
pub struct Blind {
    /// Where it was.
    pub cell: Cell,
    /// The nest.
    pub nest: String,
    /// What went wrong.
    pub kind: FaultKind,
    /// For how long it lasted, h; none: to the end.
    pub lasts_h: Option<f64>,
    /// When its heat first differed, s since 1970, and when it ended by itself.
    pub began_s: f64,
    /// See `began_s`.
    pub ended_s: Option<f64>,
    /// Minutes from the first heat that differed to the alarm; none: it was never raised.
    pub found_min: Option<f64>,
    /// Between the two (or while it lasted, if it was not found).
    pub blind: Seen,
    /// In the hour after it ended by itself.
    pub after: Seen,
    /// All of its judged day.
    pub day: Seen,
    /// What was found late, in the review.
    pub found: Vec<Found>,
}

/// A nest of some cell of the table of errors with a fault of its heating, and for how long that lasts, h.
pub fn faulty(run: u32) -> (Cell, WorldSpec, Option<f64>) {
    let mut rng = Rng::new(0xb11d + u64::from(run)).fork("blind");
    let mut between = |low: f64, high: f64| low + (high - low) * rng.uniform();
    let mut pick = |count: usize| (between(0.0, count as f64) as usize).min(count - 1);
    let cells: Vec<Cell> = Cell::all().into_iter().filter(|c| c.told != ((run / 2) % 4 == 3)).collect();
    let cell = cells[pick(cells.len())];
    let mut nests = cell.nests();
    // Where its power is measured a mat that sticks is told on.
    nests.retain(|n| n.report != Report::Watts);
    let nest = nests.swap_remove(pick(nests.len()));
    let mut spec = WorldSpec::new(EPOCH_S, vec![nest]);
    let from_s = EPOCH_S + 3600.0 * between(BEGINS_H.0, BEGINS_H.1);
    let lasts_h = (run % 3 == 2).then(|| between(LASTS_H.0, LASTS_H.1));
    let kind = if run.is_multiple_of(2) { FaultKind::StuckOn } else { FaultKind::PadDead };
    let fault = Fault::new(kind, 0, from_s);
    spec.faults.push(match lasts_h {
        Some(h) => fault.until(from_s + 3600.0 * h),
        None => fault,
    });
    (cell, spec, lasts_h)
}

/// Lives through story `run` and looks at it both ways.
///
/// # Panics
/// If the nest is not on its own shelf, or nothing went wrong.
pub fn live(run: u32) -> Blind {
    let ((cell, spec, lasts_h), seed) = (faulty(run), u64::from(run));
    let lived = watch(&spec, seed, DAYS);
    let record = lived.faults.first().expect("it has a fault");
    let began_s = record.bites_s.or(record.began_s).expect("it began");
    let is_heat = |a: Alarm| matches!(a, Alarm::HeaterStuckOn | Alarm::HeaterNoHeat);
    let raised = lived.raised.iter().find(|r| r.t_s >= began_s && is_heat(r.alarm));
    let ends_s = record.fault.to_s.unwrap_or(EPOCH_S + JUDGED_H.1 * 3600.0);
    let found_s = raised.map_or(ends_s, |r| r.t_s);
    let mut all = moments(EPOCH_S + JUDGED_H.0 * 3600.0, EPOCH_S + JUDGED_H.1 * 3600.0, EVERY_S.1);
    let of_day = all.clone();
    all.extend(moments(began_s, found_s, EVERY_S.0));
    all.extend(lasts_h.iter().flat_map(|_| moments(ends_s, ends_s + AFTER_S, EVERY_S.0)));
    all.sort_by(f64::total_cmp);
    all.dedup();
    let (looks, found) = look_at((&spec, seed), lived.fit.as_ref(), &all, DAYS);
    let sum = |of: &dyn Fn(f64) -> bool| {
        looks.iter().filter(|(t, _)| of(*t)).fold(Seen::default(), |all, (_, seen)| all.and(*seen))
    };
    Blind {
        cell,
        nest: spec.nests[0].id.clone(),
        kind: record.fault.kind,
        lasts_h,
        began_s,
        ended_s: record.fault.to_s,
        found_min: raised.map(|r| (r.t_s - began_s) / 60.0),
        blind: sum(&|t| began_s <= t && t < found_s),
        after: sum(&|t| lasts_h.is_some() && ends_s <= t && t < ends_s + AFTER_S),
        day: sum(&|t| of_day.contains(&t)),
        found,
    }
}

impl fmt::Display for Blind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lasts = self.lasts_h.map_or("-".to_owned(), |h| format!("{h:.1}"));
        let found = self.found_min.map_or("never".to_owned(), |m| format!("{m:.0}"));
        let (nest, kind) = (&self.nest, self.kind.name());
        write!(f, "{nest:8} {}  {kind:8}  {lasts:>4}  {found:>5}", self.cell)?;
        [self.blind, self.after, self.day].iter().try_for_each(|s| write!(f, "  |{}  {}", s.then, s.later))
    }
}
