//! The daemon's own MQTT client: messages in, receipts out, for ever.
//!
//! One task polls the connection and does nothing else. It hands messages over through a queue that is bounded in
//! messages and bytes; what does not fit is counted, and the session is taken up again when there is room, so that
//! the broker sends once more what was not acknowledged. Messages are acknowledged by whoever stored them, with the
//! [`AckToken`] that came with each; an acknowledgement for an earlier connection says nothing and does nothing.
//!
//! On every connection the daemon subscribes anew and then publishes a *marker* to itself. Until it comes back, what
//! arrives may have waited in the broker for days: only later messages are [`Message::live`], and only a live
//! message's arrival gives a time. The marker comes behind all that the broker had queued before it, because QoS 1
//! messages of one session keep their order (tried with mqtt5); a retained message is flagged by the broker itself.
mod client;
mod line;
mod outbox;
#[cfg(test)]
mod tests;

pub use outbox::{MAX_SAID_BYTES, MAX_STATEMENTS, MAX_WAITING, PublishError, Publisher};

use crate::clock::Clock;
use client::{Ticket, Wire};
use dashboards::say;
use enclosure::Timestamp;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering::Relaxed};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;

/// Messages handed over and not yet taken: more than a broker of ours sends unacknowledged.
pub const INBOX_MESSAGES: usize = 4096;
/// Bytes handed over and not yet taken.
pub const INBOX_BYTES: usize = 16 * 1024 * 1024;
/// Largest payload that is handed over, bytes; larger ones are counted and acknowledged.
pub const MAX_PAYLOAD_BYTES: usize = 64 * 1024;
/// How long stopping waits: for what is still to be said, then for the connection's end.
const STOP_WITHIN: Duration = Duration::from_secs(2);
/// What a message costs beside topic and payload, bytes, roughly.
const MESSAGE_OVERHEAD_BYTES: usize = 128;

/// Where the broker is and what is wanted of it.
#[derive(Clone)]
pub struct IntakeSettings {
    /// Host name or address.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// User and password.
    pub login: Option<(String, String)>,
    /// Fixed, and another for every daemon on one broker: two with the same throw each other off for ever.
    pub client_id: String,
    /// The topics' first part, as in `warmend/<node>/senml`.
    pub prefix: String,
    /// Topic filters of the mappings, for sensors that speak no SenML.
    pub also: Vec<String>,
    /// A connection that is silent for twice as long is given up. At least 1 s.
    pub keep_alive: Duration,
}

impl IntakeSettings {
    /// Keep-alive unless set otherwise.
    pub const KEEP_ALIVE: Duration = Duration::from_secs(15);

    /// The topics' first level of messages about nodes, and the one that the daemon keeps for itself.
    fn filters(&self) -> Vec<String> {
        let own = [format!("{}/+/senml", self.prefix), self.marker_topic()];
        own.into_iter().chain(self.also.iter().cloned()).collect()
    }

    fn marker_topic(&self) -> String {
        format!("{}/-/marker/{}", self.prefix, self.client_id.replace(['+', '#', '/'], "_"))
    }

    /// The node that a topic names, if it is one of ours.
    fn node<'t>(&self, topic: &'t str) -> Option<&'t str> {
        let node = topic.strip_prefix(self.prefix.as_str())?.strip_prefix('/')?.strip_suffix("/senml")?;
        (!node.is_empty() && !node.contains('/')).then_some(node)
    }
}

impl std::fmt::Debug for IntakeSettings {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { host, port, client_id, prefix, also, keep_alive, login: _ } = self;
        f.debug_struct("IntakeSettings")
            .field("broker", &format_args!("{host}:{port}"))
            .field("client_id", client_id)
            .field("prefix", prefix)
            .field("also", also)
            .field("keep_alive", keep_alive)
            .finish_non_exhaustive()
    }
}

