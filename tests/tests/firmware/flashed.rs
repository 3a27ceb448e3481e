//! The RP2040's image as it is flashed, in its emulator.
use super::*;
use serde_json::json;
use tests::rp2040::Flashed;

#[test]
fn the_image_that_is_flashed_says_warmth_and_humidity_and_heats_on_leave_only() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let probes = json!({ "warm": [26.5, 55.0], "cool": [22.0, 48.0] });
    let mut board = Flashed::power(dir.path(), &settings("oak-node", 2), (daemon.broker, PUMP), &probes);
    let probe =
        |what: &str, place: &str| daemon.metric(&format!("probe_{what}{{nest=\"oak\",probe=\"oak-node:{place}\"}}"));
    wait("its readings are stored", SOON, || (stored(dir.path(), "oak-node:cool").len() >= 2).then_some(()));
    // Two of its own steps beside: a word of the probe is 2.7 mK or 0.002 %RH, the wire's 0.01.
    let near = |said: Option<f64>, expected: f64| said.is_some_and(|said| (said - expected).abs() < 0.02);
    wait("warmth and humidity of both ends", SOON, || {
        let all = [("celsius", "warm", 26.5), ("celsius", "cool", 22.0)].into_iter();
        let damp = [("humidity_ratios", "warm", 0.55), ("humidity_ratios", "cool", 0.48)];
        all.chain(damp).all(|(what, place, expected)| near(probe(what, place), expected)).then_some(())
    });
    // Switched on is all that the chip tells from a low supply, and that has to settle.
    wait("the switch is closed", A_WHILE, || board.pad().then_some(()));
    assert!(board.closed_at_ms().first() >= Some(&30_000), "{:?}", board.closed_at_ms());
    println!(
        "connected at {:?}, first pack at {:?}, heats at {:?} ms of the board's time",
        board.logged_at_ms("connected"),
        board.logged_at_ms("said for the first"),
        board.closed_at_ms()
    );
    // An answer whose check does not fit says nothing: and a probe that says nothing ends heat.
    board.tell(&json!({ "garbled": true }));
    board.logs("probe 0: Garbled");
    wait("the switch is open", SOON, || (!board.pad()).then_some(()));
    board.tell(&json!({ "garbled": false }));
    wait("the switch is closed again", SOON, || board.pad().then_some(()));
    board.warm(36.0, 55.0);
    wait("the switch is open", SOON, || (!board.pad()).then_some(()));
    wait("the danger is raised", A_WHILE, || daemon.alarm("oak", "brood-limit"));
    board.logs("latch: Some(Withdrawn)");
    // A power cut: the note in the EEPROM is there again, and so is the number of the start.
    drop(board);
    let cool = json!({ "warm": [25.0, 55.0], "cool": [22.0, 48.0] });
    let board = Flashed::power(dir.path(), &settings("oak-node", 2), (daemon.broker, PUMP), &cool);
    board.logs("start Some(2) by watchdog false");
    let before = daemon.metric("readings_total").unwrap_or(0.0);
    wait("it speaks again", SOON, || (daemon.metric("readings_total") > Some(before + 8.0)).then_some(()));
    assert!(board.closed_at_ms().is_empty(), "what was withdrawn came back by a power cut");
    assert_eq!(daemon.stop(), 0);
}

