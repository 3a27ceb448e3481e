//! Colours of temperature: a published, perceptually uniform map, and the ink that can be read upon it.
//!
//! The map is *inferno* by Nathaniel J. Smith and Stéfan van der Walt (2015, released under CC0,
//! <https://bids.github.io/colormap/>), every eighth of its 256 entries, straight lines between them (off by less than
//! 2 of 255 anywhere). Lightness rises along the whole of it, so it holds for every kind of colour vision, and so does
//! red alone over the stretch used here: it can be read by a red lamp. Its ends are left out: black would be
//! lost on a dark page, pale yellow on a light one.

/// Entries 0, 8, 16 … 255 of inferno, sRGB.
const INFERNO: [[u8; 3]; 33] = [
    [0, 0, 4],
    [4, 3, 18],
    [11, 7, 36],
    [21, 11, 55],
    [33, 12, 74],
    [47, 10, 91],
    [61, 9, 101],
    [74, 12, 107],
    [87, 16, 110],
    [100, 21, 110],
    [113, 25, 110],
    [125, 30, 109],
    [138, 34, 106],
    [151, 39, 102],
    [163, 44, 97],
    [176, 49, 91],
    [188, 55, 84],
    [198, 61, 77],
    [208, 69, 69],
    [218, 78, 60],
    [227, 89, 51],
    [235, 100, 41],
    [241, 113, 31],
    [246, 126, 20],
    [249, 140, 10],
    [251, 155, 6],
    [252, 170, 15],
    [251, 186, 31],
    [249, 201, 50],
    [245, 217, 73],
    [242, 232, 101],
    [243, 245, 134],
    [252, 255, 164],
];
/// First part of the map in use, 0 to 1.
const FROM: f64 = 0.12;
/// Last part of the map in use, 0 to 1.
const TO: f64 = 0.81;

/// An sRGB colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rgb(pub u8, pub u8, pub u8);

/// The temperatures at the two ends of the colours, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourRange {
    /// Coldest colour, °C; colder is drawn like it.
    pub low_c: f64,
    /// Hottest colour, °C; hotter is drawn like it.
    pub high_c: f64,
}

impl Default for ColourRange {
    /// From a cool room to above what brood bears (common practice, no source).
    fn default() -> Self {
        Self { low_c: 16.0, high_c: 38.0 }
    }
}

impl ColourRange {
    /// Place of `at_c` in the range, 0 to 1; `None` where it is not a number.
    pub fn part(self, at_c: f64) -> Option<f64> {
        let span_k = self.high_c - self.low_c;
        if at_c.is_nan() || !span_k.is_finite() || span_k <= 0.0 {
            return None;
        }
        Some(((at_c - self.low_c) / span_k).clamp(0.0, 1.0))
    }

    /// The range that holds all finite values, rounded outwards to whole degrees and at least 6 K wide.
    pub fn around(values_c: impl IntoIterator<Item = f64>) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for v in values_c.into_iter().filter(|v| v.abs() < 1e4) {
            low = low.min(v.floor());
            high = high.max(v.ceil());
        }
        if low > high {
            return Self::default();
        }
        let short = (6.0 - (high - low)).max(0.0);
        Self { low_c: low - (short / 2.0).floor(), high_c: high + (short / 2.0).ceil() }
    }

    /// The colour of a temperature; `None` where it is not a number.
    pub fn colour(self, at_c: f64) -> Option<Rgb> {
        self.part(at_c).map(ramp)
    }
}

/// The map's colour at a part from 0 (cold) to 1 (hot).
pub fn ramp(part: f64) -> Rgb {
    let part = if part.is_nan() { 0.0 } else { part.clamp(0.0, 1.0) };
    let place = (FROM + (TO - FROM) * part) * (INFERNO.len() - 1) as f64;
    let below = (place.floor() as usize).min(INFERNO.len() - 2);
    let within = place - below as f64;
    let mix = |k: usize| {
        let (a, b) = (f64::from(INFERNO[below][k]), f64::from(INFERNO[below + 1][k]));
        (a + (b - a) * within).round() as u8
    };
    Rgb(mix(0), mix(1), mix(2))
}

