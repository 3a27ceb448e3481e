//! Keeps the line to the broker: connects, subscribes, hands over, and starts again when it breaks.
use super::client::{self, Arrival, Dial, Events, Happening, Ticket, Trouble, Wire};
use super::{AckToken, INBOX_BYTES, INBOX_MESSAGES, IntakeSettings, Link, MAX_PAYLOAD_BYTES, Message, Shared};
use crate::clock::Clock;
use enclosure::Span;
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio_util::task::AbortOnDropHandle;

/// First wait after a connection failed; doubled each time.
const FIRST_WAIT: Duration = Duration::from_millis(200);
/// Longest wait between two attempts.
const LONGEST_WAIT: Duration = Duration::from_secs(30);
/// A connection that stood so long was a good one: the next failure is a first one.
const STEADY: Span = Span::from_s(5);
/// The same unreadable packet so many times in a row: the session that holds it is thrown away.
const POISON_TIMES: u32 = 3;
/// Acknowledgements of our own (markers, oversized messages) that wait for room; more come again with the session.
const MAX_OWED: usize = 1024;

/// All that a connection needs.
pub(super) struct Line {
    pub(super) settings: IntakeSettings,
    pub(super) clock: Arc<dyn Clock>,
    pub(super) shared: Arc<Shared>,
    pub(super) link: watch::Sender<Link>,
    pub(super) hand_over: mpsc::Sender<Message>,
}

/// Why a connection ended.
enum End {
    Trouble(Trouble),
    /// Nothing was heard for twice the keep-alive.
    Silent,
    /// It was made only to throw the session away.
    Renewed,
    /// There is room again for what was dropped: take the session up again.
    Resume,
}

/// Keeps connecting until told to stop.
pub(super) async fn keep(line: Arc<Line>) {
    let mut failures = 0;
    let mut poison = (String::new(), 0);
    let mut clean = false;
    for connection in 1.. {
        if line.shared.stop.is_cancelled() {
            return;
        }
        let began = line.clock.monotonic();
        // A task of its own, so that a panic in the client library ends a connection and not the daemon.
        let one = AbortOnDropHandle::new(tokio::spawn(Connection::run(Arc::clone(&line), connection, clean)));
        let end = one.await.unwrap_or_else(|e| End::Trouble(Trouble::Lost(format!("the MQTT client failed: {e}"))));
        line.shared.set_current(None);
        clean = false;
        let trouble = match end {
            End::Renewed | End::Resume => continue,
            End::Silent => {
                line.shared.counters.silent.fetch_add(1, Relaxed);
                Trouble::Lost("nothing was heard from the broker for twice the keep-alive".to_owned())
            }
            End::Trouble(trouble) => trouble,
        };
        if line.shared.stop.is_cancelled() {
            return;
        }
        clean = is_loop(&mut poison, &trouble);
        if clean {
            line.shared.counters.sessions_dropped.fetch_add(1, Relaxed);
            tracing::error!(
                why = poison.0,
                "the broker sends what cannot be read, again and again: throwing the session away, messages in it are lost"
            );
            poison = (String::new(), 0);
        }
        let lasted = Span::from_ms(line.clock.monotonic().ms() - began.ms());
        failures = if line.is_connected() && lasted >= STEADY { 1 } else { failures + 1 };
        line.report_lost(failures, trouble);
        tokio::select! {
            () = line.shared.stop.cancelled() => return,
            () = tokio::time::sleep(wait_after(failures)) => {}
        }
    }
}

/// How long to wait after so many failures in a row.
fn wait_after(failures: u32) -> Duration {
    FIRST_WAIT.saturating_mul(1_u32.checked_shl(failures.saturating_sub(1)).unwrap_or(u32::MAX)).min(LONGEST_WAIT)
}

/// Counts the same unreadable thing in a row; true when it has come often enough.
fn is_loop(poison: &mut (String, u32), trouble: &Trouble) -> bool {
    match trouble {
        Trouble::Poison(why) if *why == poison.0 => poison.1 += 1,
        Trouble::Poison(why) => *poison = (why.clone(), 1),
        // A connection that failed for another reason in between says nothing about the message.
        Trouble::Lost(_) | Trouble::Refused(_) => {}
    }
    poison.1 >= POISON_TIMES
}

