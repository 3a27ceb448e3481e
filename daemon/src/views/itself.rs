//! The watch itself: whether it judges, writes, tells and is heard, and what it lost.
use super::hours::{Hours, ago};
use super::now::live_part;
use super::words;
use crate::history::Sizes;
use crate::notices::Proof;
use crate::snapshot::{Snapshot, Vitals};
use crate::times::length;
use dashboards::{Button, Cell, Field, FieldKind, Form, Link, Part, SheetPage, Table, Tone, capital, say};
use enclosure::Timestamp;

/// Where that page is.
pub const WATCH_PATH: &str = "/watch";
/// Less free than this is said loudly, bytes: a season of a shelf, many times over.
const FREE_LEAST: u64 = 200_000_000;

/// What the page needs beside the picture.
#[derive(Clone, Debug, Default)]
pub struct Itself {
    /// Whether the watch is well, and why: one sentence without its full stop.
    pub health: (bool, String),
    /// How much history there is, or why that cannot be told.
    pub sizes: Option<Result<Sizes, String>>,
    /// Bytes free where history lies.
    pub free_bytes: Option<u64>,
    /// Every way out, and how far it is proved.
    pub proofs: Vec<Proof>,
    /// What a test of the ways came to just now.
    pub tested: Vec<(String, Result<(), String>)>,
    /// What came of a code just now.
    pub seen: Option<Result<String, String>>,
    /// Where the broker is.
    pub broker: String,
    /// Requests to the pages: answered, refused, sent away.
    pub requests: (u64, u64, u64),
}

/// When a page of parts was true, and the link that asks for it anew at `url`.
pub(super) fn as_of(snap: &Snapshot, (now, hours): (Timestamp, &Hours), url: &str) -> (String, Link) {
    let again = Link { label: say!("sheet-again"), url: url.to_owned(), current: false };
    (say!("sheet-as-of", at = hours.second(snap.at, now)), again)
}

/// The page; its frame is left to the caller.
pub fn watch_page(snap: &Snapshot, now: Timestamp, hours: &Hours, itself: &Itself) -> SheetPage {
    let (well, why) = &itself.health;
    let tone = if *well { Tone::Calm } else { Tone::Warning };
    let title = match (*well, reaches(itself)) {
        (true, true) => say!("watch-well"),
        (true, false) => say!("watch-well-unheard"),
        (false, _) => say!("watch-not-well"),
    };
    let because = say!("refused-because", why = capital(why));
    let mut parts = vec![if *well {
        Part::Says(vec![because])
    } else {
        Part::Warns(Tone::Warning, vec![because, say!("watch-look-yourself")])
    }];
    parts.push(Part::Facts(program(snap, now, hours)));
    parts.push(Part::Heading(say!("watch-head-ways")));
    parts.extend(ways(itself, now, hours));
    parts.push(Part::Heading(say!("watch-head-readings")));
    parts.push(Part::Facts(readings(snap, itself, now)));
    parts.push(Part::Table(losses(&snap.vitals, itself)));
    parts.push(Part::Table(queues(&snap.vitals)));
    parts.push(Part::Heading(say!("watch-head-history")));
    parts.push(Part::Facts(history(&snap.vitals, itself)));
    parts.push(Part::Heading(say!("watch-head-mirror")));
    parts.push(mirror(&snap.vitals, now, hours));
    // What came of a test just now would be gone at the next look.
    let follows = itself.tested.is_empty() && itself.seen.is_none();
    let live = follows.then(|| live_part(snap, (now, hours), WATCH_PATH));
    let as_of = Some(as_of(snap, (now, hours), WATCH_PATH));
    SheetPage { title, tone, as_of, live, parts, ..SheetPage::default() }
}

fn program(snap: &Snapshot, now: Timestamp, hours: &Hours) -> Vec<(String, String)> {
    let (at, for_length) = (hours.near(snap.started, now), length(now.since(snap.started)));
    let judged = snap.vitals.judged;
    vec![
        (say!("watch-version"), env!("CARGO_PKG_VERSION").to_owned()),
        (say!("watch-runs-since"), say!("hours-since", at = at, length = for_length)),
        (say!("watch-newest"), judged.map_or_else(|| say!("watch-none-yet"), |t| ago(t, now))),
    ]
}

fn readings(snap: &Snapshot, itself: &Itself, now: Timestamp) -> Vec<(String, String)> {
    let v = &snap.vitals;
    let state = match &v.broker_lost {
        None => say!("watch-broker-in-reach"),
        Some(why) => say!("watch-broker-out-of-reach", why = why),
    };
    let rate = v.readings as f64 / now.since(snap.started).s().max(60.0) * 60.0;
    let raised = v.raised.values().sum::<u64>();
    vec![
        (say!("watch-broker"), say!("watch-broker-state", place = &itself.broker, state = state)),
        (say!("watch-messages"), v.messages.to_string()),
        (say!("watch-judged"), say!("watch-judged-rate", count = v.readings, rate = format!("{rate:.0}"))),
        (say!("watch-told"), say!("watch-told-of", told = v.told, raised = raised)),
        (say!("watch-to-disk"), say!("watch-to-disk-ms", last = v.commit_ms.0, worst = v.commit_ms.1)),
    ]
}

