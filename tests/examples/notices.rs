//! From the reading that makes a danger to the notice of it, over real MQTT and real HTTP, beside other readings: p50 and
//! p99, with `WARMEND_BIN` or a build of its own.
//!
//! `cargo run --release -p tests --example notices`
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use tests::daemon::Daemon;
use tests::http::Post;
use tests::node::Node;
use tests::story::warmth;
use tests::{SOON, minute_now_s, moment, shelf, wait};

/// Dangers that are timed at each rate.
const DANGERS: usize = 50;
/// Readings in a pack of the load: a node that reads ten probes.
const IN_A_PACK: u32 = 10;
/// A nest that only the raw guard watches, at 40 °C: no estimate lengthens or shortens a danger.
const GUARDED: &str = r#"
[[nest]]
id = "oak"
length_mm = 240
[[nest.probe]]
source = "oak-node:warm"
at_mm = 70
"#;
/// A second nest, whose readings are the load.
const LOAD: &str = r#"
[[nest]]
id = "elm"
length_mm = 240
[[nest.probe]]
source = "elm-node:cool"
at_mm = 230
"#;
const NO_DELAYS: &str = "[alarm.brood-limit]\noff_delay_min = 0\n";

fn main() {
    for a_second in [1_u32, 1_000] {
        let dir = tempfile::tempdir().expect("a directory");
        let post = Post::open();
        let services = shelf::SERVICES.replace("commit_s = 0.05\n", "");
        let way = format!("[[notice]]\nway = \"webhook\"\nurl = \"http://{}/\"\n", post.at);
        shelf::write(dir.path(), &[GUARDED, LOAD, &services, NO_DELAYS, &way]);
        let daemon = Daemon::run(dir.path());
        let (over, said) = (AtomicBool::new(false), AtomicU64::new(0));
        let began = moment();
        let mut took = std::thread::scope(|scope| {
            scope.spawn(|| load(&daemon, a_second, &over, &said));
            let took = dangers(&daemon, &post);
            over.store(true, Ordering::SeqCst);
            took
        });
        let rate = said.load(Ordering::SeqCst) as f64 / began.elapsed().as_secs_f64();
        took.sort();
        let at = |share: f64| took[((took.len() - 1) as f64 * share).round() as usize].as_secs_f64() * 1000.0;
        println!(
            "publish to notice, {a_second:4}/s ({rate:.0} measured, {} dangers): p50 {:.1} ms, p99 {:.1} ms",
            took.len(),
            at(0.5),
            at(0.99)
        );
        assert_eq!(daemon.stop(), 0);
    }
}

/// Other readings at a steady rate, until it is over.
fn load(daemon: &Daemon, a_second: u32, over: &AtomicBool, said: &AtomicU64) {
    let in_a_pack = IN_A_PACK.min(a_second);
    let mut node = Node::new("elm-node", 3);
    node.connect(daemon.broker);
    let from_s = minute_now_s() - 30.0 * 3600.0;
    let began = moment();
    let every = Duration::from_secs(1) * in_a_pack / a_second;
    let mut packs = 0_u32;
    while !over.load(Ordering::SeqCst) {
        let due = every * packs;
        wait("the load's next turn", SOON, || (began.elapsed() >= due || over.load(Ordering::SeqCst)).then_some(()));
        // One look each 10 ms may find several packs due.
        while began.elapsed() >= every * packs {
            let t = |i: u32| from_s + f64::from(packs * in_a_pack + i) / f64::from(a_second.max(10));
            let samples: Vec<_> = (0..in_a_pack).map(|i| warmth("elm-node", "cool", t(i), 21.0)).collect();
            node.say(&samples);
            said.fetch_add(u64::from(in_a_pack), Ordering::Relaxed);
            packs += 1;
        }
        node.unanswered();
    }
}

/// Whether a letter tells of the danger that is timed; the load's node, hours behind, may be told of as well.
fn is_danger(letter: &serde_json::Value, event: &str) -> bool {
    letter["alarm"] == "brood-limit" && letter["event"] == event
}

/// Dangers that begin and end; from the third hot reading to the notice, each.
fn dangers(daemon: &Daemon, post: &Post) -> Vec<Duration> {
    let mut node = Node::new("oak-node", 7);
    node.connect(daemon.broker);
    let mut t = minute_now_s() - 20.0 * 3600.0;
    let mut say = |node: &mut Node, c: f64| {
        t += 30.0;
        node.say(&[warmth("oak-node", "warm", t, c)]);
        moment()
    };
    let mut took = Vec::new();
    for round in 0..DANGERS {
        say(&mut node, 42.0);
        say(&mut node, 42.0);
        node.answered(0);
        let said: Instant = say(&mut node, 42.0);
        let raised = || post.came_when().into_iter().filter(|(_, l)| is_danger(l, "raised")).nth(round);
        let (came, _) = wait("the notice", SOON, raised);
        took.push(came - said);
        for _ in 0..3 {
            say(&mut node, 28.0);
        }
        node.answered(0);
        let ended = || post.came().iter().filter(|l| is_danger(l, "returned")).count();
        wait("its end", SOON, || (ended() > round).then_some(()));
    }
    took
}
