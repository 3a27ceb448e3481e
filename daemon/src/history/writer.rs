//! The one thread that writes. SQLite blocks, so nobody else touches it; several messages share one commit.
use super::errors::WriteError;
use super::store::{Committed, Store};
use super::thinning::Keep;
use super::types::Batch;
use super::upkeep::{Tended, Upkeep};
use enclosure::Timestamp;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::oneshot;

/// Batches that may wait for the writer; more are dropped and counted.
pub const QUEUE_MAX: usize = 256;
/// Batches that share a commit at most: when so many wait, it is due at once.
pub const COMMIT_AT: usize = 16;
/// How long a batch waits for company at most.
pub const COMMIT_EVERY: Duration = Duration::from_secs(1);
/// Failed batches whose alarm changes, notes and deliveries are kept for later; beyond it the oldest is lost, counted.
pub const CARRIED_MAX: usize = 1_024;
/// How long after a failure what is carried is tried again, if nothing else comes before.
const RETRY_AFTER: Duration = Duration::from_secs(5);

/// Time passed since some moment, never backwards: `clock.rs` gives it.
pub type Monotonic = Arc<dyn Fn() -> Duration + Send + Sync>;

/// The answer to a batch, after its commit. An error in place of an answer: the writer has died.
pub type Pending = oneshot::Receiver<Result<Committed, WriteError>>;

/// How commits are grouped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Longest wait for company. 10 s spares an SD card; [`Batch::urgent`] never waits.
    pub commit_every: Duration,
    /// Batches that share a commit at most, 1 or more.
    pub commit_at: usize,
    /// How much may stay.
    pub keep: Keep,
}

/// What the writer has done, for pages and metrics.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counters {
    /// Commits that succeeded.
    pub commits: u64,
    /// Readings stored.
    pub stored: u64,
    /// Readings that were there already.
    pub duplicates: u64,
    /// Readings refused because their day or the unpacked table is full.
    pub crowded: u64,
    /// Batches answered with an error; without a receipt their node sends them again.
    pub failed_batches: u64,
    /// Readings in them.
    pub failed_readings: u64,
    /// Batches dropped because the queue was full.
    pub queue_full: u64,
    /// Failed batches whose changes and notes wait to be written.
    pub carried: u64,
    /// Such batches that were lost.
    pub carried_lost: u64,
    /// Readings packed.
    pub packed: u64,
    /// Readings of which only their hour is left, because the shelf file bounds history.
    pub thinned: u64,
    /// Readings of which nothing is left, for the same reason.
    pub dropped: u64,
    /// The file is larger than the shelf file allows, and nothing that may leave is left.
    pub over: bool,
    /// Why the last commit failed; `None` if it succeeded.
    pub failing: Option<WriteError>,
}

/// The writer's handle. All methods take `&self`: share it by `Arc`.
#[derive(Debug)]
pub struct Writer {
    orders: Mutex<Option<SyncSender<Order>>>,
    thread: Mutex<Option<JoinHandle<()>>>,
    tally: Arc<Tally>,
}

type Reply = oneshot::Sender<Result<Committed, WriteError>>;

#[derive(Debug)]
enum Order {
    Store(Box<Batch>, Reply),
    Tend((Timestamp, Timestamp), oneshot::Sender<Result<Tended, WriteError>>),
}

enum Next {
    Order(Order),
    Due,
    Idle,
    Closed,
}

#[derive(Debug, Default)]
struct Tally {
    counters: Mutex<Counters>,
    queue_full: AtomicU64,
}

/// What the thread works with.
struct Desk {
    store: Store,
    orders: Receiver<Order>,
    settings: Settings,
    clock: Monotonic,
    tally: Arc<Tally>,
    waiting: Vec<(Batch, Reply)>,
    due: Option<Duration>,
    carried: VecDeque<Batch>,
    broken: bool,
    upkeep: Option<Upkeep>,
}

impl Default for Settings {
    fn default() -> Self {
        Self { commit_every: COMMIT_EVERY, commit_at: COMMIT_AT, keep: Keep::default() }
    }
}

