//! What history costs: bytes, writes, times, memory, beside one row a reading indexed by series and time.
//!
//! `cargo run --release -p tests --example history [writes] [sustained] [year] [memory]` (all: some ten minutes; with `WARMEND_BIN` or a build of its own). Bytes
//! written are what Linux counts for the process (`/proc/<id>/io`), not what a card's controller makes of them.
use rusqlite::{Connection, params};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::Duration;
use tests::daemon::Daemon;
use tests::node::Node;
use tests::story::warmth;
use tests::{SOON, http, minute_now_s, moment, program, shelf, wait};
use world::Sample;

/// Probes of the nest of a year, each read once a minute.
const PROBES: [&str; 4] = ["warm", "brood", "cool", "air"];
const DAYS: i64 = 365;

fn main() {
    println!("| what | warmend | one row a reading |\n| --- | --- | --- |");
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    let is_wanted = |part: &str| wanted.is_empty() || wanted.iter().any(|w| w == part);
    if is_wanted("writes") {
        for (a_second, seconds) in [(0.2, 120.0), (10.0, 20.0), (1_000.0, 10.0)] {
            writes(a_second, seconds);
        }
    }
    for (part, measure) in [("sustained", sustained as fn()), ("year", year), ("memory", memory)] {
        if is_wanted(part) {
            measure();
        }
    }
}

fn say(what: &str, ours: &str, theirs: &str) {
    println!("| {what} | {ours} | {theirs} |");
    std::io::stdout().flush().expect("somebody reads");
}

/// Bytes that a process has given to the device.
fn written(id: u32) -> u64 {
    let io = std::fs::read_to_string(format!("/proc/{id}/io")).expect("Linux tells");
    io.lines().find_map(|line| line.strip_prefix("write_bytes: ")?.parse().ok()).expect("a number")
}

fn started(dir: &Path, nest: &str) -> Daemon {
    let services = shelf::SERVICES.replace("commit_s = 0.05\n", "");
    shelf::write(dir, &[nest, &services]);
    let daemon = Daemon::run(dir);
    wait("the pages answer", SOON, || daemon.metric("messages_total").map(drop));
    daemon
}

fn nest() -> String {
    let probe =
        |(i, name): (usize, &&str)| format!("[[nest.probe]]\nsource = \"oak-node:{name}\"\nat_mm = {}\n", 10 + 70 * i);
    let probes: String = PROBES.iter().enumerate().map(probe).collect();
    format!("[[nest]]\nid = \"oak\"\nlength_mm = 240\nmaterial = \"oak\"\n{probes}")
}

/// A value of a probe: a slow swing on a sensor's grid of 0.01, with its noise.
fn value(k: i64, probe: usize) -> f64 {
    let noise = (k.wrapping_mul(6_364_136_223_846_793_005) >> 33) % 7;
    let slow = 2.0 * (k as f64 / 230.0 + probe as f64).sin();
    (((25.0 + slow) * 100.0).round() + noise as f64) / 100.0
}

/// One sample of each probe at `t`.
fn samples(t: f64, k: i64) -> Vec<Sample> {
    PROBES.iter().enumerate().map(|(i, name)| warmth("oak-node", name, t, value(k, i))).collect()
}

/// Bytes written for each reading at a steady rate, with commits once a second.
fn writes(a_second: f64, seconds: f64) {
    let dir = tempfile::tempdir().expect("a directory");
    let daemon = started(dir.path(), &nest());
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let from_s = minute_now_s() - 30_000.0;
    node.say(&samples(from_s - 60.0, 0));
    node.answered(0);
    // At a low rate a pack has one reading, at a high one what ten milliseconds bring.
    let in_pack = (a_second / 100.0).ceil() as usize;
    let packs = (a_second * seconds / in_pack as f64) as u32;
    let every = Duration::from_secs_f64(in_pack as f64 / a_second);
    let (before, began) = (written(daemon.id()), moment());
    let mut said = 0;
    wait("all is said", Duration::from_secs(600), || {
        while said < packs && began.elapsed() >= every * said {
            let t = from_s + f64::from(said);
            let all = (0..in_pack)
                .map(|i| warmth("oak-node", PROBES[i % 4], t + (i / 4) as f64 / 100.0, value(i64::from(said), i)));
            node.say(&all.collect::<Vec<_>>());
            said += 1;
        }
        node.unanswered();
        (said == packs && began.elapsed().as_secs_f64() >= seconds).then_some(())
    });
    node.answered(0);
    let ours = (written(daemon.id()) - before) as f64 / (f64::from(packs) * in_pack as f64);
    drop(daemon);
    let theirs = rows_written(dir.path(), a_second, seconds);
    say(
        &format!("bytes written for a reading, at {a_second} a second"),
        &format!("{ours:.0}"),
        &format!("{theirs:.0}"),
    );
}

