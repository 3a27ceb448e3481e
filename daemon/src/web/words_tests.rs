//! Every page of the daemon over real connections, in all the states that a test can make.
use super::tests::{Served, serve, serve_at};
use crate::acts::NOTE_KINDS;
use crate::evidence::samples as evidence;
use crate::history::Reader;
use crate::notices::samples;
use crate::shelf_file::{check_text, material_names};
use crate::views::login::{Said, login_page};
use crate::views::sample::{at_h, made, silent};
use crate::views::start_lines::{Answers, lines};
use dashboards::say::{Language, in_language};
use enclosure::{Alarm, Event};
use states::{ILL, empty, ill, story_of_all};
use std::collections::BTreeMap;
use std::path::Path;

mod states;

#[expect(unreachable_pub, reason = "it is a module of the whole-system tests, too")]
#[path = "../../../tests/src/words.rs"]
pub(crate) mod words;
use words::{unsaid, unsaid_text};

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

/// What is looked at in every state: every page that needs no more than its address, and every live part.
const PAGES: [&str; 16] = [
    "/",
    "/fragment",
    "/alarms",
    "/alarms/fragment",
    "/nodes",
    "/nodes/fragment",
    "/notes",
    "/notes/fragment",
    "/notes/fragment?nest=oak",
    "/watch",
    "/watch/fragment",
    "/nest/oak/fragment",
    "/login",
    "/plan",
    "/plan/fragment",
    "/health",
];

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
            let asked = format!("name={}@oak", alarm.name());
            let (page, part) = (format!("/alarm?{asked}"), format!("/alarm/fragment?{asked}"));
            get(&mut out, &name, &served, &[&page, &part]).await;
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
const PHRASES: [&str; 22] = [
    "two heaps &amp; &lt;eggs&gt;",
    "DANGER: nest oak.",
    "Something was seen.",
    "refused",
    "webhook",
    "mail",
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

/// What the pages show and what is no string of theirs: what is kept in history as it was said, names and keys.
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
    phrases.push(history.with_file_name("none.db").display().to_string());
    for query in ROOMS.iter().filter_map(|path| path.strip_prefix("/start?")) {
        let pairs = query.split('&').filter_map(|pair| pair.split_once('='));
        let lines = lines(&Answers::of(pairs.map(|(name, value)| (name.to_owned(), value.to_owned()))));
        phrases.extend(lines.text.lines().map(str::to_owned));
        let whole = format!("{}\n{}", made().file.text, lines.text);
        match check_text(&whole, &made().file.path, std::iter::empty()) {
            Ok((_, advice)) => phrases.extend(advice.into_iter().map(|a| a.key)),
            Err(e) => phrases.extend(e.errors().iter().map(|e| e.key.clone())),
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
