//! The watch itself: whether it judges, writes, tells and is heard, and what it lost.
//! Every sentence of that page stands in this file.
use super::hours::Hours;
use super::now::live_part;
use super::words;
use crate::history::Sizes;
use crate::notices::Proof;
use crate::snapshot::{Snapshot, Vitals};
use dashboards::{Button, Cell, Field, FieldKind, Form, Link, Part, SheetPage, Table, Tone};
use enclosure::{Span, Timestamp};

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

/// The page; its frame is left to the caller.
pub fn watch_page(snap: &Snapshot, now: Timestamp, hours: &Hours, itself: &Itself) -> SheetPage {
    let (well, why) = &itself.health;
    let tone = if *well { Tone::Calm } else { Tone::Warning };
    let title = if *well { "The watch is well" } else { "The watch is not well" };
    let mut parts = vec![Part::Says(vec![words::sentence_case(why) + "."])];
    if !well {
        let look = "Until it is well again, look at the nests yourself.";
        parts = vec![Part::Warns(Tone::Warning, vec![words::sentence_case(why) + ".", look.to_owned()])];
    }
    parts.push(Part::Facts(program(snap, now, hours)));
    parts.push(Part::Heading("Ways out".to_owned()));
    parts.extend(ways(itself, now, hours));
    parts.push(Part::Heading("Readings".to_owned()));
    parts.push(Part::Facts(readings(snap, itself, now)));
    parts.push(Part::Table(losses(&snap.vitals, itself)));
    parts.push(Part::Table(queues(&snap.vitals)));
    parts.push(Part::Heading("History".to_owned()));
    parts.push(Part::Facts(history(&snap.vitals, itself)));
    parts.push(Part::Heading("Mirror".to_owned()));
    parts.push(mirror(&snap.vitals, now, hours));
    let as_of = format!("As of {}, shelf time.", hours.second(snap.at, now));
    let again = Link { label: "Look again.".to_owned(), url: WATCH_PATH.to_owned(), current: false };
    // What came of a test just now would be gone at the next look.
    let follows = itself.tested.is_empty() && itself.seen.is_none();
    let live = follows.then(|| live_part(snap, (now, hours), WATCH_PATH));
    SheetPage { title: title.to_owned(), tone, as_of: Some((as_of, again)), live, parts, ..SheetPage::default() }
}

fn fact(name: &str, value: impl Into<String>) -> (String, String) {
    (name.to_owned(), value.into())
}

fn program(snap: &Snapshot, now: Timestamp, hours: &Hours) -> Vec<(String, String)> {
    vec![
        fact("Version", env!("CARGO_PKG_VERSION")),
        fact(
            "Runs since",
            format!("{}, for {}", hours.near(snap.started, now), now.since(snap.started).max(Span::ZERO)),
        ),
        fact(
            "Newest reading judged",
            snap.vitals.judged.map_or("none yet".to_owned(), |t| format!("{} ago", now.since(t).max(Span::ZERO))),
        ),
    ]
}

fn readings(snap: &Snapshot, itself: &Itself, now: Timestamp) -> Vec<(String, String)> {
    let v = &snap.vitals;
    let broker = v.broker_lost.as_ref().map_or("in reach".to_owned(), |why| format!("out of reach: {why}"));
    let judged = v.readings.to_string();
    let rate = v.readings as f64 / now.since(snap.started).s().max(60.0) * 60.0;
    vec![
        fact("Broker", format!("{}, {broker}", itself.broker)),
        fact("Messages received", v.messages.to_string()),
        fact("Readings judged", format!("{judged}, {rate:.0} a minute")),
        fact("Alarms told, and raised", format!("{} of {}", v.told, v.raised.values().sum::<u64>())),
        fact("From arrival to disk", format!("{} ms, worst of a minute {} ms", v.commit_ms.0, v.commit_ms.1)),
    ]
}

/// Everything that was counted and is not there: with what it means.
fn losses(v: &Vitals, itself: &Itself) -> Table {
    let mut rows: Vec<(String, u64, String)> = vec![
        ("messages dropped for lack of room".to_owned(), v.dropped, "their nodes keep and send them again".to_owned()),
        ("readings that were there already".to_owned(), v.duplicates, "a pack came twice; stored once".to_owned()),
        ("readings thinned to hours".to_owned(), v.thinned.0, "the shelf file bounds history".to_owned()),
        ("readings of which nothing is left".to_owned(), v.thinned.1, "the shelf file bounds history".to_owned()),
        (
            "requests to these pages refused".to_owned(),
            itself.requests.1,
            "sent by a page from elsewhere, or to a foreign name".to_owned(),
        ),
        ("requests sent away".to_owned(), itself.requests.2, "too many at once, or too slow".to_owned()),
    ];
    rows.extend(
        v.refused.iter().map(|(why, n)| {
            (format!("records refused: {why}"), *n, "they were no readings of a listed probe".to_owned())
        }),
    );
    rows.extend(v.rejected.iter().map(|(why, n)| {
        (format!("readings not believed: {why}"), *n, "stored, with the reason beside them".to_owned())
    }));
    rows.extend(v.mirror.iter().map(|m| {
        ("lines that the mirror never gets".to_owned(), m.lost, "refused there for good, or too late".to_owned())
    }));
    let rows = rows.into_iter().filter(|(_, n, _)| *n > 0);
    Table {
        caption: "Lost, refused or left out since the start".to_owned(),
        columns: ["what", "how many", "what that means"].map(str::to_owned).into(),
        rows: rows.map(|(what, n, means)| vec![Cell::of(what), Cell::of(n.to_string()), Cell::of(means)]).collect(),
        empty: "Nothing was lost, refused or left out since the start.".to_owned(),
    }
}