/// A message as it came in.
#[derive(Debug)]
pub struct Message {
    /// Its topic.
    pub topic: String,
    /// The node that the topic names; `None` for a mapping's topic.
    pub node: Option<String>,
    /// At most [`MAX_PAYLOAD_BYTES`].
    pub payload: Vec<u8>,
    /// The broker kept it: it was said at some time before.
    pub retained: bool,
    /// It was sent before and may have been taken already.
    pub dup: bool,
    /// Neither retained nor sent again nor from before the marker: `arrived` is when it was said.
    pub live: bool,
    /// When it arrived here.
    pub arrived: Timestamp,
    /// To be given to [`Acker::ack`] once the message is stored, in the order of arrival.
    pub ack: AckToken,
}

impl Message {
    fn size_bytes(&self) -> usize {
        self.topic.len() + self.payload.len() + MESSAGE_OVERHEAD_BYTES
    }
}

/// Names one message on one connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AckToken {
    connection: u64,
    ticket: Ticket,
}

#[cfg(test)]
impl AckToken {
    /// A token of no connection: acknowledging it does nothing.
    pub(crate) fn nobody() -> Self {
        Self { connection: u64::MAX, ticket: Ticket::default() }
    }
}

/// How it stands with the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// Not connected, or not subscribed.
    Lost {
        /// Since when.
        since: Timestamp,
        /// Attempts that failed since the last good connection.
        attempts: u32,
        /// What went wrong last, in a sentence's words.
        why: String,
    },
    /// Connected and subscribed.
    Connected {
        /// Since when.
        since: Timestamp,
        /// The marker came back: messages are live from here on. If it never does, the broker does not let the daemon
        /// publish or hear its own `<prefix>/-/marker/…`.
        live: bool,
    },
}

/// What was counted since start; see [`Intake::counts`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Messages that came, the daemon's own markers not counted.
    pub received: u64,
    /// Messages that found the queue full. Those with QoS 1 come again.
    pub dropped: u64,
    /// Messages over [`MAX_PAYLOAD_BYTES`], acknowledged and not handed over.
    pub oversized: u64,
    /// Connections that came about.
    pub connections: u64,
    /// Connections given up because nothing at all was heard.
    pub silent: u64,
    /// Sessions thrown away because what the broker sent could not be read, again and again.
    pub sessions_dropped: u64,
}

#[derive(Debug, Default)]
struct Counters {
    received: AtomicU64,
    dropped: AtomicU64,
    oversized: AtomicU64,
    connections: AtomicU64,
    silent: AtomicU64,
    sessions_dropped: AtomicU64,
}

/// What the tasks of an intake share.
#[derive(Debug)]
struct Shared {
    counters: Counters,
    /// The connection that stands, by its number.
    current: Mutex<Option<(u64, Wire)>>,
    waiting_bytes: Arc<AtomicUsize>,
    outbox: Arc<outbox::Outbox>,
    stop: CancellationToken,
}

impl Shared {
    fn counts(&self) -> Counts {
        let counters = &self.counters;
        Counts {
            received: counters.received.load(Relaxed),
            dropped: counters.dropped.load(Relaxed),
            oversized: counters.oversized.load(Relaxed),
            connections: counters.connections.load(Relaxed),
            silent: counters.silent.load(Relaxed),
            sessions_dropped: counters.sessions_dropped.load(Relaxed),
        }
    }

    fn set_current(&self, current: Option<(u64, Wire)>) {
        *self.current.lock().unwrap_or_else(PoisonError::into_inner) = current;
    }

