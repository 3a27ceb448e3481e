//! Temperatures, powers and times as exact as a plan is.
use dashboards::PLAN_MOST_C;
use enclosure::plan::Likely;

/// From here on no number of hours is told, s.
const LATE_S: f64 = 12.0 * 3600.0;

/// `likely 82 °C, 1 nest in 20 above 140 °C`.
pub(super) fn up_to(c: Likely) -> String {
    if c.mid > PLAN_MOST_C {
        return told(c.mid);
    }
    format!("likely {}, 1 nest in 20 above {}", told(c.mid), told(c.high.min(PLAN_MOST_C)))
}

/// A temperature as exact as it is known; beyond what the model knows, only that.
pub(super) fn told(c: f64) -> String {
    if c > PLAN_MOST_C {
        format!("more than {PLAN_MOST_C:.0} °C")
    } else if c >= 50.0 {
        whole(c)
    } else {
        degrees(c)
    }
}

/// In whole degrees.
pub(super) fn whole(c: f64) -> String {
    format!("{} °C", minus(&format!("{c:.0}")))
}

/// To a tenth of a degree, where it is not whole.
pub(super) fn degrees(c: f64) -> String {
    format!("{} °C", trimmed(c))
}

/// One decimal, none where it is zero; two where it would vanish.
pub(super) fn trimmed(v: f64) -> String {
    let text = if v.abs() < 0.95 && v.abs() > 0.0 { format!("{v:.2}") } else { format!("{v:.1}") };
    minus(text.strip_suffix(".0").unwrap_or(&text))
}

fn minus(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

/// A power.
pub(super) fn watt(w: f64) -> String {
    if w < 0.01 { "less than 0.01 W".to_owned() } else { format!("{} W", trimmed(w)) }
}

/// A length of time as exact as a plan is.
pub(super) fn span(s: f64) -> String {
    let min = s / 60.0;
    if s >= LATE_S {
        "half a day or more".to_owned()
    } else if min < 1.0 {
        "under a minute".to_owned()
    } else if min < 100.0 {
        format!("{min:.0} min")
    } else {
        format!("{:.1} h", min / 60.0)
    }
}

/// Two lengths of time: `5 to 7 min`.
pub(super) fn spans(from_s: f64, to_s: f64) -> String {
    let (from, to) = (span(from_s), span(to_s));
    let unit = to.rsplit(' ').next().unwrap_or("");
    match from.strip_suffix(unit).filter(|n| from != to && n.ends_with(' ') && !n.starts_with("under")) {
        Some(number) => format!("{number}to {to}"),
        None if from == to => to,
        None => format!("{from} to {to}"),
    }
}
