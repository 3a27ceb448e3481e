//! The simulated nodes: real MQTT clients that number their packs and keep them until the receipt.
use super::clock::PacedClock;
use super::shelf::NESTS;
use super::{Settings, words};
use crate::clock::Clock as _;
use enclosure::{Span, Timestamp};
use rumqttc::{AsyncClient, EventLoop, LastWill, MqttOptions, Packet, QoS};
use std::collections::{BTreeMap, VecDeque};
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio_util::task::AbortOnDropHandle;
use wire::{Base, Entry, JsonWriter, Number, Payload};
use world::{FaultKind, Sample, Value, World};

/// Packs that a node keeps until their receipt; beyond it the oldest is lost.
const KEPT_PACKS: usize = 1024;
/// Orders that wait for a node.
const ORDERS_WAITING: usize = 64;
/// Largest pack, bytes.
const PACK_BYTES: usize = 16 * 1024;
/// The clock runs no further than so long after the oldest pack without a receipt: a slow disk slows the demonstration
/// down instead of making it a story of silent probes.
const UNANSWERED: Span = Span::from_min(5);
/// Wait after a lost connection.
const RECONNECT: Duration = Duration::from_millis(200);

/// What a node is told.
enum Order {
    /// To publish what its probes said.
    Tell(Vec<Sample>),
    /// The power is cut.
    Off,
    /// It is back.
    On,
}

/// Ends of the packs that were sent and not answered yet, by node and number.
type Unanswered = Arc<Mutex<BTreeMap<(Arc<str>, u64), Timestamp>>>;

/// The whole simulation.
pub(super) struct Nodes {
    world: World,
    clock: Arc<PacedClock>,
    unanswered: Unanswered,
    period: Span,
    dark: bool,
    begun: Vec<bool>,
    orders: BTreeMap<Arc<str>, mpsc::Sender<Order>>,
    tasks: Vec<AbortOnDropHandle<()>>,
}

impl Nodes {
    pub(super) fn new(world: World, clock: Arc<PacedClock>, settings: &Settings) -> Self {
        // A pack a second or so where time runs slowly, one a simulated minute where it runs fast.
        let period = Span::from_ms((settings.speed * 200.0).clamp(5_000.0, 60_000.0) as i64);
        let begun = world.faults().iter().map(|fault| fault.began_s.is_some()).collect();
        let (orders, tasks, unanswered) = (BTreeMap::new(), Vec::new(), Unanswered::default());
        Self { world, clock, unanswered, period, dark: false, begun, orders, tasks }
    }

    /// Lets the shelf live, for ever; its nodes speak to the broker at `at`.
    pub(super) async fn live(&mut self, at: SocketAddr) {
        let mut next = self.clock.now().plus(self.period);
        loop {
            self.clock.may_run_to(self.ceiling(next));
            let left_ms = next.since(self.clock.now()).ms();
            if left_ms > 0 {
                let wait_ms = (left_ms as f64 / self.clock.pace()).clamp(1.0, 50.0);
                tokio::time::sleep(Duration::from_secs_f64(wait_ms / 1000.0)).await;
                continue;
            }
            let now = self.clock.now();
            let samples = self.world.advance(now.unix_s());
            self.report_faults(at).await;
            self.hand_out(samples, at).await;
            next = now.plus(self.period);
        }
    }

    /// How far the clock may run: the simulation must have come so far, and history nearly.
    fn ceiling(&self, next: Timestamp) -> Timestamp {
        let simulated = next.plus(self.period);
        let answered = lock(&self.unanswered).values().min().map(|end| end.plus(UNANSWERED));
        answered.map_or(simulated, |answered| answered.min(simulated))
    }

