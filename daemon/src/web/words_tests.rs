//! Every page of the daemon over real connections, in all the states that a test can make.
use super::tests::{Served, serve, serve_at};
use crate::acts::NOTE_KINDS;
use crate::evidence::samples as evidence;
use crate::history::{AlarmRecord, Batch, Delivery, KeeperNote, Reader, Store};
use crate::notices::samples;
use crate::permit::HeatNow;
use crate::shelf_file::{check_text, material_names};
use crate::snapshot::{MirrorNow, NodeNow, Snapshot, StandingAlarm};
use crate::views::login::{Said, login_page};
use crate::views::sample::{at_h, made, silent};
use crate::views::start_lines::{Answers, lines};
use dashboards::say::{Language, in_language};
use enclosure::estimate::NotTaken;
use enclosure::permit::{Unheated, Withheld};
use enclosure::trust::Fault;
use enclosure::{Alarm, AlarmKey, Event, Rejection, Shelf, Span, State};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use wire::HeatOff;

#[expect(unreachable_pub, reason = "it is a module of the whole-system tests, too")]
#[path = "../../../tests/src/words.rs"]
pub(crate) mod words;
use words::{unsaid, unsaid_text};

const ILL: [State; 7] = [
    State::Unacknowledged,
    State::Acknowledged,
    State::Returned,
    State::Latched,
    State::Shelved,
    State::Suppressed,
    State::OutOfService,
];

fn empty() -> Snapshot {
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
        detail: evidence::said(Alarm::ALL.iter().position(|a| *a == alarm).unwrap_or(0)),
        cause: (i % 5 == 1).then_some(Alarm::BroodCold),
        until: i.is_multiple_of(3).then(|| made().end.plus(Span::from_h(30))),
    }
}

