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

/// Nests whose dangers are timed, and how many of each: what a nest says must be of now, and of later each time.
const NESTS: usize = 10;
/// See [`NESTS`].
const ROUNDS: usize = 5;
/// Readings in a pack of the load: a node that reads ten probes.
const IN_A_PACK: u32 = 10;
/// A nest that only the raw guard watches, at 40 °C: no estimate lengthens or shortens a danger.
const GUARDED: &str = r#"
[[nest]]
id = "NEST"
length_mm = 240
[[nest.probe]]
source = "NEST-node:warm"
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
        let guarded: String = (0..NESTS).map(|i| GUARDED.replace("NEST", &nest(i))).collect();
        shelf::write(dir.path(), &[&guarded, LOAD, &services, NO_DELAYS, &way]);
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

fn nest(i: usize) -> String {
    format!("oak-{i}")
}

/// Dangers that begin and end; from the third hot reading to the notice, each.
fn dangers(daemon: &Daemon, post: &Post) -> Vec<Duration> {
    (0..NESTS).flat_map(|i| dangers_of(&nest(i), daemon, post)).collect()
}

fn dangers_of(nest: &str, daemon: &Daemon, post: &Post) -> Vec<Duration> {
    let from = format!("{nest}-node");
    let mut node = Node::new(&from, 7);
    node.connect(daemon.broker);
    let mut t = minute_now_s() - 120.0;
    let mut say = |node: &mut Node, c: f64| {
        // The guard wants three readings over 20 s at least.
        t += 10.5;
        node.say(&[warmth(&from, "warm", t, c)]);
        moment()
    };
    // The load's node, hours behind, may be told of as well.
    let is = |letter: &serde_json::Value, event: &str| {
        letter["nest"] == nest && letter["alarm"] == "brood-limit" && letter["event"] == event
    };
    let mut took = Vec::new();
    for round in 0..ROUNDS {
        say(&mut node, 42.0);
        say(&mut node, 42.0);
        node.answered(0);
        let said: Instant = say(&mut node, 42.0);
        let raised = || post.came_when().into_iter().filter(|(_, l)| is(l, "raised")).nth(round);
        let (came, _) = wait("the notice", SOON, raised);
        took.push(came - said);
        for _ in 0..3 {
            say(&mut node, 28.0);
        }
        node.answered(0);
        let ended = || post.came().iter().filter(|l| is(l, "returned")).count();
        wait("its end", SOON, || (ended() > round).then_some(()));
    }
    took
}
