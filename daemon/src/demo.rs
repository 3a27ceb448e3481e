//! `warmend demo`: the daemon as it is, over a shelf that exists in memory only.
//!
//! A simulated week is written into a history first, in the way a running daemon would have left it. Then the daemon
//! runs on it, with an embedded broker, and simulated nodes publish to it over real MQTT: numbered packs, kept until
//! their receipt comes. Time runs fast: the daemon is handed a clock that follows the simulation.
mod clock;
mod fault;
mod making;
mod nodes;
mod shelf;
#[cfg(test)]
mod tests;
mod words;

pub use clock::PacedClock;
pub use fault::{FaultWish, FaultWishError};

use crate::clock::{Clock as _, SystemClock};
use crate::history::{self, HistoryError, Reader};
use crate::run::{self, NoticeParts, Outfit, RunError, Task, WebParts};
use crate::shelf_file::{self, ShelfErrors};
use crate::snapshot::TOLD_WAITING;
use enclosure::{Span, Timestamp};
use nodes::Nodes;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, oneshot};
use world::World;

/// Simulated seconds in one second, unless set: a day in four minutes.
pub const SPEED: f64 = 360.0;
/// The slowest and the fastest that can be set.
pub const SPEEDS: std::ops::RangeInclusive<f64> = 0.1..=100_000.0;
/// The history that is made before the daemon starts.
const MADE: Span = Span::from_h(7 * 24);
/// The same story every time.
const SEED: u64 = 20_260_301;

/// What the demonstration is to show.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Simulated seconds in one second, within [`SPEEDS`].
    pub speed: f64,
    /// What goes wrong.
    pub faults: Vec<FaultWish>,
    /// How long it takes, by a clock on the wall; `None`: until it is told to end.
    pub length: Option<Duration>,
    /// Where the pages are.
    pub listen: SocketAddr,
    /// Where shelf file and history are kept; `None`: in a directory that goes away with the demonstration.
    pub dir: Option<PathBuf>,
    /// When the made history ends; `None`: now. The same moment tells the same story.
    pub until: Option<Timestamp>,
}

impl Default for Settings {
    fn default() -> Self {
        let listen = SocketAddr::from(([127, 0, 0, 1], 0));
        Self { speed: SPEED, faults: Vec::new(), length: None, listen, dir: None, until: None }
    }
}

/// Why there is no demonstration.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// It was called wrongly. Exit 2.
    #[error("the speed must lie between {} and {}: simulated seconds in one second", SPEEDS.start(), SPEEDS.end())]
    Speed,
    /// Its directory cannot be made or written. Exit 1.
    #[error("cannot write the demonstration's files in {dir}: {why}; give another --dir")]
    Dir {
        /// The directory.
        dir: PathBuf,
        /// Why not.
        why: std::io::Error,
    },
    /// The shelf file that it made is wrong, which is our own fault. Exit 1.
    #[error("the demonstration's own shelf file is wrong; report this: {0}")]
    Shelf(ShelfErrors),
    /// Its history cannot be made. Exit 1.
    #[error("cannot make the demonstration's history: {0}; give another --dir")]
    Making(String),
    /// Its history cannot be opened. Exit 1.
    #[error(transparent)]
    History(#[from] HistoryError),
    /// The daemon does not run.
    #[error(transparent)]
    Run(#[from] RunError),
}

impl DemoError {
    /// The contract's exit code.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Speed => 2,
            Self::Run(error) => error.exit_code(),
            Self::Dir { .. } | Self::Shelf(_) | Self::Making(_) | Self::History(_) => 1,
        }
    }
}

