//! The line to the broker: connect, say what waits in the outbox, hear receipts and permits; for ever.
//!
//! Packs go at QoS 0: a broker's acknowledgement says nothing about the daemon's disk, and its redelivery would carry
//! a time that is no longer true. What gets no receipt is sent again, written anew.

use core::sync::atomic::Ordering;

use embassy_futures::select::{Either, select};
use embassy_net::tcp::TcpSocket;
use embassy_net::{IpAddress, IpEndpoint, Stack};
use embassy_time::{Duration, Timer, with_timeout};
use minimq::{Buffers, ConfigBuilder, Connection, Io, Publication, QoS, Session, TopicFilter, Will};
use node::health::Health;
use node::orders::{self, Order, Topic};
use node::outbox::{PACK_BYTES, Pack};
use node::schedule::{Backoff, seed_of};
use wire::{Base, Entry, JsonWriter, Name, PROOF_ROOM, Payload, write_proof};

use crate::{NO_SIGNAL, Node, now};

/// How long a connection may take.
const CONNECT: Duration = Duration::from_secs(10);
/// A socket that is silent for so long is given up, s; the broker says so of the node after half as long again.
const KEEP_ALIVE_S: u16 = 10;
/// The outbox is asked at least so often.
const ASK_EVERY: Duration = Duration::from_secs(1);
/// Largest message to a node.
const HEARD_BYTES: usize = 512;

/// The topics of a node.
struct Topics {
    senml: Topic,
    stored: Topic,
    permit: Topic,
    base: Name,
}

impl<const P: usize, const C: usize, const N: usize> Node<P, C, N> {
    /// Speaks with the broker whenever it can be reached. `seed` differs between starts and nodes.
    pub async fn speak(&self, stack: Stack<'_>, seed: u32) -> ! {
        let topics = self.topics();
        let mut backoff = Backoff::new(seed ^ seed_of(&self.settings.node));
        let (mut rx, mut tx) = ([0; HEARD_BYTES], [0; PACK_BYTES + 256]);
        let mut will = [0; 96];
        let will = link(&mut will, &topics.base, false);
        let config = ConfigBuilder::new(Buffers::new(&mut rx, &mut tx)).keepalive_interval(KEEP_ALIVE_S);
        let Some(config) = self.configure(config, &topics, will) else {
            // The names are too long for the line: the settings are wrong, and only a person can right them.
            (self.log)(format_args!("the settings do not fit the line"));
            core::future::pending().await
        };
        let mut session = Session::new(config);
        let (mut socket_rx, mut socket_tx) = ([0; 1024], [0; 2048]);
        loop {
            stack.wait_config_up().await;
            let mut socket = TcpSocket::new(stack, &mut socket_rx, &mut socket_tx);
            socket.set_timeout(Some(CONNECT));
            // Asked without a reason, too: else a broker that vanishes while nothing is under way is waited for for ever.
            socket.set_keep_alive(Some(CONNECT / 2));
            if self.open(&mut socket).await {
                match with_timeout(CONNECT, session.connect(&mut socket)).await {
                    Ok(Ok(mut line)) => {
                        (self.log)(format_args!("connected"));
                        backoff.reset();
                        self.converse(&mut line, &topics).await;
                        (self.log)(format_args!("disconnected"));
                    }
                    Ok(Err(error)) => (self.log)(format_args!("the broker: {error:?}")),
                    Err(_) => (self.log)(format_args!("the broker says nothing")),
                }
            }
            socket.abort();
            drop(socket);
            Timer::after(Duration::from_millis(backoff.next_ms().into())).await;
        }
    }

    fn topics(&self) -> Topics {
        let settings = &self.settings;
        let topic = |leaf| orders::topic(&settings.prefix, &settings.node, leaf);
        let mut base = Name::new();
        // Both fit: a node's name is much shorter.
        let _ = base.push_str(&settings.node).and_then(|()| base.push(':'));
        Topics { senml: topic("senml"), stored: topic("stored"), permit: topic("permit"), base }
    }

