//! The node's firmware on emulated boards, against the daemon with its own broker.
mod faults;
mod flashed;
mod foreign;
mod leave;
mod outages;
mod welded;

use node::settings::{Name, Settings};
use std::path::Path;
use std::time::Duration;
use tests::board::{BROKER, Bench, Board};
use tests::daemon::Daemon;
use tests::{SOON, history, shelf, wait};

const PUMP: &str = env!("CARGO_BIN_EXE_pump");
const KEY: [u8; 32] = [7; 32];
/// What takes the raw guard its 20 s, or the core its minute.
const A_WHILE: Duration = Duration::from_secs(180);

/// A nest whose mat the node drives on leave.
fn on_leave() -> String {
    const PAD: &str = r#"[nest.pad]
from_mm = 0
to_mm = 80
watts = 5.0
drive = "oak-node:pad"
permit_key_file = "oak.key"
"#;
    shelf::PLAIN.replace("[nest.brood]\n", &format!("{PAD}[nest.brood]\n"))
}

fn settings(node: &str, every_s: u16) -> Settings {
    let name = |text: &str| Name::try_from(text).unwrap();
    Settings {
        node: name(node),
        prefix: name("warmend"),
        broker: BROKER,
        user: name(node),
        password: heapless::String::try_from("word").unwrap(),
        key: Some(KEY),
        every_s,
        limit_centi_c: 4500,
        duty_permille: 1000,
    }
}

/// A shelf of these nests with users for both nodes.
fn lay_out(dir: &Path, nests: &str) {
    let services = shelf::SERVICES.replace("[web]", "users_file = \"users\"\n[web]");
    shelf::write(dir, &[nests, &services]);
    let meddler = shelf::user("meddler", "word").trim_end().to_owned()
        + ":read warmend/#,write warmend/+/permit,write foreign/#\n";
    let users = [shelf::user("oak-node", "word"), shelf::user("elm-node", "word"), meddler];
    std::fs::write(dir.join("users"), users.concat()).unwrap();
    std::fs::write(dir.join("oak.key"), "07".repeat(32)).unwrap();
}

fn stored(dir: &Path, source: &str) -> Vec<i64> {
    let all = history::temperatures(&dir.join("warmend.db"));
    all.into_keys().filter(|(name, _)| name == source).map(|(_, at)| at).collect()
}

#[track_caller]
fn pad_becomes(board: &mut Board, closed: bool, limit: Duration) {
    wait(&format!("the switch is closed: {closed}"), limit, || (board.pad() == closed).then_some(()));
}

fn waits(daemon: &Daemon) -> bool {
    daemon.now()["nests"][0]["leave"][0]["waits"] == true
}

/// Why the node says that it does not heat.
fn off(daemon: &Daemon) -> String {
    daemon.now()["nests"][0]["leave"][0]["off"].as_str().unwrap_or_default().to_owned()
}

/// A person resets it, as soon as the daemon lets them.
#[track_caller]
fn reset(daemon: &Daemon) {
    wait("it can be reset", A_WHILE, || {
        (daemon.command(&["alarms", "reset", "brood-limit@oak"]).code == 0).then_some(())
    });
}

#[test]
fn two_boards_of_one_image_boot_publish_and_are_heard() {
    let dir = tempfile::tempdir().unwrap();
    let elm = shelf::PLAIN.replace("id = \"oak\"", "id = \"elm\"").replace("oak-node", "elm-node");
    lay_out(dir.path(), &(shelf::PLAIN.to_owned() + &elm));
    let daemon = Daemon::run(dir.path());
    let benches = [("oak-node", 0x57), ("elm-node", 0x58)]
        .map(|(node, mac)| Bench::new(dir.path(), mac, &settings(node, 2), PUMP));
    benches.iter().for_each(|bench| bench.lead_to(daemon.broker));
    let mut boards = benches.each_ref().map(|bench| bench.power(27.25, 22.5));
    for source in ["oak-node:warm", "oak-node:cool", "elm-node:warm", "elm-node:cool"] {
        wait("its readings are stored", SOON, || (stored(dir.path(), source).len() >= 3).then_some(()));
    }
    for (board, nest) in boards.iter_mut().zip(["oak", "elm"]) {
        assert!(!board.pad(), "nobody permitted it");
        let probe = format!("probe_celsius{{nest=\"{nest}\",probe=\"{nest}-node:warm\"}}");
        assert_eq!(daemon.metric(&probe), Some(27.25));
        let at = |what| board.logged_at_ms(what);
        println!(
            "connected at {:?}, first pack at {:?} ms of the board's time",
            at("connected"),
            at("said for the first")
        );
    }
    assert_eq!(daemon.stop(), 0);
}
