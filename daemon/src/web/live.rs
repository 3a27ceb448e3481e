//! Pages that follow: server-sent events (the WHATWG HTML standard, section “Server-sent events”).
use super::App;
use crate::snapshot::Snapshot;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::{Stream, StreamExt as _, stream};
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// Events come no closer than this: a page fetches itself anew at each.
const EVENT_EVERY: Duration = Duration::from_secs(2);
/// A word in between, that a page can hear: without one it says that it has lost the watch.
const WORD_EVERY: Duration = Duration::from_secs(8);

pub(super) async fn events(State(app): State<Arc<App>>) -> Response {
    let Ok(place) = Arc::clone(&app.viewers).try_acquire_owned() else {
        app.counted.viewers_refused.fetch_add(1, Ordering::Relaxed);
        let why = "too many pages follow already; this one works, and asks again now and then\n";
        return (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "60")], why).into_response();
    };
    Sse::new(follow(app.snapshots.clone(), place).take_until(app.stop.clone().cancelled_owned())).into_response()
}

/// One event at once, then one for each new snapshot, and a word where none comes. Without a new one the page grows old,
/// and says so.
fn follow(
    snapshots: watch::Receiver<Arc<Snapshot>>,
    place: OwnedSemaphorePermit,
) -> impl Stream<Item = Result<Event, Infallible>> {
    stream::unfold((snapshots, place, Said::Nothing), |(mut snapshots, place, said)| async move {
        if said == Said::Now {
            tokio::time::sleep(EVENT_EVERY).await;
        }
        if said != Said::Nothing {
            match tokio::time::timeout(WORD_EVERY, snapshots.changed()).await {
                Ok(changed) => changed.ok()?,
                Err(_) => return Some((Ok(Event::default().event("alive").data("")), (snapshots, place, Said::Alive))),
            }
        }
        let at = snapshots.borrow_and_update().at.unix_s();
        Some((Ok(Event::default().event("now").data(at.to_string())), (snapshots, place, Said::Now)))
    })
}

/// What was said last.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    Nothing,
    Now,
    Alive,
}
