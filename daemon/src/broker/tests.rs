use super::users::tests::cheap_hash;
use super::*;
use crate::mqtt_probe::{Probe, options, within};
use rumqttc::{ConnectionError, QoS};
use std::io::Write;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

pub(crate) fn settings(listen: &str) -> BrokerSettings {
    BrokerSettings {
        listen: listen.parse().unwrap(),
        prefix: "warmend".to_owned(),
        own_client_id: "warmend-test".to_owned(),
        users_file: None,
    }
}

async fn open() -> EmbeddedBroker {
    EmbeddedBroker::start(settings("127.0.0.1:0")).await.unwrap()
}

async fn with_users() -> (EmbeddedBroker, tempfile::NamedTempFile) {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    writeln!(file, "oak:{}\nelm:{}", cheap_hash("oak-word"), cheap_hash("elm-word")).unwrap();
    let users_file = Some(file.path().to_owned());
    let broker = EmbeddedBroker::start(BrokerSettings { users_file, ..settings("127.0.0.1:0") }).await.unwrap();
    (broker, file)
}

async fn own(broker: &EmbeddedBroker) -> Probe {
    let login = broker.login();
    Probe::connect(options(broker.address(), &login.client_id, Some((&login.user, &login.password)))).await.unwrap()
}

async fn refused(broker: &EmbeddedBroker, id: &str, login: Option<(&str, &str)>) {
    let got = Probe::connect(options(broker.address(), id, login)).await;
    assert!(matches!(got, Err(ConnectionError::ConnectionRefused(_))), "{id} with {:?}", login.map(|l| l.0));
}

#[tokio::test]
async fn port_zero_gives_a_real_one_which_is_taken_until_the_stop_and_free_after_it() {
    let broker = open().await;
    let at = broker.address();
    assert_ne!(at.port(), 0);
    let second = EmbeddedBroker::start(settings(&at.to_string())).await;
    assert!(matches!(second, Err(BrokerError::Taken(taken)) if taken == at), "{second:?}");
    let client = Probe::at(at, "lamp").await;
    within("stop", broker.stop()).await;
    let again = EmbeddedBroker::start(settings(&at.to_string())).await.unwrap();
    assert_eq!(again.address(), at);
    drop(client);
}

#[tokio::test]
async fn dropping_the_broker_frees_its_port() {
    let broker = open().await;
    let at = broker.address();
    drop(broker);
    within("a free port", async {
        while EmbeddedBroker::start(settings(&at.to_string())).await.is_err() {
            tokio::task::yield_now().await;
        }
    })
    .await;
}

#[tokio::test]
async fn beyond_loopback_users_are_needed_and_a_bad_file_is_the_shelfs_fault() {
    let bare = EmbeddedBroker::start(settings("0.0.0.0:0")).await.unwrap_err();
    assert!(matches!(bare, BrokerError::UsersNeeded(_)));
    let check = async |text: &str| {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(text.as_bytes()).unwrap();
        let users_file = Some(file.path().to_owned());
        let error = EmbeddedBroker::start(BrokerSettings { users_file, ..settings("0.0.0.0:0") }).await.unwrap_err();
        assert!(error.is_in_the_shelf_file(), "{error}");
        error
    };
    assert!(matches!(check("oak").await, BrokerError::UsersWrong { .. }));
    let own_name = format!("{OWN_USER}:{}", cheap_hash("x"));
    assert!(matches!(check(&own_name).await, BrokerError::OwnNameListed(_)));
    let users_file = Some(PathBuf::from("no such file"));
    let unread = EmbeddedBroker::start(BrokerSettings { users_file, ..settings("127.0.0.1:0") }).await.unwrap_err();
    assert!(matches!(unread, BrokerError::UsersUnread { .. }) && unread.is_in_the_shelf_file());
    assert!(!BrokerError::Taken("127.0.0.1:1".parse().unwrap()).is_in_the_shelf_file());
}

