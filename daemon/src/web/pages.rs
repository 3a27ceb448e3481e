//! The pages themselves.
use super::spans;
use super::weeks::{Asked, SPAN_MAX, SpanQuery, Wish};
use super::{App, health::Health};
use crate::snapshot::Snapshot;
use crate::views::events::past_alarms;
use crate::views::hours::Hours;
use crate::views::load::{self, Load};
use crate::views::login::LOGIN_PATH;
use crate::views::now::{ALARMS_PATH, frame, live_part, nest_url, nest_view, now_page, of_nest, unjudged};
use crate::views::start::START_PATH;
use crate::views::words::{listed, note_kinds};
use axum::body::Bytes;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use dashboards::{
    AlarmsPage, Compared, Frame, Link, Live, NoteForm, NowPage, PlainPage, SheetPage, WeekPage, WeekView, capital, say,
};
use enclosure::{Span, Timestamp};
use std::ops::Range;
use std::sync::Arc;

/// Alarms of so long ago are listed.
const PAST_ALARMS: Span = Span::from_h(30 * 24);
/// Most of them.
const PAST_ALARMS_MAX: usize = 200;
/// Pixels per unit of a drawing: fit for a screen of today.
const PNG_SCALE: f32 = 2.0;
/// Style and script change only with the program.
pub(super) const KEEP_FOR: &str = "max-age=3600";

/// Name, links, and what every page says.
pub(super) fn framed(app: &App, snap: &Snapshot, current: &str) -> Frame {
    let mut frame = Frame { cautions: app.answering.unproved(), ..frame(snap, current) };
    if app.access.is_guarded() {
        let current = current == LOGIN_PATH;
        frame.nav.push(Link { label: say!("nav-login"), url: LOGIN_PATH.to_owned(), current });
    }
    frame
}

/// What a page says to somebody of whom it is not known that they may look: neither nests nor ways.
pub(super) fn framed_for_anybody(app: &App) -> Frame {
    let snap = app.snapshot();
    if app.access.is_closed() {
        Frame { shelf_name: snap.shelf.name.clone(), ..Frame::default() }
    } else {
        framed(app, &snap, "")
    }
}

/// A page of parts within its frame.
pub(super) fn drawn(app: &App, current: &str, page: SheetPage) -> Response {
    let frame = framed(app, &app.snapshot(), current);
    Html(dashboards::sheet_html(&SheetPage { frame, ..page })).into_response()
}

fn view(app: &App) -> NowPage {
    let page = now_page(&app.snapshot(), app.now(), &app.hours);
    let stalled = app.pulse.stalled();
    NowPage {
        frame: framed(app, &app.snapshot(), "/"),
        stalled: stalled.map(|why| say!("health-look-yourself", why = why)),
        alarms: app.places.placed(page.alarms),
        ..page
    }
}

pub(super) async fn now(State(app): State<Arc<App>>) -> Response {
    // An empty shelf has no now: it leads by the hand.
    if app.snapshot().shelf.nests.is_empty() {
        return (StatusCode::SEE_OTHER, [(header::LOCATION, START_PATH)]).into_response();
    }
    Html(dashboards::now_html(&view(&app))).into_response()
}

pub(super) async fn fragment(State(app): State<Arc<App>>) -> Html<Bytes> {
    app.drawn_once("/", async { dashboards::now_fragment(&view(&app)) }).await
}

pub(super) async fn style() -> Response {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8"), (header::CACHE_CONTROL, KEEP_FOR)], dashboards::STYLE_CSS)
        .into_response()
}

pub(super) async fn script() -> Response {
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8"), (header::CACHE_CONTROL, KEEP_FOR)], dashboards::LIVE_JS)
        .into_response()
}

pub(super) async fn span_script() -> Response {
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8"), (header::CACHE_CONTROL, KEEP_FOR)], dashboards::SPAN_JS)
        .into_response()
}

pub(super) async fn missing(State(app): State<Arc<App>>) -> Response {
    plain(&app, StatusCode::NOT_FOUND, say!("refused-no-page"), vec![say!("refused-choose")])
}

/// An error as a page.
pub(super) fn plain(app: &App, status: StatusCode, title: String, sentences: Vec<String>) -> Response {
    let page = PlainPage { frame: framed(app, &app.snapshot(), ""), title, sentences };
    (status, Html(dashboards::plain_html(&page))).into_response()
}

