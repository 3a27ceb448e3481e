//! Warmth over place and time: the cells as a small indexed PNG inside the picture, the isotherms as lines upon it.
use crate::colour::ramp;
use crate::profile::Z90;
use crate::svg::{Scale, px};
use crate::week::{HeatMap, MOST_COLUMNS, MOST_ROWS};
use base64::Engine as _;
use std::fmt::Write as _;

/// Colours in the palette; the next index is the gap, which is transparent.
const SHADES: u8 = 250;
/// Most columns of the image inside a picture: about one a device pixel at twice the size.
const IMAGE_COLUMNS: usize = 1400;
/// Where the value may be off by more than this (9 times in 10 it is not), every third cell is left out, K.
pub(crate) const DOUBT_K: f64 = 2.0;
/// Rows of that image.
const IMAGE_ROWS: usize = 72;
/// Rows of the grid on which isotherms are sought.
const CONTOUR_ROWS: usize = 30;

/// The same warmth on even places and at most so many columns.
pub(crate) struct Grid {
    /// Columns from first to last, each from the zero end upwards.
    pub(crate) columns: Vec<Vec<Option<f64>>>,
    length_mm: f64,
}

impl Grid {
    /// Means of the map on `rows` even places and at most `most` columns; row centres if `centred`, else both ends included.
    pub(crate) fn new(map: &HeatMap, length_mm: f64, (most, rows): (usize, usize), centred: bool) -> Self {
        let length_mm = if length_mm.is_finite() && length_mm > 0.0 { length_mm } else { 1.0 };
        let count = map.columns.len();
        let out = count.min(most.clamp(1, MOST_COLUMNS));
        let rows = rows.clamp(2, MOST_ROWS);
        let place = |r: usize| {
            let part = if centred { (r as f64 + 0.5) / rows as f64 } else { r as f64 / (rows - 1) as f64 };
            part * length_mm
        };
        let columns = (0..out)
            .map(|c| {
                let span = (c * count / out, ((c + 1) * count / out).max(c * count / out + 1));
                (0..rows).map(|r| map.mean_at(span, place(r))).collect()
            })
            .collect();
        Self { columns, length_mm }
    }

    /// Runs of columns in which nothing is known, as parts of the span.
    pub(crate) fn gaps(&self) -> Vec<(f64, f64)> {
        let mut runs: Vec<(f64, f64)> = Vec::new();
        let count = self.columns.len() as f64;
        let mut start = None;
        for (i, column) in self.columns.iter().map(Some).chain([None]).enumerate() {
            let gap = column.is_some_and(|c| c.iter().all(Option::is_none));
            match (gap, start) {
                (true, None) => start = Some(i),
                (false, Some(from)) => {
                    runs.push((from as f64 / count, i as f64 / count));
                    start = None;
                }
                _ => {}
            }
        }
        runs
    }
}

/// The cells as a PNG data address; none where there is nothing to draw or it cannot be encoded.
pub(crate) fn image(map: &HeatMap, length_mm: f64) -> Option<String> {
    let grid = Grid::new(map, length_mm, (IMAGE_COLUMNS, IMAGE_ROWS), true);
    let (width, height) = (grid.columns.len(), IMAGE_ROWS);
    if width == 0 {
        return None;
    }
    let mut cells = vec![SHADES; width * height];
    let doubt = doubts(map, length_mm, width);
    for (c, column) in grid.columns.iter().enumerate() {
        for (r, value) in column.iter().enumerate() {
            let left_out =
                (c + r) % 3 == 0 && doubt.as_ref().is_some_and(|d| d.columns[c][r].is_some_and(|k| k > DOUBT_K));
            if let Some(part) = value.filter(|_| !left_out).and_then(|v| map.colour.part(v)) {
                cells[(height - 1 - r) * width + c] = (part * f64::from(SHADES - 1)).round() as u8;
            }
        }
    }
    let bytes = encode(&cells, width, height)?;
    Some(format!("data:image/png;base64,{}", base64::engine::general_purpose::STANDARD.encode(bytes)))
}

/// How far each cell may be off, 9 times in 10, K; none where the map does not say.
fn doubts(map: &HeatMap, length_mm: f64, columns: usize) -> Option<Grid> {
    let off = |sd: &Vec<f32>| sd.iter().map(|k| k * Z90 as f32).collect();
    let sd = map.sd_k.iter().map(|column| column.as_ref().map(off)).collect();
    let doubt = HeatMap { at_mm: map.at_mm.clone(), columns: sd, ..HeatMap::default() };
    let grid = Grid::new(&doubt, length_mm, (columns, IMAGE_ROWS), true);
    (grid.columns.len() == columns).then_some(grid)
}