impl Rgb {
    /// As `#rrggbb`.
    pub fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }

    /// Relative luminance, 0 to 1 (WCAG 2.2).
    pub fn luminance(self) -> f64 {
        0.2126 * linear(self.0) + 0.7152 * linear(self.1) + 0.0722 * linear(self.2)
    }

    /// Black or white, whichever stands out more from it.
    pub fn ink(self) -> &'static str {
        if self.luminance() > 0.179 { "#1a1208" } else { "#fff6e8" }
    }
}

/// One sRGB channel without its gamma, 0 to 1 (WCAG 2.2).
fn linear(channel: u8) -> f64 {
    let c = f64::from(channel) / 255.0;
    if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::STYLE_CSS;

    fn lightness(c: Rgb) -> f64 {
        116.0 * c.luminance().cbrt() - 16.0
    }

    #[test]
    fn warmer_is_always_lighter_and_evenly_so() {
        let steps: Vec<f64> = (0..20)
            .map(|i| lightness(ramp((f64::from(i) + 1.0) / 20.0)) - lightness(ramp(f64::from(i) / 20.0)))
            .collect();
        let mean = steps.iter().sum::<f64>() / 20.0;
        assert!(steps.iter().all(|s| (s - mean).abs() < 0.6 * mean), "{steps:?}");
    }

    #[test]
    fn red_light_never_makes_the_warmer_place_darker() {
        for i in 0..200 {
            let (a, b) = (ramp(f64::from(i) / 200.0).0, ramp(f64::from(i + 1) / 200.0).0);
            assert!(i16::from(b) >= i16::from(a) - 1, "at {i}: {a} then {b}");
        }
    }

    #[test]
    fn no_number_has_no_colour_and_extremes_keep_to_the_ends() {
        let range = ColourRange { low_c: 10.0, high_c: 20.0 };
        assert_eq!(range.colour(f64::NAN), None);
        assert_eq!(range.colour(f64::INFINITY), Some(ramp(1.0)));
        assert_eq!(range.colour(-40.0), Some(ramp(0.0)));
        assert_eq!(ColourRange { low_c: 20.0, high_c: 20.0 }.colour(20.0), None);
    }

    #[test]
    fn a_range_holds_what_it_was_made_of() {
        let range = ColourRange::around([21.2, f64::NAN, 29.9]);
        assert!(range.low_c <= 21.2 && range.high_c >= 29.9 && range.high_c - range.low_c >= 6.0);
        assert_eq!(ColourRange::around([f64::NAN]), ColourRange::default());
    }

    fn variable(block: &str, name: &str) -> Rgb {
        let start = block.find(&format!("--{name}:")).unwrap_or_else(|| panic!("no --{name}")) + name.len() + 3;
        let hex = block[start..].trim_start().trim_start_matches('#');
        let part = |i: usize| u8::from_str_radix(&hex[i..i + 2], 16).unwrap();
        Rgb(part(0), part(2), part(4))
    }

    fn contrast(a: f64, b: f64) -> f64 {
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// 4.5 is WCAG 2.2's AA for text; the same is asked of the red channel alone, for reading by a red lamp or screen filter.
    #[test]
    fn text_stands_out_in_light_dark_and_red() {
        let (light, dark) = STYLE_CSS.split_once("prefers-color-scheme: dark").unwrap();
        for block in [light, dark] {
            for (ink, paper) in [
                ("ink", "paper"),
                ("soft", "paper"),
                ("ink", "leaf"),
                ("soft", "leaf"),
                ("danger-ink", "danger"),
                ("warn-ink", "warn"),
                ("link", "paper"),
            ] {
                let (a, b) = (variable(block, ink), variable(block, paper));
                assert!(contrast(a.luminance(), b.luminance()) >= 4.5, "{ink} on {paper}: {a:?} {b:?}");
                assert!(contrast(linear(a.0), linear(b.0)) >= 4.5, "{ink} on {paper} in red: {a:?} {b:?}");
            }
        }
    }
}
