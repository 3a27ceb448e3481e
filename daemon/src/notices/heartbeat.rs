//! Signs of life: out to an address of the keeper's while readings are really being judged, and in from a second
//! warmend. Whoever awaits them says when they stop: a daemon that is dead cannot.
use super::ways::{client, judged};
use super::{Answering, FAILING_AFTER, Sent};
use crate::clock::Clock;
use crate::history::Delivery;
use crate::shelf_file::HeartbeatSettings;
use crate::snapshot::{Act, ActKind, Sent as Report, Snapshot};
use crate::web::Health;
use dashboards::say;
use enclosure::{Span, Timestamp};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

/// The name under which its outcomes are written down.
pub const WAY: &str = "heartbeat";
/// A sign that did not get out is tried again after so long at most.
const AGAIN_AFTER: Duration = Duration::from_secs(30);
/// Signs missed before they are missed.
pub const MISSED: i64 = 3;

/// Whether readings are being judged, seen from outside: a number that must grow.
#[derive(Clone, Copy, Debug, Default)]
pub struct Judging {
    readings: u64,
    grew: Option<Span>,
}

impl Judging {
    /// Takes in the newest picture at the monotonic time `now`; says whether there is life: readings were judged within
    /// the time after which a probe counts as silent, and history is written.
    pub fn feel(&mut self, now: Span, snap: &Snapshot) -> bool {
        if snap.vitals.readings > self.readings {
            self.grew = Some(now);
        }
        self.readings = snap.vitals.readings;
        let patience = snap.shelf.alarms.silent_at_least;
        let grows = self.grew.is_some_and(|grew| now.ms() - grew.ms() <= patience.ms());
        grows && Health::of(snap, None).well
    }
}

/// Asks for the keeper's address again and again, as long as there is life, until `stop`.
///
/// # Errors
/// If no HTTP client can be made.
pub async fn beat(
    settings: HeartbeatSettings,
    mut snapshots: watch::Receiver<Arc<Snapshot>>,
    (clock, outcomes): (Arc<dyn Clock>, mpsc::Sender<Report>),
    stop: CancellationToken,
) -> anyhow::Result<()> {
    let Some(url) = settings.url.as_deref().and_then(|url| reqwest::Url::parse(url).ok()) else { return Ok(()) };
    let client = client().map_err(anyhow::Error::msg)?;
    let every = Duration::from_millis(settings.every.ms().unsigned_abs());
    let (mut judging, mut failures, mut wait) = (Judging::default(), 0_u32, Duration::ZERO);
    let mut next = clock.monotonic();
    loop {
        tokio::select! {
            () = stop.cancelled() => return Ok(()),
            changed = snapshots.changed() => if changed.is_err() { return Ok(()) },
            () = tokio::time::sleep(wait) => {}
        }
        let now = clock.monotonic();
        let alive = judging.feel(now, &snapshots.borrow_and_update().clone());
        wait = Duration::from_millis((next.ms() - now.ms()).max(0).unsigned_abs()).max(Duration::from_millis(50));
        if now < next {
            continue;
        }
        if !alive {
            wait = AGAIN_AFTER.min(every);
            continue;
        }
        let sent = judged(client.get(url.clone()).send().await, &url);
        let was = failures;
        failures = if sent == Sent::Done { 0 } else { failures.saturating_add(1) };
        wait = if failures == 0 { every } else { AGAIN_AFTER.min(every) };
        // From when it was due, so that the time an answer takes does not stretch the rhythm.
        next = Span::from_ms(now.ms() + i64::try_from(wait.as_millis()).unwrap_or(i64::MAX / 2));
        // Only what is new is written down.
        if (was >= FAILING_AFTER) != (failures >= FAILING_AFTER) {
            drop(outcomes.try_send(outcome(&sent, failures, clock.now())));
        }
        if let Sent::Unreachable(why) | Sent::Refused(why) = sent {
            tracing::warn!("the sign of life did not get out: {why}");
        }
    }
}

fn outcome(sent: &Sent, failures: u32, at: Timestamp) -> Report {
    let outcome = match sent {
        Sent::Done => super::ledger::SENT.to_owned(),
        Sent::Unreachable(why) | Sent::Refused(why) => why.clone(),
    };
    let delivery = Delivery { change: None, way: WAY.to_owned(), attempt: failures.max(1), at, outcome };
    Report { delivery, failing: failures >= FAILING_AFTER }
}

/// How often it is looked whether one is missed.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// Tells the core which watch elsewhere is missed, or heard again, until `stop`.
///
/// # Errors
/// None; it is a task like the others.
pub async fn wait_for(
    answering: Arc<Answering>,
    acts: mpsc::Sender<Act>,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
) -> anyhow::Result<()> {
    let mut untold: Vec<(String, bool)> = Vec::new();
    loop {
        untold.extend(answering.awaited().changes(clock.monotonic()));
        untold.retain(|(shelf, missed)| {
            let (reply, _) = oneshot::channel();
            let kind = ActKind::Elsewhere { shelf: shelf.clone(), missed: *missed, detail: detail(shelf, *missed) };
            acts.try_send(Act { kind, by: "heartbeat".to_owned(), why: String::new(), reply }).is_err()
        });
        tokio::select! {
            () = stop.cancelled() => return Ok(()),
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
    }
}

fn detail(shelf: &str, missed: bool) -> String {
    if missed {
        say!("seen-elsewhere-missed", shelf = shelf, times = MISSED)
    } else {
        say!("seen-elsewhere-again", shelf = shelf)
    }
}

/// Signs of life that are awaited here, by the names of their shelves.
#[derive(Debug, Default)]
pub struct Awaited {
    every: Span,
    heard: Mutex<BTreeMap<String, Sign>>,
}

/// The last sign of life of one shelf.
#[derive(Clone, Copy, Debug)]
struct Sign {
    /// When it came; the start where none did.
    last: Span,
    came: bool,
    /// What was said of it: that it is missed, or heard. Nothing yet after a start: what stood before it must end too.
    missed: Option<bool>,
}

impl Awaited {
    /// From the shelf file; each is given its time from the start on.
    pub fn new(settings: Option<&HeartbeatSettings>, now: Span) -> Self {
        let Some(settings) = settings else { return Self::default() };
        let sign = Sign { last: now, came: false, missed: None };
        let heard = settings.watches.iter().map(|name| (name.clone(), sign)).collect();
        Self { every: settings.every, heard: Mutex::new(heard) }
    }

    /// A sign of life of the shelf `name` came; `false` where none of it is awaited.
    pub fn hear(&self, name: &str, now: Span) -> bool {
        let mut heard = self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        heard.get_mut(name).map(|sign| (sign.last, sign.came) = (now, true)).is_some()
    }

    /// What changed since it was asked last: shelves that are missed, and those that are heard (again).
    pub fn changes(&self, now: Span) -> Vec<(String, bool)> {
        let patience = self.every.ms().saturating_mul(MISSED);
        let mut heard = self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        let mut changes = Vec::new();
        for (name, sign) in heard.iter_mut() {
            let misses = now.ms() - sign.last.ms() > patience;
            if sign.missed != Some(misses) && (misses || sign.came) {
                sign.missed = Some(misses);
                changes.push((name.clone(), misses));
            }
        }
        changes
    }
}

#[cfg(test)]
#[path = "heartbeat_tests.rs"]
mod tests;
