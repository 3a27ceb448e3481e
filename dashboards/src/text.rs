//! A span of a nest's history for the terminal: warmth by characters, places up the side, days along the foot.
use crate::colour::{ColourRange, ramp};
use crate::heatmap::Grid;
use crate::say;
use crate::svg::number;
use crate::week::WeekView;
use crate::words::list_comma;
use std::fmt::Write as _;

/// Ten levels from cool to warm; more ink is warmer.
const LEVELS: [char; 10] = ['.', ':', '-', '=', '+', 'o', '*', '#', '%', '@'];
/// A gap: nothing is known.
const GAP: char = ' ';
/// Rows of the map.
const ROWS: usize = 16;
/// Width of what stands left of the map: `mm`, brood and mat marks.
const MARGIN: usize = 9;
/// Narrowest and widest whole, characters.
const WIDTHS: (usize, usize) = (40, 400);

/// How a terminal shows the map.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paint {
    /// Characters only.
    #[default]
    Plain,
    /// Characters upon 24-bit ANSI background colours.
    Ansi,
}

/// The span as text, `columns` characters wide (40 to 400).
pub fn week_text(week: &WeekView, columns: usize, paint: Paint) -> String {
    let width = columns.clamp(WIDTHS.0, WIDTHS.1) - MARGIN;
    let mut out = String::new();
    let _ = writeln!(out, "{}", plain(&list_comma(&[&week.nest_name, &week.span_text])));
    let seen_how = Some(&week.seen_how).filter(|how| !how.is_empty());
    for sentence in week.sentences.iter().take(3).chain(seen_how) {
        for line in crate::svg::wrap(&plain(sentence), width + MARGIN, 4) {
            let _ = writeln!(out, "{line}");
        }
    }
    out.push('\n');
    rows(&mut out, week, width, paint);
    let _ = writeln!(out, "{:MARGIN$}{}", "", foot(week, width));
    out.push('\n');
    scale(&mut out, week.map.colour, paint);
    marks_and_days(&mut out, week);
    out
}

/// Text without control characters: a name must not steer the terminal.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn rows(out: &mut String, week: &WeekView, width: usize, paint: Paint) {
    let grid = Grid::new(&week.map, week.length_mm, (width, ROWS), true);
    let count = grid.columns.len();
    for r in (0..ROWS).rev() {
        let mm = (r as f64 + 0.5) / ROWS as f64 * week.length_mm;
        let holds = |from: f64, to: f64| mm >= from && mm <= to;
        let brood = week.brood.is_some_and(|b| holds(b.from_mm, b.to_mm));
        let mat = week.mats.iter().any(|m| holds(m.span.from_mm, m.span.to_mm));
        let place: String = number(mm, 0).chars().take(5).collect();
        let _ = write!(out, "{place:>5} {}{} ", if mat { 'm' } else { ' ' }, if brood { 'B' } else { ' ' });
        for x in 0..width {
            let value = (count > 0).then(|| grid.columns[x * count / width][r]).flatten();
            cell(out, value, week.map.colour, paint);
        }
        if paint == Paint::Ansi {
            out.push_str("\x1b[0m");
        }
        out.push('\n');
    }
}

fn cell(out: &mut String, value: Option<f64>, range: ColourRange, paint: Paint) {
    let Some(part) = value.and_then(|v| range.part(v)) else {
        if paint == Paint::Ansi {
            out.push_str("\x1b[0m");
        }
        out.push(GAP);
        return;
    };
    if paint == Paint::Ansi {
        let colour = ramp(part);
        let ink = if colour.luminance() > 0.179 { 30 } else { 97 };
        let _ = write!(out, "\x1b[{ink};48;2;{};{};{}m", colour.0, colour.1, colour.2);
    }
    out.push(LEVELS[((part * LEVELS.len() as f64) as usize).min(LEVELS.len() - 1)]);
}

/// The time axis: every label that has room.
fn foot(week: &WeekView, width: usize) -> String {
    let mut line = vec![' '; width];
    let mut free = 0;
    for tick in week.ticks.iter().filter(|t| t.major && (0.0..=1.0).contains(&t.at)) {
        let start = (tick.at * width as f64) as usize;
        let label: Vec<char> = plain(&tick.label).chars().collect();
        if start >= free && start + label.len() < width {
            line[start] = '|';
            line[start + 1..=start + label.len()].copy_from_slice(&label);
            free = start + label.len() + 2;
        }
    }
    line.into_iter().collect()
}

fn scale(out: &mut String, range: ColourRange, paint: Paint) {
    let _ = write!(out, "{} °C ", number(range.low_c, 0));
    let step = (range.high_c - range.low_c) / LEVELS.len() as f64;
    for i in 0..LEVELS.len() {
        cell(out, Some(range.low_c + step * (i as f64 + 0.5)), range, paint);
    }
    if paint == Paint::Ansi {
        out.push_str("\x1b[0m");
    }
    let _ = writeln!(out, " {}", say!("span-text-scale", high = number(range.high_c, 0)));
    let _ = writeln!(out, "{}", say!("span-text-signs"));
}

fn marks_and_days(out: &mut String, week: &WeekView) {
    for mark in &week.marks {
        let _ = writeln!(out, "  {}: {}", plain(&mark.time_text), plain(&mark.text));
    }
    if week.days.is_empty() {
        return;
    }
    let heads = [say!("past-day"), say!("span-text-brood"), say!("span-in-band"), say!("span-known")];
    let [day, brood, in_band, known] = heads;
    let _ = writeln!(out, "\n{day:<16} {brood:>20} {in_band:>8} {known:>7}");
    for day in &week.days {
        let brood = day.brood_c.map_or_else(
            || "–".to_owned(),
            |b| format!("{} / {} / {}", number(b.min, 1), number(b.mean, 1), number(b.max, 1)),
        );
        let share = |p: f64| number(p * 100.0, 0) + " %";
        let in_band = day.in_band.map_or_else(|| "–".to_owned(), share);
        let name: String = plain(&day.day).chars().take(16).collect();
        let _ = writeln!(out, "{name:<16} {brood:>20} {in_band:>8} {:>7}", share(day.known));
    }
}
