//! A span of a nest's history as one picture: warmth over place and time, and under the same time axis what went with it.
use crate::heatmap::{Grid, image, isotherms};
use crate::pen::{Anchor, Canvas, LIMIT, PAPER, Pen, SOFT, look};
use crate::svg::{Scale, area_path, fit, line_path, number, spread, text_width, wrap};
use crate::week::{Lane, MOST_COLUMNS, MOST_MARKS, Mark, MarkKind, WeekView};

/// Most lanes drawn.
const MOST_LANES: usize = 8;
/// Most ticks and nights drawn.
const MOST_TICKS: usize = 120;
/// Height of a line of text, px.
const LINE_PX: f64 = 18.0;
/// Columns over which gaps are sought.
const GAP_COLUMNS: usize = 1400;

/// The picture standing alone, with title, sentences and the list of what happened: for mail and files.
pub fn heatmap_svg(week: &WeekView) -> String {
    draw(week, Canvas::Wide, true)
}

/// The picture alone at a given width, for a page that says the words itself.
pub fn heatmap_svg_on(week: &WeekView, canvas: Canvas) -> String {
    draw(week, canvas, false)
}

/// What the picture shows, in one sentence.
pub fn week_sentence(week: &WeekView) -> String {
    let known = week.map.columns.iter().filter(|c| c.is_some()).count();
    let part = 100.0 * known as f64 / week.map.columns.len().max(1) as f64;
    let (low, high) = (week.map.colour.low_c, week.map.colour.high_c);
    format!(
        "Warmth along {} over {}, colours from {} to {} °C, known for {} % of the time. {}",
        week.nest_name,
        week.span_text,
        number(low, 0),
        number(high, 0),
        number(part, 0),
        week.sentences.first().map_or("", String::as_str)
    )
}

struct Plate<'a> {
    week: &'a WeekView,
    canvas: Canvas,
    x: Scale,
    left: f64,
    right: f64,
    top: f64,
    map_foot: f64,
}

fn draw(week: &WeekView, canvas: Canvas, captions: bool) -> String {
    let mut pen = Pen::new("week", &week.nest_id, canvas);
    let head = if captions { caption(&mut pen, week) } else { 0.0 };
    let (left, right) = (canvas.pick(84.0, 66.0), canvas.width_px() - canvas.pick(84.0, 48.0));
    let top = head + 26.0;
    let x = Scale::new((0.0, 1.0), (left, right));
    let plate = Plate { week, canvas, x, left, right, top, map_foot: top + canvas.pick(210.0, 190.0) };
    let lanes_top = plate.map_foot + if week.marks.is_empty() { 8.0 } else { 34.0 };
    let pitch = plate.lane_height() + 28.0;
    let foot = lanes_top + pitch * week.lanes.len().min(MOST_LANES) as f64;

    plate.map(&mut pen);
    plate.places(&mut pen);
    plate.colours(&mut pen);
    plate.time(&mut pen, foot);
    for (i, lane) in week.lanes.iter().take(MOST_LANES).enumerate() {
        let lane_top = lanes_top + pitch * i as f64 + 22.0;
        plate.lane(&mut pen, lane, (lane_top, lane_top + plate.lane_height()));
    }
    plate.marks(&mut pen, foot);
    let mut height = foot + 28.0;
    if captions {
        height = mark_list(&mut pen, week, height);
    }
    let title = format!("{}, {}", week.nest_name, week.span_text);
    pen.finish((canvas.width_px(), height), &title, &week_sentence(week))
}

