use super::*;
use crate::clock::ManualClock;
use crate::http_probe::{DEADLINE, Probe};
use crate::views::sample::made;

/// A daemon of which only the pictures are seen; its clock stands still until it is told.
struct Seen {
    clock: Arc<ManualClock>,
    pictures: watch::Sender<Arc<Snapshot>>,
    readings: u64,
}

impl Seen {
    fn new() -> (Self, watch::Receiver<Arc<Snapshot>>) {
        let snap = Snapshot::clone(&made().snapshot);
        let clock = Arc::new(ManualClock::new(snap.at));
        let readings = snap.vitals.readings;
        let (pictures, seen) = watch::channel(Arc::new(snap));
        (Self { clock, pictures, readings }, seen)
    }

    /// Lets time pass, then shows a picture with so many more readings judged.
    fn shows(&mut self, after: Span, more: u64, history_failing: Option<&str>) -> Arc<Snapshot> {
        self.clock.advance(after);
        self.readings += more;
        let mut snap = Snapshot::clone(&made().snapshot);
        snap.at = self.clock.now();
        snap.vitals.judged = Some(snap.at);
        snap.vitals.readings = self.readings;
        snap.vitals.history_failing = history_failing.map(str::to_owned);
        let snap = Arc::new(snap);
        self.pictures.send_replace(Arc::clone(&snap));
        snap
    }
}

#[test]
fn there_is_life_only_while_readings_are_really_judged_and_kept() {
    let (mut seen, _rest) = Seen::new();
    let mut judging = Judging::default();
    let min = Span::from_min;
    // After so many minutes more so many readings were judged, with history as said: is there life?
    for (after, more, history, alive, why) in [
        (0, 1, None, true, "a reading was judged"),
        (9, 0, None, true, "a probe may be quiet for ten minutes"),
        (2, 0, None, false, "the loop turns and shows pictures, but judges nothing"),
        (60, 0, None, false, "and an hour later"),
        (1, 1, Some("the disk is full"), false, "what is judged cannot be kept"),
        (1, 1, None, true, "all is as it should be again"),
    ] {
        let snap = seen.shows(min(after), more, history);
        assert_eq!(judging.feel(seen.clock.monotonic(), &snap), alive, "{why}");
    }
}

/// The count of a daemon that has just started stands: a heart that never beat is not heard.
#[test]
fn nothing_judged_is_no_life() {
    let mut judging = Judging::default();
    let silent = crate::views::sample::silent();
    assert!(!judging.feel(Span::from_min(1), &silent) && !judging.feel(Span::from_min(30), &silent));
}

#[tokio::test]
async fn the_sign_of_life_goes_out_while_there_is_life_and_stops_when_the_pipeline_hangs() {
    let mut probe = Probe::start(&[]).await;
    let (mut seen, pictures) = Seen::new();
    let settings = HeartbeatSettings { url: Some(probe.url("/alive")), every: Span::from_min(5), watches: Vec::new() };
    let (outcomes, _heard) = mpsc::channel(8);
    let clock: Arc<dyn Clock> = Arc::clone(&seen.clock) as _;
    let stop = CancellationToken::new();
    let beating = tokio::spawn(beat(settings, pictures, (clock, outcomes), stop.clone()));
    seen.shows(Span::ZERO, 1, None);
    assert!(probe.request().await.head.starts_with("GET /alive "), "the first, at once");
    seen.shows(Span::from_min(5), 1, None);
    probe.request().await;
    // It hangs: pictures may come, readings do not. Each is seen before the next: the task has its turns.
    for _ in 0..3 {
        seen.shows(Span::from_min(11), 0, None);
        for _ in 0..1_000 {
            tokio::task::yield_now().await;
        }
    }
    seen.shows(Span::from_min(1), 1, None);
    probe.request().await;
    stop.cancel();
    assert!(beating.await.is_ok_and(|ended| ended.is_ok()));
    assert!(!probe.has_more(), "three in all: none while it hung, and none is made up for");
}

#[tokio::test]
async fn an_address_that_refuses_the_sign_of_life_is_a_failing_way_until_it_takes_it_again() {
    let mut probe = Probe::start(&[(500, ""), (500, ""), (500, "")]).await;
    let (mut seen, pictures) = Seen::new();
    let settings = HeartbeatSettings { url: Some(probe.url("/")), every: Span::from_min(5), watches: Vec::new() };
    let (outcomes, mut heard) = mpsc::channel(8);
    let clock: Arc<dyn Clock> = Arc::clone(&seen.clock) as _;
    let stop = CancellationToken::new();
    let beating = tokio::spawn(beat(settings, pictures, (clock, outcomes), stop.clone()));
    for _ in 0..4 {
        seen.shows(Span::from_min(5), 1, None);
        probe.request().await;
    }
    let mut next = async || tokio::time::timeout(DEADLINE, heard.recv()).await.expect("in time").expect("an outcome");
    let (failed, healed) = (next().await, next().await);
    assert!(failed.failing && failed.delivery.way == WAY && failed.delivery.outcome.contains("500"), "{failed:?}");
    assert!(!healed.failing && healed.delivery.outcome == super::super::ledger::SENT, "{healed:?}");
    stop.cancel();
    assert!(beating.await.is_ok_and(|ended| ended.is_ok()));
}
