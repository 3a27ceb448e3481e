//! What the core itself says of alarms, in plain sentences.
use super::Core;
use super::gap::Gap;
use crate::alarm::{Alarm, AlarmKey};
use crate::board::{Board, Change, Remark};
use crate::room::Course;
use crate::shelf::Shelf;
use crate::time::Timestamp;
use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt::Write;

pub(super) const WATCHED_AGAIN: &str = "Readings are watched again.";
pub(super) const SEASON: &str = "The season that the shelf file names expects it: it is not judged now.";
/// Nests that a sentence names at most.
const NAMED_MAX: usize = 8;

pub(super) fn all_silent(_: &Core) -> String {
    String::from("All nodes stopped within a minute of each other: a power cut, or the network.")
}

pub(super) fn node_silent(now: Timestamp, last: Option<Timestamp>) -> String {
    match last {
        Some(at) => format!("None of its sensors has been heard for {}.", now.since(at)),
        None => String::from("None of its sensors has been heard at all."),
    }
}

/// The room itself fell or rose: named as the likely cause.
pub(super) fn room_moved(detail: &mut String, alarm: Alarm, c: &Course) {
    let (verb, guess) = match alarm {
        Alarm::BroodCold if c.to_c < c.from_c => ("fell", "is a window open?"),
        Alarm::BroodHot if c.to_c > c.from_c => ("rose", "sun, a radiator or a hot day?"),
        _ => return,
    };
    // Writing to a text cannot fail.
    let _ = write!(
        detail,
        " The room {verb} from {:.1} to {:.1} °C within {}: {guess} Other nests in it follow.",
        c.from_c, c.to_c, c.within
    );
}

/// What the brood places probably did while nobody watched.
pub(super) fn gap(gap: &Gap, after_c: &[Option<f64>], shelf: &Shelf) -> String {
    let mut text = format!("Nothing was watched for {}", gap.to.since(gap.from));
    let why = gap.why.as_deref().unwrap_or("no probe was heard: power or network");
    let _ = write!(text, ": {why}.");
    let known = shelf.nests.iter().zip(gap.before_c.iter().zip(after_c));
    for (nest, (before, after)) in known.take(NAMED_MAX) {
        let Some((before, after)) = before.zip(*after) else { continue };
        let _ = write!(
            text,
            " The brood place of {} was at {before:.1} °C before and is at {after:.1} °C now; meanwhile it probably \
             lay between the two.",
            nest.id
        );
        if let Some(band) = nest.band.filter(|b| after < b.low_c) {
            let _ = write!(text, " That is below its lower bound of {:.1} °C.", band.low_c);
        }
    }
    text
}

/// The alarm's own words, with what the board adds.
pub(super) fn remarked(detail: &str, change: &Change, board: &Board) -> String {
    let mut text = detail.to_string();
    let gap = if text.is_empty() { "" } else { " " };
    let _ = match change.remark {
        None => Ok(()),
        Some(Remark::Chatters(n)) => {
            write!(text, "{gap}It came and went {n} times of late: its messages are held back until it stays one way.")
        }
        Some(Remark::Flood(n)) => write!(
            text,
            "{gap}{n} alarms came within ten minutes; until fewer come, this message stands for all: {}.",
            standing(board)
        ),
        Some(Remark::FloodOver(n)) => {
            write!(text, "{gap}Held back during the flood of alarms and still standing: {n} more; {}.", standing(board))
        }
        Some(Remark::WorseBy(alarm)) => {
            write!(text, "{gap}It is worse than when it was answered: {} came as well.", alarm.name())
        }
    };
    text
}

/// `brood-cold 3, probe-silent 7`.
fn standing(board: &Board) -> String {
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    let ill = board.standing().filter(|(_, s)| s.life.is_ill());
    for (AlarmKey { alarm, .. }, _) in ill {
        *counts.entry(alarm.name()).or_default() += 1;
    }
    let named: Vec<String> = counts.iter().map(|(name, n)| format!("{name} {n}")).collect();
    named.join(", ")
}
