//! What `warmend check` says, in plain words.
use super::ShelfFile;
use super::findings::{Advice, ShelfErrors};
use super::manners;
use crate::plan::wish::USUAL_ROOM;
use enclosure::plan::{Cooling, Question, cooling};
use enclosure::shelf::Nest;
use enclosure::time::Span;

/// Exit code: the file can be used, with or without advice.
pub const EXIT_FINE: u8 = 0;

/// Exit code: the shelf file is wrong, missing or unreadable (EX_USAGE of sysexits.h).
pub const EXIT_WRONG: u8 = 64;

/// What every check ends with.
pub const DEFERENCE: &str = "This check is an aid, not a safety assessment. The heater's own label and instructions, local \
codes and licensed practice come first; software is never the protective device.";

/// The report and the exit code of `warmend check`.
pub fn report(loaded: &Result<(ShelfFile, Vec<Advice>), ShelfErrors>) -> (String, u8) {
    match loaded {
        Err(e @ ShelfErrors::Unreadable { .. }) => (format!("{e}\n\n{DEFERENCE}\n"), EXIT_WRONG),
        Err(e @ ShelfErrors::Wrong { errors, more, .. }) => {
            let things = count(errors.len() + more, "thing is wrong", "things are wrong");
            (format!("{e}\n\n{things}; `warmend run` would not start with this file.\n\n{DEFERENCE}\n"), EXIT_WRONG)
        }
        Ok((file, advice)) => (fine(file, advice), EXIT_FINE),
    }
}

fn fine(file: &ShelfFile, advice: &[Advice]) -> String {
    let nests = &file.shelf.nests;
    let probes = nests.iter().map(|n| n.probes.len()).sum();
    let pads = nests.iter().map(|n| n.pads.len()).sum();
    let seen = format!(
        "{}: nothing wrong found. {}, {}, {}.\n",
        file.path.display(),
        count(nests.len(), "nest", "nests"),
        count(probes, "probe", "probes"),
        count(pads, "heating mat", "heating mats"),
    );
    let lines: String = advice.iter().map(|a| a.line(&file.path) + "\n").collect();
    let advised = if advice.is_empty() {
        "No advice.\n".to_owned()
    } else {
        format!("\nTaken as written, but look at it ({}):\n{lines}", count(advice.len(), "remark", "remarks"))
    };
    let cold: String = nests.iter().filter_map(without_heat).collect();
    let waits = manners::lines(&file.shelf.alarms);
    format!("{seen}{cold}{advised}\n{waits}\n{DEFERENCE}\n")
}

/// How cold the brood gets, and how soon, when a mat dies or leave to heat is withdrawn.
fn without_heat(nest: &Nest) -> Option<String> {
    let Cooling { end_c, low_c, below_s } = cooling(&Question::of(nest, USUAL_ROOM))?;
    let span = |s: f64| Span::from_ms((s * 1000.0) as i64);
    let told = match below_s {
        None => format!("the brood place stays above {low_c} °C"),
        Some(when) => format!(
            "the brood place is below {low_c} °C after some {} ({} to {}) and comes down to the room",
            span(when.mid),
            span(when.low),
            span(when.high)
        ),
    };
    Some(format!("{}: without heat, in a room at {end_c:.0} °C, {told}; an estimate.\n", nest.id))
}

fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
