//! A span day by day, and in at most three sentences.
use super::hours::Hours;
use super::past::{Past, Seen};
use super::week::{DAYS_MAX, extent};
use dashboards::{DayRow, Mark, MarkKind, Tone};
use enclosure::shelf::Band;
use enclosure::{Span, Timestamp};

/// A part of the span shorter than this is not called unknown.
const UNKNOWN_WORTH_SAYING: Span = Span::from_h(1);

/// The days of the span.
pub fn days(past: &Past, band: Option<Band>, hours: &Hours) -> Vec<DayRow> {
    let starts = hours.days(&past.span, DAYS_MAX);
    let row = |(i, start): (usize, &Timestamp)| {
        let end = starts.get(i + 1).copied().unwrap_or(past.span.end).min(past.span.end);
        let samples = (0..past.samples.len()).filter(|k| (*start..end).contains(&past.at(*k)));
        day(past, band, &samples.filter_map(|k| past.samples.get(k)).collect::<Vec<_>>(), hours.day(*start))
    };
    starts.iter().enumerate().filter_map(row).collect()
}

/// `None` where the day has no sample of its own.
fn day(past: &Past, band: Option<Band>, samples: &[&Option<Seen>], day: String) -> Option<DayRow> {
    let seen: Vec<&Seen> = samples.iter().filter_map(|s| s.as_ref()).collect();
    let known = (!samples.is_empty()).then(|| seen.len() as f64 / samples.len() as f64)?;
    let heat = extent(seen.iter().map(|s| s.heat_w));
    let heated_h = past.step().s() / 3600.0 * seen.len() as f64;
    Some(DayRow {
        day,
        brood_c: extent(seen.iter().filter_map(|s| s.brood_c).map(|b| b.0)),
        in_band: in_band(&seen, band),
        known,
        room_c: extent(seen.iter().filter_map(|s| s.room_c)),
        heat_wh: heat.filter(|_| !past.nest.pads.is_empty()).map(|h| h.mean * heated_h),
    })
}

/// Part of the samples with a brood place whose mean lies in the band.
fn in_band(seen: &[&Seen], band: Option<Band>) -> Option<f64> {
    let band = band?;
    let (mut inside, mut all) = (0_u32, 0_u32);
    for (mean, _) in seen.iter().filter_map(|s| s.brood_c) {
        all += 1;
        inside += u32::from(mean >= band.low_c && mean <= band.high_c);
    }
    (all > 0).then(|| f64::from(inside) / f64::from(all))
}

/// How it went, what was the matter, what is not known.
pub fn sentences(past: &Past, band: Option<Band>, marks: &[Mark], hours: &Hours) -> Vec<String> {
    let known = past.samples.iter().flatten().count();
    if known == 0 {
        return vec!["Nothing is known of this time: no reading that was believed is stored.".to_owned()];
    }
    let mut out: Vec<String> = warmth(past, band, hours).into_iter().collect();
    out.push(matters(marks));
    let unknown = Span::from_ms(past.step().ms().saturating_mul((past.samples.len() - known) as i64));
    if unknown >= UNKNOWN_WORTH_SAYING {
        out.push(format!("Of {unknown} of it nothing is known."));
    }
    out
}

fn warmth(past: &Past, band: Option<Band>, hours: &Hours) -> Option<String> {
    let of = |s: &Seen| s.brood_c.map(|b| b.0).filter(|c| c.is_finite());
    let Some(all) = extent(past.samples.iter().flatten().filter_map(of)) else {
        let all = extent(past.samples.iter().flatten().flat_map(|s| s.mean_c.iter().map(|c| f64::from(*c))))?;
        return Some(format!("Anywhere in the nest it was between {:.1} and {:.1} °C.", all.min, all.max));
    };
    let when = |c: f64| {
        let k = past.samples.iter().position(|s| s.as_ref().and_then(of).is_some_and(|v| (v - c).abs() < 1e-9))?;
        Some(hours.dated(past.at(k)))
    };
    let at = |c: f64| when(c).map_or(String::new(), |t| format!(" ({t})"));
    let (low, high) = (format!("{:.1} °C{}", all.min, at(all.min)), format!("{:.1} °C{}", all.max, at(all.max)));
    let share = in_band(&past.samples.iter().flatten().collect::<Vec<_>>(), band).map_or(String::new(), |p| {
        // Not rounded up to all or down to nothing.
        let pct = (p * 100.0).round();
        let pct = if p < 1.0 { pct.min(99.0) } else { pct };
        let pct = if p > 0.0 { pct.max(1.0) } else { pct };
        format!(", within the band {pct:.0} % of the known time")
    });
    Some(format!("The brood place was at {:.1} °C on average{share}; coolest {low}, warmest {high}.", all.mean))
}

fn matters(marks: &[Mark]) -> String {
    let of = |tone| marks.iter().filter(|m| m.kind == MarkKind::Alarm(tone)).collect::<Vec<_>>();
    let all = [of(Tone::Danger), of(Tone::Warning), of(Tone::Advice)].concat();
    match all.as_slice() {
        [] => "No alarm was raised.".to_owned(),
        [one] => format!("One alarm: {}, {}.", one.time_text, one.text),
        [first, rest @ ..] => format!("{} alarms; the gravest: {}, {}.", rest.len() + 1, first.time_text, first.text),
    }
}
