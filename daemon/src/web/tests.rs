//! The pages over real loopback connections, asked by an ordinary client.
use super::health::Health;
use super::*;
use crate::clock::ManualClock;
use crate::notices::{LINK_HOLDS, LINK_PATH, samples};
use crate::snapshot::{ActKind, AlarmAct};
use crate::views::sample::{made, silent, utc};
use enclosure::{Alarm, Event, Span};
use serde_json::{Value, json};
use std::net::SocketAddr;
use tokio::net::TcpListener;

/// Longest wait of a test for anything.
const PATIENCE: Duration = Duration::from_secs(30);

pub(super) struct Served {
    pub(super) address: SocketAddr,
    pub(super) client: reqwest::Client,
    snapshots: watch::Sender<Arc<Snapshot>>,
    acts: mpsc::Receiver<Act>,
    pub(super) answering: Arc<Answering>,
    pub(super) clock: Arc<ManualClock>,
    stop: CancellationToken,
    ended: tokio::task::JoinHandle<anyhow::Result<()>>,
}

pub(super) async fn serve(snapshot: Snapshot) -> Served {
    serve_at(snapshot, "127.0.0.1:0", made().history()).await
}

pub(super) async fn serve_at(snapshot: Snapshot, listen: &str, history: PathBuf) -> Served {
    serve_on(snapshot, history, line::Line::new(TcpListener::bind(listen).await.unwrap(), None)).await
}

async fn serve_on(snapshot: Snapshot, history: PathBuf, line: line::Line) -> Served {
    // Another test may have done so already.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let clock = Arc::new(ManualClock::new(snapshot.at));
    let (snapshots, pictures) = watch::channel(Arc::new(snapshot));
    let (sender, acts) = mpsc::channel(crate::snapshot::ACTS_WAITING);
    let mut file = samples::shelf();
    file.web.url = Some("http://shelf.example:7180".to_owned());
    let page = "127.0.0.1:7180".parse().unwrap();
    let answering = Answering::new([7; 32], &file, page, clock.clone());
    let stop = CancellationToken::new();
    let address = axum::serve::Listener::local_addr(&line).unwrap();
    let app = App::new(
        pictures,
        sender,
        (history, utc(), places::Places::of_file(&made().file)),
        (clock.clone(), Arc::clone(&answering), Access::default()),
        stop.clone(),
    );
    let ended = tokio::spawn(serve_app(line, None, app, stop.clone()));
    let client = reqwest::Client::builder()
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .timeout(PATIENCE)
        .build()
        .unwrap();
    Served { address, client, snapshots, acts, answering, clock, stop, ended }
}

impl Served {
    pub(super) fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    pub(super) async fn get(&self, path: &str) -> reqwest::Response {
        self.client.get(self.url(path)).send().await.unwrap()
    }

    pub(super) async fn page(&self, path: &str) -> (u16, String) {
        let answer = self.get(path).await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    }

    async fn json(&self, path: &str) -> Value {
        serde_json::from_str(&self.page(path).await.1).unwrap()
    }

