//! Messages by the real daemon over real HTTP and MQTT: through kills at any moment, with a disk that takes no more, and
//! as what stands, retained on the broker.
use serde_json::Value;
use std::collections::BTreeMap;
use std::time::Duration;
use tests::daemon::Daemon;
use tests::http::Post;
use tests::node::{Line, Node};
use tests::story::warmth;
use tests::{SOON, history, minute_now_s, moment, seed, shelf, wait};

/// How often it is killed; `tests/soak` asks for more.
const KILLS: u32 = 12;
/// The fixed seed of the moments.
const SEED: u64 = 20_261_125;
/// A kill comes within so long after the readings that begin or end a danger were said.
const WITHIN_MS: u64 = 90;
/// What ends, ends at once: a test cannot wait for minutes.
const NO_DELAYS: &str = "[alarm.brood-limit]\noff_delay_min = 0\n";

fn webhook(to: &Post) -> String {
    format!("[[notice]]\nway = \"webhook\"\nurl = \"http://{}/\"\n", to.at)
}

/// A node by the brood place that makes dangers begin and end.
struct Brood {
    node: Node,
    at_s: f64,
}

impl Brood {
    fn new() -> Self {
        Self { node: Node::new("oak-node", 7), at_s: minute_now_s() - 20.0 * 3600.0 }
    }

    /// Three readings in a row, half a minute apart: above the limit they begin a danger, well below they end it.
    fn says(&mut self, c: f64) {
        for _ in 0..3 {
            self.at_s += 30.0;
            self.node.say(&[warmth("oak-node", "warm", self.at_s, c)]);
        }
    }
}

/// Above the limit of 35 °C, below the hot mark of 40 °C: one danger, not two.
const HOT_C: f64 = 37.0;
const COOL_C: f64 = 28.0;

/// How often each change of the alarm was told: event and when, ms.
fn told(letters: &[Value], alarm: &str) -> BTreeMap<(String, i64), u32> {
    let mut told = BTreeMap::new();
    for letter in letters.iter().filter(|l| l["alarm"] == alarm) {
        let event = letter["event"].as_str().expect("an event").to_owned();
        let t_ms = (letter["t"].as_f64().expect("a time") * 1000.0).round() as i64;
        *told.entry((event, t_ms)).or_insert(0) += 1;
    }
    told
}

fn state(daemon: &Daemon) -> Option<String> {
    daemon.alarm("oak", "brood-limit").and_then(|a| a["state"].as_str().map(str::to_owned))
}

/// Each round a danger begins, or ends, and the daemon is killed at a random moment of that. After the next start all of
/// it was told: nothing lost, nothing more than once but what a crash between sending and storing costs, once a kill.
#[test]
fn a_daemon_that_is_killed_at_random_loses_no_message_and_doubles_none_but_once_a_kill() {
    let wanted = std::env::var("WARMEND_SOAK_KILLS").ok().and_then(|text| text.parse().ok());
    let kills: u32 = wanted.unwrap_or(KILLS);
    let dir = tempfile::tempdir().unwrap();
    let db = dir.path().join("warmend.db");
    let post = Post::open();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES, NO_DELAYS, &webhook(&post)]);
    let mut dice = seed(SEED) | 1;
    let mut roll = |below: u64| {
        dice ^= dice << 13;
        dice ^= dice >> 7;
        dice ^= dice << 17;
        dice % below
    };
    let mut brood = Brood::new();
    let mut before_told = 0;
    for round in 0..kills {
        let begins = round % 2 == 0;
        let daemon = Daemon::run(dir.path());
        brood.node.connect(daemon.broker);
        brood.node.answered(0);
        let heard = post.came().len();
        brood.says(if begins { HOT_C } else { COOL_C });
        let (said, after) = (moment(), Duration::from_millis(roll(WITHIN_MS)));
        wait("the moment of the kill", SOON, || (said.elapsed() >= after).then_some(()));
        daemon.kill();
        before_told += u32::from(post.came().len() == heard);
        wait("the node notices", SOON, || brood.node.is_cut().then_some(()));

        let daemon = Daemon::run(dir.path());
        brood.node.connect(daemon.broker);
        brood.node.answered(0);
        let (stands, event) = if begins { ("unacknowledged", "raised") } else { ("returned", "returned") };
        wait("the danger is as the readings say", SOON, || (state(&daemon)? == stands).then_some(()));
        let stored = history::changes(&db, "brood-limit");
        let newest = stored.last().expect("a change").clone();
        assert_eq!(newest.0, event, "{stored:?}");
        wait("it is told", SOON, || told(&post.came(), "brood-limit").contains_key(&newest).then_some(()));
        assert_eq!(daemon.stop(), 0);
    }
    let told = told(&post.came(), "brood-limit");
    let stored = history::changes(&db, "brood-limit");
    for change in stored.iter().filter(|(event, _)| event == "raised" || event == "returned") {
        let times = told.get(change).copied().unwrap_or(0);
        assert!((1..=2).contains(&times), "{change:?} was told {times} times");
    }
    let doubled = told.values().filter(|times| **times > 1).count();
    println!(
        "{kills} kills, {before_told} before the message: {} told, {doubled} of them twice, none lost",
        told.len()
    );
    assert!(told.keys().all(|change| stored.contains(change)), "told, but not stored: {told:?} {stored:?}");
    assert!(before_told > 0 && before_told < kills, "{before_told} of {kills} kills came before the message");
}

