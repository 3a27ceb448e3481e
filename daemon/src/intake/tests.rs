use super::*;
use crate::broker::tests::settings as broker_settings;
use crate::broker::{BrokerSettings, EmbeddedBroker};
use crate::clock::SystemClock;
use crate::mqtt_probe::{Probe, within};
use rumqttc::QoS;
use std::collections::BTreeSet;
use std::net::SocketAddr;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

const TOPIC: &str = "warmend/oak/senml";

fn settings(at: SocketAddr, login: Option<(String, String)>) -> IntakeSettings {
    IntakeSettings {
        host: at.ip().to_string(),
        port: at.port(),
        login,
        client_id: "warmend-test".to_owned(),
        prefix: "warmend".to_owned(),
        also: vec!["bridge/+/state".to_owned()],
        keep_alive: IntakeSettings::KEEP_ALIVE,
    }
}

fn start(settings: IntakeSettings) -> (Intake, Inbox) {
    Intake::start(settings, Arc::new(SystemClock::new()))
}

fn to(broker: &EmbeddedBroker) -> IntakeSettings {
    let login = broker.login().clone();
    settings(broker.address(), Some((login.user, login.password)))
}

async fn open_at(listen: &str) -> EmbeddedBroker {
    EmbeddedBroker::start(BrokerSettings { ..broker_settings(listen) }).await.unwrap()
}

async fn becomes(intake: &Intake, what: &str, is: impl FnMut(&Link) -> bool) -> Link {
    within(what, intake.link().wait_for(is)).await.unwrap().clone()
}

async fn live(intake: &Intake) {
    becomes(intake, "the marker comes back", |link| matches!(link, Link::Connected { live: true, .. })).await;
}

async fn lost(intake: &Intake) -> String {
    match becomes(intake, "a failed attempt", |link| matches!(link, Link::Lost { attempts: 1.., .. })).await {
        Link::Lost { why, .. } => why,
        Link::Connected { .. } => unreachable!(),
    }
}

async fn next(inbox: &mut Inbox) -> Message {
    within("a message", inbox.recv()).await.unwrap()
}

fn summary(message: &Message) -> (&str, &[u8], bool, bool, bool) {
    let Message { topic, payload, retained, dup, live, .. } = message;
    (topic, payload, *retained, *dup, *live)
}

#[tokio::test]
async fn a_message_after_the_marker_is_live_and_a_retained_one_is_not() {
    let broker = open_at("127.0.0.1:0").await;
    let mut node = Probe::at(broker.address(), "node").await;
    node.publish("warmend/elm/senml", true, "kept").await;
    let (intake, mut inbox) = start(to(&broker));
    let kept = next(&mut inbox).await;
    assert_eq!(summary(&kept), ("warmend/elm/senml", b"kept".as_slice(), true, false, false));
    live(&intake).await;
    let before = SystemClock::new().now();
    node.publish(TOPIC, true, "now").await;
    node.publish("bridge/a/state", false, "21.5").await;
    node.throw(TOPIC, "thrown").await;
    let mut heard = [next(&mut inbox).await, next(&mut inbox).await, next(&mut inbox).await];
    heard.sort_by_key(|message| message.payload.clone());
    assert_eq!(summary(&heard[0]), ("bridge/a/state", b"21.5".as_slice(), false, false, true));
    assert_eq!(summary(&heard[1]), (TOPIC, b"now".as_slice(), false, false, true));
    assert_eq!(summary(&heard[2]), (TOPIC, b"thrown".as_slice(), false, false, true));
    assert_eq!((heard[0].node.as_deref(), heard[1].node.as_deref()), (None, Some("oak")));
    assert!(heard.iter().all(|message| message.arrived >= before));
    assert_eq!(intake.counts(), Counts { received: 4, connections: 1, ..Counts::default() });
    intake.stop().await;
    assert!(inbox.is_empty() && inbox.recv().await.is_none());
}

