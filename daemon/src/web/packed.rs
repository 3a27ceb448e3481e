//! Text packed on its way (gzip, RFC 1952) for browsers that take it so: pictures drawn as text shrink to a fifth.
use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write as _;

/// Smaller answers are sent as they are.
const WORTH_BYTES: usize = 1_400;
/// Larger ones too: no page comes near.
const MOST_BYTES: u64 = 8 << 20;
/// What is packed; events are not, they must not wait for each other.
const TEXTS: [&str; 6] =
    ["text/html", "text/css", "text/javascript", "image/svg+xml", "application/json", "application/openmetrics-text"];

/// Packs the answers to reading requests.
pub(super) async fn pack(request: Request, next: Next) -> Response {
    let takes = request.headers().get(header::ACCEPT_ENCODING).and_then(|v| v.to_str().ok()).is_some_and(takes_gzip);
    let reads = *request.method() == Method::GET;
    let response = next.run(request).await;
    if takes && reads && is_text(&response) { packed(response).await } else { response }
}

fn takes_gzip(accepts: &str) -> bool {
    accepts.split(',').any(|part| {
        let (name, weight) = part.split_once(';').unwrap_or((part, ""));
        let refused = weight.trim().strip_prefix("q=").is_some_and(|q| q.parse::<f32>().is_ok_and(|q| q <= 0.0));
        name.trim().eq_ignore_ascii_case("gzip") && !refused
    })
}

fn is_text(response: &Response) -> bool {
    let headers = response.headers();
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    // Its whole length is known: nothing that comes bit by bit is waited for.
    let whole = http_body_exact(response.body()).is_some_and(|n| n <= MOST_BYTES && n >= WORTH_BYTES as u64);
    whole && TEXTS.iter().any(|text| kind.starts_with(text)) && !headers.contains_key(header::CONTENT_ENCODING)
}

fn http_body_exact(body: &Body) -> Option<u64> {
    axum::body::HttpBody::size_hint(body).exact()
}

async fn packed(response: Response) -> Response {
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, MOST_BYTES as usize).await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let mut encoder = GzEncoder::new(Vec::with_capacity(bytes.len() / 3), Compression::fast());
    let Ok(smaller) = encoder.write_all(&bytes).and_then(|()| encoder.finish()) else {
        return Response::from_parts(parts, Body::from(bytes));
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    parts.headers.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    Response::from_parts(parts, Body::from(smaller))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_those_who_take_it_get_it() {
        for yes in ["gzip", "deflate, gzip;q=0.5, br", " GZIP "] {
            assert!(takes_gzip(yes), "{yes}");
        }
        for no in ["", "br", "gzip;q=0", "gzip; q=0.0", "gzipped"] {
            assert!(!takes_gzip(no), "{no}");
        }
    }
}
