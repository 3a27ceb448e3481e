//! What the core itself says of alarms: of nodes, gaps and rooms, and what the board remarks.
use super::gap::Gap;
use crate::alarm::{Alarm, AlarmKey};
use crate::board::{Board, Change, Remark};
use crate::evidence::{Aside, Evidence, Eyes, NESTS_MAX, Warmth};
use crate::room::Course;
use crate::shelf::Shelf;
use alloc::collections::BTreeMap;
use alloc::vec::Vec;

/// The room itself fell or rose: named as the likely cause.
pub(super) fn room_moved(alarm: Alarm, course: &Course) -> Option<Warmth> {
    let Course { from_c, to_c, within } = *course;
    let explains = match alarm {
        Alarm::BroodCold => to_c < from_c,
        Alarm::BroodHot => to_c > from_c,
        _ => false,
    };
    explains.then_some(Warmth::RoomMoved { from_c, to_c, within })
}

/// What the brood places probably did while nobody watched.
pub(super) fn gap(gap: Gap, after_c: &[Option<f64>], shelf: &Shelf) -> Evidence {
    let mut out = Evidence::of(Eyes::Unwatched { lasts: gap.to.since(gap.from), why: gap.why });
    let known = shelf.nests.iter().zip(gap.before_c.iter().zip(after_c));
    for (nest, (before_c, after_c)) in known.take(NESTS_MAX) {
        let Some((before_c, after_c)) = before_c.zip(*after_c) else { continue };
        let below_c = nest.band.map(|b| b.low_c).filter(|low_c| after_c < *low_c);
        out.push(Eyes::Meanwhile { nest: nest.id.clone(), before_c, after_c, below_c });
    }
    out
}

/// The alarm's own evidence, with what the board adds.
pub(super) fn remarked(mut evidence: Evidence, change: &Change, board: &Board) -> Evidence {
    let remark = change.remark.map(|remark| match remark {
        Remark::Chatters(times) => Aside::Chatters { times },
        Remark::Flood(came) => Aside::Flood { came, standing: standing(board) },
        Remark::FloodOver(held) => Aside::FloodOver { held, standing: standing(board) },
        Remark::WorseBy(alarm) => Aside::WorseBy(alarm),
    });
    if let Some(remark) = remark {
        evidence.push(remark);
    }
    evidence
}

/// How often each alarm stands, by name.
fn standing(board: &Board) -> Vec<(Alarm, usize)> {
    let mut counts: BTreeMap<&'static str, (Alarm, usize)> = BTreeMap::new();
    let ill = board.standing().filter(|(_, s)| s.life.is_ill());
    for (AlarmKey { alarm, .. }, _) in ill {
        counts.entry(alarm.name()).or_insert((*alarm, 0)).1 += 1;
    }
    counts.into_values().collect()
}
