//! Telling the keeper: from a stored change of an alarm to a message that is out.
//!
//! - `words`: every sentence; `text`: a change in those words ([`compose`]), the same for every way; `daily`: a day's
//!   report; `picture`: the nest in a picture and in one sentence; `card`: what hangs beside a nest on paper.
//! - `schedule`: repeats, waits, quiet hours; `desk`: what one way still has to say; `rehearsal`: what it would say of a
//!   story. All pure.
//! - `ledger`: what was said before a restart; `answering`: links, proofs, who is on the way.
//! - `ways`: log, command, webhook, mail, mqtt; `standing`: what stands, retained on the broker.
//! - `heartbeat`: signs of life, out and in.
//! - `teller`, and here: one task a way, so that one that hangs holds up no other.
//!
//! Invariants: nothing is told that was not handed in; a danger is repeated until it is answered or over, and brought
//! to mind while it goes on; no queue grows without bound; every loss is counted; every attempt is reported back.
mod answering;
pub mod card;
mod daily;
mod desk;
pub mod heartbeat;
mod ledger;
mod picture;
mod rehearsal;
mod schedule;
mod standing;
mod teller;
mod text;
mod ways;
mod words;

pub use answering::{Answering, CODE_HOLDS, KEY_FACT, LINK_HOLDS, LINK_PATH, Linked, PROOF_HOLDS, random};
pub use desk::{ON_THE_WAY, PENDING_MAX, PUT_OFF, REFUSED_MAX, Sent};
pub use ledger::Ledger;
pub use rehearsal::{Rehearsal, Rehearsed};
pub use standing::STATE_TOPIC;
pub use text::{Context, FIRST_LINE_MAX, Message, Occasion, compose, test_message};
pub use ways::{SEND_TIMEOUT, SIGNATURE_HEADER, TIME_HEADER};
pub(crate) use ways::{hex, sign};
pub use words::how_sure;

use crate::clock::Clock;
use crate::history::Delivery;
use crate::intake::Publisher;
use crate::shelf_file::{NoticeWay, Recipient, Way};
use crate::snapshot::{AlarmName, Sent as Report, Snapshot, TOLD_WAITING, Told};
use anyhow::Context as _;
use enclosure::{Span, Timestamp};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use teller::{Shared, Teller};
use tokio::sync::{mpsc, oneshot, watch};
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
    answering: Arc<Answering>,
}

/// A way is held for failing after so many attempts in a row.
pub const FAILING_AFTER: u32 = 3;

/// What could not be told or reported.
#[derive(Debug, Default)]
pub struct Losses {
    /// Messages dropped for lack of room.
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

/// What comes to a way.
#[derive(Debug)]
pub(crate) enum Mail {
    /// An alarm changed.
    Told(Arc<Told>),
    /// Somebody cannot get there.
    PassOn(AlarmName),
    /// Somebody is on the way.
    OnTheWay(AlarmName),
    /// Send a test message, and say what came of it.
    Test {
        /// By which a person says that they saw it.
        code: String,
        /// The same as a link.
        link: Option<String>,
        /// Hears whether the other side accepted it.
        reply: oneshot::Sender<Result<(), String>>,
    },
}

/// How far a way is proved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    /// The way's name.
    pub way: String,
    /// Whether a danger would be told by it to a person.
    pub carries_danger: bool,
    /// When the other side last accepted a test message.
    pub accepted: Option<Timestamp>,
    /// When a person last saw one.
    pub seen: Option<Timestamp>,
    /// Of its settings: with others it must be proved again.
    fingerprint: String,
}

/// What the ways work with.
#[derive(Debug)]
pub struct Kit {
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// What the texts know of the shelf.
    pub context: Arc<Context>,
    /// How everything stands.
    pub snapshots: Option<watch::Receiver<Arc<Snapshot>>>,
    /// The way to the broker, for `way = "mqtt"`.
    pub publisher: Option<Publisher>,
    /// What people do with messages.
    pub answering: Arc<Answering>,
    /// What was said before.
    pub ledger: Ledger,
    /// Those who are told.
    pub recipients: Vec<Recipient>,
    /// After so long an answered danger that still holds is brought to mind.
    pub remind: Span,
    /// The history, for the week's report; none: there is no such report.
    pub history: Option<PathBuf>,
}