#[tokio::test]
async fn only_the_right_name_password_and_client_id_come_in() {
    let (broker, _file) = with_users().await;
    for (id, login) in [
        ("oak", None),
        ("oak", Some(("oak", "elm-word"))),
        ("oak", Some(("oak", ""))),
        ("oak", Some(("ash", "oak-word"))),
        ("elm", Some(("oak", "oak-word"))),
        ("elm-2", Some(("oak", "oak-word"))),
        ("warmend-test", Some(("oak", "oak-word"))),
        ("warmend-test", Some((OWN_USER, "guess"))),
        ("warmend-test", None),
    ] {
        refused(&broker, id, login).await;
    }
    for (id, login) in [("oak", ("oak", "oak-word")), ("lamp", ("elm", "elm-word"))] {
        assert!(Probe::connect(options(broker.address(), id, Some(login))).await.is_ok(), "{id}");
    }
    drop(own(&broker).await);
    // Without users anyone comes in, but not in the daemon's place.
    let open = open().await;
    refused(&open, "warmend-test", None).await;
    refused(&open, "warmend-test", Some(("oak", "oak-word"))).await;
    drop(Probe::connect(options(open.address(), "oak", Some(("oak", "any")))).await.unwrap());
    drop(own(&open).await);
}

#[tokio::test]
async fn a_user_speaks_in_its_own_branch_only_by_message_retained_and_will() {
    let (broker, _file) = with_users().await;
    let mut listener = own(&broker).await;
    assert!(listener.subscribe("#", QoS::AtLeastOnce).await);
    let as_oak = |id: &str| options(broker.address(), id, Some(("oak", "oak-word")));
    let denied = [
        "warmend/elm/senml",
        "warmend/oak/stored",
        "warmend/oak/permit",
        "warmend/-/marker/warmend-test",
        "elsewhere",
        "warmend",
    ];
    // Wills first, the allowed one last: when that was heard, the others had their chance.
    for (i, topic) in denied.iter().chain(&["warmend/oak/senml"]).enumerate() {
        drop(Probe::with_will(as_oak(&format!("oak-{i}")), topic).await);
    }
    let mut oak = Probe::connect(as_oak("oak")).await.unwrap();
    for topic in denied.iter().chain(&["warmend/oak/senml"]) {
        oak.publish(topic, false, "said").await;
        oak.publish(topic, true, "kept").await;
    }
    let mut heard = std::collections::BTreeSet::new();
    while heard.len() < 3 {
        let publish = listener.hear().await;
        listener.ack(&publish).await;
        assert_eq!(publish.topic, "warmend/oak/senml");
        heard.insert(publish.payload);
    }
    assert_eq!(heard.into_iter().collect::<Vec<_>>(), ["kept", "said", "will"]);
    // Nothing that was refused is kept for who comes later.
    let mut later = own(&broker).await;
    later.publish("warmend/zzz", true, "").await;
    assert!(later.subscribe("#", QoS::AtLeastOnce).await);
    later.publish("end", false, "").await;
    let topics = [later.hear().await.topic, later.hear().await.topic];
    assert_eq!(topics, ["warmend/oak/senml", "end"]);
}

#[tokio::test]
async fn a_user_hears_its_own_branch_only_retained_messages_too() {
    let (broker, _file) = with_users().await;
    let mut daemon = own(&broker).await;
    daemon.publish("warmend/elm/stored", true, "for elm").await;
    daemon.publish("warmend/oak/stored", true, "for oak").await;
    let mut oak = Probe::connect(options(broker.address(), "oak", Some(("oak", "oak-word")))).await.unwrap();
    for (filter, expected) in [
        ("warmend/elm/stored", false),
        ("warmend/+/stored", false),
        ("#", false),
        ("$SYS/#", false),
        ("$share/all/warmend/oak/stored", false),
        ("warmend/oak/stored", true),
    ] {
        assert_eq!(oak.subscribe(filter, QoS::AtLeastOnce).await, expected, "{filter}");
    }
    daemon.publish("warmend/elm/stored", true, "for elm").await;
    daemon.publish("warmend/oak/stored", true, "for oak again").await;
    let heard = [oak.hear().await.payload, oak.hear().await.payload];
    assert_eq!(heard, ["for oak", "for oak again"]);
}

