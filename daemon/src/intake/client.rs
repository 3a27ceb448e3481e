//! Our few words over rumqttc: the one file to change if another client takes its place.
//!
//! What was read and tried in rumqttc 0.25.1, and what follows from it:
//! - After an error its event loop keeps events, acknowledgements and packet ids of the old connection. One
//!   [`open`] is therefore one connection: on any error both halves are dropped and new ones made. This also ends
//!   its open bug of an id collision that wedges publishing (its issues 1014 and 1056).
//! - It reconnects at once when polled after an error, and never subscribes again: both are the caller's.
//! - A packet over the incoming limit (default 10 KiB) ends the connection, and the broker sends it again.
//! - `poll` must not be cut short and called again; [`Events::next`] is dropped with its connection or awaited.
use dashboards::say;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, MqttOptions, Packet, Publish, QoS, StateError,
    SubscribeFilter, SubscribeReasonCode,
};
use std::time::Duration;

/// Requests (acknowledgements, publishes) waiting for the event loop.
const REQUESTS: usize = 256;
/// Outgoing QoS 1 messages that the broker has not confirmed.
pub(super) const UNCONFIRMED: u16 = 64;
/// Largest packet taken from a broker, bytes: well above what any publisher here sends, so that a too large payload
/// can be read, counted and acknowledged instead of coming again for ever.
pub(super) const LARGEST_PACKET_BYTES: usize = 16 * 1024 * 1024;
/// Largest packet sent, bytes.
const LARGEST_SENT_BYTES: usize = 256 * 1024;

/// How to reach the broker.
pub(super) struct Dial<'a> {
    pub(super) host: &'a str,
    pub(super) port: u16,
    pub(super) login: Option<(&'a str, &'a str)>,
    pub(super) client_id: &'a str,
    pub(super) keep_alive: Duration,
    /// Throw the session away that the broker keeps for this client id.
    pub(super) clean: bool,
}

/// The sending half; cheap to clone. Everything fails once the connection is gone.
#[derive(Clone, Debug)]
pub(super) struct Wire(AsyncClient);

/// The receiving half. Somebody must await [`Events::next`] all the time, or nothing moves.
pub(super) struct Events(EventLoop);

/// What happened on the connection.
#[derive(Debug)]
pub(super) enum Happening {
    /// The broker let us in.
    Connected,
    /// The broker answered our one subscription; `refused` of its filters were not granted.
    Subscribed { refused: usize },
    /// A message came.
    Message(Arrival),
    /// The broker confirmed the oldest unconfirmed message.
    Confirmed,
    /// Something of no interest.
    Other,
}

/// A message as it came.
#[derive(Debug)]
pub(super) struct Arrival {
    pub(super) topic: String,
    pub(super) payload: Vec<u8>,
    pub(super) retained: bool,
    pub(super) dup: bool,
    pub(super) ticket: Ticket,
}

/// What must be said to acknowledge a message on its own connection.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Ticket {
    qos: u8,
    id: u16,
}

/// Why a connection ended or did not come about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Trouble {
    /// Not reached, cut, or closed by the other side.
    Lost(String),
    /// The broker says no.
    Refused(String),
    /// What the broker sends cannot be read; it will send the same again.
    Poison(String),
}

/// The wire has gone; whatever was sent may not have arrived.
#[derive(Debug)]
pub(super) struct Gone;

impl Ticket {
    /// Whether the broker waits for an acknowledgement.
    pub(super) const fn is_awaited(self) -> bool {
        self.qos > 0
    }

    fn publish(self) -> Publish {
        let qos = match self.qos {
            0 => QoS::AtMostOnce,
            1 => QoS::AtLeastOnce,
            _ => QoS::ExactlyOnce,
        };
        let mut publish = Publish::new("", qos, Vec::new());
        publish.pkid = self.id;
        publish
    }
}

/// Two halves of a connection that is made by the first [`Events::next`].
pub(super) fn open(dial: &Dial<'_>) -> (Wire, Events) {
    // rumqttc joins host and port with a colon, so an IPv6 address needs its brackets.
    let bracketed = dial.host.parse::<std::net::Ipv6Addr>().ok().map(|address| format!("[{address}]"));
    let mut options = MqttOptions::new(dial.client_id, bracketed.as_deref().unwrap_or(dial.host), dial.port);
    // Both panic on what the settings rule out: less than a second, and an empty id with a kept session.
    options.set_keep_alive(dial.keep_alive.max(Duration::from_secs(1)));
    options.set_clean_session(dial.clean || dial.client_id.is_empty());
    options.set_manual_acks(true);
    options.set_inflight(UNCONFIRMED);
    options.set_max_packet_size(LARGEST_PACKET_BYTES, LARGEST_SENT_BYTES);
    if let Some((user, password)) = dial.login {
        options.set_credentials(user, password);
    }
    let (client, events) = AsyncClient::new(options, REQUESTS);
    (Wire(client), Events(events))
}

