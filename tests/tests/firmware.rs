//! The node's firmware on an emulated board, against the daemon with its own broker.
use node::settings::{Name, Settings};
use std::path::Path;
use tests::board::{BROKER, Bench};
use tests::daemon::Daemon;
use tests::{SOON, history, shelf, wait};

const PUMP: &str = env!("CARGO_BIN_EXE_pump");

fn settings(node: &str) -> Settings {
    Settings {
        node: Name::try_from(node).unwrap(),
        prefix: Name::try_from("warmend").unwrap(),
        broker: BROKER,
        user: Name::new(),
        password: heapless::String::new(),
        key: Some([7; 32]),
        every_s: 2,
        limit_centi_c: 4000,
        duty_permille: 1000,
    }
}

fn stored(dir: &Path) -> usize {
    history::temperatures(&dir.join("warmend.db")).len()
}

#[test]
fn a_board_boots_publishes_and_is_heard() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let daemon = Daemon::run(dir.path());
    let bench = Bench::new(dir.path(), 0x57, &settings("oak-node"), PUMP);
    bench.lead_to(daemon.broker);
    let mut board = bench.power(27.25, 22.5);
    wait("readings are stored", SOON, || (stored(dir.path()) >= 4).then_some(()));
    assert!(!board.pad(), "nobody permitted it");
}