/// Starts one task for each of `ways`, and one that hands them what comes out of `told`. They end when `told` does.
///
/// Outcomes are offered, never waited for.
pub fn start(ways: &[NoticeWay], told: mpsc::Receiver<Told>, outcomes: mpsc::Sender<Report>, kit: Kit) -> Notices {
    let Kit { clock, context, snapshots, publisher, answering, ledger, recipients, remind, history } = kit;
    let losses = Arc::new(Losses::default());
    let (ledger, recipients) = (Arc::new(ledger), recipients.into());
    let shared = Shared {
        outcomes: outcomes.clone(),
        clock,
        context,
        losses: Arc::clone(&losses),
        snapshots,
        answering: Arc::clone(&answering),
        ledger,
        recipients,
        history: history.map(Into::into),
    };
    let mut tasks = JoinSet::new();
    let (mut mailboxes, mut proofs) = (Vec::new(), Vec::new());
    for (index, (way, name)) in ways.iter().zip(names(ways)).enumerate() {
        let (mailbox, letters) = mpsc::channel(TOLD_WAITING);
        let carrier = Carrier::new(&way.way, publisher.as_ref());
        if let Carrier::Absent(why) = &carrier {
            tracing::error!("no message will get out by {name}: {why}");
        }
        if let (Way::Mqtt { topic }, Some(publisher), Some(snapshots)) = (&way.way, &publisher, &shared.snapshots) {
            tasks.spawn(standing::publish(topic.clone(), publisher.clone(), snapshots.clone()));
        }
        proofs.push(Proof::of(&name, way, &shared.ledger));
        let teller = Teller::new(index, name, way, remind, (carrier, shared.clone()));
        tasks.spawn(teller.run(letters));
        mailboxes.push(mailbox);
    }
    answering.connect(mailboxes.clone(), outcomes, proofs);
    tasks.spawn(hand_out(told, mailboxes, shared));
    Notices { tasks, losses, answering }
}

impl Notices {
    /// What was lost so far.
    pub fn losses(&self) -> Arc<Losses> {
        Arc::clone(&self.losses)
    }

    /// Waits until the ways have ended, at most [`STOP_GRACE`]; drop the sender of changes first.
    pub async fn stop(mut self) {
        self.answering.disconnect();
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

async fn hand_out(mut told: mpsc::Receiver<Told>, mailboxes: Vec<mpsc::Sender<Mail>>, shared: Shared) {
    let give = |told: Told| {
        let told = Arc::new(told);
        let line = compose(&told, &shared.context, Occasion::default()).first_line;
        shared.answering.hear(&told, &line);
        for mailbox in &mailboxes {
            // A way takes its mail even while it sends, so a full box means a way that is dead.
            if mailbox.try_send(Mail::Told(Arc::clone(&told))).is_err() {
                shared.losses.messages.fetch_add(1, Ordering::Relaxed);
                tracing::error!("a way took no message about {}", told.change.alarm);
            }
        }
    };
    shared.ledger.ends().iter().cloned().for_each(&give);
    while let Some(told) = told.recv().await {
        give(told);
    }
    // Otherwise the boxes would stay open for ever.
    shared.answering.disconnect();
}

/// Sends a test message by every way without a daemon; `code` makes one up for each. Says for each what came of it, with
/// what is to be written down.
pub async fn test_all(
    ways: &[NoticeWay],
    clock: &dyn Clock,
    context: &Context,
    mut code: impl FnMut() -> Result<String, String>,
) -> Vec<Tested> {
    let mut said = Vec::new();
    for (way, name) in ways.iter().zip(names(ways)) {
        let (result, code) = match code() {
            Ok(code) => {
                let letter = Letter::test(clock.now(), test_message(context, &code, None), context);
                let result = match Carrier::new(&way.way, None).send(&letter, SEND_TIMEOUT).await {
                    Sent::Done => Ok(()),
                    Sent::Unreachable(why) | Sent::Refused(why) => Err(why),
                };
                (result, code)
            }
            Err(why) => (Err(why), String::new()),
        };
        said.push(Tested { way: name, code, result, fingerprint: answering::fingerprint(&way.way) });
    }
    said
}

/// What came of one test message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tested {
    /// The way's name.
    pub way: String,
    /// By which a person says that they saw it.
    pub code: String,
    /// Whether the other side accepted it.
    pub result: Result<(), String>,
    fingerprint: String,
}

impl Tested {
    /// What is written down of it: that it was accepted, or that it was seen too.
    pub fn record(&self, at: Timestamp, seen: bool) -> Delivery {
        let what = if seen { ledger::SEEN } else { ledger::ACCEPTED };
        let outcome = format!("{what} {}", self.fingerprint);
        Delivery { change: None, way: self.way.clone(), attempt: 1, at, outcome }
    }
}

/// How far each way is proved, by the records in `ledger`.
pub fn proofs(ways: &[NoticeWay], ledger: &Ledger) -> Vec<Proof> {
    ways.iter().zip(names(ways)).map(|(way, name)| Proof::of(&name, way, ledger)).collect()
}

#[cfg(test)]
#[path = "notices/samples.rs"]
pub(crate) mod samples;

#[cfg(test)]
#[path = "notices/tests.rs"]
mod tests;

#[cfg(test)]
#[path = "notices/restart_tests.rs"]
mod restart_tests;
