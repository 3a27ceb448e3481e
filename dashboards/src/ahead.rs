//! The hours ahead of the brood place: what is expected, how far it may be off, and when it leaves the band.
use crate::pen::{Anchor, Canvas, Pen, look};
use crate::profile::Z90;
use crate::say;
use crate::svg::{Scale, area_path, bound, celsius, fit, line_path, number, spread};
use crate::view::{ForecastView, NestView};

/// Height of the plot, px.
const HEIGHT: f64 = 92.0;
/// Most points drawn, and most rows of the table.
const MOST_POINTS: usize = 400;
/// Most hours that are named at the foot.
const MOST_TICKS: usize = 24;

/// The picture of what is to come, at a given width; its frame is that of the nest's own picture above it.
pub fn ahead_svg_on(nest: &NestView, ahead: &ForecastView, canvas: Canvas) -> String {
    let mut pen = Pen::new("ahead", &nest.id, canvas);
    let (left, right) = (canvas.pick(46.0, 34.0), canvas.width_px() - canvas.pick(112.0, 92.0));
    let (top, foot) = (22.0, 22.0 + HEIGHT);
    let points: Vec<_> = ahead.brood_c.iter().take(MOST_POINTS).collect();
    let x = Scale::new((0.0, points.len().max(1) as f64), (left, right));
    let y = Scale::new(span_c(nest, ahead), (foot, top));
    for t in y.ticks(canvas.pick(4.0, 3.0)) {
        pen.line((left, y.px(t)), (right, y.px(t)), &look::grid());
        pen.text((left - 7.0, y.px(t) + 4.0), Anchor::End, &look::soft_letters(), &number(t, 0));
    }
    let mut names: Vec<(f64, String)> = Vec::new();
    if let Some(band) = nest.band {
        pen.rect((left, y.px(band.high_c)), (right, y.px(band.low_c)), &look::zone());
        for c in [band.high_c, band.low_c].into_iter().filter(|c| y.holds(*c)) {
            names.push((c, say!("nest-label-band", at = bound(c))));
        }
        if y.holds(band.limit_c) {
            names.push((band.limit_c, say!("nest-label-limit", at = bound(band.limit_c))));
            pen.line((left, y.px(band.limit_c)), (right, y.px(band.limit_c)), &look::limit());
        }
    }
    leaving(&mut pen, ahead, (left, right), (top, foot));
    let at = |i: usize| x.px(i as f64 + 1.0);
    let shade = points.iter().enumerate().map(|(i, p)| Some((at(i), y.px(p.0 + Z90 * p.1.1), y.px(p.0 - Z90 * p.1.0))));
    pen.path(&area_path(shade), &look::doubt());
    pen.path(&line_path(points.iter().enumerate().map(|(i, p)| Some((at(i), y.px(p.0))))), &look::curve());
    for tick in ahead.ticks.iter().take(MOST_TICKS).filter(|t| (0.0..=1.0).contains(&t.at)) {
        let px = left + (right - left) * tick.at;
        pen.line((px, foot), (px, foot + 4.0), &look::leader());
        pen.text((px, foot + 17.0), Anchor::Middle, &look::soft_letters(), &tick.label);
    }
    let mut places: Vec<f64> = names.iter().map(|n| y.px(n.0)).collect();
    spread(&mut places, 15.0, (top, foot));
    for ((_, name), place) in names.iter().zip(places) {
        let width = canvas.width_px() - right - 12.0;
        pen.text((right + 12.0, place + 4.0), Anchor::Start, &look::letters(), &fit(name, 12.5, width));
    }
    let name = match canvas {
        Canvas::Wide => say!("ahead-plot"),
        Canvas::Narrow => say!("ahead-plot-narrow"),
    };
    pen.text((left, 12.0), Anchor::Start, &look::letters(), &fit(&name, 12.5, canvas.width_px() - left));
    pen.finish((canvas.width_px(), foot + 26.0), &say!("ahead-title", nest = &nest.name), &ahead.words)
}

/// The stretch of time in which the band is probably left, and the likeliest moment.
fn leaving(pen: &mut Pen, ahead: &ForecastView, (left, right): (f64, f64), (top, foot): (f64, f64)) {
    let Some((from, about, to)) = ahead.leaves_at else { return };
    let px = |part: f64| left + (right - left) * if part.is_nan() { 0.0 } else { part.clamp(0.0, 1.0) };
    pen.rect((px(from), top), (px(to.unwrap_or(1.0)), foot), &look::peril());
    pen.line((px(about), top - 4.0), (px(about), foot), &look::limit());
}

/// Points of the table: about one an hour.
pub(crate) fn table_rows(ahead: &ForecastView) -> impl Iterator<Item = (String, String, String, String)> + '_ {
    let step = ahead.brood_c.len().div_ceil(12).max(1);
    let row = move |i: usize| {
        let (c, (below, above)) = *ahead.brood_c.get(i)?;
        let room = ahead.room_c.get(i).map_or("–".to_owned(), |c| celsius(*c));
        let between = say!("from-to", low = celsius(c - Z90 * below), high = celsius(c + Z90 * above));
        Some((ahead.clock.get(i)?.clone(), celsius(c), between, room))
    };
    (0..ahead.brood_c.len().min(MOST_POINTS)).skip(step - 1).step_by(step).filter_map(row)
}

/// Lowest and highest °C of the plot: what is expected, the band, and the limit where it comes near; at least 4 K.
fn span_c(nest: &NestView, ahead: &ForecastView) -> (f64, f64) {
    let mut values: Vec<f64> = ahead.brood_c.iter().flat_map(|p| [p.0 - Z90 * p.1.0, p.0 + Z90 * p.1.1]).collect();
    values.retain(|v| v.abs() < 500.0);
    let hottest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    values.extend(nest.band.iter().flat_map(|b| [b.low_c, b.high_c]).filter(|v| v.abs() < 500.0));
    values.extend(nest.band.map(|b| b.limit_c).filter(|limit| limit - hottest < 2.0 && limit.abs() < 500.0));
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if low > high {
        return (20.0, 32.0);
    }
    let short = (4.0 - (high - low)).max(0.0) / 2.0;
    (low - short - 0.5, high + short + 0.5)
}
