//! The embedded MQTT broker: for a shelf that needs no server.
//!
//! It keeps nothing on disk. What must outlive it lives elsewhere: nodes keep their packs until they have a
//! receipt, and the daemon publishes its receipts again from history at start. Sessions and retained messages are
//! kept in memory, within the limits named here.
//!
//! Facts about mqtt5 0.49.0 that this file rests on, read in its source and tried in the tests below:
//! - A subscriber is sent at most `max_outbound_inflight` (default 64) QoS 1 messages before it acknowledges one;
//!   further ones wait in its lane, then in its session's queue, and come in order. MQTT 3.1.1 has no receive
//!   maximum, so this is the only window there is.
//! - Without a storage backend no session survives its connection, so `clean_session=false` means nothing: the
//!   memory backend is what makes unacknowledged messages come again.
//! - A will is checked against the rights when it is published, and dropped if it may not be.
//! - A socket that says nothing is closed after 10 s.
mod guard;
mod kept;
#[cfg(test)]
pub(crate) mod tests;
pub mod users;

use crate::notices::hex;
use crate::small_file;
use guard::Guard;
use mqtt5::broker::config::{StorageBackend, StorageConfig};
use mqtt5::broker::{BrokerConfig, BrokerShutdownHandle, MqttBroker};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::task::JoinHandle;
use users::{Users, UsersError};

/// Connections at the same time.
pub const MAX_CLIENTS: usize = 256;
/// Largest packet, bytes. A pack of a node is some hundred bytes; one that empties a full outbox some thousand.
pub const MAX_PACKET_BYTES: usize = 64 * 1024;
/// QoS 1 messages sent to one subscriber and not yet acknowledged. The daemon acknowledges after its commit, due
/// after its interval or when 16 messages wait: 16 such commits fit into this window, so that it never waits for
/// acknowledgements. Not more, because all of it must fit into the session's queue (see there).
pub const MAX_UNACKNOWLEDGED: u16 = 256;
/// Messages in a subscriber's lane before its session's queue; a full lane slows the publisher for up to 2 s.
pub const LANE_MESSAGES: usize = 256;
/// Messages queued for one session that is away or behind; the oldest are dropped.
pub const QUEUED_MESSAGES: usize = 4096;
/// Bytes queued for one session: a full window of the largest packets, and as much again that waits behind it.
/// When a connection ends, mqtt5 puts what was not acknowledged back into this queue, and the next message that is
/// queued drops the oldest beyond this limit, although it was confirmed to its publisher (a test shows it).
pub const QUEUED_BYTES: usize = 2 * MAX_UNACKNOWLEDGED as usize * MAX_PACKET_BYTES;
/// How long a session is kept after its connection, s.
pub const SESSION_KEPT_S: u64 = 600;
/// Retained messages of clients: a link state for each of 256 nodes, and room. One more is handed on, not kept.
pub const MAX_RETAINED: usize = 1024;
/// Room beyond it for the daemon's own: a receipt and a permit for each of 256 nodes, and messages.
pub const OWN_RETAINED: usize = 1024;
/// Largest retained message of a client, bytes.
pub const MAX_RETAINED_BYTES: usize = 16 * 1024;
/// Subscriptions of one client.
pub const MAX_SUBSCRIPTIONS: usize = 64;
/// Largest users file, bytes.
pub const MAX_USERS_FILE_BYTES: u64 = 256 * 1024;
/// How long stopping waits for the connections to end: longer than the 5 s that mqtt5 gives them itself.
const STOP_WITHIN: Duration = Duration::from_secs(7);
/// How long the broker may take to say that it accepts connections.
const READY_WITHIN: Duration = Duration::from_secs(10);

/// The daemon's own user name on the embedded broker; no users file may list it.
pub const OWN_USER: &str = "warmend-daemon";

/// Where and for whom the embedded broker listens.
#[derive(Debug, Clone)]
pub struct BrokerSettings {
    /// Where to listen; port 0 takes any free one (see [`EmbeddedBroker::address`]).
    pub listen: SocketAddr,
    /// The topics' first part.
    pub prefix: String,
    /// The client id under which the daemon itself will come; refused to everyone else.
    pub own_client_id: String,
    /// Who may come. Without it anyone who reaches a loopback address; required elsewhere.
    pub users_file: Option<PathBuf>,
}