    pub(super) async fn post(
        &self,
        path: &str,
        body: &'static str,
        headers: &[(&'static str, &str)],
    ) -> reqwest::Response {
        let kind = if path == "/act" { "application/json" } else { "application/x-www-form-urlencoded" };
        let mut request = self.client.post(self.url(path)).header("content-type", kind).body(body);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.send().await.unwrap()
    }

    /// Posts, lets the pipeline's part answer, and gives what it was asked to do.
    pub(super) async fn acted(
        &mut self,
        path: &str,
        body: &'static str,
        answer: Result<(), String>,
    ) -> (ActKind, reqwest::Response) {
        let url = self.url(path);
        let kind = if path == "/act" { "application/json" } else { "application/x-www-form-urlencoded" };
        let sent = tokio::spawn(self.client.post(url).header("content-type", kind).body(body).send());
        let act = tokio::time::timeout(PATIENCE, self.acts.recv()).await.unwrap().unwrap();
        act.reply.send(answer).unwrap();
        (act.kind, sent.await.unwrap().unwrap())
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_opens_under_a_strict_policy() {
    let served = serve(made().snapshot.clone()).await;
    for path in [
        "/",
        "/fragment",
        "/nest/oak",
        "/nest/plaster?from=1d",
        "/nest/oak?span=month&with=before",
        "/nest/oak?span=day&with=plaster&base=10",
        "/nest/oak/week.json?from=1d",
        "/span.js",
        "/nest/oak/fragment",
        "/alarms",
        "/alarms/fragment",
        "/plan",
        "/plan/fragment?nest=oak",
        "/alarm?name=heater-stuck-on@oak",
        "/nodes",
        "/nodes/fragment",
        "/notes?nest=oak",
        "/watch",
        "/watch/fragment",
        "/start",
        "/login",
        "/plan.js",
        "/style.css",
        "/live.js",
        "/now.json",
    ] {
        let answer = served.get(path).await;
        assert_eq!(answer.status(), 200, "{path}");
        let policy = answer.headers()["content-security-policy"].to_str().unwrap().to_owned();
        assert!(policy.starts_with("default-src 'none';") && policy.contains("frame-ancestors 'none'"), "{path}");
        assert_eq!(answer.headers()["x-content-type-options"], "nosniff");
        assert_eq!(answer.headers()["referrer-policy"], "same-origin");
        let text = answer.text().await.unwrap();
        assert!(!text.contains("style=\"") && !text.contains("onclick="), "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn now_json_has_the_contracts_shape() {
    let served = serve(made().snapshot.clone()).await;
    let now = served.json("/now.json").await;
    assert_eq!(now["t"], json!(made().end.unix_s()));
    let oak = &now["nests"][0];
    assert_eq!(oak["nest"], "oak");
    assert!(oak["t"].is_f64() && oak["pad_w"].is_f64() && oak["learning_until"].is_f64());
    let lengths = ["at_mm", "mean_c", "sd_c", "rh_pct", "rh_sd_pct"].map(|list| oak[list].as_array().unwrap().len());
    assert!(lengths[0] >= 41 && lengths.iter().all(|n| *n == lengths[0]), "{lengths:?}");
    assert!(oak["mean_c"].as_array().unwrap().iter().all(Value::is_f64));
    let ahead = &oak["forecast"];
    let points =
        ["t", "brood_c", "sd_below_c", "sd_above_c", "room_c"].map(|list| ahead[list].as_array().unwrap().len());
    assert!(points[0] == 72 && points.iter().all(|n| *n == 72), "twelve hours by ten minutes: {points:?}");
    let alarms = oak["alarms"].as_array().unwrap();
    let stuck = alarms.iter().find(|a| a["alarm"] == "heater-stuck-on").unwrap();
    assert!(stuck["state"].is_string() && stuck["since"].is_f64());
    assert!(alarms.iter().all(|a| a["state"] != "normal" && a["state"] != "not-judged"));
    assert!(now["alarms"].is_array());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_nest_never_heard_has_no_time_and_empty_lists() {
    let served = serve(silent()).await;
    let now = served.json("/now.json").await;
    for nest in now["nests"].as_array().unwrap() {
        assert!(nest["t"].is_null() && nest["learning_until"].is_null() && nest["pad_w"].is_null());
        assert!(nest["forecast"].is_null());
        for list in ["at_mm", "mean_c", "sd_c", "rh_pct", "rh_sd_pct", "alarms"] {
            assert_eq!(nest[list], json!([]), "{list}");
        }
    }
    assert!(served.page("/").await.1.contains("waiting for the first reading"));
}

#[tokio::test(flavor = "multi_thread")]
async fn hostile_addresses_do_no_harm() {
    let served = serve(made().snapshot.clone()).await;
    let long = format!("/nest/oak?from={}", "9".repeat(5_000));
    let cases = [
        ("/nest/%3Cscript%3Ealert(1)%3C/script%3E", 404),
        ("/nest/%3Cscript%3E", 404),
        ("/nest/oak?from=%3Cscript%3E", 400),
        ("/nest/oak?from=9999999d", 400),
        ("/nest/oak?from=1d&to=2d", 400),
        ("/nest/oak?from=-9999-01-01T00:00:00Z", 400),
        ("/nest/oak?from=NaN&to=inf", 400),
        ("/nest/oak?to=2999-01-01T00:00:00Z", 200),
        ("/nest/oak?%00=%ff&from=", 200),
        (long.as_str(), 400),
        ("/nest/oak/../../etc/passwd", 404),
        ("/nest/oak/%2e%2e%2fweek.png", 404),
        ("/alarms.json?from=x", 400),
    ];
    for (path, want) in cases {
        let (status, text) = served.page(path).await;
        assert_eq!(status, want, "{path}: {text}");
        assert!(!text.contains("<script>"), "{path}");
        assert!(text.len() < 400_000, "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_foreign_page_can_neither_act_nor_name_us() {
    let mut served = serve(made().snapshot.clone()).await;
    let own = format!("http://{}", served.address);
    let body = "do=ack&alarm=heater-stuck-on&nest=oak";
    let foreign: [&[(&'static str, &str)]; 4] = [
        &[("sec-fetch-site", "cross-site"), ("origin", "http://evil.example")],
        &[("origin", "http://evil.example")],
        &[("origin", "null")],
        &[("sec-fetch-site", "same-site"), ("origin", &own)],
    ];
    for headers in foreign {
        assert_eq!(served.post("/alarm", body, headers).await.status(), 403, "{headers:?}");
    }
    assert_eq!(served.post("/alarm", body, &[("host", "evil.example")]).await.status(), 421);
    let named = served.client.get(served.url("/now.json")).header("host", "rebound.example:7180").send().await.unwrap();
    assert_eq!(named.status(), 421);
    assert!(served.acts.try_recv().is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn forms_become_acts_and_lead_back() {
    let mut served = serve(made().snapshot.clone()).await;
    let form = "do=shelve&alarm=brood-hot&nest=oak&minutes=90&back=/nest/oak";
    let (kind, answer) = served.acted("/alarm", form, Ok(())).await;
    let ActKind::Alarm(AlarmAct::Shelve(90), name) = kind else { panic!("{kind:?}") };
    assert_eq!((name.alarm.as_str(), name.nest.as_deref(), name.probe), ("brood-hot", Some("oak"), None));
    assert_eq!((answer.status().as_u16(), &answer.headers()["location"]), (303, &"/nest/oak".parse().unwrap()));

    let form = "do=ack&alarm=brood-hot&nest=oak&back=//evil.example/";
    let (_, answer) = served.acted("/alarm", form, Ok(())).await;
    assert_eq!(answer.headers()["location"], "/");

    let (_, answer) = served.acted("/alarm", form, Err("<it> is not raised".to_owned())).await;
    assert_eq!(answer.status(), 409);
    assert!(answer.text().await.unwrap().contains("&lt;it&gt; is not raised"));

    let form = "nest=oak&kind=brood&at_mm=62,5&text=+two+heaps+&at=20m";
    let (kind, _) = served.acted("/note", form, Ok(())).await;
    let ActKind::Note(note) = kind else { panic!("{kind:?}") };
    assert_eq!(
        (note.at_mm, note.text.as_str(), note.at),
        (Some(62.5), "two heaps", made().end.minus(Span::from_min(20)))
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_command_line_acts_by_json() {
    let mut served = serve(made().snapshot.clone()).await;
    let (kind, answer) = served.acted("/act", r#"{"do":"reset","alarm":"heater-stuck-on","nest":"oak"}"#, Ok(())).await;
    assert!(matches!(kind, ActKind::Alarm(AlarmAct::Reset, _)));
    assert_eq!(answer.text().await.unwrap(), r#"{"done":true}"#);
    let note = r#"{"do":"note","nest":"plaster","kind":"fed","at_mm":40,"text":"honey","at":1772409600}"#;
    let (kind, _) = served.acted("/act", note, Ok(())).await;
    assert!(matches!(kind, ActKind::Note(n) if n.at.unix_ms() == 1_772_409_600_000 && n.at_mm == Some(40.0)));
    let wrong = [
        r#"{"do":"explode"}"#,
        r#"{"do":"ack","alarm":"no-such-alarm"}"#,
        r#"{"do":"ack","alarm":"brood-hot","nest":"oka"}"#,
        r#"{"do":"shelve","alarm":"brood-hot","nest":"oak","minutes":1e9}"#,
        r#"{"do":"note","nest":"oak","kind":"poem","text":"x"}"#,
        r#"{"do":"note","nest":"oak","kind":"fed","at_mm":9000}"#,
        r#"{"do":"note","nest":"oak","kind":"fed","at":"2999-01-01T00:00:00Z"}"#,
        r#"{"do":"ack","alarm":"brood-hot","nest":"oak","more":1}"#,
        "not json",
        "[[[[[[",
    ];
    for body in wrong {
        let answer = served.post("/act", body, &[]).await;
        assert!(answer.status().is_client_error(), "{body}");
        let told: Value = serde_json::from_str(&answer.text().await.unwrap()).unwrap();
        assert_eq!(told["done"], false, "{body}");
        assert!(told["why"].as_str().unwrap().len() > 5, "{body}");
    }
    assert!(served.acts.try_recv().is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_queue_and_a_large_body_are_refused() {
    let mut served = serve(made().snapshot.clone()).await;
    let big = Box::leak("x".repeat(BODY_BYTES_MAX + 1).into_boxed_str());
    assert_eq!(served.post("/act", big, &[]).await.status(), 413);
    served.acts.close();
    let answer = served.post("/act", r#"{"do":"ack","alarm":"brood-hot","nest":"oak"}"#, &[]).await;
    assert_eq!(answer.status(), 503);
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_come_from_history() {
    let served = serve(made().snapshot.clone()).await;
    let notes = served.json("/notes.json").await;
    assert_eq!(notes["notes"][0]["text"], "two heaps & <eggs>");
    assert_eq!(notes["notes"][0]["at_mm"], 62.0);
    let alarms = served.json("/alarms.json?from=7d").await;
    let events: Vec<_> = alarms["past"].as_array().unwrap().iter().map(|c| c["event"].as_str().unwrap()).collect();
    assert!(events.contains(&"raised"), "{events:?}");
    assert!(alarms["alarms"].as_array().unwrap().iter().any(|a| a["nest"] == "oak"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_week_page_shows_gap_note_and_alarm() {
    let served = serve(made().snapshot.clone()).await;
    let (status, page) = served.page("/nest/oak").await;
    assert_eq!(status, 200);
    assert!(page.contains("two heaps &amp; &lt;eggs&gt;") && !page.contains("<eggs>"));
    assert!(page.contains("gives heat it was not told to give"));
    assert!(page.contains("nothing is known"));
    assert!(page.contains("action=\"/note\"") && page.contains("week.png?from="));
    let png = served.get("/nest/oak/week.png?from=1d").await;
    assert_eq!(png.headers()["content-type"], "image/png");
    let png = png.bytes().await.unwrap();
    assert!(png::Decoder::new(std::io::Cursor::new(png)).read_info().unwrap().info().width >= 800);
}

#[tokio::test(flavor = "multi_thread")]
async fn without_history_now_is_still_shown() {
    let nowhere = made().dir.path().join("none.db");
    let served = serve_at(made().snapshot.clone(), "127.0.0.1:0", nowhere).await;
    let (status, page) = served.page("/nest/oak").await;
    assert_eq!(status, 200);
    assert!(page.contains("The past cannot be shown") && page.contains("Now, "));
    assert_eq!(served.page("/alarms").await.0, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_live_page_hears_of_each_new_snapshot_until_the_end() {
    let served = serve(made().snapshot.clone()).await;
    let mut live = served.get("/live").await;
    assert_eq!(live.headers()["content-type"], "text/event-stream");
    let next = async |live: &mut reqwest::Response| loop {
        let chunk = tokio::time::timeout(PATIENCE, live.chunk()).await.unwrap().unwrap();
        let Some(chunk) = chunk else { break String::new() };
        let text = String::from_utf8(chunk.to_vec()).unwrap();
        if text.contains("event:") {
            break text;
        }
    };
    assert!(next(&mut live).await.contains("event: now"));
    let later = Snapshot { at: made().end.plus(Span::from_min(1)), ..made().snapshot.clone() };
    let t = later.at.unix_s().to_string();
    served.snapshots.send(Arc::new(later)).unwrap();
    assert!(next(&mut live).await.contains(&t));
    served.stop.cancel();
    assert_eq!(next(&mut live).await, "");
    tokio::time::timeout(PATIENCE, served.ended).await.unwrap().unwrap().unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn so_many_pages_follow_and_no_more() {
    let served = serve(made().snapshot.clone()).await;
    let mut following = Vec::new();
    for _ in 0..VIEWERS_MAX {
        let live = served.get("/live").await;
        assert_eq!(live.status(), 200);
        following.push(live);
    }
    assert_eq!(served.get("/live").await.status(), 503);
    assert_eq!(served.get("/").await.status(), 200);
    let told = served.page("/metrics").await.1;
    assert!(
        told.contains(&format!("warmend_web_viewers {VIEWERS_MAX}")) && told.contains("web_viewers_refused_total 1")
    );
}

/// RFC 1952: a member begins with 1f 8b.
#[tokio::test(flavor = "multi_thread")]
async fn pages_are_packed_for_those_who_take_it() {
    let served = serve(made().snapshot.clone()).await;
    let plain = served.get("/").await;
    assert!(!plain.headers().contains_key("content-encoding"));
    let plain = plain.bytes().await.unwrap();
    let packed = served.client.get(served.url("/")).header("accept-encoding", "gzip").send().await.unwrap();
    assert_eq!(packed.headers()["content-encoding"], "gzip");
    assert!(packed.headers().contains_key("content-security-policy"));
    let packed = packed.bytes().await.unwrap();
    assert!(packed.starts_with(&[0x1f, 0x8b]) && packed.len() * 3 < plain.len(), "{} of {}", packed.len(), plain.len());
    let mut whole = String::new();
    std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&packed[..]), &mut whole).unwrap();
    assert_eq!(whole.len(), plain.len());
    let live = served.client.get(served.url("/live")).header("accept-encoding", "gzip").send().await.unwrap();
    assert!(!live.headers().contains_key("content-encoding"));
}

#[tokio::test(flavor = "multi_thread")]
async fn metrics_are_open_metrics() {
    let served = serve(made().snapshot.clone()).await;
    let answer = served.get("/metrics").await;
    let kind = answer.headers()["content-type"].to_str().unwrap().to_owned();
    assert_eq!(kind, "application/openmetrics-text; version=1.0.0; charset=utf-8");
    let text = answer.text().await.unwrap();
    assert!(text.ends_with("# EOF\n"), "{text}");
    for line in [
        "warmend_brood_mean_celsius{nest=\"oak\"} ",
        "warmend_readings_total 40000",
        "warmend_up 1",
        "# UNIT warmend_brood_mean_celsius celsius",
        "warmend_alarm{alarm=\"heater-stuck-on\"",
    ] {
        assert!(text.contains(line), "{line} in {text}");
    }
    assert!(!text.contains("NaN") && !text.contains("attic-node"));
    // How the alarms did within the last day is what history says.
    let value = |name: &str| -> f64 {
        let line = text.lines().find_map(|line| line.strip_prefix(&format!("warmend_{name} ")));
        line.and_then(|value| value.parse().ok()).unwrap_or_else(|| panic!("{name} in {text}"))
    };
    let now = served.clock.now();
    let span = now.minus(Span::from_h(24))..now.plus(Span::from_ms(1));
    let changes = crate::views::load::changes(&made().reader(), &span).unwrap();
    let day = crate::views::load::Load::of(&changes, &span, Span::from_min(60));
    assert!(day.raised > 0 && day.told > 0, "{day:?}");
    for (name, wanted) in [
        ("alarms_day_raised", day.raised),
        ("alarms_day_told", day.told),
        ("alarms_day_peak", day.peak),
        ("alarms_chattering", day.chattering.len()),
        ("alarms_unanswered", day.unanswered),
    ] {
        assert!((value(name) - wanted as f64).abs() < 1e-9, "{name}: {} for {wanted}", value(name));
    }
    assert!(value("alarms_standing") >= 1.0 && value("alarms_stale") >= 0.0);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_says_when_the_pipeline_has_ended() {
    let mut served = serve(made().snapshot.clone()).await;
    assert_eq!(served.get("/health").await.status(), 200);
    let (gone, _) = watch::channel(Arc::new(made().snapshot.clone()));
    drop(std::mem::replace(&mut served.snapshots, gone));
    let ended = async {
        while served.get("/health").await.status() != 503 {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(PATIENCE, ended).await.unwrap();
    assert!(served.page("/").await.1.contains("The watch has stopped"));
}

#[test]
fn health_is_a_matrix() {
    let well = made().snapshot.clone();
    let (at, patience) = (well.at, well.shelf.alarms.silent_at_least);
    let over = patience.ms() + 1;
    let vitals = |change: &dyn Fn(&mut crate::snapshot::Vitals)| {
        let mut snap = well.clone();
        change(&mut snap.vitals);
        snap
    };
    let young = Snapshot { started: at.minus(patience), ..vitals(&|v| v.judged = None) };
    let check = |snap: &Snapshot, stalled: Option<String>, want: bool, word: &str| {
        let health = Health::of(snap, stalled);
        assert_eq!(health.well, want, "{health:?}");
        assert!(health.why.contains(word), "{health:?}");
    };
    check(&well, None, true, "readings are judged");
    check(&young, None, true, "waiting for the first reading");
    check(&Snapshot { started: at.minus(Span::from_ms(over)), ..young.clone() }, None, false, "no reading");
    check(&vitals(&|v| v.judged = Some(at.minus(patience))), None, true, "");
    check(&vitals(&|v| v.judged = Some(at.minus(Span::from_ms(over)))), None, false, "newest reading");
    check(&vitals(&|v| v.history_failing = Some("disk full".to_owned())), None, false, "disk full");
    check(&vitals(&|v| v.broker_lost = Some("refused".to_owned())), None, true, "refused");
    check(&well, Some("nothing has been judged".to_owned()), false, "nothing has been judged");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_is_reckoned_from_the_shelf_from_the_form_and_from_nothing_known() {
    let served = serve(made().snapshot.clone()).await;
    let (status, page) = served.page("/plan").await;
    assert!(status == 200 && page.contains("Plan for oak") && page.contains("Stuck on and covered"), "{page}");
    let at = |part: &str| page.find(part).unwrap_or_else(|| panic!("no {part}"));
    // The worst case stands before all that can be set or hidden, and the caution after all.
    assert!(at("id=\"plan-line\"") < at("id=\"plan-worst\"") && at("id=\"plan-worst\"") < at("<form"), "{page}");
    assert!(at("id=\"plan-worst\"") < at("<details") && at("<details") < at("class=\"caution\""), "{page}");
    assert!(page.contains("<a href=\"/plan\" aria-current=\"page\">Plan</a>"), "{page}");
    // An empty field is not known: no limit, no largest mat.
    let (status, part) = served.page("/plan/fragment?nest=oak&limit=&material_limit=&watts=2,5").await;
    assert!(status == 200 && part.contains("Yours") == part.contains("The largest mat"), "{part}");
    assert!(part.contains("No largest mat is named") && part.contains("heating mat 2.5 W"), "{part}");
    assert!(!part.contains("<html") && !part.contains("<form"), "{part}");
    let (status, own) = served.page("/plan?length=150&pad_from=0&pad_to=40&watts=2&material=plaster").await;
    assert!(
        status == 200 && own.contains("Plan for this nest") && own.contains("plaster by handbook numbers"),
        "{own}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_that_is_not_understood_says_so_and_keeps_the_form() {
    let served = serve(made().snapshot.clone()).await;
    let hostile = "/plan?length=200&pad_from=0&pad_to=60&watts=%3Cscript%3Ealert(1)%3C/script%3E";
    for (asked, words) in [
        (hostile, "is no number: write one"),
        ("/plan?nest=elm", "the shelf file names none of that name"),
        ("/plan?length=200", "describing the heating mat: it is not whole"),
    ] {
        let (status, page) = served.page(asked).await;
        assert!(status == 200 && page.contains(words) && page.contains("<form"), "{asked}: {page}");
        assert!(page.contains("Not reckoned") && !page.contains("<script>"), "{asked}: {page}");
    }
    let (status, page) = served.page("/plan?watts=1&watts=2").await;
    assert!(status == 400 && page.contains("asks for one thing twice"), "{page}");
}

/// A raised danger, and the path of the link in its message.
fn linked(served: &Served) -> String {
    let told = samples::told(Alarm::HeaterStuckOn, Event::Raised, "oak");
    served.answering.hear(&told, "DANGER: nest oak, the heating mat will not switch off. Unplug it now.");
    let link = served.answering.link(&told, 0).unwrap();
    link.strip_prefix("http://shelf.example:7180").unwrap().to_owned()
}

fn ack_of(kind: &ActKind) -> bool {
    matches!(kind, ActKind::Alarm(AlarmAct::Acknowledge, name) if name.alarm == "heater-stuck-on")
}

#[tokio::test(flavor = "multi_thread")]
async fn looking_at_a_link_does_nothing_and_its_two_answers_are_alike() {
    let mut served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    for _ in 0..3 {
        // As a mail program's preview does.
        assert_eq!(served.client.head(served.url(&path)).send().await.unwrap().status(), 200);
        let (status, page) = served.page(&path).await;
        assert_eq!(status, 200);
        assert!(page.contains("DANGER: nest oak") && page.contains("call the fire service from outside"));
        assert_eq!(page.matches("<button type=\"submit\">").count(), 2, "two buttons, none louder: {page}");
        assert!(page.contains("I am there, I am seeing to it"));
        assert!(page.contains("I cannot get there: tell the next person"));
        assert!(!page.contains("reset") && !page.contains("silence"), "{page}");
    }
    assert!(served.acts.try_recv().is_err(), "nothing was done by looking");
    // Any other name that is not ours is refused as before; the one that the keeper named is taken.
    for (host, status) in [("shelf.example:7180", 200), ("elsewhere.example:7180", 421)] {
        let answer = served.client.get(served.url(&path)).header("host", host).send().await.unwrap();
        assert_eq!(answer.status(), status, "{host}");
    }
    let elsewhere = served.post(&path, "do=here", &[("origin", "http://elsewhere.example")]).await;
    assert_eq!(elsewhere.status(), 403);
    assert!(served.acts.try_recv().is_err(), "a page elsewhere answers for nobody");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_answers_one_raising_once_and_nothing_else() {
    let mut served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    for wish in ["do=reset", "do=shelve", "do=", "do=here&minutes=30"] {
        assert_ne!(
            served
                .client
                .post(served.url(&path))
                .header("content-type", "application/x-www-form-urlencoded")
                .body(wish)
                .send()
                .await
                .unwrap()
                .status(),
            200,
            "{wish}"
        );
    }
    assert!(served.acts.try_recv().is_err());
    let chosen = served.client.post(served.url(&path)).header("content-type", "application/x-www-form-urlencoded");
    let sent = tokio::spawn(chosen.body("do=here").send());
    let act = tokio::time::timeout(PATIENCE, served.acts.recv()).await.unwrap().unwrap();
    assert!(ack_of(&act.kind), "{:?}", act.kind);
    act.reply.send(Ok(())).unwrap();
    assert_eq!(sent.await.unwrap().unwrap().status(), 200);
    let (status, page) = served.page(&path).await;
    assert!(status == 410 && page.contains("used already"), "{page}");
    assert_eq!(served.post(&path, "do=pass", &[]).await.status(), 410);
    // A newer raising has a link of its own, and the old one stays dead.
    let mut again = samples::told(Alarm::HeaterStuckOn, Event::Unacknowledged, "oak");
    (again.id, again.change.told) = (Some(8), true);
    served.answering.hear(&again, "DANGER");
    assert_eq!(served.page(&path).await.0, 410);
    let newer = served.answering.link(&again, 0).unwrap();
    assert_eq!(served.page(newer.split_once("7180").unwrap().1).await.0, 200);
    // Over is over.
    let mut over = samples::told(Alarm::HeaterStuckOn, Event::Cleared, "oak");
    over.id = Some(9);
    served.answering.hear(&over, "");
    assert_eq!(served.page(newer.split_once("7180").unwrap().1).await.0, 410);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_that_was_passed_on_says_whether_there_is_somebody() {
    let served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    let answer = served.post(&path, "do=pass", &[]).await;
    assert_eq!(answer.status(), 200);
    assert!(answer.text().await.unwrap().contains("names nobody else"));
    assert_eq!(served.page(&path).await.0, 410);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_expires_and_cannot_be_made_up() {
    let served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    let token = path.strip_prefix(LINK_PATH).unwrap();
    assert!(token.len() >= 43, "128 bits of signature and what it is about");
    // Every changed letter, every shortened and lengthened form.
    for i in 0..token.len() {
        let mut bytes = token.as_bytes().to_vec();
        bytes[i] = if bytes[i] == b'A' { b'B' } else { b'A' };
        let forged = String::from_utf8(bytes).unwrap();
        let last = i + 1 == token.len();
        assert!(served.answering.read(&forged).is_err() || last, "{forged}");
        assert!(served.answering.read(&token[..i]).is_err(), "cut after {i}");
    }
    assert!(served.answering.read(&format!("{token}AA")).is_err());
    served.clock.advance(LINK_HOLDS);
    assert_eq!(served.page(&path).await.0, 200);
    served.clock.advance(Span::from_s(1));
    let (status, page) = served.page(&path).await;
    assert!(status == 410 && page.contains("expired"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn signs_of_life_are_heard_from_programs_and_not_from_browsers() {
    let served = serve(made().snapshot.clone()).await;
    assert_eq!(served.get("/heartbeat/cellar").await.status(), 200, "the example awaits it");
    assert_eq!(served.get("/heartbeat/attic").await.status(), 404);
    let browser = served.client.get(served.url("/heartbeat/cellar")).header("sec-fetch-site", "cross-site");
    assert_eq!(browser.send().await.unwrap().status(), 403);
    let awaited = served.answering.awaited();
    let minutes = |m| Span::from_min(m);
    assert_eq!(awaited.changes(minutes(15)), [("cellar".to_owned(), false)], "what stood before the start ends");
    assert_eq!(awaited.changes(minutes(15)), []);
    assert_eq!(awaited.changes(minutes(16)), [("cellar".to_owned(), true)], "three times five minutes");
    assert_eq!(awaited.changes(minutes(20)), [], "said once");
    assert!(awaited.hear("cellar", minutes(21)));
    assert_eq!(awaited.changes(minutes(22)), [("cellar".to_owned(), false)]);
}

/// Sends these bytes as they are and gives the answer's first line.
async fn raw(served: &Served, request: &str) -> String {
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    let mut stream = tokio::net::TcpStream::connect(served.address).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = vec![0; 4096];
    let got = tokio::time::timeout(PATIENCE, stream.read(&mut answer)).await.unwrap().unwrap();
    String::from_utf8_lossy(&answer[..got]).lines().next().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_names_two_hosts_is_refused() {
    let served = serve(made().snapshot.clone()).await;
    let own = served.address;
    let refused = "HTTP/1.1 400 Bad Request";
    let two = format!("GET /health HTTP/1.1\r\nHost: {own}\r\nHost: evil.example\r\n\r\n");
    assert_eq!(raw(&served, &two).await, refused);
    let beside = format!("GET http://evil.example/health HTTP/1.1\r\nHost: {own}\r\n\r\n");
    assert_eq!(raw(&served, &beside).await, refused);
    for one in [
        format!("GET http://{own}/nodes HTTP/1.1\r\nHost: {own}\r\n\r\n"),
        format!("GET /nodes HTTP/1.1\r\nHost: {own}\r\n\r\n"),
    ] {
        assert_eq!(raw(&served, &one).await, "HTTP/1.1 200 OK", "{one}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_comes_byte_by_byte_for_ever_gives_its_place_back() {
    use tokio::io::AsyncWriteExt as _;
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let line = line::Line::new(listener, None).asked_within(Duration::from_millis(500));
    let served = serve_on(made().snapshot.clone(), made().history(), line).await;
    let mut stream = tokio::net::TcpStream::connect(served.address).await.unwrap();
    stream.write_all(b"GET / HTTP/1.1\r\nX: ").await.unwrap();
    let mut beat = tokio::time::interval(Duration::from_millis(20));
    let dribble = async {
        while stream.write_all(b"a").await.is_ok() {
            beat.tick().await;
        }
    };
    tokio::time::timeout(PATIENCE, dribble).await.expect("the connection is closed, though a byte came all the time");
}