#[tokio::test]
async fn a_subscriber_that_acknowledges_late_is_sent_the_whole_window_and_the_rest_in_order_after() {
    const SENT: usize = MAX_UNACKNOWLEDGED as usize + 500;
    let broker = open().await;
    let mut slow = own(&broker).await;
    assert!(slow.subscribe("warmend/+/senml", QoS::AtLeastOnce).await);
    assert!(slow.subscribe("sentinel", QoS::AtMostOnce).await);
    let mut node = Probe::at(broker.address(), "node").await;
    for i in 0..SENT {
        node.publish("warmend/oak/senml", false, i.to_string()).await;
    }
    let mut unacknowledged = Vec::new();
    while unacknowledged.len() < usize::from(MAX_UNACKNOWLEDGED) {
        unacknowledged.push(slow.hear().await);
    }
    node.throw("sentinel", "").await;
    assert_eq!(slow.hear().await.topic, "sentinel", "the window is shut, yet QoS 0 goes past it");
    for publish in &unacknowledged {
        slow.ack(publish).await;
    }
    for expected in usize::from(MAX_UNACKNOWLEDGED)..SENT {
        let publish = slow.hear().await;
        assert_eq!(publish.payload, expected.to_string());
        slow.ack(&publish).await;
    }
    let order: Vec<String> = unacknowledged.iter().map(|p| String::from_utf8_lossy(&p.payload).into_owned()).collect();
    let expected: Vec<String> = (0..usize::from(MAX_UNACKNOWLEDGED)).map(|i| i.to_string()).collect();
    assert_eq!(order, expected);
}

#[tokio::test]
async fn a_full_window_of_large_messages_comes_again_after_a_lost_connection() {
    const LARGE: usize = MAX_PACKET_BYTES - 100;
    let broker = open().await;
    let login = broker.login().clone();
    let reconnect = async || {
        let mut options = options(broker.address(), &login.client_id, Some((&login.user, &login.password)));
        options.set_clean_session(false);
        Probe::connect(options).await.unwrap()
    };
    let mut daemon = reconnect().await;
    assert!(daemon.subscribe("warmend/+/senml", QoS::AtLeastOnce).await);
    let mut node = Probe::at(broker.address(), "node").await;
    for i in 0..MAX_UNACKNOWLEDGED {
        node.publish("warmend/oak/senml", false, [i.to_be_bytes().as_slice(), &[0; LARGE]].concat()).await;
        daemon.hear().await;
    }
    drop(daemon);
    node.publish("warmend/elm/senml", false, vec![0; LARGE]).await;
    let mut daemon = reconnect().await;
    for i in 0..MAX_UNACKNOWLEDGED {
        let again = daemon.hear().await;
        assert!(again.dup && again.payload.starts_with(&i.to_be_bytes()), "message {i}");
    }
}

#[tokio::test]
async fn garbage_does_not_hurt_the_broker_or_who_is_there() {
    let broker = open().await;
    let mut listener = own(&broker).await;
    assert!(listener.subscribe("a", QoS::AtLeastOnce).await);
    let connect = b"\x10\x0d\x00\x04MQTT\x04\x02\x00\x3c\x00\x01x".to_vec();
    let with = |more: &[u8]| [connect.as_slice(), more].concat();
    for junk in [
        b"GET / HTTP/1.1\r\nHost: x\r\n\r\n".to_vec(),
        vec![0xff; 4096],
        b"\x10\xff\xff\xff\x7f\x00\x04MQTT".to_vec(),
        b"\x10\xff\xff\xff\xff\xff".to_vec(),
        b"\x10\x0d\x00\x04MQTT\x04\x02\x00\x3c\x00\x01+".to_vec(),
        with(&connect),
        with(b"\x30\x05\x00\x03a/#x"),
        with(b"\x36\x05\x00\x01a\x00\x01"),
        with(b"\x82\x06\x00\x01\x00\x03a#b"),
        with(b"\x32\xff\xff\xff\x7f\x00\x01a"),
        with(b"\x30\x04\x00\x02\xff\xfe"),
    ] {
        let mut stream = tokio::net::TcpStream::connect(broker.address()).await.unwrap();
        // The broker may close before all is written, which is an answer as well.
        let _ = stream.write_all(&junk).await;
        let _ = stream.shutdown().await;
        let mut rest = Vec::new();
        let _ = within("the broker closes", stream.read_to_end(&mut rest)).await;
    }
    let mut after = Probe::at(broker.address(), "after").await;
    after.publish("a", false, "still here").await;
    assert_eq!(listener.hear().await.payload, "still here");
}