/// The obvious alternative: a table sorted by series and time.
fn rows(path: &Path) -> Connection {
    let file = Connection::open(path).expect("a file");
    let text = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
        CREATE TABLE reading (series INTEGER, t_ms INTEGER, v REAL, PRIMARY KEY (series, t_ms)) WITHOUT ROWID;";
    file.execute_batch(text).expect("a table");
    file
}

fn fill(file: &Connection, days: i64) {
    file.execute_batch("BEGIN").expect("begun");
    let mut insert = file.prepare("INSERT INTO reading VALUES (?1, ?2, ?3)").expect("a statement");
    for k in 0..days * 1_440 {
        for probe in 0..PROBES.len() {
            insert.execute(params![probe as i64, k * 60_000, value(k, probe)]).expect("stored");
        }
    }
    file.execute_batch("COMMIT; PRAGMA wal_checkpoint(TRUNCATE)").expect("stored");
}

fn rows_written(dir: &Path, a_second: f64, seconds: f64) -> f64 {
    let file = rows(&dir.join("rows.db"));
    // A month is there already.
    fill(&file, 30);
    let before = written(std::process::id());
    let (start, n) = (30 * 1_440 * 60_000, (a_second * seconds) as i64);
    // Commits once a second, as ours; what comes in one second shares one.
    let group = a_second.max(1.0) as i64;
    for first in (0..n).step_by(group as usize) {
        file.execute_batch("BEGIN").expect("begun");
        for i in first..(first + group).min(n) {
            let row = params![i % 4, start + (i as f64 * 1000.0 / a_second) as i64, value(i, 0)];
            file.execute("INSERT INTO reading VALUES (?1, ?2, ?3)", row).expect("stored");
        }
        file.execute_batch("COMMIT").expect("stored");
    }
    drop(file);
    (written(std::process::id()) - before) as f64 / n as f64
}

/// As fast as receipts come: nothing is lost, everything is on the disk.
fn sustained() {
    const IN_PACK: i64 = 20;
    let dir = tempfile::tempdir().expect("a directory");
    let daemon = started(dir.path(), &nest());
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let from_s = minute_now_s() - 100_000.0;
    let (began, mut packs) = (moment(), 0_i64);
    while began.elapsed() < Duration::from_secs(10) {
        let all = (0..IN_PACK).map(|i| {
            let k = packs * IN_PACK + i;
            warmth("oak-node", PROBES[(k % 4) as usize], from_s + (k / 4) as f64 / 4.0, value(k, 0))
        });
        node.say(&all.collect::<Vec<_>>());
        packs += 1;
        node.answered(60);
    }
    node.answered(0);
    let rate = (packs * IN_PACK) as f64 / began.elapsed().as_secs_f64();
    let all = Some((packs * IN_PACK) as f64);
    wait("everything is on the disk", SOON, || (daemon.metric("stored_total") == all).then_some(()));
    say("readings a second from MQTT to the disk, none lost", &format!("{rate:.0}"), "");
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let began = moment();
    let done = work();
    (done, began.elapsed().as_secs_f64() * 1000.0)
}

/// Lets the system forget what it holds of a file.
fn cold(path: &Path) {
    let dd = Command::new("dd").arg(format!("if={}", path.display())).args(["iflag=nocache", "count=0"]).output();
    assert!(dd.expect("dd is there").status.success());
}

