//! The page of a plan, and its parts for the script.
use super::App;
use super::pages::framed;
use super::pages::{KEEP_FOR, plain};
use crate::plan;
use crate::plan::wish::{Wish, Writer};
use crate::views::plan::form::{beginnings, form, invented};
use crate::wrong_call::WrongCall;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use dashboards::say::{in_language, spoken};
use dashboards::{PLAN_PATH, PlanPage, say};
use enclosure::Shelf;
use std::sync::Arc;
use tokio::sync::Semaphore;

/// Plans reckoned at once, each on a thread of its own: one takes some hundredths of a second.
const RECKONED_MAX: usize = 2;
static RECKONING: Semaphore = Semaphore::const_new(RECKONED_MAX);

type Wished = Result<Query<Wish>, QueryRejection>;

pub(super) async fn page(State(app): State<Arc<App>>, wished: Wished) -> Response {
    answer(&app, wished, dashboards::plan_html).await
}

pub(super) async fn fragment(State(app): State<Arc<App>>, wished: Wished) -> Response {
    answer(&app, wished, dashboards::plan_fragment).await
}

pub(super) async fn script() -> Response {
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8"), (header::CACHE_CONTROL, KEEP_FOR)], dashboards::PLAN_JS)
        .into_response()
}

async fn answer(app: &App, wished: Wished, draw: fn(&PlanPage) -> String) -> Response {
    let Ok(Query(wish)) = wished else {
        return plain(app, StatusCode::BAD_REQUEST, say!("plans-refused"), vec![say!("plans-refused-why")]);
    };
    let snap = app.snapshot();
    let (shelf, frame) = (Arc::clone(&snap.shelf), framed(app, &snap, PLAN_PATH));
    let Ok(_place) = RECKONING.acquire().await else {
        return plain(app, StatusCode::SERVICE_UNAVAILABLE, say!("refused-not-now"), vec![say!("refused-come-back")]);
    };
    let language = spoken();
    let draw = move || in_language(language, || draw(&PlanPage { frame, ..planned(wish, &shelf) }));
    let reckoned = tokio::task::spawn_blocking(draw).await;
    match reckoned {
        Ok(html) => Html(html).into_response(),
        Err(_) => plain(
            app,
            StatusCode::INTERNAL_SERVER_ERROR,
            say!("plans-not-reckoned"),
            vec![say!("plans-not-reckoned-why")],
        ),
    }
}

/// What `wish` comes to on this shelf. Nothing asked: the first nest with a mat, or an invented one.
fn planned(wish: Wish, shelf: &Shelf) -> PlanPage {
    let wish = match wish {
        none if none == Wish::default() => match shelf.nests.iter().find(|n| !n.pads.is_empty()) {
            Some(first) => Wish { nest: Some(first.id.clone()), ..none },
            None => invented(),
        },
        some => some,
    };
    let nest = wish.nest.as_ref().and_then(|id| shelf.nests.iter().find(|n| n.id == *id));
    let (plan, complaints) = match (&wish.nest, nest) {
        (Some(_), None) => (None, vec![say!("plans-no-nest")]),
        _ => match plan::view(&wish, nest, Writer::Form) {
            Ok(plan) => (Some(plan), Vec::new()),
            Err(WrongCall::Wish(complaints)) => (None, complaints),
            Err(other) => (None, vec![other.to_string()]),
        },
    };
    PlanPage {
        plan,
        complaints,
        nests: beginnings(&shelf.nests, nest),
        form: form(&wish, nest),
        hidden: nest.map(|n| ("nest".to_owned(), n.id.clone())).into_iter().collect(),
        ..PlanPage::default()
    }
}