/// Shows it until `shutdown`, or for as long as it is to take. Pages and messages come from the modules of `run`.
///
/// # Errors
/// [`DemoError`], with its exit code.
pub async fn demo(
    settings: Settings,
    web: impl FnOnce(WebParts) -> Task + Send + 'static,
    notices: impl FnOnce(NoticeParts) -> Task + Send + 'static,
    shutdown: impl Future<Output = ()>,
) -> Result<(), DemoError> {
    if !SPEEDS.contains(&settings.speed) {
        return Err(DemoError::Speed);
    }
    let place = Place::new(settings.dir.as_deref())?;
    let stop = async {
        match settings.length {
            Some(length) => tokio::select! {
                () = tokio::time::sleep(length) => {}
                () = shutdown => {}
            },
            None => shutdown.await,
        }
    };
    tokio::pin!(stop);
    words::greet(&settings);
    let made = tokio::select! {
        made = make(&settings, place.dir.clone()) => made?,
        () = &mut stop => return Ok(()),
    };
    let clock = Arc::new(PacedClock::new(made.until, settings.speed));
    let mut outfit = Outfit::new(web, narrated(notices));
    outfit.clock = Arc::clone(&clock) as _;
    let (opened, open) = oneshot::channel();
    outfit.open = Some(Box::new(|at| {
        // If it ended meanwhile, nobody waits for it.
        let _ = opened.send(at);
    }));
    let mut nodes = Nodes::new(made.world, clock, &settings);
    let living = async {
        match open.await {
            Ok(run::Open { broker: Some(broker), .. }) => nodes.live(broker).await,
            _ => std::future::pending().await,
        }
    };
    let daemon = run::run(made.file, outfit, stop);
    tokio::pin!(daemon, living);
    tokio::select! {
        ended = &mut daemon => ended?,
        // The simulation never ends by itself.
        () = &mut living => {}
    }
    Ok(())
}

/// The shelf, and the moment until which its history reaches.
struct Made {
    file: shelf_file::ShelfFile,
    world: World,
    until: Timestamp,
}

async fn make(settings: &Settings, dir: PathBuf) -> Result<Made, DemoError> {
    let settings = settings.clone();
    let made = tokio::task::spawn_blocking(move || make_blocking(&settings, &dir)).await;
    made.map_err(|error| DemoError::Making(error.to_string()))?
}

fn make_blocking(settings: &Settings, dir: &Path) -> Result<Made, DemoError> {
    let now = settings.until.unwrap_or_else(|| SystemClock::new().now());
    let path = dir.join("warmend.db");
    // A demonstration of before goes on where it ended, without the night between.
    let before = if path.exists() { Reader::open(&path)?.fact("watched_until")? } else { None };
    let before = before.and_then(|ms| ms.parse().ok()).map(Timestamp::from_unix_ms);
    let begin = before.unwrap_or_else(|| now.minus(MADE));
    let until = before.unwrap_or(now);
    let spec = shelf::spec(begin, &settings.faults, until);
    let text = shelf::text(&spec, settings.listen);
    let place = dir.join("shelf.toml");
    let failed = |why| DemoError::Dir { dir: dir.to_owned(), why };
    std::fs::write(&place, &text).map_err(failed)?;
    let (file, _) = shelf_file::check_text(&text, &place, std::iter::empty()).map_err(DemoError::Shelf)?;
    let mut world = World::new(&spec, SEED);
    if before.is_none() {
        let history::Opened { mut store, .. } = history::Store::open(&path, now)?;
        making::make(&file.shelf, &mut world, &mut store, begin..until).map_err(DemoError::Making)?;
    }
    Ok(Made { file, world, until })
}

/// Says each change in a line before it goes to whoever sends messages.
fn narrated(
    notices: impl FnOnce(NoticeParts) -> Task + Send + 'static,
) -> impl FnOnce(NoticeParts) -> Task + Send + 'static {
    |parts| {
        let (told, out) = mpsc::channel(TOLD_WAITING);
        let NoticeParts { told: mut changes, .. } = parts;
        let inner = notices(NoticeParts { told: out, ..parts });
        Box::pin(async move {
            let narrate = async {
                while let Some(change) = changes.recv().await {
                    words::narrate(&change);
                    // Who sends messages may have ended already.
                    drop(told.send(change).await);
                }
                drop(told);
                std::future::pending().await
            };
            tokio::select! {
                ended = inner => ended,
                never = narrate => never,
            }
        })
    }
}

/// Where the files lie.
struct Place {
    dir: PathBuf,
    is_ours: bool,
}

impl Place {
    fn new(wanted: Option<&Path>) -> Result<Self, DemoError> {
        let own = || std::env::temp_dir().join(format!("warmend-demo-{}", std::process::id()));
        let dir = wanted.map_or_else(own, Path::to_owned);
        std::fs::create_dir_all(&dir).map_err(|why| DemoError::Dir { dir: dir.clone(), why })?;
        Ok(Self { dir, is_ours: wanted.is_none() })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        if self.is_ours {
            // What is left of it is the system's to clear.
            drop(std::fs::remove_dir_all(&self.dir));
        }
    }
}
