//! The heart: one loop that owns the core and decides the order of everything.
//!
//! A message is unpacked, judged reading by reading, and handed to history as one batch. Only when that is committed
//! is the message acknowledged to the broker, its receipt published and its alarm changes told, in this order. Two
//! exceptions: a danger waits at most 2 s for the disk, and while history fails messages are acknowledged without a
//! receipt, so that judging goes on and nodes keep their packs.
//!
//! The loop waits for nobody: history has a thread of its own, acknowledgements a task, messages to keepers a queue.
//! What it holds is bounded: `flight` by the writer's queue, untold changes by [`UNTOLD_MAX`].
pub(crate) mod acts;
mod clocks;
mod draft;
mod flight;
mod judging;
pub(crate) mod keeping;
mod landing;
mod nodes;
mod permitting;
mod picture;
mod reach;
mod remote;
mod restoring;
mod tally;
mod unpacking;
mod watching;

pub use acts::{DANGER_SILENCE_MAX_MIN, NOTE_MAX, SILENCE_MAX_MIN, WHY_MAX};
pub(crate) use landing::{receipt_topic, state_receipt};
pub use restoring::{RESTORED, Restored};
pub(crate) use unpacking::{by_mapping, raw, refusal, topic_fits};

use crate::clock::Clock;
use crate::history::{Committed, SettingsInForce, WriteError, Writer};
use crate::intake::{AckToken, Acker, Inbox, Link, Message, Publisher};
use crate::mirror::Counts;
use crate::notices::Answering;
use crate::permit::{Mat, Standing};
use crate::shelf_file::Mapping;
use crate::snapshot::{Act, Sent, Snapshot, Told};
use crate::unpack::{MAX_STRANGERS, Strangers};
use clocks::Grace;
use draft::Draft;
use enclosure::{AlarmKey, Core, Input, Shelf, Span, Timestamp};
use flight::Flights;
use nodes::Nodes;
use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tally::Tally;
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;
use unpacking::Unpacking;
use watching::Watching;

/// Changes that wait for room on their way to whoever sends messages; beyond it the oldest is lost, and counted.
pub const UNTOLD_MAX: usize = 1024;
/// Acknowledgements that wait for the broker's connection; more come again with their messages.
pub const ACKS_WAITING: usize = 4096;
/// Nodes whose link is remembered.
pub const LINKS_MAX: usize = 256;
/// The loop turns at least so often.
const TICK: Span = Span::from_s(1);
/// Without any news the picture is made anew so often.
const SHOW_EVERY: Span = Span::from_s(10);
/// How long stopping waits for the last commits.
const STOP_WITHIN: Span = Span::from_s(4);

/// What the pipeline works with.
pub struct Parts {
    /// The core as history left it.
    pub restored: Restored,
    /// Writes history.
    pub writer: Arc<Writer>,
    /// Where history lies, to read it again if the clock is set back.
    pub history: PathBuf,
    /// Messages in.
    pub inbox: Inbox,
    /// Takes the messages' end at the end: were it closed, the client would take its session up again and again.
    pub leave: oneshot::Sender<Inbox>,
    /// Acknowledges them.
    pub acker: Acker,
    /// Says receipts.
    pub publisher: Publisher,
    /// How it stands with the broker.
    pub link: watch::Receiver<Link>,
    /// What keepers do.
    pub acts: mpsc::Receiver<Act>,
    /// Changes, to whoever sends messages.
    pub told: mpsc::Sender<Told>,
    /// What became of those messages.
    pub sent: mpsc::Receiver<Sent>,
    /// The picture.
    pub snapshots: watch::Sender<Arc<Snapshot>>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// The rest.
    pub settings: Settings,
}

/// How the pipeline takes messages in.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// First part of every topic.
    pub prefix: String,
    /// Sensors that speak no SenML.
    pub mappings: Vec<Mapping>,
    /// Users have rights to topics: a node speaks for itself only.
    pub nodes_own_topics: bool,
    /// Whose acts upon alarms are taken from the broker; `None`: of everyone whom it lets publish to such a topic.
    pub acting: Vec<Option<String>>,
    /// Called with each turn of the loop once a second: proof that readings can be judged.
    pub pulse: Option<fn()>,
    /// Heating mats that are driven on leave only.
    pub mats: Vec<Mat>,
    /// Small facts that are stored at the start.
    pub facts: Vec<(String, String)>,
    /// What the shelf file says; stored at the start if it said otherwise before.
    pub in_force: String,
    /// A damaged history that was set aside at this start: what happened, where it is, what is left.
    pub set_aside: Option<String>,
    /// How it stands with the mirror, if there is one.
    pub mirror: Option<Arc<Counts>>,
    /// What people do with messages; none where nobody sends any.
    pub answering: Option<Arc<Answering>>,
}

