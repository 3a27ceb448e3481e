use super::*;
use crate::clock::ManualClock;
use crate::history::Reader;
use crate::mqtt_probe::{Probe, options, within};
use crate::shelf_file::sample::{self, OAK};
use crate::snapshot::{ActKind, AlarmAct, AlarmName, Note};
use enclosure::{Alarm, Span, State, Timestamp};
use rumqttc::QoS;
use std::path::Path;
use tokio::sync::oneshot;

const TOPIC: &str = "warmend/oak-node/senml";
const SERVICES: &str = r#"
[broker]
embedded = "127.0.0.1:0"
[web]
listen = "127.0.0.1:0"
[history]
path = "warmend.db"
"#;

/// A daemon with a test in the place of pages and messages.
struct Daemon {
    at: SocketAddr,
    web: WebParts,
    notices: NoticeParts,
    stop: oneshot::Sender<()>,
    end: JoinHandle<Result<(), RunError>>,
}

fn shelf() -> String {
    format!("{OAK}{SERVICES}")
}

fn file(dir: &Path, text: &str) -> ShelfFile {
    sample::read(text, &dir.join("shelf.toml"))
}

fn until(stop: CancellationToken) -> Task {
    Box::pin(async move {
        stop.cancelled().await;
        Ok(())
    })
}

fn outfit() -> (Outfit, oneshot::Receiver<WebParts>, oneshot::Receiver<NoticeParts>, oneshot::Receiver<Open>) {
    let (web, web_out) = oneshot::channel();
    let (notices, notices_out) = oneshot::channel();
    let (open, open_out) = oneshot::channel();
    let mut outfit = Outfit::new(
        |parts| {
            let stop = parts.stop.clone();
            web.send(parts).unwrap();
            until(stop)
        },
        |parts| {
            let stop = parts.stop.clone();
            notices.send(parts).unwrap();
            until(stop)
        },
    );
    outfit.open = Some(Box::new(|at| open.send(at).unwrap()));
    (outfit, web_out, notices_out, open_out)
}

impl Daemon {
    async fn start(dir: &Path) -> Self {
        Self::with(dir, |_| {}).await
    }

    async fn with(dir: &Path, change: impl FnOnce(&mut Outfit)) -> Self {
        Self::of(file(dir, &shelf()), change).await
    }

    async fn of(file: ShelfFile, change: impl FnOnce(&mut Outfit)) -> Self {
        let (mut outfit, web, notices, open) = outfit();
        change(&mut outfit);
        let (stop, stopped) = oneshot::channel();
        let end = tokio::spawn(run(file, outfit, async { drop(stopped.await) }));
        let open = within("the daemon opens", open).await.unwrap();
        let (web, notices) = (web.await.unwrap(), notices.await.unwrap());
        Self { at: open.broker.unwrap(), web, notices, stop, end }
    }

    async fn stop(self) {
        drop(self.stop);
        within("the daemon ends", self.end).await.unwrap().unwrap();
    }

    async fn shows(&mut self, what: &str, is: impl Fn(&Snapshot) -> bool) -> Arc<Snapshot> {
        within(what, self.web.snapshots.wait_for(|snapshot| is(snapshot))).await.unwrap().clone()
    }

    async fn told(&mut self, alarm: Alarm) -> Told {
        loop {
            let told = within("a change is told", self.notices.told.recv()).await.unwrap();
            if told.change.alarm == alarm {
                return told;
            }
        }
    }

    async fn act(&self, kind: ActKind) -> Result<(), String> {
        let (reply, answer) = oneshot::channel();
        self.web.acts.send(Act { kind, by: "a test".to_owned(), why: String::new(), reply }).await.unwrap();
        within("an answer", answer).await.unwrap()
    }

    fn readings(&self) -> usize {
        let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
        Reader::open(&self.web.history).unwrap().readings(None, ever).unwrap().len()
    }
}

/// A node that asks for receipts.
struct Node {
    mqtt: Probe,
    at_s: f64,
}

