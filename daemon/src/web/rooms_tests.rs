//! The pages of parts over real connections: what a keeper finds there, and that hostile text stays text.
use super::tests::{serve, serve_at};
use crate::history::{AlarmRecord, Batch, Store};
use crate::notices::samples;
use crate::snapshot::{ActKind, AlarmAct, NodeNow, Snapshot};
use crate::views::sample::{made, silent};
use enclosure::{Alarm, Event, Shelf, Span, State};
use std::collections::BTreeMap;
use std::sync::Arc;

const HOSTILE: &str = "\"><script>alert(1)</script><img src=x onerror=alert(2)>'";

fn empty() -> Snapshot {
    let before = made().snapshot.clone();
    let shelf = Shelf { nests: Vec::new(), ..(*before.shelf).clone() };
    let strangers = vec![("yew-node:warm".to_owned(), "24.25 Cel".to_owned(), before.at)];
    Snapshot {
        shelf: Arc::new(shelf),
        sources: Arc::new([]),
        nests: Vec::new(),
        alarms: Vec::new(),
        strangers,
        ..before
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_story_has_its_evidence_its_minutes_and_what_can_be_done() {
    let served = serve(made().snapshot.clone()).await;
    let (status, page) = served.page("/alarm?name=heater-stuck-on@oak").await;
    assert_eq!(status, 200);
    for part in [
        "Oak: the heating mat will not switch off",
        "shelf time. Older than 2 min: do not rely on it.",
        "What raised it",
        "<svg",
        "The minutes around it, oak",
        "What happened",
        "No message about it is known to have got out",
        "It switches nothing",
        "can be silenced for half an hour at most",
        "name=\"why\"",
    ] {
        assert!(page.contains(part), "{part} is missing: {page}");
    }
    // What the message said: how sure, what it means for the brood; and how the nest stands by now.
    for part in
        ["How sure: Worked out from how the nest warmed", "For the brood: ", "The nest now", "The brood place is at "]
    {
        assert!(page.contains(part), "{part} is missing: {page}");
    }
    assert!(page.contains("<ol class=\"todo\"><li>Smoke, flame"), "{page}");
    // The page is about it: a line that leads to itself would only push the steps down.
    let own = page.split("id=\"alarm-heater-stuck-on--oak--\"").nth(1).and_then(|rest| rest.split('>').next());
    assert!(own.is_some_and(|tag| tag.ends_with(" hidden")), "{own:?}");
    // A danger is not offered more than its half hour.
    assert!(page.contains("value=\"30\"") && !page.contains("value=\"60\""));
    // Every row of the list of alarms leads to such a page.
    let (_, list) = served.page("/alarms").await;
    let links: Vec<String> = list
        .split("href=\"/alarm?")
        .skip(1)
        .filter_map(|rest| Some(rest.split('"').next()?.replace("&amp;", "&")))
        .collect();
    assert!(links.len() >= 2, "{list}");
    for link in links {
        let (status, page) = served.page(&format!("/alarm?{link}")).await;
        assert!(status == 200 && page.contains("What raised it"), "{link}: {status}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_put_away_before_it_was_ever_raised_has_a_page_that_leads_back() {
    let dir = tempfile::tempdir().unwrap();
    let at = made().end.minus(Span::from_min(10));
    let change = AlarmRecord {
        at,
        state: State::OutOfService,
        ..samples::told(Alarm::HeaterNoHeat, Event::OutOfService, "oak").change
    };
    let history = dir.path().join("warmend.db");
    let mut store = Store::open(&history, at).unwrap().store;
    store.commit(&[Batch { changes: vec![change], ..Batch::default() }]).unwrap().remove(0).unwrap();
    let mut snapshot = made().snapshot.clone();
    let mut standing = snapshot.alarms[0].clone();
    standing.key.alarm = Alarm::HeaterNoHeat;
    standing.state = State::OutOfService;
    standing.since = at;
    snapshot.alarms = vec![standing];
    let served = serve_at(snapshot, "127.0.0.1:0", history).await;
    let (status, page) = served.page("/alarm?name=heater-no-heat@oak").await;
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("not raised") && page.contains("in-service"), "{page}");
    assert!(!page.contains("What raised it") && !page.contains("Messages about it"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_done_on_a_story_leads_back_to_it() {
    let mut served = serve(made().snapshot.clone()).await;
    let form =
        "do=shelve&alarm=heater-stuck-on&nest=oak&minutes=15&why=I+unplugged+it&back=/alarm?name=heater-stuck-on@oak";
    let (kind, answer) = served.acted("/alarm", form, Ok(())).await;
    assert!(matches!(kind, ActKind::Alarm(AlarmAct::Shelve(15), _)), "{kind:?}");
    assert_eq!(answer.headers()["location"], "/alarm?name=heater-stuck-on@oak");
    let evil = "do=ack&alarm=heater-stuck-on&nest=oak&back=/alarm.evil.example/?name=";
    let (_, answer) = served.acted("/alarm", evil, Ok(())).await;
    assert_eq!(answer.headers()["location"], "/");
    let tapped = "nest=oak&back=%2Fnotes%3Fnest%3Doak&kind=refilled";
    let (kind, answer) = served.acted("/note", tapped, Ok(())).await;
    assert!(matches!(kind, ActKind::Note(ref n) if n.kind == "refilled" && n.at == made().end), "{kind:?}");
    assert_eq!(answer.headers()["location"], "/notes?nest=oak");
}

#[tokio::test(flavor = "multi_thread")]
async fn nodes_and_probes_tell_what_they_said_and_what_was_learned() {
    let mut snapshot = made().snapshot.clone();
    let node = NodeNow {
        heard: Some(snapshot.at),
        boot: Some(9),
        starts: 2,
        says: BTreeMap::from([
            ("radio".to_owned(), ("dBW".to_owned(), -97.0)),
            ("supply".to_owned(), ("V".to_owned(), 3.28)),
        ]),
    };
    snapshot.nodes.insert("oak-node".to_owned(), node);
    let served = serve(snapshot).await;
    let (_, page) = served.page("/nodes").await;
    for part in ["\u{2212}67 dBm", "3.28 V", "2 times", "Probes of oak", "reads beside the nest", " ± "] {
        assert!(page.contains(part), "{part} is missing: {page}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_watch_tells_of_itself() {
    let served = serve(made().snapshot.clone()).await;
    let (_, page) = served.page("/watch").await;
    for part in [
        env!("CARGO_PKG_VERSION"),
        "Runs since",
        "From arrival to disk",
        "On disk",
        "Free beside it",
        "Send a test by every way",
    ] {
        assert!(page.contains(part), "{part} is missing: {page}");
    }
    let said = served.post("/watch", "do=seen&code=12345678", &[]).await;
    assert!(said.text().await.unwrap().contains("That proves nothing"));
    assert_eq!(served.post("/watch", "do=explode", &[]).await.status(), 400);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_shelf_leads_by_the_hand() {
    let served = serve(empty()).await;
    let first = served.get("/").await;
    assert_eq!((first.status().as_u16(), &first.headers()["location"]), (303, &"/start".parse().unwrap()));
    let (_, page) = served.page("/start").await;
    assert!(
        page.contains("yew-node:warm") && page.contains("I don't know") && page.contains("thermal cut-off"),
        "{page}"
    );
    let (_, asked) = served.page("/start?write=yes").await;
    assert!(asked.contains("These are still needed"), "{asked}");
    let answers = "id=yew&length=200&s0=yew-node:warm&r0=probe&m0=20&mat=yes&from=0&to=60&watts=5&cutoff=&write=yes";
    let (_, page) = served.page(&format!("/start?{answers}")).await;
    assert!(page.contains("Copy these lines") && page.contains("cutoff = &quot;unknown&quot;"), "{page}");
    let (_, wrong) = served.page(&format!("/start?{}", answers.replace("to=60", "to=600"))).await;
    assert!(wrong.contains("beyond the nest's end") && !wrong.contains("Copy these lines"), "{wrong}");
    // The nest that stands already keeps its name.
    let served = serve(made().snapshot.clone()).await;
    let (_, twice) = served.page(&format!("/start?{}", answers.replace("id=yew", "id=oak"))).await;
    assert!(twice.contains("is the id of nest[0] too"), "{twice}");
    // All other pages open without a nest.
    let served = serve(empty()).await;
    for path in ["/alarms", "/nodes", "/notes", "/watch", "/plan", "/now.json"] {
        assert_eq!(served.page(path).await.0, 200, "{path}");
    }
    assert_eq!(served.page("/health").await.0, 503);
}

/// Names that no sane node has, in every place where a name from outside is shown.
#[tokio::test(flavor = "multi_thread")]
async fn hostile_names_and_query_strings_are_text() {
    let mut snapshot = empty();
    snapshot.strangers = vec![(HOSTILE.to_owned(), format!("1 {HOSTILE}"), snapshot.at)];
    snapshot.links.insert(HOSTILE.to_owned(), false);
    let says = BTreeMap::from([(HOSTILE.to_owned(), ("count".to_owned(), f64::NAN))]);
    snapshot.nodes.insert(HOSTILE.to_owned(), NodeNow { heard: Some(snapshot.at), boot: None, starts: 0, says });
    snapshot.vitals.broker_lost = Some(HOSTILE.to_owned());
    snapshot.vitals.history_failing = Some(HOSTILE.to_owned());
    let hostile = "%22%3E%3Cscript%3Ealert(1)%3C/script%3E";
    let fields = ["id", "length", "material", "s0", "m0", "r0", "plug", "watts", "low", "write", "mat"];
    let query: Vec<String> = fields.iter().map(|f| format!("{f}={hostile}")).collect();
    let served = serve(snapshot).await;
    let all = [
        "/nodes".to_owned(),
        "/watch".to_owned(),
        "/start".to_owned(),
        format!("/start?{}", query.join("&")),
        format!("/start?{hostile}={hostile}"),
        format!("/alarm?name={hostile}"),
        format!("/alarm?name=heater-stuck-on@{hostile}"),
        format!("/alarm?name=heater-stuck-on@oak&id={hostile}"),
        format!("/notes?nest={hostile}"),
        format!("/login?then={hostile}"),
        format!("/alarm?name={}", "x".repeat(6_000)),
        "/start?%00=%ff".to_owned(),
    ];
    for path in all {
        let (status, page) = served.page(&path).await;
        assert!(matches!(status, 200 | 400 | 404), "{path}: {status}");
        assert!(!page.contains("<script>alert") && !page.contains("<img"), "{path}: {page}");
        assert!(page.len() < 200_000, "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_is_text_whatever_it_holds() {
    let served = serve(made().snapshot.clone()).await;
    let (_, page) = served.page("/notes").await;
    assert!(page.contains("two heaps &amp; &lt;eggs&gt;") && !page.contains("<eggs>"), "{page}");
    // Two taps: the page, and a button for each kind.
    assert!(page.contains("name=\"kind\" value=\"fed\""));
    assert_eq!(served.page("/notes?nest=none").await.0, 404);
}

/// "No alarm", "every reading was believed" and "on disk after 0 ms" are true of a watch that has heard nothing, and mislead.
#[tokio::test(flavor = "multi_thread")]
async fn a_watch_that_has_heard_nothing_does_not_say_that_all_is_well() {
    let (none, silent) = (serve(empty()).await, serve(silent()).await);
    for (served, why) in
        [(&none, "No nest is described yet, so nothing is judged"), (&silent, "No nest has been heard yet")]
    {
        assert!(served.page("/alarms").await.1.contains(why), "{why}");
    }
    let (_, now) = silent.page("/").await;
    assert!(now.contains("No reading has come yet.") && !now.contains("on disk after"), "{now}");
    let heard = serve(made().snapshot.clone()).await;
    let (_, alarms) = heard.page("/alarms").await;
    assert!(
        !alarms.contains("nothing is judged") && alarms.contains("the heating mat will not switch off"),
        "{alarms}"
    );
}