/// Everything goes wrong at once.
fn ill(turn: usize) -> Snapshot {
    let mut snap = made().snapshot.clone();
    let at = snap.at;
    snap.alarms = Alarm::ALL.iter().enumerate().map(|(i, alarm)| standing(i + turn, *alarm)).collect();
    let v = &mut snap.vitals;
    v.broker_lost = Some("refused".to_owned());
    v.history_failing = (turn == 0).then(|| "disk full".to_owned());
    v.notices_failing = BTreeMap::from([("webhook".to_owned(), "refused".to_owned())]);
    v.refused = BTreeMap::from([("unit", 3)]);
    v.rejected = BTreeMap::from([("wild", 2)]);
    (v.duplicates, v.thinned, v.dropped) = (4, (5, 6), 7);
    v.waiting = vec![("intake", 3, 8), ("acts", 7, 8)];
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
fn story_of_all(dir: &Path) -> std::path::PathBuf {
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

type Pages = Vec<(String, String)>;

async fn get(out: &mut Pages, name: &str, served: &Served, paths: &[&str]) {
    for path in paths {
        let (status, page) = served.page(path).await;
        out.push((format!("{name} {path} {status}"), page));
    }
}

async fn post(out: &mut Pages, name: &str, served: &Served, posts: &[(&str, &'static str)]) {
    for (path, body) in posts {
        let answer = served.post(path, body, &[]).await;
        let status = answer.status().as_u16();
        out.push((format!("{name} POST {path} {body} {status}"), answer.text().await.unwrap()));
    }
}

const PAGES: [&str; 9] =
    ["/", "/fragment", "/alarms", "/nodes", "/notes", "/watch", "/nest/oak/fragment", "/login", "/plan/fragment"];

/// What a browser that asks for spans, pictures and plans gets.
const ASKED: [&str; 27] = [
    "/nest/oak",
    "/nest/plaster?from=1d",
    "/nest/oak?span=month&with=before",
    "/nest/oak?span=season",
    "/nest/oak?span=year&with=before",
    "/nest/oak?span=day&with=plaster&base=10",
    "/nest/oak?from=3h&to=1h",
    "/nest/oak?from=9h&to=2h&with=before",
    "/nest/oak?from=1d&to=2d",
    "/nest/oak?span=aeon",
    "/nest/oak?from=9000d",
    "/nest/none",
    "/nowhere",
    "/nest/oak/week.svg?from=1d",
    "/nest/oak/week.svg?from=9000d",
    "/plan?nest=oak",
    "/plan?nest=none",
    "/plan?length=200",
    "/plan?watts=1&watts=2",
    "/plan?nest=oak&watts=40&limit=33&material_limit=60",
    "/plan?nest=oak&watts=0.5&limit=33&material_limit=60&hold=26",
    "/plan?nest=oak&watts=3&limit=&hold=60&material_limit=60&cover=lid&warm_room=36",
    "/plan?length=300&width=80&height=20&material=printed&pad_from=100&pad_to=180&watts=3&where=under&limit=31",
    "/plan?length=60&material=acrylic&pad_from=0&pad_to=60&watts=0.004&where=lid",
    "/plan?length=400&pad_from=300&pad_to=400&watts=8&where=beside&limit=20&material_limit=30&warm_room=38&hold=24",
    "/alarm?name=heater-stuck-on@oak",
    "/alarm?name=nothing",
];

const ROOMS: [&str; 12] = [
    "/notes?nest=oak",
    "/notes?nest=none",
    "/alarm?name=water-low@oak",
    "/alarm?name=heater-stuck-on@oak&id=x",
    "/start",
    "/start?write=yes",
    "/start?id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=yes&from=0&to=60&watts=5&cutoff=&write=yes",
    "/start?id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=yes&from=0&to=600&watts=5&cutoff=yes&write=yes",
    "/start?id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=&write=yes",
    "/start?id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=no&material=beech&write=yes",
    "/start?id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=yes&from=0&to=60&write=yes",
    "/answer/none",
];

const POSTS: [(&str, &str); 17] = [
    ("/watch", "do=seen&code=12345678"),
    ("/watch", "do=explode"),
    ("/watch", "do=test"),
    ("/alarm", "do=explode"),
    ("/alarm", "do=ack&alarm=none"),
    ("/alarm", "do=ack&alarm=brood-hot&nest=none"),
    ("/alarm", "do=shelve&alarm=brood-hot&nest=oak&minutes=x"),
    ("/alarm", "do=shelve&alarm=brood-hot&nest=oak&minutes=9999999"),
    ("/alarm", "do=put-back-fit&nest=oak&fit=0"),
    ("/alarm", "do=put-back-fit&nest=oak&fit=x"),
    ("/alarm", "left=right"),
    ("/note", "nest=oak&kind=none"),
    ("/note", "nest=oak&kind=fed&at=2999-01-01T00:00:00Z"),
    ("/note", "nest=oak&kind=fed&at_mm=5000"),
    ("/note", "nest=oak&kind=fed&at_mm=x"),
    ("/note", "nest=oak&kind=fed&at=x"),
    ("/login", "password=x"),
];

/// Every page, by the name of its state and its address.
async fn pages(history: &Path) -> Pages {
    let mut out = Pages::new();
    let served = serve(made().snapshot.clone()).await;
    for list in [&PAGES[..], &ASKED, &ROOMS] {
        get(&mut out, "made", &served, list).await;
    }
    post(&mut out, "made", &served, &POSTS).await;
    links(&mut out, &served).await;
    let served = serve(silent()).await;
    get(&mut out, "silent", &served, &PAGES).await;
    get(&mut out, "silent", &served, &["/nest/oak"]).await;
    let served = serve(empty()).await;
    get(&mut out, "empty", &served, &[&PAGES[..], &["/start"]].concat()).await;
    for turn in 0..ILL.len() {
        let name = format!("ill {turn}");
        let served = serve_at(ill(turn), "127.0.0.1:0", history.to_owned()).await;
        get(&mut out, &name, &served, &PAGES).await;
        get(&mut out, &name, &served, &["/nest/oak", "/nest/plaster"]).await;
        // Three of them show every alarm's story in several states.
        for alarm in Alarm::ALL.into_iter().filter(|_| turn.is_multiple_of(3)) {
            get(&mut out, &name, &served, &[&format!("/alarm?name={}@oak", alarm.name())]).await;
        }
    }
    let served = serve_at(made().snapshot.clone(), "127.0.0.1:0", history.with_file_name("none.db")).await;
    get(
        &mut out,
        "unread",
        &served,
        &["/nest/oak", "/alarms", "/nodes", "/notes", "/watch", "/alarm?name=brood-hot@oak"],
    )
    .await;
    for said in [Said::Open, Said::Nothing, Said::Wrong, Said::Braked(9), Said::Full, Said::Inside] {
        out.push((format!("login {said:?}"), dashboards::sheet_html(&login_page(&said, "/"))));
    }
    out
}

/// The pages behind links of messages.
async fn links(out: &mut Pages, served: &Served) {
    let linked = |id: i64| {
        let mut told = samples::told(Alarm::HeaterStuckOn, Event::Raised, "oak");
        told.id = Some(id);
        served.answering.hear(&told, "DANGER: nest oak.");
        let link = served.answering.link(&told, 0).unwrap();
        link.strip_prefix("http://shelf.example:7180").unwrap().to_owned()
    };
    let path = linked(7);
    get(out, "linked", served, &[&path]).await;
    post(
        out,
        "linked",
        served,
        &[(&path, "do=explode"), (&path, "left=right"), (&path, "do=pass"), (&path, "do=pass")],
    )
    .await;
    get(out, "linked", served, &[&path]).await;
}

/// Names of the made shelf.
const NAMES: [&str; 2] = ["study oak plaster yew", "Oak Plaster"];

/// What the made states say in words of their own, and words of addresses.
const PHRASES: [&str; 27] = [
    "two heaps &amp; &lt;eggs&gt;",
    "DANGER: nest oak.",
    "Something was seen.",
    "refused",
    "disk full",
    "webhook",
    "mail",
    "unit",
    "wild",
    "intake",
    "acts",
    "“none”",
    "shelf.toml",
    "warmend/NODE/senml",
    "day, week, month, season, year",
    "--watts",
    "up_s",
    "attic-node",
    "oak-node",
    "plaster-node",
    "elm-node",
    "yew-node:warm",
    ">warm<",
    ">brood<",
    ">cool<",
    ">room<",
    "\"nothing\"",
];

/// What the pages show and what is no string of theirs: what the store and the reader of the shelf file wrote.
fn phrases(history: &Path) -> Vec<String> {
    let mut phrases: Vec<String> = PHRASES.map(str::to_owned).into();
    phrases.push(NOTE_KINDS.join(", "));
    phrases.extend(Alarm::ALL.map(|alarm| alarm.name().to_owned()));
    phrases.extend(material_names().into_iter().map(str::to_owned));
    phrases.extend(made().snapshot.sources.iter().cloned());
    for path in [made().history(), history.to_owned()] {
        let reader = Reader::open(&path).unwrap();
        phrases.extend(reader.gaps(at_h(-1e4)..at_h(1e4)).unwrap().into_iter().map(|gap| gap.why));
    }
    phrases.extend(Reader::open(&history.with_file_name("none.db")).err().map(|e| e.to_string()));
    for query in ROOMS.iter().filter_map(|path| path.strip_prefix("/start?")) {
        let pairs = query.split('&').filter_map(|pair| pair.split_once('='));
        let lines = lines(&Answers::of(pairs.map(|(name, value)| (name.to_owned(), value.to_owned()))));
        phrases.extend(lines.text.lines().map(str::to_owned));
        let whole = format!("{}\n{}", made().file.text, lines.text);
        match check_text(&whole, &made().file.path, std::iter::empty()) {
            Ok((_, advice)) => phrases.extend(advice.into_iter().flat_map(|a| [a.key, a.why, a.remedy])),
            Err(e) => {
                phrases.extend(e.errors().iter().flat_map(|e| [e.key.clone(), e.why.clone(), e.remedy.clone()]));
            }
        }
    }
    let escaped =
        |text: &String| text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
    phrases = phrases.iter().map(escaped).chain(phrases.iter().cloned()).filter(|text| text.len() > 2).collect();
    // The longest first: a name may stand within a sentence.
    phrases.sort_by_key(|text| std::cmp::Reverse(text.len()));
    phrases
}

#[test]
fn every_page_opens_whatever_goes_wrong_and_every_word_of_it_comes_from_the_table() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let dir = tempfile::tempdir().unwrap();
    let (phrases, pages, evidence) = in_language(Language::Marked, || {
        let history = story_of_all(dir.path());
        let evidence: Vec<String> = (0..Alarm::ALL.len()).map(evidence::said).collect();
        (phrases(&history), runtime.block_on(pages(&history)), evidence)
    });
    for said in evidence {
        assert!(pages.iter().any(|(_, page)| page.contains(&said)), "shown nowhere: {said}");
    }
    let mut found = BTreeMap::new();
    for (name, mut page) in pages {
        let leads_on = name.ends_with("303");
        assert!((leads_on || !page.is_empty()) && !name.ends_with("500"), "{name}");
        for phrase in &phrases {
            page = page.replace(phrase, " ");
        }
        let is_page = page.trim_start().starts_with('<');
        for word in if is_page { unsaid(&page, &NAMES) } else { unsaid_text(&page, &NAMES) } {
            found.entry(word).or_insert(name.clone());
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}
