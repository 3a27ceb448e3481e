//! What must be there before anything runs, and why it may not be.
use crate::aside::aside;
use crate::broker::users::ACT;
use crate::broker::{self, BrokerError, BrokerSettings, EmbeddedBroker};
use crate::clock::Clock;
use crate::history::{self, HistoryError, Reader, Receipt, Store, Writer};
use crate::intake::{IntakeSettings, Publisher};
use crate::mirror::{Mirror, MirrorError};
use crate::notices::{KEY_FACT, random};
use crate::permit::{KeyError, Mat, mats};
use crate::pipeline::{self, Restored};
use crate::shelf_file::{BrokerWay, ShelfFile};
use crate::snapshot::{Snapshot, Vitals};
use crate::web::access::AccessError;
use crate::web::{Access, tls};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use dashboards::say;
use rustls::ServerConfig;
use std::collections::{BTreeMap, BTreeSet};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;

/// Largest password file, bytes.
const PASSWORD_MAX: u64 = 4096;

/// Why the daemon does not run, or no longer.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// History cannot be opened. Exit 1.
    #[error(transparent)]
    History(#[from] HistoryError),
    /// The embedded broker does not run.
    #[error(transparent)]
    Broker(#[from] BrokerError),
    /// The pages' port cannot be opened. Exit 1.
    #[error("cannot open the pages at {listen}: {why}; stop what listens there, or give web.listen another address")]
    Page {
        /// The address.
        listen: SocketAddr,
        /// Why not.
        why: std::io::Error,
    },
    /// The password of the broker elsewhere cannot be read. Exit 64.
    #[error("cannot read the broker's password file {path}: {why}; correct broker.password_file or the file's rights")]
    Password {
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
    /// The broker elsewhere does not answer, or lets nobody in. Exit 1.
    #[error(
        "cannot hear the broker at {address}: {why}; look whether it runs, and correct [broker] url, user and password"
    )]
    Unheard {
        /// Host and port.
        address: String,
        /// Why not.
        why: String,
    },
    /// The pages cannot be guarded as the shelf file asks. Exit 64.
    #[error(transparent)]
    Access(#[from] AccessError),
    /// The mirror cannot be set up. Exit 64.
    #[error(transparent)]
    Mirror(#[from] MirrorError),
    /// The key of a mat on leave cannot be used. Exit 64.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// The system gives no thread. Exit 1.
    #[error("cannot start the history's writer: {0}; restart the machine")]
    Thread(std::io::Error),
    /// A part without which the daemon is none has ended. Exit 1.
    #[error("the part \"{name}\" ended: {why}; start warmend again, and report this text if it happens again")]
    Died {
        /// Which.
        name: &'static str,
        /// Why.
        why: String,
    },
}

impl RunError {
    pub(super) fn died(name: &'static str, why: Option<String>) -> Self {
        Self::Died { name, why: why.unwrap_or_else(|| "without a reason".to_owned()) }
    }

    /// The contract's exit code: 64 where the shelf file must be corrected, else 1.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Broker(error) if error.is_in_the_shelf_file() => 64,
            Self::Password { .. } | Self::Access(_) | Self::Mirror(_) | Self::Key(_) => 64,
            Self::History(_)
            | Self::Broker(_)
            | Self::Page { .. }
            | Self::Unheard { .. }
            | Self::Thread(_)
            | Self::Died { .. } => 1,
        }
    }
}

/// What is open before the tasks start.
pub(super) struct Opened {
    pub(super) writer: Arc<Writer>,
    pub(super) history: PathBuf,
    pub(super) restored: Restored,
    pub(super) listener: TcpListener,
    pub(super) page: SocketAddr,
    pub(super) broker: Option<EmbeddedBroker>,
    pub(super) line: Line,
    pub(super) receipts: Vec<Receipt>,
    pub(super) mats: Vec<Mat>,
    /// Nodes whose receipts of before promise what may be lost.
    pub(super) clear: BTreeSet<String>,
    /// What is to be told of a history that was damaged.
    pub(super) set_aside: Option<String>,
    pub(super) door: Door,
}

