//! A span row by row, and in at most three sentences: how it was, what changed, what to do.
use super::hours::Hours;
use super::past::{Past, Seen};
use super::span::{Kind, rows};
use super::stands::DOUBT_K;
use super::week::extent;
use super::words;
use crate::times::length;
use dashboards::{DayRow, Mark, MarkKind, Tone, Z90, alarm_words, capital, say};
use enclosure::nest::Found;
use enclosure::rival::Mode;
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
/// What is known for less than this part of a time says little of it: it is not compared without a word ...
const COMPARED_KNOWN: f64 = 0.5;
/// ... and below this not at all.
const COMPARED_LEAST: f64 = 0.1;
/// So much that was found later of the mats is told one by one.
const FOUND_MOST: usize = 3;

/// A span as a table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What a row covers.
    pub name: String,
    /// Rows.
    pub rows: Vec<DayRow>,
    /// All in one.
    pub total: Option<DayRow>,
}

/// The table of the span; degree-days count above `base_c`.
pub fn table(past: &Past, (band, base_c): (Option<Band>, f64), hours: &Hours) -> Table {
    let found = rows(&past.span, hours);
    let label = |at: Timestamp| match found.kind {
        Kind::Day => hours.day(at),
        Kind::Week => say!("past-from-day", day = hours.day(at)),
        Kind::Month | Kind::Season | Kind::Year => hours.month(at),
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
        name: found.kind.label(),
        rows: found.starts.iter().enumerate().filter_map(one).collect(),
        total: of(past.span.start, past.span.end, say!("past-total")),
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
        degree_days: (!brood.is_empty()).then(|| degree_days(&brood, base_c, step_h / 24.0)),
    })
}

/// Degree-days, K·d: the area between the course of the warmth and `base_c` where it lies above, from samples of
/// `step_d` days each. That area is what the methods by a day's lowest and highest estimate (Baskerville & Emin 1969,
/// Ecology 50: 514); here the course itself is known.
fn degree_days(course_c: &[f64], base_c: f64, step_d: f64) -> f64 {
    course_c.iter().map(|c| (c - base_c).max(0.0)).sum::<f64>() * step_d
}

/// The brood place's mean, °C, where it is known well enough to be held against a band.
fn well_known(s: &Seen) -> Option<f64> {
    s.brood_c.filter(|(mean, sd)| mean.is_finite() && sd * Z90 <= DOUBT_K).map(|b| b.0)
}

/// Parts of the samples with a brood place whose mean lies in the band, below it and above it; of those that are known
/// well enough, and nothing where most are not.
fn in_band(seen: &[&Seen], band: Option<Band>) -> Option<(f64, f64, f64)> {
    let band = band?;
    let (mut below, mut above, mut all) = (0_u32, 0_u32, 0_u32);
    if doubtful(seen) {
        return None;
    }
    for mean in seen.iter().filter_map(|s| well_known(s)) {
        all += 1;
        below += u32::from(mean < band.low_c);
        above += u32::from(mean > band.high_c);
    }
    let part = |n: u32| f64::from(n) / f64::from(all);
    (all > 0).then(|| (part(all - below - above), part(below), part(above)))
}

