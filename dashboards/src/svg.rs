//! Small tools for writing SVG by hand: escaping, numbers, scales, ticks, labels that keep apart.
//!
//! Everything here takes any number, NaN and infinities included, and never writes one that is no number.
use std::fmt::Write as _;

/// Most ticks on any axis.
const MOST_TICKS: usize = 24;
/// No coordinate is written beyond this, px: whatever is farther is out of every picture.
const FARTHEST_PX: f64 = 100_000.0;

/// Text for SVG and attribute values: `<`, `>`, `&` and quotes as entities, control characters left out.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // XML 1.0 forbids these even as entities.
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// What may stand in an `id`: letters, digits and hyphens; the rest becomes a hyphen.
pub fn ident(text: &str) -> String {
    text.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
}

/// A coordinate with one decimal.
pub(crate) fn px(v: f64) -> String {
    let v = if v.is_nan() { 0.0 } else { v.clamp(-FARTHEST_PX, FARTHEST_PX) };
    let text = format!("{v:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

/// A temperature for people: one decimal, true minus, no unit; a dash where unknown.
pub(crate) fn celsius(v: f64) -> String {
    number(v, 1)
}

/// A bound that somebody set, as it was set: 24, 23.5.
pub(crate) fn bound(c: f64) -> String {
    number(c, usize::from((c - c.round()).abs() > 0.04))
}

/// A number for people with so many decimals; a dash where it is none.
pub(crate) fn number(v: f64, decimals: usize) -> String {
    if !v.is_finite() || v.abs() > 1e6 {
        return "–".to_owned();
    }
    let text = format!("{v:.decimals$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() {
        return text.trim_start_matches('-').to_owned();
    }
    text.replace('-', "\u{2212}")
}

/// A straight map from values to px.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    low: f64,
    high: f64,
    low_px: f64,
    high_px: f64,
}

impl Scale {
    /// Maps `low` to `low_px`, `high` to `high_px`; an empty or senseless span becomes one unit wide.
    pub(crate) fn new((low, high): (f64, f64), (low_px, high_px): (f64, f64)) -> Self {
        let low = if low.is_finite() { low.clamp(-1e6, 1e6) } else { 0.0 };
        let high = if high.is_finite() && high > low { high.min(low + 1e6) } else { low + 1.0 };
        Self { low, high, low_px, high_px }
    }

    /// The px of a value, kept within the picture.
    pub(crate) fn px(&self, v: f64) -> f64 {
        let part = ((v - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        let part = if part.is_nan() { 0.0 } else { part };
        self.low_px + (self.high_px - self.low_px) * part
    }

    /// Whether a value lies on the scale.
    pub(crate) fn holds(&self, v: f64) -> bool {
        v >= self.low && v <= self.high
    }

    /// About `wanted` round values on the scale.
    pub(crate) fn ticks(&self, wanted: f64) -> Vec<f64> {
        let raw = (self.high - self.low) / wanted.max(1.0);
        let power = 10_f64.powf(raw.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|s| *s >= raw * 0.999).unwrap_or(power * 10.0);
        self.every(step)
    }

    /// The multiples of `step` on the scale.
    pub(crate) fn every(&self, step: f64) -> Vec<f64> {
        if !step.is_finite() || step <= 0.0 {
            return Vec::new();
        }
        let first = (self.low / step - 1e-9).ceil();
        (0..MOST_TICKS).map(|i| (first + i as f64) * step).take_while(|v| *v <= self.high + step * 1e-9).collect()
    }
}

/// A line through the points, lifted from the paper wherever one is missing or no number.
pub(crate) fn line_path(points: impl IntoIterator<Item = Option<(f64, f64)>>) -> String {
    let mut path = String::new();
    let mut down = false;
    for point in points {
        match point.filter(|(x, y)| x.is_finite() && y.is_finite()) {
            Some((x, y)) => {
                path.push(if down { 'L' } else { 'M' });
                let _ = write!(path, "{} {}", px(x), px(y));
                down = true;
            }
            None => down = false,
        }
    }
    path
}

/// The area between two lines (x, upper, lower), one closed piece for every run without a gap.
pub(crate) fn area_path(points: impl IntoIterator<Item = Option<(f64, f64, f64)>>) -> String {
    let mut path = String::new();
    let mut run: Vec<(f64, f64, f64)> = Vec::new();
    let close = |run: &mut Vec<(f64, f64, f64)>, path: &mut String| {
        if run.len() > 1 {
            path.push_str(&line_path(run.iter().map(|&(x, up, _)| Some((x, up)))));
            for &(x, _, down) in run.iter().rev() {
                let _ = write!(path, "L{} {}", px(x), px(down));
            }
            path.push('Z');
        }
        run.clear();
    };
    for point in points {
        match point.filter(|(x, a, b)| x.is_finite() && a.is_finite() && b.is_finite()) {
            Some(p) => run.push(p),
            None => close(&mut run, &mut path),
        }
    }
    close(&mut run, &mut path);
    path
}

/// Moves places apart until all are `gap` from each other, keeping their order and staying within `low` to `high` while there is room.
pub(crate) fn spread(places: &mut [f64], gap: f64, (low, high): (f64, f64)) {
    for p in places.iter_mut() {
        *p = if p.is_nan() { low } else { p.clamp(low, high.max(low)) };
    }
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|&a, &b| places[a].total_cmp(&places[b]));
    for pair in order.windows(2) {
        places[pair[1]] = places[pair[1]].max(places[pair[0]] + gap);
    }
    let mut ceiling = high;
    for &i in order.iter().rev() {
        places[i] = places[i].min(ceiling);
        ceiling = places[i] - gap;
    }
    // No room for all: overlap at the top beats leaving the picture.
    for p in places.iter_mut() {
        *p = p.max(low);
    }
}

/// About how wide a text is at a size, px: 0.56 em a character (DejaVu Sans, mean over our labels).
pub(crate) fn text_width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * size * 0.56
}

/// Cuts a text to what fits, with an ellipsis.
pub(crate) fn fit(text: &str, size: f64, width_px: f64) -> String {
    let room = (width_px / (size * 0.56) + 0.01).max(1.0) as usize;
    if text.chars().count() <= room {
        return text.to_owned();
    }
    let mut cut: String = text.chars().take(room.saturating_sub(1)).collect();
    cut.push('…');
    cut
}

/// Breaks a text into lines of at most so many characters, at most so many lines.
pub(crate) fn wrap(text: &str, width: usize, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            last.push('…');
        }
    }
    lines.into_iter().map(|l| fit(&l, 1.0, width as f64 * 0.56 + 0.5)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn hostile_text_is_only_text() {
        assert_eq!(escape("<script>\"&'\u{0}"), "&lt;script&gt;&quot;&amp;&#39; ");
        assert_eq!(ident("a\"b<c"), "a-b-c");
    }

    #[test]
    fn a_gap_lifts_the_pen() {
        let path = line_path([Some((0.0, 0.0)), Some((1.0, 1.0)), None, Some((3.0, f64::NAN)), Some((4.0, 4.0))]);
        assert_eq!(path, "M0 0L1 1M4 4");
        let area = area_path([Some((0.0, 0.0, 1.0)), Some((1.0, 0.0, 1.0)), None, Some((3.0, 0.0, 1.0))]);
        assert_eq!(area.matches('M').count(), 1, "a lone point has no area: {area}");
    }

    #[test]
    fn minus_is_a_minus_and_zero_has_none() {
        assert_eq!(number(-3.25, 1), "\u{2212}3.2");
        assert_eq!(number(-0.01, 1), "0.0");
        assert_eq!(number(f64::NAN, 1), "–");
    }

    #[test]
    fn a_bound_is_shown_as_it_was_set() {
        for (set, shown) in [(24.0, "24"), (23.5, "23.5"), (28.46, "28.5"), (-2.0, "\u{2212}2"), (30.99, "31")] {
            assert_eq!(bound(set), shown);
        }
    }

    #[test]
    fn wrapped_lines_fit() {
        let lines = wrap("the brood place left its band for two hours on Tuesday", 20, 9);
        assert!(lines.len() == 3 && lines.iter().all(|l| l.chars().count() <= 20), "{lines:?}");
        assert_eq!(wrap("a b", 1, 1).len(), 1);
    }

    proptest! {
        #[test]
        fn labels_keep_apart_where_there_is_room(mut places in proptest::collection::vec(any::<f64>(), 0..9)) {
            spread(&mut places, 10.0, (0.0, 100.0));
            let mut sorted = places.clone();
            sorted.sort_by(f64::total_cmp);
            prop_assert!(sorted.windows(2).all(|w| w[1] - w[0] > 9.999));
            prop_assert!(sorted.iter().all(|p| (0.0..=100.0).contains(p)));
        }

        #[test]
        fn scales_take_anything(low in any::<f64>(), high in any::<f64>(), v in any::<f64>(), wanted in any::<f64>()) {
            let scale = Scale::new((low, high), (10.0, 20.0));
            prop_assert!((10.0..=20.0).contains(&scale.px(v)));
            prop_assert!(scale.ticks(wanted).len() <= MOST_TICKS);
            prop_assert!(!px(v).contains("NaN") && !px(v).contains("inf"));
        }
    }
}