/// Who comes in to the pages, and how.
pub(super) struct Door {
    pub(super) tls: Option<Arc<ServerConfig>>,
    pub(super) local: Option<TcpListener>,
    pub(super) access: Access,
    /// The history's own key.
    pub(super) key: [u8; 32],
    /// The fact to be kept where that is new.
    pub(super) fact: Option<(String, String)>,
}

impl Door {
    async fn open(file: &ShelfFile, history: &Path, clock: &dyn Clock) -> Result<Self, RunError> {
        let web = &file.web;
        let (key, fact) = link_key(history)?;
        let local = match &web.tls {
            None if web.proxy.is_none() => None,
            _ => {
                let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
                Some(TcpListener::bind(listen).await.map_err(|why| RunError::Page { listen, why })?)
            }
        };
        let access = Access::load(web, &key)?.kept_beside(history, &key, clock);
        Ok(Self { tls: tls::config(web)?, local, access, key, fact })
    }
}

/// The way to the broker.
pub(crate) struct Line {
    host: String,
    port: u16,
    login: Option<(String, String)>,
}

impl Line {
    /// The way to the daemon's own broker where a daemon runs already, as whoever `login` is.
    pub(crate) fn beside(file: &ShelfFile, login: Option<(String, String)>) -> Self {
        let at = match &file.broker.way {
            BrokerWay::Embedded { listen, .. } => reachable(*listen),
            BrokerWay::Outside { host, port, .. } => return Self { host: host.clone(), port: *port, login },
        };
        Self { host: at.ip().to_string(), port: at.port(), login }
    }

    pub(crate) fn address(&self) -> String {
        if self.host.contains(':') {
            format!("[{}]:{}", self.host, self.port)
        } else {
            format!("{}:{}", self.host, self.port)
        }
    }

    pub(crate) fn settings(&self, file: &ShelfFile) -> IntakeSettings {
        let mut also: Vec<String> = file.mappings.iter().map(|mapping| mapping.topic.clone()).collect();
        also.extend(acting(file).map(|from| match from {
            Some(name) => format!("{}/{name}/{ACT}", file.broker.prefix),
            None => format!("{}/+/{ACT}", file.broker.prefix),
        }));
        also.sort_unstable();
        also.dedup();
        IntakeSettings {
            host: self.host.clone(),
            port: self.port,
            login: self.login.clone(),
            client_id: file.broker.client_id.clone(),
            prefix: file.broker.prefix.clone(),
            also,
            keep_alive: IntakeSettings::KEEP_ALIVE,
        }
    }
}

/// Opens everything that can be refused, history first: its lock tells whether another daemon runs.
pub(super) async fn open(file: &Arc<ShelfFile>, clock: Arc<dyn Clock>) -> Result<Opened, RunError> {
    let mats = mats(file)?;
    let (path, now) = (file.history.path.clone(), clock.now());
    let opened = blocking(move || Store::open(&path, now)).await?.map_err(RunError::History)?;
    let history::Opened { store, report } = opened;
    let mut clear = BTreeSet::new();
    if let Some(damaged) = &report.damaged {
        tracing::error!("{damaged}");
        aside!("{damaged}");
        let sources = file.shelf.nests.iter().flat_map(|nest| nest.probes.iter().map(|probe| &probe.source));
        clear.extend(sources.filter_map(|source| Some(source.rsplit_once(':')?.0.to_owned())));
    }
    let set_aside = report.damaged.as_ref().map(|history::SetAside { path, saved, .. }| {
        say!("failed-set-aside", path = path.display().to_string(), saved = saved.to_string())
    });
    let history = store.path().to_owned();
    let receipts = store.standing_receipts();
    let listener = TcpListener::bind(file.web.listen).await;
    let no_page = |why| RunError::Page { listen: file.web.listen, why };
    let listener = listener.map_err(no_page)?;
    let page = listener.local_addr().map_err(no_page)?;
    let door = Door::open(file, &history, clock.as_ref()).await?;
    let (broker, line) = reach_broker(file).await?;
    let restored = restore(file, &history, Arc::clone(&clock)).await?;
    let settings = history::Settings {
        commit_every: Duration::from_millis(u64::try_from(file.history.commit.ms()).unwrap_or(1000)),
        keep: history::Keep {
            max_bytes: file.history.max_mb.map(|mb| u64::from(mb) * 1_000_000),
            max_days: file.history.max_days,
        },
        ..history::Settings::default()
    };
    let monotonic = move || Duration::from_millis(u64::try_from(clock.monotonic().ms()).unwrap_or(0));
    let writer = Writer::start(store, settings, Arc::new(monotonic)).map_err(RunError::Thread)?;
    Ok(Opened {
        writer: Arc::new(writer),
        history,
        restored,
        listener,
        page,
        broker,
        line,
        receipts,
        mats,
        clear,
        set_aside,
        door,
    })
}

