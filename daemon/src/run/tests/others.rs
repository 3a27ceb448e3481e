//! Others who act or are watched over the network.
use super::*;
use crate::mqtt_probe::options;
use dashboards::say;

#[tokio::test]
async fn who_may_acts_by_message_and_nobody_else() {
    let dir = tempfile::tempdir().unwrap();
    let hash = crate::broker::users::tests::cheap_hash("p");
    std::fs::write(dir.path().join("users"), format!("oak-node:{hash}\nhall:{hash}:act\n")).unwrap();
    let text = shelf().replace("[web]", "users_file = \"users\"\n[web]");
    let mut daemon = Daemon::of(file(dir.path(), &text), |_| {}).await;
    let connect = |id: &'static str| {
        let at = daemon.at;
        async move { Probe::connect(options(at, id, Some((id, "p")))).await.unwrap() }
    };
    let (mqtt, mut hall) = (connect("oak-node").await, connect("hall").await);
    let at_s = daemon.web.clock.now().unix_s() - 600.0;
    let mut node = Node { mqtt, at_s };
    for seq in 0..3 {
        node.says(seq, 41.0).await;
    }
    daemon.shows("the alarm stands", |snapshot| stands(snapshot, Alarm::BroodLimit)).await;
    assert!(hall.subscribe("warmend/hall/acted", QoS::AtLeastOnce).await);
    let ack = r#"{"do":"ack","alarm":"brood-limit","nest":"oak","why":"I am there"}"#;
    let coming = r#"{"do":"on-the-way","alarm":"brood-limit","nest":"oak","why":"in the bus"}"#;
    // Nobody sends messages in this test: that somebody was told is said here.
    let told = daemon.told(Alarm::BroodLimit).await;
    for (payload, part) in [
        (r#"{"do":"shelve","alarm":"brood-limit","nest":"oak","minutes":9}"#, "on the pages or by"),
        (r#"{"do":"out-of-service","alarm":"brood-limit","nest":"oak"}"#, "stays in service"),
        (r#"{"do":"explode","alarm":"brood-limit"}"#, "nothing is known"),
        (r#"{"do":"ack","alarm":"brood-limit","nest":"elm"}"#, "no alarm"),
        ("\u{1}{{{", "no JSON"),
        (coming, "nobody is being told"),
        ("", ""),
        (coming, "\"done\":true"),
        (ack, "\"done\":true"),
    ] {
        if payload.is_empty() {
            daemon.notices.answering.hear(&told, "DANGER: nest oak, the brood place is hotter than its limit.");
            continue;
        }
        hall.publish("warmend/hall/act", false, payload).await;
        let heard = hall.hear().await;
        hall.ack(&heard).await;
        let answer = String::from_utf8_lossy(&heard.payload).into_owned();
        assert!(answer.contains(part), "{payload}: {answer}");
    }
    let answered =
        |s: &Snapshot| s.alarms.iter().any(|a| a.key.alarm == Alarm::BroodLimit && a.state == State::Acknowledged);
    daemon.shows("it is answered", answered).await;
    // A node's own rights do not reach so far: what it says there never arrives.
    node.mqtt.throw("warmend/oak-node/act", r#"{"do":"shelve","alarm":"brood-limit","nest":"oak","minutes":9}"#).await;
    node.says(3, 41.0).await;
    let shown = daemon.shows("the next pack is judged", |s| s.vitals.readings == 4).await;
    assert!(answered(&shown));
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    let notes = Reader::open(&daemon.web.history).unwrap().notes(ever).unwrap();
    let texts: Vec<_> = notes.iter().map(|n| (n.kind.as_str(), n.text.as_str())).collect();
    let (coming, there) =
        ("brood-limit@oak, by MQTT user hall: in the bus", "brood-limit@oak, by MQTT user hall: I am there");
    assert_eq!(texts, [("on-the-way", coming), ("acknowledged", there)]);
    daemon.stop().await;
}

/// `watches`: a second warmend that falls silent is told here, once, and is over when it is heard again, also by a daemon
/// that was started in between.
#[tokio::test]
async fn a_watch_elsewhere_that_falls_silent_is_told_and_over_when_it_is_heard_again() {
    let dir = tempfile::tempdir().unwrap();
    let text = format!("{OAK}{SERVICES}[heartbeat]\nwatches = \"cellar\"\nevery_min = 5\n");
    let clock = Arc::new(ManualClock::new(BEGIN_2026));
    let start = async || {
        let own: Arc<dyn Clock> = Arc::clone(&clock) as _;
        let daemon = Daemon::of(file(dir.path(), &text), |outfit| outfit.clock = own).await;
        let n = &daemon.notices;
        let (answering, clock) = (Arc::clone(&n.answering), Arc::clone(&n.clock));
        tokio::spawn(crate::notices::heartbeat::wait_for(answering, n.acts.clone(), clock, n.stop.clone()));
        daemon
    };
    let is_it = |told: &Told, event: enclosure::Event| {
        let c = &told.change;
        assert_eq!((c.event, c.nest.as_deref(), c.node.as_deref()), (event, None, Some("cellar")), "{c:?}");
    };
    let mut daemon = start().await;
    assert!(daemon.notices.answering.hear_life("cellar"));
    clock.advance(Span::from_min(16));
    let told = daemon.told(Alarm::NodeSilent).await;
    is_it(&told, enclosure::Event::Raised);
    assert!(told.change.told && told.change.detail.contains("watches shelf cellar"), "{told:?}");
    daemon.stop().await;
    let mut daemon = start().await;
    is_it(&daemon.told(Alarm::NodeSilent).await, enclosure::Event::Raised);
    assert!(daemon.notices.answering.hear_life("cellar"));
    is_it(&daemon.told(Alarm::NodeSilent).await, enclosure::Event::Cleared);
    daemon.stop().await;
}

#[tokio::test]
async fn a_broker_that_was_never_reached_is_shown_as_out_of_reach_from_the_first() {
    let dir = tempfile::tempdir().unwrap();
    let mute = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = format!("url = \"mqtt://{}\"", mute.local_addr().unwrap());
    let text = shelf().replace("embedded = \"127.0.0.1:0\"", &at);
    let (outfit, web, _notices, _open) = outfit();
    let (stop, stopped) = oneshot::channel::<()>();
    let end = tokio::spawn(run(file(dir.path(), &text), outfit, async { drop(stopped.await) }));
    let mut web = within("the pages start", web).await.unwrap();
    let untried = |shown: &Arc<Snapshot>| shown.vitals.broker_lost == Some(say!("seen-broker-no-answer"));
    drop(within("no answer is shown before one is given up", web.snapshots.wait_for(untried)).await.unwrap());
    drop(stop);
    within("the daemon ends", end).await.unwrap().unwrap();
}
