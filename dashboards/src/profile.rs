//! The nest itself: a long body with its galleries, the heating mat where it lies, probes where they sit, and above it
//! the temperature believed at every millimetre.
//!
//! Lengths along the axis are to scale; the height of the body is not. The shaded band around the curve is ± 1.645
//! standard deviations: 90 % of a normal distribution.
use crate::pen::{Anchor, Canvas, Pen, look};
use crate::say;
use crate::svg::{Scale, area_path, bound, celsius, fit, line_path, number, px, spread, text_width};
use crate::view::{NestView, ProbeView};

mod body;

/// Half-width of the 90 % interval of a normal distribution, in standard deviations.
pub const Z90: f64 = 1.645;
/// Most probes, mats or points of a curve that are drawn.
const MOST_DRAWN: usize = 64;
/// Most mats drawn.
const MOST_MATS: usize = 6;
/// Height of a mat's line of text, px.
const MAT_LINE: f64 = 15.0;
/// What a probe's number takes, px.
const LABEL_PX: f64 = 46.0;
/// Size of small letters, px.
const SMALL: f64 = 11.5;
/// Height of the strip of humidity, from 0 to 100 %RH, and what lies above it, px.
const DAMP_PX: (f64, f64) = (30.0, 16.0);

/// The picture of one nest now, standing alone, for mail and files.
pub fn profile_svg(nest: &NestView) -> String {
    profile_svg_on(nest, Canvas::Wide)
}

/// The same for a given width.
pub fn profile_svg_on(nest: &NestView, canvas: Canvas) -> String {
    let sheet = Sheet::new(nest, canvas, 30.0);
    let mut pen = Pen::new("nest", &nest.id, canvas);
    sheet.grid(&mut pen);
    sheet.brood(&mut pen);
    sheet.curve(&mut pen);
    sheet.body(&mut pen);
    sheet.isotherms(&mut pen);
    sheet.eggs(&mut pen);
    sheet.probes(&mut pen);
    sheet.mats(&mut pen);
    sheet.damp(&mut pen);
    sheet.ruler(&mut pen);
    sheet.side_labels(&mut pen);
    // Last: its halo keeps the lines off it.
    sheet.unheard(&mut pen);
    let title = say!("nest-title", nest = &nest.name);
    pen.finish((canvas.width_px(), sheet.ruler + 28.0), &title, &profile_sentence(nest))
}

/// What the picture shows, in one sentence.
pub fn profile_sentence(nest: &NestView) -> String {
    let mut ends = nest.profile.points().flatten();
    let Some(first) = ends.next() else {
        return say!("nest-sentence-unknown", nest = &nest.name);
    };
    let last = ends.last().unwrap_or(first);
    let mut said = say!(
        "nest-sentence",
        nest = &nest.name,
        first = celsius(first.1),
        first_mm = number(first.0, 0),
        last = celsius(last.1),
        last_mm = number(last.0, 0),
    );
    if let Some(brood) = nest.brood_now {
        let (mean, off) = (celsius(brood.mean_c), celsius(brood.sd_c * Z90));
        said = say!("nest-sentence-brood", so_far = said, mean = mean, off = off, hottest = celsius(brood.hottest_c));
    }
    if let Some(band) = nest.band {
        said = say!("nest-sentence-band", so_far = said, low = number(band.low_c, 1), high = number(band.high_c, 1));
    }
    if let Some(ahead) = nest.forecast.as_ref().filter(|a| a.leaves_at.is_some()) {
        said = say!("nest-sentence-ahead", so_far = said, ahead = ahead.words.trim_end_matches('.'));
    }
    say!("nest-sentence-end", so_far = said)
}

/// The drawing's frame: scales and edges, px.
pub(crate) struct Sheet<'a> {
    nest: &'a NestView,
    canvas: Canvas,
    pub(crate) x: Scale,
    pub(crate) y: Scale,
    pub(crate) left: f64,
    right: f64,
    pub(crate) top: f64,
    foot: f64,
    body: (f64, f64),
    /// The axis's own line, at the foot of all.
    pub(crate) ruler: f64,
}

impl<'a> Sheet<'a> {
    /// A drawing whose plot begins `top` px down.
    pub(crate) fn new(nest: &'a NestView, canvas: Canvas, top: f64) -> Self {
        let (left, right) = (canvas.pick(46.0, 34.0), canvas.width_px() - canvas.pick(112.0, 92.0));
        let foot = top + canvas.pick(220.0, 180.0);
        let body_top = foot + 44.0;
        let body = (body_top, body_top + canvas.pick(64.0, 52.0));
        let mats = body.1 + 34.0 + MAT_LINE * nest.mats.len().clamp(1, MOST_MATS).saturating_sub(1) as f64;
        let damp = if nest.rh_pct.iter().any(Option::is_some) { DAMP_PX.0 + DAMP_PX.1 } else { 0.0 };
        Self {
            nest,
            canvas,
            x: Scale::new((0.0, nest.length_mm), (left, right)),
            y: Scale::new(span_c(nest), (foot, top)),
            left,
            right,
            top,
            foot,
            body,
            ruler: mats + damp,
        }
    }

