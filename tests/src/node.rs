//! A node as firmware would be: a will, numbered packs that are kept until their receipt comes, absolute times.
use crate::{SOON, wait};
use rumqttc::{Client, Event, LastWill, MqttOptions, Packet, QoS};
use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;
use wire::{Base, Entry, Header, JsonWriter, Number, Payload};
use world::{Sample, Value};

/// Largest pack that is written, bytes.
const PACK_BYTES: usize = 64 * 1024;
/// Requests that may wait in the client.
const REQUESTS: usize = 1024;

/// One connection.
pub struct Line {
    client: Client,
    seen: Arc<Seen>,
    reader: Option<JoinHandle<()>>,
}

/// What came over a connection.
#[derive(Debug, Default)]
struct Seen {
    connected: AtomicBool,
    over: AtomicBool,
    confirmed: AtomicU64,
    heard: Mutex<Vec<(String, Vec<u8>)>>,
    why: Mutex<String>,
}

impl Line {
    /// Begins a connection; see [`Self::connected`].
    pub fn open(options: MqttOptions) -> Self {
        let (client, mut connection) = Client::new(options, REQUESTS);
        let seen = Arc::new(Seen::default());
        let own = Arc::clone(&seen);
        let reader = std::thread::spawn(move || {
            while !own.over.load(Ordering::SeqCst) {
                match connection.recv_timeout(Duration::from_millis(20)) {
                    Ok(Ok(Event::Incoming(Packet::ConnAck(_)))) => own.connected.store(true, Ordering::SeqCst),
                    Ok(Ok(Event::Incoming(Packet::PubAck(_)))) => drop(own.confirmed.fetch_add(1, Ordering::SeqCst)),
                    Ok(Ok(Event::Incoming(Packet::Publish(p)))) => {
                        own.heard.lock().unwrap().push((p.topic, p.payload.to_vec()));
                    }
                    Ok(Ok(_)) | Err(rumqttc::RecvTimeoutError::Timeout) => {}
                    Ok(Err(error)) => {
                        *own.why.lock().unwrap() = error.to_string();
                        own.over.store(true, Ordering::SeqCst);
                    }
                    Err(_) => own.over.store(true, Ordering::SeqCst),
                }
            }
        });
        Self { client, seen, reader: Some(reader) }
    }

    /// Options for `id` at `at`.
    pub fn options(id: &str, at: SocketAddr) -> MqttOptions {
        let mut options = MqttOptions::new(id, at.ip().to_string(), at.port());
        options.set_keep_alive(Duration::from_secs(30)).set_inflight(100);
        // Larger than anything the broker takes: what is too large is its to refuse.
        options.set_max_packet_size(16 << 20, 16 << 20);
        options
    }

    /// Whether the broker took it in; `Err` says why not.
    pub fn connected(&self) -> Result<(), String> {
        wait("the broker answers", SOON, || {
            (self.seen.connected.load(Ordering::SeqCst) || self.is_over()).then_some(())
        });
        if self.is_over() { Err(self.seen.why.lock().unwrap().clone()) } else { Ok(()) }
    }

    /// Whether the connection has ended.
    pub fn is_over(&self) -> bool {
        self.seen.over.load(Ordering::SeqCst)
    }

    /// Says something at QoS 1; lost if the connection is.
    pub fn say(&self, topic: &str, retain: bool, payload: impl Into<Vec<u8>>) {
        drop(self.client.publish(topic, QoS::AtLeastOnce, retain, payload));
    }

    /// Wants to hear a topic.
    pub fn hear(&self, filter: &str) {
        drop(self.client.subscribe(filter, QoS::AtLeastOnce));
    }

    /// How much of what was said the broker confirmed.
    pub fn confirmed(&self) -> u64 {
        self.seen.confirmed.load(Ordering::SeqCst)
    }

    /// Takes what was heard.
    pub fn heard(&self) -> Vec<(String, Vec<u8>)> {
        std::mem::take(&mut self.seen.heard.lock().unwrap())
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        self.seen.over.store(true, Ordering::SeqCst);
        if let Some(reader) = self.reader.take() {
            // It ends within its own time limit; the connection breaks without a word, and the broker says the will.
            drop(reader.join());
        }
    }
}

