//! Temperatures, powers and times as exact as a plan is.
use dashboards::{PLAN_MOST_C, say};
use enclosure::plan::Likely;

/// From here on no number of hours is told, s.
const LATE_S: f64 = 12.0 * 3600.0;
/// Smaller powers are not told, W.
const WATT_LEAST: f64 = 0.01;

/// `likely 82 °C, 1 nest in 20 above 140 °C`.
pub(super) fn up_to(c: Likely) -> String {
    if c.mid > PLAN_MOST_C {
        return told(c.mid);
    }
    say!("plans-likely", mid = told(c.mid), high = told(c.high.min(PLAN_MOST_C)))
}

/// A temperature as exact as it is known; beyond what the model knows, only that.
pub(super) fn told(c: f64) -> String {
    if c > PLAN_MOST_C {
        say!("plans-more-than", most = format!("{PLAN_MOST_C:.0}"))
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
    if w < WATT_LEAST {
        say!("plans-less-than-watt", least = WATT_LEAST.to_string())
    } else {
        format!("{} W", trimmed(w))
    }
}

/// A length of time as exact as a plan is.
enum Told {
    Late,
    Short,
    Minutes(String),
    Hours(String),
}

impl Told {
    fn of(s: f64) -> Self {
        let min = s / 60.0;
        if s >= LATE_S {
            Self::Late
        } else if min < 1.0 {
            Self::Short
        } else if min < 100.0 {
            Self::Minutes(format!("{min:.0}"))
        } else {
            Self::Hours(format!("{:.1}", min / 60.0))
        }
    }

    fn text(&self) -> String {
        match self {
            Self::Late => say!("plans-half-a-day"),
            Self::Short => say!("plans-under-a-minute"),
            Self::Minutes(n) => format!("{n} min"),
            Self::Hours(n) => format!("{n} h"),
        }
    }
}

/// A length of time.
pub(super) fn span(s: f64) -> String {
    Told::of(s).text()
}

/// Two lengths of time: `5 to 7 min`.
pub(super) fn spans(from_s: f64, to_s: f64) -> String {
    let (from, to) = (Told::of(from_s), Told::of(to_s));
    if from.text() == to.text() {
        return to.text();
    }
    match (from, to) {
        (Told::Minutes(from), Told::Minutes(to)) => say!("plans-minutes", from = from, to = to),
        (Told::Hours(from), Told::Hours(to)) => say!("plans-hours", from = from, to = to),
        (from, to) => say!("plans-from-to", from = from.text(), to = to.text()),
    }
}
