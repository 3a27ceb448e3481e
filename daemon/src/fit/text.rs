//! What a fit says, for people.
use crate::history::KeptFit;
use crate::times::rfc3339;
use crate::views::words::not_taken_because;
use enclosure::Timestamp;
use enclosure::estimate::{Fit, FitReport, Known, NotTaken, Trial, What};
use enclosure::prior::WIDTH_MM;
use enclosure::shelf::Nest;
use std::fmt::Write as _;
use std::ops::Range;

/// Less than this is no help, K.
const HELP_K: f64 = 0.02;

/// A quantity in a keeper's words.
pub(super) fn name(what: What, nest: &Nest) -> String {
    let probe = |p: usize| nest.probes.get(p).map_or_else(String::new, |p| p.source.clone());
    match what {
        What::Conductivity => "how well the body conducts along the nest".to_owned(),
        What::BaseLoss => "loss from below to the room".to_owned(),
        What::GalleryLoss => "loss from above to the room".to_owned(),
        What::BaseExchange => "from the base up to the galleries".to_owned(),
        What::GalleryExchange => "from the galleries down to the base".to_owned(),
        What::EndLoss => "loss at both ends".to_owned(),
        What::PadLag => "lag of the heating mat itself".to_owned(),
        What::ContactLag => "lag of its contact with the nest".to_owned(),
        What::PadHeat(0) if nest.pads.len() == 1 => "heat of the mat into the nest, full on".to_owned(),
        What::PadHeat(i) => format!("heat of mat {} into the nest, full on", i + 1),
        What::Offset(p) => format!("{} shows too much by", probe(p)),
        What::Place(p) => format!("{} sits at", probe(p)),
        What::ProbeLag(p) => format!("{} lags behind by", probe(p)),
        What::Air => "air at the nest is warmer than what stands for the room by".to_owned(),
        What::Colony => "the colony's own heat".to_owned(),
    }
}

/// Its unit.
pub(super) const fn unit(what: What) -> &'static str {
    match what {
        What::Conductivity => "W/(m K)",
        What::BaseLoss | What::GalleryLoss | What::BaseExchange | What::GalleryExchange | What::EndLoss => "W/(m² K)",
        What::PadHeat(_) => "W/m²",
        What::PadLag | What::ContactLag | What::ProbeLag(_) => "s",
        What::Offset(_) | What::Air => "K",
        What::Place(_) => "mm",
        What::Colony => "W",
    }
}

