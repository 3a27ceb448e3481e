//! A span row by row, and in at most three sentences: how it was, what changed, what to do.
use super::hours::Hours;
use super::past::{Past, Seen};
use super::span::rows;
use super::week::extent;
use super::words;
use dashboards::{DayRow, Mark, MarkKind, Tone, alarm_words};
use enclosure::shelf::Band;
use enclosure::{Alarm, Span, Timestamp};

/// A part of the span shorter than this is not called unknown.
const UNKNOWN_WORTH_SAYING: Span = Span::from_h(1);
/// Beginning and end of a span are compared where it is at least so long.
const COMPARED_FROM: Span = Span::from_h(48);
/// Less than this is no change: K for brood place and room, %RH, and a part of the heat. Common practice, no source.
const CHANGE: (f64, f64, f64, f64) = (0.3, 0.5, 4.0, 0.1);
/// Below this part of the time in the band something is to be done about it.
const IN_BAND: f64 = 0.9;
/// Above this part of the time unknown, likewise.
const UNKNOWN: f64 = 0.1;

/// A span as a table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What a row covers.
    pub name: &'static str,
    /// Rows.
    pub rows: Vec<DayRow>,
    /// All in one.
    pub total: Option<DayRow>,
}

/// The table of the span; degree-days count above `base_c`.
pub fn table(past: &Past, (band, base_c): (Option<Band>, f64), hours: &Hours) -> Table {
    let found = rows(&past.span, hours);
    let label = |at: Timestamp| match found.name {
        "day" => hours.day(at),
        "week" => format!("from {}", hours.day(at)),
        _ => hours.month(at),
    };
    let of = |from: Timestamp, to: Timestamp, name: String| {
        let samples = (0..past.samples.len()).filter(|k| (from..to).contains(&past.at(*k)));
        row(past, (band, base_c), &samples.filter_map(|k| past.samples.get(k)).collect::<Vec<_>>(), name)
    };
    let one = |(i, start): (usize, &Timestamp)| {
        let end = found.starts.get(i + 1).copied().unwrap_or(past.span.end).min(past.span.end);
        of(*start, end, label(*start))
    };
    Table {
        name: found.name,
        rows: found.starts.iter().enumerate().filter_map(one).collect(),
        total: of(past.span.start, past.span.end, "all of it".to_owned()),
    }
}

/// `None` where the row has no sample of its own.
fn row(past: &Past, (band, base_c): (Option<Band>, f64), samples: &[&Option<Seen>], day: String) -> Option<DayRow> {
    let seen: Vec<&Seen> = samples.iter().filter_map(|s| s.as_ref()).collect();
    let known = (!samples.is_empty()).then(|| seen.len() as f64 / samples.len() as f64)?;
    let heat = extent(seen.iter().map(|s| s.heat_w));
    let step_h = past.step().s() / 3600.0;
    let brood: Vec<f64> = seen.iter().filter_map(|s| s.brood_c).map(|b| b.0).filter(|c| c.is_finite()).collect();
    Some(DayRow {
        day,
        brood_c: extent(brood.iter().copied()),
        in_band: in_band(&seen, band).map(|p| p.0),
        known,
        room_c: extent(seen.iter().filter_map(|s| s.room_c)),
        heat_wh: heat.filter(|_| !past.nest.pads.is_empty()).map(|h| h.mean * step_h * seen.len() as f64),
        degree_days: (!brood.is_empty())
            .then(|| brood.iter().map(|c| (c - base_c).max(0.0)).sum::<f64>() * step_h / 24.0),
    })
}

/// Parts of the samples with a brood place whose mean lies in the band, below it and above it.
fn in_band(seen: &[&Seen], band: Option<Band>) -> Option<(f64, f64, f64)> {
    let band = band?;
    let (mut below, mut above, mut all) = (0_u32, 0_u32, 0_u32);
    for (mean, _) in seen.iter().filter_map(|s| s.brood_c) {
        all += 1;
        below += u32::from(mean < band.low_c);
        above += u32::from(mean > band.high_c);
    }
    let part = |n: u32| f64::from(n) / f64::from(all);
    (all > 0).then(|| (part(all - below - above), part(below), part(above)))
}