#[tokio::test]
async fn what_was_not_acknowledged_comes_again_and_what_was_queued_meanwhile_is_not_live() {
    let broker = open_at("127.0.0.1:0").await;
    let mut node = Probe::at(broker.address(), "node").await;
    let (intake, mut inbox) = start(to(&broker));
    live(&intake).await;
    for payload in ["stored", "not stored"] {
        node.publish(TOPIC, false, payload).await;
    }
    let (stored, not_stored) = (next(&mut inbox).await, next(&mut inbox).await);
    intake.acker().ack(stored.ack).await;
    intake.stop().await;
    node.publish(TOPIC, false, "meanwhile").await;

    let (intake, mut inbox) = start(to(&broker));
    // A token of the connection before must not acknowledge what has the same packet id now.
    intake.acker().ack(not_stored.ack).await;
    let again = next(&mut inbox).await;
    assert_eq!((summary(&again).1, again.live), (b"not stored".as_slice(), false));
    let meanwhile = next(&mut inbox).await;
    assert_eq!(summary(&meanwhile), (TOPIC, b"meanwhile".as_slice(), false, false, false));
    live(&intake).await;
    node.publish(TOPIC, false, "live").await;
    assert_eq!(summary(&next(&mut inbox).await), (TOPIC, b"live".as_slice(), false, false, true));
}

#[tokio::test]
async fn after_a_broker_restart_it_connects_subscribes_and_states_again() {
    let broker = open_at("127.0.0.1:0").await;
    let at = broker.address();
    // The login of the first broker is of no use to the second; anonymous then, under another id.
    let (intake, mut inbox) = start(IntakeSettings { client_id: "other".to_owned(), ..settings(at, None) });
    live(&intake).await;
    let publisher = intake.publisher();
    publisher.state("warmend/oak/stored", b"41".to_vec()).unwrap();
    publisher.state("warmend/oak/stored", b"42".to_vec()).unwrap();
    within("confirmation", publisher.all_confirmed()).await;
    within("stop", broker.stop()).await;
    lost(&intake).await;
    let waits = publisher.send("alarm", b"while away".to_vec()).unwrap();

    let _broker = open_at(&at.to_string()).await;
    let mut node = Probe::at(at, "node").await;
    assert!(node.subscribe("warmend/oak/stored", QoS::AtLeastOnce).await);
    live(&intake).await;
    assert_eq!(node.hear().await.payload, "42");
    within("confirmation", waits).await.unwrap();
    node.publish(TOPIC, false, "again").await;
    assert_eq!(summary(&next(&mut inbox).await), (TOPIC, b"again".as_slice(), false, false, true));
    assert_eq!(intake.counts().connections, 2);
}

#[tokio::test]
async fn a_full_inbox_drops_counts_and_gets_everything_once_there_is_room() {
    const EACH_BYTES: usize = 60_000;
    const SENT: usize = INBOX_BYTES / EACH_BYTES + 20;
    // Our own broker never sends so much unacknowledged.
    let (at, _handle) = lavish_broker().await;
    let mut node = Probe::at(at, "node").await;
    let (intake, mut inbox) = start(settings(at, None));
    live(&intake).await;
    for i in 0..SENT {
        node.publish(TOPIC, false, [i.to_string().into_bytes(), vec![b' '; EACH_BYTES]].concat()).await;
    }
    within("a drop", async {
        while intake.counts().dropped == 0 {
            tokio::task::yield_now().await;
        }
    })
    .await;
    let mut seen = BTreeSet::new();
    let acker = intake.acker();
    within("every message", async {
        while seen.len() < SENT {
            let message = next(&mut inbox).await;
            if message.topic == TOPIC {
                seen.insert(String::from_utf8_lossy(&message.payload).trim().to_owned());
            }
            acker.ack(message.ack).await;
            // The check for room follows an event on the connection; any message is one.
            node.throw("warmend/elm/senml", "").await;
        }
    })
    .await;
    assert!(intake.counts().connections > 1 && inbox.waiting_bytes.load(Relaxed) <= INBOX_BYTES);
}

/// A foreign broker that takes and sends packets far larger than ours does.
async fn lavish_broker() -> (SocketAddr, mqtt5::broker::BrokerShutdownHandle) {
    let storage = mqtt5::broker::StorageConfig::default().with_backend(mqtt5::broker::StorageBackendType::Memory);
    let config = mqtt5::broker::BrokerConfig::default()
        .with_bind_address(([127, 0, 0, 1], 0))
        .with_max_packet_size(64 * 1024 * 1024)
        .with_max_outbound_inflight(1000)
        .with_storage(storage);
    let mut broker = mqtt5::broker::MqttBroker::with_config(config).await.unwrap();
    let (at, handle) = (broker.local_addr().unwrap(), broker.shutdown_handle());
    tokio::spawn(async move { broker.run().await });
    (at, handle)
}

