//! Whatever a node says, the daemon lives, its memory stays bounded, each bad thing is counted, each good one stored.
use tests::daemon::Daemon;
use tests::node::{Line, Node};
use tests::story::warmth;
use tests::{SOON, history, minute_now_s, program, shelf, wait};

/// Memory that the daemon may hold under all this, MiB, in a debug build too.
const MEMORY_MIB: f64 = 150.0;
const TOPIC: &str = "warmend/oak-node/senml";
/// Rounds of everything bad, a good reading between any two.
const ROUNDS: u32 = 20;

/// Bad payloads, and the reason under which each is counted at least once.
fn bad(now_s: f64) -> Vec<(&'static str, String)> {
    let record = |rest: &str| format!("[{{\"bn\":\"oak-node:\",\"n\":\"warm\",\"u\":\"Cel\",{rest}}}]");
    let at = |t: f64| record(&format!("\"v\":25,\"t\":{t}"));
    // More records than a pack may have (4096).
    let many = ",{\"v\":1}".repeat(5_000);
    vec![
        ("form", "\u{1}\u{2}no pack at all".to_owned()),
        ("form", "[{\"n\":".to_owned()),
        ("form", "[".repeat(20_000)),
        ("form", format!("[{{\"n\":\"oak-node:warm\",\"x\":{}1{}}}]", "[".repeat(60), "]".repeat(60))),
        ("form", format!("[{{\"n\":\"{}\",\"v\":1}}]", "a".repeat(30_000))),
        ("form", format!("[{{\"bn\":\"oak-node:many\",\"v\":1}}{many}]")),
        ("unit", record("\"v\":25").replace("Cel", "K")),
        ("unit", record("\"v\":25").replace("Cel", &"degrees".repeat(40))),
        ("non-finite", record("\"v\":NaN")),
        ("non-finite", record("\"v\":1e999")),
        ("non-finite", record("\"v\":-1e999")),
        ("range", record("\"v\":-127")),
        ("range", record("\"v\":150.5")),
        ("time", at(300_000_000.0)),
        ("time", at(now_s + 30.0 * 86_400.0)),
        ("time", at(1e18)),
        ("unknown-source", "[{\"n\":\"elm-node:warm\",\"u\":\"Cel\",\"v\":25}]".to_owned()),
        ("unknown-source", "[{\"n\":\"warm\",\"u\":\"Cel\",\"v\":25}]".to_owned()),
    ]
}

#[test]
fn bad_packs_are_counted_good_ones_stored_and_memory_stays_bounded() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let mut daemon = Daemon::run(dir.path());
    let now_s = minute_now_s();
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let stranger = Line::open(Line::options("stranger", daemon.broker));
    stranger.connected().unwrap();
    let count =
        |daemon: &Daemon, why: &str| daemon.metric(&format!("refused_total{{reason=\"{why}\"}}")).unwrap_or(0.0);
    let mut said = 0;
    for round in 0..ROUNDS {
        for (i, (why, payload)) in bad(now_s).iter().enumerate() {
            let before = (round == 0).then(|| count(&daemon, why));
            stranger.say(TOPIC, false, payload.as_bytes());
            // Times far back and just ahead are readings like any other; 1970 and next month are not.
            node.say(&[warmth("oak-node", "warm", now_s - 20.0 * 3600.0 + f64::from(said), 25.0)]);
            said += 1;
            if let Some(before) = before {
                let what = format!("payload {i} is counted as {why}");
                wait(&what, SOON, || (count(&daemon, why) > before).then_some(()));
            }
        }
        node.answered(0);
    }
    // Foreign topics, an empty pack, a retained one without a time, one that is far too large.
    for topic in ["warmend/oak-node/nonsense", "warmend/a/b/c/senml", "other/senml", "warmend/oak-node/stored"] {
        stranger.say(topic, false, b"[{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":25}]".as_slice());
    }
    stranger.say(TOPIC, false, b"".as_slice());
    let giant = Line::open(Line::options("giant", daemon.broker));
    giant.connected().unwrap();
    giant.say(TOPIC, false, vec![b'['; 8 << 20]);
    wait("the giant is sent away, or its pack is counted", SOON, || {
        (giant.is_over() || count(&daemon, "oversized") > 0.0).then_some(())
    });
    // Thousands of names and clients that are never heard of again.
    for i in 0..2_000 {
        let pack = format!("[{{\"n\":\"n{i}:{}\",\"u\":\"V\",\"v\":1}}]", "x".repeat(90));
        stranger.say(&format!("warmend/n{i}/senml"), false, pack);
    }
    for i in 0..100 {
        drop(Line::open(Line::options(&format!("client-{i}"), daemon.broker)).connected());
    }
    node.say(&[warmth("oak-node", "warm", now_s - 60.0, 25.0)]);
    node.answered(0);

    assert!(daemon.lives());
    assert_eq!(history::temperatures(&dir.path().join("warmend.db")).len(), said as usize + 1);
    assert!(daemon.memory_mib() < MEMORY_MIB, "{} MiB", daemon.memory_mib());
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn a_shelf_that_lists_a_probe_twice_is_refused_with_64_and_its_line() {
    let dir = tempfile::tempdir().unwrap();
    let twice = "[[nest.probe]]\nsource = \"oak-node:warm\"\nat_mm = 20\n";
    shelf::write(dir.path(), &[shelf::PLAIN, twice, shelf::SERVICES]);
    for command in ["check", "run"] {
        let shelf = dir.path().join("shelf.toml");
        let ended = program::run([command.as_ref(), "--shelf".as_ref(), shelf.as_os_str()]);
        assert_eq!(ended.code, 64, "{ended:?}");
        assert!(ended.err.contains("shelf.toml:21: ") && ended.err.contains("oak-node:warm"), "{}", ended.err);
    }
}