fn queues(v: &Vitals) -> Table {
    let row = |(what, waiting, most): &(&str, usize, usize)| {
        let full = waiting * 2 > *most;
        let count = Cell::of(format!("{waiting} of {most}")).loud(if full { Tone::Warning } else { Tone::Calm });
        vec![Cell::of(*what), count]
    };
    Table {
        caption: "What waits".to_owned(),
        columns: ["queue", "waiting, of the room there is"].map(str::to_owned).into(),
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
    let state = v.history_failing.as_ref().map_or("is written".to_owned(), |why| format!("cannot be written: {why}"));
    let mut facts = vec![fact("History", state), fact("Stored since the start", v.stored.to_string())];
    match &itself.sizes {
        Some(Ok(s)) => {
            let kept = s.hot_readings + s.packed_readings;
            facts.push(fact("Kept in all", format!("{kept} readings, {} of them packed", s.packed_readings)));
            if s.thinned_readings > 0 {
                facts.push(fact("Kept as hours only", s.thinned_readings.to_string()));
            }
            facts.push(fact("On disk", bytes(s.file_bytes)));
        }
        Some(Err(why)) => facts.push(fact("On disk", format!("cannot be told: {why}"))),
        None => {}
    }
    if let Some(free) = itself.free_bytes {
        let little = if free < FREE_LEAST { ": make room" } else { "" };
        facts.push(fact("Free beside it", format!("{}{little}", bytes(free))));
    }
    facts
}

fn mirror(v: &Vitals, now: Timestamp, hours: &Hours) -> Part {
    let Some(m) = &v.mirror else { return Part::Says(vec!["The shelf file asks for none.".to_owned()]) };
    let mut facts = vec![
        fact(
            "State",
            m.failing.as_ref().map_or("takes what it is sent".to_owned(), |why| format!("takes nothing: {why}")),
        ),
        fact("Last up to date", m.caught_up.map_or("not since the start".to_owned(), |t| hours.near(t, now))),
        fact("Behind by", format!("{} readings", m.waiting)),
    ];
    if m.due > 0 {
        facts.push(fact("Older days to be sent", m.due.to_string()));
    }
    Part::Facts(facts)
}

/// Every way out with its last proof, and a test.
fn ways(itself: &Itself, now: Timestamp, hours: &Hours) -> Vec<Part> {
    let moment = |t: Option<Timestamp>, never: &str| t.map_or(never.to_owned(), |t| hours.near(t, now));
    let row = |p: &Proof| {
        let stale = p.carries_danger && p.seen.is_none_or(|at| now.since(at) > crate::notices::PROOF_HOLDS);
        let seen = Cell::of(moment(p.seen, "never")).loud(if stale { Tone::Warning } else { Tone::Calm });
        let danger = if p.carries_danger { "yes" } else { "no: it reaches no person, or takes no danger" };
        vec![Cell::of(&p.way), Cell::of(danger), Cell::of(moment(p.accepted, "never")), seen]
    };
    let mut parts = vec![Part::Table(Table {
        caption: "How you are told, and how far that is proved".to_owned(),
        columns: ["way", "carries a danger", "other side took a test", "a person saw one"].map(str::to_owned).into(),
        rows: itself.proofs.iter().map(row).collect(),
        empty: "The shelf file names no way but the log: nobody is told of anything.".to_owned(),
    })];
    if !itself.tested.is_empty() {
        let said = itself.tested.iter().map(|(way, result)| match result {
            Ok(()) => format!("{way}: taken by the other side. Whether a person sees it, only a person can say."),
            Err(why) => format!("{way}: did not get out: {why}."),
        });
        parts.push(Part::Says(said.collect()));
    }
    match &itself.seen {
        Some(Ok(way)) => parts.push(Part::Says(vec![format!("It is written down that a person saw a test by {way}.")])),
        Some(Err(why)) => parts.push(Part::Warns(Tone::Warning, vec![format!("That proves nothing: {why}.")])),
        None => {}
    }
    let test = Form {
        heading: "Send a test".to_owned(),
        says: vec!["Sends a message by every way. It says that it is a test, and carries a code.".to_owned()],
        url: WATCH_PATH.to_owned(),
        hidden: vec![("do".to_owned(), "test".to_owned())],
        buttons: vec![Button { label: "Send a test by every way".to_owned(), sends: None }],
        ..Form::default()
    };
    let code = Field {
        name: "code".to_owned(),
        label: "Its code".to_owned(),
        kind: FieldKind::Line(12),
        value: String::new(),
        help: "Eight digits. Send the test at an hour when you would have to hear a danger, too.".to_owned(),
        needed: true,
    };
    let seen = Form {
        heading: "Say that you saw one".to_owned(),
        says: vec!["Only this proves a way: that the message reached a person.".to_owned()],
        url: WATCH_PATH.to_owned(),
        hidden: vec![("do".to_owned(), "seen".to_owned())],
        groups: vec![(String::new(), vec![code])],
        buttons: vec![Button { label: "I saw it".to_owned(), sends: None }],
        ..Form::default()
    };
    parts.push(Part::Forms(vec![test, seen]));
    parts
}