/// A number with about three digits that say something.
fn short(v: f64) -> String {
    let digits = if v.abs() >= 100.0 {
        0
    } else if v.abs() >= 10.0 {
        1
    } else if v.abs() >= 1.0 {
        2
    } else {
        3
    };
    let text = format!("{v:.digits$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() { text.trim_start_matches('-').to_owned() } else { text }
}

/// One line of the list.
pub(super) fn entry(kept: &KeptFit) -> String {
    let KeptFit { id, record, in_force } = kept;
    let state = match (in_force, record.refused) {
        (true, _) => "in force".to_owned(),
        (false, None) => "taken then".to_owned(),
        (false, Some(why)) => format!("refused: {}", not_taken_because(why)),
    };
    let quality = record.fit.as_ref().map_or_else(String::new, |fit| {
        let tried = fit.trial.map_or_else(String::new, |t| format!("; {}", tried(t)));
        let heat = if fit.heard_heat { "" } else { "; heard too little of the mat" };
        format!("  off by {} K over {} readings{tried}{heat}", short(fit.error_k), fit.readings)
    });
    format!("{id}  {}  {}  {state}{quality}\n", record.nest, rfc3339(record.at))
}

fn tried(t: Trial) -> String {
    format!("hours before off by {} K, by the one in force {} K", short(t.new_k), short(t.in_force_k))
}

/// All that a fit taught.
pub(super) fn learned(
    nest: &Nest,
    fit: &Fit,
    report: &FitReport,
    (span, refused): (Range<Timestamp>, Option<(Timestamp, NotTaken)>),
) -> String {
    let mut text = String::new();
    head(&mut text, nest, fit, (&span, refused));
    table(&mut text, nest, report);
    untold(&mut text, nest, report);
    place(&mut text, nest, report);
    text.push_str(
        "W/m² and W/(m² K) rest on the heat capacity of the material in the shelf file: temperatures tell ratios only.\n\
         This is an estimate of how the nest carries heat, not a safety assessment.\n",
    );
    text
}

fn head(
    text: &mut String,
    nest: &Nest,
    fit: &Fit,
    (span, refused): (&Range<Timestamp>, Option<(Timestamp, NotTaken)>),
) {
    let days = span.end.since(span.start).s() / 86_400.0;
    // Writing into a String cannot fail.
    let _ = writeln!(
        text,
        "nest {}: learned from {} to {} ({days:.1} days); the last lesson is of {} readings up to {}.",
        nest.id,
        rfc3339(span.start),
        rfc3339(span.end),
        fit.readings,
        rfc3339(fit.until),
    );
    let _ = write!(
        text,
        "From what the mat did and the room alone it foretells them to {} K on average",
        short(fit.error_k)
    );
    let _ = match fit.trial {
        Some(t) => writeln!(text, "; hours that it did not learn from to {} K.", short(t.new_k)),
        None => writeln!(text, "."),
    };
    if !fit.heard_heat {
        text.push_str("It heard too little of the mat's heat: what stands here of the mat is a guess still.\n");
    }
    if let Some((at, why)) = refused {
        let _ = writeln!(text, "A fit at {} was refused: {}.", rfc3339(at), not_taken_because(why));
    }
}

fn table(text: &mut String, nest: &Nest, report: &FitReport) {
    let width = report.known.iter().map(|k| name(k.what, nest).chars().count()).max().unwrap_or(0);
    let _ = writeln!(text, "\n{:width$}  {:>19}  {:>19}  nine times in ten", "", "before", "learned");
    for k in &report.known {
        let value = |v: enclosure::estimate::Value| format!("{} ± {}", short(v.value), short(v.sd));
        let Known { what, prior, learned, .. } = *k;
        let (low, high) = (short(learned.low), short(learned.high));
        let of_label = match what {
            What::PadHeat(i) => watts(nest, i, learned.value),
            _ => String::new(),
        };
        let untold = if k.is_told() { "" } else { "  not told" };
        let _ = writeln!(
            text,
            "{:width$}  {:>19}  {:>19}  {low} to {high} {}{of_label}{untold}",
            name(what, nest),
            value(prior),
            value(learned),
            unit(what)
        );
    }
}

/// What that is of the label's watts.
fn watts(nest: &Nest, i: usize, w_m2: f64) -> String {
    let Some(pad) = nest.pads.get(i) else { return String::new() };
    let area_m2 = pad.span.length_mm() * nest.width_mm.unwrap_or(WIDTH_MM) * 1e-6;
    format!(" ({:.1} W of the {:.1} W by its label)", w_m2 * area_m2, pad.rated_w)
}

fn untold(text: &mut String, nest: &Nest, report: &FitReport) {
    let untold: Vec<_> = report.known.iter().filter(|k| !k.is_told()).map(|k| name(k.what, nest)).collect();
    text.push('\n');
    if !untold.is_empty() {
        let _ =
            writeln!(text, "This data cannot tell: {}. What stands there is the guess from before.", untold.join("; "));
    }
    for pair in &report.pairs {
        let _ = writeln!(
            text,
            "Told only together (correlation {:.2}): {}, and {}.",
            pair.correlation,
            name(pair.a, nest),
            name(pair.b, nest)
        );
    }
}

fn place(text: &mut String, nest: &Nest, report: &FitReport) {
    let what = if nest.brood.is_some() { "the brood place's mean" } else { "the nest's mean" };
    let Some(best) = report.best() else { return };
    let (now_k, then_k) = (report.brood_sd_k, best.brood_sd_k);
    let _ = if now_k - then_k < HELP_K {
        writeln!(text, "In a usual hour {what} is known to ± {now_k:.2} K; one more probe would help little.")
    } else {
        writeln!(
            text,
            "In a usual hour {what} is known to ± {now_k:.2} K. One more probe would help most at {:.0} mm: to ± {then_k:.2} K.",
            best.at_mm
        )
    };
}