impl Line {
    fn is_connected(&self) -> bool {
        matches!(*self.link.borrow(), Link::Connected { .. })
    }

    fn report_lost(&self, attempts: u32, trouble: Trouble) {
        let (Trouble::Lost(why) | Trouble::Refused(why) | Trouble::Poison(why)) = trouble;
        let was = self.link.borrow().clone();
        let since = match was {
            Link::Lost { since, .. } => since,
            Link::Connected { .. } => self.clock.now(),
        };
        if attempts == 1 || matches!(&was, Link::Lost { why: before, .. } if *before != why) {
            tracing::warn!(broker = %format_args!("{}:{}", self.settings.host, self.settings.port), why, "no broker");
        }
        self.link.send_replace(Link::Lost { since, attempts, why });
    }
}

/// One connection, from the dial to its end.
struct Connection {
    line: Arc<Line>,
    number: u64,
    wire: Wire,
    marker_topic: String,
    nonce: String,
    marker: Marker,
    owed: VecDeque<Ticket>,
    /// A message with QoS 1 was dropped; it comes again only with a new connection.
    dropped: bool,
    confirmed: watch::Sender<u64>,
    _outbox: Option<AbortOnDropHandle<()>>,
}

#[derive(PartialEq, Eq)]
enum Marker {
    /// Not subscribed yet.
    NotYet,
    /// To be published.
    Due,
    /// On its way.
    Sent,
    /// Back: live from here on.
    Back,
}

impl Connection {
    async fn run(line: Arc<Line>, number: u64, clean: bool) -> End {
        let settings = &line.settings;
        let (wire, events) = client::open(&Dial {
            host: &settings.host,
            port: settings.port,
            login: settings.login.as_ref().map(|(user, password)| (user.as_str(), password.as_str())),
            client_id: &settings.client_id,
            keep_alive: settings.keep_alive,
            clean,
        });
        let marker_topic = settings.marker_topic();
        // Different for every connection of every start, so that an old marker in the session is told apart. Nobody
        // gains by guessing it who could not publish as the daemon anyway.
        let nonce = format!("{}-{}-{number}", std::process::id(), line.clock.now().unix_ms());
        let this = Self {
            line,
            number,
            wire,
            marker_topic,
            nonce,
            marker: Marker::NotYet,
            owed: VecDeque::new(),
            dropped: false,
            confirmed: watch::Sender::new(0),
            _outbox: None,
        };
        this.listen(events, clean).await
    }

    async fn listen(mut self, mut events: Events, clean: bool) -> End {
        let patience = self.line.settings.keep_alive.max(Duration::from_secs(1)) * 2;
        loop {
            let happening = match tokio::time::timeout(patience, events.next()).await {
                Err(_) => return End::Silent,
                Ok(Err(trouble)) => return End::Trouble(trouble),
                Ok(Ok(happening)) => happening,
            };
            match happening {
                Happening::Connected if clean => {
                    self.wire.goodbye();
                    // The goodbye goes out with the next poll; whether it arrives does not matter.
                    drop(tokio::time::timeout(patience, events.next()).await);
                    return End::Renewed;
                }
                Happening::Connected => {
                    self.line.shared.counters.connections.fetch_add(1, Relaxed);
                    if self.wire.subscribe(&self.line.settings.filters()).is_err() {
                        return End::Trouble(Trouble::Refused(
                            "a topic filter of the shelf file is malformed".to_owned(),
                        ));
                    }
                    self.line.shared.set_current(Some((self.number, self.wire.clone())));
                }
                Happening::Subscribed { refused: 0 } => self.marker = Marker::Due,
                Happening::Subscribed { refused } => {
                    let why =
                        format!("the broker refuses {refused} of the daemon's subscriptions: give its user the rights");
                    return End::Trouble(Trouble::Refused(why));
                }
                Happening::Message(arrival) => self.take_in(arrival),
                Happening::Confirmed => self.confirmed.send_modify(|count| *count += 1),
                Happening::Other => {}
            }
            self.catch_up();
            if self.dropped && self.has_room() {
                return End::Resume;
            }
        }
    }