/// Whether the files that the shelf file names can be used: users, passwords, keys, certificate, the mirror's token.
/// What is not there yet is left to the advice of `check`.
///
/// # Errors
/// As `run` would refuse the first that cannot be used.
pub(crate) async fn look(file: &ShelfFile) -> Result<(), RunError> {
    let web = &file.web;
    match &file.broker.way {
        BrokerWay::Embedded { users_file: Some(path), .. } if path.exists() => {
            drop(broker::read_users(path, &file.broker.prefix).await?);
        }
        BrokerWay::Outside { password_file: Some(path), .. } if path.exists() => drop(password(path)?),
        BrokerWay::Embedded { .. } | BrokerWay::Outside { .. } => {}
    }
    if web.password_file.as_deref().is_none_or(Path::exists) {
        drop(Access::load(web, &[0; 32])?);
    }
    if web.tls.as_ref().is_none_or(|(cert, key)| cert.exists() && key.exists()) {
        drop(tls::config(web)?);
    }
    if file.permits.iter().all(|permit| permit.key_file.exists()) {
        drop(mats(file)?);
    }
    match &file.influx {
        Some(influx) if influx.token_file.as_deref().is_none_or(Path::exists) => {
            drop(Mirror::new(influx, file.nests_of_sources())?);
        }
        Some(_) | None => {}
    }
    Ok(())
}

/// The key that signs links, and the fact to be kept where it is new.
type LinkKey = ([u8; 32], Option<(String, String)>);

/// The key that signs links in messages: the one history keeps, or a new one with the fact that is to be kept.
pub(super) fn link_key(history: &Path) -> Result<LinkKey, RunError> {
    let kept = Reader::open(history).and_then(|reader| reader.fact(KEY_FACT)).map_err(RunError::History)?;
    let read = |text: String| URL_SAFE_NO_PAD.decode(text).ok()?.try_into().ok();
    if let Some(key) = kept.and_then(read) {
        return Ok((key, None));
    }
    let key = random::<32>().map_err(|why| RunError::died("start", Some(why)))?;
    Ok((key, Some((KEY_FACT.to_owned(), URL_SAFE_NO_PAD.encode(key)))))
}

async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, RunError> {
    tokio::task::spawn_blocking(work).await.map_err(|error| RunError::died("start", Some(error.to_string())))
}

async fn restore(file: &ShelfFile, history: &Path, clock: Arc<dyn Clock>) -> Result<Restored, RunError> {
    let (shelf, path) = (file.shelf.clone(), history.to_owned());
    let began = clock.monotonic();
    let now = clock.now();
    let restored = blocking(move || Restored::from_history(shelf, &path, now)).await?.map_err(RunError::History)?;
    let took_ms = clock.monotonic().ms() - began.ms();
    tracing::info!(readings = restored.readings, standing = restored.standing.len(), took_ms, "history taken up");
    Ok(restored)
}

