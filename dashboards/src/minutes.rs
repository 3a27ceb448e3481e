//! Some minutes of a nest: what its probes said, drawn as lines over time, with the limits and the moments that count.
//! Lines differ by their dashes and by a name at their end, never by colour alone.
use crate::pen::{Anchor, Canvas, INK, Pen, look};
use crate::sheet::{Cell, Table};
use crate::svg::{Scale, celsius, line_path, number, spread, text_width};
use crate::week::Tick;

/// Most lines drawn, and most points of each.
pub const MOST_LINES: usize = 8;
/// See [`MOST_LINES`].
pub const MOST_POINTS: usize = 600;
/// Rows of the table.
const TABLE_ROWS: usize = 13;
/// Dashes of the lines, in order: all can be told apart without colour.
const DASHES: [&str; MOST_LINES] = ["none", "9 3", "2 3", "12 3 2 3", "5 5", "1 5", "16 4", "8 3 2 3 2 3"];

/// Values over some minutes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MinutesView {
    /// What it shows.
    pub title: String,
    /// The same in one sentence.
    pub sentence: String,
    /// What the lines and signs mean.
    pub caption: String,
    /// What its table is called.
    pub table_words: String,
    /// Heads of the table's first column, of the drive's and of the rest: time, and what the mat was told.
    pub heads: (String, String),
    /// Hours on its axis.
    pub ticks: Vec<Tick>,
    /// The lines, at most [`MOST_LINES`].
    pub lines: Vec<MinuteLine>,
    /// Level lines: °C and what each is.
    pub levels: Vec<(f64, String)>,
    /// Moments: part of the span, 0 to 1, and what happened.
    pub moments: Vec<(f64, String)>,
    /// What the mat was told, 0 to 1, by part of the span; each holds until the next.
    pub drive: Vec<(f64, f64)>,
    /// Names for parts of the span, for the table: evenly spread, first to last.
    pub hours: Vec<String>,
}

/// One probe's line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MinuteLine {
    /// Its name.
    pub name: String,
    /// Part of the span, 0 to 1, and °C; NaN breaks the line.
    pub points: Vec<(f64, f64)>,
}

impl MinutesView {
    /// The same as a table.
    pub(crate) fn table(&self) -> Table {
        let lines = || self.lines.iter().take(MOST_LINES);
        let mut columns = vec![self.heads.0.clone()];
        columns.extend(lines().map(|l| l.name.clone()));
        if !self.drive.is_empty() {
            columns.push(self.heads.1.clone());
        }
        let count = self.hours.len().min(TABLE_ROWS);
        let row = |i: usize| {
            let at = if count > 1 { i as f64 / (count - 1) as f64 } else { 1.0 };
            let mut row = vec![Cell::of(self.hours[i].clone())];
            row.extend(lines().map(|l| Cell::of(l.at(at).map_or("–".to_owned(), celsius))));
            if !self.drive.is_empty() {
                let told = self.drive.iter().rev().find(|(x, _)| *x <= at).map(|d| d.1);
                row.push(Cell::of(told.map_or("–".to_owned(), |d| format!("{} %", number(d * 100.0, 0)))));
            }
            row
        };
        let rows = if self.lines.is_empty() { Vec::new() } else { (0..count).map(row).collect() };
        Table { caption: self.title.clone(), columns, rows, empty: String::new() }
    }
}

impl MinuteLine {
    /// The last value at or before a part of the span, if it is no older than a tenth of it.
    fn at(&self, part: f64) -> Option<f64> {
        let near = self.points.iter().rev().find(|(x, _)| *x <= part + 1e-9)?;
        (near.1.is_finite() && part - near.0 <= 0.1).then_some(near.1)
    }
}

/// The picture.
pub(crate) fn minutes_svg_on(view: &MinutesView, canvas: Canvas) -> String {
    let (left, right) = (canvas.pick(46.0, 34.0), canvas.width_px() - canvas.pick(140.0, 84.0));
    let (top, foot) = (34.0, canvas.pick(270.0, 230.0));
    let mut pen = Pen::new("minutes", "alarm", canvas);
    let x = Scale::new((0.0, 1.0), (left, right));
    let y = Scale::new(span_c(view), (foot, top));
    for t in y.ticks(canvas.pick(6.0, 5.0)) {
        pen.line((left, y.px(t)), (right, y.px(t)), &look::grid());
        pen.text((left - 7.0, y.px(t) + 4.0), Anchor::End, &look::soft_letters(), &number(t, 0));
    }
    pen.text((left - 7.0, top - 12.0), Anchor::End, &look::soft_letters(), "°C");
    for (c, what) in view.levels.iter().filter(|(c, _)| y.holds(*c)) {
        pen.line((left, y.px(*c)), (right, y.px(*c)), &look::limit());
        pen.text((left + 4.0, y.px(*c) - 5.0), Anchor::Start, &look::halo_letters(), what);
    }
    let base = drive(&mut pen, view, &x, foot);
    ticks(&mut pen, view, &x, (top, base));
    moments(&mut pen, view, &x, (top, base));
    lines(&mut pen, view, (&x, &y), (right, top, foot));
    pen.finish((canvas.width_px(), base + 26.0), &view.title, &view.sentence)
}

/// Lowest and highest of everything drawn, with some air.
fn span_c(view: &MinutesView) -> (f64, f64) {
    let all = view.lines.iter().flat_map(|l| l.points.iter().map(|p| p.1)).chain(view.levels.iter().map(|l| l.0));
    let ends = all.filter(|v| v.is_finite()).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    if ends.0 > ends.1 { (15.0, 35.0) } else { ((ends.0 - 0.6).floor(), (ends.1 + 0.6).ceil()) }
}

