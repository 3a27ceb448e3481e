//! What the pages cost, with a year of history behind them: bytes and requests of the first view, times of the server,
//! fifty that follow, and how soon a new alarm shows on an open page.
//!
//! `cargo run --release -p tests --example pages` (with `WARMEND_BIN` or a build of its own); the year is a simulated
//! one, so it takes some minutes to live. `-- viewers` asks for those alone.
use std::fmt::Write as _;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;
use tests::browser::Page;
use tests::daemon::Daemon;
use tests::node::Node;
use tests::story::{self, line, warmth};
use tests::{SOON, http, minute_now_s, moment, program, shelf, wait};
use world::{Sample, Value, World, WorldSpec};

const DAYS: i64 = 365;
/// Asked so often for each figure.
const ASKED: usize = 24;
const VIEWERS: u64 = 50;
/// Nests that are read while they follow, and how often.
const NESTS: usize = 5;
const READ_EVERY: Duration = Duration::from_secs(10);
/// Viewers are watched for so long.
const WATCHED: Duration = Duration::from_secs(60);

fn main() {
    if std::env::args().any(|arg| arg == "viewers") {
        return viewers();
    }
    let dir = tempfile::tempdir().expect("a directory");
    let readings = year(dir.path());
    let daemon = Daemon::run(dir.path());
    wait("the pages answer", SOON, || daemon.metric("messages_total").map(drop));
    let bytes = std::fs::metadata(dir.path().join("warmend.db")).map_or(0, |file| file.len());
    println!("a year of one nest: {readings} readings in {:.1} MB", bytes as f64 / 1e6);
    first_view(&daemon, dir.path());
    times(&daemon);
    drop(daemon);
    viewers();
    alarms();
}

/// A year of an invented oak nest, imported; how many readings.
fn year(dir: &Path) -> usize {
    let from_s = minute_now_s() - (DAYS * 86_400) as f64;
    let spec = story::oak(from_s);
    shelf::write(dir, &[&shelf::of(&spec), shelf::SERVICES]);
    let path = dir.join("year.senml");
    let mut out = std::io::BufWriter::new(std::fs::File::create(&path).expect("a file"));
    let (mut world, mut count) = (World::new(&spec, 1), 0);
    for day in 1..=DAYS {
        let samples = world.advance(from_s + (day * 86_400) as f64);
        let mut text = String::new();
        for sample in &samples {
            let _ = writeln!(text, "{}", line(sample));
        }
        count += samples.len();
        out.write_all(text.as_bytes()).expect("written");
    }
    out.flush().expect("written");
    let shelf = dir.join("shelf.toml");
    let args = ["import", "--format", "sensml", &path.to_string_lossy(), "--shelf", &shelf.to_string_lossy()];
    let ended = program::run(args);
    assert_eq!(ended.code, 0, "{}", ended.err);
    count
}

/// What a browser fetches for the first page that it ever sees.
fn first_view(daemon: &Daemon, dir: &Path) {
    for (name, path) in [("now", "/"), ("week", "/nest/oak")] {
        let own = dir.join(name);
        std::fs::create_dir(&own).expect("a directory");
        let mut page = Page::open(&own, (390, 844), true);
        page.go(&format!("http://{}{path}", daemon.page));
        page.until("all is there", "performance.getEntriesByType('resource').length >= 2");
        let seen = page.eval(
            "JSON.stringify([...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
               .map(e => [new URL(e.name).pathname, e.transferSize, e.decodedBodySize]))",
        );
        println!("first view of {name}: path, bytes on the wire, unpacked: {}", seen.as_str().unwrap_or_default());
    }
}

fn timed(daemon: &Daemon, path: &str) -> f64 {
    let began = moment();
    let (status, body) = http::get(daemon.page, path);
    // 503: not within the server's 30 s; the time says so.
    assert!(status == 200 || status == 503, "{path}: {body}");
    began.elapsed().as_secs_f64() * 1000.0
}

fn told(what: &str, mut ms: Vec<f64>) {
    ms.sort_by(f64::total_cmp);
    let at = |share: f64| ms[((ms.len() - 1) as f64 * share).round() as usize];
    println!("{what:44} {:8.0} ms p50 {:8.0} ms p95", at(0.5), at(0.95));
}

