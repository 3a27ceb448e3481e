//! What ends heat, or lets none begin, on the emulated board.
use super::*;

#[test]
fn the_pin_floats_until_the_program_runs_a_low_supply_must_settle_and_what_cannot_be_ends_heat_at_once() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 2), PUMP);
    bench.dim = true;
    bench.lead_to(daemon.broker);
    let mut board = bench.at_rest(25.0, 22.0);
    // In reset the pin is an input: the resistor beside it holds the switch open, whatever the program would do.
    assert!(!board.drives() && !board.pad());
    board.go_on();
    board.logs("leave until");
    assert!(board.drives());
    wait("it says that its supply is low", SOON, || off(&daemon).contains("supply is low").then_some(()));
    pad_becomes(&mut board, true, A_WHILE);
    board.logs("the switch is closed");
    let (leave, closed) = (board.logged_at_ms("leave until"), board.logged_at_ms("the switch is closed"));
    println!("leave from {leave:?}, the switch closed at {closed:?} ms of the board's time");
    assert!(leave < Some(15_000) && closed >= Some(30_000), "{leave:?}, {closed:?}");
    // No probe in a room says this; one word is enough.
    board.cool(-45.0);
    pad_becomes(&mut board, false, SOON);
    wait("it says why", SOON, || off(&daemon).contains("what cannot be").then_some(()));
    board.cool(22.0);
    pad_becomes(&mut board, true, A_WHILE);
    // A chip that cannot go on opens the switch itself, before its watchdog does.
    board.fault();
    board.logs("faulted, the switch is open");
    board.logs("by watchdog true");
    wait("a person is waited for", SOON, || waits(&daemon).then_some(()));
    assert!(!board.pad());
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn a_node_whose_memory_keeps_nothing_goes_on_reading_never_heats_and_says_so() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 1), PUMP);
    bench.worn = true;
    bench.lead_to(daemon.broker);
    let heard = || stored(dir.path(), "oak-node:warm").len();
    // The second start has no other number than the first: no receipt of that one may pass for one of this.
    for start in 1..=2 {
        let before = heard();
        let mut board = bench.power(25.0, 22.0);
        board.logs("start None");
        wait("its readings are stored", SOON, || (heard() >= before + 5).then_some(()));
        wait("it says why it does not heat", SOON, || off(&daemon).contains("memory").then_some(()));
        assert!(!board.pad() && !board.log().contains("the switch is closed"), "start {start}");
    }
    assert_eq!(daemon.stop(), 0);
}