    async fn report_faults(&mut self, at: SocketAddr) {
        let now_s = self.world.now_s();
        let mut dark = false;
        for (record, begun) in self.world.faults().iter().zip(&mut self.begun) {
            dark |= record.fault.kind == FaultKind::PowerCut && record.active(now_s);
            if let (Some(began_s), false) = (record.began_s, *begun) {
                *begun = true;
                let nest = NESTS.get(record.fault.nest).copied().unwrap_or_default();
                let moment = Timestamp::from_unix_s(began_s).unwrap_or_else(|| self.clock.now());
                words::went_wrong(moment, record.fault.kind.name(), nest);
            }
        }
        if dark != self.dark {
            self.dark = dark;
            let nodes: Vec<Arc<str>> = self.orders.keys().cloned().collect();
            for node in nodes {
                self.order(&node, if dark { Order::Off } else { Order::On }, at).await;
            }
        }
    }

    async fn hand_out(&mut self, samples: Vec<Sample>, at: SocketAddr) {
        let mut by_node: BTreeMap<Arc<str>, Vec<Sample>> = BTreeMap::new();
        for sample in samples {
            by_node.entry(Arc::clone(&sample.node)).or_default().push(sample);
        }
        for (node, samples) in by_node {
            self.order(&node, Order::Tell(samples), at).await;
        }
    }

