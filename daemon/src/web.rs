//! The pages, and the same for machines: everything that is served over HTTP.
//!
//! - Nothing here can hold up the pipeline: it reads snapshots, hands acts over a bounded queue, and reads history
//!   through readers of its own, [`HISTORY_READS_MAX`] at once, on blocking threads.
//! - Everything is bounded: connections, requests at once, viewers, bodies, time, and how long a span may be.
//! - Where the shelf file names a password, acting needs a login, and looking unless it is opened (`access`). What a
//!   foreign page makes a browser send is refused (`guard`).
pub mod access;
pub(crate) mod acts;
mod answers;
mod guard;
mod health;
mod json;
mod line;
mod live;
mod metrics;
mod packed;
mod pages;
mod places;
mod plans;
mod rooms;
mod spans;
pub mod tls;
mod weeks;

#[cfg(test)]
mod rooms_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod words_tests;

pub use access::Access;
pub use health::{Health, Pulse};

use crate::clock::Clock;
use crate::notices::Answering;
use crate::run::WebParts;
use crate::snapshot::{Act, Snapshot};
use crate::views::hours::Hours;
use crate::views::itself::WATCH_PATH;
use crate::views::login::LOGIN_PATH;
use crate::views::nodes::NODES_PATH;
use crate::views::notebook::NOTES_PATH;
use crate::views::now::{ALARMS_PATH, part_url};
use crate::views::start::START_PATH;
use crate::views::story::STORY_PATH;
use anyhow::Context as _;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{get, post};
use enclosure::Timestamp;
use std::future::IntoFuture as _;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;
use tokio::sync::{Semaphore, mpsc, watch};
use tokio_util::sync::CancellationToken;

/// Connections open at once; more wait to be accepted.
pub const CONNECTIONS_MAX: usize = 256;
/// Requests answered at once; more are told to come back.
pub const REQUESTS_MAX: usize = 64;
/// Pages that follow live at once; more are told to come back (they work, without following).
pub const VIEWERS_MAX: usize = 96;
/// Spans of history read at once, each on a thread of its own.
pub const HISTORY_READS_MAX: usize = 2;
/// Largest body of a request, bytes.
pub const BODY_BYTES_MAX: usize = 16 * 1024;
/// Longest time for an answer.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(30);
/// Open connections get this long to end when the daemon stops.
const STOP_WITHIN: Duration = Duration::from_secs(3);

/// What every request may use.
pub(crate) struct App {
    snapshots: watch::Receiver<Arc<Snapshot>>,
    acts: mpsc::Sender<Act>,
    history: PathBuf,
    clock: Arc<dyn Clock>,
    answering: Arc<Answering>,
    /// The name by which the keeper says that telephones reach the pages.
    host: Option<String>,
    hours: Hours,
    places: places::Places,
    access: Access,
    pulse: Arc<Pulse>,
    reads: Arc<Semaphore>,
    viewers: Arc<Semaphore>,
    requests: Semaphore,
    weeks: weeks::Weeks,
    day: metrics::Day,
    drawn: live::Drawn,
    counted: Counted,
    stop: CancellationToken,
}

/// What the pages count of themselves.
#[derive(Debug, Default)]
pub(crate) struct Counted {
    /// Requests that arrived.
    pub(crate) requests: AtomicU64,
    /// Requests refused by the guard.
    pub(crate) refused: AtomicU64,
    /// Requests sent away for lack of room, or that took too long.
    pub(crate) busy: AtomicU64,
    /// Pages that could not follow for lack of room.
    pub(crate) viewers_refused: AtomicU64,
}

impl App {
    pub(crate) fn new(
        snapshots: watch::Receiver<Arc<Snapshot>>,
        acts: mpsc::Sender<Act>,
        (history, hours, places): (PathBuf, Hours, places::Places),
        (clock, answering, access): (Arc<dyn Clock>, Arc<Answering>, Access),
        stop: CancellationToken,
    ) -> Arc<Self> {
        Arc::new(Self {
            snapshots,
            acts,
            history,
            clock,
            host: answering.host(),
            answering,
            hours,
            places,
            access,
            pulse: Arc::default(),
            reads: Arc::new(Semaphore::new(HISTORY_READS_MAX)),
            viewers: Arc::new(Semaphore::new(VIEWERS_MAX)),
            requests: Semaphore::new(REQUESTS_MAX),
            weeks: weeks::Weeks::default(),
            day: metrics::Day::default(),
            drawn: live::Drawn::default(),
            counted: Counted::default(),
            stop,
        })
    }

    fn snapshot(&self) -> Arc<Snapshot> {
        Arc::clone(&self.snapshots.borrow())
    }

