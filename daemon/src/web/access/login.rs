//! The page of the login, and what its form does.
use super::sessions::{self, Moment};
use super::{Busy, Peer, Rules, cookie, lock};
use crate::notices::{hex, random};
use crate::views::login::{LOGIN_PATH, Said, login_page};
use crate::web::App;
use crate::web::pages::{drawn, framed_for_anybody, plain_for_anybody};
use axum::extract::connect_info::ConnectInfo;
use axum::extract::rejection::FormRejection;
use axum::extract::{Extension, Form, Query, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use dashboards::{SheetPage, say};
use enclosure::Span;
use serde::Deserialize;
use std::sync::Arc;

/// Where a login leads: to a page of our own.
fn own_page(wanted: &str) -> &str {
    let ours = wanted.starts_with('/')
        && !wanted[1..].starts_with(['/', '\\'])
        && wanted.chars().all(|c| c.is_ascii_graphic());
    if ours && wanted.len() <= 400 && !wanted.starts_with(LOGIN_PATH) { wanted } else { "/" }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Then {
    then: String,
}

/// The page of the login.
pub(in crate::web) async fn ask(State(app): State<Arc<App>>, Query(then): Query<Then>, headers: HeaderMap) -> Response {
    let inside = app.access.0.as_ref().is_some_and(|rules| {
        cookie(&headers, rules.cookie_name())
            .is_some_and(|token| lock(&rules.sessions).holds(token, Moment::of(app.clock.as_ref())))
    });
    let said = if !app.access.is_guarded() {
        Said::Open
    } else if inside {
        Said::Inside
    } else {
        Said::Nothing
    };
    shown(&app, &said, own_page(&then.then))
}

/// The page, which names no nest to whoever is not inside.
fn shown(app: &App, said: &Said, then: &str) -> Response {
    let page = login_page(said, then);
    match said {
        Said::Open | Said::Inside => drawn(app, LOGIN_PATH, page),
        _ => Html(dashboards::sheet_html(&SheetPage { frame: framed_for_anybody(app), ..page })).into_response(),
    }
}

/// What the login's form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(in crate::web) struct Login {
    r#do: String,
    password: String,
    then: String,
}

/// Logs in or out.
pub(in crate::web) async fn enter(
    State(app): State<Arc<App>>,
    info: Option<Extension<ConnectInfo<Peer>>>,
    headers: HeaderMap,
    form: Result<Form<Login>, FormRejection>,
) -> Response {
    let (Ok(Form(login)), Some(rules)) = (form, &app.access.0) else {
        return plain_for_anybody(&app, StatusCode::BAD_REQUEST, say!("login-not"), vec![say!("login-form")]);
    };
    let then = own_page(&login.then).to_owned();
    match login.r#do.as_str() {
        "out" | "all-out" => {
            out(rules, cookie(&headers, rules.cookie_name()), login.r#do == "all-out", Moment::of(app.clock.as_ref()));
            rules.write_down().await;
            return moved(LOGIN_PATH, rules.cookie("", Span::ZERO));
        }
        _ => {}
    }
    let mut request = Request::default();
    *request.headers_mut() = headers;
    if let Some(Extension(info)) = info {
        request.extensions_mut().insert(info);
    }
    let Some(peer) = rules.peer(&request) else { return StatusCode::FORBIDDEN.into_response() };
    let said = match rules.fits(login.password.as_bytes(), peer, app.clock.as_ref()).await {
        Ok(true) => {
            let Ok(bytes) = random::<32>() else {
                return plain_for_anybody(
                    &app,
                    StatusCode::SERVICE_UNAVAILABLE,
                    say!("login-not"),
                    vec![say!("login-random")],
                );
            };
            let token = hex(&bytes);
            lock(&rules.sessions).keep(sessions::digest(&token), Moment::of(app.clock.as_ref()), true);
            rules.write_down().await;
            return moved(&then, rules.cookie(&token, sessions::HOLDS));
        }
        Ok(false) => (StatusCode::UNAUTHORIZED, Said::Wrong),
        Err(Busy::Braked(s)) => (StatusCode::TOO_MANY_REQUESTS, Said::Braked(s)),
        Err(Busy::Full) => (StatusCode::SERVICE_UNAVAILABLE, Said::Full),
    };
    tracing::warn!(%peer, "a login to the pages failed");
    (said.0, shown(&app, &said.1, &then)).into_response()
}

/// Ends the login of whoever asks, or all; only who is inside may send all out.
fn out(rules: &Rules, token: Option<&str>, all: bool, now: Moment) {
    let mut sessions = lock(&rules.sessions);
    match token {
        Some(token) if all && sessions.holds(token, now) => sessions.clear(),
        Some(token) => sessions.end(token),
        None => {}
    }
}

fn moved(to: &str, cookie: Option<HeaderValue>) -> Response {
    let mut response = (StatusCode::SEE_OTHER, [(header::LOCATION, to.to_owned())]).into_response();
    if let Some(cookie) = cookie {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_login_leads_to_pages_of_our_own_only() {
        for ours in ["/", "/alarms", "/alarm?name=heater-stuck-on@oak"] {
            assert_eq!(own_page(ours), ours);
        }
        for not in [
            "",
            "//evil.example",
            "/\\evil.example",
            "https://evil.example/",
            "evil",
            "/a b",
            "/a\r\nset-cookie: x=y",
            "/login",
        ] {
            assert_eq!(own_page(not), "/", "{not:?}");
        }
    }
}
