//! Pages that follow: server-sent events (the WHATWG HTML standard, section “Server-sent events”).
use super::App;
use crate::snapshot::Snapshot;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::{Stream, StreamExt as _, stream};
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// Events come no closer than this: a page fetches itself anew at each.
const EVENT_EVERY: Duration = Duration::from_secs(2);
/// A word in between, so that the connection is seen to live.
const WORD_EVERY: Duration = Duration::from_secs(15);

pub(super) async fn events(State(app): State<Arc<App>>) -> Response {
    let Ok(place) = Arc::clone(&app.viewers).try_acquire_owned() else {
        app.counted.busy.fetch_add(1, Ordering::Relaxed);
        let why = "too many pages follow already; this one works, but shows nothing new by itself\n";
        return (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "60")], why).into_response();
    };
    let follow = follow(app.snapshots.clone(), place).take_until(app.stop.clone().cancelled_owned());
    Sse::new(follow).keep_alive(KeepAlive::new().interval(WORD_EVERY)).into_response()
}

/// One event at once, then one for each new snapshot. None without a new one: then the page grows old, and says so.
fn follow(
    snapshots: watch::Receiver<Arc<Snapshot>>,
    place: OwnedSemaphorePermit,
) -> impl Stream<Item = Result<Event, Infallible>> {
    stream::unfold((snapshots, place, true), |(mut snapshots, place, first)| async move {
        if !first {
            tokio::time::sleep(EVENT_EVERY).await;
            snapshots.changed().await.ok()?;
        }
        let at = snapshots.borrow_and_update().at.unix_s();
        Some((Ok(Event::default().event("now").data(at.to_string())), (snapshots, place, false)))
    })
}
