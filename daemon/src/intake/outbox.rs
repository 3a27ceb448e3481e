//! What the daemon says over MQTT: receipts and the like, sent from a task of its own.
//!
//! Two kinds. A *statement* (a receipt) holds for its topic until the next one: only the newest is kept, and all of
//! them are said again at every connection, so nothing is lost by a broker that forgot. A *message* is said once and
//! is confirmed; what was not confirmed is said again on the next connection.
use super::client::{UNCONFIRMED, Wire, is_topic};
use dashboards::say;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{Notify, oneshot, watch};

/// Topics with a statement: a receipt and a permit for each of 256 nodes, and as many again.
pub const MAX_STATEMENTS: usize = 1024;
/// Messages that wait for the broker.
pub const MAX_WAITING: usize = 256;
/// Largest payload, bytes.
pub const MAX_SAID_BYTES: usize = 64 * 1024;

/// Why something cannot be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PublishError {
    /// The topic is empty or has a wildcard in it.
    #[error("{}", say!("failed-publish-topic"))]
    Topic,
    /// Over [`MAX_SAID_BYTES`].
    #[error("{}", say!("failed-publish-large", most = MAX_SAID_BYTES))]
    TooLarge,
    /// [`MAX_WAITING`] messages or [`MAX_STATEMENTS`] topics are there already.
    #[error("{}", say!("failed-publish-full"))]
    Full,
}

/// Says things over MQTT; cheap to clone, never waits.
#[derive(Debug, Clone)]
pub struct Publisher(pub(super) Arc<Outbox>);

impl Publisher {
    /// States `payload` for `topic`: retained, QoS 1, said again at every connection until something newer is stated.
    ///
    /// # Errors
    /// A bad topic, too large a payload, or more than [`MAX_STATEMENTS`] topics.
    pub fn state(&self, topic: &str, payload: Vec<u8>) -> Result<(), PublishError> {
        check(topic, &payload)?;
        let mut inner = self.0.lock();
        if inner.statements.len() >= MAX_STATEMENTS && !inner.statements.contains_key(topic) {
            return Err(PublishError::Full);
        }
        inner.statements.insert(topic.to_owned(), Statement { payload, due: true });
        self.0.tell(&inner);
        Ok(())
    }

    /// Sends `payload` once with QoS 1, not retained. The receiver hears when the broker has confirmed it.
    ///
    /// # Errors
    /// A bad topic, too large a payload, or more than [`MAX_WAITING`] that wait already.
    pub fn send(&self, topic: &str, payload: Vec<u8>) -> Result<oneshot::Receiver<()>, PublishError> {
        check(topic, &payload)?;
        let mut inner = self.0.lock();
        if inner.waiting.len() >= MAX_WAITING {
            return Err(PublishError::Full);
        }
        let (done, confirmed) = oneshot::channel();
        inner.waiting.push_back(Once { topic: topic.to_owned(), payload, done });
        self.0.tell(&inner);
        Ok(confirmed)
    }

    /// Waits until the broker has confirmed all that was said so far. For ever, while there is no broker.
    pub async fn all_confirmed(&self) {
        // The sender lives in `self`, so the only end of this wait is the idle one.
        drop(self.0.idle.subscribe().wait_for(|idle| *idle).await);
    }
}

fn check(topic: &str, payload: &[u8]) -> Result<(), PublishError> {
    match () {
        () if !is_topic(topic) => Err(PublishError::Topic),
        () if payload.len() > MAX_SAID_BYTES => Err(PublishError::TooLarge),
        () => Ok(()),
    }
}

#[derive(Debug)]
pub(super) struct Outbox {
    inner: Mutex<Inner>,
    wake: Notify,
    idle: watch::Sender<bool>,
}

#[derive(Debug, Default)]
struct Inner {
    statements: BTreeMap<String, Statement>,
    waiting: VecDeque<Once>,
    /// Sent on this connection and not confirmed, oldest first; a broker confirms in this order (MQTT 3.1.1, 4.6).
    sent: VecDeque<Sent>,
}

#[derive(Debug)]
struct Statement {
    payload: Vec<u8>,
    due: bool,
}

#[derive(Debug)]
struct Once {
    topic: String,
    payload: Vec<u8>,
    done: oneshot::Sender<()>,
}

#[derive(Debug)]
enum Sent {
    Statement,
    Once(Once),
}

impl Outbox {
    pub(super) fn new() -> Self {
        Self { inner: Mutex::default(), wake: Notify::new(), idle: watch::Sender::new(true) }
    }

