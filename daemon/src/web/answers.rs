//! What people do with a message: the page behind a one-time link, tests of the ways out, signs of life from elsewhere.
//!
//! Looking at a link does nothing, so that a mail program's preview cannot answer for a person; a button does.
use super::App;
use super::pages::plain_for_anybody;
use crate::notices::{Linked, Proof};
use crate::snapshot::{Act, ActKind, AlarmAct};
use crate::views::now::frame;
use axum::Json;
use axum::extract::rejection::{FormRejection, JsonRejection};
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use dashboards::{Action, AskPage, Frame, say};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;
use tokio::sync::oneshot;

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
        Err(why) => plain_for_anybody(&app, StatusCode::GONE, say!("answer-dead"), vec![why]),
    }
}

fn question(app: &App, linked: &Linked, token: &str) -> AskPage {
    let choice = |label: String, what: &str| Action {
        label,
        url: format!("/answer/{token}"),
        fields: vec![("do".to_owned(), what.to_owned())],
    };
    // Whoever holds a link may answer it, and needs nothing else of this shelf.
    let frame = Frame { nav: Vec::new(), ..frame(&app.snapshot(), "") };
    match linked {
        Linked::Alarm { first_line, .. } => AskPage {
            frame,
            title: first_line.clone(),
            sentences: vec![say!("told-fire"), say!("answer-choose")],
            // None is louder than the other.
            choices: vec![choice(say!("answer-here"), "here"), choice(say!("answer-cannot"), "pass")],
        },
        Linked::Test(_) => AskPage {
            frame,
            title: say!("answer-test"),
            sentences: vec![say!("answer-test-asks")],
            choices: vec![choice(say!("answer-saw"), "seen")],
        },
    }
}

/// What a button behind a link does.
pub(super) async fn act(
    State(app): State<Arc<App>>,
    Path(token): Path<String>,
    form: Result<Form<Choice>, FormRejection>,
) -> Response {
    let not = |status, why| plain_for_anybody(&app, status, say!("answer-not-done"), vec![why]);
    let choice = match form {
        Ok(Form(choice)) => choice,
        Err(e) => return not(e.status(), say!("refused-form")),
    };
    let linked = match app.answering.read(&token) {
        Ok(linked) => linked,
        Err(why) => return not(StatusCode::GONE, why),
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
                Err((status, why)) => return not(status, say!("refused-because", why = why)),
            }
            say!("answer-done-here")
        }
        (Linked::Alarm { id, way, .. }, "pass") => {
            let others = app.answering.pass_on(id);
            app.answering.used(id, way);
            if others { say!("answer-done-passed") } else { say!("answer-done-nobody") }
        }
        (Linked::Test(code), "seen") => match app.saw(&code).await {
            Ok(_) => say!("answer-done-seen"),
            Err((status, why)) => return not(status, say!("refused-because", why = why)),
        },
        _ => return not(StatusCode::BAD_REQUEST, say!("answer-buttons")),
    };
    plain_for_anybody(&app, StatusCode::OK, say!("answer-done"), vec![said])
}

impl App {
    /// A person saw the test message with this code; gives the way, once that is written down. `Err`: status and why not.
    pub(super) async fn saw(&self, code: &str) -> Result<String, (StatusCode, String)> {
        let written = self.answering.proves(code).map_err(|why| (StatusCode::GONE, why))?;
        let (reply, answer) = oneshot::channel();
        let kind = ActKind::Proof(written.clone());
        self.hand_in(Act { kind, by: String::new(), why: String::new(), reply }, answer).await?;
        self.answering.proved(code, &written);
        Ok(written.way)
    }
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
        Ok(Json(seen)) => match app.saw(&seen.code).await {
            Err((StatusCode::GONE, why)) => Err((StatusCode::CONFLICT, why)),
            done => done,
        },
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
