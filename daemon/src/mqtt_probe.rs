//! A bare MQTT client for tests: says and hears exactly what it is told to, with deadlines instead of sleeps.
use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, LastWill, MqttOptions, Outgoing, Packet, Publish, QoS,
    SubscribeReasonCode,
};
use std::collections::VecDeque;
use std::net::SocketAddr;
use std::time::Duration;

/// Everything in a test must happen within this.
pub(crate) const DEADLINE: Duration = Duration::from_secs(30);

/// Awaits `future`, or fails the test by the name of what did not happen.
pub(crate) async fn within<T>(what: &str, future: impl Future<Output = T>) -> T {
    match tokio::time::timeout(DEADLINE, future).await {
        Ok(done) => done,
        Err(_) => panic!("in {DEADLINE:?} it did not happen: {what}"),
    }
}

pub(crate) struct Probe {
    pub(crate) client: AsyncClient,
    events: EventLoop,
    heard: VecDeque<Publish>,
}

pub(crate) fn options(at: SocketAddr, id: &str, login: Option<(&str, &str)>) -> MqttOptions {
    let mut options = MqttOptions::new(id, at.ip().to_string(), at.port());
    options.set_max_packet_size(64 * 1024 * 1024, 64 * 1024 * 1024).set_manual_acks(true).set_inflight(2000);
    if let Some((user, password)) = login {
        options.set_credentials(user, password);
    }
    options
}

impl Probe {
    pub(crate) async fn connect(options: MqttOptions) -> Result<Self, ConnectionError> {
        let (client, mut events) = AsyncClient::new(options, 4000);
        match within("an answer to CONNECT", events.poll()).await? {
            Event::Incoming(Packet::ConnAck(_)) => Ok(Self { client, events, heard: VecDeque::new() }),
            other => panic!("not a CONNACK: {other:?}"),
        }
    }

    pub(crate) async fn at(at: SocketAddr, id: &str) -> Self {
        Self::connect(options(at, id, None)).await.unwrap()
    }

    pub(crate) async fn with_will(mut options: MqttOptions, topic: &str) -> Self {
        options.set_last_will(LastWill::new(topic, "will", QoS::AtLeastOnce, true));
        Self::connect(options).await.unwrap()
    }

    async fn until<T>(&mut self, what: &str, mut f: impl FnMut(&Event) -> Option<T>) -> T {
        within(what, async {
            loop {
                let event = self.events.poll().await.unwrap();
                if let Event::Incoming(Packet::Publish(publish)) = &event {
                    self.heard.push_back(publish.clone());
                }
                if let Some(found) = f(&event) {
                    return found;
                }
            }
        })
        .await
    }

    /// Whether the subscription was granted.
    pub(crate) async fn subscribe(&mut self, filter: &str, qos: QoS) -> bool {
        self.client.subscribe(filter, qos).await.unwrap();
        self.until("SUBACK", |event| match event {
            Event::Incoming(Packet::SubAck(ack)) => Some(!ack.return_codes.contains(&SubscribeReasonCode::Failure)),
            _ => None,
        })
        .await
    }

    /// Publishes with QoS 1 and waits for the broker's confirmation.
    pub(crate) async fn publish(&mut self, topic: &str, retain: bool, payload: impl Into<Vec<u8>>) {
        self.client.publish(topic, QoS::AtLeastOnce, retain, payload).await.unwrap();
        self.until("PUBACK", |event| matches!(event, Event::Incoming(Packet::PubAck(_))).then_some(())).await;
    }

    /// Publishes with QoS 0 and waits until it is on its way.
    pub(crate) async fn throw(&mut self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.client.publish(topic, QoS::AtMostOnce, false, payload).await.unwrap();
        self.until("a sent PUBLISH", |event| matches!(event, Event::Outgoing(Outgoing::Publish(_))).then_some(()))
            .await;
    }

    /// The next message, not acknowledged.
    pub(crate) async fn hear(&mut self) -> Publish {
        if self.heard.is_empty() {
            self.until("a message", |event| matches!(event, Event::Incoming(Packet::Publish(_))).then_some(())).await;
        }
        self.heard.pop_front().unwrap()
    }

    pub(crate) async fn ack(&mut self, publish: &Publish) {
        self.client.ack(publish).await.unwrap();
        self.until("a sent PUBACK", |event| matches!(event, Event::Outgoing(Outgoing::PubAck(_))).then_some(())).await;
    }
}
