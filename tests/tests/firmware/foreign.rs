//! Whose readings speak for heat: only what nobody else on the network can say.
use super::*;
use tests::node::Line;

/// A third probe of the nest, whose readings come as plain numbers from anybody who may publish there.
const MAPPED: &str = r#"
[[nest.probe]]
source = "shelf:foreign"
at_mm = 80
[[mapping]]
topic = "foreign/warm"
unit = "Cel"
source = "shelf:foreign"
"#;

fn somebody(daemon: &Daemon) -> Line {
    let mut options = Line::options("meddler", daemon.broker);
    options.set_credentials("meddler", "word");
    let line = Line::open(options);
    line.connected().unwrap();
    line
}

#[test]
fn a_mapped_sensor_can_withdraw_heat_and_never_justify_it() {
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &format!("{}{MAPPED}", on_leave()));
    let daemon = Daemon::run(dir.path());
    let bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 2), PUMP);
    bench.lead_to(daemon.broker);
    // Its own probe says too much; the foreign one says that it is cold.
    let foreign = somebody(&daemon);
    foreign.say("foreign/warm", false, "20.0");
    let mut board = bench.power(34.8, 22.0);
    let leave = || daemon.now()["nests"][0]["leave"][0].clone();
    let said = wait("it is told why not", SOON, || Some(leave()).filter(|leave| leave["withheld"].is_string()));
    foreign.say("foreign/warm", false, "18.0");
    assert!(!board.pad() && said["duty"].is_null(), "{said}");
    board.warm(27.0);
    pad_becomes(&mut board, true, A_WHILE);
    // The other way round a single word of it is enough, and no danger yet.
    foreign.say("foreign/warm", false, "34.9");
    pad_becomes(&mut board, false, SOON);
    assert!(!waits(&daemon) && daemon.alarm("oak", "brood-limit").is_none());
    foreign.say("foreign/warm", false, "27.0");
    pad_becomes(&mut board, true, A_WHILE);
    assert_eq!(daemon.stop(), 0);
}

/// A broker without users: whoever reaches it can publish in the node's name.
#[test]
fn where_nobody_is_bound_to_topics_signed_packs_justify_heat_and_a_feigned_one_ends_it() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[&on_leave(), shelf::SERVICES]);
    std::fs::write(dir.path().join("oak.key"), "07".repeat(32)).unwrap();
    let daemon = Daemon::run(dir.path());
    let anybody = Line::open(Line::options("anybody", daemon.broker));
    anybody.connected().unwrap();
    anybody.hear("warmend/oak-node/permit");
    // Cold readings in the node's name, before it ever spoke: no leave comes of them.
    let feigned = br#"[{"bn":"oak-node:","n":"seq","u":"count","v":1},{"n":"boot","u":"count","v":1},{"n":"warm","u":"Cel","v":20},{"n":"cool","u":"Cel","v":20}]"#;
    anybody.say("warmend/oak-node/senml", false, feigned.as_slice());
    wait("they are stored", SOON, || (!stored(dir.path(), "oak-node:warm").is_empty()).then_some(()));
    assert!(anybody.heard().is_empty(), "a feigned pack was answered");
    assert_eq!(daemon.stop(), 0);
    // The daemon anew, and the node: its packs are signed, and it heats.
    let daemon = Daemon::run(dir.path());
    let bench = Bench::new(dir.path(), 0x57, &settings("oak-node", 2), PUMP);
    bench.lead_to(daemon.broker);
    let mut board = bench.power(25.0, 22.0);
    pad_becomes(&mut board, true, SOON);
    let anybody = Line::open(Line::options("anybody", daemon.broker));
    anybody.connected().unwrap();
    anybody.say("warmend/oak-node/senml", false, feigned.as_slice());
    pad_becomes(&mut board, false, SOON);
    wait("it is said why", SOON, || {
        let leave = daemon.now()["nests"][0]["leave"][0].clone();
        leave["withheld"].to_string().contains("without its key").then_some(())
    });
    assert_eq!(daemon.stop(), 0);
}