impl Events {
    /// The next thing that happens. Not to be called again after an error.
    pub(super) async fn next(&mut self) -> Result<Happening, Trouble> {
        Ok(match self.0.poll().await? {
            Event::Incoming(Packet::ConnAck(_)) => Happening::Connected,
            Event::Incoming(Packet::SubAck(ack)) => Happening::Subscribed {
                refused: ack.return_codes.iter().filter(|code| **code == SubscribeReasonCode::Failure).count(),
            },
            Event::Incoming(Packet::PubAck(_)) => Happening::Confirmed,
            Event::Incoming(Packet::Publish(publish)) => Happening::Message(Arrival {
                ticket: Ticket { qos: publish.qos as u8, id: publish.pkid },
                // A copy, so that a small payload does not keep a large read buffer alive.
                payload: publish.payload.to_vec(),
                retained: publish.retain,
                dup: publish.dup,
                topic: publish.topic,
            }),
            _ => Happening::Other,
        })
    }
}

impl Wire {
    /// Subscribes to all filters in one packet with QoS 1, without waiting.
    pub(super) fn subscribe(&self, filters: &[String]) -> Result<(), Gone> {
        let filters = filters.iter().map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtLeastOnce));
        self.0.try_subscribe_many(filters).map_err(|_| Gone)
    }

    /// Publishes with QoS 1 without waiting; fails also when too much waits already.
    pub(super) fn try_publish(&self, topic: &str, payload: Vec<u8>) -> Result<(), Gone> {
        self.0.try_publish(topic, QoS::AtLeastOnce, false, payload).map_err(|_| Gone)
    }

    /// Publishes with QoS 1; waits while too much waits already.
    pub(super) async fn publish(&self, topic: &str, retain: bool, payload: Vec<u8>) -> Result<(), Gone> {
        self.0.publish(topic, QoS::AtLeastOnce, retain, payload).await.map_err(|_| Gone)
    }

    /// Acknowledges; waits while too much waits already.
    pub(super) async fn acknowledge(&self, ticket: Ticket) -> Result<(), Gone> {
        self.0.ack(&ticket.publish()).await.map_err(|_| Gone)
    }

    /// Acknowledges without waiting; fails also when too much waits already.
    pub(super) fn try_acknowledge(&self, ticket: Ticket) -> Result<(), Gone> {
        self.0.try_ack(&ticket.publish()).map_err(|_| Gone)
    }

    /// Says goodbye, so that the broker does not wait for us.
    pub(super) fn goodbye(&self) {
        // If even this does not fit, dropping the connection says it too.
        drop(self.0.try_disconnect());
    }
}

/// Whether a topic may be published to: rumqttc reports a bad one only as a failed request.
pub(super) fn is_topic(topic: &str) -> bool {
    !topic.is_empty() && topic.len() <= usize::from(u16::MAX) && !topic.contains(['+', '#', '\0'])
}

impl From<ConnectionError> for Trouble {
    fn from(error: ConnectionError) -> Self {
        match error {
            ConnectionError::ConnectionRefused(code) => Self::Refused(match code {
                ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
                    say!("failed-broker-user")
                }
                ConnectReturnCode::ServiceUnavailable => say!("failed-broker-not-available"),
                other => say!("failed-broker-refuses", why = format!("{other:?}")),
            }),
            // `Io` inside is a cut connection met while reading or writing a packet.
            ConnectionError::MqttState(StateError::Deserialization(rumqttc::mqttbytes::Error::Io(e))) => {
                Self::Lost(e.to_string())
            }
            ConnectionError::MqttState(StateError::Deserialization(e)) => Self::Poison(e.to_string()),
            ConnectionError::MqttState(StateError::AwaitPingResp) => Self::Lost(say!("failed-broker-still")),
            ConnectionError::MqttState(StateError::WrongPacket) => Self::Lost(say!("failed-broker-session")),
            ConnectionError::MqttState(StateError::ConnectionAborted) => Self::Lost(say!("failed-broker-closed")),
            ConnectionError::MqttState(StateError::Io(e)) | ConnectionError::Io(e) => Self::Lost(e.to_string()),
            ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => Self::Lost(say!("failed-broker-late")),
            other => Self::Lost(other.to_string()),
        }
    }
}
