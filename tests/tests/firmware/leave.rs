//! Leave to heat, end to end: it comes, ends in a danger, with the lease or by a bad permit, and returns by a person.
use super::*;
use tests::node::Line;
use wire::{JsonWriter, Permit, PermitKind, write_permit};

#[test]
fn heat_comes_on_leave_ends_in_a_danger_and_returns_by_a_person_only() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 2), PUMP);
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    pad_becomes(&mut board, true, SOON);
    // The probe by the brood is driven up: leave ends with the next answers, and 20 s later it is a danger.
    board.warm(36.0);
    pad_becomes(&mut board, false, SOON);
    wait("the danger is raised", A_WHILE, || daemon.alarm("oak", "brood-limit"));
    board.logs("latch: Some(Withdrawn)");
    wait("a person is waited for", SOON, || waits(&daemon).then_some(()));
    let refused = daemon.command(&["alarms", "reset", "brood-limit@oak"]);
    assert_eq!(refused.code, 1, "a danger that stands cannot be reset: {refused:?}");
    // Cool again: neither that nor restarts of node and daemon bring heat back.
    board.warm(25.0);
    wait("the danger is over", A_WHILE, || {
        daemon.alarm("oak", "brood-limit").is_none_or(|alarm| alarm["state"] == "returned").then_some(())
    });
    drop(board);
    let mut board = bench.power(25.0, 22.0);
    let said = |daemon: &Daemon| daemon.metric("readings_total").unwrap_or(0.0);
    let before = said(&daemon);
    wait("it speaks after its restart", SOON, || (said(&daemon) > before + 10.0).then_some(()));
    assert!(!board.pad() && waits(&daemon));
    assert_eq!(daemon.stop(), 0);
    let daemon = Daemon::run(dir.path());
    bench.lead_to(daemon.broker);
    wait("it speaks to the new daemon", SOON, || (said(&daemon) > 10.0).then_some(()));
    assert!(!board.pad() && waits(&daemon));
    reset(&daemon);
    pad_becomes(&mut board, true, SOON);
    // Hung, with the interrupts still on: the guard opens the switch, the watchdog starts it anew, and it waits again.
    board.hang(false);
    pad_becomes(&mut board, false, SOON);
    board.logs("by watchdog true");
    let hung = board.logged_at_ms("hanging");
    let opened = board.log().lines().filter(|line| line.ends_with("the switch is open")).filter_map(at_ms).next_back();
    println!("hung at {hung:?}, the switch opened at {opened:?} ms");
    wait("a person is waited for", SOON, || waits(&daemon).then_some(()));
    reset(&daemon);
    pad_becomes(&mut board, true, SOON);
    // Hung altogether: the reset opens the switch, or the lease that nobody counts is worth nothing.
    board.hang(true);
    wait("it starts anew", SOON, || (board.log().matches("by watchdog true").count() == 2).then_some(()));
    assert!(!board.pad());
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn a_permit_that_is_garbled_forged_or_said_again_ends_heat_until_the_next_good_one() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 4), PUMP);
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    pad_becomes(&mut board, true, SOON);
    // Somebody whom the broker lets say permits, but who has not the node's key.
    let mut options = Line::options("meddler", daemon.broker);
    options.set_credentials("meddler", "word");
    let meddler = Line::open(options);
    meddler.connected().unwrap();
    meddler.hear("warmend/oak-node/permit");
    let overheard = wait("a permit is overheard", SOON, || meddler.heard().pop()).1;
    wait("a later one came", SOON, || meddler.heard().pop());
    let forged = Permit {
        kind: PermitKind::Grant,
        boot: 1,
        counter: u32::MAX,
        answers: 1,
        reset: 9,
        duty_permille: 1000,
        ceiling_centi_c: 9000,
        lease_s: 600,
    };
    let mut buffer = [0; 256];
    let forged = write_permit(JsonWriter::new(&mut buffer).unwrap(), "oak-node", &[8; 32], &forged).unwrap();
    for (payload, why) in [
        (b"[{\"n\":\"permit\",\"vb\":true}]".as_slice(), "refused: no permit, or a broken one"),
        (forged, "refused: a permit that is not signed with the node's key"),
        (&overheard, "refused: a permit that came before"),
    ] {
        meddler.say("warmend/oak-node/permit", false, payload);
        board.logs(why);
        pad_becomes(&mut board, true, SOON);
    }
    assert_eq!(board.log().matches("refused").count(), 3);
    assert_eq!(daemon.stop(), 0);
}

/// When a line was logged, ms of the board's time.
fn at_ms(line: &str) -> Option<u64> {
    line.strip_prefix('[')?.split(' ').next()?.parse().ok()
}

/// In time that skips what the board sleeps through: an hour is a matter of a minute.
#[test]
fn without_a_line_heat_ends_with_the_lease_and_the_node_speaks_again() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 10), PUMP);
    bench.hurried = true;
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    pad_becomes(&mut board, true, SOON);
    board.cable(false);
    board.logs("disconnected");
    // The broker is gone as well, and comes back elsewhere; the lease that is held is the last.
    daemon.kill();
    let ends =
        board.log().lines().rev().find_map(|line| line.split_once("leave until ")?.1.strip_suffix(" ms")?.parse().ok());
    let ends: u64 = ends.unwrap();
    wait("the lease is over", A_WHILE, || {
        board.log().lines().filter_map(at_ms).any(|at| at > ends + 1000).then_some(())
    });
    assert!(!board.pad());
    let switched = |log: &str| -> Vec<(u64, bool)> {
        let lines = log.lines().filter(|line| line.contains("the switch is "));
        lines.filter_map(|line| Some((at_ms(line)?, line.ends_with("closed")))).collect()
    };
    // A turn of the timer is 10 ms; the log is written within it.
    let after: Vec<_> = switched(&board.log()).into_iter().take_while(|(at, _)| *at <= ends + 20).collect();
    println!("the lease ended at {ends} ms; the switch until 20 ms after it: {after:?}");
    assert_eq!(after.last().map(|(_, closed)| *closed), Some(false), "driven beyond its lease: {after:?}");
    let daemon = Daemon::run(dir.path());
    bench.lead_to(daemon.broker);
    board.cable(true);
    pad_becomes(&mut board, true, A_WHILE);
    assert_eq!(daemon.stop(), 0);
}
