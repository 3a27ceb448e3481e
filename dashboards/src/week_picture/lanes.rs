//! What lies beneath the map, under the same time axis: one quantity a lane.
use super::Plate;
use crate::pen::{Anchor, Canvas, INK, Pen, SOFT, look};
use crate::profile::Z90;
use crate::say;
use crate::svg::{Scale, area_path, fit, line_path, number, px, spread};
use crate::week::{Lane, LanePoint, MOST_COLUMNS};
use crate::words::list_comma;

/// Most ticks and nights drawn.
const MOST_TICKS: usize = 120;
/// Most crosses drawn for what was not believed.
const MOST_DOUBTED: usize = 200;

impl Plate<'_> {
    pub(super) fn lane(&self, pen: &mut Pen, lane: &Lane, (top, foot): (f64, f64)) {
        for &(from, to) in self.week.nights.iter().take(MOST_TICKS) {
            let night = format!(r#"class="d-night" fill="{SOFT}" fill-opacity="0.09""#);
            pen.rect((self.x.px(from), top), (self.x.px(to), foot), &night);
        }
        self.gaps(pen, (top, foot));
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
            let at = number(limit, 0);
            edges.push((limit, if self.canvas == Canvas::Wide { say!("span-plot-limit", at = at) } else { at }));
        }
        let mut places: Vec<f64> = edges.iter().map(|e| y.px(e.0)).collect();
        spread(&mut places, 13.5, (top - 6.0, foot + 2.0));
        for ((_, text), at) in edges.iter().zip(places) {
            let text = fit(text, 12.5, self.canvas.width_px() - self.right - 8.0);
            pen.text((self.right + 6.0, at + 4.0), Anchor::Start, &look::soft_letters(), &text);
        }
        self.course(pen, lane, &y);
        let name = if lane.unit.is_empty() { lane.label.clone() } else { list_comma(&[&lane.label, &lane.unit]) };
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
        // Where the mean may lie, 9 times in 10.
        let sure = |i: usize| mean_of(lane.sd.iter().skip(i * step).take(step).copied()).map(|sd| sd * Z90);
        let edges = steps.iter().enumerate().map(|(i, p)| {
            let ((_, mean, _), k) = ((*p)?, sure(i)?);
            Some((at(i), y.px(mean + k), y.px(mean - k)))
        });
        pen.path(&area_path(edges), &look::doubt());
        let other = lane.other.len();
        let step_other = other.div_ceil(self.canvas.pick(420.0, 160.0) as usize).max(1);
        let dashes = lane.other.chunks(step_other).enumerate().map(|(i, few)| {
            let x = self.x.px((i as f64 * step_other as f64 + step_other as f64 / 2.0) / other as f64);
            mean_of(few.iter().copied()).map(|v| (x, y.px(v)))
        });
        pen.path(&line_path(dashes), &look::other());
        let line = steps.iter().enumerate().map(|(i, p)| p.map(|(_, mean, _)| (at(i), y.px(mean))));
        let look = look::curve().replace("2.2", "1.4");
        pen.path(&line_path(line), &look);
        for (at, value) in lane.doubted.iter().take(MOST_DOUBTED) {
            let (x, y) = (self.x.px(*at), y.px(*value));
            let cross = format!("M{} {}l5 5m0 -5l-5 5", px(x - 2.5), px(y - 2.5));
            pen.path(&cross, &format!(r#"class="d-curve" fill="none" stroke="{INK}" stroke-width="1.2""#));
        }
    }
}

/// Mean of those that are numbers.
fn mean_of(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let (sum, n) = values.flatten().filter(|v| v.is_finite()).fold((0.0, 0_u32), |(sum, n), v| (sum + v, n + 1));
    (n > 0).then(|| sum / f64::from(n))
}

/// Lowest, mean and highest of a few neighbouring steps; none where more than half are gaps.
fn summary(points: &[&Option<LanePoint>]) -> Option<(f64, f64, f64)> {
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
    values.extend(lane.other.iter().flatten());
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
