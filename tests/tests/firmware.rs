//! The node's firmware on an emulated board, against the daemon with its own broker.
use node::settings::{Name, Settings};
use std::path::Path;
use std::time::Duration;
use tests::board::{BROKER, Bench, Board};
use tests::daemon::Daemon;
use tests::node::Line;
use tests::{SOON, history, shelf, wait};
use wire::{JsonWriter, Permit, PermitKind, write_permit};

const PUMP: &str = env!("CARGO_BIN_EXE_pump");
const KEY: [u8; 32] = [7; 32];
/// What takes the raw guard its 20 s, or the core its minute.
const A_WHILE: Duration = Duration::from_secs(180);

/// A nest whose mat the node drives on leave.
const ON_LEAVE: &str = r#"
[[nest]]
id = "oak"
length_mm = 240
material = "oak"
[nest.pad]
from_mm = 0
to_mm = 80
watts = 5.0
drive = "oak-node:pad"
permit_key_file = "oak.key"
[nest.brood]
from_mm = 50
to_mm = 90
[nest.band]
low_c = 24.0
high_c = 31.0
limit_c = 35.0
[[nest.probe]]
source = "oak-node:warm"
at_mm = 70
[[nest.probe]]
source = "oak-node:cool"
at_mm = 230
"#;

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
    let meddler = shelf::user("meddler", "word").trim_end().to_owned() + ":read warmend/#,write warmend/+/permit\n";
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
        println!("connected at {:?} ms of the board's time", board.logged_at_ms("connected"));
    }
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn heat_comes_on_leave_ends_in_a_danger_and_returns_by_a_person_only() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), ON_LEAVE);
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
    lay_out(dir.path(), ON_LEAVE);
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

/// In time that skips what the board sleeps through: an hour is a matter of a minute.
#[test]
fn without_a_line_heat_ends_with_the_lease_and_the_node_speaks_again() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), ON_LEAVE);
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 10), PUMP);
    bench.hurried = true;
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    pad_becomes(&mut board, true, SOON);
    board.cable(false);
    pad_becomes(&mut board, false, SOON);
    // The broker is gone as well, and comes back elsewhere.
    daemon.kill();
    board.logs("disconnected");
    let daemon = Daemon::run(dir.path());
    bench.lead_to(daemon.broker);
    board.cable(true);
    pad_becomes(&mut board, true, A_WHILE);
    assert_eq!(daemon.stop(), 0);
}