    pub(crate) fn grid(&self, pen: &mut Pen) {
        for t in self.y.ticks(self.canvas.pick(6.0, 5.0)) {
            pen.line((self.left, self.y.px(t)), (self.right, self.y.px(t)), &look::grid());
            pen.text((self.left - 7.0, self.y.px(t) + 4.0), Anchor::End, &look::soft_letters(), &number(t, 0));
        }
        pen.text((self.left - 7.0, self.top - 14.0), Anchor::End, &look::soft_letters(), "°C");
        if let Some((room, _)) = self.nest.room_c.filter(|r| r.0.is_finite()) {
            pen.line((self.left, self.y.px(room)), (self.right, self.y.px(room)), &look::room());
        }
    }

    /// The stretch of the brood place, px, if it can be drawn.
    fn brood_px(&self) -> Option<(f64, f64)> {
        let brood = self.nest.brood?;
        let (a, b) = (self.x.px(brood.from_mm), self.x.px(brood.to_mm));
        (b > a).then_some((a, b))
    }

    pub(crate) fn brood(&self, pen: &mut Pen) {
        let Some((a, b)) = self.brood_px() else { return };
        for x in [a, b] {
            pen.line((x, self.top - 4.0), (x, self.body.0), &look::grid());
        }
        if let Some(band) = self.nest.band {
            let (low, high) = (self.y.px(band.low_c), self.y.px(band.high_c));
            pen.rect((a, high), (b, low), &look::zone());
            pen.path(&line_path([Some((a, high)), Some((b, high))]), &look::zone_edge());
            pen.path(&line_path([Some((a, low)), Some((b, low))]), &look::zone_edge());
            let limit = self.y.px(band.limit_c);
            pen.line((a - 8.0, limit), (b + 8.0, limit), &look::limit());
        }
        let text = self.nest.brood_now.filter(|b| b.mean_c.is_finite()).map_or_else(
            || say!("brood-place"),
            |now| say!("nest-plot-brood", mean = celsius(now.mean_c), off = celsius(now.sd_c * Z90)),
        );
        let half = text_width(&text, 12.5) / 2.0;
        let middle = f64::midpoint(a, b).clamp(self.left + half, (self.right - half).max(self.left + half));
        pen.text((middle, self.top - 14.0), Anchor::Middle, &look::letters(), &text);
    }

    fn curve(&self, pen: &mut Pen) {
        let points: Vec<_> = self.nest.profile.points().collect();
        let band = points
            .iter()
            .map(|p| p.map(|(mm, c, sd)| (self.x.px(mm), self.y.px(c + Z90 * sd), self.y.px(c - Z90 * sd))));
        pen.path(&area_path(band), &look::doubt());
        pen.path(&line_path(points.iter().map(|p| p.map(|(mm, c, _)| (self.x.px(mm), self.y.px(c))))), &look::curve());
    }

    fn unheard(&self, pen: &mut Pen) {
        if self.nest.profile.points().flatten().next().is_none() {
            let middle = (f64::midpoint(self.left, self.right), f64::midpoint(self.top, self.foot));
            pen.text(middle, Anchor::Middle, &look::halo_letters(), &say!("nest-plot-unheard"));
        }
    }

    fn probes(&self, pen: &mut Pen) {
        let row = self.foot + 24.0;
        let pin = self.body.0 + 8.0;
        let shown: Vec<_> = self.nest.probes.iter().filter(|p| p.at_mm.is_finite()).take(MOST_DRAWN).collect();
        for (probe, label) in shown.iter().zip(self.label_places(&shown)) {
            let x = self.x.px(probe.at_mm);
            let believed = probe.not_believed_because.is_none();
            if let Some(c) = probe.temperature_c.filter(|c| c.is_finite()) {
                let y = self.y.px(c);
                pen.line((x, y), (x, row - 12.0), &look::leader());
                if believed {
                    pen.dot((x, y), 4.6, &look::probe());
                } else {
                    pen.dot((x, y), 4.6, &look::doubted_probe());
                    let cross = format!("M{} {}l6 6m0 -6l-6 6", px(x - 3.0), px(y - 3.0));
                    pen.path(&cross, &look::leader());
                }
            }
            pen.line((x, row + 5.0), (x, pin), &look::leader());
            pen.dot((x, pin), 3.2, &if believed { look::probe() } else { look::doubted_probe() });
            if let Some(at) = label {
                let known = probe.temperature_c.filter(|c| c.is_finite());
                let known = known.map_or_else(|| "–".to_owned(), |c| celsius(c) + "°");
                let text = if believed { known } else { format!("({known})") };
                pen.text((at, row), Anchor::Middle, &look::halo_letters(), &text);
            }
        }
    }

