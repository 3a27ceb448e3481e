//! Who may ask, how often, and what a browser may do with the answer.
//!
//! A page that a keeper visits elsewhere can make the browser send requests here. Against that: a request must name
//! this machine in a way that no stranger's name server can claim (`Host`, against DNS rebinding), and what changes
//! something must come from a page of our own (`Sec-Fetch-Site`, else `Origin`). Programs send neither and pass.
use super::{ANSWER_WITHIN, App, REQUESTS_MAX};
use axum::extract::{Request, State};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use dashboards::say;
use std::net::IpAddr;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// What a page may load and do: only what comes from here.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; \
     form-action 'self'; frame-ancestors 'none'; base-uri 'none'";
/// Last labels of names that only a local name service answers: RFC 6761, RFC 6762, RFC 8375; `internal` is reserved
/// for private use (ICANN, from memory).
const LOCAL: [&str; 4] = [".localhost", ".local", ".home.arpa", ".internal"];

/// Puts the headers on every answer.
pub(super) async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let put = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // Not `no-referrer`: browsers would then send `Origin: null` with our own forms.
        (header::REFERRER_POLICY, "same-origin"),
        // For browsers that know no `frame-ancestors`.
        (header::X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    let headers = response.headers_mut();
    for (name, value) in put {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// So many requests at once, each for so long.
pub(super) async fn limit(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    app.counted.requests.fetch_add(1, Ordering::Relaxed);
    let busy = |why: String| {
        app.counted.busy.fetch_add(1, Ordering::Relaxed);
        (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "5")], why + "\n").into_response()
    };
    let Ok(_place) = app.requests.try_acquire() else {
        return busy(say!("http-busy", count = REQUESTS_MAX));
    };
    match tokio::time::timeout(ANSWER_WITHIN, next.run(request)).await {
        Ok(response) => response,
        Err(_) => busy(say!("http-late", seconds = ANSWER_WITHIN.as_secs())),
    }
}

/// Refuses what a foreign page sends.
pub(super) async fn check(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let refuse = |status: StatusCode, why: String| {
        app.counted.refused.fetch_add(1, Ordering::Relaxed);
        (status, why + "\n").into_response()
    };
    // Two names, or one in the address beside another: whoever stands between may have judged by the other one.
    let named_twice = request.headers().get_all(header::HOST).iter().count() > 1
        || request.uri().authority().is_some_and(|there| host(&request) != Some(there.as_str()));
    let Some(host) = host(&request).filter(|_| !named_twice) else {
        return refuse(StatusCode::BAD_REQUEST, say!("http-no-host"));
    };
    let named = app.host.as_deref().is_some_and(|named| named.eq_ignore_ascii_case(host));
    if !named && !is_local(host) {
        return refuse(StatusCode::MISDIRECTED_REQUEST, say!("http-foreign-name"));
    }
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    if changes && !is_ours(request.headers(), host) {
        return refuse(StatusCode::FORBIDDEN, say!("http-foreign-page"));
    }
    next.run(request).await
}

/// Host and port, as the request names them.
fn host(request: &Request) -> Option<&str> {
    let named = request.headers().get(header::HOST).and_then(|h| h.to_str().ok());
    named.or_else(|| request.uri().authority().map(Authority::as_str)).filter(|h| !h.is_empty())
}

/// Whether no stranger can make this name lead here: an address, one label, or a local name.
fn is_local(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(v6) => return v6.split_once(']').is_some_and(|(ip, _)| ip.parse::<IpAddr>().is_ok()),
        None => host.rsplit_once(':').map_or(host, |(name, _)| name),
    };
    let name = name.trim_end_matches('.').to_ascii_lowercase();
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if name.is_empty() || !name.chars().all(plain) {
        return false;
    }
    name.parse::<IpAddr>().is_ok() || !name.contains('.') || LOCAL.iter().any(|end| name.ends_with(end))
}

/// Whether a request that changes something was sent by our own page, or by a program.
fn is_ours(headers: &HeaderMap, host: &str) -> bool {
    let text = |name: &str| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
    match text("sec-fetch-site") {
        Some(site) => site == "same-origin",
        None => text("origin")
            .is_none_or(|origin| origin.split_once("://").is_some_and(|(_, from)| from.eq_ignore_ascii_case(host))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_no_stranger_can_claim() {
        let ours = [
            "127.0.0.1:7180",
            "[::1]:7180",
            "192.168.1.7",
            "localhost:1",
            "raspberry",
            "shelf.local:7180",
            "shelf.home.arpa.",
        ];
        for host in ours {
            assert!(is_local(host), "{host}");
        }
        for host in [
            "evil.example",
            "127.0.0.1.evil.example:7180",
            "[evil]:1",
            "",
            ":80",
            "local.evil",
            "a b",
            "x/../y",
            "[::1",
        ] {
            assert!(!is_local(host), "{host}");
        }
    }

    #[test]
    fn what_changes_something_comes_from_our_page_or_a_program() {
        let check = |pairs: &[(&'static str, &'static str)]| {
            let mut headers = HeaderMap::new();
            for (name, value) in pairs {
                headers.insert(*name, HeaderValue::from_static(value));
            }
            is_ours(&headers, "127.0.0.1:7180")
        };
        assert!(check(&[]));
        assert!(check(&[("sec-fetch-site", "same-origin")]));
        assert!(check(&[("origin", "http://127.0.0.1:7180")]));
        assert!(!check(&[("origin", "http://evil.example")]));
        assert!(!check(&[("origin", "null")]));
        assert!(!check(&[("origin", "http://127.0.0.1:9999")]));
        for site in ["cross-site", "same-site", "none", "\u{7f}"] {
            let mut headers = HeaderMap::new();
            if let Ok(value) = HeaderValue::from_str(site) {
                headers.insert("sec-fetch-site", value);
                assert!(!is_ours(&headers, "127.0.0.1:7180"), "{site}");
            }
        }
    }
}
