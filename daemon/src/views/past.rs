//! Stored readings, run once more through a core of its own, in event time: what was believed at each moment of a span.
//!
//! Nothing is drawn from stored estimates, so a better model betters old weeks. The run begins [`LEAD`] earlier: the
//! core learns the nest's physics anew in it, unless a fit was kept: then the past is seen by what was learned since. Each
//! moment is seen with hindsight, by what was said in the hours after it too, unless the span is longer than
//! `FINE_UP_TO`.
use super::coarse;
use crate::history::{HistoricReading, HistoryError, Reader};
use enclosure::estimate::{Hindsight, STEP};
use enclosure::nest::Found;
use enclosure::psychro::saturation_pa;
use enclosure::shelf::Nest;
use enclosure::smooth::REACH_S;
use enclosure::{Core, Input, NestNow, Reading, Shelf, Span, Timestamp};
use std::ops::Range;

/// How long before the span the run begins: long enough for the first fits and a whole day.
pub const LEAD: Span = Span::from_h(24);
/// How long after the span it ends, where more is stored: what is later still tells nothing of it.
const REACH: Span = Span::from_s(REACH_S as i64);
/// Columns of the picture up to a month: every 30 minutes for a week.
pub const COLUMNS: usize = 336;
/// Beyond so much the core hears the mean of each hour, and nobody sees more: the estimate jumps from hour to hour, and has
/// no course to look back along.
const FINE_UP_TO: Span = Span::from_h(32 * 24);
/// Beyond so much there is a column a day, up to it four.
const QUARTERS_UP_TO: Span = Span::from_h(100 * 24);
/// Most columns.
const COLUMNS_MAX: usize = 2_000;
/// Nothing is known where the newest believed reading is older than a column, and than the first of these ...
const GAP_LEAST: Span = Span::from_min(20);
/// ... but never where it is older than the second.
const GAP_MOST: Span = Span::from_h(2);

/// What was believed over a span.
#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    /// The nest, as the shelf file describes it today.
    pub nest: Nest,
    /// The span.
    pub span: Range<Timestamp>,
    /// Places of the profiles, mm.
    pub at_mm: Vec<f64>,
    /// Evenly spaced samples; `None` where nothing is known.
    pub samples: Vec<Option<Seen>>,
    /// Samples in each column, so that a thermostat's swing shows as lowest and highest.
    pub per_column: usize,
    /// What the probes themselves said in each column.
    pub said: Said,
    /// Readings found in the span itself; hours where the span is long.
    pub readings: u64,
    /// Its first reading of all, where that lies in the span or in the hours before it.
    pub began: Option<Timestamp>,
    /// Whether its moments are seen with hindsight.
    pub hindsight: bool,
    /// What was found of the mats later than it began, and is drawn from its beginning on, in the order of its finding.
    pub found: Vec<Found>,
}

/// What probes said, without a model.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    /// For each column the lowest, the sum and the highest of all probes, °C, and how many readings.
    pub columns: Vec<Option<(f64, f64, f64, u64)>>,
    /// What was not believed: when, as a part of the span, and the value, °C.
    pub doubted: Vec<(f64, f64)>,
}

/// How many columns a picture of a span has.
pub fn columns_of(span: &Range<Timestamp>) -> usize {
    let length = span.end.since(span.start);
    let days = usize::try_from(length.ms() / Span::from_h(24).ms()).unwrap_or(0);
    if length <= FINE_UP_TO {
        COLUMNS
    } else if length <= QUARTERS_UP_TO {
        4 * days
    } else {
        days.min(COLUMNS_MAX)
    }
}

/// Samples in each column: about one every four hours at the least.
fn per_column(span: &Range<Timestamp>) -> usize {
    if span.end.since(span.start) <= QUARTERS_UP_TO { 3 } else { 6 }
}

/// One sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// Believed temperature at each place, °C.
    pub mean_c: Vec<f32>,
    /// Standard deviation of the believed error at each place, K.
    pub sd_k: Vec<f32>,
    /// Brood place: mean, °C, and the standard deviation of its error, K.
    pub brood_c: Option<(f64, f64)>,
    /// Room, °C.
    pub room_c: Option<f64>,
    /// Heat of the mats, W.
    pub heat_w: f64,
    /// Relative humidity in the middle of the brood place (of the nest if there is none), %RH.
    pub rh_pct: Option<f64>,
}

