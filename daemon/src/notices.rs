//! Telling the keeper: from a stored change of an alarm to a message that is out.
//!
//! - `words`: every sentence; `text`: a change in those words ([`compose`]), the same for every way.
//! - `schedule`: repeats, waits, quiet hours; `desk`: what one way still has to say. Both pure.
//! - `ways`: log, command, webhook, mqtt.
//! - here: one task a way, so that one that hangs holds up no other.
//!
//! Invariants: nothing is told that was not handed in; a danger is repeated until it is answered or over; no queue
//! grows without bound; every loss is counted; every attempt is reported back.
mod desk;
mod schedule;
mod text;
mod ways;
mod words;

pub use desk::{PENDING_MAX, REFUSED_MAX, Sent};
pub use text::{Context, FIRST_LINE_MAX, Message, compose, test_message};
pub use ways::SEND_TIMEOUT;

use crate::clock::Clock;
use crate::history::Delivery;
use crate::intake::Publisher;
use crate::shelf_file::{NoticeWay, Way};
use crate::snapshot::{Sent as Report, TOLD_WAITING, Told};
use anyhow::Context as _;
use desk::{Desk, Job};
use enclosure::Span;
use schedule::Quiet;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;
use ways::{Carrier, Letter};

/// How long unsent messages are tried after the pipeline has ended.
pub const STOP_GRACE: Duration = Duration::from_secs(2);

/// The tasks that tell.
#[derive(Debug)]
pub struct Notices {
    tasks: JoinSet<()>,
    losses: Arc<Losses>,
}

/// A way is held for failing after so many attempts in a row.
pub const FAILING_AFTER: u32 = 3;

/// What could not be told or reported.
#[derive(Debug, Default)]
pub struct Losses {
    /// Messages dropped: no room, or refused [`REFUSED_MAX`] times.
    messages: AtomicU64,
    /// Outcomes that nobody took in time.
    outcomes: AtomicU64,
}

impl Losses {
    /// Messages dropped so far.
    pub fn messages(&self) -> u64 {
        self.messages.load(Ordering::Relaxed)
    }

    /// Outcomes dropped so far.
    pub fn outcomes(&self) -> u64 {
        self.outcomes.load(Ordering::Relaxed)
    }
}

/// What all ways share.
#[derive(Clone, Debug)]
struct Shared {
    outcomes: mpsc::Sender<Report>,
    clock: Arc<dyn Clock>,
    context: Arc<Context>,
    losses: Arc<Losses>,
}

/// Starts one task for each of `ways`, and one that hands them what comes out of `told`. They end when `told` does.
///
/// `publisher` is the way to the broker, for `way = "mqtt"`. Outcomes are offered, never waited for.
pub fn start(
    ways: &[NoticeWay],
    told: mpsc::Receiver<Told>,
    outcomes: mpsc::Sender<Report>,
    (clock, context): (Arc<dyn Clock>, Arc<Context>),
    publisher: Option<&Publisher>,
) -> Notices {
    let losses = Arc::new(Losses::default());
    let shared = Shared { outcomes, clock, context, losses: Arc::clone(&losses) };
    let mut tasks = JoinSet::new();
    let mut mailboxes = Vec::new();
    for (way, name) in ways.iter().zip(names(ways)) {
        let (mailbox, letters) = mpsc::channel(TOLD_WAITING);
        let desk = Desk::new(way.least, way.after, quiet(way, &name));
        let carrier = Carrier::new(&way.way, publisher);
        if let Carrier::Absent(why) = &carrier {
            tracing::error!("no message will get out by {name}: {why}");
        }
        let teller = Teller { name, desk, carrier, shared: shared.clone(), counted: 0 };
        tasks.spawn(teller.run(letters));
        mailboxes.push(mailbox);
    }
    tasks.spawn(hand_out(told, mailboxes, Arc::clone(&losses)));
    Notices { tasks, losses }
}

impl Notices {
    /// What was lost so far.
    pub fn losses(&self) -> Arc<Losses> {
        Arc::clone(&self.losses)
    }

    /// Waits until the ways have ended, at most [`STOP_GRACE`]; drop the sender of changes first.
    pub async fn stop(mut self) {
        let all = async { while self.tasks.join_next().await.is_some() {} };
        if tokio::time::timeout(STOP_GRACE, all).await.is_err() {
            tracing::warn!("some messages did not get out before the end; what still holds is told at the next start");
            self.tasks.shutdown().await;
        }
    }

    /// Runs until `stop`, or until the changes end.
    ///
    /// # Errors
    /// A task that died, by its panic: nobody would be told any more.
    pub async fn run(mut self, stop: CancellationToken) -> anyhow::Result<()> {
        let died = tokio::select! {
            () = stop.cancelled() => None,
            ended = self.tasks.join_next() => ended.and_then(Result::err),
        };
        match died {
            Some(error) => Err(error).context("a task that sends messages died"),
            None => {
                self.stop().await;
                Ok(())
            }
        }
    }
}

fn quiet(way: &NoticeWay, name: &str) -> Option<Quiet> {
    let hours = way.quiet.as_ref()?;
    let quiet = Quiet::new(hours);
    if quiet.is_none() {
        tracing::warn!("{name}: the time zone {} is not known here; quiet hours are not kept", hours.time_zone);
    }
    quiet
}

