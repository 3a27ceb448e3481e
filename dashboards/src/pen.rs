//! One picture being written: shapes with a class (for the page's style sheet, dark and light) and, beside it, the
//! light colours as attributes (for mail, files and PNG, where no style sheet is).
use crate::svg::{escape, ident, px};
use std::fmt::Write as _;

/// Light colours of pictures that stand alone. The same names are variables in `style.css`.
pub(crate) const PAPER: &str = "#fbf7f0";
pub(crate) const INK: &str = "#2a231b";
pub(crate) const SOFT: &str = "#5f5446";
pub(crate) const LINE: &str = "#d9cfbf";
pub(crate) const BODY: &str = "#e4d5bd";
pub(crate) const ZONE: &str = "#3f7f74";
pub(crate) const LIMIT: &str = "#7d1d12";
pub(crate) const EMBER: &str = "#8f3b10";
pub(crate) const DAMP: &str = "#3b6a86";

/// How wide a picture is made, so that its letters keep their size.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Canvas {
    /// For a desk, mail or paper: 920 px.
    #[default]
    Wide,
    /// For a phone held upright: 360 px.
    Narrow,
}

impl Canvas {
    /// Width, px.
    pub const fn width_px(self) -> f64 {
        match self {
            Self::Wide => 920.0,
            Self::Narrow => 360.0,
        }
    }

    pub(crate) const fn class(self) -> &'static str {
        match self {
            Self::Wide => "wide",
            Self::Narrow => "narrow",
        }
    }

    /// One of two values.
    pub(crate) const fn pick(self, wide: f64, narrow: f64) -> f64 {
        match self {
            Self::Wide => wide,
            Self::Narrow => narrow,
        }
    }
}

/// Where a text hangs on its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// A picture in the making.
pub(crate) struct Pen {
    body: String,
    id: String,
}

impl Pen {
    /// A picture whose inner names begin with `id`.
    pub(crate) fn new(kind: &str, id: &str, canvas: Canvas) -> Self {
        Self { body: String::with_capacity(16_384), id: format!("{kind}-{}-{}", ident(id), canvas.class()) }
    }

    /// An inner name.
    pub(crate) fn name(&self, part: &str) -> String {
        format!("{}-{part}", self.id)
    }

    /// Anything, as it is.
    pub(crate) fn raw(&mut self, svg: &str) {
        self.body.push_str(svg);
    }

    /// A straight line with extra attributes.
    pub(crate) fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), look: &str) {
        let _ = write!(self.body, r#"<line x1="{}" y1="{}" x2="{}" y2="{}" {look}/>"#, px(x1), px(y1), px(x2), px(y2));
    }

    /// A rectangle from corner to corner, with extra attributes.
    pub(crate) fn rect(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), look: &str) {
        let (w, h) = ((x2 - x1).max(0.0), (y2 - y1).max(0.0));
        let _ =
            write!(self.body, r#"<rect x="{}" y="{}" width="{}" height="{}" {look}/>"#, px(x1), px(y1), px(w), px(h));
    }

    /// A path with extra attributes; nothing where it is empty.
    pub(crate) fn path(&mut self, d: &str, look: &str) {
        if !d.is_empty() {
            let _ = write!(self.body, r#"<path d="{d}" {look}/>"#);
        }
    }

    /// A circle with extra attributes.
    pub(crate) fn dot(&mut self, (x, y): (f64, f64), r: f64, look: &str) {
        let _ = write!(self.body, r#"<circle cx="{}" cy="{}" r="{}" {look}/>"#, px(x), px(y), px(r));
    }

    /// Text, escaped, with extra attributes (size, class, fill).
    pub(crate) fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, look: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => r#" text-anchor="middle""#,
            Anchor::End => r#" text-anchor="end""#,
        };
        let _ = write!(self.body, r#"<text x="{}" y="{}"{anchor} {look}>{}</text>"#, px(x), px(y), escape(text));
    }

    /// The whole picture, with its title and one-sentence description.
    pub(crate) fn finish(self, (width, height): (f64, f64), title: &str, sentence: &str) -> String {
        let Self { body, id } = self;
        let (w, h, title, sentence) = (px(width), px(height), escape(title), escape(sentence));
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="img" aria-labelledby="{id}-title {id}-desc" viewBox="0 0 {w} {h}" width="{w}" height="{h}" font-family="sans-serif" font-size="12.5"><title id="{id}-title">{title}</title><desc id="{id}-desc">{sentence}</desc><rect class="d-paper" width="{w}" height="{h}" fill="{PAPER}"/>{body}</svg>"#
        )
    }
}

