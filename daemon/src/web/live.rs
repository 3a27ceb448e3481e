//! Pages that follow: server-sent events (the WHATWG HTML standard, section “Server-sent events”).
use super::App;
use crate::snapshot::{Snapshot, StandingAlarm};
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::sse::{Event, Sse};
use axum::response::{Html, IntoResponse, Response};
use dashboards::say;
use enclosure::Span;
use futures_util::{Stream, StreamExt as _, stream};
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// Events come no closer than this, but for alarms: a page fetches itself anew at each.
const EVENT_EVERY: Duration = Duration::from_secs(2);
/// Even where alarms come and go. A page that is drawn serves for so long; the ages on it are off by as much.
const ALARM_EVERY: Duration = Duration::from_millis(250);
const DRAWN_FOR: Span = Span::from_s(1);
/// Parts kept as they were drawn: those of all pages, and of so many stories of alarms.
const DRAWN_MAX: usize = 64;
/// A word in between, that a page can hear: without one it says that it has lost the watch.
const WORD_EVERY: Duration = Duration::from_secs(8);

pub(super) async fn events(State(app): State<Arc<App>>) -> Response {
    let Ok(place) = Arc::clone(&app.viewers).try_acquire_owned() else {
        app.counted.viewers_refused.fetch_add(1, Ordering::Relaxed);
        let why = say!("http-followers") + "\n";
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
            rest(&mut snapshots).await?;
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

/// Waits until the next event may be said: readings may wait, a change of an alarm's state does not. `None` if nothing
/// will come any more.
async fn rest(snapshots: &mut watch::Receiver<Arc<Snapshot>>) -> Option<()> {
    let said = Arc::clone(&snapshots.borrow());
    tokio::time::sleep(ALARM_EVERY).await;
    let alarmed = async { snapshots.wait_for(|now| !alike(&now.alarms, &said.alarms)).await.is_ok() };
    if tokio::time::timeout(EVENT_EVERY.saturating_sub(ALARM_EVERY), alarmed).await == Ok(false) {
        return None;
    }
    if !Arc::ptr_eq(&snapshots.borrow(), &said) {
        // It was seen in looking for alarms, but not said yet.
        snapshots.mark_changed();
    }
    Some(())
}

/// Whether a reader would be told the same of them.
fn alike(a: &[StandingAlarm], b: &[StandingAlarm]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.key == b.key && a.state == b.state)
}

/// Parts of pages that follow, as they were drawn last: all who follow fetch them within the same moment.
#[derive(Debug, Default)]
pub(super) struct Drawn(Mutex<BTreeMap<String, Arc<tokio::sync::Mutex<Option<Part>>>>>);

#[derive(Debug)]
struct Part {
    at: Span,
    of: Arc<Snapshot>,
    stalled: bool,
    html: Bytes,
}

impl App {
    /// The part that follows of the page at `url`, drawn where none is fresh.
    pub(super) async fn drawn_once(&self, url: &str, draw: impl Future<Output = String>) -> Html<Bytes> {
        let place = {
            let mut places = self.drawn.0.lock().unwrap_or_else(PoisonError::into_inner);
            if places.len() >= DRAWN_MAX && !places.contains_key(url) {
                // They serve for a second anyway.
                places.clear();
            }
            Arc::clone(places.entry(url.to_owned()).or_default())
        };
        // Held while it draws: whoever comes meanwhile would draw the same.
        let mut kept = place.lock().await;
        let (of, at, stalled) = (self.snapshot(), self.clock.monotonic(), self.pulse.stalled().is_some());
        let fresh = |part: &&Part| {
            let age = at.ms().saturating_sub(part.at.ms());
            Arc::ptr_eq(&part.of, &of) && part.stalled == stalled && age < DRAWN_FOR.ms()
        };
        if let Some(part) = kept.as_ref().filter(fresh) {
            return Html(part.html.clone());
        }
        let html = Bytes::from(draw.await);
        *kept = Some(Part { at, of, stalled, html: html.clone() });
        Html(html)
    }
}

/// What was said last.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    Nothing,
    Now,
    Alive,
}
