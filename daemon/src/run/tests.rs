//! The daemon with a test in the place of pages and messages, over a real broker.
mod clocks;
mod ends;
mod others;
mod restarts;
mod storing;

use super::*;
use crate::clock::ManualClock;
use crate::history::Reader;
use crate::mqtt_probe::{Probe, within};
use crate::shelf_file::sample::{self, OAK};
use crate::snapshot::{ActKind, AlarmAct, AlarmName};
use enclosure::{Alarm, Span, State, Timestamp};
use rumqttc::QoS;
use std::path::Path;
use tokio::sync::oneshot;

/// 2026-01-01T00:00:00Z.
const BEGIN_2026: Timestamp = Timestamp::from_unix_ms(1_767_225_600_000);
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

    /// Under a clock that the test sets, at the beginning of 2026.
    async fn under_clock(dir: &Path) -> (Self, Arc<ManualClock>) {
        let clock = Arc::new(ManualClock::new(BEGIN_2026));
        (Self::by(dir, &clock).await, clock)
    }

    /// Under that clock.
    async fn by(dir: &Path, clock: &Arc<ManualClock>) -> Self {
        let own: Arc<dyn Clock> = Arc::clone(clock) as _;
        Self::with(dir, |outfit| outfit.clock = own).await
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
