//! The broker: one elsewhere that dies and comes back, users and their rights, ports and files that are taken.
use std::path::Path;
use std::time::Duration;
use tests::daemon::Daemon;
use tests::node::{Line, Node};
use tests::story::warmth;
use tests::{SOON, history, minute_now_s, program, shelf, wait};

/// A connection that says nothing is given up after twice the keep-alive of 15 s; the next one then succeeds.
const BACK: Duration = Duration::from_secs(90);

/// A second daemon, for its broker only: its own topics begin with another word.
fn elsewhere(dir: &Path, port: u16) -> Daemon {
    let broker =
        format!("[broker]\nembedded = \"127.0.0.1:{port}\"\nprefix = \"elsewhere\"\nclient_id = \"elsewhere\"\n");
    shelf::write(dir, &[shelf::PLAIN, &broker, "[web]\nlisten = \"127.0.0.1:0\"\n"]);
    Daemon::run(dir)
}

#[test]
fn a_broker_elsewhere_that_dies_costs_no_pack() {
    let (there, here) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let broker = elsewhere(there.path(), 0);
    let at = broker.broker;
    let services = shelf::SERVICES.replace("embedded = \"127.0.0.1:0\"", &format!("url = \"mqtt://{at}\""));
    shelf::write(here.path(), &[shelf::PLAIN, &services]);
    let daemon = Daemon::run(here.path());
    assert_eq!(daemon.broker, at);
    let mut node = Node::new("oak-node", 3);
    let from_s = minute_now_s() - 7_200.0;
    let mut said = 0;
    let mut say = |node: &mut Node, packs: u32| {
        for _ in 0..packs {
            node.say(&[warmth("oak-node", "warm", from_s + f64::from(said), 25.0)]);
            said += 1;
        }
    };
    node.connect(at);
    say(&mut node, 50);
    node.answered(0);
    let mut broker = Some(broker);
    for _ in 0..2 {
        say(&mut node, 20);
        broker.take().into_iter().for_each(Daemon::kill);
        wait("the daemon says that the broker is gone", SOON, || (daemon.metric("broker_up")? < 0.5).then_some(()));
        wait("the node notices", SOON, || node.is_cut().then_some(()));
        broker = Some(elsewhere(there.path(), at.port()));
        wait("the daemon is there again", BACK, || (daemon.metric("broker_up")? > 0.5).then_some(()));
        node.connect(at);
        say(&mut node, 20);
        node.answered(0);
    }
    let stored = history::temperatures(&here.path().join("warmend.db"));
    assert_eq!(stored.len(), 50 + 2 * 40);
    assert!(stored.values().all(|times| *times == 1));
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn users_enter_by_their_password_and_speak_for_themselves_only() {
    let dir = tempfile::tempdir().unwrap();
    let users = shelf::user("oak-node", "oak-word") + &shelf::user("elm-node", "elm-word");
    std::fs::write(dir.path().join("users"), users).unwrap();
    let services = shelf::SERVICES.replace("[web]", "users_file = \"users\"\n[web]");
    shelf::write(dir.path(), &[shelf::PLAIN, &services]);
    let daemon = Daemon::run(dir.path());
    let enter = |id: &str, login: Option<(&str, &str)>| {
        let mut options = Line::options(id, daemon.broker);
        if let Some((user, password)) = login {
            options.set_credentials(user, password);
        }
        Line::open(options)
    };
    for (id, login) in
        [("oak-node", None), ("oak-node", Some(("oak-node", "elm-word"))), ("oak-node", Some(("nobody", "oak-word")))]
    {
        let refused = enter(id, login).connected();
        assert!(refused.is_err(), "{login:?} was let in");
    }
    let elm = enter("elm-node", Some(("elm-node", "elm-word")));
    elm.connected().unwrap();
    let pack = |c: f64| format!("[{{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":{c}}}]");
    elm.hear("warmend/#");
    // On another's topic, in another's name on one's own, and in the daemon's name.
    elm.say("warmend/oak-node/senml", false, pack(26.0));
    elm.say("warmend/elm-node/senml", false, pack(27.0));
    elm.say("warmend/oak-node/stored", true, "[{\"bn\":\"oak-node:\",\"n\":\"stored\",\"u\":\"count\",\"v\":99}]");
    let oak = enter("oak-node", Some(("oak-node", "oak-word")));
    oak.connected().unwrap();
    oak.say("warmend/oak-node/senml", false, pack(25.0));
    wait("the honest reading is judged", SOON, || (daemon.metric("readings_total")? > 0.5).then_some(()));
    wait("the lie on its own topic is counted", SOON, || {
        (daemon.metric("refused_total{reason=\"unknown-source\"}")? > 0.5).then_some(())
    });
    let shown = daemon.metric("probe_celsius{nest=\"oak\",probe=\"oak-node:warm\"}");
    assert_eq!(shown, Some(25.0));
    assert_eq!(daemon.metric("readings_total"), Some(1.0));
    assert!(elm.heard().iter().all(|(topic, _)| topic.starts_with("warmend/elm-node/")));
    assert_eq!(daemon.stop(), 0);
}

#[test]
fn what_is_in_use_is_said_with_1() {
    let (first, second) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    shelf::write(first.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let daemon = Daemon::run(first.path());
    let run = |dir: &Path| program::run(["run".as_ref(), "--shelf".as_ref(), dir.join("shelf.toml").as_os_str()]);
    let again = run(first.path());
    assert_eq!(again.code, 1, "{again:?}");
    assert!(again.err.contains("another warmend uses it"), "{}", again.err);
    for (key, taken) in [("embedded", daemon.broker), ("listen", daemon.page)] {
        let services = shelf::SERVICES.replace(&format!("{key} = \"127.0.0.1:0\""), &format!("{key} = \"{taken}\""));
        shelf::write(second.path(), &[shelf::PLAIN, &services]);
        let refused = run(second.path());
        assert_eq!(refused.code, 1, "{refused:?}");
        assert!(refused.err.contains(&taken.to_string()), "{}", refused.err);
    }
    // Beyond loopback only with users.
    let open = shelf::SERVICES.replace("embedded = \"127.0.0.1:0\"", "embedded = \"0.0.0.0:0\"");
    shelf::write(second.path(), &[shelf::PLAIN, &open]);
    let refused = run(second.path());
    assert_eq!(refused.code, 64, "{refused:?}");
    assert!(refused.err.contains("users_file"), "{}", refused.err);
    assert_eq!(daemon.stop(), 0);
}