/// Whether the brood place is mostly known too badly to be held against a band.
fn doubtful(seen: &[&Seen]) -> bool {
    let (known, well) = seen
        .iter()
        .filter(|s| s.brood_c.is_some())
        .fold((0, 0), |(known, well), s| (known + 1, well + usize::from(well_known(s).is_some())));
    2 * well < known
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
        return vec![say!("past-unknown")];
    }
    // Before its first reading there was no nest to be heard.
    let before = past.began.map_or(0, |began| (0..past.samples.len()).take_while(|k| past.at(*k) < began).count());
    let silent = (past.samples.len() - known).saturating_sub(before);
    let unknown = Span::from_ms(past.step().ms().saturating_mul(silent as i64));
    let unknown_part = silent as f64 / (past.samples.len() - before).max(1) as f64;
    let mut how = warmth(past, band, hours).unwrap_or_else(|| say!("past-brood-unknown"));
    if unknown >= UNKNOWN_WORTH_SAYING {
        how = say!("past-gap", how = how, length = length(unknown));
    }
    if let Some(began) = past.began.filter(|began| *began > past.span.start) {
        how = say!("past-began", how = how, when = hours.dated(began));
    }
    let changed = match other {
        Some((other, name)) => against(past, other, name),
        None => within(past, still),
    };
    let changed = capital(&words::clauses(changed.into_iter().chain([matters(marks)])));
    let sentence = |clauses: String| say!("past-sentence", clauses = clauses);
    vec![sentence(how), sentence(changed), todo(past, band, still, (unknown, unknown_part))]
}

/// From what a span is drawn; empty where each moment is as it was believed then.
pub fn seen_how(past: &Past, hours: &Hours) -> String {
    if !past.hindsight {
        return String::new();
    }
    let found = |f: &Found| {
        let (from, until, mat) = (hours.dated(f.from), hours.dated(f.until), mat(past, f.pad));
        match f.mode {
            Mode::On => say!("past-found-on", mat = mat, from = from, until = until),
            Mode::Off => say!("past-found-off", mat = mat, from = from, until = until),
            Mode::Follow if f.feigned => say!("past-found-no-fault", mat = mat, from = from, until = until),
            Mode::Follow => say!("past-found-as-told", mat = mat, from = from, until = until),
        }
    };
    let mut said = vec![say!("past-hindsight")];
    let (feigned, true_ones): (Vec<&Found>, Vec<&Found>) = past.found.iter().partition(|f| f.feigned);
    said.extend(true_ones.into_iter().chain(feigned).take(FOUND_MOST).map(found));
    let more = past.found.len().saturating_sub(FOUND_MOST);
    if more > 0 {
        said.push(say!("past-found-more", count = more));
    }
    said.join(" ")
}

/// A mat of the nest; of several by its place.
fn mat(past: &Past, pad: usize) -> String {
    match past.nest.pads.get(pad).filter(|_| past.nest.pads.len() > 1) {
        Some(p) => {
            say!("past-mat-at", from_mm = format!("{:.0}", p.span.from_mm), to_mm = format!("{:.0}", p.span.to_mm))
        }
        None => say!("past-mat"),
    }
}

fn warmth(past: &Past, band: Option<Band>, hours: &Hours) -> Option<String> {
    let of = |s: &Seen| s.brood_c.map(|b| b.0).filter(|c| c.is_finite());
    let Some(all) = extent(past.samples.iter().flatten().filter_map(of)) else {
        let all = extent(past.samples.iter().flatten().flat_map(|s| s.mean_c.iter().map(|c| f64::from(*c))))?;
        return Some(say!("past-anywhere", low = format!("{:.1}", all.min), high = format!("{:.1}", all.max)));
    };
    let when = |c: f64| {
        let k = past.samples.iter().position(|s| s.as_ref().and_then(of).is_some_and(|v| (v - c).abs() < 1e-9))?;
        Some(hours.dated(past.at(k)))
    };
    let at = |c: f64| {
        let degrees = format!("{c:.1} °C");
        match when(c) {
            Some(when) => say!("past-extreme", degrees = degrees, when = when),
            None => degrees,
        }
    };
    let seen: Vec<&Seen> = past.samples.iter().flatten().collect();
    if doubtful(&seen) {
        let off = extent(seen.iter().filter_map(|s| s.brood_c).map(|b| b.1 * Z90)).map_or(f64::NAN, |p| p.mean);
        return Some(say!("past-brood-doubtful", mean = format!("{:.0}", all.mean), off = format!("{off:.0}")));
    }
    let (mean, low, high) = (format!("{:.1}", all.mean), at(all.min), at(all.max));
    Some(match in_band(&seen, band) {
        Some((p, ..)) => say!("past-brood-band", mean = mean, share = percent(p), low = low, high = high),
        None => say!("past-brood", mean = mean, low = low, high = high),
    })
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
        brood_c: of(&well_known),
        room_c: of(&|s| s.room_c),
        rh_pct: of(&|s| s.rh_pct),
        heat_w: of(&|s| Some(s.heat_w)),
    }
}

