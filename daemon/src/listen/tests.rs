use super::*;
use crate::intake::AckToken;
use crate::shelf_file::sample::{self, OAK};
use std::path::Path;

const ROOM: &str = r#"
[nest.room]
source = "room:air"
[[mapping]]
topic = "sensors/+"
pointer = "/air/temperature"
unit = "degF"
source = "room:air"
"#;

fn explained(topic: &str, node: Option<&str>, payload: &str, live: bool) -> Vec<String> {
    let file = sample::read(&format!("{OAK}{ROOM}"), Path::new("shelf.toml"));
    let message = Message {
        topic: topic.to_owned(),
        node: node.map(str::to_owned),
        payload: payload.as_bytes().to_vec(),
        retained: !live,
        dup: false,
        live,
        arrived: enclosure::Timestamp::from_unix_ms(1_772_366_400_000),
        ack: AckToken::nobody(),
    };
    Reader::new(&file).explain(&message)
}

#[test]
fn what_arrives_is_shown_with_what_it_becomes_or_why_not() {
    let one = |topic, node, payload, live| explained(topic, node, payload, live).pop().unwrap_or_default();
    let mapped = explained("sensors/window", None, r#"{"air":{"temperature":"71.6"}}"#, true);
    assert_eq!(mapped[0], r#"sensors/window {"air":{"temperature":"71.6"}}"#);
    assert!(mapped[1].starts_with("    room:air: 22.00 °C at "), "{mapped:?}");
    for (topic, node, payload, live, words) in [
        ("sensors/window", None, r#"{"air":21}"#, true, "room:air: not taken: there is no number at /air/temperature"),
        ("sensors/window", None, r#"{"air":{"temperature":999}}"#, true, "not taken: it is out of range"),
        ("lamp/state", None, "on", true, "nothing: neither a node's topic"),
        ("w/n/senml", Some("n"), r#"[{"n":"oak-node:warm","u":"Cel","v":27.25}]"#, true, "oak-node:warm: 27.25 °C at "),
        ("w/n/senml", Some("n"), r#"[{"n":"oak-node:warm","u":"F","v":27}]"#, true, "not taken: its unit"),
        ("w/n/senml", Some("n"), r#"[{"n":"oak-node:warm","u":"Cel","v":27}]"#, false, "nobody knows of when it is"),
        ("w/n/senml", Some("n"), r#"[{"n":"elm-node:warm","u":"Cel","v":27}]"#, true, "no nest lists this source"),
        ("w/n/senml", Some("n"), r#"[{"n":"n:up","u":"s","v":27}]"#, true, "about the node itself: 27 s"),
        ("w/n/senml", Some("n"), r#"[{"n":"n:link","vb":true}]"#, true, "about the node itself"),
        ("w/n/senml", Some("n"), "warm", true, "not taken (there is no number): not a SenML pack"),
    ] {
        let said = one(topic, node, payload, live);
        assert!(said.contains(words), "{payload}: {said}");
    }
    // Nothing of a stranger reaches the terminal as it is.
    let wild = explained("a\u{1b}[2J", None, &"\u{7}x".repeat(400), true);
    assert!(wild[0].chars().all(|c| !c.is_control()) && wild[0].chars().count() < 200);
}

#[tokio::test]
async fn a_broker_that_is_not_there_is_told_from_sensors_that_say_nothing() {
    let closed = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let said = async |broker: &str| {
        let file = sample::read(&format!("{OAK}[broker]\n{broker}\n"), Path::new("shelf.toml"));
        let mut out = Vec::new();
        let clock = Arc::new(crate::clock::SystemClock::new());
        let done = listen(&file, Duration::from_secs(1), None, clock, &mut out).await;
        (done, String::from_utf8(out).unwrap())
    };
    let (done, text) = said(&format!("url = \"mqtt://{closed}\"")).await;
    assert!(matches!(&done, Err(RunError::Unheard { address, .. }) if *address == closed.to_string()), "{done:?}");
    assert!(!text.contains("nothing came"), "{text}");
    let (done, text) = said("embedded = \"127.0.0.1:0\"").await;
    assert!(done.is_ok() && text.contains("nothing came"), "{done:?} {text}");
}