    fn current(&self) -> Option<(u64, Wire)> {
        self.current.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// A running client.
#[derive(Debug)]
pub struct Intake {
    shared: Arc<Shared>,
    link: watch::Receiver<Link>,
    task: AbortOnDropHandle<()>,
}

/// The messages' receiving end.
#[derive(Debug)]
pub struct Inbox {
    messages: mpsc::Receiver<Message>,
    waiting_bytes: Arc<AtomicUsize>,
}

/// Acknowledges messages; cheap to clone.
#[derive(Debug, Clone)]
pub struct Acker(Arc<Shared>);

impl Intake {
    /// Starts the client. It connects by itself, and again whenever the connection is lost.
    pub fn start(settings: IntakeSettings, clock: Arc<dyn Clock>) -> (Self, Inbox) {
        let (hand_over, messages) = mpsc::channel(INBOX_MESSAGES);
        let why = say!("seen-broker-no-answer");
        let (link_tx, link) = watch::channel(Link::Lost { since: clock.now(), attempts: 0, why });
        let waiting_bytes = Arc::new(AtomicUsize::new(0));
        let shared = Arc::new(Shared {
            counters: Counters::default(),
            current: Mutex::new(None),
            waiting_bytes: Arc::clone(&waiting_bytes),
            outbox: Arc::new(outbox::Outbox::new()),
            stop: CancellationToken::new(),
        });
        let line = line::Line { settings, clock, shared: Arc::clone(&shared), link: link_tx, hand_over };
        let task = AbortOnDropHandle::new(tokio::spawn(line::keep(Arc::new(line))));
        (Self { shared, link, task }, Inbox { messages, waiting_bytes })
    }

    /// How it stands with the broker, and its changes.
    pub fn link(&self) -> watch::Receiver<Link> {
        self.link.clone()
    }

    /// Acknowledges messages.
    pub fn acker(&self) -> Acker {
        Acker(Arc::clone(&self.shared))
    }

    /// Says receipts and the like.
    pub fn publisher(&self) -> Publisher {
        Publisher(Arc::clone(&self.shared.outbox))
    }

    /// What was counted since start.
    pub fn counts(&self) -> Counts {
        self.shared.counts()
    }

    /// Ends when the client's task ended, which it does only after [`Intake::stop`]: supervise this.
    pub async fn ended(&mut self) {
        // How it ended changes nothing for who waits here.
        drop((&mut self.task).await);
    }

    /// Says what is still to be said, takes leave of the broker and ends. Takes at most 4 s. The session stays: what
    /// comes meanwhile waits there for the next start.
    pub async fn stop(self) {
        if self.shared.current().is_some() {
            drop(tokio::time::timeout(STOP_WITHIN, self.publisher().all_confirmed()).await);
        }
        self.shared.stop.cancel();
        if let Some((_, wire)) = self.shared.current() {
            wire.goodbye();
        }
        // Past that time dropping the task cuts the connection, which the broker notices as well.
        drop(tokio::time::timeout(STOP_WITHIN, self.task).await);
    }
}

impl Inbox {
    /// The next message; `None` once the client ended and all were taken. Cancel-safe.
    pub async fn recv(&mut self) -> Option<Message> {
        let message = self.messages.recv().await;
        self.taken(message)
    }

    /// The next message, if one is there.
    pub fn try_recv(&mut self) -> Option<Message> {
        let message = self.messages.try_recv().ok();
        self.taken(message)
    }

    /// Messages that wait here.
    pub fn len(&self) -> usize {
        self.messages.len()
    }

    /// Whether none waits.
    pub fn is_empty(&self) -> bool {
        self.messages.is_empty()
    }

    fn taken(&self, message: Option<Message>) -> Option<Message> {
        if let Some(message) = &message {
            self.waiting_bytes.fetch_sub(message.size_bytes(), Relaxed);
        }
        message
    }
}

impl Acker {
    /// What the intake counted since start.
    pub fn counts(&self) -> Counts {
        self.0.counts()
    }

    /// Tells the broker that a message is stored. Never call it from the task that nobody else feeds: it may wait.
    /// A token of an earlier connection is passed over: the broker has sent, or will send, that message again.
    pub async fn ack(&self, token: AckToken) {
        if !token.ticket.is_awaited() {
            return;
        }
        if let Some((connection, wire)) = self.0.current()
            && connection == token.connection
        {
            // If the connection has gone meanwhile, the message comes again.
            drop(wire.acknowledge(token.ticket).await);
        }
    }
}