    fn configure<'a>(
        &'a self,
        config: ConfigBuilder<'a>,
        topics: &Topics,
        will: &'a [u8],
    ) -> Option<ConfigBuilder<'a>> {
        let settings = &self.settings;
        let will = Will::new(&topics.senml, will, &[]).ok()?.retained().qos(QoS::AtLeastOnce);
        let config = config.client_id(&settings.node).ok()?.will(will).ok()?;
        if settings.user.is_empty() {
            Some(config)
        } else {
            config.auth(&settings.user, settings.password.as_bytes()).ok()
        }
    }

    async fn open(&self, socket: &mut TcpSocket<'_>) -> bool {
        let ([a, b, c, d], port) = self.settings.broker;
        let broker = IpEndpoint::new(IpAddress::v4(a, b, c, d), port);
        match with_timeout(CONNECT, socket.connect(broker)).await {
            Ok(Ok(())) => true,
            Ok(Err(error)) => {
                (self.log)(format_args!("the network: {error:?}"));
                false
            }
            Err(_) => {
                (self.log)(format_args!("the network says nothing"));
                false
            }
        }
    }

    async fn converse<T: Io>(&self, line: &mut Connection<'_, '_, T>, topics: &Topics) {
        let filters = [TopicFilter::new(&topics.stored), TopicFilter::new(&topics.permit)];
        if !within(line.subscribe(&filters, &[])).await {
            return;
        }
        let mut buffer = [0; 96];
        let up = link(&mut buffer, &topics.base, true);
        if !within(line.publish(Publication::bytes(&topics.senml, up).retain())).await {
            return;
        }
        self.outbox(|outbox| outbox.again(now()));
        loop {
            while let Some(pack) = self.outbox(|outbox| outbox.next_pack(now())) {
                if !self.say(line, topics, &pack).await {
                    return;
                }
            }
            match select(line.poll(), select(self.fresh.wait(), Timer::after(ASK_EVERY))).await {
                Either::First(Ok(Some(message))) => self.hear(message.topic(), message.payload()),
                Either::First(Ok(None)) | Either::Second(_) => {}
                Either::First(Err(_)) => return,
            }
        }
    }

    /// Returns whether the line holds.
    async fn say<T: Io>(&self, line: &mut Connection<'_, '_, T>, topics: &Topics, pack: &Pack) -> bool {
        let mut buffer = [0; PACK_BYTES];
        let Some(bytes) = self.write(&mut buffer, topics, pack) else {
            (self.log)(format_args!("pack {} does not fit", pack.seq));
            return true;
        };
        if pack.is_new {
            self.guard(|guard| guard.pack_made(pack.seq, pack.newest));
        }
        let said = within(line.publish(Publication::bytes(&topics.senml, bytes))).await;
        if said && pack.is_new && pack.seq == 1 {
            (self.log)(format_args!("said for the first time"));
        }
        if said && self.notes.is_none() {
            // A start without number gets no receipts: what was said has to do.
            self.outbox(|outbox| outbox.receipt(pack.seq.into(), now()));
        }
        said
    }

    fn write<'b>(&self, buffer: &'b mut [u8], topics: &Topics, pack: &Pack) -> Option<&'b [u8]> {
        let notes = self.notes.unwrap_or_default();
        let mut out = JsonWriter::new(buffer).ok()?;
        out.reserve(PROOF_ROOM).ok()?;
        let about = (topics.base.as_str(), self.notes.map(|notes| notes.boot), now());
        self.outbox(|outbox| outbox.write(&mut out, pack, about, &self.channels)).ok()?;
        let lost = self.outbox(|outbox| outbox.lost());
        let health = self.guard(|guard| Health {
            up_ms: now(),
            bites: notes.bites,
            lost,
            cut_off: notes.cut_off,
            refused: guard.refused(),
            reset: guard.kept().reset,
            heat_off: guard.verdict().err(),
            signal_mdbw: Some(self.signal_mdbw.load(Ordering::Relaxed)).filter(|mdbw| *mdbw != NO_SIGNAL),
            ..Health::default()
        });
        // What does not fit any more is said by the next pack.
        let _ = health.write(&mut out, &Base::default());
        // With it the daemon need not trust the broker. One that has no use for it passes it over.
        match &self.settings.key {
            Some(key) => write_proof(out, (&self.settings.node, key), self.count()).ok(),
            None => Some(out.finish()),
        }
    }

    /// Counts packs, those that are sent again, too.
    fn count(&self) -> u32 {
        let count = self.written.load(Ordering::Relaxed).wrapping_add(1);
        self.written.store(count, Ordering::Relaxed);
        count
    }

    fn hear(&self, topic: &str, payload: &[u8]) {
        let settings = &self.settings;
        let me = (settings.prefix.as_str(), settings.node.as_str(), self.notes.map(|notes| notes.boot));
        match orders::read(me, settings.key.as_ref(), topic, payload) {
            Order::Stored(upto) => self.outbox(|outbox| outbox.receipt(upto, now())),
            Order::Permit(read) => match self.guard(|guard| guard.permit(read).map(|()| guard.lease_ends())) {
                Ok(Some(ends)) => (self.log)(format_args!("leave until {ends} ms")),
                Ok(None) => (self.log)(format_args!("leave is withdrawn")),
                Err(why) => (self.log)(format_args!("refused: {why}")),
            },
            Order::NotMine | Order::Unreadable(_) | Order::Unknown => {}
        }
    }
}

/// Whether something is done, and in time.
async fn within<T, E>(what: impl Future<Output = Result<T, E>>) -> bool {
    matches!(with_timeout(CONNECT, what).await, Ok(Ok(_)))
}

fn link<'b>(buffer: &'b mut [u8], base: &str, up: bool) -> &'b [u8] {
    let Ok(mut out) = JsonWriter::new(buffer) else { return &[] };
    let entry = Entry::new("link", Payload::Bool(up));
    // A name that is too long leaves the pack empty; such a node is never configured.
    let _ = out.record_with(&Base { name: Some(base), ..Base::default() }, &entry);
    out.finish()
}