#[tokio::test]
async fn a_packet_over_the_limit_costs_its_sender_the_connection_and_nobody_else() {
    let broker = open().await;
    let mut listener = own(&broker).await;
    assert!(listener.subscribe("a", QoS::AtLeastOnce).await);
    let mut node = Probe::at(broker.address(), "node").await;
    node.publish("a", false, vec![b'x'; MAX_PACKET_BYTES - 100]).await;
    assert_eq!(listener.hear().await.payload.len(), MAX_PACKET_BYTES - 100);
    let (client, mut events) = rumqttc::AsyncClient::new(options(broker.address(), "big", None), 10);
    client.publish("a", QoS::AtLeastOnce, false, vec![b'x'; MAX_PACKET_BYTES + 1]).await.unwrap();
    within("the connection ends", async { while events.poll().await.is_ok() {} }).await;
    node.publish("a", false, "next").await;
    assert_eq!(listener.hear().await.payload, "next");
}

#[tokio::test]
async fn a_client_that_has_much_kept_takes_no_room_from_the_daemons_receipts() {
    let broker = open().await;
    let mut daemon = own(&broker).await;
    assert!(daemon.subscribe("lamp/#", QoS::AtMostOnce).await);
    let mut lamp = Probe::at(broker.address(), "lamp").await;
    for i in 0..=MAX_RETAINED {
        lamp.publish(&format!("lamp/{i}"), true, "on").await;
        assert_eq!(daemon.hear().await.topic, format!("lamp/{i}"), "what is not kept is heard all the same");
    }
    lamp.publish("lamp/0", true, "off").await;
    assert_eq!(daemon.hear().await.payload, "off", "a kept one may be renewed");
    daemon.publish("warmend/oak/stored", true, "receipt").await;
    let mut later = Probe::at(broker.address(), "later").await;
    for (topic, kept) in [
        ("warmend/oak/stored", true),
        (&*format!("lamp/{}", MAX_RETAINED - 1), true),
        (&*format!("lamp/{MAX_RETAINED}"), false),
    ] {
        assert!(later.subscribe(topic, QoS::AtLeastOnce).await);
        lamp.publish(topic, false, "now").await;
        let first = later.hear().await;
        assert_eq!(first.retain, kept, "{topic}: {first:?}");
        if kept {
            assert_eq!(later.hear().await.payload, "now");
        }
    }
    // What is taken away makes room.
    lamp.publish("lamp/1", true, "").await;
    lamp.publish("lamp/new", true, "on").await;
    assert!(later.subscribe("lamp/new", QoS::AtLeastOnce).await);
    assert!(later.hear().await.retain);
}

#[tokio::test]
async fn a_retained_message_that_is_too_large_to_keep_is_heard() {
    let broker = open().await;
    let mut daemon = own(&broker).await;
    assert!(daemon.subscribe("a", QoS::AtLeastOnce).await);
    let mut node = Probe::at(broker.address(), "node").await;
    node.publish("a", true, vec![b'x'; MAX_RETAINED_BYTES + 1]).await;
    assert_eq!(daemon.hear().await.payload.len(), MAX_RETAINED_BYTES + 1);
    let mut later = Probe::at(broker.address(), "later").await;
    assert!(later.subscribe("a", QoS::AtLeastOnce).await);
    node.publish("a", false, "now").await;
    assert_eq!(later.hear().await.payload, "now", "nothing was kept");
}
