//! A span of one nest's history as `dashboards` draws it.
use super::events::{self, part};
use super::hours::{Hours, band_in_force};
use super::now::{brood, mats};
use super::past::{Past, Seen};
use super::sentences;
use crate::history::{HistoryError, Reader};
use dashboards::{BaseFrom, ColourRange, HeatMap, Lane, LanePoint, Mark, Tick, WeekView, say};
use enclosure::shelf::{Band, Nest};
use enclosure::{Span, Timestamp};
use std::ops::Range;

/// Most days that are ticked or told one by one.
pub const DAYS_MAX: usize = 400;
/// Night for the eye: from 21 to 7 o'clock, as many days hold (common practice, no source).
const NIGHT: (&str, &str) = ("21:00", "07:00");
/// Nights are drawn on spans up to this.
const NIGHTS_UP_TO: Span = Span::from_h(31 * 24);
/// Months are ticked on spans longer than this.
const MONTHS_FROM: Span = Span::from_h(70 * 24);
/// Hours are ticked on spans up to this.
const HOURS_UP_TO: Span = Span::from_h(60);

/// How a span is to be told.
#[derive(Clone, Copy, Debug, Default)]
pub struct Telling<'a> {
    /// The keeper's winter time ahead of UTC, for seasons.
    pub ahead: Span,
    /// Degree-days are counted above this, °C; none: as the shelf file says.
    pub base_c: Option<f64>,
    /// What it is compared with, and what that is called: `the week before`.
    pub other: Option<(&'a Past, &'a str)>,
}

/// Everything about the span: the picture from `past`, alarms and notes from `reader`.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn week_view(past: &Past, reader: &Reader, telling: Telling<'_>, hours: &Hours) -> Result<WeekView, HistoryError> {
    let (mut marks, still) = events::marks(reader, &past.nest.id, &past.span, hours)?;
    marks.extend(moved(past, hours));
    marks.sort_by(|a, b| a.at.total_cmp(&b.at));
    // The band at the end of the span stands for all of it: seasons change twice a year.
    let band = band_in_force(&past.nest, past.span.end, telling.ahead);
    let (base_c, base_from) = base(&past.nest, telling.base_c);
    let table = sentences::table(past, (band, base_c), hours);
    Ok(WeekView {
        nest_id: past.nest.id.clone(),
        nest_name: past.nest.id.clone(),
        span_text: hours.span(&past.span),
        sentences: sentences::sentences(past, band, (&marks, &still), telling.other, hours),
        seen_how: sentences::seen_how(past, hours),
        length_mm: past.nest.length_mm,
        brood: brood(&past.nest),
        mats: mats(&past.nest),
        map: map(past),
        lanes: lanes(past, band, telling.other.map(|o| o.0)),
        marks,
        ticks: ticks(&past.span, hours),
        nights: nights(&past.span, hours),
        row_name: table.name,
        days: table.rows,
        total: table.total,
        base_c,
        base_from,
    })
}

/// Above which warmth degree-days count, °C, and who says so.
fn base(nest: &Nest, asked_c: Option<f64>) -> (f64, BaseFrom) {
    let own = || nest.degree_days_above_c.map(|c| (c, BaseFrom::ShelfFile));
    asked_c.map(|c| (c, BaseFrom::Asked)).or_else(own).unwrap_or_default()
}

/// A place, mat or cover that changed within the span: what lies before it is drawn with today's places.
fn moved(past: &Past, hours: &Hours) -> Option<Mark> {
    let since = past.nest.since.filter(|t| past.span.contains(t))?;
    Some(Mark {
        at: part(since, &past.span),
        time_text: hours.dated(since),
        text: say!("mark-moved"),
        ..Mark::default()
    })
}