    async fn order(&mut self, node: &Arc<str>, order: Order, at: SocketAddr) {
        let orders = match self.orders.get(node) {
            Some(orders) => orders.clone(),
            None => {
                let (orders, waiting) = mpsc::channel(ORDERS_WAITING);
                let boot = u64::try_from(self.clock.now().unix_ms() / 1000).unwrap_or(0);
                let one = Node {
                    name: Arc::clone(node),
                    boot,
                    next: 0,
                    kept: VecDeque::new(),
                    unanswered: Arc::clone(&self.unanswered),
                };
                self.tasks.push(AbortOnDropHandle::new(tokio::spawn(one.live(at, waiting))));
                self.orders.insert(Arc::clone(node), orders.clone());
                orders
            }
        };
        // A node ends with the demonstration only.
        drop(orders.send(order).await);
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// One node.
struct Node {
    name: Arc<str>,
    boot: u64,
    next: u64,
    kept: VecDeque<(u64, Vec<u8>)>,
    unanswered: Unanswered,
}

/// Why a connection ended.
enum Cut {
    /// It was lost.
    Lost,
    /// The power is cut.
    Power,
    /// The demonstration ends.
    End,
}

impl Node {
    async fn live(mut self, at: SocketAddr, mut orders: mpsc::Receiver<Order>) {
        loop {
            match self.connected(at, &mut orders).await {
                Cut::Lost => tokio::time::sleep(RECONNECT).await,
                Cut::Power => loop {
                    match orders.recv().await {
                        Some(Order::On) => break,
                        Some(_) => {}
                        None => return,
                    }
                },
                Cut::End => return,
            }
        }
    }

    fn topic(&self, last: &str) -> String {
        format!("warmend/{}/{last}", self.name)
    }

    /// One connection. Dropping it without a word is what a power cut does: the broker says the will.
    async fn connected(&mut self, at: SocketAddr, orders: &mut mpsc::Receiver<Order>) -> Cut {
        let mut options = MqttOptions::new(self.name.as_ref(), at.ip().to_string(), at.port());
        options.set_keep_alive(Duration::from_secs(30)).set_inflight(100);
        let Some(will) = link(&self.name, false) else { return Cut::End };
        options.set_last_will(LastWill::new(self.topic("senml"), will, QoS::AtLeastOnce, true));
        let (client, events) = AsyncClient::new(options, 2 * KEPT_PACKS);
        let (hear_in, mut heard) = mpsc::channel(ORDERS_WAITING);
        // Polled without a break: a connection that is coming about must not be begun anew with each order.
        let hearing = hear(events, hear_in);
        tokio::pin!(hearing);
        if self.begin(&client).is_err() {
            return Cut::Lost;
        }
        loop {
            tokio::select! {
                () = &mut hearing => return Cut::Lost,
                Some(payload) = heard.recv() => self.answered(&payload),
                order = orders.recv() => match order {
                    Some(Order::Tell(samples)) => {
                        if let Some(pack) = self.pack(&samples)
                            && client.try_publish(self.topic("senml"), QoS::AtLeastOnce, false, pack).is_err()
                        {
                            return Cut::Lost;
                        }
                    }
                    Some(Order::On) => {}
                    Some(Order::Off) => return Cut::Power,
                    None => return Cut::End,
                },
            }
        }
    }

    /// The first words on a connection: hear receipts, say that it is there, say again what was not answered.
    fn begin(&self, client: &AsyncClient) -> Result<(), rumqttc::ClientError> {
        client.try_subscribe(self.topic("stored"), QoS::AtLeastOnce)?;
        if let Some(up) = link(&self.name, true) {
            client.try_publish(self.topic("senml"), QoS::AtLeastOnce, true, up)?;
        }
        for (_, pack) in &self.kept {
            client.try_publish(self.topic("senml"), QoS::AtLeastOnce, false, pack.clone())?;
        }
        Ok(())
    }

    fn answered(&mut self, payload: &[u8]) {
        let Ok(receipt) = wire::read_receipt(payload) else { return };
        if receipt.boot != self.boot || receipt.node.as_str() != self.name.as_ref() {
            return;
        }
        let mut unanswered = lock(&self.unanswered);
        while let Some((seq, _)) = self.kept.front().filter(|(seq, _)| *seq <= receipt.stored) {
            unanswered.remove(&(Arc::clone(&self.name), *seq));
            self.kept.pop_front();
        }
    }

    /// Makes the next pack and keeps it.
    fn pack(&mut self, samples: &[Sample]) -> Option<Vec<u8>> {
        let seq = self.next;
        let from = self.kept.front().map_or(seq, |(oldest, _)| *oldest);
        let pack = written(&self.name, wire::Header { seq: Some(seq), boot: self.boot, from: Some(from) }, samples)?;
        let end = samples.iter().filter_map(|sample| Timestamp::from_unix_s(sample.t)).max()?;
        self.next += 1;
        let mut unanswered = lock(&self.unanswered);
        if self.kept.len() >= KEPT_PACKS
            && let Some((lost, _)) = self.kept.pop_front()
        {
            unanswered.remove(&(Arc::clone(&self.name), lost));
        }
        unanswered.insert((Arc::clone(&self.name), seq), end);
        self.kept.push_back((seq, pack.clone()));
        Some(pack)
    }
}

/// Hands over receipts until the connection is lost.
async fn hear(mut events: EventLoop, heard: mpsc::Sender<Vec<u8>>) {
    while let Ok(event) = events.poll().await {
        if let rumqttc::Event::Incoming(Packet::Publish(publish)) = event {
            // A later receipt says the same and more.
            drop(heard.try_send(publish.payload.to_vec()));
        }
    }
}

fn link(node: &str, up: bool) -> Option<Vec<u8>> {
    let mut buffer = [0; 512];
    let pack = JsonWriter::new(&mut buffer).ok()?;
    wire::write_link(pack, node, up).ok().map(<[u8]>::to_vec)
}

fn written(node: &str, header: wire::Header, samples: &[Sample]) -> Option<Vec<u8>> {
    let mut buffer = vec![0; PACK_BYTES];
    let mut pack = JsonWriter::new(&mut buffer).ok()?;
    let name = format!("{node}:");
    let base = Base { name: Some(&name), ..Base::default() };
    wire::write_header(&mut pack, &base, &header).ok()?;
    for sample in samples {
        let value = match sample.value {
            Value::Number(v) => Payload::Number(Number::Float(v)),
            Value::Bool(on) => Payload::Bool(on),
        };
        let t_ms = (sample.t * 1000.0).round() as i64;
        let mut entry = Entry::new(&sample.name, value).time_s(Number::Milli(t_ms));
        if !sample.unit.is_empty() {
            entry = entry.unit(sample.unit);
        }
        // What does not fit, or is no number, is lost, as on a node.
        let _ = pack.record(&entry);
    }
    Some(pack.finish().to_vec())
}
