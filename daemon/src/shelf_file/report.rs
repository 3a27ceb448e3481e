//! What `warmend check` says, in plain words.
use super::ShelfFile;
use super::findings::{Advice, ShelfErrors};
use super::manners;
use crate::plan::wish::USUAL_ROOM;
use crate::times::length;
use dashboards::say;
use enclosure::plan::{Cooling, Question, cooling};
use enclosure::shelf::Nest;
use enclosure::time::Span;

/// Exit code: the file can be used, with or without advice.
pub const EXIT_FINE: u8 = 0;

/// Exit code: the shelf file is wrong, missing or unreadable (EX_USAGE of sysexits.h).
pub const EXIT_WRONG: u8 = 64;

/// What every check ends with.
pub fn deference() -> String {
    say!("check-deference")
}

/// The report and the exit code of `warmend check`.
pub fn report(loaded: &Result<(ShelfFile, Vec<Advice>), ShelfErrors>) -> (String, u8) {
    match loaded {
        Err(e @ ShelfErrors::Unreadable { .. }) => (format!("{e}\n\n{}\n", deference()), EXIT_WRONG),
        Err(e @ ShelfErrors::Wrong { errors, more, .. }) => {
            let things = say!("check-wrong", n = errors.len() + more);
            (format!("{e}\n\n{things}\n\n{}\n", deference()), EXIT_WRONG)
        }
        Ok((file, advice)) => (fine(file, advice), EXIT_FINE),
    }
}

fn fine(file: &ShelfFile, advice: &[Advice]) -> String {
    let nests = &file.shelf.nests;
    let probes: usize = nests.iter().map(|n| n.probes.len()).sum();
    let pads: usize = nests.iter().map(|n| n.pads.len()).sum();
    let path = file.path.display().to_string();
    let seen = say!("check-fine", path = path, nests = nests.len(), probes = probes, pads = pads);
    let lines: String = advice.iter().map(|a| a.line(&file.path) + "\n").collect();
    let advised = if advice.is_empty() {
        say!("check-no-advice") + "\n"
    } else {
        format!("\n{}\n{lines}", say!("check-advice", n = advice.len()))
    };
    let cold: String = nests.iter().filter_map(without_heat).collect();
    let waits = manners::lines(&file.shelf.alarms);
    format!("{seen}\n{cold}{advised}\n{waits}\n{}\n", deference())
}

/// How cold the brood gets, and how soon, when a mat dies or leave to heat is withdrawn.
fn without_heat(nest: &Nest) -> Option<String> {
    let Cooling { end_c, low_c, below_s } = cooling(&Question::of(nest, USUAL_ROOM))?;
    let span = |s: f64| length(Span::from_ms((s * 1000.0) as i64));
    let (room, low) = (format!("{end_c:.0}"), low_c.to_string());
    let line = match below_s {
        None => say!("check-cold", nest = &nest.id, room = room, low = low),
        Some(when) => {
            let (mid, from, to) = (span(when.mid), span(when.low), span(when.high));
            say!("check-cold-below", nest = &nest.id, room = room, low = low, mid = mid, from = from, to = to)
        }
    };
    Some(line + "\n")
}