/// Everything that can happen.
enum Event {
    /// A message came in.
    Message(Message),
    /// The broker's client ended.
    NoMore,
    /// A moment came.
    Time(Moment),
    /// A keeper did something.
    Act(Act),
    /// The oldest batch was committed, or failed.
    Committed(Result<Committed, WriteError>),
    /// It stands otherwise with the broker.
    Link,
    /// A message to a keeper was sent, or was not.
    Sent(Sent),
    /// It is time to end.
    Stop,
}

/// What the loop waits for, apart from others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Moment {
    /// The core wants to be woken.
    Wake,
    /// A danger has waited for the disk long enough.
    Danger,
    /// The disk does not answer.
    Overdue,
    /// Housekeeping.
    Tick,
}

/// The running pipeline.
pub struct Pipeline {
    core: Core,
    shelf: Arc<Shelf>,
    /// Names of the sources, by id.
    names: Vec<Arc<str>>,
    sources: Arc<[String]>,
    details: BTreeMap<AlarmKey, String>,
    unpacking: Unpacking,
    flights: Flights,
    untold: VecDeque<Told>,
    strangers: Strangers,
    links: BTreeMap<String, bool>,
    nodes: Nodes,
    permits: Vec<Standing>,
    tally: Tally,
    watching: Watching,
    grace: Option<Grace>,
    started: Timestamp,
    /// When the picture was made last, by the monotonic clock; whether anything happened since, and to an alarm.
    shown: Span,
    touched: bool,
    changed: bool,
    writer: Arc<Writer>,
    history: PathBuf,
    inbox: Inbox,
    leave: oneshot::Sender<Inbox>,
    acker: Acker,
    acks: mpsc::Sender<AckToken>,
    acking: AbortOnDropHandle<()>,
    publisher: Publisher,
    link: watch::Receiver<Link>,
    acts: mpsc::Receiver<Act>,
    told: mpsc::Sender<Told>,
    sent: mpsc::Receiver<Sent>,
    snapshots: watch::Sender<Arc<Snapshot>>,
    clock: Arc<dyn Clock>,
    settings: Settings,
}

impl std::fmt::Debug for Pipeline {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Pipeline").field("started", &self.started).finish_non_exhaustive()
    }
}

impl Pipeline {
    /// Puts the parts together; the first picture is shown at once. Must be called within a tokio runtime.
    pub fn new(parts: Parts) -> Self {
        let Parts { restored, writer, history, inbox, leave, acker, publisher, .. } = parts;
        let Parts { link, acts, told, sent, snapshots, clock, settings, .. } = parts;
        let grace = Grace::after(&restored, clock.as_ref());
        let Restored { core, details, standing, watched, facts, fits, left, aged, .. } = restored;
        let mats = settings.mats.iter().cloned();
        let permits = mats.map(|mat| Standing::new(mat, |name| facts.get(name).cloned())).collect();
        let (acks, mut waiting) = mpsc::channel(ACKS_WAITING);
        let own = acker.clone();
        let acking = AbortOnDropHandle::new(tokio::spawn(async move {
            while let Some(token) = waiting.recv().await {
                own.ack(token).await;
            }
        }));
        let restored_told = standing.into_iter().map(|(id, change)| Told { change, id: Some(id), restored: true });
        let mut this = Self {
            shelf: Arc::new(core.shelf().clone()),
            names: core.sources().iter().map(|name| name.as_str().into()).collect(),
            sources: core.sources().into(),
            details,
            unpacking: Unpacking::new(&core, settings.mappings.clone(), settings.nodes_own_topics),
            flights: Flights::default(),
            untold: restored_told.collect(),
            strangers: Strangers::new(MAX_STRANGERS),
            links: BTreeMap::new(),
            nodes: Nodes::default(),
            permits,
            tally: Tally::default(),
            watching: Watching::new(clock.as_ref(), aged),
            grace,
            started: clock.now(),
            shown: clock.monotonic(),
            touched: true,
            changed: true,
            core,
            writer,
            history,
            inbox,
            leave,
            acker,
            acks,
            acking,
            publisher,
            link,
            acts,
            told,
            sent,
            snapshots,
            clock,
            settings,
        };
        let mut first = Draft::default();
        first.batch.fits = fits;
        // The command line looks there for the way in.
        first.batch.urgent = true;
        first.batch.facts.append(&mut this.settings.facts);
        let text = std::mem::take(&mut this.settings.in_force);
        first.batch.settings = Some(SettingsInForce { since: this.started, text });
        this.submit(first);
        this.submit(Draft { changes: left, ..Draft::default() });
        this.note_absence(watched);
        this.say_set_aside();
        this.show();
        this
    }

