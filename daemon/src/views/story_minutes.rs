//! The minutes around an alarm: what the nest's probes said, and what its mats were told.
use super::events::part;
use super::hours::Hours;
use super::story::around;
use super::words::listed;
use crate::history::{HistoricReading, HistoryError, Reader};
use crate::shelf_file::sources;
use dashboards::{MOST_LINES, MOST_POINTS, MinuteLine, MinutesView, Tick, say};
use enclosure::shelf::Nest;
use enclosure::{Measured, Span, Timestamp};
use std::ops::Range;

/// Steps of the time axis, minutes.
const STEPS_MIN: [i64; 5] = [5, 10, 15, 30, 60];
/// Rows of the table.
const ROWS: i64 = 13;
/// A line breaks where nothing was said for so long.
const BREAK: Span = Span::from_min(15);

/// The picture of `nest` from before `raised` until after `ended`; none where nothing was said.
pub(super) fn minutes(
    reader: &Reader,
    (nest, levels): (&Nest, Vec<(f64, String)>),
    (raised, ended, now): (Timestamp, Option<Timestamp>, Timestamp),
    hours: &Hours,
) -> Result<Option<MinutesView>, HistoryError> {
    let span = around(raised, ended, now);
    let names: Vec<&str> = sources(nest).collect();
    let readings = reader.readings(Some(&names), span.clone())?;
    let lines: Vec<MinuteLine> = nest
        .probes
        .iter()
        .take(MOST_LINES)
        .map(|p| line(&p.source, &readings, &span))
        .filter(|l| !l.points.is_empty())
        .collect();
    if lines.is_empty() {
        return Ok(None);
    }
    let mut moments = vec![(part(raised, &span), say!("minutes-raised"))];
    moments.extend(ended.filter(|e| *e < span.end).map(|e| (part(e, &span), say!("minutes-over"))));
    Ok(Some(MinutesView {
        sentence: sentence(&lines, &span, raised, hours),
        title: say!("minutes-title", nest = &nest.id),
        caption: say!("minutes-caption"),
        table_words: say!("nest-numbers"),
        heads: (say!("minutes-time"), say!("minutes-told")),
        ticks: ticks(&span, hours),
        lines,
        levels,
        moments,
        drive: drive(nest, &readings, &span),
        hours: (0..ROWS).map(|i| hours.clock(at(&span, i))).collect(),
    }))
}

/// One of [`ROWS`] moments, evenly spread.
fn at(span: &Range<Timestamp>, i: i64) -> Timestamp {
    Timestamp::from_unix_ms(span.start.unix_ms() + span.end.since(span.start).ms() * i / (ROWS - 1))
}

fn line(source: &str, readings: &[HistoricReading], span: &Range<Timestamp>) -> MinuteLine {
    let own = readings.iter().filter(|r| *r.source == *source);
    let warmth: Vec<(Timestamp, f64)> = own
        .filter_map(|r| match r.measured {
            Measured::Temperature(c) => Some((r.at, c)),
            _ => None,
        })
        .collect();
    // What rises and falls between two kept points is lost to the eye, not to the table of alarms.
    let stride = warmth.len().div_ceil(MOST_POINTS / 2).max(1);
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut last: Option<Timestamp> = None;
    for (at, c) in warmth.into_iter().step_by(stride) {
        if last.is_some_and(|before| at.since(before) > BREAK) {
            points.push((part(at, span), f64::NAN));
        }
        points.push((part(at, span), c));
        last = Some(at);
    }
    MinuteLine { name: source.to_owned(), points }
}

/// What the first mat that reports was told, 0 to 1.
fn drive(nest: &Nest, readings: &[HistoricReading], span: &Range<Timestamp>) -> Vec<(f64, f64)> {
    let Some((pad, source)) = nest.pads.iter().find_map(|p| Some((p, p.drive.as_deref()?))) else { return Vec::new() };
    let told = |r: &HistoricReading| match r.measured {
        Measured::Duty(duty) => Some(duty),
        Measured::On(on) => Some(f64::from(u8::from(on))),
        Measured::Power(w) => Some((w / pad.rated_w).clamp(0.0, 1.0)),
        _ => None,
    };
    let own = readings.iter().filter(|r| *r.source == *source).filter_map(|r| Some((part(r.at, span), told(r)?)));
    let mut steps: Vec<(f64, f64)> = Vec::new();
    for (x, v) in own {
        if steps.last().is_none_or(|(_, before)| (before - v).abs() > 0.01) && steps.len() < MOST_POINTS {
            steps.push((x, v));
        }
    }
    steps
}

fn ticks(span: &Range<Timestamp>, hours: &Hours) -> Vec<Tick> {
    let length = span.end.since(span.start).ms() / 60_000;
    let step = STEPS_MIN.into_iter().find(|min| length / min <= 8).unwrap_or(60) * 60_000;
    let first = span.start.unix_ms().div_euclid(step) + 1;
    let ends = (first..first + 16).map(|i| Timestamp::from_unix_ms(i * step)).take_while(|t| *t < span.end);
    ends.map(|t| Tick { at: part(t, span), label: hours.clock(t), major: false }).collect()
}

fn sentence(lines: &[MinuteLine], span: &Range<Timestamp>, raised: Timestamp, hours: &Hours) -> String {
    let told = lines.iter().filter_map(|l| {
        let mut known = l.points.iter().map(|p| p.1).filter(|c| c.is_finite());
        let first = known.next()?;
        let last = known.next_back().unwrap_or(first);
        let (first, last) = (format!("{first:.1}"), format!("{last:.1}"));
        Some(say!("minutes-probe", probe = &l.name, first = first, last = last))
    });
    let (from, to, raised) = (hours.clock(span.start), hours.clock(span.end), hours.clock(raised));
    say!("minutes-sentence", from = from, to = to, probes = listed(told), raised = raised)
}
