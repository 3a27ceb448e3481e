use super::*;
use crate::clock::ManualClock;
use crate::history::sample::{Place, at, change, reading, rejected};
use crate::history::{PACKED_AFTER, Settings};
use crate::http_probe::{DEADLINE, Probe};
use crate::snapshot::Vitals;
use enclosure::{Alarm, Measured, State};
use std::collections::BTreeSet;

/// A history with its writer, and mirrors that come and go.
struct Desk {
    place: Place,
    writer: Arc<Writer>,
    clock: Arc<ManualClock>,
}

impl Desk {
    fn new() -> Self {
        let place = Place::new();
        let clock = Arc::new(ManualClock::new(at(3_600)));
        let settings = Settings { commit_at: 1, ..Settings::default() };
        let still: crate::history::Monotonic = Arc::new(|| Duration::ZERO);
        let writer = Arc::new(Writer::start(place.open(), settings, still).unwrap());
        Self { place, writer, clock }
    }

    fn mirror(&self, probe: &Probe, bucket: &str) -> (Arc<Counts>, Running) {
        let (url, org, bucket) = (probe.url(""), "home".to_owned(), bucket.to_owned());
        let nests = HashMap::from([("oak-node:warm".to_owned(), "oak".to_owned())]);
        let mirror =
            Mirror::new(&InfluxSettings { url, org, bucket, token_file: None, shelf_tag: None }, nests).unwrap();
        let shelf = enclosure::Shelf { name: String::new(), nests: Vec::new(), alarms: Default::default() };
        let snapshot = Snapshot {
            heat: Vec::new(),
            at: at(0),
            started: at(0),
            shelf: Arc::new(shelf),
            sources: Arc::from([]),
            nests: Vec::new(),
            alarms: Vec::new(),
            strangers: Vec::new(),
            links: Default::default(),
            nodes: Default::default(),
            vitals: Vitals::default(),
        };
        let (shown, snapshots) = watch::channel(Arc::new(snapshot));
        let stop = CancellationToken::new();
        let counts = mirror.counts();
        let parts = Parts {
            history: self.place.path.clone(),
            writer: Arc::clone(&self.writer),
            snapshots,
            clock: self.clock.clone(),
            stop: stop.clone(),
        };
        (counts, Running { stop, task: keep_up(mirror, parts), _shown: shown })
    }

    async fn store(&self, batch: Batch) {
        self.writer.submit(batch).unwrap().await.unwrap().unwrap();
    }

    async fn says(&self, s: std::ops::Range<i64>) {
        let readings = s.map(|s| reading("oak-node:warm", s, value(s))).collect();
        self.store(Batch { readings, ..Batch::default() }).await;
    }

    async fn pack(&self, before: Timestamp) {
        self.writer.tend(before.plus(PACKED_AFTER), before).unwrap().await.unwrap().unwrap();
    }
}

struct Running {
    stop: CancellationToken,
    task: JoinHandle<()>,
    _shown: watch::Sender<Arc<Snapshot>>,
}

impl Running {
    async fn stop(self) {
        self.stop.cancel();
        tokio::time::timeout(DEADLINE, self.task).await.expect("it ends").unwrap();
    }
}

/// Whole lines as they came, until there are `n` different ones.
async fn lines(probe: &mut Probe, n: usize) -> BTreeSet<String> {
    let mut seen = BTreeSet::new();
    while seen.len() < n {
        seen.extend(probe.request().await.body.lines().map(str::to_owned));
    }
    seen
}

fn value(s: i64) -> f64 {
    20.0 + (s % 1_000) as f64 / 1e3
}

