//! Every command from outside: exit codes, and what is said.
use flate2::{Compression, write::GzEncoder};
use std::io::Write as _;
use std::path::Path;
use std::time::Duration;
use tests::daemon::Daemon;
use tests::program::{self, Ended};
use tests::{SOON, moment, shelf, story, wait};

/// The page of a demonstration is there before this; its history is made first.
const DEMO_OPENS: Duration = Duration::from_secs(20);
/// 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;

fn on(dir: &Path, args: &[&str]) -> Ended {
    let shelf = dir.join("shelf.toml");
    program::run(args.iter().copied().chain(["--shelf", &shelf.to_string_lossy()]))
}

#[test]
fn exit_codes_tell_called_wrongly_from_a_wrong_shelf_from_done() {
    for wrong in [&[][..], &["fly"], &["run", "--fast"], &["replay", "--every", "0s", "-"], &["demo", "--speed", "0"]] {
        let ended = program::run(wrong);
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{wrong:?}: {}", ended.err);
    }
    for fine in [&["--help"][..], &["--version"], &["demo", "--help"]] {
        let ended = program::run(fine);
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{fine:?}");
    }
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(on(dir.path(), &["check"]).code, 64, "there is no shelf file");
    shelf::write(dir.path(), &["[[nest]]\nid = \"oak\"\nlenght_mm = 240\n"]);
    let wrong = on(dir.path(), &["check"]);
    assert_eq!(wrong.code, 64);
    assert!(wrong.err.contains("shelf.toml:3: ") && wrong.err.contains("length_mm"), "{}", wrong.err);
    let example = program::root().join("daemon/shelf.example.toml");
    let sound = program::run(["check".as_ref(), "--shelf".as_ref(), example.as_os_str()]);
    assert_eq!(sound.code, 0, "{sound:?}");
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES]);
    for (code, args) in [
        // There is no history yet.
        (1, &["alarms", "list"][..]),
        (1, &["alarms", "ack", "heater-stuck-on@oak"]),
        (2, &["alarms", "ack", "fire@oak"]),
        (1, &["replay", "no-such-file"]),
        (2, &["review", "--from", "monday"]),
    ] {
        let ended = on(dir.path(), args);
        assert_eq!(ended.code, code, "{args:?}: {ended:?}");
    }
}

#[test]
fn a_fault_that_is_none_is_2_with_the_list() {
    for (fault, listed) in [("x@oak", "thermostat-probe-off"), ("stuck-on@elm", "plaster"), ("stuck-on", "KIND@NEST")] {
        let ended = program::run(["demo", "--fault", fault]);
        assert_eq!(ended.code, 2, "{ended:?}");
        assert!(ended.err.contains(listed), "{}", ended.err);
    }
}

#[test]
fn the_demonstration_finds_the_stuck_mat_says_so_in_words_ends_by_itself_and_can_be_reviewed() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let place = dir.to_string_lossy().into_owned();
    let began = moment();
    let args = ["demo", "--for", "25s", "--speed", "3600", "--fault", "stuck-on@oak+30m", "--dir", &place];
    let demo = Daemon::start(dir, &args, DEMO_OPENS);
    wait("heater-stuck-on stands at oak", SOON, || demo.alarm("oak", "heater-stuck-on"));
    let page = demo.get("/");
    assert!(page.contains("Danger in oak") && page.contains("the heating mat will not switch off"), "{page}");
    assert_eq!(demo.alarm("plaster", "heater-stuck-on"), None);
    let line = "the heating mat will not switch off. Unplug it now.";
    let told = || demo.log().contains(line).then_some(());
    wait("it is told in the log", SOON, told);
    assert_eq!(demo.ends(SOON), 0);
    assert!(began.elapsed() < Duration::from_secs(40), "{:?}", began.elapsed());

    reviewed(dir);
}

/// The made week, looked back on in every form.
fn reviewed(dir: &Path) {
    let text = on(dir, &["review", "--nest", "oak"]);
    assert_eq!(text.code, 0, "{text:?}");
    assert!(text.out.contains("oak") && text.out.lines().count() > 5, "{}", text.out);
    for (file, begins) in [("week.png", "\u{89}PNG"), ("week.svg", "<svg"), ("week.html", "<!DOCTYPE html>")] {
        let out = dir.join(file);
        let ended = on(dir, &["review", "--nest", "oak", "--out", &out.to_string_lossy()]);
        assert_eq!(ended.code, 0, "{ended:?}");
        let bytes = std::fs::read(&out).unwrap();
        let head: String = bytes.iter().take(16).map(|b| char::from(*b)).collect();
        assert!(head.starts_with(begins) && bytes.len() > 5_000, "{file}: {} bytes, {head:?}", bytes.len());
    }
    let ended = on(dir, &["review", "--nest", "oak", "--out", "week.bmp"]);
    assert_eq!(ended.code, 2, "{ended:?}");
    assert_eq!(on(dir, &["review", "--nest", "elm"]).code, 2);
}

