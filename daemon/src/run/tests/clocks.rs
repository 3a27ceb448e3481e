//! A clock that is set.
use super::*;

/// The core's time stands still for two minutes, so that nobody is held for silent, and no delay ends by the jump.
#[tokio::test]
async fn a_clock_that_jumps_a_day_ahead_silences_nobody() {
    let dir = tempfile::tempdir().unwrap();
    let (mut daemon, clock) = Daemon::under_clock(dir.path()).await;
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
async fn a_clock_that_is_set_back_is_said_and_judging_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let (mut daemon, clock) = Daemon::under_clock(dir.path()).await;
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

/// A pack of one reading of each probe, `ago_s` before the clock.
async fn both_say(node: &mut Node, clock: &ManualClock, c: f64, ago_s: f64) {
    let t = clock.now().unix_s() - ago_s;
    let pack =
        format!(r#"[{{"bn":"oak-node:","bt":{t:.3},"n":"warm","u":"Cel","v":{c}}},{{"n":"cool","u":"Cel","v":{c}}}]"#);
    node.mqtt.publish(TOPIC, false, pack).await;
}

async fn shows_readings(daemon: &mut Daemon, readings: u64) -> Arc<Snapshot> {
    daemon.shows("the readings are judged", |s| s.vitals.readings == readings).await
}

/// Until the danger stands: since when, by the picture and by what was told.
async fn hot(daemon: &mut Daemon, clock: &ManualClock) -> Timestamp {
    let mut node = Node::of(daemon, "node").await;
    for ago_s in [61.0, 31.0, 1.0] {
        both_say(&mut node, clock, 41.0, ago_s).await;
    }
    let told = daemon.told(Alarm::BroodLimit).await;
    let shown = daemon.shows("the danger stands", |s| stands(s, Alarm::BroodLimit)).await;
    assert_eq!(since(&shown, Alarm::BroodLimit), told.change.at, "page and message say the same");
    told.change.at
}

fn since(shown: &Snapshot, alarm: Alarm) -> Timestamp {
    shown.alarms.iter().find(|a| a.key.alarm == alarm).map(|a| a.since).unwrap()
}

/// Two hours after both probes were heard last, and the daemon was stopped.
async fn after_an_outage(dir: &Path) -> (Daemon, Arc<ManualClock>) {
    let (mut daemon, clock) = Daemon::under_clock(dir).await;
    let mut node = Node::of(&daemon, "node").await;
    both_say(&mut node, &clock, 27.0, 1.0).await;
    shows_readings(&mut daemon, 2).await;
    daemon.stop().await;
    clock.advance(Span::from_h(2));
    (Daemon::by(dir, &clock).await, clock)
}

/// As a small computer without a battery does: it starts in 1970, or at its last shutdown, until a time server is there.
#[tokio::test]
async fn a_start_under_a_clock_without_a_battery_forgets_nothing_once_it_is_set() {
    let dir = tempfile::tempdir().unwrap();
    let (mut daemon, clock) = Daemon::under_clock(dir.path()).await;
    let began = hot(&mut daemon, &clock).await;
    let newest = shows_readings(&mut daemon, 6).await.nests[0].heard;
    assert!(newest.is_some());
    daemon.stop().await;

    let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(60_000)));
    let mut daemon = Daemon::by(dir.path(), &clock).await;
    let told = daemon.told(Alarm::ClockJumped).await;
    assert!(told.change.detail.contains("before the moment until which the shelf was watched"), "{told:?}");
    daemon.shows("the danger stands", |s| stands(s, Alarm::BroodLimit)).await;
    // Later than the daemon was stopped: a time without a watch.
    clock.set(BEGIN_2026.plus(Span::from_h(1)));
    let shown = daemon.shows("what was read before is known", |s| s.nests[0].heard == newest).await;
    assert_eq!(since(&shown, Alarm::BroodLimit), began);
    assert!(since(&shown, Alarm::ClockJumped) >= Timestamp::from_unix_ms(60_000), "{:?}", shown.alarms);
    let gaps = Reader::open(&daemon.web.history).unwrap();
    let gaps = gaps.gaps(BEGIN_2026.minus(Span::from_h(1))..clock.now().plus(Span::from_h(1))).unwrap();
    assert!(gaps.iter().all(|gap| gap.from >= BEGIN_2026), "not for 56 years: {gaps:?}");
    daemon.stop().await;
}

#[tokio::test]
async fn a_danger_in_the_first_minutes_after_an_outage_begins_when_it_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let (mut daemon, clock) = after_an_outage(dir.path()).await;
    assert_eq!(hot(&mut daemon, &clock).await, clock.now());
    daemon.stop().await;
}

#[tokio::test]
async fn nodes_that_hand_over_what_they_kept_in_an_outage_are_not_held_for_silent() {
    let dir = tempfile::tempdir().unwrap();
    let (mut daemon, clock) = after_an_outage(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    let silent = |shown: &Snapshot| {
        let silence = [Alarm::ProbeSilent, Alarm::NodeSilent, Alarm::NestUnwatched];
        shown.alarms.iter().any(|a| silence.contains(&a.key.alarm))
    };
    // Oldest first, for longer than silence is borne with otherwise.
    for packs in 1..24 {
        both_say(&mut node, &clock, 27.0, 300.0 * (24.0 - packs as f64)).await;
        assert!(!silent(&*shows_readings(&mut daemon, 2 * packs).await));
        clock.advance(Span::from_s(10));
    }
    both_say(&mut node, &clock, 27.0, 0.0).await;
    let now = clock.now();
    clock.advance(Span::from_s(61));
    let shown = daemon.shows("it is judged again", |s| s.vitals.readings == 48 && s.at > now).await;
    assert!(!silent(&shown), "{:?}", shown.alarms);
    // And who says nothing more is silent.
    clock.advance(Span::from_h(3));
    daemon.told(Alarm::NodeSilent).await;
    daemon.stop().await;
}