/// Waits until so many lines were taken: only then is it known how far it came.
async fn taken(counts: &Counts, n: u64) {
    let taken = async {
        while counts.now().sent < n || counts.now().due > 0 {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(DEADLINE, taken).await.expect("the lines are taken");
}

fn line(s: i64) -> String {
    let (v, ms) = (value(s), at(s).unix_ms());
    format!("reading,nest=oak,quantity=temperature,source=oak-node:warm value={v} {ms}")
}

#[tokio::test]
async fn everything_stored_arrives_once_it_is_stored() {
    let desk = Desk::new();
    let mut probe = Probe::start(&[]).await;
    desk.says(0..20).await;
    desk.store(Batch { changes: vec![change(7, Alarm::BroodHot, State::Unacknowledged)], ..Batch::default() }).await;
    let (counts, mirror) = desk.mirror(&probe, "shelf");
    let seen = lines(&mut probe, 21).await;
    (0..20).for_each(|s| assert!(seen.contains(&line(s)), "{s}"));
    let alarm = "alarm,alarm=brood-hot,nest=oak,priority=warning active=1,event=\"raised\",state=\"unacknowledged\",\
                 detail=\"expected 27.0 °C, seen 33.1 °C for 12 min\" ";
    assert!(seen.contains(&format!("{alarm}{}", at(7).unix_ms())), "{seen:?}");
    desk.says(20..25).await;
    assert_eq!(lines(&mut probe, 5).await, (20..25).map(line).collect());
    taken(&counts, 26).await;
    mirror.stop().await;
    assert_eq!((counts.now().sent, counts.now().lost, counts.now().failing), (26, 0, None));
}

/// Away for days, with packing in between, a restart, and what was taken back meanwhile: nothing is missing, and what
/// was sent is not sent again.
#[tokio::test]
async fn a_server_that_was_away_gets_all_that_is_stored_and_no_more() {
    let desk = Desk::new();
    let mut probe = Probe::start(&[]).await;
    desk.says(0..10).await;
    let (counts, mirror) = desk.mirror(&probe, "shelf");
    lines(&mut probe, 10).await;
    taken(&counts, 10).await;
    mirror.stop().await;
    // Nobody mirrors for three days, and two of them are packed.
    for day in 0..3 {
        desk.says(day * 86_400 + 100..day * 86_400 + 110).await;
    }
    desk.pack(at(2 * 86_400)).await;
    assert_eq!(desk.place.reader().sizes().unwrap().hot_readings, 10);
    let (counts, mirror) = desk.mirror(&probe, "shelf");
    let missing: BTreeSet<String> = (0..3).flat_map(|day| (100..110).map(move |s| line(day * 86_400 + s))).collect();
    assert_eq!(lines(&mut probe, 30).await, missing);
    desk.says(300_000..300_002).await;
    assert_eq!(lines(&mut probe, 2).await, [300_000, 300_001].map(line).into());
    taken(&counts, 32).await;
    mirror.stop().await;
    assert_eq!((counts.now().due, counts.now().waiting), (0, 0));
    assert!(!probe.has_more());
    // Another bucket has nothing yet: it gets everything.
    let (_, mirror) = desk.mirror(&probe, "other");
    assert_eq!(lines(&mut probe, 42).await.len(), 42);
    mirror.stop().await;
}

#[tokio::test]
async fn a_failing_server_is_said_and_tried_again_and_loses_nothing() {
    let desk = Desk::new();
    let mut probe = Probe::start(&[(401, "unauthorized"), (0, "")]).await;
    desk.says(0..5).await;
    let (counts, mirror) = desk.mirror(&probe, "shelf");
    let first = probe.request().await;
    let failing = async {
        while counts.now().failing.is_none_or(|why| !why.contains("token_file")) {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(DEADLINE, failing).await.expect("it is said");
    // The second request is never answered: the task times out and sends the same again.
    assert_eq!(probe.request().await.body, first.body);
    assert_eq!(probe.request().await.body, first.body);
    taken(&counts, 5).await;
    mirror.stop().await;
    assert_eq!((counts.now().sent, counts.now().lost), (5, 0));
}

#[tokio::test]
async fn what_is_not_believed_after_all_is_sent_again_with_the_reason() {
    let desk = Desk::new();
    let mut probe = Probe::start(&[]).await;
    desk.says(0..3).await;
    let (_, mirror) = desk.mirror(&probe, "shelf");
    lines(&mut probe, 3).await;
    let doubt = crate::history::Disbelief {
        source: "oak-node:warm".into(),
        at: at(1),
        why: rejected("", 0, 0.0).rejection.unwrap(),
    };
    desk.store(Batch { disbeliefs: vec![doubt], ..Batch::default() }).await;
    let want = line(1).replace(" 17", ",rejected=\"wild\" 17");
    assert_eq!(lines(&mut probe, 1).await, [want].into());
    mirror.stop().await;
}

#[tokio::test]
async fn what_was_thinned_before_it_was_sent_is_lost_and_counted() {
    let place = Place::new();
    let mut store = place.open();
    let news = |news| Batch { mirror: Some(news), ..Batch::default() };
    store.commit(&[news(MirrorNews::Target("x".to_owned()))]).unwrap();
    let readings = (0..50).map(|k| reading("oak-node:warm", k * 3_600, 20.0)).collect();
    store.commit(&[Batch { readings, ..Batch::default() }]).unwrap();
    store.commit(&[news(MirrorNews::Mark(MirrorMark { reading: 10, ..MirrorMark::default() }))]).unwrap();
    while store.pack_step(at(9 * 86_400)).unwrap().more {}
    assert_eq!(place.reader().mirror().unwrap().unwrap().due, 3);
    let keep = crate::history::Keep { max_days: Some(7), max_bytes: None };
    while store.thin_step(&keep, at(9 * 86_400)).unwrap().more {}
    let state = place.reader().mirror().unwrap().unwrap();
    // Days 0 and 1, without the ten that were sent; day 2 is younger than seven days.
    assert_eq!((state.lost, state.due), (38, 1));
    // Numbers of arrival are never given twice, though all rows have left.
    assert_eq!(place.reader().arrived(0, 9).unwrap().0.len(), 0);
    store.commit(&[Batch { readings: vec![reading("oak-node:warm", 7, 1.0)], ..Batch::default() }]).unwrap();
    let (again, last) = place.reader().arrived(50, 9).unwrap();
    assert_eq!((again.len(), last), (1, 51));
    drop(store);
    place.open().commit(&[Batch { readings: vec![reading("oak-node:warm", 8, 1.0)], ..Batch::default() }]).unwrap();
    assert_eq!(place.reader().arrived(51, 9).unwrap().1, 52);
}

#[test]
fn estimates_are_lines_of_numbers_only() {
    let made = crate::views::sample::made();
    let text = lines::estimates(&made.snapshot, at(60));
    let nests = made.snapshot.nests.iter().filter(|n| n.heard.is_some()).count();
    assert_eq!(text.lines().filter(|l| l.starts_with("estimate,nest=")).count(), nests);
    assert_eq!(text.lines().filter(|l| l.starts_with("profile,nest=oak,at_mm=")).count(), 13);
    for line in text.lines() {
        let parts: Vec<&str> = line.split(' ').collect();
        assert_eq!((parts.len(), parts[2]), (3, at(60).unix_ms().to_string().as_str()), "{line}");
        for field in parts[1].split(',') {
            let v: f64 = field.split_once('=').unwrap().1.parse().unwrap();
            assert!(v.is_finite(), "{line}");
        }
    }
    let oak = |place: &str| {
        let head = format!("profile,nest=oak,at_mm={place} mean=");
        text.lines().any(|l| l.starts_with(&head))
    };
    let length = made.snapshot.shelf.nests.iter().find(|n| n.id == "oak").unwrap().length_mm;
    assert!(oak("0") && oak(&format!("{length:.0}")), "both ends are there");
}

#[test]
fn hostile_names_stay_within_their_line() {
    let hostile = crate::history::HistoricReading {
        measured: Measured::Temperature(1.0),
        ..reading("x\ny value=1 2\n\\", 0, 0.0)
    };
    let mut record = change(0, Alarm::NodeSilent, State::Unacknowledged);
    record.node = Some("a\nb,c=d e\\".to_owned());
    record.detail = "quote \" and \\ and\nline".to_owned();
    let text = lines::readings(&[hostile], &HashMap::new()) + &lines::changes(&[record]);
    assert_eq!(text.lines().count(), 2);
    assert!(text.contains(r#"node=a\ b\,c\=d\ e\_"#) || text.contains(r#"node=a\ b\,c\=d\ e\\_"#), "{text}");
    assert!(text.contains(r#"detail="quote \" and \\ and line""#), "{text}");
}

#[test]
fn two_changes_of_one_moment_are_two_points_however_often_they_are_read() {
    let place = Place::new();
    let states = [State::Unacknowledged, State::Suppressed, State::Normal];
    let hot = states.map(|state| change(7, Alarm::BroodHot, state));
    let changes = [&hot[..], &[change(7, Alarm::WaterLow, State::Unacknowledged)]].concat();
    place.open().commit(&[Batch { changes, ..Batch::default() }]).unwrap().remove(0).unwrap();
    let after = |id| place.reader().changes_after(id, 10).unwrap().0.iter().map(|c| c.at.unix_ms()).collect::<Vec<_>>();
    let first = at(7).unix_ms();
    assert_eq!(after(0), [first, first + 1, first + 2, first]);
    assert_eq!(after(2), [first + 2, first], "the same after a start in between");
}