/// How the daemon itself logs in. A new password at each start; it is never written anywhere.
#[derive(Clone)]
pub struct OwnLogin {
    /// [`OWN_USER`].
    pub user: String,
    /// 32 random bytes in hexadecimal.
    pub password: String,
    /// The only client id that this user is known by.
    pub client_id: String,
}

impl std::fmt::Debug for OwnLogin {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("OwnLogin").field("user", &self.user).finish_non_exhaustive()
    }
}

/// Why the embedded broker does not run.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// Another program holds the port. Exit 1.
    #[error(
        "cannot open the broker at {0}: another program listens there (or this one runs twice); stop it, or give broker.embedded another port"
    )]
    Taken(SocketAddr),
    /// The address cannot be listened on. Exit 1.
    #[error(
        "cannot open the broker at {listen}: {why}; give broker.embedded an address of this machine and a port above 1023"
    )]
    Listen {
        /// The address.
        listen: SocketAddr,
        /// What the system says.
        why: String,
    },
    /// Beyond loopback without users. Exit 64.
    #[error("will not open the broker at {0} to everyone: set broker.users_file, or listen at 127.0.0.1 only")]
    UsersNeeded(SocketAddr),
    /// The users file cannot be read. Exit 64.
    #[error("cannot read the users file {path}: {why}; correct broker.users_file or the file's rights")]
    UsersUnread {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: String,
    },
    /// The users file says something wrong. Exit 64.
    #[error("the users file {path} is wrong: {why}")]
    UsersWrong {
        /// The file.
        path: PathBuf,
        /// Where and what.
        why: UsersError,
    },
    /// The users file lists [`OWN_USER`]. Exit 64.
    #[error("the users file {0} lists {OWN_USER}, which is the daemon's own name; choose another")]
    OwnNameListed(PathBuf),
    /// The system gives no random bytes for the daemon's password. Exit 1.
    #[error("cannot make the daemon's own password: the system gives no random bytes; restart the machine")]
    NoRandom,
    /// It stopped by itself. Exit 1.
    #[error("the broker stopped by itself: {0}; restart warmend, and report this text if it happens again")]
    Ended(String),
}

impl BrokerError {
    /// Whether the shelf file or its users file must be corrected (exit 64), rather than the machine (exit 1).
    pub const fn is_in_the_shelf_file(&self) -> bool {
        matches!(
            self,
            Self::UsersNeeded(_) | Self::UsersUnread { .. } | Self::UsersWrong { .. } | Self::OwnNameListed(_)
        )
    }
}

/// A running broker. Dropping it stops it; [`EmbeddedBroker::stop`] waits for the end.
#[derive(Debug)]
pub struct EmbeddedBroker {
    address: SocketAddr,
    login: OwnLogin,
    handle: Handle,
    task: JoinHandle<mqtt5::Result<()>>,
}

struct Handle(BrokerShutdownHandle);

impl std::fmt::Debug for Handle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Handle")
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.0.shutdown();
    }
}

impl EmbeddedBroker {
    /// Opens the broker; when this returns, it accepts connections at [`EmbeddedBroker::address`].
    ///
    /// # Errors
    /// See [`BrokerError`]; nothing runs then.
    pub async fn start(settings: BrokerSettings) -> Result<Self, BrokerError> {
        let listen = settings.listen;
        let users = match &settings.users_file {
            Some(path) => Some(read_users(path, &settings.prefix).await?),
            None if listen.ip().is_loopback() => None,
            None => return Err(BrokerError::UsersNeeded(listen)),
        };
        let login = OwnLogin { user: OWN_USER.to_owned(), password: random_hex()?, client_id: settings.own_client_id };
        try_address(listen).await?;
        let failed = |why: mqtt5::MqttError| BrokerError::Listen { listen, why: why.to_string() };
        let mut broker = MqttBroker::with_config(config(listen))
            .await
            .map_err(failed)?
            .with_auth_provider(Arc::new(Guard::new(login.clone(), users)));
        let address =
            broker.local_addr().ok_or_else(|| BrokerError::Listen { listen, why: "no listening socket".to_owned() })?;
        let handle = Handle(broker.shutdown_handle());
        let mut ready = broker.ready_receiver();
        let mut task = tokio::spawn(async move { broker.run().await });
        tokio::select! {
            ready = tokio::time::timeout(READY_WITHIN, async { ready.wait_for(|ready| *ready).await.is_ok() }) => match ready {
                Ok(true) => Ok(Self { address, login, handle, task }),
                Ok(false) => Err(ended((&mut task).await)),
                Err(_) => Err(BrokerError::Ended("it was not ready in time".to_owned())),
            },
            end = &mut task => Err(ended(end)),
        }
    }

