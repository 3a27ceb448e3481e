use super::*;
use crate::clock::SystemClock;
use crate::http_probe::{DEADLINE, Probe};
use crate::snapshot::SENT_WAITING;
use enclosure::{Alarm, Event};

struct Out {
    told: mpsc::Sender<Told>,
    outcomes: mpsc::Receiver<Report>,
    notices: Notices,
}

fn way(way: Way) -> NoticeWay {
    NoticeWay::plain(way)
}

/// What the ways work with where nothing was before and nobody looks.
pub(super) fn kit(clock: Arc<dyn Clock>) -> Kit {
    Kit {
        context: Arc::new(samples::context()),
        snapshots: None,
        publisher: None,
        answering: Answering::alone(Arc::clone(&clock)),
        clock,
        ledger: Ledger::default(),
        recipients: Vec::new(),
        remind: Span::from_min(5),
        history: None,
    }
}

fn hook(probe: &Probe) -> NoticeWay {
    way(Way::Webhook { url: probe.url("/"), token_file: None, secret_file: None })
}

fn begin(ways: &[NoticeWay]) -> Out {
    let (told, inbox) = mpsc::channel(TOLD_WAITING);
    let (outbox, outcomes) = mpsc::channel(SENT_WAITING);
    let notices = start(ways, inbox, outbox, kit(Arc::new(SystemClock::new())));
    Out { told, outcomes, notices }
}

impl Out {
    async fn tell(&self, alarm: Alarm, event: Event, nest: &str) {
        self.told.send(samples::told(alarm, event, nest)).await.expect("the messages run");
    }

    async fn outcome(&mut self) -> Report {
        tokio::time::timeout(DEADLINE, self.outcomes.recv()).await.expect("an outcome in time").expect("an outcome")
    }
}

#[tokio::test]
async fn a_change_comes_out_of_every_way_once_and_is_reported() {
    let mut probes = [Probe::start(&[]).await, Probe::start(&[]).await];
    let mut out = begin(&[hook(&probes[0]), hook(&probes[1])]);
    out.tell(Alarm::BroodHot, Event::Raised, "oak").await;
    for probe in &mut probes {
        assert_eq!(probe.request().await.json()["alarm"], "brood-hot");
    }
    let mut outcomes = [out.outcome().await, out.outcome().await];
    outcomes.sort_by(|a, b| a.delivery.way.cmp(&b.delivery.way));
    for (outcome, name) in outcomes.iter().zip(["webhook", "webhook 2"]) {
        let delivery = &outcome.delivery;
        assert_eq!((delivery.way.as_str(), delivery.change, delivery.attempt), (name, Some(7), 1));
        assert!(delivery.outcome == "sent" && !outcome.failing);
    }
    drop(out.told);
    out.notices.stop().await;
    assert!(probes.iter().all(|p| !p.has_more()));
}

#[tokio::test]
async fn a_failed_attempt_is_reported_and_made_again_in_order() {
    let mut probe = Probe::start(&[(500, "not now")]).await;
    let mut out = begin(&[hook(&probe)]);
    out.tell(Alarm::BroodHot, Event::Raised, "oak").await;
    assert_eq!(probe.request().await.json()["nest"], "oak");
    out.tell(Alarm::BroodHot, Event::Raised, "plaster").await;
    let first = out.outcome().await;
    assert!(first.delivery.attempt == 1 && first.delivery.outcome.contains("500"), "{first:?}");
    for nest in ["oak", "plaster"] {
        assert_eq!(probe.request().await.json()["nest"], nest);
        assert_eq!(out.outcome().await.delivery.outcome, "sent");
    }
}

#[tokio::test]
async fn a_way_that_hangs_holds_up_no_other() {
    let stuck = Probe::start(&[(0, "")]).await;
    let mut quick = Probe::start(&[]).await;
    let out = begin(&[hook(&stuck), hook(&quick)]);
    for nest in ["oak", "plaster"] {
        out.tell(Alarm::BroodLimit, Event::Raised, nest).await;
        assert_eq!(quick.request().await.json()["nest"], nest);
    }
}

#[tokio::test]
async fn an_end_with_nothing_left_to_say_is_quick() {
    let probe = Probe::start(&[]).await;
    let mut out = begin(&[hook(&probe), way(Way::Log)]);
    out.tell(Alarm::BroodLimit, Event::Raised, "oak").await;
    for _ in 0..2 {
        assert_eq!(out.outcome().await.delivery.outcome, "sent");
    }
    let running = tokio::spawn(out.notices.run(CancellationToken::new()));
    drop(out.told);
    let ended = tokio::time::timeout(STOP_GRACE, running).await.expect("no need for the grace");
    assert!(ended.is_ok_and(|result| result.is_ok()));
}

#[tokio::test]
async fn a_test_says_what_came_of_every_way() {
    let probes = [Probe::start(&[]).await, Probe::start(&[(404, "")]).await];
    let ways = [hook(&probes[0]), hook(&probes[1]), way(Way::Log)];
    let said = test_all(&ways, &SystemClock::new(), &samples::context(), Answering::code).await;
    let names: Vec<_> = said.iter().map(|t| (t.way.as_str(), t.result.is_ok())).collect();
    assert_eq!(names, [("webhook", true), ("webhook 2", false), ("log", true)]);
}