/// The image itself has no way to be hung: the emulator puts a circle under its feet.
#[test]
fn hung_it_opens_its_switch_is_started_by_its_watchdog_and_waits_for_a_person() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let probes = json!({ "warm": [25.0, 55.0], "cool": [22.0, 48.0] });
    let mut board = Flashed::power(dir.path(), &settings("oak-node", 2), (daemon.broker, PUMP), &probes);
    board.logs("connected");
    // Flashing ends with the boot ROM's own use of the watchdog: nobody hung.
    board.tell(&json!({ "flashed": true }));
    board.logs("start Some(2) by watchdog false");
    for (bites, what) in [(1, "program"), (2, "all")] {
        wait("the switch is closed", A_WHILE, || board.pad().then_some(()));
        board.tell(&json!({ "hang": what }));
        wait("the switch is open", SOON, || (!board.pad()).then_some(()));
        board.logs(&format!("start Some({}) by watchdog true", bites + 2));
        let [hung, opened, bitten] = board.hung_opened_bitten_ms().map(Option::unwrap);
        println!(
            "hung: {what}; the switch opens after {} ms, the watchdog bites after {}",
            opened - hung,
            bitten - hung
        );
        // With its interrupts on the guard is sooner; without, nothing but the watchdog is left.
        assert_eq!(opened < bitten, what == "program");
        wait("it says why", SOON, || off(&daemon).contains("hung").then_some(()));
        wait("a person is waited for", SOON, || waits(&daemon).then_some(()));
        reset(&daemon);
    }
    wait("the switch is closed", A_WHILE, || board.pad().then_some(()));
    // Something holds the bus low: its program waits for ever, at each start anew, until it is let go. No such start is
    // counted, as the memory hangs on that bus.
    board.tell(&json!({ "held": true }));
    wait("the switch is open", A_WHILE, || (!board.pad()).then_some(()));
    wait("it is started again and again", A_WHILE, || {
        (board.log().matches("the watchdog bites").count() >= 4).then_some(())
    });
    assert!(!board.pad() && !board.log().contains("start Some(5)"));
    board.tell(&json!({ "held": false }));
    wait("it starts", A_WHILE, || board.log().contains("start Some(5) by watchdog true").then_some(()));
    wait("a person is waited for", SOON, || waits(&daemon).then_some(()));
    assert_eq!(daemon.stop(), 0);
}

/// A probe that does not answer is silence: heat ends when the node's patience does. And without a line it ends with the
/// lease.
#[test]
fn a_probe_that_is_gone_ends_heat_and_a_line_that_is_ends_it_with_the_lease() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let probes = json!({ "warm": [25.0, 55.0], "cool": [22.0, 48.0] });
    let mut board = Flashed::power(dir.path(), &settings("oak-node", 2), (daemon.broker, PUMP), &probes);
    wait("the switch is closed", A_WHILE, || board.pad().then_some(()));
    board.tell(&json!({ "absent": true }));
    board.logs("probe 0: Silent");
    wait("the switch is open", SOON, || (!board.pad()).then_some(()));
    wait("it says why", SOON, || off(&daemon).contains("silent").then_some(()));
    board.tell(&json!({ "absent": false }));
    wait("the switch is closed again", SOON, || board.pad().then_some(()));
    assert_eq!(daemon.stop(), 0);
    board.tell(&json!({ "linked": false }));
    board.tell(&json!({ "hurry": 200_000 }));
    wait("the switch is open", A_WHILE, || (!board.pad()).then_some(()));
    let log = board.log();
    let ends = log.lines().rev().find_map(|line| line.split_once("leave until ")?.1.strip_suffix(" ms")?.parse().ok());
    let (ends, opened): (u64, _) = (ends.unwrap(), board.opened_at_ms().unwrap());
    println!("the lease ends at {ends} ms, the switch opens at {opened}");
    // A turn of the timer is 10 ms.
    assert!((ends..=ends + 20).contains(&opened), "the lease ends at {ends} ms, the switch opens at {opened}");
}

/// A wire for each place, its slots as the datasheet draws them; the board finds out by itself that they are there.
#[test]
fn probes_on_wires_of_their_own_are_found_and_heat_as_any_other() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let probes = json!({ "wires": [26.5, 21.9375] });
    let mut board = Flashed::power(dir.path(), &settings("oak-node", 2), (daemon.broker, PUMP), &probes);
    let probe = |place: &str| daemon.metric(&format!("probe_celsius{{nest=\"oak\",probe=\"oak-node:{place}\"}}"));
    wait("both are heard", SOON, || (probe("warm") == Some(26.5) && probe("cool") == Some(21.94)).then_some(()));
    wait("the switch is closed", A_WHILE, || board.pad().then_some(()));
    // So many readings over the wires, each with its check, and none that an interrupt spoilt.
    let (many, log) = (stored(dir.path(), "oak-node:warm").len(), board.log());
    println!("{many} readings over each wire; garbled: {}", log.matches("Garbled").count());
    assert!(many >= 10 && !log.contains("Garbled"), "{many} readings\n{log}");
    board.tell(&json!({ "wires": [28.5, 22.0] }));
    wait("it follows", SOON, || (probe("warm") == Some(28.5)).then_some(()));
    board.tell(&json!({ "wires": [null, 22.0] }));
    wait("the switch is open", SOON, || (!board.pad()).then_some(()));
    wait("it says why", SOON, || off(&daemon).contains("silent").then_some(()));
    assert_eq!(daemon.stop(), 0);
}
