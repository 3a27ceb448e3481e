//! What outlives a restart.
use super::*;
use crate::snapshot::Note;
use enclosure::Event;

fn name(alarm: &str, nest: &str) -> AlarmName {
    AlarmName { alarm: alarm.to_owned(), nest: Some(nest.to_owned()), probe: None, node: None }
}

#[tokio::test]
async fn a_restart_takes_up_alarms_and_receipts_and_what_keepers_did() {
    let dir = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    for seq in 0..4 {
        node.says(seq, 48.0).await;
    }
    node.hears_upto(3).await;
    assert!(daemon.told(Alarm::ProbeHot).await.id.is_some());
    daemon.act(ActKind::Alarm(AlarmAct::Acknowledge, name("brood-limit", "oak"))).await.unwrap();
    let again = daemon.act(ActKind::Alarm(AlarmAct::Acknowledge, name("brood-limit", "oak"))).await.unwrap_err();
    assert!(again.contains("nothing to answer"), "{again}");
    let elsewhere = daemon.act(ActKind::Alarm(AlarmAct::Reset, name("brood-limit", "elm"))).await.unwrap_err();
    assert!(elsewhere.contains("no alarm brood-limit at elm"), "{elsewhere}");
    let note = |nest: &str| {
        ActKind::Note(Note {
            at: BEGIN_2026,
            nest: nest.to_owned(),
            kind: "brood".to_owned(),
            at_mm: Some(60.0),
            text: "cocoons".to_owned(),
        })
    };
    daemon.act(note("oak")).await.unwrap();
    daemon.act(note("elm")).await.unwrap_err();
    daemon.stop().await;

    let mut daemon = Daemon::start(dir.path()).await;
    let shown = daemon.shows("the alarm stands", |snapshot| stands(snapshot, Alarm::ProbeHot)).await;
    let answered = shown.alarms.iter().find(|standing| standing.key.alarm == Alarm::BroodLimit);
    assert_eq!(answered.map(|standing| standing.state), Some(State::Acknowledged));
    let told = daemon.told(Alarm::ProbeHot).await;
    assert!(told.restored && told.id.is_some());
    let mut node = Node::of(&daemon, "node").await;
    assert_eq!(node.hears().await, 3);
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    let notes = Reader::open(&daemon.web.history).unwrap().notes(ever).unwrap();
    let kinds: Vec<_> = notes.iter().map(|n| n.kind.as_str()).collect();
    assert_eq!(kinds.iter().filter(|k| **k != "acknowledged").count(), 1, "{notes:?}");
    assert!(notes.iter().any(|n| n.text == "brood-limit@oak, by a test"), "{notes:?}");
    daemon.stop().await;
}

/// A daemon under which brood-limit stands.
async fn in_danger(dir: &Path) -> Daemon {
    let mut daemon = Daemon::start(dir).await;
    let mut node = Node::of(&daemon, "node").await;
    for seq in 0..3 {
        node.says(seq, 41.0).await;
    }
    node.hears_upto(2).await;
    daemon.shows("the alarm stands", |snapshot| stands(snapshot, Alarm::BroodLimit)).await;
    daemon
}

/// What it is about is called otherwise now, or is gone: that ends no danger, and nobody else would say so.
#[tokio::test]
async fn a_danger_whose_nest_left_the_shelf_file_is_said_to_be_watched_no_longer_once() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = in_danger(dir.path()).await;
    daemon.stop().await;

    let renamed = shelf().replacen("\"oak\"", "\"elm\"", 1);
    let start = async || Daemon::of(file(dir.path(), &renamed), |_| {}).await;
    let mut daemon = start().await;
    let told = daemon.told(Alarm::BroodLimit).await;
    assert!(told.leaves() && told.id.is_some() && told.change.nest.as_deref() == Some("oak"), "{told:?}");
    assert!(told.change.detail.contains("no longer in the shelf file"), "{told:?}");
    daemon.stop().await;

    let daemon = start().await;
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    let changes = Reader::open(&daemon.web.history).unwrap().alarm_changes(ever).unwrap();
    let left = changes.iter().filter(|(_, c)| c.event == Event::OutOfService && c.alarm == Alarm::BroodLimit);
    assert_eq!(left.count(), 1);
    daemon.stop().await;
}

/// Ends of silences, out of service and answers are what they were; a danger that was answered is not told again.
#[tokio::test]
async fn a_restart_keeps_ends_of_silences_and_time_out_of_service() {
    let dir = tempfile::tempdir().unwrap();
    let mut daemon = in_danger(dir.path()).await;
    let act = |act, alarm| ActKind::Alarm(act, name(alarm, "oak"));
    let until = daemon.web.clock.now().plus(Span::from_h(24 * 90));
    daemon.act(act(AlarmAct::Shelve(20), "brood-limit")).await.unwrap();
    daemon.act(act(AlarmAct::TakeOut(Some(until)), "heater-no-heat")).await.unwrap();
    daemon.act(act(AlarmAct::TakeOut(None), "brood-limit")).await.unwrap_err();
    daemon.act(act(AlarmAct::Shelve(31), "brood-limit")).await.unwrap_err();
    fn ends(snapshot: &Snapshot) -> Vec<(Alarm, State, Option<Timestamp>)> {
        let silent = snapshot.alarms.iter().filter(|a| a.until.is_some());
        silent.map(|a| (a.key.alarm, a.state, a.until)).collect()
    }
    let shown = daemon.shows("both are silent", |snapshot| ends(snapshot).len() == 2).await;
    let before = ends(&shown);
    assert!(before.contains(&(Alarm::HeaterNoHeat, State::OutOfService, Some(until))), "{before:?}");
    daemon.stop().await;
    let mut daemon = Daemon::start(dir.path()).await;
    let shown = daemon.shows("both are silent still", |snapshot| ends(snapshot).len() == 2).await;
    assert_eq!(ends(&shown), before);
    daemon.stop().await;
}