#[tokio::test]
async fn a_way_is_proved_when_a_person_says_the_code_and_not_before() {
    let mut probe = Probe::start(&[]).await;
    let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
    let (told, inbox) = mpsc::channel(TOLD_WAITING);
    let (outbox, _outcomes) = mpsc::channel(SENT_WAITING);
    let kit = kit(clock);
    let answering = Arc::clone(&kit.answering);
    let notices = start(&[hook(&probe), way(Way::Log)], inbox, outbox, kit);
    assert_eq!(answering.unproved().len(), 1, "the log reaches nobody, and is not asked about");
    assert_eq!(answering.test().await, [("webhook".to_owned(), Ok(())), ("log".to_owned(), Ok(()))]);
    let title = probe.request().await.json()["title"].as_str().expect("a title").to_owned();
    let code = title.strip_prefix("Test ").and_then(|rest| rest.get(..8)).expect("its code");
    assert_eq!(answering.unproved().len(), 1, "accepted is not seen");
    assert!(answering.proofs().iter().all(|proof| proof.accepted.is_some()), "and what was accepted is said at once");
    assert!(answering.proves("00000000x").is_err());
    let written = answering.proves(code).unwrap();
    assert_eq!(answering.unproved().len(), 1, "what is not written down proves nothing");
    answering.proved(code, &written);
    assert!(answering.proves(code).is_err(), "a code works once");
    assert!(answering.unproved().is_empty());
    // What was written down proves it after a restart too, as long as the way is the same.
    drop(told);
    notices.stop().await;
    let print = answering::fingerprint(&hook(&probe).way);
    assert_eq!((written.way.as_str(), written.change), ("webhook", None));
    assert_eq!(written.outcome, format!("{} {print}", ledger::SEEN));
    assert_ne!(print, answering::fingerprint(&Way::Log));
}

/// 90 days after a person saw it, a way for danger is asked about again; so is one that was never seen.
#[tokio::test]
async fn a_danger_way_that_nobody_saw_for_90_days_is_asked_about_again() {
    let mut probe = Probe::start(&[]).await;
    let clock = Arc::new(crate::clock::ManualClock::new(Timestamp::from_unix_ms(1_772_323_200_000)));
    let (told, inbox) = mpsc::channel(TOLD_WAITING);
    let (outbox, _outcomes) = mpsc::channel(SENT_WAITING);
    let kit = kit(Arc::clone(&clock) as _);
    let answering = Arc::clone(&kit.answering);
    let advice_alone = NoticeWay { least: enclosure::Priority::Advice, ..hook(&probe) };
    let notices = start(&[advice_alone, way(Way::Log)], inbox, outbox, kit);
    let said = answering.unproved();
    assert!(said.len() == 1 && said[0].starts_with("Nobody has yet seen a test message by webhook"), "{said:?}");
    answering.test().await;
    let title = probe.request().await.json()["title"].as_str().expect("a title").to_owned();
    answering.proved(&title[5..13], &answering.proves(&title[5..13]).unwrap());
    clock.advance(PROOF_HOLDS);
    assert!(answering.unproved().is_empty(), "90 days are not more than 90 days");
    clock.advance(Span::from_s(1));
    let said = answering.unproved();
    assert!(
        said.len() == 1 && said[0].starts_with("The last test message by webhook was seen 90 days ago"),
        "{said:?}"
    );
    drop(told);
    notices.stop().await;
}

/// The made history ends on a Wednesday at midnight; a message wakes the way, whose clock has passed that hour.
#[tokio::test(flavor = "multi_thread")]
async fn a_week_is_looked_back_upon_at_its_hour() {
    use crate::views::sample::made;
    let clock = Arc::new(crate::clock::ManualClock::new(made().end.minus(Span::from_min(1))));
    let mut probe = Probe::start(&[]).await;
    let ways = [NoticeWay { weekly_at: Some((2, 0)), time_zone: Some("UTC".to_owned()), ..hook(&probe) }];
    let (told, inbox) = mpsc::channel(TOLD_WAITING);
    let (outbox, mut outcomes) = mpsc::channel(SENT_WAITING);
    let (_pictures, snapshots) = watch::channel(Arc::new(made().snapshot.clone()));
    let kit = Kit { snapshots: Some(snapshots), history: Some(made().history()), ..kit(clock.clone()) };
    let _notices = start(&ways, inbox, outbox, kit);
    told.send(samples::told(Alarm::BroodHot, Event::Raised, "oak")).await.unwrap();
    assert_eq!(probe.request().await.json()["alarm"], "brood-hot");
    clock.advance(Span::from_min(2));
    told.send(samples::told(Alarm::BroodHot, Event::Raised, "plaster")).await.unwrap();
    // Two nests and two weeks are recalled for it: that may take a while on a busy machine.
    let long = Duration::from_secs(240);
    while tokio::time::timeout(long, outcomes.recv()).await.unwrap().unwrap().delivery.outcome != "weekly report sent" {
    }
    // The hour may strike before the message is out, or after.
    let said = [probe.request().await.json(), probe.request().await.json()];
    assert!(said.iter().any(|letter| letter["nest"] == "plaster"), "{said:?}");
    let week = said.iter().find(|letter| letter["alarm"] == "weekly").expect("the week");
    assert_eq!((week["alarm"].as_str(), week["priority"].as_str()), (Some("weekly"), Some("advice")));
    let text = week["text"].as_str().unwrap();
    for part in ["The week: Shelf study", "Nest oak: The brood place was at", "Nest plaster: ", "a day (the guideline"]
    {
        assert!(text.contains(part), "{part}: {text}");
    }
}