/// How it was and what is not known; what changed and what was the matter; what to do.
pub fn sentences(
    past: &Past,
    band: Option<Band>,
    (marks, still): (&[Mark], &[Alarm]),
    other: Option<(&Past, &str)>,
    hours: &Hours,
) -> Vec<String> {
    let known = past.samples.iter().flatten().count();
    if known == 0 {
        return vec!["Nothing is known of this time: no reading that was believed is stored.".to_owned()];
    }
    let unknown = Span::from_ms(past.step().ms().saturating_mul((past.samples.len() - known) as i64));
    let unknown_part = 1.0 - known as f64 / past.samples.len() as f64;
    let how = warmth(past, band, hours).unwrap_or_else(|| "Where the brood lay is not known".to_owned());
    let gap =
        if unknown >= UNKNOWN_WORTH_SAYING { format!("; of {unknown} of it nothing is known") } else { String::new() };
    let changed = match other {
        Some((other, name)) => against(past, other, name),
        None => within(past),
    };
    let changed = changed.map_or_else(|| matters(marks), |said| format!("{said}; {}", matters(marks)));
    vec![format!("{how}{gap}."), format!("{}.", capital(&changed)), todo(past, band, still, (unknown, unknown_part))]
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

fn warmth(past: &Past, band: Option<Band>, hours: &Hours) -> Option<String> {
    let of = |s: &Seen| s.brood_c.map(|b| b.0).filter(|c| c.is_finite());
    let Some(all) = extent(past.samples.iter().flatten().filter_map(of)) else {
        let all = extent(past.samples.iter().flatten().flat_map(|s| s.mean_c.iter().map(|c| f64::from(*c))))?;
        return Some(format!("Anywhere in the nest it was between {:.1} and {:.1} °C", all.min, all.max));
    };
    let when = |c: f64| {
        let k = past.samples.iter().position(|s| s.as_ref().and_then(of).is_some_and(|v| (v - c).abs() < 1e-9))?;
        Some(hours.dated(past.at(k)))
    };
    let at = |c: f64| when(c).map_or(String::new(), |t| format!(" ({t})"));
    let (low, high) = (format!("{:.1} °C{}", all.min, at(all.min)), format!("{:.1} °C{}", all.max, at(all.max)));
    let share = in_band(&past.samples.iter().flatten().collect::<Vec<_>>(), band)
        .map_or(String::new(), |(p, ..)| format!(", within the band {} of the known time", percent(p)));
    Some(format!("The brood place was at {:.1} °C on average{share}; coolest {low}, warmest {high}", all.mean))
}

/// Not rounded up to all or down to nothing.
fn percent(p: f64) -> String {
    let pct = (p * 100.0).round();
    let pct = if p < 1.0 { pct.min(99.0) } else { pct };
    let pct = if p > 0.0 { pct.max(1.0) } else { pct };
    format!("{pct:.0} %")
}

/// Means of brood place, room, humidity and heat.
struct Means {
    brood_c: Option<f64>,
    room_c: Option<f64>,
    rh_pct: Option<f64>,
    heat_w: Option<f64>,
}

fn means(samples: &[Option<Seen>]) -> Means {
    let of = |value: &dyn Fn(&Seen) -> Option<f64>| extent(samples.iter().flatten().filter_map(value)).map(|p| p.mean);
    Means {
        brood_c: of(&|s| s.brood_c.map(|b| b.0)),
        room_c: of(&|s| s.room_c),
        rh_pct: of(&|s| s.rh_pct),
        heat_w: of(&|s| Some(s.heat_w)),
    }
}

/// What differs from `was` to `is`, in a few words; none where nothing does.
fn differences(was: &Means, is: &Means) -> Option<String> {
    let by = |a: Option<f64>, b: Option<f64>, least: f64| Some(b? - a?).filter(|d| d.abs() >= least);
    let (brood_k, room_k, damp_pct, heat_part) = CHANGE;
    let warmer = |k: f64| if k > 0.0 { "warmer" } else { "cooler" };
    let mut said = Vec::new();
    if let Some(k) = by(was.brood_c, is.brood_c, brood_k) {
        said.push(format!("the brood place was {:.1} K {}", k.abs(), warmer(k)));
    }
    if let Some(k) = by(was.room_c, is.room_c, room_k) {
        said.push(format!("the room {:.1} K {}", k.abs(), warmer(k)));
    }
    if let Some(pct) = by(was.rh_pct, is.rh_pct, damp_pct) {
        said.push(format!("the nest {} by {:.0} %RH", if pct > 0.0 { "damper" } else { "drier" }, pct.abs()));
    }
    if let (Some(a), Some(b)) = (was.heat_w, is.heat_w)
        && a > 0.05
        && (b / a - 1.0).abs() >= heat_part
    {
        said.push(format!("the mat gave {:.0} % {}", (b / a - 1.0).abs() * 100.0, if b > a { "more" } else { "less" }));
    }
    (!said.is_empty()).then(|| said.join(", "))
}

/// Its end against its beginning.
fn within(past: &Past) -> Option<String> {
    if past.span.end.since(past.span.start) < COMPARED_FROM {
        return None;
    }
    let third = past.samples.len() / 3;
    let (first, last) = (means(past.samples.get(..third)?), means(past.samples.get(past.samples.len() - third..)?));
    Some(match differences(&first, &last) {
        Some(said) => format!("towards the end, against the beginning, {said}"),
        None => "little changed from beginning to end".to_owned(),
    })
}

/// All of it against all of something else.
fn against(past: &Past, other: &Past, name: &str) -> Option<String> {
    if other.samples.iter().all(Option::is_none) {
        return Some(format!("of {name} nothing is known"));
    }
    Some(match differences(&means(&other.samples), &means(&past.samples)) {
        Some(said) => format!("against {name} {said}"),
        None => format!("it was much as {name}"),
    })
}

fn matters(marks: &[Mark]) -> String {
    let of = |tone| marks.iter().filter(|m| m.kind == MarkKind::Alarm(tone)).collect::<Vec<_>>();
    let all = [of(Tone::Danger), of(Tone::Warning), of(Tone::Advice)].concat();
    match all.as_slice() {
        [] => "no alarm was raised".to_owned(),
        [one] => format!("one alarm: {}, {}", one.time_text, one.text),
        [first, rest @ ..] => format!("{} alarms, the gravest: {}, {}", rest.len() + 1, first.time_text, first.text),
    }
}

/// The first thing to do, or that there is none.
fn todo(past: &Past, band: Option<Band>, still: &[Alarm], (unknown, part): (Span, f64)) -> String {
    if let Some(alarm) = still.first() {
        let step = words::alarm(*alarm).steps.first().copied().unwrap_or("Look at the nest.");
        let step = step.trim_end_matches('.');
        return format!("To do: {} was still so at the end: {step}.", quoted(*alarm));
    }
    if part > UNKNOWN {
        return format!("To do: find out why nothing was heard for {unknown}, where the picture is hatched.");
    }
    match in_band(&past.samples.iter().flatten().collect::<Vec<_>>(), band) {
        Some((p, below, above)) if p < IN_BAND && below >= above => format!(
            "To do: it was below the band for {} of the time; look at the thermostat's setting, and at how cool the room gets.",
            percent(below)
        ),
        Some((p, _, above)) if p < IN_BAND => format!(
            "To do: it was above the band for {} of the time; look at the thermostat's setting, and at sun and room.",
            percent(above)
        ),
        _ => "Nothing asks to be done.".to_owned(),
    }
}

fn quoted(alarm: Alarm) -> String {
    format!("\u{201c}{}\u{201d}", alarm_words(alarm.name()))
}