/// What differs from `was` to `is` of a nest with so many mats, in a few words; none where nothing does.
fn differences(was: &Means, is: &Means, mats: usize) -> Option<String> {
    let by = |a: Option<f64>, b: Option<f64>, least: f64| Some(b? - a?).filter(|d| d.abs() >= least);
    let (brood_k, room_k, damp_pct, heat_part) = CHANGE;
    let mut said = Vec::new();
    if let Some(k) = by(was.brood_c, is.brood_c, brood_k) {
        let by = format!("{:.1}", k.abs());
        said.push(if k > 0.0 { say!("past-brood-warmer", by = by) } else { say!("past-brood-cooler", by = by) });
    }
    if let Some(k) = by(was.room_c, is.room_c, room_k) {
        let by = format!("{:.1}", k.abs());
        said.push(if k > 0.0 { say!("past-room-warmer", by = by) } else { say!("past-room-cooler", by = by) });
    }
    if let Some(pct) = by(was.rh_pct, is.rh_pct, damp_pct) {
        let by = format!("{:.0}", pct.abs());
        said.push(if pct > 0.0 { say!("past-damper", by = by) } else { say!("past-drier", by = by) });
    }
    if let (Some(a), Some(b)) = (was.heat_w, is.heat_w)
        && a > 0.05
        && (b / a - 1.0).abs() >= heat_part
    {
        let by = format!("{:.0}", (b / a - 1.0).abs() * 100.0);
        let mats = mats as i64;
        said.push(if b > a {
            say!("past-heat-more", mats = mats, by = by)
        } else {
            say!("past-heat-less", mats = mats, by = by)
        });
    }
    (!said.is_empty()).then(|| words::listed(said))
}

/// For which part of the time something is known.
fn known_part(samples: &[Option<Seen>]) -> f64 {
    samples.iter().flatten().count() as f64 / samples.len().max(1) as f64
}

/// Its end against its beginning; nothing where one of them is hardly known, or where all is alike but what still is the
/// matter at the end: that began too late to show in a third of the span.
fn within(past: &Past, still: &[Alarm]) -> Option<String> {
    if past.span.end.since(past.span.start) < COMPARED_FROM {
        return None;
    }
    let third = past.samples.len() / 3;
    let (first, last) = (past.samples.get(..third)?, past.samples.get(past.samples.len() - third..)?);
    if [first, last].iter().any(|part| known_part(part) < COMPARED_KNOWN) {
        return None;
    }
    match differences(&means(first), &means(last), past.nest.pads.len()) {
        Some(changes) => Some(say!("past-towards-end", changes = changes)),
        None => still.is_empty().then(|| say!("past-little-changed")),
    }
}

/// All of it against all of something else.
fn against(past: &Past, other: &Past, name: &str) -> Option<String> {
    if other.samples.iter().all(Option::is_none) {
        return Some(say!("past-other-unknown", other = name));
    }
    let known = known_part(&other.samples);
    if known < COMPARED_LEAST {
        return Some(say!("past-other-hardly", other = name, share = percent(known)));
    }
    let partly = say!("past-other-partly", other = name, share = percent(known));
    let name = if known < COMPARED_KNOWN { &partly } else { name };
    Some(match differences(&means(&other.samples), &means(&past.samples), past.nest.pads.len()) {
        Some(changes) => say!("past-against", other = name, changes = changes),
        None => say!("past-much-as", other = name),
    })
}