fn map(past: &Past) -> HeatMap {
    let mean = |column: &[Option<Seen>], value: fn(&Seen) -> &Vec<f32>| {
        let seen: Vec<&Vec<f32>> = column.iter().flatten().map(value).collect();
        let places = seen.iter().map(|v| v.len()).min()?;
        Some((0..places).map(|r| seen.iter().map(|v| v[r]).sum::<f32>() / seen.len() as f32).collect())
    };
    let parts = || past.samples.chunks(past.per_column.max(1));
    let columns: Vec<Option<Vec<f32>>> = parts().map(|c| mean(c, |s| &s.mean_c)).collect();
    let values = columns.iter().flatten().flatten().map(|c| f64::from(*c));
    let colour = ColourRange::around(values);
    HeatMap { at_mm: past.at_mm.clone(), colour, columns, sd_k: parts().map(|c| mean(c, |s| &s.sd_k)).collect() }
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

fn lane(
    past: &Past,
    other: Option<&Past>,
    (label, unit): (String, &str),
    value: impl Fn(&Seen) -> Option<f64>,
) -> Lane {
    let points = |past: &Past| -> Vec<Option<LanePoint>> {
        let point = |column: &[Option<Seen>]| extent(column.iter().flatten().filter_map(&value));
        past.samples.chunks(past.per_column.max(1)).map(point).collect()
    };
    Lane {
        label,
        unit: unit.to_owned(),
        points: points(past),
        other: other.map_or(Vec::new(), |o| points(o).into_iter().map(|p| p.map(|p| p.mean)).collect()),
        ..Lane::default()
    }
}

fn lanes(past: &Past, band: Option<Band>, other: Option<&Past>) -> Vec<Lane> {
    let mut lanes = Vec::new();
    if past.nest.brood.is_some() {
        let mut brood = lane(past, other, (say!("brood-place"), "°C"), |s| s.brood_c.map(|b| b.0));
        brood.zone = band.map(|b| (b.low_c, b.high_c));
        let sd = |c: &[Option<Seen>]| extent(c.iter().flatten().filter_map(|s| s.brood_c).map(|b| b.1)).map(|p| p.mean);
        brood.sd = past.samples.chunks(past.per_column.max(1)).map(sd).collect();
        lanes.push(brood);
    }
    lanes.push(said(past));
    lanes.push(lane(past, other, (say!("lane-room"), "°C"), |s| s.room_c));
    if !past.nest.pads.is_empty() {
        let mut heat = lane(past, other, (say!("lane-heat"), "W"), |s| Some(s.heat_w));
        heat.filled = true;
        lanes.push(heat);
    }
    let mut damp = lane(past, other, (say!("lane-humidity"), "%RH"), |s| s.rh_pct);
    damp.zone = past.nest.humidity_pct;
    if damp.points.iter().any(Option::is_some) {
        lanes.push(damp);
    }
    lanes
}

/// What all probes said, with every spike; what was not believed as crosses.
fn said(past: &Past) -> Lane {
    let point = |c: &(f64, f64, f64, u64)| LanePoint { min: c.0, mean: c.1 / c.3.max(1) as f64, max: c.2 };
    Lane {
        label: say!("lane-probes"),
        unit: "°C".to_owned(),
        points: past.said.columns.iter().map(|c| c.as_ref().map(point)).collect(),
        doubted: past.said.doubted.clone(),
        ..Lane::default()
    }
}

fn ticks(span: &Range<Timestamp>, hours: &Hours) -> Vec<Tick> {
    let length = span.end.since(span.start);
    let tick = |at: Timestamp, label: String, major| Tick { at: part(at, span), label, major };
    let within = |at: &Timestamp| span.contains(at);
    if length > MONTHS_FROM {
        let months = hours.months(span, DAYS_MAX).into_iter().filter(within);
        return months.map(|at| tick(at, hours.short_month(at), true)).collect();
    }
    let days: Vec<Timestamp> = hours.days(span, DAYS_MAX).into_iter().filter(within).collect();
    let fine = length <= HOURS_UP_TO;
    // About ten labels on any span.
    let every = (days.len() / 10).max(1);
    let named = |at| if days.len() > 10 { hours.short_date(at) } else { hours.short_day(at) };
    let label = |(i, at): (usize, &Timestamp)| tick(*at, if i % every == 0 { named(*at) } else { String::new() }, true);
    let mut ticks: Vec<Tick> = days.iter().enumerate().map(label).collect();
    if every == 1 {
        let between = hours.every(span, 6).into_iter().filter(|at| !days.contains(at));
        ticks.extend(between.map(|at| tick(at, if fine { hours.clock(at) } else { String::new() }, false)));
    }
    ticks.sort_by(|a, b| a.at.total_cmp(&b.at));
    ticks
}

/// From 21 to 7 o'clock on the wall, clipped to the span.
fn nights(span: &Range<Timestamp>, hours: &Hours) -> Vec<(f64, f64)> {
    if span.end.since(span.start) > NIGHTS_UP_TO {
        return Vec::new();
    }
    let around = span.start.minus(Span::from_h(24))..span.end.plus(Span::from_h(24));
    let at = |wanted: &str| hours.every(&around, 1).into_iter().filter(move |t| hours.clock(*t) == wanted).collect();
    let (evenings, mornings): (Vec<Timestamp>, Vec<Timestamp>) = (at(NIGHT.0), at(NIGHT.1));
    let night = |evening: Timestamp| {
        let morning = mornings.iter().copied().find(|m| *m > evening)?;
        Some((part(evening, span), part(morning, span))).filter(|(from, to)| to > from)
    };
    evenings.into_iter().filter_map(night).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::views::hours::moment;
    use jiff::tz::TimeZone;

    /// Clocks went forward in Lisbon on 2026-03-29, which has 23 hours (IANA tz database).
    #[test]
    fn days_on_the_axis_are_as_long_as_they_were_and_nights_begin_at_their_hour() {
        let at = |text: &str| moment(text, Timestamp::from_unix_ms(0)).unwrap();
        let hours = Hours::new(TimeZone::get("Europe/Lisbon").unwrap());
        let span = at("2026-03-27T00:00:00Z")..at("2026-03-31T23:00:00Z");
        let whole_h = 119.0;
        let ticks = ticks(&span, &hours);
        let days: Vec<&Tick> = ticks.iter().filter(|t| t.major).collect();
        let labels: Vec<_> = days.iter().map(|t| t.label.as_str()).collect();
        assert_eq!(labels, ["Fri 27", "Sat 28", "Sun 29", "Mon 30", "Tue 31"]);
        let lengths: Vec<i64> = days.windows(2).map(|d| ((d[1].at - d[0].at) * whole_h).round() as i64).collect();
        assert_eq!(lengths, [24, 24, 23, 24]);
        // From 21 to 7: ten hours, nine in the night in which an hour is left out.
        let nights: Vec<i64> = nights(&span, &hours).iter().map(|n| ((n.1 - n.0) * whole_h).round() as i64).collect();
        assert_eq!(nights, [7, 10, 9, 10, 10, 3]);
    }

    #[test]
    fn a_year_is_ticked_by_months() {
        let at = |text: &str| moment(text, Timestamp::from_unix_ms(0)).unwrap();
        let hours = Hours::new(TimeZone::UTC);
        let ticks = ticks(&(at("2025-11-25T00:00:00Z")..at("2026-11-25T00:00:00Z")), &hours);
        assert_eq!(ticks.len(), 12);
        assert_eq!((ticks[0].label.as_str(), ticks[1].label.as_str()), ("Dec", "2026"));
    }
}
