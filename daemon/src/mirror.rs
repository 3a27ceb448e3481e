//! A mirror in InfluxDB 2, or whatever takes its line protocol: readings, estimates, alarms. History stays the truth.
//!
//! It never holds anything up, and nothing holds it up for good: it reads what is stored (store and forward), sends it
//! in batches with a timeout, and remembers in history how far it came. A server that was away for days gets
//! everything once it is back, the newest first, as far as history still has it; a new one gets all there is. Sending
//! something twice changes nothing there, so after a crash the last minute is sent again. Off unless the shelf file has
//! `[influx]`.
//!
//! ```text
//! reading,nest=oak,quantity=temperature,source=oak-node:warm value=27.25 1772366400250
//! estimate,nest=oak brood_mean=26.9,brood_sd=0.3,brood_hottest=28.1,heat=3.1,room=21.2 1772366400000
//! profile,nest=oak,at_mm=60 mean=27.3,sd=0.2,humidity=61 1772366400000
//! alarm,alarm=brood-hot,nest=oak,priority=warning active=1,event="raised",state="unacknowledged",… 1772366400000
//! ```
mod lines;
mod post;

use crate::clock::Clock;
use crate::history::{Batch, Due, HistoryError, MirrorLines, MirrorMark, MirrorNews, Reader, Writer};
use crate::shelf_file::InfluxSettings;
use crate::snapshot::{MirrorNow, Snapshot};
use dashboards::say;
use enclosure::{Span, Timestamp};
use post::Post;
use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// Most lines in one request.
pub const BATCH_MAX: usize = 5_000;
/// Most readings that are taken up of what is due before the mark moves.
const DUE_MAX: usize = 50_000;
/// Most changes of alarms, or pieces of estimates, in one request.
const CHANGES_MAX: usize = 500;
/// What is new is sent so often.
const ROUND_EVERY: Duration = Duration::from_secs(5);
/// Estimates are noted at the multiples of this since 1970.
const ESTIMATE_EVERY: Span = Span::from_min(5);
/// How far it has come is written down so often; each time costs a page on the device.
const MARK_EVERY: Span = Span::from_min(1);
/// First wait after a request that failed; doubled each time ...
const BACK_OFF_FIRST: Duration = Duration::from_secs(2);
/// ... up to this.
const BACK_OFF_MAX: Duration = Duration::from_secs(120);
/// Before it is tried again if it fell over.
const REST: Duration = Duration::from_secs(60);

