//! The nest's body: galleries coloured by the believed warmth, eggs where the brood lies, mats beneath, and the humidity.
use super::{DAMP_PX, MAT_LINE, MOST_DRAWN, MOST_MATS, SMALL, Sheet};
use crate::pen::{Anchor, Pen, look};
use crate::say;
use crate::svg::{Scale, area_path, fit, line_path, number, px, text_width};
use crate::view::{MatPlace, MatView};
use std::fmt::Write as _;

impl Sheet<'_> {
    /// The body, and in it a gallery coloured by the believed temperature.
    pub(crate) fn body(&self, pen: &mut Pen) {
        let (top, bottom) = self.body;
        pen.rect((self.left, top), (self.right, bottom), &format!(r#"rx="11" {}"#, look::body()));
        let name = pen.name("warmth");
        let mut stops = String::new();
        let known: Vec<_> = self.nest.profile.points().flatten().collect();
        let step = known.len().div_ceil(MOST_DRAWN).max(1);
        for (mm, c, _) in known.iter().step_by(step).chain(known.last()) {
            let part = (self.x.px(*mm) - self.left) / (self.right - self.left);
            if let Some(colour) = self.nest.colour.colour(*c) {
                let _ = write!(stops, r#"<stop offset="{part:.4}" stop-color="{}"/>"#, colour.hex());
            }
        }
        let fill = if stops.is_empty() {
            "fill=\"none\" class=\"d-leader\" stroke=\"#5f5446\"".to_owned()
        } else {
            pen.raw(&format!(
                r#"<defs><linearGradient id="{name}" gradientUnits="userSpaceOnUse" x1="{}" y1="0" x2="{}" y2="0">{stops}</linearGradient></defs>"#,
                px(self.left),
                px(self.right)
            ));
            format!(r#"fill="url(#{name})""#)
        };
        pen.path(&self.gallery(), &fill);
    }

    /// An outline that swells and narrows like a dug gallery. A picture, not a survey: nobody measured the real one.
    fn gallery(&self) -> String {
        let (from, to) = (self.left + 7.0, self.right - 7.0);
        let (middle, half) = (f64::midpoint(self.body.0, self.body.1), (self.body.1 - self.body.0) * 0.36);
        let steps = 150;
        let edge = |i: i32, sign: f64| {
            // Closer towards the ends, where the outline turns.
            let part = (1.0 - (std::f64::consts::PI * f64::from(i) / f64::from(steps)).cos()) / 2.0;
            let x = from + (to - from) * part;
            let swell = 0.8 + 0.2 * ((x - from) / 27.0 + 0.8 * ((x - from) / 61.0 + sign * 0.7).sin()).sin();
            let near = ((x - from).min(to - x) / 16.0).clamp(0.0, 1.0);
            let end = (1.0 - (1.0 - near).powi(2)).max(0.0).sqrt();
            Some((x, middle + sign * half * swell * end))
        };
        let upper = (0..=steps).map(|i| edge(i, -1.0));
        let lower = (0..=steps).rev().map(|i| edge(i, 1.0));
        line_path(upper.chain(lower)) + "Z"
    }

    /// Marks in the gallery where the belief passes a round temperature: colour is never the only sign.
    pub(crate) fn isotherms(&self, pen: &mut Pen) {
        let points: Vec<_> = self.nest.profile.points().flatten().collect();
        let (top, bottom) = self.body;
        let mut last_x = self.left - 6.0;
        for pair in points.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let rising = Scale::new((a.1.min(b.1), a.1.max(b.1)), (0.0, 1.0));
            if (a.1 - b.1).abs() < 1e-9 || (a.1 - b.1).abs() > 50.0 {
                continue;
            }
            for c in rising.every(1.0).into_iter().filter(|c| rising.holds(*c)) {
                let part = (c - a.1) / (b.1 - a.1);
                let x = self.x.px(a.0 + (b.0 - a.0) * part);
                if x - last_x < 34.0 || x > self.right - 22.0 {
                    continue;
                }
                last_x = x;
                let Some(ink) = self.nest.colour.colour(c).map(crate::colour::Rgb::ink) else { continue };
                let middle = f64::midpoint(top, bottom);
                let tick = format!(r#"stroke="{ink}" stroke-width="1" stroke-opacity="0.75""#);
                pen.line((x, middle - 13.0), (x, middle + 13.0), &tick);
                let look = format!(r#"font-size="11" fill="{ink}""#);
                pen.text((x + 3.0, middle - 2.0), Anchor::Start, &look, &format!("{}°", number(c, 0)));
            }
        }
    }

    /// Eggs on the gallery's floor, where the brood lies.
    pub(crate) fn eggs(&self, pen: &mut Pen) {
        let Some((a, b)) = self.brood_px() else { return };
        let floor = f64::midpoint(self.body.0, self.body.1) + (self.body.1 - self.body.0) * 0.2;
        let count = (((b - a) / 11.0) as usize).clamp(1, MOST_DRAWN);
        for i in 0..count {
            let x = a + (b - a) * (i as f64 + 0.5) / count as f64;
            let y = floor - if i % 3 == 1 { 3.5 } else { 0.0 };
            pen.raw(&format!(
                r##"<ellipse cx="{}" cy="{}" rx="4.2" ry="2.5" transform="rotate({} {} {})" fill="#fffaf0" stroke="#3a2c1c" stroke-width="0.8"/>"##,
                px(x),
                px(y),
                if i % 2 == 0 { -18 } else { 22 },
                px(x),
                px(y)
            ));
        }
    }

    pub(crate) fn mats(&self, pen: &mut Pen) {
        let rated: f64 = self.nest.mats.iter().map(|m| m.rated_w).filter(|w| *w > 0.0).sum();
        let glow = self.nest.gives_w.map_or(0.0, |(w, _)| if rated > 0.0 { (w / rated).clamp(0.0, 1.0) } else { 0.0 });
        let glow = if glow.is_nan() { 0.0 } else { glow };
        let mats: Vec<_> = self.nest.mats.iter().take(MOST_MATS).collect();
        let label = |m: &MatView| {
            let rated = number(m.rated_w, 1);
            let name = match m.place {
                MatPlace::Under => say!("nest-mat-under", rated = rated),
                MatPlace::Beside => say!("nest-mat-beside", rated = rated),
                MatPlace::Lid => say!("nest-mat-lid", rated = rated),
                MatPlace::Inside => say!("nest-mat-inside", rated = rated),
            };
            self.doing(name, m)
        };
        let edge = self.canvas.width_px() - 4.0;
        for (row, mat) in mats.iter().enumerate() {
            let y = match mat.place {
                MatPlace::Lid => self.body.0 - 9.0,
                MatPlace::Inside => self.body.1 - 9.0,
                MatPlace::Under | MatPlace::Beside => self.body.1 + 3.0,
            };
            let (a, b) = (self.x.px(mat.span.from_mm), self.x.px(mat.span.to_mm));
            pen.rect(
                (a, y),
                (b, y + 8.0),
                &format!(r#"rx="2" {} fill-opacity="{:.2}""#, look::ember(), 0.12 + 0.7 * glow),
            );
            let wire = (0..=80).map(|i| a + f64::from(i) * 6.0).take_while(|x| *x <= b - 2.0).enumerate();
            let wire = wire.map(|(i, x)| Some((x + 2.0, y + if i % 2 == 0 { 2.0 } else { 6.0 })));
            pen.path(&line_path(wire), &look::wire());
            let look = format!(r#"{} font-size="{SMALL}""#, look::letters());
            let half = text_width(&label(mat), SMALL) / 2.0;
            let at = f64::midpoint(a, b).clamp(self.left + half, (edge - half).max(self.left + half));
            // Each on its own line: two mats may lie close together.
            pen.text((at, self.body.1 + 24.0 + MAT_LINE * row as f64), Anchor::Middle, &look, &label(mat));
        }
    }

    /// A mat with what it does now; what each of several gives nobody knows.
    fn doing(&self, mat: String, of: &MatView) -> String {
        let told = of.told.duty().map(|d| number(d * 100.0, 0));
        let gives = self.nest.gives_w.filter(|g| g.0.is_finite() && self.nest.mats.len() == 1);
        match (told, gives.map(|g| number(g.0, 1))) {
            (Some(told), Some(gives)) => say!("nest-mat-both", mat = mat, told = told, gives = gives),
            (Some(told), None) => say!("nest-mat-told", mat = mat, told = told),
            (None, Some(gives)) => say!("nest-mat-gives", mat = mat, gives = gives),
            (None, None) => mat,
        }
    }

    /// Humidity along the nest: a strip whose height is 100 %RH, with numbers where there is room.
    pub(super) fn damp(&self, pen: &mut Pen) {
        let points: Vec<Option<(f64, f64)>> = self
            .nest
            .profile
            .at_mm
            .iter()
            .zip(&self.nest.rh_pct)
            .map(|(mm, rh)| rh.filter(|rh| rh.is_finite() && mm.is_finite()).map(|rh| (*mm, rh)))
            .collect();
        if points.iter().flatten().next().is_none() {
            return;
        }
        let foot = self.ruler - 6.0;
        let y = Scale::new((0.0, 100.0), (foot, foot - DAMP_PX.0));
        pen.path(&area_path(points.iter().map(|p| p.map(|(mm, rh)| (self.x.px(mm), y.px(rh), foot)))), &look::damp());
        let line = line_path(points.iter().map(|p| p.map(|(mm, rh)| (self.x.px(mm), y.px(rh)))));
        pen.path(&line, &format!(r#"{} stroke-width="1.4""#, look::damp_line()));
        let mut free = self.left;
        for (mm, rh) in points.iter().flatten() {
            let x = self.x.px(*mm);
            if x >= free && x <= self.right - 16.0 {
                let at = (x.max(self.left + 16.0), foot - 5.0);
                pen.text(
                    at,
                    Anchor::Middle,
                    &format!(r#"{} font-size="{SMALL}""#, look::halo_letters()),
                    &(number(*rh, 0) + " %"),
                );
                free = x + self.canvas.pick(110.0, 62.0);
            }
        }
        let name = fit(&say!("nest-plot-humidity"), 12.5, self.canvas.width_px() - self.right - 12.0);
        pen.text((self.right + 12.0, foot - 8.0), Anchor::Start, &look::letters(), &name);
    }
}
