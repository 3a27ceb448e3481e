//! The pages of parts: one alarm's story, nodes and probes, notes, the watch itself, first start.
use super::App;
use super::health::Health;
use super::pages::{drawn, plain};
use super::weeks::given;
use crate::pipeline::acts::written;
use crate::snapshot::AlarmName;
use crate::told;
use crate::views::itself::{Itself, WATCH_PATH, watch_page};
use crate::views::nodes::{Doubts, NODES_PATH, nodes_page};
use crate::views::notebook::{NOTES_BACK, NOTES_PATH, notes_page, notes_url};
use crate::views::now::ALARMS_PATH;
use crate::views::start::{START_PATH, Written, start_page};
use crate::views::start_lines::Answers;
use crate::views::story::{Around, story, story_url};
use axum::body::Bytes;
use axum::extract::rejection::{FormRejection, QueryRejection};
use axum::extract::{Form, Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse as _, Response};
use dashboards::{SheetPage, capital, say};
use enclosure::Span;
use serde::Deserialize;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Which alarm, and which of its raisings.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Which {
    name: String,
    id: Option<String>,
}

/// No story: why.
fn no_alarm(app: &App, status: StatusCode, why: String) -> Response {
    plain(app, status, say!("refused-no-alarm"), vec![why])
}

impl Which {
    /// Its name and number, or what is wrong with them.
    fn read(&self, app: &App) -> Result<(AlarmName, Option<i64>), Box<Response>> {
        let wrong = |status, why| Box::new(no_alarm(app, status, why));
        let name = told::read(&self.name)
            .map_err(|why| wrong(StatusCode::NOT_FOUND, say!("refused-because", why = capital(&why))))?;
        let id = given(&self.id).map(|text| text.parse::<i64>()).transpose();
        Ok((name, id.map_err(|_| wrong(StatusCode::BAD_REQUEST, say!("refused-no-alarm-number")))?))
    }
}

async fn story_now(app: &App, name: AlarmName, id: Option<i64>) -> Result<Option<SheetPage>, String> {
    let (snap, now, hours) = (app.snapshot(), app.now(), app.hours.clone());
    let place = app.places.of(name.nest.as_ref());
    app.read_history(move |reader| story(reader, &name, id, Around { snap: &snap, now, hours: &hours, place: &place }))
        .await
}

/// The part of a story that follows; empty where there is none any more, and then the page says how old it is.
pub(super) async fn alarm_part(State(app): State<Arc<App>>, Query(which): Query<Which>) -> Response {
    let (name, id) = match which.read(&app) {
        Ok(read) => read,
        Err(wrong) => return *wrong,
    };
    let url = story_url(&written(&name), id);
    let draw = async {
        story_now(&app, name, id).await.ok().flatten().map(|page| dashboards::sheet_fragment(&page)).unwrap_or_default()
    };
    app.drawn_once(&url, draw).await.into_response()
}

/// `GET /alarm?name=heater-stuck-on@oak`, or with `&id=` the raising that this change belongs to.
pub(super) async fn alarm(State(app): State<Arc<App>>, Query(which): Query<Which>) -> Response {
    let made = match which.read(&app) {
        Ok((name, id)) => story_now(&app, name, id).await,
        Err(wrong) => return *wrong,
    };
    match made {
        Ok(Some(page)) => drawn(&app, ALARMS_PATH, page),
        Ok(None) => no_alarm(&app, StatusCode::NOT_FOUND, say!("refused-no-alarm-why")),
        Err(why) => {
            let why = say!("refused-unread", why = why);
            plain(&app, StatusCode::SERVICE_UNAVAILABLE, say!("refused-not-now"), vec![why])
        }
    }
}

pub(super) async fn nodes(State(app): State<Arc<App>>) -> Response {
    drawn(&app, NODES_PATH, nodes_now(&app).await)
}

pub(super) async fn nodes_part(State(app): State<Arc<App>>) -> Html<Bytes> {
    app.drawn_once(NODES_PATH, async { dashboards::sheet_fragment(&nodes_now(&app).await) }).await
}

