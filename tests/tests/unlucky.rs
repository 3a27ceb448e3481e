//! Bad luck around the program: nobody reads what it says, a terminal is closed, the system runs out of something.
use std::net::TcpStream;
use std::process::Command;
use tests::daemon::Daemon;
use tests::node::Node;
use tests::program::{self, Ended};
use tests::story::{line, warmth};
use tests::{SOON, minute_now_s, shelf, wait};

/// 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;
/// A log of a minute's bad luck, bytes: the lines of one kind a minute, and some kinds.
const LOG_MAX: u64 = 200_000;

/// What bash makes of `script`, in which `$0` is the program.
fn bash(dir: &std::path::Path, script: &str) -> Ended {
    let mut bash = Command::new("bash");
    bash.args(["-o", "pipefail", "-c", script]).arg(program::binary()).current_dir(dir);
    bash.output().unwrap().into()
}

/// Two hours of one probe, as SensML.
fn recording() -> String {
    let readings =
        (0..120_u8).map(|i| warmth("oak-node", "warm", EPOCH_S + 60.0 * f64::from(i), 25.0 + f64::from(i % 3)));
    readings.fold(String::new(), |text, sample| text + &line(&sample) + "\n")
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN]);
    std::fs::write(dir.path().join("readings"), recording()).unwrap();
    let sized = "--length 200 --pad-from 0 --pad-to 60 --watts 5";
    for (command, lines) in [("replay --every 1m readings", 1), ("check", 0), (&*format!("plan {sized}"), 0)] {
        // `exec` closes the reading end before anything is written.
        let ended = bash(dir.path(), &format!("\"$0\" {command} | (head -n {lines}; exec 0<&-)"));
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{command}");
        assert_eq!(ended.out.lines().count(), lines, "{command}");
        let full = bash(dir.path(), &format!("\"$0\" {command} > /dev/full"));
        assert!(full.code == 1 && full.err.contains("writing"), "a full disk is one: {full:?}");
    }
}

#[test]
fn complaints_that_nobody_can_hear_change_nothing() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN]);
    let good = recording();
    std::fs::write(dir.path().join("readings"), format!("no record\n{good}no record\n")).unwrap();
    let heard = bash(dir.path(), "\"$0\" replay readings");
    assert!(heard.code == 0 && heard.err.contains("line 1 skipped"), "{heard:?}");
    let unheard = bash(dir.path(), "\"$0\" replay readings 2> /dev/full");
    assert_eq!((unheard.code, &unheard.out), (0, &heard.out));
    assert_eq!(bash(dir.path(), "\"$0\" replay no-such-file 2> /dev/full").code, 1);
}

#[test]
fn a_mark_before_the_first_line_and_a_line_without_end_cost_a_recording_nothing() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN]);
    let good = recording();
    std::fs::write(dir.path().join("readings"), &good).unwrap();
    std::fs::write(dir.path().join("marked"), format!("\u{feff}{good}")).unwrap();
    let plain = bash(dir.path(), "\"$0\" replay readings");
    let marked = bash(dir.path(), "\"$0\" replay marked");
    assert_eq!((marked.code, marked.err.as_str()), (0, ""));
    assert_eq!(marked.out, plain.out);
    // A line that is larger than the memory that it may have, in KiB.
    let endless = "ulimit -v 400000; (head -c 600000000 /dev/zero; echo; cat readings) | \"$0\" replay -";
    let ended = bash(dir.path(), endless);
    assert_eq!((ended.code, &ended.out), (0, &plain.out), "{}", ended.err);
    assert!(ended.err.contains("line 1 skipped: it is longer"), "{}", ended.err);
}

#[test]
fn a_record_alone_in_another_year_is_refused_and_costs_the_others_nothing() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN]);
    let good = recording();
    let lines: Vec<&str> = good.lines().collect();
    let years = |years: f64| line(&warmth("oak-node", "warm", EPOCH_S + years * 365.25 * 86_400.0, 25.0));
    let replayed = |lines: &[&str], every: &str| {
        std::fs::write(dir.path().join("readings"), lines.join("\n")).unwrap();
        let ended = bash(dir.path(), &format!("\"$0\" replay --every {every} readings"));
        assert_eq!(ended.code, 0, "{}", ended.err);
        (ended.out, ended.err)
    };
    let (whole, said) = replayed(&lines, "10m");
    assert_eq!(said, "");
    let (ahead, behind) = (years(73.0), years(-40.0));
    for (which, odd, place, why) in [
        ("in the midst", vec![&*ahead], 60, "line 61 skipped: it is more than a year newer"),
        ("twice in the midst", vec![&*ahead, &*ahead], 60, "line 61 skipped: it is more than a year newer"),
        ("at the end", vec![&*ahead], 120, "line 121 skipped: it is more than a year newer"),
        ("at the beginning", vec![&*behind], 0, "line 1 skipped: it is more than a year older"),
    ] {
        let (out, said) = replayed(&[&lines[..place], &odd, &lines[place..]].concat(), "10m");
        assert!(said.starts_with(why), "{which}: {said}");
        assert!(out == whole, "{which}");
    }
    // A year without a watch is none of these.
    let later: Vec<String> = (0..120).map(|i| years(1.1 + f64::from(i) / 525_960.0)).collect();
    let later: Vec<&str> = later.iter().map(String::as_str).collect();
    let (_, said) = replayed(&[&lines[..], &later].concat(), "9999h");
    assert_eq!(said, "");
}

#[test]
fn a_log_that_cannot_be_written_and_a_hangup_end_no_watch() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let mut daemon = Daemon::run_after(dir.path(), "exec 2> /dev/full");
    let hung_up = Command::new("kill").args(["-HUP", &daemon.id().to_string()]).status().unwrap();
    assert!(hung_up.success());
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    node.say(&[warmth("oak-node", "warm", minute_now_s(), 25.0)]);
    node.answered(0);
    assert!(daemon.lives());
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn a_daemon_without_files_to_open_writes_no_endless_log_and_recovers() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let daemon = Daemon::run_after(dir.path(), "ulimit -n 24");
    let log = || std::fs::metadata(dir.path().join("err.log")).unwrap().len();
    let callers: Vec<_> = (0..40).map(|_| TcpStream::connect(daemon.page)).collect();
    let nodes: Vec<_> = (0..40).map(|_| TcpStream::connect(daemon.broker)).collect();
    wait("the log says what is missing", SOON, || daemon.log().contains("Too many open files").then_some(()));
    drop((callers, nodes));
    wait("it answers again", SOON, || {
        let mut node = Node::new("oak-node", 1);
        node.connect(daemon.broker);
        node.say(&[warmth("oak-node", "warm", minute_now_s(), 25.0)]);
        node.answered(0);
        Some(())
    });
    assert!(daemon.log().contains("lets this process open 24 files"), "it is said at the start");
    assert!(log() < LOG_MAX, "{} bytes of log", log());
    assert_eq!(daemon.stop(), 0);
}