impl Seen {
    /// The same with hindsight; `middle`: the place that the humidity is of. The vapour itself is as it was heard.
    fn look_back(&mut self, hindsight: &Hindsight, middle: Option<usize>) {
        let narrow = |all: &[f64]| all.iter().map(|v| *v as f32).collect();
        if let Some((rh_pct, i)) = self.rh_pct.as_mut().zip(middle) {
            let both = self.mean_c.get(i).zip(hindsight.mean_c.get(i));
            let share = both.map_or(1.0, |(was, is)| saturation_pa(f64::from(*was)) / saturation_pa(*is));
            *rh_pct = (*rh_pct * share).min(100.0);
        }
        self.mean_c = narrow(&hindsight.mean_c);
        self.sd_k = narrow(&hindsight.sd_k);
        self.brood_c = self.brood_c.map(|_| hindsight.brood_c);
        self.heat_w = hindsight.heat_w.unwrap_or(self.heat_w);
    }
}

impl Past {
    /// The moment of sample `k`.
    pub fn at(&self, k: usize) -> Timestamp {
        sample_at(&self.span, self.samples.len(), k)
    }

    /// Time between two samples.
    pub fn step(&self) -> Span {
        Span::from_ms(self.span.end.since(self.span.start).ms() / i64::try_from(self.samples.len().max(1)).unwrap_or(1))
    }
}

/// The middle of part `k` of `n`.
fn sample_at(span: &Range<Timestamp>, n: usize, k: usize) -> Timestamp {
    let length = i128::from(span.end.since(span.start).ms());
    let into = length * (2 * k as i128 + 1) / (2 * n.max(1) as i128);
    span.start.plus(Span::from_ms(i64::try_from(into).unwrap_or(i64::MAX)))
}

/// Runs the stored readings of nest `nest` through a core, [`LEAD`] before `span` and over it, in `columns` columns.
///
/// `stop` is asked now and then; once it says so the rest of the span stays unknown.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn recall(
    reader: &Reader,
    (shelf, nest): (&Shelf, &Nest),
    span: Range<Timestamp>,
    columns: usize,
    stop: &dyn Fn() -> bool,
) -> Result<Past, HistoryError> {
    let alone = Shelf { name: shelf.name.clone(), nests: vec![nest.clone()], alarms: shelf.alarms.clone() };
    let per_column = per_column(&span);
    let wanted = columns * per_column;
    let mut run = Run::new(alone, span.clone(), (columns, per_column));
    if let Some(fit) = reader.fit_of_hindsight(nest, span.end)? {
        run.core.take_up_fit(0, &fit, fit.until);
    }
    let sources: Vec<String> = run.core.sources().to_vec();
    let began_after = span.start.minus(LEAD);
    let mut whole = span.start.minus(LEAD)..span.end;
    if span.end.since(span.start) > FINE_UP_TO {
        for r in coarse::hourly(reader, &sources, &whole)? {
            run.stopped = run.stopped || stop();
            if run.stopped {
                break;
            }
            run.hear(&r);
        }
    } else {
        run.core.look_back(0, (0..wanted).map(|k| sample_at(&span, wanted, k)));
        whole.end = span.end.plus(REACH);
        listen(reader, &mut run, &sources, whole, stop)?;
    }
    if !run.stopped {
        run.pass(span.end);
    }
    let hindsight = run.look_back();
    let is_of_span = |f: &&Found| f.from < span.end && f.until > span.start;
    let found = run.core.found(0).iter().filter(is_of_span).cloned().collect();
    let at_mm = if run.at_mm.is_empty() { vec![0.0, nest.length_mm] } else { run.at_mm };
    run.samples.resize(wanted, None);
    let said = coarse::said(reader, nest, &span, columns)?;
    let names: Vec<&str> = sources.iter().map(String::as_str).collect();
    let began = if run.first.is_some() && reader.knows_before(&names, began_after)? { None } else { run.first };
    Ok(Past {
        nest: nest.clone(),
        span,
        at_mm,
        samples: run.samples,
        per_column,
        said,
        readings: run.readings,
        began,
        hindsight,
        found,
    })
}

/// Every reading, and the hours of days that were thinned to them.
fn listen(
    reader: &Reader,
    run: &mut Run,
    sources: &[String],
    whole: Range<Timestamp>,
    stop: &dyn Fn() -> bool,
) -> Result<(), HistoryError> {
    let names: Vec<&str> = sources.iter().map(String::as_str).collect();
    let mut hours = reader.hours(&names, whole.clone())?.into_iter().peekable();
    reader.each_reading(Some(&names), whole, |r| {
        if run.stopped || stop() {
            run.stopped = true;
            return;
        }
        while let Some(hour) = hours.next_if(|hour| hour.at <= r.at) {
            run.hear(&hour);
        }
        run.hear(&r);
    })?;
    if !run.stopped {
        hours.for_each(|hour| run.hear(&hour));
    }
    Ok(())
}

