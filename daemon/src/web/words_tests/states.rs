//! States of a shelf in which pages are looked at: nothing there, everything wrong, every alarm's story.
use crate::evidence::samples as evidence;
use crate::history::{AlarmRecord, Batch, Delivery, KeeperNote, Store, WriteError};
use crate::notices::samples;
use crate::permit::HeatNow;
use crate::snapshot::{MirrorNow, NodeNow, Snapshot, StandingAlarm};
use crate::views::sample::made;
use enclosure::estimate::NotTaken;
use enclosure::permit::{Unheated, Withheld};
use enclosure::trust::Fault;
use enclosure::{Alarm, AlarmKey, Event, Refusal, Rejection, Shelf, Span, State};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use wire::HeatOff;

pub(super) const ILL: [State; 7] = [
    State::Unacknowledged,
    State::Acknowledged,
    State::Returned,
    State::Latched,
    State::Shelved,
    State::Suppressed,
    State::OutOfService,
];

pub(super) fn empty() -> Snapshot {
    let before = made().snapshot.clone();
    let shelf = Shelf { nests: Vec::new(), ..(*before.shelf).clone() };
    Snapshot { shelf: Arc::new(shelf), sources: Arc::new([]), nests: Vec::new(), alarms: Vec::new(), ..before }
}

/// A standing alarm of nest 0; the state goes round with `i`.
fn standing(i: usize, alarm: Alarm) -> StandingAlarm {
    StandingAlarm {
        key: AlarmKey { alarm, nest: Some(0), probe: None, node: None },
        state: ILL[i % ILL.len()],
        since: made().end.minus(Span::from_min(40)),
        raised: (!i.is_multiple_of(4)).then(|| made().end.minus(Span::from_min(90))),
        detail: evidence::said(Alarm::ALL.iter().position(|a| *a == alarm).unwrap_or(0)),
        cause: (i % 5 == 1).then_some(Alarm::BroodCold),
        until: i.is_multiple_of(3).then(|| made().end.plus(Span::from_h(30))),
    }
}

/// Everything goes wrong at once.
pub(super) fn ill(turn: usize) -> Snapshot {
    let mut snap = made().snapshot.clone();
    let at = snap.at;
    snap.alarms = Alarm::ALL.iter().enumerate().map(|(i, alarm)| standing(i + turn, *alarm)).collect();
    let v = &mut snap.vitals;
    v.broker_lost = Some("refused".to_owned());
    v.history_failing = (turn == 0).then(|| WriteError::Full.to_string());
    v.notices_failing = BTreeMap::from([("webhook".to_owned(), "refused".to_owned())]);
    v.refused = Refusal::ALL.map(|why| (why.name(), 3)).into_iter().chain([("oversized", 1), ("crowded", 1)]).collect();
    v.rejected = ["wild", "distrusted", "late", "duplicate"].map(|why| (why, 2)).into();
    (v.duplicates, v.thinned, v.dropped) = (4, (5, 6), 7);
    v.waiting = vec![("inbox", 3, 8), ("flights", 7, 8), ("untold", 0, 8)];
    let failing = (turn == 0).then(|| "refused".to_owned());
    let due = if turn == 2 { 0 } else { 2 };
    let caught_up = (turn == 1).then(|| at.minus(Span::from_h(3)));
    v.mirror = Some(MirrorNow { lost: 2, waiting: 9, due, failing, caught_up, ..MirrorNow::default() });
    if turn == 3 {
        v.judged = Some(at.minus(Span::from_h(2)));
    }
    snap.links = BTreeMap::from([("oak-node".to_owned(), false), ("elm-node".to_owned(), true)]);
    let says = BTreeMap::from([
        ("radio".to_owned(), ("dBW".to_owned(), -97.0)),
        ("supply".to_owned(), ("V".to_owned(), 3.28)),
        ("up_s".to_owned(), ("s".to_owned(), 4e5)),
    ]);
    let node = NodeNow { heard: Some(at), boot: Some(9), starts: turn as u64, says };
    snap.nodes = BTreeMap::from([("oak-node".to_owned(), node)]);
    let withheld = [
        Withheld::NoLimit,
        Withheld::Unheard,
        Withheld::NotBelieved,
        Withheld::Warm,
        Withheld::WouldPass,
        Withheld::Doubted,
    ];
    for (i, why) in withheld.into_iter().enumerate() {
        let below_after = i.is_multiple_of(2).then(|| Span::from_min(40));
        let off = HeatOff::ALL[(i / 3 + 2 * turn) % HeatOff::ALL.len()];
        snap.heat.push(HeatNow {
            nest: 0,
            node: "oak-node".to_owned(),
            waits: i == 4 && turn == 1,
            duty: (i == 3 && turn == 1).then_some(0.6),
            withheld: (turn < 2).then_some(why),
            off: i.is_multiple_of(3).then_some(off),
            unheated: (i < 2).then_some(Unheated { lowest_c: 19.9, below_after }),
        });
    }
    let faults = [Fault::Frozen, Fault::FallenOff, Fault::Jumping, Fault::Astray];
    let doubts = [Rejection::Wild, Rejection::Distrusted, Rejection::Late, Rejection::Duplicate];
    let nests = snap.nests.len();
    for (i, nest) in snap.nests.iter_mut().enumerate() {
        for (j, probe) in nest.probes.iter_mut().enumerate() {
            probe.rejected = (j <= turn).then(|| doubts[(j + turn) % 4]);
            probe.fault = j.is_multiple_of(2).then(|| (faults[(i + j + turn) % 4], at.minus(Span::from_h(50))));
            probe.reads_off_k = Some((0.7, 0.1));
        }
        let not = [NotTaken::Unsettled, NotTaken::ExplainsWorse, NotTaken::ForetellsWorse, NotTaken::Untried];
        nest.fit.refused = Some((at.minus(Span::from_h(3)), not[(turn + i) % 4]));
        nest.fit.learned = (i != 0).then(|| at.minus(Span::from_h(30)));
        if turn == 2 && i + 1 == nests {
            nest.heard = Some(at.minus(Span::from_h(2)));
        }
        if turn == 3 {
            nest.brood_c = None;
        }
        let brood = nest.brood_c.as_mut().filter(|_| turn == 1 || turn == 2);
        if let Some(brood) = brood {
            brood.0 = if turn == 1 { 12.0 } else { 44.0 };
        }
    }
    snap
}