impl Writer {
    /// Starts the writer's thread over `store`.
    ///
    /// # Errors
    /// The system's, where it gives no thread.
    pub fn start(store: Store, settings: Settings, clock: Monotonic) -> std::io::Result<Self> {
        let (orders, inbox) = sync_channel(QUEUE_MAX);
        let tally = Arc::new(Tally::default());
        let desk = Desk {
            store,
            orders: inbox,
            settings,
            clock,
            tally: Arc::clone(&tally),
            waiting: Vec::new(),
            due: None,
            carried: VecDeque::new(),
            broken: false,
            upkeep: None,
        };
        let thread = std::thread::Builder::new().name("history".to_owned()).spawn(move || desk.run())?;
        Ok(Self { orders: Mutex::new(Some(orders)), thread: Mutex::new(Some(thread)), tally })
    }

    /// Hands in a batch; never blocks. The answer comes once it is on disk, or failed.
    ///
    /// After a failure its readings and packs are the sender's again; its alarm changes, notes and deliveries are
    /// kept and written later by the writer itself (at most [`CARRIED_MAX`]), do not hand them in again.
    ///
    /// # Errors
    /// [`WriteError::QueueFull`] (dropped and counted) or [`WriteError::Stopped`].
    pub fn submit(&self, batch: Batch) -> Result<Pending, WriteError> {
        let (reply, pending) = oneshot::channel();
        self.order(Order::Store(Box::new(batch), reply)).map(|()| pending)
    }

    /// Packs the days that are closed at `now` (see [`super::PACKED_AFTER`]), then thins what at `aged` may not stay, a step
    /// at a time, between commits.
    ///
    /// # Errors
    /// As [`Self::submit`].
    pub fn tend(
        &self,
        now: Timestamp,
        aged: Timestamp,
    ) -> Result<oneshot::Receiver<Result<Tended, WriteError>>, WriteError> {
        let (reply, pending) = oneshot::channel();
        self.order(Order::Tend((now, aged), reply)).map(|()| pending)
    }

    /// What was done so far.
    pub fn counters(&self) -> Counters {
        let counters = guard(&self.tally.counters).clone();
        Counters { queue_full: self.tally.queue_full.load(Ordering::Relaxed), ..counters }
    }

    /// Whether the thread is there to write.
    pub fn is_alive(&self) -> bool {
        guard(&self.thread).as_ref().is_some_and(|thread| !thread.is_finished())
    }

    /// Commits what waits, closes the file, lets go of its lock. Blocks meanwhile.
    ///
    /// # Errors
    /// [`WriteError::Stopped`] if the thread had died; else why the last commit failed.
    pub fn stop(&self) -> Result<(), WriteError> {
        drop(guard(&self.orders).take());
        let thread = guard(&self.thread).take();
        if thread.is_some_and(|thread| thread.join().is_err()) {
            return Err(WriteError::Stopped);
        }
        self.counters().failing.map_or(Ok(()), Err)
    }