/// The same for [anybody](framed_for_anybody).
pub(super) fn plain_for_anybody(app: &App, status: StatusCode, title: String, sentences: Vec<String>) -> Response {
    let page = PlainPage { frame: framed_for_anybody(app), title, sentences };
    (status, Html(dashboards::plain_html(&page))).into_response()
}

pub(super) fn no_nest(app: &App, id: &str) -> Response {
    let nests = listed(app.snapshot().shelf.nests.iter().map(|n| n.id.clone()));
    // What was asked for may be anything of any length.
    let id: String = id.chars().take(40).collect();
    let why = say!("refused-no-nest-why", nest = id, nests = nests);
    plain(app, StatusCode::NOT_FOUND, say!("refused-no-nest"), vec![why])
}

pub(super) async fn nest(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    Query(query): Query<SpanQuery>,
) -> Response {
    let snap = app.snapshot();
    let Some(i) = snap.shelf.nests.iter().position(|n| n.id == id) else { return no_nest(&app, &id) };
    let asked = match Asked::on_the_wall(&query, app.now(), Some(SPAN_MAX), Some(&app.hours)) {
        Ok(asked) => asked.rounded(),
        Err(why) => {
            let why = say!("refused-because", why = why);
            return plain(&app, StatusCode::BAD_REQUEST, say!("refused-no-span"), vec![why]);
        }
    };
    let wish = spans::wish(&app, (&snap, i), &asked, &query);
    let (week, other) = match app.week(wish.clone()).await {
        Ok(found) => found,
        Err(why) => (unread(&app, &snap, i, &asked.span, &why), None),
    };
    let url = nest_url(&id);
    let (span, chatter) = (asked.span.clone(), snap.shelf.alarms.chatter_within);
    let load = app.read_history(move |reader| Ok(Load::of(&load::changes(reader, &span)?, &span, chatter))).await;
    let page = WeekPage {
        live: Some(placed(&app, live_of_nest(&snap, i, (app.now(), &app.hours)))),
        alarms: load.as_ref().map(Load::sentences).unwrap_or_default(),
        load: load.as_ref().map(load::table).unwrap_or_default(),
        frame: framed(&app, &snap, &url),
        now: nest_view(&snap, i, app.now(), &app.hours),
        week,
        other: other.zip(wish.other).map(|(week, o)| Compared { words: capital(&o.name), week }),
        note: Some(note_form(&id, &url)),
        ..spans::links(&app, (&snap, &url), &asked, &query)
    };
    Html(dashboards::week_html(&judged(&app, &snap, page))).into_response()
}

/// The part of a nest's page that follows.
pub(super) async fn nest_part(State(app): State<Arc<App>>, Path(id): Path<String>) -> Response {
    let Some(i) = app.snapshot().shelf.nests.iter().position(|n| n.id == id) else { return no_nest(&app, &id) };
    let draw = async {
        let snap = app.snapshot();
        let (now, live) = (app.now(), placed(&app, live_of_nest(&snap, i, (app.now(), &app.hours))));
        let page = WeekPage { now: nest_view(&snap, i, now, &app.hours), live: Some(live), ..WeekPage::default() };
        dashboards::week_fragment(&judged(&app, &snap, page))
    };
    app.drawn_once(&nest_url(&id), draw).await.into_response()
}

/// What a reader of nest `i`'s page must know of: its own alarms, and those of the watch.
fn live_of_nest(snap: &Snapshot, i: usize, (now, hours): (Timestamp, &Hours)) -> Live {
    let id = snap.shelf.nests.get(i).map_or("", |n| n.id.as_str());
    let live = live_part(snap, (now, hours), &nest_url(id));
    let heard = snap.nests.get(i).and_then(|n| n.heard);
    let alarms = live.alarms.into_iter().filter(|alarm| of_nest(alarm, id)).collect();
    Live { age_s: heard.map(|t| now.since(t).s().max(0.0)), alarms, ..live }
}

/// A page of the past stays true when the watch has stopped; a page of now does not.
fn judged(app: &App, snap: &Snapshot, page: WeekPage) -> WeekPage {
    let health = Health::of(snap, app.pulse.stalled());
    if health.well { page } else { unwell(page, &health) }
}