    /// Where it really listens.
    pub const fn address(&self) -> SocketAddr {
        self.address
    }

    /// How the daemon logs in.
    pub const fn login(&self) -> &OwnLogin {
        &self.login
    }

    /// Waits until the broker ends by itself, which it should not. Cancel-safe.
    pub async fn ended(&mut self) -> BrokerError {
        ended((&mut self.task).await)
    }

    /// Closes all connections and the port, and waits for the end of it.
    pub async fn stop(self) {
        let Self { handle, mut task, .. } = self;
        handle.0.shutdown();
        if tokio::time::timeout(STOP_WITHIN, &mut task).await.is_err() {
            task.abort();
        }
    }
}

fn ended(end: Result<mqtt5::Result<()>, tokio::task::JoinError>) -> BrokerError {
    BrokerError::Ended(match end {
        Ok(Ok(())) => "it was told to".to_owned(),
        Ok(Err(why)) => why.to_string(),
        Err(why) => why.to_string(),
    })
}

fn config(listen: SocketAddr) -> BrokerConfig {
    let storage = StorageConfig::default()
        .with_backend(StorageBackend::Memory)
        .with_cleanup_interval(Duration::from_secs(60))
        .with_max_queued_messages_per_client(QUEUED_MESSAGES)
        .with_max_queued_bytes_per_client(QUEUED_BYTES);
    let mut config = BrokerConfig::default()
        .with_bind_address(listen)
        .with_storage(storage)
        .with_max_clients(MAX_CLIENTS)
        .with_max_packet_size(MAX_PACKET_BYTES)
        .with_session_expiry(Duration::from_secs(SESSION_KEPT_S))
        .with_max_subscriptions_per_client(MAX_SUBSCRIPTIONS)
        // A bound for wills, too, of which no event tells before they are kept. Sizes: `Kept`, and the guard for wills.
        .with_max_retained_messages(MAX_RETAINED + OWN_RETAINED)
        .with_event_handler(Arc::new(kept::Kept::default()))
        .with_client_channel_capacity(LANE_MESSAGES)
        .with_max_outbound_inflight(MAX_UNACKNOWLEDGED)
        .with_sys_topics_enabled(false);
    config.shared_subscription_available = false;
    // The guard asks; without this mqtt5 wants a password file of its own form.
    config.auth_config.allow_anonymous = true;
    config
}

/// Reads and checks a users file.
pub(crate) async fn read_users(path: &std::path::Path, prefix: &str) -> Result<Users, BrokerError> {
    let unread = |why: String| BrokerError::UsersUnread { path: path.to_owned(), why };
    let named = path.to_owned();
    let read = tokio::task::spawn_blocking(move || small_file::text(&named, MAX_USERS_FILE_BYTES)).await;
    let text = read.map_err(|e| unread(e.to_string()))?.map_err(|e| unread(e.to_string()))?;
    let users = Users::parse(&text, prefix).map_err(|why| BrokerError::UsersWrong { path: path.to_owned(), why })?;
    if users.hash(OWN_USER).is_some() {
        return Err(BrokerError::OwnNameListed(path.to_owned()));
    }
    Ok(users)
}

/// mqtt5 gives one text for every reason; binding once ourselves tells a taken port from the rest.
async fn try_address(listen: SocketAddr) -> Result<(), BrokerError> {
    match tokio::net::TcpListener::bind(listen).await {
        Ok(_) => Ok(()),
        Err(e) if e.kind() == std::io::ErrorKind::AddrInUse => Err(BrokerError::Taken(listen)),
        Err(e) => Err(BrokerError::Listen { listen, why: e.to_string() }),
    }
}

fn random_hex() -> Result<String, BrokerError> {
    let mut bytes = [0; 32];
    rustls::crypto::ring::default_provider().secure_random.fill(&mut bytes).map_err(|_| BrokerError::NoRandom)?;
    Ok(hex(&bytes))
}