impl Node {
    async fn of(daemon: &Daemon, id: &str) -> Self {
        let mut mqtt = Probe::at(daemon.at, id).await;
        assert!(mqtt.subscribe("warmend/oak-node/stored", QoS::AtLeastOnce).await);
        let now_s = daemon.web.clock.now().unix_s();
        Self { mqtt, at_s: now_s - 600.0 }
    }

    /// Publishes pack number `seq` with one reading, half a minute after the one before.
    async fn says(&mut self, seq: u64, c: f64) {
        self.at_s += 30.0;
        let pack = format!(
            r#"[{{"bn":"oak-node:","n":"seq","u":"count","v":{seq}}},{{"n":"boot","u":"count","v":3}},
               {{"n":"from","u":"count","v":0}},{{"n":"warm","u":"Cel","v":{c},"t":{:.3}}}]"#,
            self.at_s
        );
        self.mqtt.publish(TOPIC, false, pack).await;
    }

    async fn hears(&mut self) -> u64 {
        let heard = self.mqtt.hear().await;
        self.mqtt.ack(&heard).await;
        wire::read_receipt(&heard.payload).unwrap().stored
    }

    async fn hears_upto(&mut self, seq: u64) {
        while self.hears().await < seq {}
    }
}

fn stands(snapshot: &Snapshot, alarm: Alarm) -> bool {
    snapshot.alarms.iter().any(|standing| standing.key.alarm == alarm && standing.state == State::Unacknowledged)
}

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
    daemon.shows("the third reading is judged", |snapshot| snapshot.vitals.readings == 3).await;
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
    let name = |alarm: &str, nest: &str| AlarmName {
        alarm: alarm.to_owned(),
        nest: Some(nest.to_owned()),
        probe: None,
        node: None,
    };
    daemon.act(ActKind::Alarm(AlarmAct::Acknowledge, name("brood-limit", "oak"))).await.unwrap();
    let again = daemon.act(ActKind::Alarm(AlarmAct::Acknowledge, name("brood-limit", "oak"))).await.unwrap_err();
    assert!(again.contains("nothing to answer"), "{again}");
    let elsewhere = daemon.act(ActKind::Alarm(AlarmAct::Reset, name("brood-limit", "elm"))).await.unwrap_err();
    assert!(elsewhere.contains("no alarm brood-limit at elm"), "{elsewhere}");
    let note = |nest: &str| {
        ActKind::Note(Note {
            at: Timestamp::from_unix_ms(1_767_225_600_000),
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

/// Ends of silences, out of service and answers are what they were; a danger that was answered is not told again.
#[tokio::test]
async fn a_restart_keeps_ends_of_silences_and_time_out_of_service() {
    let dir = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    for seq in 0..3 {
        node.says(seq, 41.0).await;
    }
    node.hears_upto(2).await;
    daemon.shows("the alarm stands", |snapshot| stands(snapshot, Alarm::BroodLimit)).await;
    let name =
        |alarm: &str| AlarmName { alarm: alarm.to_owned(), nest: Some("oak".to_owned()), probe: None, node: None };
    let act = |act, alarm| ActKind::Alarm(act, name(alarm));
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

/// The core's time stands still for two minutes, so that nobody is held for silent, and no delay ends by the jump.
#[tokio::test]
async fn a_clock_that_jumps_a_day_ahead_silences_nobody() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(1_767_225_600_000)));
    let own: Arc<dyn Clock> = Arc::clone(&clock) as _;
    let mut daemon = Daemon::with(dir.path(), |outfit| outfit.clock = own).await;
    let mut node = Node::of(&daemon, "node").await;
    node.at_s = clock.now().unix_s() - 60.0;
    node.says(0, 27.0).await;
    assert_eq!(node.hears().await, 0);
    clock.set(clock.now().plus(Span::from_h(24)));
    let told = daemon.told(Alarm::ClockJumped).await;
    assert!(told.change.detail.contains("went forward by 24 h 00 min"), "{}", told.change.detail);
    node.at_s = clock.now().unix_s() - 30.0;
    node.says(1, 27.0).await;
    assert_eq!(node.hears().await, 1);
    let heard = Timestamp::from_unix_s(node.at_s).unwrap();
    let shown = daemon.shows("a reading of the new time is believed", |s| s.nests[0].heard == Some(heard)).await;
    let silent = [Alarm::ProbeSilent, Alarm::NodeSilent, Alarm::WatchGap];
    assert!(!shown.alarms.iter().any(|a| silent.contains(&a.key.alarm)), "{:?}", shown.alarms);
    daemon.stop().await;
}

#[tokio::test]
async fn stopping_under_load_commits_what_it_took_and_promises_no_more() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    node.at_s -= 86_400.0;
    for seq in 0..200 {
        node.says(seq, 27.0).await;
    }
    let path = daemon.web.history.clone();
    daemon.stop().await;
    let reader = Reader::open(&path).unwrap();
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    // Each confirmed pack had arrived in the broker; what the daemon heard of them is stored without a hole.
    let stored = reader.readings(None, ever).unwrap().len() as u64;
    assert_eq!(reader.receipts().unwrap()[0].upto + 1, stored);
    assert!(stored > 100, "{stored} of 200");
}