/// The names of the ways: `webhook`, and `webhook 2` where there are several.
fn names(ways: &[NoticeWay]) -> Vec<String> {
    let mut seen: BTreeMap<&'static str, u32> = BTreeMap::new();
    let word = |way: &Way| match way {
        Way::Log => "log",
        Way::Command { .. } => "command",
        Way::Webhook { .. } => "webhook",
        Way::Mail { .. } => "mail",
        Way::Mqtt { .. } => "mqtt",
    };
    ways.iter()
        .map(|way| {
            let word = word(&way.way);
            let n = seen.entry(word).and_modify(|n| *n += 1).or_insert(1);
            if *n == 1 { word.to_owned() } else { format!("{word} {n}") }
        })
        .collect()
}

async fn hand_out(mut told: mpsc::Receiver<Told>, mailboxes: Vec<mpsc::Sender<Arc<Told>>>, losses: Arc<Losses>) {
    while let Some(told) = told.recv().await {
        let told = Arc::new(told);
        for mailbox in &mailboxes {
            // A way takes its mail even while it sends, so a full box means a way that is dead.
            if mailbox.try_send(Arc::clone(&told)).is_err() {
                losses.messages.fetch_add(1, Ordering::Relaxed);
                tracing::error!("a way took no message about {}", told.change.alarm);
            }
        }
    }
}

/// One way: its desk and its carrier.
struct Teller {
    name: String,
    desk: Desk,
    carrier: Carrier,
    shared: Shared,
    counted: u64,
}

impl Teller {
    async fn run(mut self, mut mailbox: mpsc::Receiver<Arc<Told>>) {
        loop {
            // What waits already may supersede what would be sent next.
            while let Ok(told) = mailbox.try_recv() {
                self.take(told);
            }
            let (now, wall) = (self.shared.clock.monotonic(), self.shared.clock.now());
            if let Some(job) = self.desk.next(now, wall) {
                self.tell(&job, &mut mailbox).await;
                continue;
            }
            if mailbox.is_closed() && mailbox.is_empty() && !self.desk.has_unsent(now, wall) {
                return;
            }
            let wait = self.desk.wake_at(now, wall).map(|at| Span::from_ms(at.ms() - now.ms()));
            let wait = wait.map_or(IDLE, |span| Duration::from_millis(span.ms().max(1).unsigned_abs()).min(IDLE));
            tokio::select! {
                told = mailbox.recv(), if !mailbox.is_closed() => if let Some(told) = told { self.take(told) },
                () = tokio::time::sleep(wait) => {}
            }
        }
    }

    fn take(&mut self, told: Arc<Told>) {
        self.desk.take(self.shared.clock.monotonic(), told);
        self.count();
    }

    /// Sends one message, and takes mail meanwhile.
    async fn tell(&mut self, job: &Job, mailbox: &mut mpsc::Receiver<Arc<Told>>) {
        let message = compose(&job.told, &self.shared.context, job.repeat);
        let letter = Letter::of(&job.told, message, &self.shared.context);
        let sent = {
            let mut sending = std::pin::pin!(self.carrier.send(&letter, SEND_TIMEOUT));
            loop {
                tokio::select! {
                    sent = &mut sending => break sent,
                    Some(told) = mailbox.recv() => self.desk.take(self.shared.clock.monotonic(), told),
                }
            }
        };
        self.desk.done(self.shared.clock.monotonic(), job.serial, &sent);
        self.count();
        self.report(job, sent);
    }

    fn report(&self, job: &Job, sent: Sent) {
        let result = match sent {
            Sent::Done => Ok(()),
            Sent::Unreachable(why) | Sent::Refused(why) => Err(why),
        };
        if let Err(why) = &result {
            tracing::warn!("sending a message about {} by {}: {why}", job.told.change.alarm, self.name);
        }
        let delivery = Delivery {
            change: job.told.id,
            way: self.name.clone(),
            attempt: job.attempt,
            at: self.shared.clock.now(),
            outcome: result.err().unwrap_or_else(|| "sent".to_owned()),
        };
        if self.shared.outcomes.try_send(Report { delivery, failing: self.desk.failures() >= FAILING_AFTER }).is_err() {
            self.shared.losses.outcomes.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn count(&mut self) {
        let dropped = self.desk.dropped();
        self.shared.losses.messages.fetch_add(dropped - self.counted, Ordering::Relaxed);
        self.counted = dropped;
    }
}

/// Longest sleep of a way: the wall clock may have been set meanwhile.
const IDLE: Duration = Duration::from_secs(60);

/// Sends a test message by every way; says for each what came of it.
pub async fn test_all(ways: &[NoticeWay], clock: &dyn Clock, context: &Context) -> Vec<(String, Result<(), String>)> {
    let mut said = Vec::new();
    for (way, name) in ways.iter().zip(names(ways)) {
        let letter = Letter::test(clock.now(), test_message(context), context);
        let result = match Carrier::new(&way.way, None).send(&letter, SEND_TIMEOUT).await {
            Sent::Done => Ok(()),
            Sent::Unreachable(why) | Sent::Refused(why) => Err(why),
        };
        said.push((name, result));
    }
    said
}

#[cfg(test)]
#[path = "notices/samples.rs"]
pub(crate) mod samples;

#[cfg(test)]
#[path = "notices/tests.rs"]
mod tests;