/// Attributes of the usual kinds of stroke and letter.
pub(crate) mod look {
    use super::{BODY, DAMP, EMBER, INK, LIMIT, LINE, PAPER, SOFT, ZONE};

    pub(crate) fn letters() -> String {
        format!(r#"class="d-ink" fill="{INK}""#)
    }
    pub(crate) fn soft_letters() -> String {
        format!(r#"class="d-soft" fill="{SOFT}""#)
    }
    pub(crate) fn halo_letters() -> String {
        format!(
            r#"class="d-ink d-halo" fill="{INK}" stroke="{PAPER}" stroke-width="3.5" stroke-linejoin="round" paint-order="stroke""#
        )
    }
    pub(crate) fn grid() -> String {
        format!(r#"class="d-grid" stroke="{LINE}" stroke-width="1""#)
    }
    pub(crate) fn curve() -> String {
        format!(
            r#"class="d-curve" fill="none" stroke="{INK}" stroke-width="2.2" stroke-linejoin="round" stroke-linecap="round""#
        )
    }
    /// What something is compared with.
    pub(crate) fn other() -> String {
        format!(
            r#"class="d-other" fill="none" stroke="{ZONE}" stroke-width="1.8" stroke-dasharray="6 3" stroke-linejoin="round""#
        )
    }
    pub(crate) fn doubt() -> String {
        format!(r#"class="d-doubt" fill="{INK}" fill-opacity="0.17""#)
    }
    pub(crate) fn zone() -> String {
        format!(r#"class="d-zone" fill="{ZONE}" fill-opacity="0.2""#)
    }
    pub(crate) fn zone_fill() -> String {
        format!(r#"class="d-zone" fill="{ZONE}""#)
    }
    /// What lies between the likely and the upper end of a worst case.
    pub(crate) fn peril() -> String {
        format!(r#"class="d-ember" fill="{EMBER}" fill-opacity="0.16""#)
    }
    pub(crate) fn perilous() -> String {
        format!(r#"class="d-wire" fill="none" stroke="{EMBER}" stroke-width="3" stroke-linejoin="round""#)
    }
    pub(crate) fn likely_perilous() -> String {
        format!(r#"class="d-wire" fill="none" stroke="{EMBER}" stroke-width="2" stroke-dasharray="8 4""#)
    }
    pub(crate) fn zone_edge() -> String {
        format!(r#"class="d-zone-edge" fill="none" stroke="{ZONE}" stroke-width="1.2""#)
    }
    pub(crate) fn limit() -> String {
        format!(r#"class="d-limit" fill="none" stroke="{LIMIT}" stroke-width="2" stroke-dasharray="7 3""#)
    }
    pub(crate) fn room() -> String {
        format!(
            r#"class="d-room" fill="none" stroke="{SOFT}" stroke-width="1.4" stroke-dasharray="1.5 4" stroke-linecap="round""#
        )
    }
    pub(crate) fn leader() -> String {
        format!(r#"class="d-leader" fill="none" stroke="{SOFT}" stroke-width="0.8""#)
    }
    pub(crate) fn body() -> String {
        format!(r#"class="d-body" fill="{BODY}" stroke="{SOFT}" stroke-width="1""#)
    }
    pub(crate) fn ember() -> String {
        format!(r#"class="d-ember" fill="{EMBER}""#)
    }
    pub(crate) fn damp() -> String {
        format!(r#"class="d-damp" fill="{DAMP}" fill-opacity="0.3""#)
    }
    pub(crate) fn damp_line() -> String {
        format!(r#"class="d-damp-line" fill="none" stroke="{DAMP}" stroke-linejoin="round""#)
    }
    pub(crate) fn wire() -> String {
        format!(r#"class="d-wire" fill="none" stroke="{EMBER}" stroke-width="1.6" stroke-linejoin="round""#)
    }
    pub(crate) fn probe() -> String {
        format!(r#"class="d-probe" fill="{INK}" stroke="{PAPER}" stroke-width="1.5""#)
    }
    pub(crate) fn doubted_probe() -> String {
        format!(r#"class="d-doubted" fill="{PAPER}" stroke="{INK}" stroke-width="1.6""#)
    }
}