/// What the mat was told, below the lines; returns the foot of all.
fn drive(pen: &mut Pen, view: &MinutesView, x: &Scale, foot: f64) -> f64 {
    if view.drive.is_empty() {
        return foot;
    }
    let (high, low) = (foot + 14.0, foot + 34.0);
    let y = Scale::new((0.0, 1.0), (low, high));
    let ends = view.drive.iter().skip(1).map(|d| d.0).chain([1.0]);
    for ((from, told), to) in view.drive.iter().zip(ends) {
        if *told > 0.0 {
            pen.rect((x.px(*from), y.px(*told)), (x.px(to), low), &look::ember());
        }
    }
    pen.line((x.px(0.0), low), (x.px(1.0), low), &look::leader());
    pen.text((x.px(1.0) + 8.0, low - 4.0), Anchor::Start, &look::soft_letters(), &view.heads.1);
    low
}

fn ticks(pen: &mut Pen, view: &MinutesView, x: &Scale, (top, base): (f64, f64)) {
    let mut until = f64::NEG_INFINITY;
    for t in &view.ticks {
        let at = x.px(t.at);
        pen.line((at, top), (at, base), &look::grid());
        let half = text_width(&t.label, 12.5) / 2.0;
        if at - half > until {
            pen.text((at, base + 18.0), Anchor::Middle, &look::soft_letters(), &t.label);
            until = at + half + 8.0;
        }
    }
}

fn moments(pen: &mut Pen, view: &MinutesView, x: &Scale, (top, base): (f64, f64)) {
    let mut until = f64::NEG_INFINITY;
    for (part, what) in &view.moments {
        let at = x.px(*part);
        pen.line((at, top - 6.0), (at, base), &format!(r#"class="d-curve" stroke="{INK}" stroke-width="1.2""#));
        let width = text_width(what, 12.5);
        let start = (at + 4.0).min(x.px(1.0) + 80.0 - width);
        if start > until {
            pen.text((start, top - 10.0), Anchor::Start, &look::halo_letters(), what);
            until = start + width + 8.0;
        }
    }
}

fn lines(pen: &mut Pen, view: &MinutesView, (x, y): (&Scale, &Scale), (right, top, foot): (f64, f64, f64)) {
    let drawn: Vec<&MinuteLine> = view.lines.iter().take(MOST_LINES).collect();
    for (line, dash) in drawn.iter().zip(DASHES) {
        let points = line.points.iter().take(MOST_POINTS).map(|(px, c)| c.is_finite().then(|| (x.px(*px), y.px(*c))));
        let look = format!(
            r#"class="d-curve" fill="none" stroke="{INK}" stroke-width="2" stroke-linejoin="round" stroke-dasharray="{dash}""#
        );
        pen.path(&line_path(points), &look);
    }
    let last = |l: &MinuteLine| l.points.iter().rev().find(|p| p.1.is_finite()).map(|p| y.px(p.1));
    let mut ends: Vec<(f64, &str)> = drawn.iter().filter_map(|l| Some((last(l)?, l.name.as_str()))).collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut places: Vec<f64> = ends.iter().map(|e| e.0).collect();
    spread(&mut places, 15.0, (top, foot));
    for (place, (_, name)) in places.iter().zip(&ends) {
        pen.text((right + 8.0, place + 4.0), Anchor::Start, &look::letters(), &short(name));
    }
}

/// What tells a probe from its neighbours: the name after the node's.
fn short(name: &str) -> String {
    name.rsplit(':').next().unwrap_or(name).chars().take(16).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn view() -> MinutesView {
        let line = |name: &str, c: f64| MinuteLine {
            name: name.to_owned(),
            points: (0..60).map(|i| (f64::from(i) / 59.0, c + f64::from(i) * 0.05)).collect(),
        };
        MinutesView {
            title: "oak".to_owned(),
            lines: vec![line("n:warm", 27.0), line("n:cool", 22.0)],
            levels: vec![(33.0, "limit 33 °C".to_owned())],
            moments: vec![(0.5, "raised".to_owned())],
            drive: vec![(0.0, 0.0), (0.4, 1.0)],
            hours: (0..13).map(|i| format!("03:{i:02}")).collect(),
            ..MinutesView::default()
        }
    }

    #[test]
    fn the_table_says_what_the_lines_show() {
        let table = view().table();
        assert_eq!(table.columns.len(), 4);
        assert_eq!(table.rows.len(), TABLE_ROWS);
        let texts = |row: &[Cell]| row.iter().map(|c| c.text.clone()).collect::<Vec<_>>();
        assert_eq!(texts(&table.rows[0]), ["03:00", "27.0", "22.0", "0 %"]);
        assert_eq!(texts(&table.rows[12])[3], "100 %");
    }

    #[test]
    fn no_number_is_too_wild_to_be_drawn() {
        for c in [f64::NAN, f64::INFINITY, -1e300] {
            let mut wild = view();
            wild.lines[0].points[3].1 = c;
            wild.levels.push((c, "x".to_owned()));
            wild.moments.push((c, "<b>".to_owned()));
            wild.drive.push((c, c));
            let svg = minutes_svg_on(&wild, Canvas::Narrow);
            assert!(!svg.contains("NaN") && !svg.contains("inf") && !svg.contains("<b>"), "{svg}");
        }
    }

    #[test]
    fn lines_differ_without_colour() {
        let unique: std::collections::BTreeSet<_> = DASHES.iter().collect();
        assert_eq!(unique.len(), MOST_LINES);
    }
}