struct Run {
    core: Core,
    span: Range<Timestamp>,
    wanted: usize,
    gap: Span,
    middle_mm: f64,
    at_mm: Vec<f64>,
    samples: Vec<Option<Seen>>,
    /// Of each: whether probes spoke, but none was believed.
    doubted: Vec<bool>,
    readings: u64,
    first: Option<Timestamp>,
    stopped: bool,
}

impl Run {
    fn new(shelf: Shelf, span: Range<Timestamp>, (columns, per_column): (usize, usize)) -> Self {
        let wanted = columns * per_column;
        let column = span.end.since(span.start).ms() / i64::try_from(columns).unwrap_or(1).max(1);
        let middle_mm = shelf
            .nests
            .first()
            .map_or(0.0, |n| n.brood.map_or(n.length_mm / 2.0, |b| f64::midpoint(b.from_mm, b.to_mm)));
        Self {
            core: Core::new(shelf).unjudged(),
            span,
            wanted,
            gap: Span::from_ms(column).clamp(GAP_LEAST, GAP_MOST),
            middle_mm,
            at_mm: Vec::new(),
            samples: Vec::with_capacity(wanted),
            doubted: Vec::with_capacity(wanted),
            readings: 0,
            first: None,
            stopped: false,
        }
    }

    fn hear(&mut self, r: &HistoricReading) {
        let Some(source) = self.core.source(&r.source) else { return };
        let reading = Reading { source, at: r.at, measured: r.measured };
        self.pass(reading.at);
        self.first.get_or_insert(reading.at);
        self.readings += u64::from(self.span.contains(&reading.at));
        // Nothing is judged: what was raised then, history says itself.
        let _ = self.core.step(reading.at, Input::Reading(reading));
    }

    /// Lets time pass: samples at their times, each before what is heard at `until`.
    fn pass(&mut self, until: Timestamp) {
        while self.samples.len() < self.wanted {
            let at = sample_at(&self.span, self.wanted, self.samples.len());
            if at >= until {
                return;
            }
            self.sample(at);
        }
    }

    fn sample(&mut self, at: Timestamp) {
        let lately = |t: Timestamp| at.since(t) <= self.gap;
        let spoke = |n: &NestNow| n.probes.iter().filter_map(|p| p.temperature).any(|(_, t)| lately(t));
        let is_believed = |n: &NestNow| n.heard.is_some_and(lately);
        let now = self.core.nest(0, at).filter(|n| is_believed(n) || spoke(n));
        self.doubted.push(now.as_ref().is_some_and(|n| !is_believed(n)));
        let seen = now.filter(|n| !n.profile.at_mm.is_empty()).map(|n| self.seen(&n));
        self.samples.push(seen);
    }

    /// Puts what is known of each moment by now in place of what was believed then, where anything was; tells whether it
    /// was anywhere. What was believed of no probe is known where the reason was found later.
    fn look_back(&mut self) -> bool {
        let mut any = false;
        let mut later = self.core.hindsight(0).into_iter().peekable();
        for k in 0..self.samples.len() {
            let at = sample_at(&self.span, self.wanted, k);
            while later.next_if(|h| h.at < at).is_some() {}
            let seen = later.peek().filter(|h| h.at < at.plus(STEP));
            if self.doubted[k] && seen.is_none_or(|h| h.heat_w.is_none()) {
                self.samples[k] = None;
            }
            if let Some((hindsight, sample)) = seen.zip(self.samples[k].as_mut()) {
                let middle = self.at_mm.iter().position(|x| *x >= self.middle_mm);
                sample.look_back(hindsight, middle);
                any = true;
            }
        }
        any
    }

    fn seen(&mut self, now: &NestNow) -> Seen {
        let places = &now.profile.at_mm;
        let rh_pct =
            places.iter().position(|x| *x >= self.middle_mm).and_then(|i| Some(now.rh_pct.get(i)?.as_ref()?.0));
        if self.at_mm.is_empty() {
            self.at_mm.clone_from(places);
        }
        Seen {
            mean_c: now.profile.mean_c.iter().map(|c| *c as f32).collect(),
            sd_k: now.profile.sd_c.iter().map(|k| *k as f32).collect(),
            brood_c: now.brood_c.map(|(mean, sd, _)| (mean, sd)),
            room_c: now.room_c.map(|r| r.0),
            heat_w: now.profile.pad_w,
            rh_pct,
        }
    }
}