/// Everything that was counted and is not there: with what it means.
fn losses(v: &Vitals, itself: &Itself) -> Table {
    let thinned = || say!("watch-lost-thinned-means");
    let mut rows: Vec<(String, u64, String)> = vec![
        (say!("watch-lost-dropped"), v.dropped, say!("watch-lost-dropped-means")),
        (say!("watch-lost-duplicates"), v.duplicates, say!("watch-lost-duplicates-means")),
        (say!("watch-lost-thinned"), v.thinned.0, thinned()),
        (say!("watch-lost-nothing-left"), v.thinned.1, thinned()),
        (say!("watch-lost-requests"), itself.requests.1, say!("watch-lost-requests-means")),
        (say!("watch-lost-busy"), itself.requests.2, say!("watch-lost-busy-means")),
    ];
    let refused = v.refused.iter();
    rows.extend(
        refused.map(|(why, n)| {
            (say!("watch-lost-refused", why = words::counted(why)), *n, say!("watch-lost-refused-means"))
        }),
    );
    let rejected = v.rejected.iter();
    rows.extend(rejected.map(|(why, n)| {
        (say!("watch-lost-rejected", why = words::counted(why)), *n, say!("watch-lost-rejected-means"))
    }));
    rows.extend(v.mirror.iter().map(|m| (say!("watch-lost-mirror"), m.lost, say!("watch-lost-mirror-means"))));
    let rows = rows.into_iter().filter(|(_, n, _)| *n > 0);
    Table {
        caption: say!("watch-losses"),
        columns: vec![say!("head-what"), say!("watch-losses-count"), say!("watch-losses-means")],
        rows: rows.map(|(what, n, means)| vec![Cell::of(what), Cell::of(n.to_string()), Cell::of(means)]).collect(),
        empty: say!("watch-losses-none"),
    }
}

fn queue_words(queue: &str) -> String {
    match queue {
        "inbox" => say!("watch-queue-inbox"),
        "flights" => say!("watch-queue-flights"),
        "untold" => say!("watch-queue-untold"),
        other => other.to_owned(),
    }
}

fn queues(v: &Vitals) -> Table {
    let row = |(what, waiting, most): &(&str, usize, usize)| {
        let full = waiting * 2 > *most;
        let count = Cell::of(say!("watch-queues-of", waiting = *waiting, most = *most));
        vec![Cell::of(queue_words(what)), count.loud(if full { Tone::Warning } else { Tone::Calm })]
    };
    Table {
        caption: say!("watch-queues"),
        columns: vec![say!("watch-queues-name"), say!("watch-queues-waiting")],
        rows: v.waiting.iter().map(row).collect(),
        empty: String::new(),
    }
}

/// Bytes in words.
fn bytes(n: u64) -> String {
    match n {
        0..1_000_000 => format!("{} kB", n / 1000),
        1_000_000..10_000_000_000 => format!("{:.1} MB", n as f64 / 1e6),
        _ => format!("{:.0} GB", n as f64 / 1e9),
    }
}

fn history(v: &Vitals, itself: &Itself) -> Vec<(String, String)> {
    let state = match &v.history_failing {
        None => say!("watch-history-written"),
        Some(why) => say!("watch-history-failing", why = why),
    };
    let mut facts = vec![(say!("watch-history"), state), (say!("watch-stored"), v.stored.to_string())];
    match &itself.sizes {
        Some(Ok(s)) => {
            let kept = s.hot_readings + s.packed_readings;
            let packed = s.packed_readings;
            facts.push((say!("watch-kept"), say!("watch-kept-packed", count = kept, packed = packed)));
            if s.thinned_readings > 0 {
                facts.push((say!("watch-kept-hours"), s.thinned_readings.to_string()));
            }
            facts.push((say!("watch-on-disk"), bytes(s.file_bytes)));
        }
        Some(Err(why)) => facts.push((say!("watch-on-disk"), say!("watch-on-disk-unknown", why = why))),
        None => {}
    }
    if let Some(free) = itself.free_bytes {
        let little = free < FREE_LEAST;
        let free = bytes(free);
        facts.push((say!("watch-free"), if little { say!("watch-free-little", bytes = free) } else { free }));
    }
    facts
}