/// Title and sentences at the top; answers their height.
fn caption(pen: &mut Pen, week: &WeekView) -> f64 {
    let title = fit(&format!("{}, {}", week.nest_name, week.span_text), 19.0, 900.0);
    pen.text((16.0, 32.0), Anchor::Start, &format!(r#"{} font-size="19""#, look::letters()), &title);
    let mut y = 36.0;
    for line in week.sentences.iter().take(3).flat_map(|s| wrap(s, 124, 2)) {
        y += LINE_PX;
        pen.text((16.0, y), Anchor::Start, &look::letters(), &line);
    }
    y + 10.0
}

/// The marks in words; answers the new height.
fn mark_list(pen: &mut Pen, week: &WeekView, mut y: f64) -> f64 {
    for (i, mark) in week.marks.iter().take(MOST_MARKS).enumerate() {
        for (k, line) in wrap(&format!("{}: {}", mark.time_text, mark.text), 118, 2).iter().enumerate() {
            y += LINE_PX;
            if k == 0 {
                badge(pen, (26.0, y - 4.0), i + 1, mark);
            }
            pen.text((46.0, y), Anchor::Start, &look::letters(), line);
        }
        y += 4.0;
    }
    if week.marks.len() > MOST_MARKS {
        y += LINE_PX;
        let more = format!("and {} more", week.marks.len() - MOST_MARKS);
        pen.text((46.0, y), Anchor::Start, &look::soft_letters(), &more);
    }
    y + 14.0
}

/// The number of a mark: a disc for a note, a filled square for an alarm.
fn badge(pen: &mut Pen, (x, y): (f64, f64), number: usize, mark: &Mark) {
    let (paper, text) = match mark.kind {
        MarkKind::Note => {
            pen.dot((x, y), 8.0, &format!(r#"class="d-note" fill="{PAPER}" stroke="{SOFT}" stroke-width="1.3""#));
            (r#"class="d-ink""#, "#2a231b")
        }
        MarkKind::Alarm(_) => {
            pen.rect((x - 8.0, y - 8.0), (x + 8.0, y + 8.0), &format!(r#"rx="2" class="d-alarm" fill="{LIMIT}""#));
            (r#"class="d-alarm-ink""#, "#fff6e8")
        }
    };
    let look = format!(r#"{paper} fill="{text}" font-size="10.5""#);
    pen.text((x, y + 3.8), Anchor::Middle, &look, &number.to_string());
}

impl Plate<'_> {
    fn lane_height(&self) -> f64 {
        self.canvas.pick(66.0, 58.0)
    }

    fn map(&self, pen: &mut Pen) {
        let (week, hatch) = (self.week, pen.name("gap"));
        let (from, to) = ((self.left, self.top), (self.right, self.map_foot));
        pen.raw(&format!(
            r#"<defs><pattern id="{hatch}" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="d-hatch" x1="0" y1="0" x2="0" y2="7" stroke="{SOFT}" stroke-opacity="0.45" stroke-width="1.4"/></pattern></defs>"#
        ));
        pen.rect(from, to, &format!(r#"fill="url(#{hatch})""#));
        if let Some(address) = image(&week.map, week.length_mm) {
            let (w, h) = (self.right - self.left, self.map_foot - self.top);
            pen.raw(&format!(
                r#"<image class="d-cells" x="{}" y="{}" width="{w}" height="{h}" preserveAspectRatio="none" image-rendering="optimizeSpeed" href="{address}"/>"#,
                self.left, self.top
            ));
        }
        let most = self.canvas.pick(168.0, 84.0) as usize;
        let frame = ((self.left, self.right), (self.map_foot, self.top));
        for line in isotherms(&week.map, week.length_mm, most, frame) {
            let Some(colour) = week.map.colour.colour(line.at_c) else { continue };
            let ink = colour.ink();
            pen.path(&line.path, &format!(r#"fill="none" stroke="{ink}" stroke-width="0.9" stroke-opacity="0.8""#));
            if let Some((x, y)) = line.label {
                let look = format!(
                    r#"font-size="11" fill="{ink}" stroke="{}" stroke-width="4" paint-order="stroke" stroke-linejoin="round""#,
                    colour.hex()
                );
                pen.text((x, y + 4.0), Anchor::Middle, &look, &format!("{}°", number(line.at_c, 0)));
            }
        }
        self.gap_words(pen);
        pen.rect(from, to, &look::leader());
    }

    fn gap_words(&self, pen: &mut Pen) {
        let week = self.week;
        let middle = f64::midpoint(self.top, self.map_foot) + 4.0;
        if week.map.is_empty() {
            let x = f64::midpoint(self.left, self.right);
            pen.text((x, middle), Anchor::Middle, &look::halo_letters(), "nothing known");
            return;
        }
        for (from, to) in Grid::new(&week.map, week.length_mm, (GAP_COLUMNS, 8), true).gaps() {
            let (a, b) = (self.x.px(from), self.x.px(to));
            if b - a > 84.0 {
                pen.text((f64::midpoint(a, b), middle), Anchor::Middle, &look::halo_letters(), "no readings");
            }
        }
    }

    /// Axis in mm, and beside it where the mat and the brood lie.
    fn places(&self, pen: &mut Pen) {
        let y = Scale::new((0.0, self.week.length_mm), (self.map_foot, self.top));
        let ticks_x = self.left - 38.0;
        for mm in y.ticks(5.0) {
            pen.line((ticks_x + 2.0, y.px(mm)), (ticks_x + 5.0, y.px(mm)), &look::leader());
            pen.text((ticks_x, y.px(mm) + 4.0), Anchor::End, &look::soft_letters(), &number(mm, 0));
        }
        pen.text((ticks_x, self.top - 12.0), Anchor::End, &look::soft_letters(), "mm");
        let strip = |pen: &mut Pen, x: f64, span: (f64, f64), look: &str, name: &str| {
            let (low, high) = (y.px(span.0), y.px(span.1));
            pen.rect((x, high), (x + 12.0, low), look);
            if low - high > text_width(name, 10.0) + 1.0 {
                let (tx, ty) = (x + 9.5, f64::midpoint(low, high));
                let turn = format!(r#"transform="rotate(-90 {tx} {ty})" font-size="10" {}"#, look::letters());
                pen.text((tx, ty), Anchor::Middle, &turn, name);
            }
        };
        for mat in self.week.mats.iter().take(8) {
            let look = format!(r#"rx="2" {} fill-opacity="0.35""#, look::ember());
            strip(pen, self.left - 30.0, (mat.span.from_mm, mat.span.to_mm), &look, "mat");
        }
        if let Some(brood) = self.week.brood {
            strip(pen, self.left - 15.0, (brood.from_mm, brood.to_mm), &format!(r#"rx="2" {}"#, look::zone()), "brood");
            for mm in [brood.from_mm, brood.to_mm] {
                let (from, to) = ((self.left, y.px(mm)), (self.right, y.px(mm)));
                pen.line(from, to, r##"stroke="#1a1208" stroke-width="2.4" stroke-opacity="0.45""##);
                pen.line(from, to, r##"stroke="#fffaf0" stroke-width="1.2" stroke-dasharray="6 4""##);
            }
        }
        for mark in self.week.marks.iter().take(MOST_MARKS) {
            if let Some(mm) = mark.at_mm.filter(|mm| mm.is_finite()) {
                let egg = r##"class="d-egg" fill="#fffaf0" stroke="#1a1208" stroke-width="1.2""##;
                pen.dot((self.x.px(mark.at), y.px(mm)), 4.0, egg);
            }
        }
    }

    /// What the colours mean.
    fn colours(&self, pen: &mut Pen) {
        let range = self.week.map.colour;
        let x = self.right + self.canvas.pick(16.0, 9.0);
        let width = self.canvas.pick(14.0, 10.0);
        let steps = 48;
        let height = (self.map_foot - self.top) / f64::from(steps);
        for i in 0..steps {
            let colour = crate::colour::ramp((f64::from(i) + 0.5) / f64::from(steps));
            let bottom = self.map_foot - f64::from(i) * height;
            pen.rect((x, bottom - height - 0.4), (x + width, bottom), &format!(r#"fill="{}""#, colour.hex()));
        }
        let y = Scale::new((range.low_c, range.high_c), (self.map_foot, self.top));
        for c in y.ticks(6.0) {
            pen.text((x + width + 5.0, y.px(c) + 4.0), Anchor::Start, &look::soft_letters(), &number(c, 0));
        }
        pen.text((x + width + 5.0, self.top - 12.0), Anchor::Start, &look::soft_letters(), "°C");
    }

    /// Days above and below, and their lines through everything.
    fn time(&self, pen: &mut Pen, foot: f64) {
        let mut free_from = f64::NEG_INFINITY;
        for tick in self.week.ticks.iter().take(MOST_TICKS).filter(|t| (0.0..=1.0).contains(&t.at)) {
            let x = self.x.px(tick.at);
            if tick.major {
                pen.line((x, self.map_foot), (x, foot), &look::grid());
                pen.line((x, self.top - 5.0), (x, self.top), &look::leader());
            } else {
                pen.line((x, self.map_foot), (x, self.map_foot + 4.0), &look::leader());
            }
            let end = x + text_width(&tick.label, 12.5) + 6.0;
            if !tick.label.is_empty() && x >= free_from && end <= self.right + 20.0 {
                free_from = end;
                pen.text((x + 2.0, self.top - 10.0), Anchor::Start, &look::letters(), &tick.label);
                pen.text((x + 2.0, foot + 17.0), Anchor::Start, &look::letters(), &tick.label);
            }
        }
    }

    fn lane(&self, pen: &mut Pen, lane: &Lane, (top, foot): (f64, f64)) {
        for &(from, to) in self.week.nights.iter().take(MOST_TICKS) {
            let night = format!(r#"class="d-night" fill="{SOFT}" fill-opacity="0.09""#);
            pen.rect((self.x.px(from), top), (self.x.px(to), foot), &night);
        }
        let y = Scale::new(lane_span(lane), (foot, top));
        pen.line((self.left, foot), (self.right, foot), &look::grid());
        for v in y.ticks(3.6) {
            pen.line((self.left - 4.0, y.px(v)), (self.left, y.px(v)), &look::leader());
            pen.text((self.left - 7.0, y.px(v) + 4.0), Anchor::End, &look::soft_letters(), &number(v, decimals(&y)));
        }
        let mut edges: Vec<(f64, String)> = Vec::new();
        if let Some((low, high)) = lane.zone {
            pen.rect((self.left, y.px(high)), (self.right, y.px(low)), &look::zone());
            edges.extend([(high, number(high, 0)), (low, number(low, 0))]);
        }
        if let Some(limit) = lane.limit.filter(|l| l.is_finite()) {
            pen.line((self.left, y.px(limit)), (self.right, y.px(limit)), &look::limit());
            edges.push((limit, number(limit, 0) + if self.canvas == Canvas::Wide { " limit" } else { "" }));
        }
        let mut places: Vec<f64> = edges.iter().map(|e| y.px(e.0)).collect();
        spread(&mut places, 13.5, (top - 6.0, foot + 2.0));
        for ((_, text), at) in edges.iter().zip(places) {
            let text = fit(text, 12.5, self.canvas.width_px() - self.right - 8.0);
            pen.text((self.right + 6.0, at + 4.0), Anchor::Start, &look::soft_letters(), &text);
        }
        self.course(pen, lane, &y);
        let name = if lane.unit.is_empty() { lane.label.clone() } else { format!("{}, {}", lane.label, lane.unit) };
        let name = fit(&name, 12.5, self.canvas.width_px() - self.left);
        pen.text((self.left, top - 7.0), Anchor::Start, &look::letters(), &name);
    }

    /// The lane's values: shade from lowest to highest, and the mean as a line.
    fn course(&self, pen: &mut Pen, lane: &Lane, y: &Scale) {
        let count = lane.points.len();
        let step = count.div_ceil(self.canvas.pick(840.0, 320.0) as usize).max(1);
        let steps: Vec<_> =
            lane.points.iter().take(MOST_COLUMNS * 2).collect::<Vec<_>>().chunks(step).map(summary).collect();
        let at = |i: usize| self.x.px((i as f64 * step as f64 + step as f64 / 2.0) / count as f64);
        let area = steps
            .iter()
            .enumerate()
            .map(|(i, p)| p.map(|(low, _, high)| (at(i), y.px(high), y.px(if lane.filled { 0.0 } else { low }))));
        let shade = if lane.filled { format!(r#"{} fill-opacity="0.55""#, look::ember()) } else { look::doubt() };
        pen.path(&area_path(area), &shade);
        let line = steps.iter().enumerate().map(|(i, p)| p.map(|(_, mean, _)| (at(i), y.px(mean))));
        let look = look::curve().replace("2.2", "1.4");
        pen.path(&line_path(line), &look);
    }

    fn marks(&self, pen: &mut Pen, foot: f64) {
        let marks: Vec<_> = self.week.marks.iter().take(MOST_MARKS).collect();
        let y = self.map_foot + 19.0;
        let mut places: Vec<f64> = marks.iter().map(|m| self.x.px(m.at)).collect();
        spread(&mut places, 18.0, (self.left - 8.0, self.right + 8.0));
        for (i, (mark, place)) in marks.iter().zip(places).enumerate() {
            let x = self.x.px(mark.at);
            let alarm = matches!(mark.kind, MarkKind::Alarm(_));
            if let Some(until) = mark.until.filter(|_| alarm) {
                let bar = format!(r#"class="d-alarm" fill="{LIMIT}" fill-opacity="0.8""#);
                pen.rect((x, self.map_foot + 3.0), (self.x.px(until).max(x + 2.0), self.map_foot + 7.0), &bar);
            }
            let look = format!(
                r#"{} stroke-opacity="0.6" stroke-dasharray="{}""#,
                look::leader(),
                if alarm { "none" } else { "2 3" }
            );
            pen.line((x, self.map_foot), (x, foot), &look);
            pen.path(&line_path([Some((x, self.map_foot)), Some((place, y - 8.0))]), &look::leader());
            badge(pen, (place, y), i + 1, mark);
        }
    }
}

/// Lowest, mean and highest of a few neighbouring steps; none where more than half are gaps.
fn summary(points: &[&Option<crate::week::LanePoint>]) -> Option<(f64, f64, f64)> {
    let known: Vec<_> = points.iter().copied().flatten().filter(|p| p.mean.is_finite()).collect();
    if known.is_empty() || known.len() * 2 < points.len() {
        return None;
    }
    let low = known.iter().map(|p| p.min.min(p.mean)).fold(f64::INFINITY, f64::min);
    let high = known.iter().map(|p| p.max.max(p.mean)).fold(f64::NEG_INFINITY, f64::max);
    Some((low, known.iter().map(|p| p.mean).sum::<f64>() / known.len() as f64, high))
}

/// Lowest and highest of a lane's axis.
fn lane_span(lane: &Lane) -> (f64, f64) {
    let mut values: Vec<f64> = lane.points.iter().flatten().flat_map(|p| [p.min, p.mean, p.max]).collect();
    values.extend(lane.zone.iter().flat_map(|z| [z.0, z.1]));
    values.extend(lane.limit);
    if lane.filled {
        values.push(0.0);
    }
    values.retain(|v| v.abs() < 1e5);
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if low > high {
        return (0.0, 1.0);
    }
    let room = ((high - low) * 0.06).max(0.2);
    (if lane.filled { low } else { low - room }, high + room)
}

/// Decimals that tell neighbouring ticks apart.
fn decimals(scale: &Scale) -> usize {
    let ticks = scale.ticks(3.6);
    let step = ticks.windows(2).map(|w| w[1] - w[0]).fold(1.0, f64::min);
    usize::from(step < 0.99) + usize::from(step < 0.099)
}
