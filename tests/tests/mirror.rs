//! The mirror against a real server that takes its protocol: what was stored is read back, value by value, through
//! outages, kills and restarts.
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::Path;
use tests::daemon::Daemon;
use tests::influx::{Door, Influx};
use tests::node::Node;
use tests::series::Server;
use tests::story::warmth;
use tests::{SOON, history, minute_now_s, shelf, wait};

fn influx(at: SocketAddr) -> String {
    format!("[influx]\nurl = \"http://{at}\"\norg = \"home\"\nbucket = \"shelf\"\n")
}

/// Says a pack a minute with both probes, from number `from` on; gives what was said, by source and ms.
fn says(node: &mut Node, base_s: f64, numbers: std::ops::Range<i32>) -> BTreeMap<(String, i64), f64> {
    let mut said = BTreeMap::new();
    for k in numbers {
        // A time between two seconds, and values off any grid.
        let t = base_s + 60.0 * f64::from(k) + 0.25;
        let (warm, cool) = (25.0 + (f64::from(k) / 7.0).sin(), 21.0 + f64::from(k) / 100.0);
        node.say(&[warmth("oak-node", "warm", t, warm), warmth("oak-node", "cool", t, cool)]);
        let ms = (t * 1000.0).round() as i64;
        said.insert(("oak-node:warm".to_owned(), ms), warm);
        said.insert(("oak-node:cool".to_owned(), ms), cool);
    }
    node.answered(0);
    said
}

fn there(server: &Server) -> BTreeMap<(String, i64), f64> {
    let mut all = BTreeMap::new();
    for series in server.export("reading_value") {
        assert_eq!((series.labels["nest"].as_str(), series.labels["quantity"].as_str()), ("oak", "temperature"));
        all.extend(series.values.iter().map(|(ms, v)| ((series.labels["source"].clone(), *ms), *v)));
    }
    all
}

#[track_caller]
fn holds(server: &Server, said: &BTreeMap<(String, i64), f64>) {
    wait("everything is mirrored", SOON, || (there(server).len() >= said.len()).then_some(()));
    let there = there(server);
    assert_eq!(there.len(), said.len());
    for (key, v) in said {
        // The server keeps some fifteen digits.
        assert!((there[key] - v).abs() <= 1e-12 * v.abs(), "{key:?}: said {v}, there is {}", there[key]);
    }
}

fn start(dir: &Path, at: SocketAddr) -> Daemon {
    shelf::write(dir, &[shelf::PLAIN, shelf::SERVICES, &influx(at)]);
    Daemon::run(dir)
}

#[test]
fn what_is_stored_is_mirrored_value_by_value_through_outages_kills_and_restarts() {
    let dir = tempfile::tempdir().unwrap();
    let mut server = Server::start(dir.path().join("series"));
    let base_s = minute_now_s() - 7_200.0;
    let mut node = Node::new("oak-node", 1);
    let daemon = start(dir.path(), server.at);
    node.connect(daemon.broker);
    let mut said = says(&mut node, base_s, 0..20);
    holds(&server, &said);

    // Without the server everything goes on, and the daemon says so.
    server.end();
    said.extend(says(&mut node, base_s, 20..50));
    wait("the outage is shown", SOON, || (daemon.metric("mirror_up") == Some(0.0)).then_some(()));
    assert_eq!(daemon.metric("history_up"), Some(1.0));
    let page = daemon.get("/");
    assert!(page.contains("The mirror has taken nothing") && page.contains("cannot be reached"), "{page}");
    // Killed and started while it is away.
    daemon.kill();
    let daemon = start(dir.path(), server.at);
    node.connect(daemon.broker);
    said.extend(says(&mut node, base_s, 50..60));
    server.resume();
    holds(&server, &said);
    wait("it has caught up", SOON, || {
        let is = |name, v| daemon.metric(name) == Some(v);
        (is("mirror_up", 1.0) && is("mirror_waiting", 0.0)).then_some(())
    });
    assert_eq!(daemon.metric("mirror_lost_total"), Some(0.0));
    assert_eq!(daemon.stop(), 0);

    // A kill loses no more of what comes after; estimates are there too, each with its place.
    let daemon = start(dir.path(), server.at);
    node.connect(daemon.broker);
    said.extend(says(&mut node, base_s, 60..80));
    holds(&server, &said);
    wait("estimates are mirrored", SOON, || {
        let places = server.export("profile_mean");
        (places.len() >= 13 && !server.export("estimate_brood_mean").is_empty()).then_some(())
    });
    for series in server.export("profile_mean") {
        let place: f64 = series.labels["at_mm"].parse().unwrap();
        assert!((0.0..=240.0).contains(&place));
        assert!(series.values.values().all(|c| (10.0..40.0).contains(c)), "{series:?}");
    }
    daemon.kill();
}

