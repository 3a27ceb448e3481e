//! The palette, for eyes that see no colour, for three kinds of colour-vision deficiency, and by a red lamp.
use dashboards::{Rgb, STYLE_CSS, ramp};

/// WCAG 2.2, 1.4.11: what a mark must stand out by.
const MARK: f64 = 3.0;
/// WCAG 2.2, 1.4.3: what letters must stand out by.
const LETTERS: f64 = 4.5;

type Matrix = [[f64; 3]; 3];

/// Machado, Oliveira and Fernandes, “A Physiologically-based Model for Simulation of Color Vision Deficiency”, IEEE
/// TVCG 15 (2009), severity 1.0, on linear RGB; the others: luminance alone (WCAG 2.2), and the red channel alone.
const EYES: [(&str, Matrix); 6] = [
    ("usual", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    ("protanopia", [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    (
        "deuteranopia",
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    ),
    ("tritanopia", [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
    ("greyscale", [[0.2126, 0.7152, 0.0722], [0.2126, 0.7152, 0.0722], [0.2126, 0.7152, 0.0722]]),
    ("red light", [[1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]),
];

/// One sRGB channel without its gamma (WCAG 2.2).
fn linear(channel: u8) -> f64 {
    let c = f64::from(channel) / 255.0;
    if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
}

/// How light a colour is to such eyes, 0 to 1.
fn seen(Rgb(r, g, b): Rgb, eyes: &Matrix) -> f64 {
    let c = [linear(r), linear(g), linear(b)];
    let row = |m: &[f64; 3]| m.iter().zip(c).map(|(m, c)| m * c).sum::<f64>().clamp(0.0, 1.0);
    0.2126 * row(&eyes[0]) + 0.7152 * row(&eyes[1]) + 0.0722 * row(&eyes[2])
}

fn contrast(a: Rgb, b: Rgb, eyes: &Matrix) -> f64 {
    let (a, b) = (seen(a, eyes), seen(b, eyes));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// A variable of a style sheet's block.
fn variable(block: &str, name: &str) -> Rgb {
    let head = format!("--{name}:");
    let start = block.find(&head).expect(&head) + head.len();
    let hex = block[start..].trim_start().trim_start_matches('#');
    let part = |i: usize| u8::from_str_radix(&hex[i..i + 2], 16).expect("two digits");
    Rgb(part(0), part(2), part(4))
}

fn schemes() -> [(&'static str, &'static str); 2] {
    let (light, dark) = STYLE_CSS.split_once("prefers-color-scheme: dark").expect("a dark block");
    [("light", light), ("dark", dark)]
}

#[test]
fn what_is_written_and_drawn_stands_out_for_all_eyes() {
    let letters = [
        ("ink", "paper"),
        ("soft", "paper"),
        ("ink", "leaf"),
        ("soft", "leaf"),
        ("danger-ink", "danger"),
        ("warn-ink", "warn"),
        ("link", "paper"),
    ];
    // Edges, lines and bars: the limit, the band's edge, the mat, the frame of a warning, and the ground of a danger.
    let marks = [("limit", "paper"), ("zone", "paper"), ("ember", "paper"), ("danger", "paper"), ("soft", "paper")];
    let mut found = Vec::new();
    for (scheme, block) in schemes() {
        for (eyes, matrix) in &EYES {
            let wanted = letters.iter().map(|p| (p, LETTERS)).chain(marks.iter().map(|p| (p, MARK)));
            for ((a, b), least) in wanted {
                let has = contrast(variable(block, a), variable(block, b), matrix);
                if has < least {
                    found.push(format!("{a} on {b}, {scheme}, {eyes}: {has:.2}"));
                }
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn warmer_is_lighter_for_all_eyes() {
    for (eyes, matrix) in &EYES {
        let steps: Vec<f64> = (0..=24).map(|i| seen(ramp(f64::from(i) / 24.0), matrix)).collect();
        let falls = steps.windows(2).find(|two| two[1] <= two[0]);
        assert!(falls.is_none(), "{eyes}: {falls:?} in {steps:?}");
        assert!((steps[24] + 0.05) / (steps[0] + 0.05) > MARK, "{eyes}: the ends are too alike");
    }
}

/// How loud something is, is a word and a shape, never a colour alone.
#[test]
fn loudness_has_a_word() {
    use dashboards::Tone;
    let words: std::collections::BTreeSet<_> =
        [Tone::Calm, Tone::Advice, Tone::Warning, Tone::Danger].iter().map(|t| t.word()).collect();
    assert_eq!(words.len(), 4);
}