fn matters(marks: &[Mark]) -> String {
    let of = |tone| marks.iter().filter(|m| m.kind == MarkKind::Alarm(tone)).collect::<Vec<_>>();
    let all = [of(Tone::Danger), of(Tone::Warning), of(Tone::Advice)].concat();
    match all.as_slice() {
        [] => say!("past-no-alarm"),
        [one] => say!("past-one-alarm", when = &one.time_text, what = &one.text),
        [first, rest @ ..] => {
            say!("past-alarms", count = rest.len() + 1, when = &first.time_text, what = &first.text)
        }
    }
}

/// The first thing to do, or that there is none.
fn todo(past: &Past, band: Option<Band>, still: &[Alarm], (unknown, part): (Span, f64)) -> String {
    if let Some(alarm) = still.first() {
        let says = words::alarm(*alarm);
        let step = says.steps.into_iter().next().unwrap_or(says.means);
        return say!("past-todo-still", alarm = alarm_words(alarm.name()), step = step);
    }
    if part > UNKNOWN {
        return say!("past-todo-unknown", length = length(unknown));
    }
    match in_band(&past.samples.iter().flatten().collect::<Vec<_>>(), band) {
        Some((p, below, above)) if p < IN_BAND && below >= above => say!("past-todo-below", share = percent(below)),
        Some((p, _, above)) if p < IN_BAND => say!("past-todo-above", share = percent(above)),
        _ => say!("past-todo-nothing"),
    }
}

#[cfg(test)]
mod tests {
    use super::degree_days;

    const SAMPLES: usize = 1440;

    /// A day whose warmth runs as a sine from `low` to `high`.
    fn day((low, high): (f64, f64)) -> Vec<f64> {
        let turn = |k: usize| std::f64::consts::TAU * (k as f64 + 0.5) / SAMPLES as f64;
        (0..SAMPLES).map(|k| f64::midpoint(low, high) + (high - low) / 2.0 * turn(k).sin()).collect()
    }

    #[track_caller]
    fn check(ends: (f64, f64), above: f64, wanted: f64, within: f64) {
        let found = degree_days(&day(ends), above, 1.0 / SAMPLES as f64);
        assert!((found - wanted).abs() < within, "{ends:?} above {above}: {found}, not {wanted}");
    }

    /// A public library's worked day by the single-sine method: 34 to 60 °F above 50 °F gives 2.749 degree-days (°F).
    #[test]
    fn a_published_day_counts_as_published() {
        check((34.0, 60.0), 50.0, 2.749, 1e-3);
        // The same day in degrees Celsius has the same in kelvins: nothing depends on the scale's zero.
        let c = |f: f64| (f - 32.0) / 1.8;
        check((c(34.0), c(60.0)), c(50.0), 2.749 / 1.8, 1e-3);
    }

    /// The area above the threshold of a sine with mean M and half-range W: ((M − T)(π/2 − θ) + W cos θ)/π with
    /// θ = asin((T − M)/W) (Baskerville & Emin 1969, Ecology 50: 514); wholly above, the mean less T; wholly below, 0.
    #[test]
    fn a_day_that_runs_as_a_sine_counts_by_the_closed_form() {
        for (low, high) in [(5.0, 25.0), (8.0, 12.0), (20.0, 34.0), (22.0, 28.0), (2.0, 9.0), (10.0, 40.0)] {
            for above in [0.0, 10.0, 12.8, 21.0, 30.0] {
                let (m, w) = (f64::midpoint(low, high), (high - low) / 2.0);
                let theta = ((above - m) / w).clamp(-1.0, 1.0).asin();
                let part =
                    ((m - above) * (std::f64::consts::FRAC_PI_2 - theta) + w * theta.cos()) / std::f64::consts::PI;
                let wanted = if above <= low {
                    m - above
                } else if above >= high {
                    0.0
                } else {
                    part
                };
                check((low, high), above, wanted, 1e-3);
            }
        }
    }
}