/// A shelf of the same nest and node names as every other here; only its prefix and its tag are its own.
fn named(dir: &Path, server: &Server, name: &str, broker: &str) -> Daemon {
    let services = format!(
        "[broker]\n{broker}\nprefix = \"{name}\"\nclient_id = \"{name}\"\n[web]\nlisten = \"127.0.0.1:0\"\n\
         [history]\npath = \"warmend.db\"\ncommit_s = 0.05\n"
    );
    let tagged = format!("{}shelf_tag = \"{name}\"\n", influx(server.at));
    shelf::write(dir, &[shelf::PLAIN, &services, &tagged]);
    Daemon::run(dir)
}

/// What the service holds of each shelf, by source and ms.
fn by_shelf(server: &Server) -> BTreeMap<String, BTreeMap<(String, i64), f64>> {
    let mut all: BTreeMap<String, BTreeMap<(String, i64), f64>> = BTreeMap::new();
    for series in server.export("reading_value") {
        let of = all.entry(series.labels.get("shelf").cloned().unwrap_or_default()).or_default();
        of.extend(series.values.iter().map(|(ms, v)| ((series.labels["source"].clone(), *ms), *v)));
    }
    all
}

/// Three daemons whose nests and nodes bear the same names: two on one broker, the third on a broker of its own, all
/// mirrored to one service that knows no buckets.
#[test]
fn shelves_share_a_broker_and_a_service_and_do_not_mix() {
    let dir = tempfile::tempdir().unwrap();
    let server = Server::start(dir.path().join("series"));
    let place = |name: &str| {
        let place = dir.path().join(name);
        std::fs::create_dir(&place).unwrap();
        place
    };
    let own = "embedded = \"127.0.0.1:0\"";
    let hall = named(&place("hall"), &server, "hall", own);
    let attic = named(&place("attic"), &server, "attic", &format!("url = \"mqtt://{}\"", hall.broker));
    let cellar = named(&place("cellar"), &server, "cellar", own);
    let base_s = minute_now_s() - 7_200.0;
    let mut said = BTreeMap::new();
    for (i, (name, broker)) in
        [("hall", hall.broker), ("attic", hall.broker), ("cellar", cellar.broker)].iter().enumerate()
    {
        let mut node = Node::under(name, "oak-node", 1);
        node.connect(*broker);
        // The same names at the same times, never the same values.
        let mut of = BTreeMap::new();
        for k in 0..30 {
            let (t, v) = (base_s + 60.0 * f64::from(k), 20.0 + 3.0 * i as f64 + f64::from(k) / 16.0);
            node.say(&[warmth("oak-node", "warm", t, v), warmth("oak-node", "cool", t, v - 1.0)]);
            let ms = (t * 1000.0).round() as i64;
            of.extend([(("oak-node:warm".to_owned(), ms), v), (("oak-node:cool".to_owned(), ms), v - 1.0)]);
        }
        node.answered(0);
        said.insert((*name).to_owned(), of);
    }
    let all = || by_shelf(&server).values().map(BTreeMap::len).sum::<usize>() >= 180;
    wait("everything is mirrored", SOON, || all().then_some(()));
    assert_eq!(by_shelf(&server), said);
    for daemon in [attic, hall, cellar] {
        assert_eq!(daemon.metric("mirror_lost_total"), Some(0.0));
        assert_eq!(daemon.stop(), 0);
    }
}