fn encode(cells: &[u8], width: usize, height: usize) -> Option<Vec<u8>> {
    let mut palette = Vec::with_capacity((usize::from(SHADES) + 1) * 3);
    for shade in 0..SHADES {
        let colour = ramp(f64::from(shade) / f64::from(SHADES - 1));
        palette.extend([colour.0, colour.1, colour.2]);
    }
    palette.extend([0, 0, 0]);
    let mut alpha = vec![255; usize::from(SHADES)];
    alpha.push(0);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, u32::try_from(width).ok()?, u32::try_from(height).ok()?);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette);
    encoder.set_trns(alpha);
    encoder.set_compression(png::Compression::High);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(cells).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}

/// The line of one temperature, and a place for its name.
pub(crate) struct Isotherm {
    /// Temperature, °C.
    pub(crate) at_c: f64,
    /// Path.
    pub(crate) path: String,
    /// Where the name may stand, px.
    pub(crate) label: Option<(f64, f64)>,
}

/// Isotherms at round temperatures, on a frame from `x` to `y` px (marching squares on means of columns).
pub(crate) fn isotherms(
    map: &HeatMap,
    length_mm: f64,
    most_columns: usize,
    (x, y): ((f64, f64), (f64, f64)),
) -> Vec<Isotherm> {
    let grid = Grid::new(map, length_mm, (most_columns, CONTOUR_ROWS), false);
    let across = Scale::new((0.0, grid.columns.len() as f64), x);
    let along = Scale::new((0.0, grid.length_mm), y);
    let levels = Scale::new((map.colour.low_c, map.colour.high_c), (0.0, 1.0)).ticks(6.0);
    let mut taken: Vec<(f64, f64)> = Vec::new();
    let mut out = Vec::new();
    for (i, at_c) in levels.into_iter().enumerate() {
        let mut path = String::new();
        let mut places = Vec::new();
        for (c, pair) in grid.columns.windows(2).enumerate() {
            for r in 0..CONTOUR_ROWS - 1 {
                let corners = [pair[0][r], pair[1][r], pair[1][r + 1], pair[0][r + 1]];
                for (a, b) in crossings(corners, at_c) {
                    let to_px = |(u, v): (f64, f64)| {
                        let mm = (r as f64 + v) / (CONTOUR_ROWS - 1) as f64 * grid.length_mm;
                        (across.px(c as f64 + 0.5 + u), along.px(mm))
                    };
                    let (a, b) = (to_px(a), to_px(b));
                    let _ = write!(path, "M{} {}L{} {}", px(a.0), px(a.1), px(b.0), px(b.1));
                    places.push(a);
                }
            }
        }
        let label = free_place(&places, i, (x, y), &taken);
        taken.extend(label);
        if !path.is_empty() {
            out.push(Isotherm { at_c, path, label });
        }
    }
    out
}

/// A place on the line that keeps away from other names and from the ends; each level begins to look somewhere else.
fn free_place(
    places: &[(f64, f64)],
    level: usize,
    (x, y): ((f64, f64), (f64, f64)),
    taken: &[(f64, f64)],
) -> Option<(f64, f64)> {
    let (top, foot) = (y.0.min(y.1), y.0.max(y.1));
    let free = |p: &(f64, f64)| {
        p.0 > x.0 + 18.0
            && p.0 < x.1 - 18.0
            && p.1 > top + 9.0
            && p.1 < foot - 9.0
            && taken.iter().all(|t| (t.0 - p.0).abs() > 34.0 || (t.1 - p.1).abs() > 15.0)
    };
    let wanted = x.0 + (x.1 - x.0) * (0.12 + 0.29 * level as f64).fract();
    places.iter().copied().filter(free).min_by(|a, b| (a.0 - wanted).abs().total_cmp(&(b.0 - wanted).abs()))
}

