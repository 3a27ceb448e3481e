//! What people do with a message: the page behind a one-time link, tests of the ways out, signs of life from elsewhere.
//!
//! Looking at a link does nothing, so that a mail program's preview cannot answer for a person; a button does.
use super::App;
use super::pages::plain;
use crate::notices::{Linked, Proof};
use crate::snapshot::{Act, ActKind, AlarmAct};
use crate::views::now::frame;
use axum::Json;
use axum::extract::rejection::{FormRejection, JsonRejection};
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use dashboards::{Action, AskPage, Frame};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;
use tokio::sync::oneshot;

/// The two answers, word for word; none is louder than the other.
pub(super) const HERE: &str = "I am there, I am seeing to it";
pub(super) const CANNOT: &str = "I cannot get there: tell the next person";
/// The answer to a test.
const SAW: &str = "I have seen this message";

/// What was chosen.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Choice {
    r#do: String,
}

/// The page behind a link.
pub(super) async fn ask(State(app): State<Arc<App>>, Path(token): Path<String>) -> Response {
    match app.answering.read(&token) {
        Ok(linked) => Html(dashboards::ask_html(&question(&app, &linked, &token))).into_response(),
        Err(why) => plain(&app, StatusCode::GONE, "This link does nothing", vec![why.to_owned()]),
    }
}

fn question(app: &App, linked: &Linked, token: &str) -> AskPage {
    let choice = |label: &str, what: &str| Action {
        label: label.to_owned(),
        url: format!("/answer/{token}"),
        fields: vec![("do".to_owned(), what.to_owned())],
    };
    // Whoever holds a link may answer it, and needs nothing else of this shelf.
    let frame = Frame { nav: Vec::new(), ..frame(&app.snapshot(), "") };
    match linked {
        Linked::Alarm { first_line, .. } => AskPage {
            frame,
            title: first_line.clone(),
            sentences: [
                "Smoke, flame or a burning smell: do not touch it, get everyone out, close the door, call the fire service \
                 from outside.",
                "Choose one. Either works once, and for this message only. Neither switches anything, and neither ends \
                 what is the matter: while it goes on, you are reminded.",
            ]
            .map(str::to_owned)
            .into(),
            choices: vec![choice(HERE, "here"), choice(CANNOT, "pass")],
        },
        Linked::Test(_) => AskPage {
            frame,
            title: "A test message of warmend".to_owned(),
            sentences: vec!["Did the message reach you where a danger must reach you, at night too? Then say so.".to_owned()],
            choices: vec![choice(SAW, "seen")],
        },
    }
}

/// What a button behind a link does.
pub(super) async fn act(
    State(app): State<Arc<App>>,
    Path(token): Path<String>,
    form: Result<Form<Choice>, FormRejection>,
) -> Response {
    const NOT: &str = "It was not done";
    let choice = match form {
        Ok(Form(choice)) => choice,
        Err(e) => return plain(&app, e.status(), NOT, vec!["The form could not be read.".to_owned()]),
    };
    let linked = match app.answering.read(&token) {
        Ok(linked) => linked,
        Err(why) => return plain(&app, StatusCode::GONE, NOT, vec![why.to_owned()]),
    };
    let said = match (linked, choice.r#do.as_str()) {
        (Linked::Alarm { name, id, way, .. }, "here") => {
            let (reply, answer) = oneshot::channel();
            let kind = ActKind::Alarm(AlarmAct::Acknowledge, name);
            match app
                .hand_in(Act { kind, by: "a link in a message".to_owned(), why: String::new(), reply }, answer)
                .await
            {
                Ok(()) => app.answering.used(id, way),
                Err((status, why)) => return plain(&app, status, NOT, vec![format!("{why}.")]),
            }
            "You said that you are there. Do what the message says; while it goes on, you are reminded."
        }
        (Linked::Alarm { id, way, .. }, "pass") => {
            let others = app.answering.pass_on(id);
            app.answering.used(id, way);
            if others {
                "The next person is told now."
            } else {
                "It was written down, but the shelf file names nobody else who could be told. If you can reach somebody \
                 near the shelf, call them."
            }
        }
        (Linked::Test(code), "seen") => match app.answering.seen(&code) {
            Ok(_) => "It is written down that you saw it.",
            Err(why) => return plain(&app, StatusCode::GONE, NOT, vec![format!("{why}.")]),
        },
        _ => return plain(&app, StatusCode::BAD_REQUEST, NOT, vec!["Choose one of the buttons.".to_owned()]),
    };
    plain(&app, StatusCode::OK, "Done", vec![said.to_owned()])
}

/// Every way, and how far it is proved.
pub(super) async fn ways(State(app): State<Arc<App>>) -> Json<Value> {
    let way = |p: &Proof| {
        json!({
            "way": p.way, "carries_danger": p.carries_danger,
            "accepted": p.accepted.map(enclosure::Timestamp::unix_s), "seen": p.seen.map(enclosure::Timestamp::unix_s),
        })
    };
    Json(json!({ "ways": app.answering.proofs().iter().map(way).collect::<Vec<_>>() }))
}

/// Sends a test message by every way.
pub(super) async fn test(State(app): State<Arc<App>>) -> Json<Value> {
    let said = app.answering.test().await;
    let way = |(way, result): (String, Result<(), String>)| json!({ "way": way, "why": result.err() });
    Json(json!({ "ways": said.into_iter().map(way).collect::<Vec<_>>() }))
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Seen {
    code: String,
}

/// A person saw a test message.
pub(super) async fn seen(State(app): State<Arc<App>>, body: Result<Json<Seen>, JsonRejection>) -> Response {
    let done = match body {
        Ok(Json(seen)) => app.answering.seen(&seen.code).map_err(|why| (StatusCode::CONFLICT, why)),
        Err(e) => Err((e.status(), e.body_text())),
    };
    match done {
        Ok(way) => Json(json!({ "done": true, "way": way })).into_response(),
        Err((status, why)) => (status, Json(json!({ "done": false, "why": why }))).into_response(),
    }
}

/// A sign of life from another watch. A browser sends none: a page elsewhere shall not keep one alive.
pub(super) async fn life(State(app): State<Arc<App>>, Path(shelf): Path<String>, headers: HeaderMap) -> Response {
    if headers.contains_key("sec-fetch-site") {
        return (StatusCode::FORBIDDEN, "a browser gives no sign of life\n").into_response();
    }
    if app.answering.hear_life(&shelf) {
        (StatusCode::OK, "heard\n").into_response()
    } else {
        (StatusCode::NOT_FOUND, "no sign of life of that name is awaited here: see [heartbeat] watches\n")
            .into_response()
    }
}