/// The limit on the size of its files stands for a full disk: every write beyond it fails, until there is room again.
#[test]
fn with_a_disk_that_takes_no_more_a_danger_goes_out_all_the_same_and_with_room_again_nothing_is_lost() {
    let dir = tempfile::tempdir().unwrap();
    let db = dir.path().join("warmend.db");
    let post = Post::open();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES, &webhook(&post)]);
    // The log beside the tables is not folded in before 4 MiB.
    let daemon = Daemon::run_with_files_of(dir.path(), 600);
    let mut brood = Brood::new();
    brood.node.connect(daemon.broker);
    let failing = |post: &Post| post.came().iter().any(|l| l["alarm"] == "history-failing" && l["event"] == "raised");
    let mut said = 3;
    wait("the disk is full", Duration::from_secs(120), || {
        (brood.at_s, said) = (brood.at_s + 1.0, said + 1);
        brood.node.say(&[warmth("oak-node", "warm", brood.at_s, COOL_C)]);
        // Its receipts stop, so that the node's packs grow; that is bounded by the test's own patience.
        failing(&post).then_some(())
    });
    let (status, why) = tests::http::get(daemon.page, "/health");
    assert!(status == 503 && why.contains("history cannot be written"), "{status}: {why}");
    assert!(daemon.get("/").contains("History cannot be written"), "every page says so");
    brood.says(HOT_C);
    let danger = wait("the danger is told", SOON, || {
        post.came().into_iter().find(|l| l["alarm"] == "brood-limit" && l["event"] == "raised")
    });
    assert!(danger["text"].as_str().is_some_and(|text| text.starts_with("DANGER: nest oak")), "{danger}");
    assert_eq!(state(&daemon).as_deref(), Some("unacknowledged"));
    assert!(brood.node.unanswered() >= 3, "no receipt for what is not stored");

    // Nobody starts it again: what it could not write it writes now, and the node still has what was never stored.
    daemon.lift_limit_of_files();
    wait("history is written again", SOON, || (daemon.metric("history_up") == Some(1.0)).then_some(()));
    brood.node.connect(daemon.broker);
    brood.node.answered(0);
    wait("the pages say so", SOON, || (!daemon.get("/").contains("History cannot be written")).then_some(()));
    assert_eq!(daemon.stop(), 0);
    let stored = history::temperatures(&db);
    assert_eq!((stored.len(), stored.values().all(|times| *times == 1)), (said, true));
    assert_eq!(history::changes(&db, "brood-limit").first().map(|(event, _)| event.as_str()), Some("raised"));
    assert!(!history::changes(&db, "history-failing").is_empty());
}