/// What every plan ends with.
const PLAN_ENDS: &str = "This is an estimate, not a safety assessment. The heating mat's label and instructions, local codes \
                         and licensed practice come first. Fit an independent thermal cut-off.";

#[test]
fn a_plan_needs_no_shelf_begins_with_the_worst_case_and_ends_with_the_caution() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let nest = ["plan", "--length", "200", "--pad-from", "0", "--pad-to", "60", "--watts", "5"];
    let limits = ["--brood-from", "40", "--brood-to", "80", "--limit", "34", "--material-limit", "60"];
    let all: Vec<&str> = nest.into_iter().chain(limits).collect();
    let ended = on(dir, &all);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.starts_with("Danger: Stuck on and covered") && words.ends_with(PLAN_ENDS), "{words}");
    for (file, begins) in [("plan.png", "\u{89}PNG"), ("plan.svg", "<svg"), ("plan.html", "<!DOCTYPE html>")] {
        let out = dir.join(file).to_string_lossy().into_owned();
        let ended = on(dir, &[&all[..], &["--out", &out]].concat());
        assert_eq!(ended.code, 0, "{ended:?}");
        let head: String = std::fs::read(&out).unwrap().iter().take(16).map(|b| char::from(*b)).collect();
        assert!(head.starts_with(begins), "{file}: {head:?}");
    }
    for (code, args) in [
        // No shelf file and no length; a mat without power; a word for a number; no such form of file.
        (64, vec!["plan"]),
        (2, nest[..7].to_vec()),
        (2, [&nest[..8], &["five"]].concat()),
        (2, [&all[..], &["--out", "plan.bmp"]].concat()),
        (1, [&all[..], &["--out", "no-such-directory/plan.svg"]].concat()),
    ] {
        let ended = on(dir, &args);
        assert_eq!((ended.code, ended.out.as_str()), (code, ""), "{args:?}: {}", ended.err);
        assert!(!ended.err.is_empty(), "{args:?}");
    }
    let example = program::root().join("daemon/shelf.example.toml").to_string_lossy().into_owned();
    let oak = program::run(["plan", "--nest", "oak", "--shelf", &example]);
    assert!(oak.code == 0 && oak.out.contains("The largest mat in this place"), "{oak:?}");
}

/// Moves lines about within ten minutes, always in the same way.
fn shuffled(recording: &str) -> String {
    let time = |line: &str| {
        let json: serde_json::Value = serde_json::from_str(line).unwrap();
        json["t"].as_f64().unwrap()
    };
    let mut lines: Vec<(f64, &str)> = recording.lines().map(|line| (time(line), line)).collect();
    let mut state = 1_u64;
    for (t, _) in &mut lines {
        // Knuth's MMIX generator; its upper bits.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        *t += 590.0 * (state >> 40) as f64 / f64::from(1_u32 << 24);
    }
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    lines.iter().fold(String::new(), |text, (_, line)| text + line + "\n")
}

#[test]
fn replay_gives_the_same_bytes_for_any_order_and_packing_and_names_what_it_skips() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let spec = story::oak(EPOCH_S);
    shelf::write(dir, &[&shelf::of(&spec)]);
    let plain = story::recording(&spec, 2, 30.0);
    let mut gzip = GzEncoder::new(Vec::new(), Compression::fast());
    gzip.write_all(plain.as_bytes()).unwrap();
    let twice = plain.lines().fold(String::new(), |text, line| text + line + "\n" + line + "\n");
    let replay = |bytes: &[u8]| {
        std::fs::write(dir.join("readings"), bytes).unwrap();
        on(dir, &["replay", "--every", "1h", &dir.join("readings").to_string_lossy()])
    };
    let whole = replay(plain.as_bytes());
    assert_eq!((whole.code, whole.err.as_str()), (0, ""));
    assert_eq!(whole.out.lines().filter(|line| line.contains("\"profile\"")).count(), 29, "whole hours within");
    let mixed = shuffled(&plain);
    assert_ne!(mixed, plain);
    for (what, bytes) in [("shuffled", mixed.into_bytes()), ("gzip", gzip.finish().unwrap()), ("twice", twice.into())] {
        let ended = replay(&bytes);
        assert_eq!(ended.code, 0, "{what}: {}", ended.err);
        assert!(ended.out == whole.out, "{what} gives other bytes");
    }

    let bad = [
        "{\"n\":",
        "{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":20}",
        "{\"bn\":\"oak-node:\",\"n\":\"warm\",\"v\":1}",
    ];
    let mut lines: Vec<&str> = plain.lines().collect();
    for (i, line) in bad.iter().enumerate() {
        lines.insert(10 + i, line);
    }
    let ended = replay(lines.join("\n").as_bytes());
    assert_eq!(ended.code, 0);
    assert!(ended.out == whole.out, "bad lines change nothing");
    for line in ["line 11 ", "line 12 ", "line 13 "] {
        assert!(ended.err.contains(line), "{line}: {}", ended.err);
    }
    assert_eq!(replay(bad.join("\n").as_bytes()).code, 1, "no reading was taken");
}