    /// Where each probe's number stands, px. Where there is room for all, they are moved apart; else each that has one
    /// stands by its own probe, and what is not believed goes first, then the warmest. All of them are in the table.
    fn label_places(&self, shown: &[&ProbeView]) -> Vec<Option<f64>> {
        let (least, most) = (self.left - 8.0, self.right + 20.0);
        let mut places: Vec<f64> = shown.iter().map(|p| self.x.px(p.at_mm).clamp(least, most)).collect();
        if shown.len() as f64 * LABEL_PX <= most - least + LABEL_PX {
            spread(&mut places, LABEL_PX, (least, most));
            return places.into_iter().map(Some).collect();
        }
        let weight = |i: &usize| {
            let warmth = shown[*i].temperature_c.filter(|c| c.is_finite()).unwrap_or(f64::NEG_INFINITY);
            (shown[*i].not_believed_because.is_some(), warmth)
        };
        let mut order: Vec<usize> = (0..shown.len()).collect();
        order.sort_by(|a, b| weight(b).0.cmp(&weight(a).0).then(weight(b).1.total_cmp(&weight(a).1)));
        let mut taken: Vec<Option<f64>> = vec![None; shown.len()];
        for i in order {
            if taken.iter().flatten().all(|at| (at - places[i]).abs() >= LABEL_PX) {
                taken[i] = Some(places[i]);
            }
        }
        taken
    }

    pub(crate) fn ruler(&self, pen: &mut Pen) {
        let y = self.ruler;
        pen.line((self.left, y), (self.right, y), &look::leader());
        let end = self.x.px(self.nest.length_mm);
        for mm in self.x.ticks(self.canvas.pick(8.0, 4.0)) {
            let x = self.x.px(mm);
            pen.line((x, y), (x, y + 5.0), &look::leader());
            if end - x > 44.0 {
                pen.text((x, y + 18.0), Anchor::Middle, &look::soft_letters(), &number(mm, 0));
            }
        }
        pen.line((end, y), (end, y + 5.0), &look::leader());
        let length = format!("{} mm", number(self.nest.length_mm, 0));
        pen.text((end - 12.0, y + 18.0), Anchor::Start, &look::soft_letters(), &length);
    }

    /// Names of the lines, beside the plot, kept apart and led to their lines.
    pub(crate) fn side_labels(&self, pen: &mut Pen) {
        let brood_end = self.brood_px().map_or(self.right, |(_, b)| b) + 9.0;
        // °C, where its line ends in the plot, and its name.
        let mut labels: Vec<(f64, f64, String)> = Vec::new();
        if let Some(band) = self.nest.band.filter(|_| self.brood_px().is_some()) {
            labels.push((band.limit_c, brood_end, say!("nest-label-limit", at = bound(band.limit_c))));
            labels.push((band.high_c, brood_end, say!("nest-label-band", at = bound(band.high_c))));
            labels.push((band.low_c, brood_end, say!("nest-label-band", at = bound(band.low_c))));
        }
        if let Some((room, _)) = self.nest.room_c.filter(|r| r.0.is_finite()) {
            labels.push((room, self.right, say!("nest-label-room", at = celsius(room))));
        }
        labels.retain(|l| l.0.is_finite());
        let mut places: Vec<f64> = labels.iter().map(|l| self.y.px(l.0)).collect();
        spread(&mut places, 15.0, (self.top, self.foot));
        for ((value, from, text), at) in labels.iter().zip(places) {
            let y = self.y.px(*value);
            if *from < self.right {
                pen.line((*from, y), (self.right, y), &format!(r#"{} stroke-opacity="0.35""#, look::leader()));
            }
            pen.path(&line_path([Some((self.right, y)), Some((self.right + 9.0, at))]), &look::leader());
            let width = self.canvas.width_px() - self.right - 12.0;
            pen.text((self.right + 12.0, at + 4.0), Anchor::Start, &look::letters(), &fit(text, 12.5, width));
        }
    }
}

/// Lowest and highest °C of the plot: everything believed, the band, the room; at least 8 K.
fn span_c(nest: &NestView) -> (f64, f64) {
    let mut values: Vec<f64> =
        nest.profile.points().flatten().flat_map(|(_, c, sd)| [c - Z90 * sd, c + Z90 * sd]).collect();
    values.extend(nest.probes.iter().filter(|p| p.not_believed_because.is_none()).filter_map(|p| p.temperature_c));
    values.extend(nest.band.iter().flat_map(|b| [b.low_c, b.high_c, b.limit_c]));
    values.extend(nest.room_c.map(|r| r.0));
    values.retain(|v| v.abs() < 500.0);
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if low > high {
        return (15.0, 35.0);
    }
    let short = (8.0 - (high - low)).max(0.0) / 2.0;
    (low - short - 0.7, high + short + 0.7)
}