/// The page of a span that cannot be read: everything but the span.
fn unread(app: &App, snap: &Snapshot, nest: usize, span: &Range<Timestamp>, why: &str) -> WeekView {
    let nest = snap.shelf.nests.get(nest);
    let id = nest.map_or(String::new(), |n| n.id.clone());
    WeekView {
        nest_id: id.clone(),
        nest_name: id,
        span_text: app.hours.span(span),
        length_mm: nest.map_or(0.0, |n| n.length_mm),
        sentences: vec![say!("refused-unread", why = why)],
        ..WeekView::default()
    }
}

fn unwell(page: WeekPage, health: &Health) -> WeekPage {
    let now = page.now.map(|n| dashboards::NestView {
        summary: format!("{} {}", say!("stands-unwell", why = &health.why), n.summary),
        tone: n.tone.max(dashboards::Tone::Warning),
        ..n
    });
    WeekPage { now, ..page }
}

fn note_form(id: &str, url: &str) -> NoteForm {
    let pair = |(a, b): (&str, &str)| (a.to_owned(), b.to_owned());
    NoteForm { url: "/note".to_owned(), fields: [("nest", id), ("back", url)].map(pair).into(), kinds: note_kinds() }
}

/// `week.svg` and `week.png` of a nest: the same picture, to be kept or sent on; `week.json`: its values.
pub(super) async fn picture(
    State(app): State<Arc<App>>,
    Path((id, file)): Path<(String, String)>,
    Query(query): Query<SpanQuery>,
) -> Response {
    let Some(i) = app.snapshot().shelf.nests.iter().position(|n| n.id == id) else { return no_nest(&app, &id) };
    if !["week.svg", "week.png", "week.json"].contains(&file.as_str()) {
        return missing(State(app)).await;
    }
    let failed = |why: String| {
        plain(&app, StatusCode::BAD_REQUEST, say!("refused-no-picture"), vec![say!("refused-because", why = why)])
    };
    let asked = match Asked::of(&query, app.now(), Some(SPAN_MAX)) {
        Ok(asked) => asked.rounded(),
        Err(why) => return failed(why),
    };
    let span = asked.span.clone();
    let wish = Wish { nest: i, span: asked.span, other: None, base_c: query.base_c() };
    let week = match app.week(wish).await {
        Ok((week, _)) => week,
        Err(why) => return failed(why),
    };
    if file == "week.json" {
        return axum::Json(spans::values(&week, &span, &app.hours)).into_response();
    }
    if file == "week.svg" {
        return ([(header::CONTENT_TYPE, "image/svg+xml")], dashboards::heatmap_svg(&week)).into_response();
    }
    let drawn = app.read_history(move |_| Ok(dashboards::svg_to_png(&dashboards::heatmap_svg(&week), PNG_SCALE))).await;
    match drawn {
        Ok(Ok(png)) => ([(header::CONTENT_TYPE, "image/png")], png).into_response(),
        Ok(Err(e)) => failed(say!("refused-drawing", why = e.to_string())),
        Err(why) => failed(why),
    }
}

fn placed(app: &App, live: Live) -> Live {
    Live { alarms: app.places.placed(live.alarms), ..live }
}

async fn alarms_page(app: &App) -> AlarmsPage {
    let (snap, now) = (app.snapshot(), app.now());
    let hours = app.hours.clone();
    let past = app.read_history(move |r| past_alarms(r, now.minus(PAST_ALARMS)..now, PAST_ALARMS_MAX, &hours)).await;
    AlarmsPage {
        frame: framed(app, &snap, ALARMS_PATH),
        live: placed(app, live_part(&snap, (now, &app.hours), ALARMS_PATH)),
        unjudged: unjudged(&snap),
        past: past.unwrap_or_else(|why| vec![(String::new(), say!("refused-unread-row", why = why), String::new())]),
    }
}

pub(super) async fn alarms(State(app): State<Arc<App>>) -> Response {
    Html(dashboards::alarms_html(&alarms_page(&app).await)).into_response()
}

pub(super) async fn alarms_part(State(app): State<Arc<App>>) -> Html<Bytes> {
    app.drawn_once(ALARMS_PATH, async { dashboards::alarms_fragment(&alarms_page(&app).await) }).await
}