    /// Turns until `stop`, then takes in what arrived, and ends once all is committed.
    ///
    /// # Errors
    /// If the history's writer or the broker's client died.
    pub async fn run(mut self, stop: CancellationToken) -> anyhow::Result<()> {
        // What nobody has reached yet is not in reach.
        self.link_changed();
        loop {
            let event = self.next(&stop).await;
            self.check_clock().await;
            match event {
                Event::Message(message) => self.take(&message),
                Event::NoMore => anyhow::bail!("the broker's client has ended"),
                Event::Time(moment) => self.moment(moment).await,
                Event::Act(act) => self.act(act),
                Event::Committed(outcome) => self.land(outcome),
                Event::Link => self.link_changed(),
                Event::Sent(sent) => self.message_sent(sent),
                Event::Stop => return self.stop().await,
            }
            if !self.writer.is_alive() {
                anyhow::bail!("the history's writer has ended");
            }
            self.pass_on();
            if self.changed {
                self.show();
            }
        }
    }

    async fn next(&mut self, stop: &CancellationToken) -> Event {
        let (wait, moment) = self.nearest();
        let room = self.flights.has_room();
        let timer = tokio::time::sleep(wait);
        tokio::select! {
            biased;
            () = stop.cancelled() => Event::Stop,
            outcome = self.flights.answer() => Event::Committed(outcome),
            Some(act) = self.acts.recv(), if room => Event::Act(act),
            Ok(()) = self.link.changed() => Event::Link,
            Some(sent) = self.sent.recv(), if room => Event::Sent(sent),
            () = timer => Event::Time(moment),
            message = self.inbox.recv(), if room => message.map_or(Event::NoMore, Event::Message),
        }
    }

    /// The next moment, and how long it is until then.
    fn nearest(&self) -> (Duration, Moment) {
        let now = self.clock.monotonic();
        let left = |until: Span| Span::from_ms(until.ms() - now.ms());
        let wake = self.core.wake_at().filter(|_| self.grace.is_none()).map(|at| {
            let ms = at.since(self.clock.now()).ms() as f64 / self.clock.pace();
            (Span::from_ms(ms.ceil() as i64), Moment::Wake)
        });
        let danger = self.flights.danger_at().map(|at| (left(at), Moment::Danger));
        let overdue = self.flights.overdue_at().map(|at| (left(at), Moment::Overdue));
        let tick = (left(flight::later(self.watching.ticked, TICK)), Moment::Tick);
        let all = [danger, overdue, wake].into_iter().flatten().chain([tick]);
        let (wait, moment) = all.min_by_key(|(wait, _)| *wait).unwrap_or(tick);
        // A wall clock that was set back makes the core's moment lie far away: the tick comes before.
        (Duration::from_millis(u64::try_from(wait.ms()).unwrap_or(0)), moment)
    }

    async fn moment(&mut self, moment: Moment) {
        match moment {
            Moment::Wake => {
                if self.core.wake_at().is_some_and(|at| at <= self.clock.now()) {
                    self.feed(Input::Wake);
                }
            }
            Moment::Danger => {
                for change in self.flights.dangers_due(self.clock.monotonic()) {
                    self.tell(Told { change, id: None, restored: false });
                }
            }
            Moment::Overdue => {
                let why = "the disk has not answered for 10 s".to_owned();
                self.land(Err(WriteError::Failing { why }));
            }
            Moment::Tick => self.tick().await,
        }
    }

    /// Takes in what arrived and what became of messages, commits it, says the receipts.
    async fn stop(mut self) -> anyhow::Result<()> {
        let until = flight::later(self.clock.monotonic(), STOP_WITHIN);
        let mut last = Draft::default();
        last.batch.urgent = true;
        self.watching.end(&mut last.batch, self.clock.as_ref());
        let mut last = Some(last);
        // What was said to be written down is; from here on whoever sends is told that it will not be.
        self.sent.close();
        loop {
            self.take_in();
            if self.inbox.is_empty()
                && self.sent.is_empty()
                && let Some(last) = last.take()
            {
                self.submit(last);
            }
            if self.flights.is_empty() {
                break;
            }
            let left = until.ms() - self.clock.monotonic().ms();
            let left = Duration::from_millis(u64::try_from(left).unwrap_or(0));
            let Ok(outcome) = tokio::time::timeout(left, self.flights.answer()).await else {
                tracing::warn!("the last commits took too long; what they held is with the nodes still");
                break;
            };
            self.land(outcome);
            self.pass_on();
        }
        self.show();
        let Self { writer, acks, acking, inbox, leave, .. } = self;
        // If nobody takes it, it ends here.
        drop(leave.send(inbox));
        drop(acks);
        // Both end by themselves; whoever waits for the whole has a deadline.
        drop(tokio::time::timeout(Duration::from_secs(1), acking).await);
        if let Err(error) = tokio::task::spawn_blocking(move || writer.stop()).await? {
            tracing::error!(%error, "the last commit failed");
        }
        Ok(())
    }
}