pub(crate) async fn reach_broker(file: &ShelfFile) -> Result<(Option<EmbeddedBroker>, Line), RunError> {
    match &file.broker.way {
        BrokerWay::Embedded { listen, users_file } => {
            let settings = BrokerSettings {
                listen: *listen,
                prefix: file.broker.prefix.clone(),
                own_client_id: file.broker.client_id.clone(),
                users_file: users_file.clone(),
            };
            let broker = EmbeddedBroker::start(settings).await?;
            let at = reachable(broker.address());
            let login = Some((broker.login().user.clone(), broker.login().password.clone()));
            Ok((Some(broker), Line { host: at.ip().to_string(), port: at.port(), login }))
        }
        BrokerWay::Outside { host, port, user, password_file, .. } => {
            let password = password_file.as_deref().map(password).transpose()?.unwrap_or_default();
            let login = user.clone().map(|user| (user, password));
            Ok((None, Line { host: host.clone(), port: *port, login }))
        }
    }
}

/// Where a listener is reached from the same machine.
fn reachable(at: SocketAddr) -> SocketAddr {
    let ip = match at.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        ip => ip,
    };
    SocketAddr::new(ip, at.port())
}

/// Reads a password file.
pub(crate) fn password(path: &Path) -> Result<String, RunError> {
    use std::io::Read as _;
    let wrong = |why: String| RunError::Password { path: path.to_owned(), why };
    let file = std::fs::File::open(path).map_err(|error| wrong(error.to_string()))?;
    let mut text = String::new();
    file.take(PASSWORD_MAX).read_to_string(&mut text).map_err(|error| wrong(error.to_string()))?;
    Ok(text.trim_end_matches(['\r', '\n']).to_owned())
}

/// Says every receipt that stands, and takes back those of a history that was damaged.
pub(super) fn say_receipts(publisher: &Publisher, prefix: &str, receipts: &[Receipt], clear: &BTreeSet<String>) {
    for node in clear.iter().filter(|node| receipts.iter().all(|receipt| receipt.node != **node)) {
        if let Err(error) = publisher.state(&pipeline::receipt_topic(prefix, node), Vec::new()) {
            tracing::warn!(%error, node, "an old receipt could not be taken back");
        }
    }
    for receipt in receipts {
        if let Err(error) = pipeline::state_receipt(publisher, prefix, receipt) {
            tracing::warn!(%error, node = receipt.node, "a receipt could not be said again; its node sends again");
        }
    }
}

/// Whose acts upon alarms are taken from the broker: everyone's whom our own broker let in with the right to act
/// (`None`), or those whom the shelf file names.
fn acting(file: &ShelfFile) -> impl Iterator<Item = Option<&str>> {
    let (own, named): (bool, &[String]) = match &file.broker.way {
        BrokerWay::Embedded { users_file, .. } => (users_file.is_some(), &[]),
        BrokerWay::Outside { acts_from, .. } => (false, acts_from),
    };
    own.then_some(None).into_iter().chain(named.iter().map(|name| Some(name.as_str())))
}

pub(super) fn pipeline_settings(file: &ShelfFile, mats: Vec<Mat>) -> pipeline::Settings {
    let nodes_own_topics = matches!(&file.broker.way, BrokerWay::Embedded { users_file: Some(_), .. });
    let (prefix, mappings) = (file.broker.prefix.clone(), file.mappings.clone());
    let in_force = file.text.clone();
    let acting = acting(file).map(|name| name.map(str::to_owned)).collect();
    pipeline::Settings { prefix, mappings, nodes_own_topics, mats, acting, in_force, ..pipeline::Settings::default() }
}

/// Something to look at until the pipeline shows its own.
pub(super) fn first_picture(restored: &Restored, clock: &dyn Clock) -> Snapshot {
    let core = &restored.core;
    Snapshot {
        at: clock.now(),
        started: clock.now(),
        shelf: Arc::new(core.shelf().clone()),
        sources: core.sources().into(),
        nests: Vec::new(),
        alarms: Vec::new(),
        strangers: Vec::new(),
        links: BTreeMap::new(),
        nodes: BTreeMap::new(),
        heat: Vec::new(),
        vitals: Vitals::default(),
    }
}