/// A node.
pub struct Node {
    prefix: String,
    name: String,
    boot: u64,
    next: u64,
    kept: VecDeque<(u64, Vec<u8>)>,
    line: Option<Line>,
}

impl Node {
    /// A node that has just started.
    pub fn new(name: &str, boot: u64) -> Self {
        Self::under("warmend", name, boot)
    }

    /// The same under another prefix of topics.
    pub fn under(prefix: &str, name: &str, boot: u64) -> Self {
        let (prefix, name) = (prefix.to_owned(), name.to_owned());
        Self { prefix, name, boot, next: 0, kept: VecDeque::new(), line: None }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    fn topic(&self, last: &str) -> String {
        format!("{}/{}/{last}", self.prefix, self.name)
    }

    /// Connects, says that it is there, and says again what has no receipt.
    pub fn connect(&mut self, at: SocketAddr) {
        self.line = None;
        let mut options = Line::options(&format!("{}-{}", self.prefix, self.name), at);
        options.set_last_will(LastWill::new(self.topic("senml"), link(&self.name, false), QoS::AtLeastOnce, true));
        let line = Line::open(options);
        line.hear(&self.topic("stored"));
        line.say(&self.topic("senml"), true, link(&self.name, true));
        for (_, pack) in &self.kept {
            line.say(&self.topic("senml"), false, pack.clone());
        }
        self.line = Some(line);
    }

    /// Whether the connection is gone.
    pub fn is_cut(&self) -> bool {
        self.line.as_ref().is_none_or(Line::is_over)
    }

    /// Says samples in a pack of their own, which is kept; gives its number.
    pub fn say(&mut self, samples: &[Sample]) -> u64 {
        let seq = self.next;
        self.next += 1;
        let from = self.kept.front().map_or(seq, |(oldest, _)| *oldest);
        let pack = pack(&self.name, Header { seq: Some(seq), boot: self.boot, from: Some(from) }, samples);
        if let Some(line) = &self.line {
            line.say(&self.topic("senml"), false, pack.clone());
        }
        self.kept.push_back((seq, pack));
        seq
    }

    /// Takes receipts in; gives how many packs are still without one.
    pub fn unanswered(&mut self) -> usize {
        let heard = self.line.as_ref().map(Line::heard).unwrap_or_default();
        for (_, payload) in heard {
            let Ok(receipt) = wire::read_receipt(&payload) else { continue };
            if receipt.boot == self.boot && receipt.node.as_str() == self.name {
                self.kept.retain(|(seq, _)| *seq > receipt.stored);
            }
        }
        self.kept.len()
    }

    /// Waits until no more than `most` packs are without a receipt.
    #[track_caller]
    pub fn answered(&mut self, most: usize) {
        wait("receipts come", SOON, || (self.unanswered() <= most).then_some(()));
    }
}

fn link(node: &str, up: bool) -> Vec<u8> {
    let mut buffer = [0; 512];
    wire::write_link(JsonWriter::new(&mut buffer).unwrap(), node, up).unwrap().to_vec()
}

/// A pack of samples with absolute times.
pub fn pack(node: &str, header: Header, samples: &[Sample]) -> Vec<u8> {
    let mut buffer = vec![0; PACK_BYTES];
    let mut pack = JsonWriter::new(&mut buffer).unwrap();
    let name = format!("{node}:");
    wire::write_header(&mut pack, &Base { name: Some(&name), ..Base::default() }, &header).unwrap();
    for sample in samples {
        let value = match sample.value {
            Value::Number(v) => Payload::Number(Number::Float(v)),
            Value::Bool(on) => Payload::Bool(on),
        };
        let mut entry = Entry::new(&sample.name, value).time_s(Number::Milli((sample.t * 1000.0).round() as i64));
        if !sample.unit.is_empty() {
            entry = entry.unit(sample.unit);
        }
        pack.record(&entry).unwrap();
    }
    pack.finish().to_vec()
}