/// Its own parser takes every line, and its storage gives back every bit of every value, and every word of an alarm.
#[test]
fn the_storage_of_influxdb_takes_every_line_and_gives_back_the_same_bits_and_words() {
    let dir = tempfile::tempdir().unwrap();
    let server = Influx::start(&dir.path().join("influx"));
    let door = Door::before(&server);
    let daemon = start(dir.path(), door.at);
    let base_s = minute_now_s() - 7_200.0;
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let mut said = says(&mut node, base_s, 0..60);
    // Three readings above the limit: a danger, with a sentence of its own.
    for k in 0..3 {
        let t = base_s + 3_900.0 + 30.0 * f64::from(k);
        node.say(&[warmth("oak-node", "warm", t, 37.125)]);
        said.insert(("oak-node:warm".to_owned(), (t * 1000.0) as i64), 37.125);
    }
    node.answered(0);
    wait("everything is mirrored", SOON, || (server.temperatures().len() >= said.len()).then_some(()));
    let there = server.temperatures();
    assert_eq!(there.len(), said.len());
    for (key, v) in &said {
        assert_eq!(there[key].to_bits(), v.to_bits(), "{key:?}: said {v}, there is {}", there[key]);
    }
    let query = "SELECT \"event\", \"detail\" FROM \"alarm\" WHERE \"alarm\" = 'brood-limit' AND \"nest\" = 'oak'";
    let alarm = wait("the danger is mirrored", SOON, || server.query(query).into_iter().next());
    let changes = history::changes(&dir.path().join("warmend.db"), "brood-limit");
    let (event, detail) = (alarm.rows[0][1].as_str().unwrap(), alarm.rows[0][2].as_str().unwrap());
    assert_eq!((event.to_owned(), alarm.rows[0][0].as_i64().unwrap()), changes[0]);
    assert!(detail.contains("°C") && detail.contains(','), "a sentence with what must be escaped: {detail}");
    assert_eq!(daemon.metric("mirror_lost_total"), Some(0.0));
    assert_eq!(daemon.stop(), 0);
    // At a start the nests are known, so that estimates are said at once and not at the next five minutes.
    let daemon = start(dir.path(), door.at);
    wait("estimates are mirrored", SOON, || {
        let places = server.query("SELECT last(\"mean\") FROM \"profile\" GROUP BY \"at_mm\"");
        (places.len() >= 13).then_some(())
    });
    assert!(door.said().iter().all(|(status, _)| *status == 204), "{:?}", door.said());
    assert_eq!(daemon.metric("mirror_lost_total"), Some(0.0));
    assert_eq!(daemon.stop(), 0);
}

/// Somebody wrote whole numbers there before: what its storage refuses for that is counted, said, and holds up nothing.
#[test]
fn what_the_storage_refuses_in_part_is_counted_and_the_rest_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let server = Influx::start(&dir.path().join("influx"));
    let door = Door::before(&server);
    let base_s = minute_now_s() - 7_200.0;
    let other = format!("reading,source=other value=1i {}\n", base_s as i64 * 1000);
    assert_eq!(server.write(&other).0, 204);
    let daemon = start(dir.path(), door.at);
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let said = says(&mut node, base_s, 0..30);
    wait("what is lost is counted", SOON, || {
        (daemon.metric("mirror_lost_total") == Some(said.len() as f64)).then_some(())
    });
    assert_eq!(daemon.metric("mirror_up"), Some(1.0));
    assert_eq!(daemon.stop(), 0);
    let daemon = start(dir.path(), door.at);
    wait("the rest goes on", SOON, || (!server.query("SELECT \"mean\" FROM \"profile\"").is_empty()).then_some(()));
    let refused: Vec<_> = door.said().into_iter().filter(|(status, _)| *status != 204).collect();
    assert!(!refused.is_empty());
    for (status, body) in &refused {
        assert!(*status == 400 && body.contains("partial write: field type conflict"), "{status}: {body}");
    }
    assert_eq!(daemon.metric("mirror_lost_total"), Some(said.len() as f64), "known over a restart");
    assert!(server.temperatures().is_empty(), "nothing of it is there");
    assert_eq!(daemon.stop(), 0);
}
