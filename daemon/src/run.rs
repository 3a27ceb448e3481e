//! `warmend run`: puts the parts together, watches over them, and takes them apart again in order.
//!
//! Start: history (its lock says whether another daemon runs), the pages' port, the broker, the core as history left
//! it, then the tasks. Stop: the pipeline takes in what arrived and commits, messages and pages end, the client says
//! the last receipts, the broker closes.
mod files;
mod front;
mod starting;
#[cfg(test)]
pub(crate) mod tests;

pub use starting::RunError;
pub(crate) use starting::{Line, look, password, reach_broker};

use crate::broker::EmbeddedBroker;
use crate::clock::{Clock, SystemClock};
use crate::intake::{Inbox, Intake, Link, Publisher};
use crate::mirror::{self, Mirror};
use crate::notices::Answering;
use crate::pipeline::{Parts, Pipeline};
use crate::shelf_file::ShelfFile;
use crate::snapshot::{ACTS_WAITING, Act, SENT_WAITING, Sent, Snapshot, TOLD_WAITING, Told};
use crate::supervise::{Crew, Ended};
use crate::web::Access;
use front::Front;
use rustls::ServerConfig;
use starting::Opened;
use std::io::Write as _;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// How long stopping may take in all.
pub const STOP_WITHIN: Duration = Duration::from_secs(10);
/// How long pages and messages may take to end.
const CREW_STOPS_WITHIN: Duration = Duration::from_secs(3);

/// How long the mirror may take to say how far it has come.
const MIRROR_STOPS_WITHIN: Duration = Duration::from_secs(2);

/// The fact in history under which stands where the pages are, for commands that ask a running daemon.
pub const PAGE_FACT: &str = "page";
/// The fact under which stands where the command line comes in, where the pages' own address is not for it; else empty.
pub const LOCAL_FACT: &str = "page_local";

/// A task of another module.
pub type Task = Pin<Box<dyn Future<Output = anyhow::Result<()>> + Send>>;

/// What the pages need. The task ends soon after `stop`.
#[derive(Debug)]
pub struct WebParts {
    /// Open already.
    pub listener: TcpListener,
    /// What makes its connections secret.
    pub tls: Option<Arc<ServerConfig>>,
    /// Open on loopback for the command line, where the other is not for it.
    pub local: Option<TcpListener>,
    /// Who may look and act.
    pub access: Access,
    /// How everything stands.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// What keepers do.
    pub acts: mpsc::Sender<Act>,
    /// The history, for [`crate::history::Reader`].
    pub history: PathBuf,
    /// The shelf file, for plugs and place.
    pub file: Arc<ShelfFile>,
    /// What people do with messages.
    pub answering: Arc<Answering>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// Says when to end.
    pub stop: CancellationToken,
}

/// What sending messages needs. The task ends soon after `told` has ended or `stop` is said.
#[derive(Debug)]
pub struct NoticeParts {
    /// Every change of an alarm, once stored; see [`Told`].
    pub told: mpsc::Receiver<Told>,
    /// What became of each attempt.
    pub sent: mpsc::Sender<Sent>,
    /// How everything stands.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// For messages over MQTT.
    pub publisher: Publisher,
    /// The ways out.
    pub file: Arc<ShelfFile>,
    /// What people do with messages.
    pub answering: Arc<Answering>,
    /// For what is found out outside: a second watch that is missed.
    pub acts: mpsc::Sender<Act>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// Says when to end.
    pub stop: CancellationToken,
}

/// The parts that other modules bring.
pub struct Outfit {
    /// Serves the pages.
    pub web: Box<dyn FnOnce(WebParts) -> Task + Send>,
    /// Sends messages; knows what was told and proved before as soon as it has been called.
    pub notices: Box<dyn FnOnce(NoticeParts) -> Task + Send>,
    /// The time; [`Outfit::new`] takes the machine's.
    pub clock: Arc<dyn Clock>,
    /// Hears the addresses once all is open, before they are printed.
    pub open: Option<Box<dyn FnOnce(Open) + Send>>,
}

/// Where everything is to be found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Open {
    /// The embedded broker, if it is ours.
    pub broker: Option<SocketAddr>,
    /// The pages.
    pub page: SocketAddr,
}

impl std::fmt::Debug for Outfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Outfit").field("clock", &self.clock).finish_non_exhaustive()
    }
}