fn mirror(v: &Vitals, now: Timestamp, hours: &Hours) -> Part {
    let Some(m) = &v.mirror else { return Part::Says(vec![say!("watch-mirror-none")]) };
    let state = match &m.failing {
        None => say!("watch-mirror-takes"),
        Some(why) => say!("watch-mirror-fails", why = why),
    };
    let last = m.caught_up.map_or_else(|| say!("hours-never"), |t| hours.near(t, now));
    let mut facts = vec![
        (say!("watch-mirror-state"), state),
        (say!("watch-mirror-last"), last),
        (say!("watch-mirror-behind"), say!("watch-mirror-readings", count = m.waiting)),
    ];
    if m.due > 0 {
        facts.push((say!("watch-mirror-due"), m.due.to_string()));
    }
    Part::Facts(facts)
}

/// Every way out with its last proof, and a test.
/// Whether a danger would reach anybody.
fn reaches(itself: &Itself) -> bool {
    itself.proofs.iter().any(|p| p.carries_danger)
}

fn ways(itself: &Itself, now: Timestamp, hours: &Hours) -> Vec<Part> {
    let moment = |t: Option<Timestamp>| t.map_or_else(|| say!("ways-never"), |t| hours.near(t, now));
    let row = |p: &Proof| {
        let stale = p.carries_danger && p.seen.is_none_or(|at| now.since(at) > crate::notices::PROOF_HOLDS);
        let seen = Cell::of(moment(p.seen)).loud(if stale { Tone::Warning } else { Tone::Calm });
        let danger = if p.carries_danger { say!("ways-yes") } else { say!("ways-no") };
        vec![Cell::of(&p.way), Cell::of(danger), Cell::of(moment(p.accepted)), seen]
    };
    let mut parts = Vec::new();
    if !reaches(itself) && !itself.proofs.is_empty() {
        parts.push(Part::Warns(Tone::Warning, vec![say!("ways-nobody")]));
    }
    parts.push(Part::Table(Table {
        caption: say!("ways-table"),
        columns: vec![say!("ways-way"), say!("ways-danger"), say!("ways-accepted"), say!("ways-seen")],
        rows: itself.proofs.iter().map(row).collect(),
        empty: say!("ways-nobody"),
    }));
    if !itself.tested.is_empty() {
        let said = itself.tested.iter().map(|(way, result)| match result {
            Ok(()) => say!("ways-taken", way = way),
            Err(why) => say!("ways-not-taken", way = way, why = why),
        });
        parts.push(Part::Says(said.collect()));
    }
    match &itself.seen {
        Some(Ok(way)) => parts.push(Part::Says(vec![say!("ways-proved", way = way)])),
        Some(Err(why)) => parts.push(Part::Warns(Tone::Warning, vec![say!("ways-proves-nothing", why = why)])),
        None => {}
    }
    parts.push(Part::Forms(trials()));
    parts
}

/// Sends a test, and takes its code.
fn trials() -> Vec<Form> {
    let test = Form {
        heading: say!("ways-test"),
        says: vec![say!("ways-test-says")],
        url: WATCH_PATH.to_owned(),
        hidden: vec![("do".to_owned(), "test".to_owned())],
        buttons: vec![Button { label: say!("ways-test-send"), sends: None }],
        ..Form::default()
    };
    let code = Field {
        name: "code".to_owned(),
        label: say!("ways-code"),
        kind: FieldKind::Line(12),
        value: String::new(),
        help: say!("ways-code-help"),
        needed: true,
    };
    let seen = Form {
        heading: say!("ways-saw"),
        says: vec![say!("ways-saw-says")],
        url: WATCH_PATH.to_owned(),
        hidden: vec![("do".to_owned(), "seen".to_owned())],
        groups: vec![(String::new(), vec![code])],
        buttons: vec![Button { label: say!("ways-saw-it"), sends: None }],
        ..Form::default()
    };
    vec![test, seen]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notices::{Ledger, proofs};
    use crate::views::sample::{made, utc};

    /// Whoever has only the log believes to be watched over, and sleeps.
    #[test]
    fn where_no_way_reaches_a_person_it_is_said_and_what_to_do() {
        let now = made().end;
        let said = |text: &str| {
            let text =
                format!("[[nest]]\nid = \"oak\"\nlength_mm = 240\n[[nest.probe]]\nsource = \"n:a\"\nat_mm = 9\n{text}");
            let file = crate::shelf_file::sample::read(&text, std::path::Path::new("/etc/shelf.toml"));
            let itself = Itself { proofs: proofs(&file.notices, &Ledger::default()), ..Itself::default() };
            let page = watch_page(&made().snapshot, now, &utc(), &itself);
            dashboards::sheet_html(&page).contains("No way reaches a person")
        };
        let hook = "[[notice]]\nway = \"webhook\"\nurl = \"http://127.0.0.1:9/x\"\n";
        assert!(said("") && said("[[notice]]\nway = \"log\"\n"));
        assert!(!said(hook));
    }
}
