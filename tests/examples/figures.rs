//! How fast, how large, how late: the figures of this machine, with `WARMEND_BIN` or a build of its own.
//!
//! `cargo run --release -p tests --example figures`
use std::time::{Duration, Instant};
use tests::daemon::Daemon;
use tests::node::Node;
use tests::story::{self, warmth};
use tests::{SOON, minute_now_s, moment, program, shelf, wait};

/// 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;
const DAYS: f64 = 7.0;

fn main() {
    let size = std::fs::metadata(program::binary()).map_or(0, |file| file.len());
    println!("program            {:8.1} MB", size as f64 / 1e6);
    replay();
    let dir = tempfile::tempdir().expect("a directory");
    let services = shelf::SERVICES.replace("commit_s = 0.05\n", "");
    shelf::write(dir.path(), &[shelf::PLAIN, &services]);
    let daemon = Daemon::run(dir.path());
    wait("the pages answer", SOON, || daemon.metric("up").is_some().then_some(()));
    println!("memory, idle       {:8.1} MiB", daemon.memory_mib());
    for (a_second, packs) in [(1_u32, 20_u32), (200, 2_000)] {
        let mut late = latencies(&daemon, a_second, packs);
        late.sort();
        let at = |share: f64| late[((late.len() - 1) as f64 * share) as usize].as_secs_f64() * 1000.0;
        println!(
            "receipt, {a_second:3}/s     {:8.1} ms at the median, {:.1} ms at the 99th percentile",
            at(0.5),
            at(0.99)
        );
    }
    println!("memory, after that {:8.1} MiB", daemon.memory_mib());
}

/// A week of one nest through `replay`.
fn replay() {
    let dir = tempfile::tempdir().expect("a directory");
    let spec = story::oak(EPOCH_S);
    shelf::write(dir.path(), &[&shelf::of(&spec)]);
    let recording = story::recording(&spec, 1, DAYS * 24.0);
    let path = dir.path().join("readings");
    std::fs::write(&path, &recording).expect("written");
    let shelf = dir.path().join("shelf.toml");
    let began = moment();
    let ended = program::run(["replay".as_ref(), "--shelf".as_ref(), shelf.as_os_str(), path.as_os_str()]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    println!("replay             {:8.0} readings/s", recording.lines().count() as f64 / began.elapsed().as_secs_f64());
}

/// From saying a pack to its receipt, at a steady rate.
fn latencies(daemon: &Daemon, a_second: u32, packs: u32) -> Vec<Duration> {
    let mut node = Node::new("oak-node", u64::from(a_second));
    node.connect(daemon.broker);
    let from_s = minute_now_s() - 40_000.0 - f64::from(a_second);
    node.say(&[warmth("oak-node", "warm", from_s - 1.0, 25.0)]);
    node.answered(0);
    let every = Duration::from_secs(1) / a_second;
    let (mut said, mut late): (Vec<Instant>, Vec<Duration>) = (Vec::new(), Vec::new());
    let began = moment();
    wait("all receipts", Duration::from_secs(120), || {
        while said.len() < packs as usize && began.elapsed() >= every * said.len() as u32 {
            let t = from_s + said.len() as f64 / f64::from(a_second);
            node.say(&[warmth("oak-node", "warm", t, 25.0)]);
            said.push(moment());
        }
        // Looked at every 10 ms: so exact are these figures.
        let answered = said.len() - node.unanswered();
        late.extend(said[late.len()..answered].iter().map(Instant::elapsed));
        (late.len() == packs as usize).then_some(())
    });
    late
}