#[test]
fn what_stands_is_retained_on_the_broker_and_follows_what_happens() {
    let dir = tempfile::tempdir().unwrap();
    let way = "[[notice]]\nway = \"mqtt\"\ntopic = \"study/messages\"\n";
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES, NO_DELAYS, way]);
    let daemon = Daemon::run(dir.path());
    let mut brood = Brood::new();
    brood.node.connect(daemon.broker);
    let panel = Line::open(Line::options("panel", daemon.broker));
    panel.connected().unwrap();
    panel.hear("study/messages");
    brood.says(HOT_C);
    brood.node.answered(0);
    wait("the danger stands", SOON, || (state(&daemon)? == "unacknowledged").then_some(()));
    let message = wait("the panel hears the message", SOON, || {
        let heard: Vec<Value> = panel.heard().iter().filter_map(|(_, m)| serde_json::from_slice(m).ok()).collect();
        heard.into_iter().find(|m| m["alarm"] == "brood-limit")
    });
    assert_eq!((&message["event"], &message["priority"]), (&"raised".into(), &"danger".into()), "{message}");
    // Whoever comes later knows it at once, as often as they come.
    let mut visitor = 0;
    let mut seen = |wanted: Option<&str>| {
        wait("a visitor is told how it stands", SOON, || {
            visitor += 1;
            let line = Line::open(Line::options(&format!("visitor-{visitor}"), daemon.broker));
            line.connected().unwrap();
            line.hear("study/messages/state");
            let (_, payload) = wait("the retained message", SOON, || line.heard().pop());
            let json: Value = serde_json::from_slice(&payload).unwrap();
            let alarms = json["alarms"].as_array().unwrap().clone();
            let limit = alarms.into_iter().find(|a| a["alarm"] == "brood-limit");
            (limit.as_ref().and_then(|a| a["state"].as_str()) == wanted).then_some(limit)
        })
    };
    let standing = seen(Some("unacknowledged")).unwrap();
    assert_eq!((&standing["nest"], &standing["priority"]), (&"oak".into(), &"danger".into()), "{standing}");
    assert!(standing["since"].as_f64().is_some_and(|s| s > 1.7e9), "{standing}");
    assert_eq!(daemon.command(&["alarms", "ack", "brood-limit@oak"]).code, 0);
    seen(Some("acknowledged"));
    brood.says(COOL_C);
    brood.node.answered(0);
    assert_eq!(seen(None), None, "answered and over: it stands no more");
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn a_way_that_nobody_has_seen_is_named_on_every_page() {
    let dir = tempfile::tempdir().unwrap();
    let post = Post::open();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES, &webhook(&post)]);
    let daemon = Daemon::run(dir.path());
    let asks = |daemon: &Daemon| {
        ["/", "/alarms", "/nest/oak", "/plan"]
            .map(|page| daemon.get(page).contains("Nobody has yet seen a test message"))
    };
    assert_eq!(asks(&daemon), [true; 4]);
    let sent = daemon.command(&["alarms", "test"]);
    assert!(sent.code == 0 && sent.out.contains("webhook: sent, and accepted"), "{sent:?}");
    assert_eq!(asks(&daemon), [true; 4], "accepted is not seen");
    let title = post.came().last().unwrap()["title"].as_str().unwrap().to_owned();
    let seen = daemon.command(&["alarms", "test", "--seen", &title[5..13]]);
    assert_eq!(seen.code, 0, "{seen:?}");
    assert_eq!(asks(&daemon), [false; 4]);
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn a_way_that_fails_is_told_by_another_and_on_the_page() {
    let dir = tempfile::tempdir().unwrap();
    let post = Post::open();
    let nobody = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let dead = format!("[[notice]]\nway = \"webhook\"\nurl = \"http://{nobody}/\"\n");
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES, NO_DELAYS, &dead, &webhook(&post)]);
    let daemon = Daemon::run(dir.path());
    let mut brood = Brood::new();
    brood.node.connect(daemon.broker);
    brood.says(HOT_C);
    brood.node.answered(0);
    let told = wait("the dead way is told by the other", Duration::from_secs(60), || {
        post.came().into_iter().find(|l| l["alarm"] == "notice-failing" && l["event"] == "raised")
    });
    let text = told["text"].as_str().unwrap();
    assert!(text.starts_with("Warning: shelf ") && text.contains("messages do not get out"), "{text}");
    wait("the page says so", SOON, || daemon.get("/").contains("Messages by webhook do not get out").then_some(()));
    assert!(daemon.metric("notice_failing{way=\"webhook\"}").is_some(), "{}", daemon.get("/metrics"));
    assert_eq!(daemon.stop(), 0);
}
