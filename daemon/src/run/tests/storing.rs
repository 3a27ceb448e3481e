//! From a message to history and back, while the disk is well and while it is not.
use super::*;

#[tokio::test]
async fn a_pack_is_judged_stored_and_answered_and_garbage_is_counted() {
    let dir = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    node.says(0, 27.0).await;
    assert_eq!(node.hears().await, 0);
    assert_eq!(daemon.readings(), 1);
    for garbage in [b"\xff\xfe no pack".as_slice(), b"[{\"n\":", b"[{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":900}]"]
    {
        node.mqtt.publish(TOPIC, false, garbage).await;
    }
    node.mqtt.publish(TOPIC, false, r#"[{"bn":"oak-node:","n":"link","vb":true}]"#).await;
    // All refused, and covered by the receipt.
    node.says(1, 900.0).await;
    assert_eq!(node.hears().await, 1);
    // The same pack again is answered again and stored once.
    node.at_s -= 60.0;
    node.says(0, 27.0).await;
    assert_eq!(node.hears().await, 1);
    let all = |snapshot: &Snapshot| snapshot.vitals.messages == 7 && snapshot.vitals.duplicates == 1;
    let shown = daemon.shows("seven messages, one reading twice", all).await;
    assert_eq!(shown.vitals.refused["range"], 2);
    assert_eq!(shown.vitals.refused["form"], 2);
    assert_eq!((shown.vitals.readings, shown.vitals.stored), (2, 1));
    assert!(shown.links["oak-node"]);
    assert_eq!(daemon.readings(), 1);
    let fact = Reader::open(&daemon.web.history).unwrap().fact("page").unwrap();
    assert_eq!(fact, Some(daemon.web.listener.local_addr().unwrap().to_string()));
    daemon.stop().await;
}

#[tokio::test]
async fn while_history_fails_judging_goes_on_without_receipts_until_it_heals() {
    let dir = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    node.says(0, 27.0).await;
    assert_eq!(node.hears().await, 0);
    let (path, away) = (dir.path().join("warmend.db"), dir.path().join("away.db"));
    std::fs::rename(&path, &away).unwrap();
    node.says(1, 27.0).await;
    let told = daemon.told(Alarm::HistoryFailing).await;
    assert!(told.change.detail.contains("moved, deleted or replaced"), "{}", told.change.detail);
    assert_eq!(told.id, None);
    node.says(2, 27.0).await;
    let shown = daemon.shows("the third reading is judged", |snapshot| snapshot.vitals.readings == 3).await;
    let why = shown.vitals.history_failing.as_deref().unwrap_or_default();
    assert!(why.contains("Put it back"), "tried again, it says the same: {why}");
    std::fs::rename(&away, &path).unwrap();
    // The node kept both packs and sends them again.
    node.at_s -= 60.0;
    for seq in [1, 2] {
        node.says(seq, 27.0).await;
    }
    node.hears_upto(2).await;
    daemon.shows("history is well", |snapshot| snapshot.vitals.history_failing.is_none()).await;
    assert_eq!(daemon.readings(), 3);
    daemon.stop().await;
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    let reader = Reader::open(&path).unwrap();
    let gaps = reader.gaps(ever.clone()).unwrap();
    assert!(gaps.len() == 1 && gaps[0].why.contains("could not be written"), "{gaps:?}");
    assert_eq!(reader.settings(ever).unwrap()[0].text, shelf());
}

#[tokio::test]
async fn a_danger_waits_two_seconds_for_the_disk_and_no_longer() {
    let dir = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    let disk = rusqlite::Connection::open(dir.path().join("warmend.db")).unwrap();
    disk.execute_batch("BEGIN IMMEDIATE").unwrap();
    for seq in 0..4 {
        node.says(seq, 48.0).await;
    }
    let told = daemon.told(Alarm::ProbeHot).await;
    assert_eq!((told.id, told.change.nest.as_deref()), (None, Some("oak")));
    disk.execute_batch("ROLLBACK").unwrap();
    daemon.stop().await;
}

/// Not everybody reads a log: a history that was damaged is a message, and over after some minutes of writing a new one.
#[tokio::test]
async fn a_damaged_history_is_told_with_where_it_lies_and_what_is_left() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(dir.path()).await;
    let path = daemon.web.history.clone();
    daemon.stop().await;
    std::fs::write(&path, "no history any more, ".repeat(500)).unwrap();
    let (mut daemon, clock) = Daemon::under_clock(dir.path()).await;
    let told = daemon.told(Alarm::HistoryFailing).await;
    assert_eq!((told.change.event, told.change.told), (enclosure::Event::Raised, true));
    let aside = format!("{}.damaged-1767225600", path.display());
    assert!(std::fs::exists(&aside).unwrap() && told.change.detail.contains(&aside), "{}", told.change.detail);
    assert!(told.change.detail.contains("nothing could be copied"), "{}", told.change.detail);
    clock.advance(Span::from_min(11));
    let told = daemon.told(Alarm::HistoryFailing).await;
    assert_ne!(told.change.event, enclosure::Event::Raised);
    assert_ne!(told.change.state, State::Unacknowledged, "{:?}", told.change);
    daemon.stop().await;
}