    fn order(&self, order: Order) -> Result<(), WriteError> {
        let orders = guard(&self.orders);
        match orders.as_ref().map(|orders| orders.try_send(order)) {
            Some(Ok(())) => Ok(()),
            Some(Err(TrySendError::Full(_))) => {
                self.tally.queue_full.fetch_add(1, Ordering::Relaxed);
                Err(WriteError::QueueFull)
            }
            Some(Err(TrySendError::Disconnected(_))) | None => Err(WriteError::Stopped),
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        // Whoever wanted to know how the last commit went has called `stop`.
        let _ = self.stop();
    }
}

/// A counter is right whoever panicked beside it.
fn guard<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Desk {
    fn run(mut self) {
        loop {
            match self.next() {
                Next::Order(Order::Store(batch, reply)) => self.take(*batch, reply),
                Next::Order(Order::Tend(now, reply)) => Upkeep::add(&mut self.upkeep, now, reply),
                Next::Due => self.commit(),
                Next::Idle => self.upkeep_step(),
                Next::Closed => break self.commit(),
            }
        }
    }

    fn next(&self) -> Next {
        let left = self.due.map(|due| due.saturating_sub((self.clock)()));
        if left == Some(Duration::ZERO) {
            return Next::Due;
        }
        if self.upkeep.is_some() {
            return match self.orders.try_recv() {
                Ok(order) => Next::Order(order),
                Err(TryRecvError::Empty) => Next::Idle,
                Err(TryRecvError::Disconnected) => Next::Closed,
            };
        }
        let received = match left {
            Some(left) => self.orders.recv_timeout(left),
            None => self.orders.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        match received {
            Ok(order) => Next::Order(order),
            Err(RecvTimeoutError::Timeout) => Next::Due,
            Err(RecvTimeoutError::Disconnected) => Next::Closed,
        }
    }

    fn take(&mut self, batch: Batch, reply: Reply) {
        let urgent = batch.urgent;
        self.waiting.push((batch, reply));
        if urgent || self.waiting.len() >= self.settings.commit_at {
            self.commit();
        } else if self.waiting.len() == 1 {
            // A retry that is due sooner takes this one along.
            let due = (self.clock)().saturating_add(self.settings.commit_every);
            self.due = Some(self.due.map_or(due, |sooner| sooner.min(due)));
        }
    }

    fn commit(&mut self) {
        self.due = None;
        let carried = self.carried.len();
        let (fresh, replies): (Vec<Batch>, Vec<Reply>) = std::mem::take(&mut self.waiting).into_iter().unzip();
        let batches: Vec<Batch> = self.carried.drain(..).chain(fresh).collect();
        if batches.is_empty() {
            return;
        }
        match self.write(&batches) {
            Ok(outcomes) => {
                self.broken = false;
                self.count(&batches, &outcomes);
                for (outcome, reply) in outcomes.into_iter().skip(carried).zip(replies) {
                    // Nobody may wait for it any more.
                    let _ = reply.send(outcome);
                }
            }
            Err(error) => {
                tracing::error!(%error, batches = batches.len(), "nothing of these was stored");
                // A full disk heals by itself; after anything else the connection is not to be trusted.
                self.broken = error != WriteError::Full;
                self.keep(batches, carried, &error);
                for reply in replies {
                    let _ = reply.send(Err(error.clone()));
                }
            }
        }
    }

    fn write(&mut self, batches: &[Batch]) -> Result<Vec<Result<Committed, WriteError>>, WriteError> {
        if self.broken {
            self.store.reopen().map_err(|error| WriteError::Failing { why: chain(&error) })?;
        }
        self.store.commit(batches)
    }

    /// Keeps of failed batches what nobody sends again; the first `carried` of them were kept before.
    fn keep(&mut self, batches: Vec<Batch>, carried: usize, error: &WriteError) {
        let mut counters = guard(&self.tally.counters);
        for batch in batches.iter().skip(carried) {
            counters.failed_batches += 1;
            counters.failed_readings += batch.readings.len() as u64;
        }
        self.carried = batches.into_iter().filter_map(Batch::without_packs).collect();
        while self.carried.len() > CARRIED_MAX {
            self.carried.pop_front();
            counters.carried_lost += 1;
        }
        counters.carried = self.carried.len() as u64;
        counters.failing = Some(error.clone());
        if !self.carried.is_empty() {
            self.due = Some((self.clock)().saturating_add(RETRY_AFTER));
        }
    }

    fn count(&self, batches: &[Batch], outcomes: &[Result<Committed, WriteError>]) {
        let mut counters = guard(&self.tally.counters);
        counters.commits += 1;
        counters.carried = 0;
        counters.failing = None;
        for (batch, outcome) in batches.iter().zip(outcomes) {
            match outcome {
                Ok(committed) => {
                    counters.stored += u64::from(committed.stored);
                    counters.duplicates += u64::from(committed.duplicates);
                    counters.crowded += u64::from(committed.crowded);
                }
                Err(_) => {
                    counters.failed_batches += 1;
                    counters.failed_readings += batch.readings.len() as u64;
                }
            }
        }
    }

    fn upkeep_step(&mut self) {
        let Some(upkeep) = self.upkeep.take() else { return };
        let (upkeep, step) = upkeep.step(&mut self.store, &self.settings.keep);
        self.upkeep = upkeep;
        let mut counters = guard(&self.tally.counters);
        counters.packed += step.packed.readings;
        counters.thinned += step.thinned.readings;
        counters.dropped += step.thinned.dropped;
        if self.upkeep.is_none() {
            counters.over = step.thinned.over;
        }
    }
}

/// An error and its causes in one line.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        text = format!("{text}: {error}");
        cause = error.source();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::faults::Faults;
    use crate::history::sample::{DAY_S, Place, at, change, numbered, numbers, still};
    use enclosure::{Alarm, State};
    use rusqlite::ffi;

    /// Never due by itself: only company or urgency ends the wait.
    const NEVER: Settings = Settings {
        commit_every: Duration::from_secs(3_600),
        commit_at: COMMIT_AT,
        keep: Keep { max_bytes: None, max_days: None },
    };

    fn start(place: &Place, settings: Settings) -> (Writer, Faults) {
        let store = place.open();
        let faults = store.faults.clone();
        (Writer::start(store, settings, still()).unwrap(), faults)
    }

    fn answer(pending: Pending) -> Result<Committed, WriteError> {
        pending.blocking_recv().expect("the writer lives")
    }

    #[test]
    fn sixteen_messages_share_a_commit() {
        let place = Place::new();
        let (writer, _) = start(&place, NEVER);
        let n = COMMIT_AT as u64;
        let pending: Vec<_> = (0..n).map(|i| writer.submit(numbered(i)).unwrap()).collect();
        for pending in pending {
            assert_eq!(answer(pending).unwrap().receipts[0].upto, n - 1);
        }
        let counters = writer.counters();
        assert_eq!((counters.commits, counters.stored), (1, 4 * n));
        assert_eq!(numbers(&place.readings()), (0..n).collect::<Vec<_>>());
    }

    #[test]
    fn a_lone_message_is_committed_when_its_time_is_up() {
        let place = Place::new();
        let (writer, _) = start(&place, Settings { commit_every: Duration::from_millis(20), ..NEVER });
        assert_eq!(answer(writer.submit(numbered(0)).unwrap()).unwrap().stored, 4);
    }

    #[test]
    fn danger_does_not_wait_and_takes_along_who_waits() {
        let place = Place::new();
        let (writer, _) = start(&place, NEVER);
        let waiting = writer.submit(numbered(0)).unwrap();
        let changes = vec![change(0, Alarm::BroodLimit, State::Unacknowledged)];
        let danger = writer.submit(Batch { changes, urgent: true, ..Batch::default() }).unwrap();
        assert_eq!(answer(danger).unwrap().change_ids.len(), 1);
        assert_eq!(answer(waiting).unwrap().stored, 4);
    }

    #[test]
    fn stopping_commits_what_waits_and_lets_go_of_the_file() {
        let place = Place::new();
        let (writer, _) = start(&place, NEVER);
        let waiting = writer.submit(numbered(0)).unwrap();
        writer.stop().unwrap();
        assert_eq!(answer(waiting).unwrap().stored, 4);
        assert!(!writer.is_alive());
        assert_eq!(writer.submit(numbered(1)).unwrap_err(), WriteError::Stopped);
        drop(place.open());
        assert_eq!(numbers(&place.readings()), [0]);
    }

    #[test]
    fn a_failed_commit_is_answered_withheld_and_tried_again() {
        for code in [ffi::SQLITE_FULL, ffi::SQLITE_IOERR] {
            let place = Place::new();
            let (writer, faults) = start(&place, Settings { commit_at: 1, ..NEVER });
            assert_eq!(answer(writer.submit(numbered(0)).unwrap()).unwrap().receipts[0].upto, 0);
            let changes = vec![change(0, Alarm::BroodHot, State::Unacknowledged)];
            faults.at(1, code);
            let error = answer(writer.submit(Batch { changes: changes.clone(), ..numbered(1) }).unwrap()).unwrap_err();
            assert_eq!(error == WriteError::Full, code == ffi::SQLITE_FULL, "{error}");
            let failing = writer.counters();
            assert_eq!((failing.failing, failing.failed_readings, failing.carried), (Some(error), 4, 1));
            assert_eq!(numbers(&place.readings()), [0]);

            // Its node kept the pack and sends it again; what only the daemon knew comes along by itself.
            let done = answer(writer.submit(numbered(1)).unwrap()).unwrap();
            assert_eq!((done.stored, done.receipts[0].upto), (4, 1));
            assert_eq!(writer.counters().failing, None);
            let standing = place.reader().standing_alarms().unwrap().latest;
            assert_eq!(standing.into_iter().map(|(_, change)| change).collect::<Vec<_>>(), changes);
        }
    }

    #[test]
    fn while_nothing_can_be_written_memory_stays_bounded_and_losses_are_counted() {
        let place = Place::new();
        let (writer, _) = start(&place, Settings { commit_at: 1, ..NEVER });
        std::fs::rename(&place.path, place.path.with_extension("moved")).unwrap();
        let n = CARRIED_MAX as u64 + 9;
        for i in 0..n {
            let changes = vec![change(i.cast_signed(), Alarm::WaterLow, State::Unacknowledged)];
            answer(writer.submit(Batch { changes, ..numbered(i) }).unwrap()).unwrap_err();
        }
        let counters = writer.counters();
        assert_eq!((counters.failed_batches, counters.carried, counters.carried_lost), (n, CARRIED_MAX as u64, 9));
        std::fs::rename(place.path.with_extension("moved"), &place.path).unwrap();
        answer(writer.submit(numbered(0)).unwrap()).unwrap();
        let changes = place.reader().alarm_changes(crate::history::sample::ever()).unwrap();
        assert_eq!((changes.len(), changes[0].1.at), (CARRIED_MAX, at(9)));
    }

    #[test]
    fn a_full_queue_drops_and_counts() {
        let place = Place::new();
        let store = place.open();
        // Another connection holds the write lock, so the writer stands still.
        let other = rusqlite::Connection::open(&place.path).unwrap();
        other.execute_batch("BEGIN IMMEDIATE").unwrap();
        let writer = Writer::start(store, Settings { commit_at: 1, ..NEVER }, still()).unwrap();
        let answers: Vec<_> = (0..2 * QUEUE_MAX as u64).map(|i| writer.submit(numbered(i))).collect();
        let dropped = answers.iter().filter(|a| matches!(a, Err(WriteError::QueueFull))).count();
        assert!((QUEUE_MAX - 1..=QUEUE_MAX).contains(&dropped), "{dropped} dropped");
        assert_eq!(writer.counters().queue_full, dropped as u64);
        other.execute_batch("ROLLBACK").unwrap();
        writer.stop().unwrap();
        assert_eq!(numbers(&place.readings()).len(), 2 * QUEUE_MAX - dropped);
    }

    #[test]
    fn packing_goes_on_between_commits() {
        let place = Place::new();
        let (writer, _) = start(&place, Settings { commit_at: 1, ..NEVER });
        for i in 0..300 {
            answer(writer.submit(numbered(i)).unwrap()).unwrap();
        }
        let now = at(2 * DAY_S).plus(crate::history::PACKED_AFTER);
        let packed = writer.tend(now, now).unwrap().blocking_recv().unwrap().unwrap().packed;
        assert_eq!((packed.readings, packed.chunks), (2 * 144 * 4, 2 * 4));
        assert_eq!(numbers(&place.readings()), (0..300).collect::<Vec<_>>());
        let sizes = place.reader().sizes().unwrap();
        assert_eq!((sizes.hot_readings, sizes.packed_readings), (12 * 4, 288 * 4));
    }
}