    /// What found the request queue full goes out now, if there is room.
    fn catch_up(&mut self) {
        if self.marker == Marker::Due && self.wire.try_publish(&self.marker_topic, self.nonce.clone().into()).is_ok() {
            self.marker = Marker::Sent;
            let line = &self.line;
            let say = Arc::clone(&line.shared.outbox).serve(self.wire.clone(), self.confirmed.subscribe());
            self._outbox = Some(AbortOnDropHandle::new(tokio::spawn(say)));
            line.link.send_replace(Link::Connected { since: line.clock.now(), live: false });
        }
        while let Some(ticket) = self.owed.front() {
            if self.wire.try_acknowledge(*ticket).is_err() {
                return;
            }
            self.owed.pop_front();
        }
    }

    fn take_in(&mut self, arrival: Arrival) {
        let counters = &self.line.shared.counters;
        if arrival.topic == self.marker_topic {
            if self.marker == Marker::Sent && arrival.payload == self.nonce.as_bytes() {
                self.marker = Marker::Back;
                self.line.link.send_if_modified(|link| match link {
                    Link::Connected { live, .. } => !std::mem::replace(live, true),
                    Link::Lost { .. } => false,
                });
            }
            return self.owe(arrival.ticket);
        }
        counters.received.fetch_add(1, Relaxed);
        if arrival.payload.len() > MAX_PAYLOAD_BYTES {
            counters.oversized.fetch_add(1, Relaxed);
            return self.owe(arrival.ticket);
        }
        let ticket = arrival.ticket;
        if !self.hand_over(arrival) {
            self.line.shared.counters.dropped.fetch_add(1, Relaxed);
            self.dropped |= ticket.is_awaited();
        }
    }

    fn hand_over(&self, arrival: Arrival) -> bool {
        let Arrival { topic, payload, retained, dup, ticket } = arrival;
        let message = Message {
            node: self.line.settings.node(&topic).map(str::to_owned),
            topic,
            payload,
            retained,
            dup,
            live: !retained && !dup && self.marker == Marker::Back,
            arrived: self.line.clock.now(),
            ack: AckToken { connection: self.number, ticket },
        };
        let (size, waiting) = (message.size_bytes(), &self.line.shared.waiting_bytes);
        // Counted before it is sent: the receiver takes off what it takes out.
        if waiting.fetch_add(size, Relaxed) + size <= INBOX_BYTES && self.line.hand_over.try_send(message).is_ok() {
            return true;
        }
        waiting.fetch_sub(size, Relaxed);
        false
    }

    fn owe(&mut self, ticket: Ticket) {
        if ticket.is_awaited() && self.owed.len() < MAX_OWED {
            self.owed.push_back(ticket);
        }
    }

    fn has_room(&self) -> bool {
        self.line.hand_over.capacity() >= INBOX_MESSAGES / 2
            && self.line.shared.waiting_bytes.load(Relaxed) <= INBOX_BYTES / 2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_from_a_fifth_of_a_second_to_half_a_minute() {
        let waits: Vec<u128> = (1..=9).map(|failures| wait_after(failures).as_millis()).collect();
        assert_eq!(waits, [200, 400, 800, 1_600, 3_200, 6_400, 12_800, 25_600, 30_000]);
        assert_eq!(wait_after(u32::MAX), LONGEST_WAIT);
    }

    #[test]
    fn only_the_same_unreadable_thing_in_a_row_is_a_loop() {
        let poison = |why: &str| Trouble::Poison(why.to_owned());
        let lost = || Trouble::Lost("cut".to_owned());
        let cases = [
            (vec![poison("a"), poison("a"), poison("a")], true),
            (vec![poison("a"), lost(), poison("a"), poison("a")], true),
            (vec![poison("a"), poison("b"), poison("a")], false),
            (vec![lost(), lost(), lost(), lost()], false),
        ];
        for (troubles, expected) in cases {
            let mut seen = (String::new(), 0);
            let got = troubles.iter().fold(false, |_, trouble| is_loop(&mut seen, trouble));
            assert_eq!(got, expected, "{troubles:?}");
        }
    }
}
