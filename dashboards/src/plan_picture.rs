//! A plan as a picture: above, the mat that never lets go; below it the nest as it would be in use, drawn like the nest
//! of now. Both share one axis, to scale.
use crate::colour::ColourRange;
use crate::pen::{Anchor, Canvas, Pen, look};
use crate::plan::{PLAN_MOST_C, PlanView, Reckoned, plan_caution};
use crate::profile::{Sheet, Z90};
use crate::say;
use crate::svg::{Scale, area_path, bound, fit, line_path, number, spread, text_width, wrap};
use crate::view::{NestView, ProfileView};

/// Size of small letters, px.
const SMALL: f64 = 11.5;
/// Between two lines of a legend, px.
const LEGEND_LINE: f64 = 18.0;
/// Length of a legend's sample, px.
const SAMPLE: f64 = 24.0;

/// The picture, standing alone, for files.
pub fn plan_svg(plan: &PlanView) -> String {
    plan_svg_on(plan, Canvas::Wide)
}

/// The same for a given width.
pub fn plan_svg_on(plan: &PlanView, canvas: Canvas) -> String {
    let mut pen = Pen::new("plan", &plan.id, canvas);
    let stuck = Stuck::new(plan, canvas);
    stuck.draw(&mut pen);
    let nest = nest(plan);
    let sheet = Sheet::new(&nest, canvas, stuck.foot + 96.0);
    pen.text((sheet.left, sheet.top - 44.0), Anchor::Start, &heading(), &say!("plan-use"));
    sheet.grid(&mut pen);
    sheet.brood(&mut pen);
    between(&mut pen, (&sheet.x, &sheet.y), (&plan.at_mm, &plan.use_c), |r| (r.low, r.high), &look::doubt());
    line(&mut pen, (&sheet.x, &sheet.y), (&plan.at_mm, &plan.use_c), |r| r.mid, &look::curve());
    sheet.body(&mut pen);
    sheet.isotherms(&mut pen);
    sheet.eggs(&mut pen);
    sheet.mats(&mut pen);
    sheet.ruler(&mut pen);
    sheet.side_labels(&mut pen);
    let mut foot = sheet.ruler + 44.0;
    let letters = format!(r#"{} font-size="{SMALL}""#, look::soft_letters());
    let width = canvas.width_px() - sheet.left - 12.0;
    for text in wrap(&plan_caution(), (width / (SMALL * 0.56)) as usize, 8) {
        pen.text((sheet.left, foot), Anchor::Start, &letters, &text);
        foot += 15.0;
    }
    pen.finish((canvas.width_px(), foot), &say!("plan-title", nest = &plan.name), &plan_sentence(plan))
}

/// What the picture shows, in one sentence.
pub fn plan_sentence(plan: &PlanView) -> String {
    if plan.use_text.is_empty() {
        return plan.line.clone();
    }
    say!("plan-sentence", line = &plan.line, used = &plan.use_text)
}

fn heading() -> String {
    format!(r#"{} font-size="15" font-weight="600""#, look::letters())
}

/// The nest of now's drawing, fed with what is expected.
fn nest(plan: &PlanView) -> NestView {
    let spread_k = |r: &Reckoned| (r.high - r.mid).max(r.mid - r.low) / Z90;
    let mean_c: Vec<f64> = plan.use_c.iter().map(|r| r.mid).collect();
    NestView {
        id: plan.id.clone(),
        name: plan.name.clone(),
        length_mm: plan.length_mm,
        mats: plan.mats.clone(),
        brood: plan.brood,
        band: plan.band,
        colour: ColourRange::around(mean_c.iter().copied().chain([plan.room_c.0])),
        profile: ProfileView { at_mm: plan.at_mm.clone(), sd_c: plan.use_c.iter().map(spread_k).collect(), mean_c },
        room_c: Some((plan.room_c.0, 0.0)),
        ..NestView::default()
    }
}

fn line(
    pen: &mut Pen,
    (x, y): (&Scale, &Scale),
    (at_mm, curve): (&[f64], &[Reckoned]),
    value: fn(&Reckoned) -> f64,
    look: &str,
) {
    let points = at_mm.iter().zip(curve).map(|(mm, r)| Some((x.px(*mm), y.px(value(r)))));
    pen.path(&line_path(points), look);
}

fn between(
    pen: &mut Pen,
    (x, y): (&Scale, &Scale),
    (at_mm, curve): (&[f64], &[Reckoned]),
    ends: fn(&Reckoned) -> (f64, f64),
    look: &str,
) {
    let points = at_mm.iter().zip(curve).map(|(mm, r)| {
        let (low, high) = ends(r);
        Some((x.px(*mm), y.px(high), y.px(low)))
    });
    pen.path(&area_path(points), look);
}

/// The upper part: a mat that never lets go.
struct Stuck<'a> {
    plan: &'a PlanView,
    canvas: Canvas,
    x: Scale,
    y: Scale,
    left: f64,
    right: f64,
    top: f64,
    foot: f64,
}

impl<'a> Stuck<'a> {
    fn new(plan: &'a PlanView, canvas: Canvas) -> Self {
        let (left, right) = (canvas.pick(46.0, 34.0), canvas.width_px() - canvas.pick(112.0, 92.0));
        let top = canvas.pick(52.0, 62.0) + LEGEND_LINE * canvas.pick(1.0, 3.0);
        let foot = top + canvas.pick(220.0, 200.0);
        let mut highest = plan.worst_c.iter().map(|r| r.high).fold(plan.mat_c.high, f64::max);
        highest = plan.limit_c.into_iter().chain(plan.material_limit_c).fold(highest, f64::max);
        let low = plan.room_c.0.min(plan.room_c.1) - 1.0;
        let high = highest.min(PLAN_MOST_C).max(low + 8.0) + 1.0;
        Self {
            plan,
            canvas,
            x: Scale::new((0.0, plan.length_mm), (left, right)),
            y: Scale::new((low, high), (foot, top)),
            left,
            right,
            top,
            foot,
        }
    }

    fn draw(&self, pen: &mut Pen) {
        pen.text((self.left, 22.0), Anchor::Start, &heading(), &say!("plan-plot"));
        self.legend(pen);
        for t in self.y.ticks(self.canvas.pick(6.0, 5.0)) {
            pen.line((self.left, self.y.px(t)), (self.right, self.y.px(t)), &look::grid());
            pen.text((self.left - 7.0, self.y.px(t) + 4.0), Anchor::End, &look::soft_letters(), &number(t, 0));
        }
        pen.text((self.left - 7.0, self.top - 12.0), Anchor::End, &look::soft_letters(), "°C");
        self.places(pen);
        let (scales, plan) = ((&self.x, &self.y), self.plan);
        between(pen, scales, (&plan.at_mm, &plan.worst_c), |r| (r.mid, r.high), &look::peril());
        line(pen, scales, (&plan.at_mm, &plan.worst_c), |r| r.high, &look::perilous());
        line(pen, scales, (&plan.at_mm, &plan.worst_c), |r| r.mid, &look::likely_perilous());
        line(pen, scales, (&plan.at_mm, &plan.standing_c), |r| r.mid, &look::curve());
        self.face(pen);
        self.limits(pen);
    }

    fn legend(&self, pen: &mut Pen) {
        let warm = number(self.plan.room_c.1, 0);
        let (mut x, mut y) = (self.left, 43.0);
        for (look, text) in [
            (look::perilous(), say!("plan-plot-upper", room = &warm)),
            (look::likely_perilous(), say!("plan-plot-likely")),
            (look::curve(), say!("plan-plot-standing", room = &warm)),
        ] {
            pen.path(&line_path([Some((x, y - 4.0)), Some((x + SAMPLE, y - 4.0))]), &look);
            let letters = format!(r#"{} font-size="{SMALL}""#, look::letters());
            pen.text((x + SAMPLE + 6.0, y), Anchor::Start, &letters, &text);
            if self.canvas == Canvas::Narrow {
                y += LEGEND_LINE;
            } else {
                x += SAMPLE + 30.0 + text_width(&text, SMALL);
            }
        }
    }

    /// Where the brood lies and where the mat, at the foot.
    fn places(&self, pen: &mut Pen) {
        if let Some(brood) = self.plan.brood {
            let (a, b) = (self.x.px(brood.from_mm), self.x.px(brood.to_mm));
            pen.rect((a, self.top), (b, self.foot), &format!(r#"{} fill-opacity="0.1""#, look::zone_fill()));
            let middle = f64::midpoint(a, b).clamp(self.left + 34.0, (self.right - 34.0).max(self.left + 34.0));
            pen.text((middle, self.top - 12.0), Anchor::Middle, &look::letters(), &say!("brood-place"));
        }
        for mat in self.plan.mats.iter().take(6) {
            let (a, b) = (self.x.px(mat.span.from_mm), self.x.px(mat.span.to_mm));
            pen.rect((a, self.foot + 3.0), (b, self.foot + 11.0), &format!(r#"rx="2" {}"#, look::ember()));
        }
        pen.line((self.left, self.foot), (self.right, self.foot), &look::leader());
    }

    /// Between mat and nest: hotter than any gallery.
    fn face(&self, pen: &mut Pen) {
        let Some(mat) = self.plan.mats.first() else { return };
        let x = f64::midpoint(self.x.px(mat.span.from_mm), self.x.px(mat.span.to_mm));
        let (mid, high) = (self.y.px(self.plan.mat_c.mid), self.y.px(self.plan.mat_c.high));
        pen.line((x, mid), (x, high), &look::perilous());
        for (y, wide) in [(high, 6.0), (mid, 3.0)] {
            pen.line((x - wide, y), (x + wide, y), &look::perilous());
        }
        let letters = format!(r#"{} font-size="{SMALL}""#, look::halo_letters());
        let (anchor, at) = if x > self.right - 190.0 { (Anchor::End, x - 10.0) } else { (Anchor::Start, x + 10.0) };
        let (text, y) = if self.plan.mat_c.mid > PLAN_MOST_C {
            (say!("plan-plot-mat-beyond", most = number(PLAN_MOST_C, 0)), self.top + 18.0)
        } else {
            // Never on the curve that is cut off at the top.
            (say!("plan-plot-mat"), (mid + 4.0).max(self.top + 18.0))
        };
        pen.text((at, y), anchor, &letters, &text);
    }

    fn limits(&self, pen: &mut Pen) {
        let mut labels: Vec<(f64, f64, String)> = Vec::new();
        if let Some(c) = self.plan.limit_c {
            let over = self.plan.brood.map_or((self.left, self.right), |b| (self.x.px(b.from_mm), self.x.px(b.to_mm)));
            pen.line((over.0 - 8.0, self.y.px(c)), (over.1 + 8.0, self.y.px(c)), &look::limit());
            labels.push((c, over.1 + 9.0, say!("plan-plot-brood", at = bound(c))));
        }
        if let Some(c) = self.plan.material_limit_c {
            let ends = self.plan.mats.iter().map(|m| (self.x.px(m.span.from_mm), self.x.px(m.span.to_mm)));
            let over = ends.fold((self.right, self.left), |o, (a, b)| (o.0.min(a), o.1.max(b)));
            pen.line((over.0, self.y.px(c)), (over.1 + 8.0, self.y.px(c)), &look::limit());
            labels.push((c, over.1 + 9.0, say!("plan-plot-body", at = bound(c))));
        }
        let warm = self.plan.room_c.1;
        pen.line((self.left, self.y.px(warm)), (self.right, self.y.px(warm)), &look::room());
        labels.push((warm, self.right, say!("nest-label-room", at = number(warm, 0))));
        let mut places: Vec<f64> = labels.iter().map(|l| self.y.px(l.0)).collect();
        spread(&mut places, 15.0, (self.top, self.foot));
        for ((c, from, text), at) in labels.iter().zip(places) {
            let y = self.y.px(*c);
            if *from < self.right {
                pen.line((*from, y), (self.right, y), &format!(r#"{} stroke-opacity="0.35""#, look::leader()));
            }
            pen.path(&line_path([Some((self.right, y)), Some((self.right + 9.0, at))]), &look::leader());
            let width = self.canvas.width_px() - self.right - 12.0;
            pen.text((self.right + 12.0, at + 4.0), Anchor::Start, &look::letters(), &fit(text, 12.5, width));
        }
    }
}
