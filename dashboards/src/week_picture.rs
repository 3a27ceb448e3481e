//! A span of a nest's history as one picture: warmth over place and time, and under the same time axis what went with it.
use crate::heatmap::{Grid, image, isotherms};
use crate::pen::{Anchor, Canvas, Pen, SOFT, look};
use crate::say;
use crate::svg::{Scale, fit, number, text_width, wrap};
use crate::week::{MOST_LISTED, MOST_MARKS, WeekView};
use crate::words::list_comma;

mod lanes;
mod marks;
use marks::badge;

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
    draw(week, Canvas::Wide, true).0
}

/// Several of them, one below the other, as one picture.
pub fn report_svg(weeks: &[WeekView]) -> String {
    let (mut body, mut height) = (String::new(), 0.0);
    for week in weeks {
        let (svg, high) = draw(week, Canvas::Wide, true);
        body += &svg.replacen("<svg ", &format!("<svg y=\"{height}\" "), 1);
        height += high;
    }
    let (width, height) = (Canvas::Wide.width_px(), height.max(1.0));
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">{body}</svg>"#
    )
}

/// The picture alone at a given width, for a page that says the words itself.
pub fn heatmap_svg_on(week: &WeekView, canvas: Canvas) -> String {
    draw(week, canvas, false).0
}

/// What the picture shows and how it was, in two sentences.
pub fn week_sentence(week: &WeekView) -> String {
    let how = week.sentences.first().map_or("", String::as_str);
    // Two sentences, each whole.
    format!("{} {how}", week_summary(week))
}

/// What the picture shows, in one sentence.
pub(crate) fn week_summary(week: &WeekView) -> String {
    let known = week.map.columns.iter().filter(|c| c.is_some()).count();
    let part = 100.0 * known as f64 / week.map.columns.len().max(1) as f64;
    let (low, high) = (week.map.colour.low_c, week.map.colour.high_c);
    say!(
        "span-sentence",
        nest = &week.nest_name,
        span = &week.span_text,
        low = number(low, 0),
        high = number(high, 0),
        known = number(part, 0),
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
    gaps: Vec<(f64, f64)>,
}

/// The frame of the picture, px: left and right edge of the time axis, top and foot of the map, foot of all; and the
/// whole's width. For whoever points at it.
pub fn heatmap_frame(week: &WeekView, canvas: Canvas) -> [f64; 6] {
    let plate = Plate::new(week, canvas, 0.0);
    [plate.left, plate.right, plate.top, plate.map_foot, plate.foot(), canvas.width_px()]
}

/// The picture and its height, px.
fn draw(week: &WeekView, canvas: Canvas, captions: bool) -> (String, f64) {
    let mut pen = Pen::new("week", &week.nest_id, canvas);
    let head = if captions { caption(&mut pen, week) } else { 0.0 };
    let plate = Plate::new(week, canvas, head);
    let foot = plate.foot();

    plate.map(&mut pen);
    plate.places(&mut pen);
    // Their halo keeps the bounds of the brood place off them.
    plate.gap_words(&mut pen);
    plate.colours(&mut pen);
    plate.time(&mut pen, foot);
    for (i, lane) in week.lanes.iter().take(MOST_LANES).enumerate() {
        let lane_top = plate.lanes_top() + plate.pitch() * i as f64 + 22.0;
        plate.lane(&mut pen, lane, (lane_top, lane_top + plate.lane_height()));
    }
    plate.marks(&mut pen, foot);
    let mut height = foot + 28.0;
    if captions {
        height = mark_list(&mut pen, week, height);
    }
    let title = list_comma(&[&week.nest_name, &week.span_text]);
    (pen.finish((canvas.width_px(), height), &title, &week_sentence(week)), height)
}

/// Title and sentences at the top; answers their height.
fn caption(pen: &mut Pen, week: &WeekView) -> f64 {
    let title = fit(&list_comma(&[&week.nest_name, &week.span_text]), 19.0, 900.0);
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
    for (i, mark) in week.marks.iter().take(MOST_LISTED).enumerate() {
        for (k, line) in wrap(&format!("{}: {}", mark.time_text, mark.text), 118, 2).iter().enumerate() {
            y += LINE_PX;
            if k == 0 {
                badge(pen, (26.0, y - 4.0), &(i + 1).to_string(), mark.kind);
            }
            pen.text((46.0, y), Anchor::Start, &look::letters(), line);
        }
        y += 4.0;
    }
    if week.marks.len() > MOST_LISTED {
        y += LINE_PX;
        let more = say!("span-plot-more", more = week.marks.len() - MOST_LISTED);
        pen.text((46.0, y), Anchor::Start, &look::soft_letters(), &more);
    }
    y + 14.0
}

impl<'a> Plate<'a> {
    fn new(week: &'a WeekView, canvas: Canvas, head: f64) -> Self {
        let (left, right) = (canvas.pick(84.0, 66.0), canvas.width_px() - canvas.pick(84.0, 48.0));
        let top = head + 26.0;
        let gaps = Grid::new(&week.map, week.length_mm, (GAP_COLUMNS, 8), true).gaps();
        let x = Scale::new((0.0, 1.0), (left, right));
        Self { week, canvas, x, left, right, top, map_foot: top + canvas.pick(210.0, 190.0), gaps }
    }

    /// Where the lanes begin: below what happened.
    fn lanes_top(&self) -> f64 {
        self.map_foot + if self.week.marks.is_empty() { 8.0 } else { 38.0 }
    }

    fn pitch(&self) -> f64 {
        self.lane_height() + 28.0
    }

    fn foot(&self) -> f64 {
        self.lanes_top() + self.pitch() * self.week.lanes.len().min(MOST_LANES) as f64
    }

    fn lane_height(&self) -> f64 {
        self.canvas.pick(66.0, 58.0)
    }

    /// Hatching where nothing is known, from `top` to `foot`.
    fn gaps(&self, pen: &mut Pen, (top, foot): (f64, f64)) {
        let fill = format!("fill=\"url(#{})\" fill-opacity=\"0.7\"", pen.name("gap"));
        for (from, to) in &self.gaps {
            pen.rect((self.x.px(*from), top), (self.x.px(*to), foot), &fill);
        }
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
        pen.rect(from, to, &look::leader());
    }

    fn gap_words(&self, pen: &mut Pen) {
        let week = self.week;
        let middle = f64::midpoint(self.top, self.map_foot) + 4.0;
        if week.map.is_empty() {
            let x = f64::midpoint(self.left, self.right);
            pen.text((x, middle), Anchor::Middle, &look::halo_letters(), &say!("span-plot-unknown"));
            return;
        }
        for (from, to) in &self.gaps {
            let (a, b) = (self.x.px(*from), self.x.px(*to));
            if b - a > 84.0 {
                pen.text((f64::midpoint(a, b), middle), Anchor::Middle, &look::halo_letters(), &say!("span-plot-gap"));
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
            strip(pen, self.left - 30.0, (mat.span.from_mm, mat.span.to_mm), &look, &say!("span-plot-mat"));
        }
        if let Some(brood) = self.week.brood {
            strip(
                pen,
                self.left - 15.0,
                (brood.from_mm, brood.to_mm),
                &format!(r#"rx="2" {}"#, look::zone()),
                &say!("span-plot-brood"),
            );
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
}
