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