/// Why there is no mirror.
#[derive(Debug, thiserror::Error)]
pub enum MirrorError {
    /// The address is none.
    #[error("mirroring to {url}: it is no http address with a host. Correct [influx] url")]
    Address {
        /// What the shelf file says.
        url: String,
    },
    /// The token cannot be read.
    #[error("mirroring: the token in {path} cannot be read. Correct [influx] token_file")]
    Token {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// How it stands, for pages and metrics.
#[derive(Debug, Default)]
pub struct Counts(Mutex<MirrorNow>);

impl Counts {
    /// How it stands now.
    pub fn now(&self) -> MirrorNow {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn change(&self, change: impl FnOnce(&mut MirrorNow)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }
}

/// A mirror as the shelf file asks for it.
#[derive(Clone, Debug)]
pub struct Mirror {
    post: Post,
    nests: Arc<HashMap<String, String>>,
    counts: Arc<Counts>,
}

/// What it works with.
#[derive(Clone, Debug)]
pub struct Parts {
    /// The history, to read.
    pub history: PathBuf,
    /// To say how far it has come.
    pub writer: Arc<Writer>,
    /// How everything stands, for estimates.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// Says when to end.
    pub stop: CancellationToken,
}

impl Mirror {
    /// Sets one up; `nests` are those of the listed sources.
    ///
    /// # Errors
    /// [`MirrorError`].
    pub fn new(settings: &InfluxSettings, nests: HashMap<String, String>) -> Result<Self, MirrorError> {
        Ok(Self { post: Post::new(settings)?, nests: Arc::new(nests), counts: Arc::default() })
    }

    /// How it stands.
    pub fn counts(&self) -> Arc<Counts> {
        Arc::clone(&self.counts)
    }
}

/// Keeps the mirror going until it is told to stop. If it falls over, that is logged and shown; the watch goes on.
pub fn keep_up(mirror: Mirror, parts: Parts) -> JoinHandle<()> {
    tokio::spawn(async move {
        while !parts.stop.is_cancelled() {
            let task = Task::new(mirror.clone(), parts.clone());
            if let Err(error) = tokio::spawn(task.run()).await {
                tracing::error!(%error, "the mirror fell over; the watch goes on, and it is tried again in a minute");
                mirror.counts.change(|now| now.failing = Some(say!("failed-mirror-again")));
                tokio::select! {
                    () = parts.stop.cancelled() => {}
                    () = tokio::time::sleep(REST) => {}
                }
            }
        }
    })
}

/// Why a round ended early.
enum Halt {
    /// The other end takes nothing now.
    Away(String),
    /// History cannot be read, or does not take the mark.
    History(String),
}

impl From<HistoryError> for Halt {
    fn from(error: HistoryError) -> Self {
        Self::History(error.to_string())
    }
}

struct Task {
    mirror: Mirror,
    parts: Parts,
    /// How far it has come; what is marked in history may lag behind.
    mark: MirrorMark,
    marked: Option<Span>,
    estimated: Option<i64>,
    begun: bool,
    failures: u32,
}

impl Task {
    fn new(mirror: Mirror, parts: Parts) -> Self {
        let mark = MirrorMark::default();
        Self { mirror, parts, mark, marked: None, estimated: None, begun: false, failures: 0 }
    }

    async fn run(mut self) {
        let stop = self.parts.stop.clone();
        loop {
            let halted = tokio::select! {
                () = stop.cancelled() => break,
                done = self.round() => done.err(),
            };
            let wait = match halted {
                None => {
                    self.failures = 0;
                    ROUND_EVERY
                }
                Some(halt) => self.held_up(&halt),
            };
            let until = tokio::time::sleep(wait);
            tokio::pin!(until);
            loop {
                tokio::select! {
                    () = stop.cancelled() => break,
                    () = &mut until => break,
                    // However long the other end is away: what is believed meanwhile waits in history.
                    () = self.next_estimate() => self.note_estimate(),
                }
            }
            if stop.is_cancelled() {
                break;
            }
        }
        if self.begun {
            // The pipeline still commits; without the mark the last minute is sent again.
            drop(self.say_mark().await);
        }
    }

    /// Sends everything that is new, then some of what is due, until nothing is.
    async fn round(&mut self) -> Result<(), Halt> {
        if !self.begun {
            self.begin().await?;
        }
        if self.estimate_is_due() {
            self.note_estimate();
        }
        loop {
            self.send_new().await?;
            if !self.send_due().await? {
                break;
            }
        }
        let now = self.parts.clock.now();
        self.mirror.counts.change(|counts| (counts.caught_up, counts.failing) = (Some(now), None));
        self.mark_now_and_then().await
    }

    /// Takes up where history says it stopped.
    async fn begin(&mut self) -> Result<(), Halt> {
        let target = self.mirror.post.target();
        let batch = Batch { mirror: Some(MirrorNews::Target(target)), ..Batch::default() };
        self.store(batch).await?;
        let state = self.read(Reader::mirror).await?.unwrap_or_default();
        self.mark = MirrorMark { reading: state.reading, change: state.change, ..MirrorMark::default() };
        self.mirror.counts.change(|counts| counts.lost = state.lost);
        self.begun = true;
        Ok(())
    }

    /// Readings in the order of arrival, alarm changes, estimates: all that is new.
    async fn send_new(&mut self) -> Result<(), Halt> {
        loop {
            let after = self.mark.reading;
            let (readings, last) = self.read(move |reader| reader.arrived(after, BATCH_MAX)).await?;
            let full = readings.len() >= BATCH_MAX;
            let body = lines::readings(&readings, &self.mirror.nests);
            self.send(&body).await?;
            self.mark.reading = last;
            if !full {
                break;
            }
            self.show().await?;
        }
        loop {
            let after = self.mark.change;
            let (changes, last) = self.read(move |reader| reader.changes_after(after, CHANGES_MAX)).await?;
            self.send(&lines::changes(&changes)).await?;
            self.mark.change = last;
            if changes.len() < CHANGES_MAX {
                break;
            }
        }
        loop {
            let (pieces, last) = self.read(|reader| reader.mirror_lines(CHANGES_MAX)).await?;
            if pieces.is_empty() {
                return Ok(());
            }
            self.send(&pieces.concat()).await?;
            self.mark.line = last;
            // They are kept for this alone: gone once they are sent.
            self.say_mark().await?;
        }
    }

    /// Some of what was packed before it was sent; whether there was any.
    async fn send_due(&mut self) -> Result<bool, Halt> {
        let due: Vec<Due> = self.read(|reader| reader.due(DUE_MAX)).await?;
        self.show().await?;
        if due.is_empty() {
            return Ok(false);
        }
        for (id, readings) in due {
            for part in readings.chunks(BATCH_MAX) {
                let body = lines::readings(part, &self.mirror.nests);
                self.send(&body).await?;
            }
            self.mark.done.push(id);
        }
        self.say_mark().await?;
        Ok(true)
    }

    async fn send(&mut self, body: &str) -> Result<(), Halt> {
        if body.is_empty() {
            return Ok(());
        }
        let done = self.mirror.post.deliver(body).await.map_err(Halt::Away)?;
        self.mark.lost += done.lost;
        self.mirror.counts.change(|counts| {
            counts.sent += done.sent;
            counts.lost += done.lost;
            counts.failing = None;
        });
        if self.failures > 0 {
            tracing::info!("the mirror takes readings again");
            self.failures = 0;
        }
        if let Some(why) = done.refused {
            tracing::warn!(lost = done.lost, why, "the mirror refused lines for good; they are in history");
        }
        Ok(())
    }

    /// How much waits.
    async fn show(&self) -> Result<(), Halt> {
        let reached = self.mark.reading;
        let state = self.read(Reader::mirror).await?.unwrap_or_default();
        let marked = u64::try_from(reached.saturating_sub(state.reading)).unwrap_or(0);
        self.mirror.counts.change(|counts| {
            (counts.waiting, counts.due) = (state.waiting.saturating_sub(marked), state.due);
        });
        Ok(())
    }

    fn held_up(&mut self, halt: &Halt) -> Duration {
        self.failures = self.failures.saturating_add(1);
        let why = match halt {
            Halt::Away(why) => why.clone(),
            Halt::History(why) => say!("failed-mirror-history", why = why),
        };
        if self.failures == 1 {
            tracing::warn!("mirroring: {why}. Nothing is lost: history keeps it, and it is tried again");
        }
        self.mirror.counts.change(|counts| counts.failing = Some(why));
        BACK_OFF_FIRST.saturating_mul(1 << self.failures.saturating_sub(1).min(16)).min(BACK_OFF_MAX)
    }

    async fn mark_now_and_then(&mut self) -> Result<(), Halt> {
        let now = self.parts.clock.monotonic();
        if self.marked.is_some_and(|marked| now.ms() - marked.ms() < MARK_EVERY.ms()) {
            return Ok(());
        }
        self.marked = Some(now);
        self.say_mark().await
    }

    /// Writes down how far it has come.
    async fn say_mark(&mut self) -> Result<(), Halt> {
        let batch = Batch { mirror: Some(MirrorNews::Mark(self.mark.clone())), ..Batch::default() };
        self.store(batch).await?;
        self.mark = MirrorMark { reading: self.mark.reading, change: self.mark.change, ..MirrorMark::default() };
        Ok(())
    }

    async fn store(&self, batch: Batch) -> Result<(), Halt> {
        let told = |error: crate::history::WriteError| Halt::History(error.to_string());
        let pending = self.parts.writer.submit(batch).map_err(told)?;
        let answer = pending.await.map_err(|_| Halt::History("its writer has stopped".to_owned()))?;
        answer.map(drop).map_err(told)
    }

    async fn read<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Reader) -> Result<T, HistoryError> + Send + 'static,
    ) -> Result<T, Halt> {
        let path = self.parts.history.clone();
        let read = tokio::task::spawn_blocking(move || work(&Reader::open(&path)?));
        Ok(read.await.map_err(|error| Halt::History(error.to_string()))??)
    }

    fn estimate_is_due(&self) -> bool {
        self.estimated != Some(period(self.parts.clock.now()))
    }

    async fn next_estimate(&self) {
        if !self.estimate_is_due() {
            let now_ms = self.parts.clock.now().unix_ms();
            let left_ms = ESTIMATE_EVERY.ms() - now_ms.rem_euclid(ESTIMATE_EVERY.ms());
            tokio::time::sleep(Duration::from_millis(u64::try_from(left_ms).unwrap_or(0))).await;
        }
    }

    /// Hands what is believed now to history, for the mirror alone: nothing else keeps estimates.
    fn note_estimate(&mut self) {
        let now = self.parts.clock.now();
        self.estimated = Some(period(now));
        let text = lines::estimates(&self.parts.snapshots.borrow().clone(), now);
        if !text.is_empty() {
            let batch = Batch { mirror_lines: vec![MirrorLines { at: now, text }], ..Batch::default() };
            // The writer keeps it if it cannot be written now, and counts what it loses; nobody waits.
            drop(self.parts.writer.submit(batch));
        }
    }
}

/// Which of the moments of estimates was the last.
fn period(now: Timestamp) -> i64 {
    now.unix_ms().div_euclid(ESTIMATE_EVERY.ms())
}

#[cfg(test)]
mod tests;