/// Server time, each span asked for anew (another end, so that nothing is kept), and again.
fn times(daemon: &Daemon) {
    told("now", (0..ASKED).map(|_| timed(daemon, "/")).collect());
    for (span, most) in
        [("day", ASKED), ("week", ASKED), ("month", ASKED / 2), ("season", ASKED / 2), ("year", ASKED / 2)]
    {
        let ask = |k: usize| timed(daemon, &format!("/nest/oak?span={span}&to={}h", 2 * k + 1));
        told(&format!("{span}, never asked for"), (0..most).map(ask).collect());
        told(&format!("{span}, again"), (0..ASKED).map(|_| ask(most - 1)).collect());
    }
    println!("memory {:.1} MiB", daemon.memory_mib());
}

/// Seconds of processor time that the daemon has used.
fn used_s(daemon: &Daemon) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{}/stat", daemon.id())).expect("Linux tells");
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or("").split_whitespace().collect();
    let ticks: f64 = fields[11].parse::<f64>().unwrap_or(0.0) + fields[12].parse::<f64>().unwrap_or(0.0);
    // Ticks of 10 ms on every Linux of ours (sysconf _SC_CLK_TCK).
    ticks / 100.0
}

/// A page that follows: what it takes off the wire, bytes, and how often it fetched itself.
fn follow(at: SocketAddr, path: &str, (stop, bytes, fetched): (&AtomicBool, &AtomicU64, &AtomicU64)) {
    let mut live = TcpStream::connect(at).expect("it listens");
    live.set_read_timeout(Some(SOON)).expect("set");
    write!(live, "GET /live HTTP/1.1\r\nHost: {at}\r\n\r\n").expect("sent");
    for said in BufReader::new(live).lines() {
        let said = said.expect("it speaks");
        if stop.load(Ordering::Relaxed) {
            return;
        }
        bytes.fetch_add(said.len() as u64 + 1, Ordering::Relaxed);
        if said.starts_with("event: now") {
            // As a browser asks, but for a connection of its own each time.
            let mut line = TcpStream::connect(at).expect("it listens");
            line.set_read_timeout(Some(SOON)).expect("set");
            write!(line, "GET {path} HTTP/1.1\r\nHost: {at}\r\nAccept-Encoding: gzip\r\nConnection: close\r\n\r\n")
                .expect("sent");
            let mut answer = Vec::new();
            line.read_to_end(&mut answer).expect("it answers");
            assert!(
                answer.starts_with(b"HTTP/1.1 200"),
                "{}",
                String::from_utf8_lossy(&answer[..answer.len().min(200)])
            );
            bytes.fetch_add(answer.len() as u64, Ordering::Relaxed);
            fetched.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// Fifty pages of now that follow, while five nests are read every ten seconds.
fn viewers() {
    let dir = tempfile::tempdir().expect("a directory");
    let names: Vec<String> = (0..NESTS).map(|i| format!("oak{i}")).collect();
    let (now_s, since) = (minute_now_s(), moment());
    // Within the last minute, never ahead of the daemon's clock, and each time later.
    let lately_s = || now_s + since.elapsed().as_secs_f64();
    let nests = names.iter().map(|name| {
        let mut nest = story::oak(now_s).nests.remove(0);
        (nest.id, nest.node) = (name.clone(), format!("{name}-node"));
        nest
    });
    shelf::write(dir.path(), &[&shelf::of(&WorldSpec::new(now_s, nests.collect())), shelf::SERVICES]);
    let daemon = Daemon::run(dir.path());
    let mut nodes: Vec<Node> = names.iter().map(|name| Node::new(&format!("{name}-node"), 1)).collect();
    nodes.iter_mut().for_each(|node| node.connect(daemon.broker));
    // A made course: what it costs does not depend on whether a nest could have it.
    let say = |node: &mut Node, t: f64| {
        let name = node.name().to_owned();
        let swing = (t / 190.0).sin();
        let said = [("warm", 29.0 + 0.8 * swing), ("brood", 28.0 + 0.5 * swing), ("cool", 21.0)];
        let mut said = said.map(|(probe, c)| warmth(&name, probe, t, (c * 16.0).round() / 16.0)).to_vec();
        said.push(Sample { unit: "/", value: Value::Number(0.4), ..warmth(&name, "pad", t, 0.0) });
        node.say(&said);
    };
    // Three hours, so that there is something to believe.
    for minute in (1..=180).rev() {
        nodes.iter_mut().for_each(|node| say(node, now_s - 60.0 * f64::from(minute)));
        nodes.iter_mut().for_each(|node| node.answered(0));
    }
    let (bytes, fetched) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicU64::new(0)));
    for followed in [0, VIEWERS] {
        let stop = Arc::new(AtomicBool::new(false));
        let threads: Vec<_> = (0..followed)
            .map(|_| {
                let (at, stop, bytes, fetched) =
                    (daemon.page, Arc::clone(&stop), Arc::clone(&bytes), Arc::clone(&fetched));
                std::thread::spawn(move || follow(at, "/fragment", (&stop, &bytes, &fetched)))
            })
            .collect();
        // Each has seen the page as it is.
        wait("all follow", SOON, || (fetched.load(Ordering::Relaxed) >= followed).then_some(()));
        let readings = || daemon.metric("readings_total").unwrap_or_default();
        let (taken, mut said) = (readings(), 0_u32);
        let (before, began) = (used_s(&daemon), moment());
        let (bytes0, fetched0) = (bytes.load(Ordering::Relaxed), fetched.load(Ordering::Relaxed));
        wait("it was watched", WATCHED * 2, || {
            while began.elapsed() >= READ_EVERY * said {
                let t = lately_s();
                nodes.iter_mut().for_each(|node| say(node, t));
                said += 1;
            }
            for node in &mut nodes {
                node.unanswered();
            }
            (began.elapsed() > WATCHED).then_some(())
        });
        let (busy, passed) = (used_s(&daemon) - before, began.elapsed().as_secs_f64());
        let wire = (bytes.load(Ordering::Relaxed) - bytes0) as f64 / 1000.0 / passed;
        let fetches = fetched.load(Ordering::Relaxed) - fetched0;
        nodes.iter_mut().for_each(|node| node.answered(0));
        println!(
            "{followed} viewers, {:.0} readings taken in {passed:.0} s: {:.1} % of one core, {wire:.1} kB/s out, {fetches} \
             fetches, {:.1} MiB",
            readings() - taken,
            100.0 * busy / passed,
            daemon.memory_mib()
        );
        stop.store(true, Ordering::Relaxed);
        // A last event, so that each of them hears of its end.
        say(&mut nodes[0], lately_s());
        threads.into_iter().for_each(|thread| drop(thread.join()));
    }
}

/// From the third hot reading's leaving the node until a person could see the danger.
fn alarms() {
    let dir = tempfile::tempdir().expect("a directory");
    let nests: Vec<String> = (0..8).map(|i| shelf::PLAIN.replace("oak", &format!("oak{i}"))).collect();
    let nests: Vec<String> = nests
        .iter()
        .enumerate()
        .map(|(i, n)| n.replace(&format!("material = \"oak{i}\""), "material = \"oak\""))
        .collect();
    let parts: Vec<&str> = nests.iter().map(String::as_str).chain([shelf::SERVICES]).collect();
    shelf::write(dir.path(), &parts);
    let daemon = Daemon::run(dir.path());
    let mut page = Page::open(dir.path(), (390, 844), true);
    page.go(&format!("http://{}/", daemon.page));
    let mut ms = Vec::new();
    for i in 0..nests.len() {
        let name = format!("oak{i}-node");
        let mut node = Node::new(&name, 1);
        node.connect(daemon.broker);
        let t = minute_now_s() - 120.0;
        for k in 0..2 {
            node.say(&[warmth(&name, "warm", t + 30.0 * f64::from(k), 44.0)]);
        }
        node.answered(0);
        let began = moment();
        node.say(&[warmth(&name, "warm", t + 60.0, 44.0)]);
        page.until("the danger shows", &format!("document.body.innerText.includes('Oak{i}: a probe is far too hot')"));
        ms.push(began.elapsed().as_secs_f64() * 1000.0);
    }
    told("a new danger on an open page", ms);
}