async fn nodes_now(app: &App) -> SheetPage {
    let now = app.now();
    let doubts = app.read_history(move |reader| Doubts::read(reader, now)).await;
    nodes_page(&app.snapshot(), now, &app.hours, &doubts)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Whose {
    nest: Option<String>,
}

impl Whose {
    /// The nest that is asked for, if one is, or that there is none of that name.
    fn nest(&self, app: &App) -> Result<Option<String>, Box<Response>> {
        let nest = given(&self.nest);
        match nest.as_ref().filter(|id| app.snapshot().shelf.nests.iter().all(|n| n.id != **id)) {
            Some(id) => Err(Box::new(super::pages::no_nest(app, id))),
            None => Ok(nest),
        }
    }
}

pub(super) async fn notes(State(app): State<Arc<App>>, Query(whose): Query<Whose>) -> Response {
    match whose.nest(&app) {
        Ok(nest) => drawn(&app, NOTES_PATH, notes_now(&app, nest.as_deref()).await),
        Err(wrong) => *wrong,
    }
}

pub(super) async fn notes_part(State(app): State<Arc<App>>, Query(whose): Query<Whose>) -> Response {
    let nest = match whose.nest(&app) {
        Ok(nest) => nest,
        Err(wrong) => return *wrong,
    };
    let url = nest.as_deref().map_or(NOTES_PATH.to_owned(), notes_url);
    let draw = async { dashboards::sheet_fragment(&notes_now(&app, nest.as_deref()).await) };
    app.drawn_once(&url, draw).await.into_response()
}

async fn notes_now(app: &App, nest: Option<&str>) -> SheetPage {
    let (snap, now) = (app.snapshot(), app.now());
    let notes = app.read_history(move |r| r.notes(now.minus(NOTES_BACK)..now.plus(Span::from_ms(1)))).await;
    notes_page(&snap, nest, (now, &app.hours), &notes)
}

pub(super) async fn watch(State(app): State<Arc<App>>) -> Response {
    watched(&app, Itself::default()).await
}

pub(super) async fn watch_part(State(app): State<Arc<App>>) -> Html<Bytes> {
    app.drawn_once(WATCH_PATH, async { dashboards::sheet_fragment(&watch_now(&app, Itself::default()).await) }).await
}

/// What can be done on the page of the watch itself.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Trial {
    r#do: String,
    code: String,
}

pub(super) async fn tried(State(app): State<Arc<App>>, form: Result<Form<Trial>, FormRejection>) -> Response {
    match form {
        Ok(Form(trial)) if trial.r#do == "test" => {
            let tested = app.answering.test().await;
            watched(&app, Itself { tested, ..Itself::default() }).await
        }
        Ok(Form(trial)) if trial.r#do == "seen" => {
            let seen = Some(app.saw(trial.code.trim()).await.map_err(|(_, why)| why));
            watched(&app, Itself { seen, ..Itself::default() }).await
        }
        _ => plain(&app, StatusCode::BAD_REQUEST, say!("refused-nothing-done"), vec![say!("refused-form")]),
    }
}

async fn watched(app: &App, itself: Itself) -> Response {
    drawn(app, WATCH_PATH, watch_now(app, itself).await)
}

async fn watch_now(app: &App, itself: Itself) -> SheetPage {
    let snap = app.snapshot();
    let health = Health::of(&snap, app.pulse.stalled());
    let sizes = app.read_history(|reader| Ok((reader.sizes()?, free_bytes(reader.path())))).await;
    let free_bytes = sizes.as_ref().ok().and_then(|(_, free)| *free);
    let count = |n: &std::sync::atomic::AtomicU64| n.load(Ordering::Relaxed);
    let itself = Itself {
        health: (health.well, health.why),
        sizes: Some(sizes.map(|(sizes, _)| sizes)),
        free_bytes,
        proofs: app.answering.proofs(),
        broker: app.places.broker(),
        requests: (count(&app.counted.requests), count(&app.counted.refused), count(&app.counted.busy)),
        ..itself
    };
    watch_page(&snap, app.now(), &app.hours, &itself)
}

/// Bytes free to us where `path` lies.
#[cfg(unix)]
fn free_bytes(path: &std::path::Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(path).ok()?;
    disk.f_bavail.checked_mul(disk.f_frsize)
}

#[cfg(not(unix))]
fn free_bytes(_: &std::path::Path) -> Option<u64> {
    None
}

pub(super) async fn start(
    State(app): State<Arc<App>>,
    query: Result<Query<Vec<(String, String)>>, QueryRejection>,
) -> Response {
    let asked = Answers::of(query.map(|Query(pairs)| pairs).unwrap_or_default());
    let places = &app.places;
    let file = Written { path: &places.file, text: &places.text, broker: &places.nodes_publish() };
    drawn(&app, START_PATH, start_page(&app.snapshot(), app.now(), file, &asked))
}