impl Outfit {
    /// Pages and messages by these modules, and the machine's clock.
    pub fn new(
        web: impl FnOnce(WebParts) -> Task + Send + 'static,
        notices: impl FnOnce(NoticeParts) -> Task + Send + 'static,
    ) -> Self {
        Self { web: Box::new(web), notices: Box::new(notices), clock: Arc::new(SystemClock::new()), open: None }
    }
}

/// What a hangup (SIGHUP) means: the terminal was closed, or somebody wants the shelf file read again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hangup {
    /// What the system makes of it, mostly the end.
    Ends,
    /// Nothing but a line in the log: neither is a reason to stop watching.
    IsSaid,
}

/// Ends on SIGINT or SIGTERM.
///
/// # Errors
/// If the system lets no signal be heard.
pub async fn signalled(hangup: Hangup) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let (mut int, mut term) = (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?);
        let mut hung_up = match hangup {
            Hangup::Ends => None,
            Hangup::IsSaid => Some(signal(SignalKind::hangup())?),
        };
        let mut next_hangup = async || match &mut hung_up {
            Some(signal) => signal.recv().await,
            None => std::future::pending().await,
        };
        loop {
            tokio::select! {
                _ = int.recv() => return Ok(()),
                _ = term.recv() => return Ok(()),
                _ = next_hangup() => tracing::warn!(
                    "hung up (SIGHUP): the watch goes on. A changed shelf file is read at a start: stop with SIGTERM, \
                     start again"
                ),
            }
        }
    }
    #[cfg(not(unix))]
    {
        let _ = hangup;
        tokio::signal::ctrl_c().await
    }
}

/// Runs the daemon until `shutdown` ends, or a part of it dies.
///
/// # Errors
/// [`RunError`], with its exit code.
pub async fn run(file: ShelfFile, outfit: Outfit, shutdown: impl Future<Output = ()>) -> Result<(), RunError> {
    files::look();
    let file = Arc::new(file);
    let mirror = file.influx.as_ref().map(|influx| Mirror::new(influx, file.nests_of_sources())).transpose()?;
    let opened = starting::open(&file, Arc::clone(&outfit.clock)).await?;
    let mut running = Running::start(&file, outfit, opened, mirror)?;
    tokio::pin!(shutdown);
    let died = tokio::select! {
        () = &mut shutdown => None,
        died = running.until_death() => Some(died),
    };
    notify(sd_notify::NotifyState::Stopping);
    if tokio::time::timeout(STOP_WITHIN, running.stop()).await.is_err() {
        tracing::warn!("stopping took longer than {STOP_WITHIN:?}; what was not finished is cut off");
    }
    tracing::info!("stopped");
    died.map_or(Ok(()), Err)
}

/// Tells systemd, where it listens.
fn notify(state: sd_notify::NotifyState<'_>) {
    // Without systemd there is nobody to tell.
    drop(sd_notify::notify(&[state]));
}

/// Proof of life, once a second, from within the pipeline's loop.
fn pulse() {
    notify(sd_notify::NotifyState::Watchdog);
}

/// Everything that runs.
struct Running {
    line: Line,
    broker: Option<EmbeddedBroker>,
    intake: Intake,
    /// The messages' end, once the pipeline has left it.
    left: oneshot::Receiver<Inbox>,
    pipeline: Crew,
    crew: Crew,
    page: SocketAddr,
    scheme: &'static str,
    open: Option<Box<dyn FnOnce(Open) + Send>>,
    /// No part of the watch: it may end or fall over as it likes.
    mirroring: Option<JoinHandle<()>>,
    stop_mirror: CancellationToken,
    stop_pipeline: CancellationToken,
    stop_crew: CancellationToken,
}