    fn now(&self) -> Timestamp {
        self.clock.now()
    }
}

/// Every address.
pub(crate) fn router(app: Arc<App>) -> Router {
    Router::new()
        .route("/", get(pages::now))
        .route(dashboards::FRAGMENT_PATH, get(pages::fragment))
        .route("/nest/{id}", get(pages::nest))
        .route(&part_url("/nest/{id}"), get(pages::nest_part))
        .route("/nest/{id}/{file}", get(pages::picture))
        .route(ALARMS_PATH, get(pages::alarms))
        .route(&part_url(ALARMS_PATH), get(pages::alarms_part))
        .route(dashboards::STYLE_PATH, get(pages::style))
        .route(dashboards::LIVE_PATH, get(pages::script))
        .route(dashboards::SPAN_SCRIPT_PATH, get(pages::span_script))
        .route(dashboards::EVENTS_PATH, get(live::events))
        .route(dashboards::PLAN_PATH, get(plans::page))
        .route(dashboards::PLAN_FRAGMENT_PATH, get(plans::fragment))
        .route(dashboards::PLAN_SCRIPT_PATH, get(plans::script))
        .route("/now.json", get(json::now))
        .route("/alarms.json", get(json::alarms))
        .route("/notes.json", get(json::notes))
        .route("/health", get(health::health))
        .route("/metrics", get(metrics::metrics))
        .route(STORY_PATH, get(rooms::alarm).post(acts::alarm_form))
        .route(&part_url(STORY_PATH), get(rooms::alarm_part))
        .route(NODES_PATH, get(rooms::nodes))
        .route(&part_url(NODES_PATH), get(rooms::nodes_part))
        .route(NOTES_PATH, get(rooms::notes))
        .route(&part_url(NOTES_PATH), get(rooms::notes_part))
        .route(WATCH_PATH, get(rooms::watch).post(rooms::tried))
        .route(&part_url(WATCH_PATH), get(rooms::watch_part))
        .route(START_PATH, get(rooms::start))
        .route(LOGIN_PATH, get(access::ask).post(access::enter))
        .route("/note", post(acts::note_form))
        .route("/act", post(acts::act_json))
        .route("/answer/{token}", get(answers::ask).post(answers::act))
        .route("/ways.json", get(answers::ways))
        .route("/ways/test", post(answers::test))
        .route("/ways/seen", post(answers::seen))
        .route("/heartbeat/{shelf}", get(answers::life))
        .fallback(pages::missing)
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
        .layer(from_fn_with_state(Arc::clone(&app), access::check))
        .layer(from_fn_with_state(Arc::clone(&app), guard::check))
        .layer(from_fn_with_state(Arc::clone(&app), guard::limit))
        .layer(from_fn(guard::headers))
        .layer(from_fn(packed::pack))
        .with_state(app)
}

/// Serves the pages until `stop`.
///
/// # Errors
/// If the listener fails for good.
pub async fn serve(parts: WebParts) -> anyhow::Result<()> {
    let WebParts { listener, tls, local, access, snapshots, acts, history, file, answering, clock, stop } = parts;
    let known = (history, Hours::system(), places::Places::of_file(&file));
    let app = App::new(snapshots, acts, known, (clock, answering, access), stop.clone());
    serve_app(line::Line::new(listener, tls), local.map(|listener| line::Line::new(listener, None)), app, stop).await
}

/// Serves on `line`, and on `local`, where the command line comes in when `line` is not for it.
async fn serve_app(
    line: line::Line,
    local: Option<line::Line>,
    app: Arc<App>,
    stop: CancellationToken,
) -> anyhow::Result<()> {
    let feeling = tokio::spawn(health::feel(Arc::clone(&app.pulse), app.snapshots.clone(), stop.clone()));
    let answers = router(app).into_make_service_with_connect_info::<access::Peer>();
    let serving = axum::serve(line, answers.clone()).with_graceful_shutdown(stop.clone().cancelled_owned());
    let beside = async {
        match local {
            Some(local) => axum::serve(local, answers).with_graceful_shutdown(stop.clone().cancelled_owned()).await,
            None => Ok(()),
        }
    };
    let both = async {
        let (one, other) = tokio::join!(serving.into_future(), beside);
        one.and(other)
    };
    let late = async {
        stop.cancelled().await;
        tokio::time::sleep(STOP_WITHIN).await;
    };
    let ended = tokio::select! {
        ended = both => ended.context("serving the pages: the listener failed; start again, and look at [web] listen"),
        () = late => Ok(()),
    };
    feeling.abort();
    ended
}