#[tokio::test]
async fn a_too_large_message_is_counted_and_passed_over() {
    let (at, _handle) = lavish_broker().await;
    let (intake, mut inbox) = start(settings(at, None));
    live(&intake).await;
    let mut node = Probe::at(at, "node").await;
    node.publish(TOPIC, false, vec![b' '; MAX_PAYLOAD_BYTES + 1]).await;
    node.publish(TOPIC, false, "next").await;
    assert_eq!(next(&mut inbox).await.payload, b"next");
    assert_eq!(intake.counts(), Counts { received: 2, oversized: 1, connections: 1, ..Counts::default() });
}

#[tokio::test]
async fn a_message_that_cannot_be_read_at_all_costs_the_session_and_not_the_line() {
    let (at, _handle) = lavish_broker().await;
    let (intake, mut inbox) = start(settings(at, None));
    live(&intake).await;
    let mut node = Probe::at(at, "node").await;
    node.publish(TOPIC, false, vec![b' '; client::LARGEST_PACKET_BYTES + 1]).await;
    within("the loop is broken", async {
        while intake.counts().sessions_dropped == 0 {
            tokio::task::yield_now().await;
        }
    })
    .await;
    live(&intake).await;
    node.publish(TOPIC, false, "next").await;
    assert_eq!(next(&mut inbox).await.payload, b"next");
    assert_eq!(intake.counts().sessions_dropped, 1);
}

/// A server that answers every connection with `answers`, then says nothing more.
async fn mute_server(answers: &'static [&'static [u8]]) -> SocketAddr {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = listener.local_addr().unwrap();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            tokio::spawn(async move {
                let mut taken = [0; 4096];
                for answer in answers {
                    let _ = stream.read(&mut taken).await;
                    let _ = stream.write_all(answer).await;
                }
                while stream.read(&mut taken).await.is_ok_and(|n| n > 0) {}
            });
        }
    });
    at
}

/// Long enough that MQTT finds its first packet whole, and wrong.
const HTTP: &[u8] =
    b"HTTP/1.1 400 Bad Request\r\nServer: somebody else's\r\nContent-Type: text/plain\r\nContent-Length: 3\r\n\r\nno\n";
const CONNACK: &[u8] = b"\x20\x02\x00\x00";

#[tokio::test]
async fn a_broker_that_falls_silent_is_given_up() {
    let at = mute_server(&[CONNACK, b"\x90\x05\x00\x01\x01\x01\x01"]).await;
    let (intake, _inbox) = start(IntakeSettings { keep_alive: Duration::from_secs(1), ..settings(at, None) });
    becomes(&intake, "a subscription", |link| matches!(link, Link::Connected { live: false, .. })).await;
    let why = lost(&intake).await;
    assert!(why.contains("answering") || why.contains("keep-alive"), "{why}");
}

#[tokio::test]
async fn whatever_is_wrong_with_the_other_side_is_said_and_tried_again() {
    let check = async |settings: IntakeSettings, expected: &str| {
        let (intake, _inbox) = start(settings);
        let why = lost(&intake).await;
        assert!(why.contains(expected), "{why} does not say {expected}");
        becomes(&intake, "a second attempt", |link| matches!(link, Link::Lost { attempts: 2.., .. })).await;
        within("stop", intake.stop()).await;
    };
    let broker = open_at("127.0.0.1:0").await;
    check(settings(broker.address(), Some((crate::broker::OWN_USER.to_owned(), "guess".to_owned()))), "password").await;
    check(settings(mute_server(&[HTTP]).await, None), "").await;
    check(settings(mute_server(&[CONNACK, b"\x90\x05\x00\x01\x01\x80\x01"]).await, None), "subscriptions").await;
    check(settings(mute_server(&[CONNACK, b"\xff\xff\xff\xff\xff\xff"]).await, None), "").await;
    let gone = broker.address();
    broker.stop().await;
    check(settings(gone, None), "refused").await;
}

#[test]
fn a_node_is_the_one_level_between_prefix_and_senml() {
    let settings = settings("127.0.0.1:1".parse().unwrap(), Some(("daemon".to_owned(), "secret".to_owned())));
    for (topic, expected) in [
        (TOPIC, Some("oak")),
        ("warmend//senml", None),
        ("warmend/a/b/senml", None),
        ("warmend/senml", None),
        ("other/oak/senml", None),
        ("warmend/oak/state", None),
    ] {
        assert_eq!(settings.node(topic), expected, "{topic}");
    }
    assert!(!format!("{settings:?}").contains("secret"));
}