/// A history of its own in which every alarm was raised, with what followed.
pub(super) fn story_of_all(dir: &Path) -> PathBuf {
    let path = dir.join("warmend.db");
    let at = made().end.minus(Span::from_min(40));
    let mut store = Store::open(&path, at).unwrap().store;
    let mut changes = Vec::new();
    for (i, alarm) in Alarm::ALL.iter().enumerate() {
        let raised = AlarmRecord {
            at,
            state: State::Unacknowledged,
            cause: (i % 4 == 1).then_some(Alarm::BroodCold),
            told: i % 4 == 2,
            detail: evidence::said(i),
            // One was put away before it was ever raised.
            ..samples::told(*alarm, if i == 4 { Event::OutOfService } else { Event::Raised }, "oak").change
        };
        let events = [
            Event::Acknowledged,
            Event::Unacknowledged,
            Event::Returned,
            Event::Reset,
            Event::Shelved,
            Event::Unshelved,
            Event::Suppressed,
            Event::Unsuppressed,
            Event::OutOfService,
            Event::InService,
            Event::Cleared,
        ];
        let next = AlarmRecord {
            at: at.plus(Span::from_min(5)),
            event: events[i % events.len()],
            detail: String::new(),
            told: false,
            ..raised.clone()
        };
        let over =
            AlarmRecord { at: at.plus(Span::from_min(9)), event: Event::Cleared, state: State::Normal, ..next.clone() };
        changes.extend([raised, next]);
        changes.extend(i.is_multiple_of(3).then_some(over));
    }
    let note = |kind: &str, text: &str| KeeperNote {
        at: at.plus(Span::from_min(5)),
        nest: Some("oak".to_owned()),
        at_mm: Some(60.0),
        kind: kind.to_owned(),
        text: text.to_owned(),
    };
    let notes = ["brood", "fed", "water", "refilled", "opened", "moved", "eggs", "other"].map(|kind| note(kind, "x."));
    let delivery = |way: &str, outcome: &str| Delivery {
        change: Some(1),
        way: way.to_owned(),
        attempt: 1,
        at: at.plus(Span::from_s(5)),
        outcome: outcome.to_owned(),
    };
    let deliveries = vec![delivery("webhook", "refused"), delivery("mail", "sent")];
    let batch = Batch { changes, notes: notes.into(), ..Batch::default() };
    store.commit(&[batch]).unwrap().remove(0).unwrap();
    store.commit(&[Batch { deliveries, ..Batch::default() }]).unwrap().remove(0).unwrap();
    path
}
