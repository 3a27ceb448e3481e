//! What an outage costs: of the line, and of power. Counted, in the board's own time.
use super::*;

/// Readings come so often, s.
const EVERY_S: u16 = 10;

/// Longer than the board has room for at a reading a second, s.
const FULL_S: u64 = 1700;

/// The board's time by its log, ms: the last line's.
fn board_ms(board: &Board) -> u64 {
    let log = board.log();
    let at = log.lines().rev().find_map(|line| line.strip_prefix('[')?.split(' ').next()?.parse().ok());
    at.unwrap_or(0)
}

/// Cuts the line; gives the board's time once it has seen that, ms.
fn cut(board: &mut Board) -> u64 {
    board.cable(false);
    let logged = board.log().len();
    wait("it sees that the line is cut", A_WHILE, || (board.log().len() > logged).then_some(()));
    board_ms(board)
}

/// Lets the line be cut for `cut_s` of the board's time; gives how many readings the daemon has from then.
fn cut_for(cut_s: u64) -> usize {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), shelf::PLAIN);
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", EVERY_S), PUMP);
    bench.hurried = true;
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    let warm = || stored(dir.path(), "oak-node:warm");
    let seen = wait("its readings are stored", SOON, || Some(warm()).filter(|times| times.len() >= 3));
    let (newest, since) = (seen.iter().copied().max().unwrap(), tests::moment());
    let cut_ms = cut(&mut board);
    let before = warm().len();
    // A try to connect every minute at the latest says how late it is.
    let limit = Duration::from_secs(120 + cut_s / 4);
    wait("the outage is long enough", limit, || (board_ms(&board) >= cut_ms + cut_s * 1000).then_some(()));
    board.cable(true);
    // The board's time runs faster than the wall's, so that what it took before this is stored with an earlier time; and
    // packs come in order: once one of later is stored, so is all that waited.
    let plugged = newest + i64::try_from(since.elapsed().as_millis()).unwrap() + 2000;
    wait("what waited is stored", A_WHILE, || warm().iter().any(|at| *at > plugged).then_some(()));
    let have = warm().iter().filter(|at| **at <= plugged).count() - before;
    assert_eq!(daemon.stop(), 0);
    have
}

#[test]
fn an_outage_of_a_minute_and_of_an_hour_lose_no_reading() {
    for cut_s in [60, 3600] {
        let have = cut_for(cut_s);
        let taken = usize::try_from(cut_s / u64::from(EVERY_S)).unwrap();
        println!("an outage of at least {cut_s} s, {taken} readings or more: {have} stored after it");
        // The first turn may fall just before the cut.
        assert!(have + 1 >= taken, "{have} of {taken} readings after {cut_s} s");
    }
}

/// The outbox is in memory, and a node has no clock: what the daemon has no receipt for is lost with the power, as nobody
/// could say any more when it was. Here it is full, and was thinned, in time that skips what the board sleeps through.
#[test]
fn a_power_cut_loses_a_full_outbox_says_so_and_neither_repeats_nor_invents_nor_heats() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 1), PUMP);
    bench.hurried = true;
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    let warm = || stored(dir.path(), "oak-node:warm");
    wait("its readings are stored", SOON, || (warm().len() >= 3).then_some(()));
    let cut_ms = cut(&mut board);
    wait("more readings were taken than it has room for", 2 * A_WHILE, || {
        (board_ms(&board) >= cut_ms + FULL_S * 1000).then_some(())
    });
    board.logs("1024 readings wait");
    let taken = (board_ms(&board) - cut_ms) / 1000;
    // What was still on its way at the cut has long arrived.
    let before = warm();
    drop(board);
    bench.hurried = false;
    let mut board = bench.at_rest(25.0, 22.0);
    let begins = tests::minute_now_s() * 1000.0;
    board.go_on();
    board.logs("start Some(2) by watchdog false");
    wait("it speaks again", SOON, || (warm().len() >= before.len() + 3).then_some(()));
    // Nothing twice, nothing of before the cut, nothing from a time that is still to come.
    let all = history::temperatures(&dir.path().join("warmend.db"));
    assert!(all.values().all(|many| *many == 1), "stored twice");
    let new: Vec<i64> = warm().into_iter().filter(|at| !before.contains(at)).collect();
    let ends = tests::minute_now_s() * 1000.0 + 61_000.0;
    assert!(new.iter().all(|at| (begins..ends).contains(&(*at as f64))), "{new:?} of {begins} to {ends}");
    // Heat comes with leave to this start only.
    pad_becomes(&mut board, true, SOON);
    board.logs("the switch is closed");
    let (leave, closed) = (board.log().find("leave until"), board.log().find("the switch is closed"));
    assert!(leave.is_some() && leave < closed, "{}", board.log());
    // What is lost is counted, and said on the page of nodes.
    let said = wait("it says how many are lost", SOON, || {
        let page = daemon.get("/nodes");
        page.split_once("cut-off ")?.1.split(|c: char| !c.is_ascii_digit()).next()?.parse::<u64>().ok()
    });
    println!("cut off after {taken} s without a line, a reading a second: at least {said} are said to be lost");
    assert!(said >= 1024 && said <= taken + 10, "{said} of {taken}");
    assert_eq!(daemon.stop(), 0);
}