impl Running {
    fn start(file: &Arc<ShelfFile>, outfit: Outfit, opened: Opened, mirror: Option<Mirror>) -> Result<Self, RunError> {
        let Opened { writer, history, restored, listener, page, broker, line, receipts, mats, clear, set_aside, door } =
            opened;
        let starting::Door { tls, local, access, key, fact } = door;
        let Outfit { web, notices, clock, open } = outfit;
        let (intake, inbox) = Intake::start(line.settings(file), Arc::clone(&clock));
        let publisher = intake.publisher();
        starting::say_receipts(&publisher, &file.broker.prefix, &receipts, &clear);
        let (acts_in, acts) = mpsc::channel(ACTS_WAITING);
        let (told, told_out) = mpsc::channel(TOLD_WAITING);
        let (sent_in, sent) = mpsc::channel(SENT_WAITING);
        let (snapshots, seen) = watch::channel(Arc::new(starting::first_picture(&restored, clock.as_ref())));
        let mut settings = starting::pipeline_settings(file, mats);
        settings.pulse = Some(pulse);
        settings.set_aside = set_aside;
        settings.facts.push((PAGE_FACT.to_owned(), page.to_string()));
        let beside = local.as_ref().and_then(|listener| listener.local_addr().ok());
        settings.facts.push((LOCAL_FACT.to_owned(), beside.map(|at| at.to_string()).unwrap_or_default()));
        let scheme = if tls.is_some() { "https" } else { "http" };
        settings.facts.extend(fact);
        let answering = Answering::new(key, file, page, Arc::clone(&clock));
        settings.answering = Some(Arc::clone(&answering));
        let front = Front {
            snapshots: seen,
            acts: acts_in,
            history,
            file: Arc::clone(file),
            answering,
            clock,
            stop: CancellationToken::new(),
        };
        let stop_mirror = CancellationToken::new();
        let mirroring = mirror.map(|mirror| {
            settings.mirror = Some(mirror.counts());
            mirror::keep_up(mirror, front.mirror(&writer, &stop_mirror))
        });
        let acker = intake.acker();
        let link = intake.link();
        let (leave, left) = oneshot::channel();
        let pipeline = Pipeline::new(Parts {
            restored,
            writer,
            history: front.history.clone(),
            inbox,
            leave,
            acker,
            publisher: publisher.clone(),
            link,
            acts,
            told,
            sent,
            snapshots,
            clock: Arc::clone(&front.clock),
            settings,
        });
        let stop_pipeline = CancellationToken::new();
        let mut core = Crew::new();
        core.start("pipeline", pipeline.run(stop_pipeline.clone()));
        let mut crew = Crew::new();
        // What was told and proved before is taken up here, and not by the task: no page answers without it.
        let telling = notices(front.notices((told_out, sent_in), publisher));
        crew.start("web", web(front.web(listener, (tls, local, access))));
        crew.start("notices", telling);
        let (pipeline, stop_crew) = (core, front.stop);
        Ok(Self {
            line,
            broker,
            intake,
            left,
            pipeline,
            crew,
            page,
            scheme,
            open,
            mirroring,
            stop_mirror,
            stop_pipeline,
            stop_crew,
        })
    }

    /// Says where everything is, once it is open, and waits until a part dies.
    async fn until_death(&mut self) -> RunError {
        let mut link = self.intake.link();
        let embedded = self.broker.is_some();
        if !embedded {
            // A broker elsewhere may take its time; the pages say so.
            notify(sd_notify::NotifyState::Ready);
        }
        let mut said = false;
        loop {
            let broker = async {
                match &mut self.broker {
                    Some(broker) => broker.ended().await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                Ok(_) = link.wait_for(|link| matches!(link, Link::Connected { .. })), if !said => {
                    said = true;
                    self.announce();
                    notify(sd_notify::NotifyState::Ready);
                }
                error = broker => return RunError::Broker(error),
                () = self.intake.ended() => return RunError::died("intake", None),
                Ended { name, why } = self.pipeline.next_end() => return RunError::died(name, why),
                Ended { name, why } = self.crew.next_end() => return RunError::died(name, why),
            }
        }
    }

    fn announce(&mut self) {
        if let Some(open) = self.open.take() {
            open(Open { broker: self.broker.as_ref().map(EmbeddedBroker::address), page: self.page });
        }
        let text = format!("broker mqtt://{}\npage {}://{}/\n", self.line.address(), self.scheme, self.page);
        let mut out = std::io::stdout().lock();
        // Whoever started it may have closed the pipe; the log says it too.
        drop(out.write_all(text.as_bytes()).and_then(|()| out.flush()));
        tracing::info!(broker = self.line.address(), page = %self.page, "open");
    }

    async fn stop(mut self) {
        self.stop_mirror.cancel();
        if let Some(mirroring) = self.mirroring.take() {
            // What it does not send now is in history all the same.
            drop(tokio::time::timeout(MIRROR_STOPS_WITHIN, mirroring).await);
        }
        self.stop_pipeline.cancel();
        self.pipeline.all_end().await;
        self.stop_crew.cancel();
        if tokio::time::timeout(CREW_STOPS_WITHIN, self.crew.all_end()).await.is_err() {
            tracing::warn!("pages or messages took too long to end; they are cut off");
        }
        drop(self.crew);
        let _open = self.left.try_recv();
        self.intake.stop().await;
        if let Some(broker) = self.broker {
            broker.stop().await;
        }
    }
}