/// Where a level crosses a cell, as pieces from edge to edge in parts of the cell. Corners run around from the lower left.
fn crossings(corners: [Option<f64>; 4], level: f64) -> Vec<((f64, f64), (f64, f64))> {
    const AROUND: [(f64, f64); 4] = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
    let [Some(a), Some(b), Some(c), Some(d)] = corners else { return Vec::new() };
    let values = [a, b, c, d];
    let mut hits = Vec::with_capacity(4);
    for i in 0..4 {
        let (from, to) = (values[i], values[(i + 1) % 4]);
        if (from < level) != (to < level) {
            let part = ((level - from) / (to - from)).clamp(0.0, 1.0);
            let (p, q) = (AROUND[i], AROUND[(i + 1) % 4]);
            hits.push((p.0 + (q.0 - p.0) * part, p.1 + (q.1 - p.1) * part));
        }
    }
    hits.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::ColourRange;

    fn slope(columns: usize) -> HeatMap {
        let at_mm: Vec<f64> = (0..=10).map(|i| f64::from(i) * 10.0).collect();
        let column: Vec<f32> = (0..=10_u8).map(|i| 30.0 - f32::from(i)).collect();
        HeatMap {
            at_mm,
            columns: vec![Some(column); columns],
            colour: ColourRange { low_c: 18.0, high_c: 32.0 },
            ..HeatMap::default()
        }
    }

    fn decode(address: &str) -> (png::OutputInfo, Vec<u8>, Vec<u8>) {
        let text = address.strip_prefix("data:image/png;base64,").unwrap();
        let bytes = base64::engine::general_purpose::STANDARD.decode(text).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
        let mut cells = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut cells).unwrap();
        let alpha = reader.info().trns.clone().unwrap().to_vec();
        (info, cells, alpha)
    }

    #[test]
    fn a_gap_is_transparent_and_the_zero_end_lies_below() {
        let mut map = slope(7);
        map.columns[3] = None;
        let (info, cells, alpha) = decode(&image(&map, 100.0).unwrap());
        assert_eq!((info.width, info.height), (7, IMAGE_ROWS as u32));
        for r in 0..IMAGE_ROWS {
            assert_eq!(alpha[usize::from(cells[r * 7 + 3])], 0);
            assert_eq!(alpha[usize::from(cells[r * 7])], 255);
        }
        assert!(cells[(IMAGE_ROWS - 1) * 7] > cells[0], "the warm zero end is at the bottom");
    }

    /// 1.645 · 1.5 K is more than 2 K: there a third of the cells lets the hatching through.
    #[test]
    fn what_is_hardly_known_is_full_of_holes() {
        let mut map = slope(9);
        let sd = |k: f32| Some(vec![k; 11]);
        map.sd_k = (0..9).map(|c| sd(if c < 3 { 1.5 } else { 0.5 })).collect();
        let (_, cells, alpha) = decode(&image(&map, 100.0).unwrap());
        let holes = |columns: std::ops::Range<usize>| {
            columns
                .flat_map(|c| (0..IMAGE_ROWS).map(move |r| r * 9 + c))
                .filter(|i| alpha[usize::from(cells[*i])] == 0)
                .count()
        };
        assert_eq!((holes(0..3), holes(3..9)), (IMAGE_ROWS, 0));
    }

    #[test]
    fn gaps_are_found_where_they_are() {
        let mut map = slope(8);
        map.columns[2] = None;
        map.columns[3] = Some(vec![f32::NAN; 11]);
        map.columns[7] = None;
        assert_eq!(Grid::new(&map, 100.0, (100, 5), true).gaps(), [(0.25, 0.5), (0.875, 1.0)]);
    }

    #[test]
    fn an_isotherm_runs_where_the_slope_has_its_temperature() {
        // 30 − mm/10 °C: 25 °C at 50 mm, which lies at 50 of 100 px from the top.
        let found = isotherms(&slope(5), 100.0, 50, ((0.0, 50.0), (100.0, 0.0)));
        let line = found.iter().find(|l| (l.at_c - 25.0).abs() < 1e-9).unwrap();
        assert_eq!(line.path.matches('M').count(), 4);
        assert!(line.path.split(['M', 'L']).skip(1).all(|p| p.ends_with(" 50")), "{}", line.path);
    }

    #[test]
    fn no_isotherm_crosses_a_gap() {
        let mut map = slope(5);
        map.columns[2] = None;
        let found = isotherms(&map, 100.0, 50, ((0.0, 50.0), (100.0, 0.0)));
        assert!(found.iter().all(|l| l.path.matches('M').count() == 2));
    }
}
