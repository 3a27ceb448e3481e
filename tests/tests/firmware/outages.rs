//! What an outage costs: of the line, and of power. Counted, in the board's own time.
use super::*;

/// Readings come so often, s.
const EVERY_S: u16 = 10;

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

/// The outbox is in memory: what the daemon has no receipt for is lost with the power. That is said in the README; here
/// it is counted.
#[test]
fn a_power_cut_loses_what_waited_and_the_next_start_is_heard_at_once() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), shelf::PLAIN);
    let daemon = Daemon::run(dir.path());
    let bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 1), PUMP);
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    let warm = || stored(dir.path(), "oak-node:warm");
    wait("its readings are stored", SOON, || (warm().len() >= 3).then_some(()));
    let cut_ms = cut(&mut board);
    let before = warm();
    wait("readings wait", A_WHILE, || (board_ms(&board) >= cut_ms + 20_000).then_some(()));
    let waited_s = (board_ms(&board) - cut_ms) / 1000;
    let cut_at = before.iter().copied().max().unwrap();
    drop(board);
    let board = bench.power(25.0, 22.0);
    wait("it speaks again", SOON, || (warm().len() >= before.len() + 3).then_some(()));
    board.logs("start Some(2) by watchdog false");
    let after = warm().into_iter().filter(|at| *at > cut_at).min().unwrap();
    let gap_s = (after - cut_at) / 1000;
    println!("cut off with {waited_s} s of readings, one a second: a gap of {gap_s} s is left");
    assert!(gap_s >= i64::try_from(waited_s).unwrap(), "{gap_s} s: readings from nowhere");
    assert_eq!(daemon.stop(), 0);
}