fn year() {
    let dir = tempfile::tempdir().expect("a directory");
    let services = shelf::SERVICES.replace("commit_s = 0.05\n", "");
    shelf::write(dir.path(), &[&nest(), &services]);
    let start_ms = (minute_now_s() as i64 - DAYS * 86_400) * 1000;
    let text = dir.path().join("year.txt");
    let n = write_year(&text, start_ms);
    let on = |args: &[&str]| {
        let shelf = dir.path().join("shelf.toml");
        let ended = program::run(args.iter().copied().chain(["--shelf", &shelf.to_string_lossy()]));
        assert_eq!(ended.code, 0, "{}", ended.err);
        ended.out.len()
    };
    let (_, import_ms) = timed(|| on(&["import", "--format", "line", &text.to_string_lossy()]));
    let db = dir.path().join("warmend.db");
    let size = |path: &Path| std::fs::metadata(path).map_or(0, |file| file.len()) as f64;
    let theirs = dir.path().join("rows.db");
    let file = rows(&theirs);
    let ((), fill_ms) = timed(|| fill(&file, DAYS));
    let each = |bytes: f64| format!("{:.2} ({:.1} MB)", bytes / n as f64, bytes / 1e6);
    say(&format!("bytes on disk for a reading, {n} of a year"), &each(size(&db)), &each(size(&theirs)));
    say("taking the year in, s", &format!("{:.1}", import_ms / 1e3), &format!("{:.1}", fill_ms / 1e3));
    let week = |args: &[&str]| {
        timed(
            || on(&[&["export", "--format", "line", "--nest", "oak", "--from", "100d", "--to", "93d"], args].concat()),
        )
        .1
    };
    let select = || {
        timed(|| {
            let from = (DAYS - 100) * 86_400_000;
            let sql = "SELECT t_ms, v FROM reading WHERE series = ?1 AND t_ms >= ?2 AND t_ms < ?3";
            let file = Connection::open(&theirs).expect("a file");
            for series in 0..PROBES.len() as i64 {
                let mut statement = file.prepare(sql).expect("a statement");
                let found = statement.query_map([series, from, from + 7 * 86_400_000], |row| row.get::<_, f64>(1));
                assert_eq!(found.expect("rows").count(), 7 * 1_440);
            }
        })
        .1
    };
    drop(file);
    let nothing = timed(|| on(&["check"])).1;
    cold(&db);
    let first = week(&[]);
    cold(&theirs);
    let first_rows = select();
    let both = |a: f64, b: f64| format!("{a:.0} / {b:.0}");
    say(
        &format!("a week of the nest as text, cold / warm, ms ({nothing:.0} of it starts the program)"),
        &both(first, week(&[])),
        &both(first_rows, select()),
    );
    cold(&db);
    let (daemon, start_ms) = timed(|| Daemon::run(dir.path()));
    say("start with that year until it watches, ms", &format!("{start_ms:.0}"), "");
    let ask = |to: &str| timed(|| http::get(daemon.page, to).0);
    let (status, page_ms) = ask("/nest/oak");
    say(&format!("the page of the last week, first / again, ms ({status})"), &both(page_ms, ask("/nest/oak").1), "");
    let (_, review_ms) = timed(|| {
        on(&["review", "--nest", "oak", "--from", "365d", "--out", &dir.path().join("year.png").to_string_lossy()])
    });
    say("the picture of the whole year, s", &format!("{:.1}", review_ms / 1e3), "");
    say("memory with that year, MiB", &format!("{:.1}", daemon.memory_mib()), "");
}

/// A reading of each probe a minute over a year, as line protocol; how many.
fn write_year(path: &Path, start_ms: i64) -> i64 {
    let mut out = std::io::BufWriter::new(std::fs::File::create(path).expect("a file"));
    let mut line = String::new();
    for k in 0..DAYS * 1_440 {
        for (i, name) in PROBES.iter().enumerate() {
            line.clear();
            // A node's clock is no metronome.
            let t_ms = start_ms + k * 60_000 + (k * 7_919) % 200;
            let _ = writeln!(line, "reading,quantity=temperature,source=oak-node:{name} value={} {t_ms}", value(k, i));
            out.write_all(line.as_bytes()).expect("written");
        }
    }
    DAYS * 1_440 * PROBES.len() as i64
}

/// What the daemon holds while a year of packs goes through it.
fn memory() {
    let dir = tempfile::tempdir().expect("a directory");
    let daemon = started(dir.path(), &nest());
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let from_s = minute_now_s() - DAYS as f64 * 86_400.0;
    let (packs, mut seen) = (DAYS * 144, Vec::new());
    for k in 0..packs {
        node.say(&samples(from_s + k as f64 * 600.0, k));
        node.answered(60);
        if k % (packs / 6) == 60 {
            seen.push(format!("{:.1}", daemon.memory_mib()));
        }
    }
    node.answered(0);
    seen.push(format!("{:.1}", daemon.memory_mib()));
    say("memory while a year comes in by MQTT, a pack every 10 min, MiB", &seen.join(", "), "");
}