#[tokio::test]
async fn a_clock_that_is_set_back_is_said_and_judging_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(1_767_225_600_000)));
    let own: Arc<dyn Clock> = Arc::clone(&clock) as _;
    let mut daemon = Daemon::with(dir.path(), |outfit| outfit.clock = own).await;
    let mut node = Node::of(&daemon, "node").await;
    node.says(0, 27.0).await;
    assert_eq!(node.hears().await, 0);
    clock.advance(Span::from_h(-24));
    let told = daemon.told(Alarm::ClockJumped).await;
    assert!(told.change.detail.contains("went back by 24 h 00 min"), "{}", told.change.detail);
    node.at_s = clock.now().unix_s() - 30.0;
    node.says(1, 26.0).await;
    let heard = Timestamp::from_unix_s(node.at_s).unwrap();
    daemon.shows("a reading of the new time is believed", |s| s.nests[0].heard == Some(heard)).await;
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
    let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(1_767_225_600_000)));
    let own: Arc<dyn Clock> = Arc::clone(&clock) as _;
    let mut daemon = Daemon::with(dir.path(), |outfit| outfit.clock = own).await;
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

#[tokio::test]
async fn a_second_daemon_on_the_same_history_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(dir.path()).await;
    let error = run(file(dir.path(), &shelf()), outfit().0, std::future::pending()).await.unwrap_err();
    assert_eq!(error.exit_code(), 1);
    assert!(error.to_string().contains("another warmend uses it"), "{error}");
    daemon.stop().await;
}

#[tokio::test]
async fn a_dead_part_ends_the_daemon_by_its_name() {
    let dir = tempfile::tempdir().unwrap();
    let mut outfit = outfit().0;
    outfit.open = None;
    outfit.web = Box::new(|_| Box::pin(async { anyhow::bail!("the pages fell over") }));
    let notices = |parts: NoticeParts| -> Task { until(parts.stop) };
    outfit.notices = Box::new(notices);
    let error = within("the end", run(file(dir.path(), &shelf()), outfit, std::future::pending())).await.unwrap_err();
    assert_eq!(error.exit_code(), 1);
    assert!(error.to_string().contains("\"web\" ended: the pages fell over"), "{error}");
}

/// `watches`: a second warmend that falls silent is told here, once, and is over when it is heard again, also by a daemon
/// that was started in between.
#[tokio::test]
async fn a_watch_elsewhere_that_falls_silent_is_told_and_over_when_it_is_heard_again() {
    let dir = tempfile::tempdir().unwrap();
    let text = format!("{OAK}{SERVICES}[heartbeat]\nwatches = \"cellar\"\nevery_min = 5\n");
    let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(1_767_225_600_000)));
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
