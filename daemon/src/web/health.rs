//! Whether the watch itself is well: `GET /health`.
use super::App;
use crate::snapshot::Snapshot;
use crate::times::length;
use crate::views::words::clauses;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use dashboards::say;
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};
use std::time::Duration;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

/// Time without a new snapshot after which the pipeline counts as stopped: it makes one a minute at least.
const STILL_AFTER: Duration = Duration::from_secs(240);

/// Whether the pipeline still shows signs of life, by a timer that no set clock disturbs.
#[derive(Debug, Default)]
pub struct Pulse(AtomicU8);

const BEATS: u8 = 0;
const STILL: u8 = 1;
const ENDED: u8 = 2;

impl Pulse {
    /// Why the newest snapshot is no picture of now, if it is none.
    pub fn stalled(&self) -> Option<String> {
        match self.0.load(Ordering::Relaxed) {
            BEATS => None,
            STILL => Some(say!("health-still")),
            _ => Some(say!("health-ended")),
        }
    }

    fn set(&self, to: u8) {
        self.0.store(to, Ordering::Relaxed);
    }
}

/// Feels the pulse until `stop`.
pub(super) async fn feel(pulse: Arc<Pulse>, mut snapshots: watch::Receiver<Arc<Snapshot>>, stop: CancellationToken) {
    loop {
        let felt = tokio::select! {
            () = stop.cancelled() => return,
            felt = tokio::time::timeout(STILL_AFTER, snapshots.changed()) => felt,
        };
        match felt {
            Ok(Ok(())) => pulse.set(BEATS),
            Ok(Err(_)) => return pulse.set(ENDED),
            Err(_) => pulse.set(STILL),
        }
    }
}

/// What `/health` says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Health {
    /// Whether readings are judged and history is written.
    pub well: bool,
    /// Why, one sentence.
    pub why: String,
}

impl Health {
    /// The verdict over a snapshot, by the snapshot's own time; `stalled` says that it is no picture of now.
    pub fn of(snap: &Snapshot, stalled: Option<String>) -> Self {
        let ill = |why: String| Self { well: false, why };
        let patience = snap.shelf.alarms.silent_at_least;
        if let Some(why) = stalled {
            return ill(say!("health-stalled", why = why));
        }
        if let Some(why) = &snap.vitals.history_failing {
            return ill(say!("health-history-failing", why = why));
        }
        if snap.shelf.nests.is_empty() {
            return ill(say!("health-no-nest"));
        }
        let broker = snap.vitals.broker_lost.as_ref().map(|why| say!("health-broker-lost", why = why));
        let also = |said: String| clauses([said].into_iter().chain(broker));
        match snap.vitals.judged {
            Some(judged) if snap.at.since(judged) > patience => {
                ill(also(say!("health-old", age = length(snap.at.since(judged)))))
            }
            Some(_) => Self { well: true, why: also(say!("health-good")) },
            None if snap.at.since(snap.started) > patience => {
                ill(also(say!("health-nothing-heard", age = length(snap.at.since(snap.started)))))
            }
            None => Self { well: true, why: also(say!("health-waiting")) },
        }
    }
}

pub(super) async fn health(State(app): State<Arc<App>>) -> Response {
    let health = Health::of(&app.snapshot(), app.pulse.stalled());
    let status = if health.well { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    (status, health.why + "\n").into_response()
}
