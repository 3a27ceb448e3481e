//! A span of one nest's history as `dashboards` draws it.
use super::events::{self, part};
use super::hours::{Hours, band_in_force};
use super::now::{brood, mats};
use super::past::{PER_COLUMN, Past, Seen};
use super::sentences;
use crate::history::{HistoryError, Reader};
use dashboards::{ColourRange, HeatMap, Lane, LanePoint, Mark, Tick, WeekView};
use enclosure::shelf::Band;
use enclosure::{Span, Timestamp};
use std::ops::Range;

/// Most days that are ticked or told one by one.
pub const DAYS_MAX: usize = 400;
/// Night for the eye: from 21 to 7 o'clock, as many days hold (common practice, no source).
const NIGHT: (Span, Span) = (Span::from_h(21), Span::from_h(7));
/// Nights are drawn on spans up to this.
const NIGHTS_UP_TO: Span = Span::from_h(31 * 24);
/// Hours are ticked on spans up to this.
const HOURS_UP_TO: Span = Span::from_h(60);

/// Everything about the span: the picture from `past`, alarms and notes from `reader`.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn week_view(past: &Past, reader: &Reader, ahead: Span, hours: &Hours) -> Result<WeekView, HistoryError> {
    let mut marks = events::marks(reader, &past.nest.id, &past.span, hours)?;
    marks.extend(moved(past, hours));
    marks.sort_by(|a, b| a.at.total_cmp(&b.at));
    // The band at the end of the span stands for all of it: seasons change twice a year.
    let band = band_in_force(&past.nest, past.span.end, ahead);
    let days = sentences::days(past, band, hours);
    Ok(WeekView {
        nest_id: past.nest.id.clone(),
        nest_name: past.nest.id.clone(),
        span_text: hours.span(&past.span),
        sentences: sentences::sentences(past, band, &marks, hours),
        length_mm: past.nest.length_mm,
        brood: brood(&past.nest),
        mats: mats(&past.nest),
        map: map(past),
        lanes: lanes(past, band),
        marks,
        ticks: ticks(&past.span, hours),
        nights: nights(&past.span, hours),
        days,
    })
}

/// A place, mat or cover that changed within the span: what lies before it is drawn with today's places.
fn moved(past: &Past, hours: &Hours) -> Option<Mark> {
    let since = past.nest.since.filter(|t| past.span.contains(t))?;
    Some(Mark {
        at: part(since, &past.span),
        time_text: hours.dated(since),
        text: "places, mats or cover changed; what lies before is drawn as if they had been as they are today"
            .to_owned(),
        ..Mark::default()
    })
}

fn map(past: &Past) -> HeatMap {
    let middle = |column: &[Option<Seen>]| {
        // The sample in the middle; its neighbours where that one is a gap.
        let chosen = column.get(PER_COLUMN / 2).and_then(Option::as_ref).or_else(|| column.iter().flatten().next());
        chosen.map(|s| s.mean_c.clone())
    };
    let columns: Vec<Option<Vec<f32>>> = past.samples.chunks(PER_COLUMN).map(middle).collect();
    let values = columns.iter().flatten().flatten().map(|c| f64::from(*c));
    HeatMap { at_mm: past.at_mm.clone(), colour: ColourRange::around(values), columns }
}

/// Lowest, mean and highest of finite values.
pub(super) fn extent(values: impl Iterator<Item = f64>) -> Option<LanePoint> {
    let (mut point, mut sum, mut n) = (LanePoint { min: f64::INFINITY, mean: 0.0, max: f64::NEG_INFINITY }, 0.0, 0_u32);
    for v in values.filter(|v| v.is_finite()) {
        point.min = point.min.min(v);
        point.max = point.max.max(v);
        sum += v;
        n += 1;
    }
    (n > 0).then(|| LanePoint { mean: sum / f64::from(n), ..point })
}

fn lane(past: &Past, (label, unit): (&str, &str), value: impl Fn(&Seen) -> Option<f64>) -> Lane {
    let point = |column: &[Option<Seen>]| extent(column.iter().flatten().filter_map(&value));
    Lane {
        label: label.to_owned(),
        unit: unit.to_owned(),
        points: past.samples.chunks(PER_COLUMN).map(point).collect(),
        ..Lane::default()
    }
}

fn lanes(past: &Past, band: Option<Band>) -> Vec<Lane> {
    let mut lanes = Vec::new();
    if past.nest.brood.is_some() {
        let mut brood = lane(past, ("brood place", "°C"), |s| s.brood_c.map(|b| b.0));
        brood.zone = band.map(|b| (b.low_c, b.high_c));
        lanes.push(brood);
    }
    lanes.push(lane(past, ("room", "°C"), |s| s.room_c));
    if !past.nest.pads.is_empty() {
        let mut heat = lane(past, ("heat", "W"), |s| Some(s.heat_w));
        heat.filled = true;
        lanes.push(heat);
    }
    let mut damp = lane(past, ("humidity", "%RH"), |s| s.rh_pct);
    damp.zone = past.nest.humidity_pct;
    if damp.points.iter().any(Option::is_some) {
        lanes.push(damp);
    }
    lanes
}

fn ticks(span: &Range<Timestamp>, hours: &Hours) -> Vec<Tick> {
    let days = hours.days(span, DAYS_MAX);
    let fine = span.end.since(span.start) <= HOURS_UP_TO;
    // About ten labels on any span.
    let every = (days.len() / 10).max(1);
    let mut ticks = Vec::new();
    for (i, day) in days.iter().enumerate() {
        let tick = |at: Timestamp, label: String, major| Tick { at: part(at, span), label, major };
        if span.contains(day) {
            let label = if i % every == 0 { hours.short_day(*day) } else { String::new() };
            ticks.push(tick(*day, label, true));
        }
        for h in (6..24).step_by(6).filter(|_| every == 1) {
            let at = day.plus(Span::from_h(h));
            if span.contains(&at) {
                ticks.push(tick(at, if fine { hours.clock(at) } else { String::new() }, false));
            }
        }
    }
    ticks
}

fn nights(span: &Range<Timestamp>, hours: &Hours) -> Vec<(f64, f64)> {
    if span.end.since(span.start) > NIGHTS_UP_TO {
        return Vec::new();
    }
    let clip = |from: Timestamp, to: Timestamp| (part(from, span), part(to, span));
    let days = hours.days(span, DAYS_MAX);
    let morning = days.first().map(|d| clip(*d, d.plus(NIGHT.1)));
    let evening = days.iter().map(|d| clip(d.plus(NIGHT.0), d.plus(Span::from_h(24)).plus(NIGHT.1)));
    morning.into_iter().chain(evening).filter(|(from, to)| to > from).collect()
}