    /// Says what is due on one connection, until it is gone. `confirmed` counts the broker's confirmations there.
    pub(super) async fn serve(self: Arc<Self>, wire: Wire, mut confirmed: watch::Receiver<u64>) {
        self.begin();
        // The marker went first; its confirmation is none of ours.
        let mut counted = 1;
        loop {
            while let Some((topic, retain, payload)) = self.take() {
                if wire.publish(&topic, retain, payload).await.is_err() {
                    return;
                }
            }
            tokio::select! {
                () = self.wake.notified() => {}
                changed = confirmed.changed() => {
                    if changed.is_err() {
                        return;
                    }
                    let now = *confirmed.borrow_and_update();
                    self.confirm(now.saturating_sub(counted));
                    counted = counted.max(now);
                }
            }
        }
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, inner: &Inner) {
        let idle = inner.waiting.is_empty() && inner.sent.is_empty() && !inner.statements.values().any(|s| s.due);
        self.idle.send_if_modified(|was| std::mem::replace(was, idle) != idle);
        self.wake.notify_one();
    }

    /// A new connection: what the old one left unconfirmed is due again, in its order, and so is every statement.
    fn begin(&self) {
        let mut inner = self.lock();
        while let Some(sent) = inner.sent.pop_back() {
            if let Sent::Once(once) = sent {
                inner.waiting.push_front(once);
            }
        }
        inner.statements.values_mut().for_each(|statement| statement.due = true);
        self.tell(&inner);
    }

    /// The next to say, noted as sent.
    fn take(&self) -> Option<(String, bool, Vec<u8>)> {
        let mut inner = self.lock();
        if inner.sent.len() >= usize::from(UNCONFIRMED) {
            return None;
        }
        if let Some((topic, statement)) = inner.statements.iter_mut().find(|(_, statement)| statement.due) {
            statement.due = false;
            let said = (topic.clone(), true, statement.payload.clone());
            inner.sent.push_back(Sent::Statement);
            return Some(said);
        }
        let once = inner.waiting.pop_front()?;
        let said = (once.topic.clone(), false, once.payload.clone());
        inner.sent.push_back(Sent::Once(once));
        Some(said)
    }

    fn confirm(&self, count: u64) {
        let mut inner = self.lock();
        for _ in 0..count {
            if let Some(Sent::Once(once)) = inner.sent.pop_front() {
                // Nobody need listen for it.
                let _ = once.done.send(());
            }
        }
        self.tell(&inner);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(outbox: &Outbox) -> Vec<(String, Vec<u8>)> {
        std::iter::from_fn(|| outbox.take()).map(|(topic, _, payload)| (topic, payload)).collect()
    }

    #[test]
    fn only_the_newest_statement_is_said_and_all_again_on_a_new_connection() {
        let publisher = Publisher(Arc::new(Outbox::new()));
        for payload in [b"1", b"2"] {
            publisher.state("a", payload.to_vec()).unwrap();
        }
        let newest = vec![("a".to_owned(), b"2".to_vec())];
        assert_eq!(said(&publisher.0), newest);
        assert_eq!(said(&publisher.0), []);
        publisher.0.begin();
        assert_eq!(said(&publisher.0), newest);
    }

    #[test]
    fn an_unconfirmed_message_is_said_again_in_its_order_and_a_confirmed_one_is_not() {
        let publisher = Publisher(Arc::new(Outbox::new()));
        let mut confirmed: Vec<_> = (0..3_u8).map(|i| publisher.send("t", vec![i]).unwrap()).collect();
        assert_eq!(said(&publisher.0).len(), 3);
        publisher.0.confirm(1);
        assert!(confirmed[0].try_recv().is_ok() && confirmed[1].try_recv().is_err());
        publisher.0.begin();
        let again: Vec<u8> = said(&publisher.0).into_iter().flat_map(|(_, payload)| payload).collect();
        assert_eq!(again, [1, 2]);
        publisher.0.confirm(9);
        assert!(*publisher.0.idle.borrow());
    }

    #[test]
    fn what_waits_is_bounded_and_says_so() {
        let publisher = Publisher(Arc::new(Outbox::new()));
        for i in 0..MAX_WAITING.max(MAX_STATEMENTS) {
            assert_eq!(publisher.send("t", Vec::new()).is_ok(), i < MAX_WAITING);
            assert_eq!(publisher.state(&format!("t{i}"), Vec::new()).is_ok(), i < MAX_STATEMENTS);
        }
        assert_eq!(publisher.state("more", Vec::new()), Err(PublishError::Full));
        assert_eq!(publisher.state("t0", Vec::new()), Ok(()));
        assert_eq!(publisher.state("a/+", Vec::new()), Err(PublishError::Topic));
        assert_eq!(publisher.state("a", vec![0; MAX_SAID_BYTES + 1]), Err(PublishError::TooLarge));
        assert_eq!(said(&publisher.0).len(), usize::from(UNCONFIRMED));
    }
}
