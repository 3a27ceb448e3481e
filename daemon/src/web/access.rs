//! Who may look and who may act, where the shelf file names a password: logins, and what is open without one.
//!
//! - Without a password the pages are on loopback only (the shelf file's reader sees to it), and everything is open.
//! - A browser logs in once and holds a cookie; the command line has a token that only whoever can read the history
//!   file knows; a program may send the password itself (RFC 7617).
//! - One-time links, signs of life and `/health` are open: the first carry their own proof, the others change nothing.
mod brake;
mod kept;
mod login;
mod sessions;
#[cfg(test)]
mod tests;

pub(super) use login::{ask, enter};

use super::App;
use super::pages::plain;
use crate::broker::users::{check_hash, password_fits};
use crate::clock::Clock;
use crate::notices::{LINK_PATH, hex, sign};
use crate::shelf_file::WebSettings;
use crate::views::login::LOGIN_PATH;
use axum::extract::connect_info::ConnectInfo;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use brake::Brake;
use dashboards::say;
use enclosure::Span;
use kept::Kept;
use sessions::{Moment, Sessions};
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::Semaphore;

/// Passwords checked at once: one check takes some 20 MB and some hundredths of a second on purpose.
const CHECKED_MAX: usize = 1;
/// More that wait for it; beyond, they are sent away.
const WAITING_MAX: usize = 8;
/// Longest password, bytes.
const PASSWORD_MAX: usize = 1024;
/// Largest file of a hash, bytes.
const FILE_MAX: u64 = 4096;

/// Why the pages cannot be served as the shelf file asks. Exit 64.
#[derive(Debug, thiserror::Error)]
#[error("cannot use {path} for the pages: {why}; {remedy}")]
pub struct AccessError {
    /// The file.
    pub path: PathBuf,
    /// What is wrong with it.
    pub why: String,
    /// What to do.
    pub remedy: &'static str,
}

/// Who is on the other end of a connection.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Peer(pub(crate) SocketAddr);

/// The rules; none where everything is open.
#[derive(Debug, Default)]
pub struct Access(Option<Rules>);

#[derive(Debug)]
struct Rules {
    hash: String,
    /// Whether looking needs no login.
    open: bool,
    /// Whether browsers reach the pages through TLS only.
    secret: bool,
    proxy: Option<IpAddr>,
    /// What the command line proves itself with.
    token: String,
    sessions: Arc<Mutex<Sessions>>,
    /// Where they outlive a restart; none: nowhere.
    kept: Option<Arc<Kept>>,
    brake: Mutex<Brake>,
    waiting: Semaphore,
    checking: Semaphore,
}

impl Access {
    /// As the shelf file asks; `key` is the history's own. Reads the file of the password's hash.
    ///
    /// # Errors
    /// If that file cannot be used.
    pub fn load(web: &WebSettings, key: &[u8; 32]) -> Result<Self, AccessError> {
        let Some(path) = &web.password_file else { return Ok(Self::default()) };
        let wrong = |why: String| AccessError {
            path: path.clone(),
            why,
            remedy: "write into it the one line that `warmend check --hash-password` prints",
        };
        let text = read(path).map_err(wrong)?;
        let hash =
            text.lines().map(str::trim).find(|line| !line.is_empty() && !line.starts_with('#')).unwrap_or_default();
        check_hash(hash).map_err(|why| wrong(why.to_owned()))?;
        Ok(Self(Some(Rules {
            hash: hash.to_owned(),
            open: web.open,
            secret: web.tls.is_some() || web.proxy.is_some(),
            proxy: web.proxy,
            token: token(key),
            sessions: Arc::default(),
            kept: None,
            brake: Mutex::default(),
            waiting: Semaphore::new(WAITING_MAX),
            checking: Semaphore::new(CHECKED_MAX),
        })))
    }

    /// The same with the logins that were kept beside `history` before, and with those to come; `key` is the history's
    /// own.
    #[must_use]
    pub fn kept_beside(mut self, history: &Path, key: &[u8; 32], clock: &dyn Clock) -> Self {
        if let Some(rules) = &mut self.0 {
            let kept = Kept::beside(history, &rules.hash, key);
            rules.sessions = Arc::new(Mutex::new(kept.read(Moment::of(clock))));
            rules.kept = Some(Arc::new(kept));
        }
        self
    }

    /// Whether anybody has to log in for anything.
    pub(super) fn is_guarded(&self) -> bool {
        self.0.is_some()
    }

    /// Whether anybody has to log in to look.
    pub(super) fn is_closed(&self) -> bool {
        self.0.as_ref().is_some_and(|rules| !rules.open)
    }
}

/// Reads a small text file.
pub(super) fn read(path: &Path) -> Result<String, String> {
    use std::io::Read as _;
    let file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    let mut text = String::new();
    file.take(FILE_MAX).read_to_string(&mut text).map_err(|e| e.to_string())?;
    Ok(text)
}

/// What the command line proves itself with: whoever can read the history file may act.
pub fn token(key: &[u8; 32]) -> String {
    hex(&sign(key, &[b"the command line on this machine"]))
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What stands open to everyone who reaches the address.
fn is_open(path: &str) -> bool {
    let files = [LOGIN_PATH, dashboards::STYLE_PATH, dashboards::LIVE_PATH, dashboards::PLAN_SCRIPT_PATH, "/health"];
    files.contains(&path) || path.starts_with(LINK_PATH) || path.starts_with("/heartbeat/")
}

/// How somebody proved who they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Proved {
    /// By nothing.
    Not,
    /// By a cookie, which a browser sends along with what others make it send.
    Cookie,
    /// By what only a program that means it sends.
    Program,
}

/// Lets through who may.
pub(super) async fn check(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let Some(rules) = &app.access.0 else { return next.run(request).await };
    let Some(peer) = rules.peer(&request) else {
        let why = "these pages are reached through the proxy that the shelf file names, and no other way\n";
        return (StatusCode::FORBIDDEN, why).into_response();
    };
    if is_open(request.uri().path()) {
        return next.run(request).await;
    }
    let looks = matches!(*request.method(), Method::GET | Method::HEAD);
    if looks && rules.open {
        return next.run(request).await;
    }
    let proved = match rules.proved(&app, request.headers(), peer).await {
        Ok(proved) => proved,
        Err(busy) => return busy.into_response(),
    };
    // Older browsers may leave one of the two out, but none both: then the cookie is no proof that somebody meant it.
    let told = request.headers().contains_key("sec-fetch-site") || request.headers().contains_key(header::ORIGIN);
    match proved {
        Proved::Program => next.run(request).await,
        Proved::Cookie if looks || told => next.run(request).await,
        _ => refused(&app, &request, looks),
    }
}

/// Leads a person to the login, tells a program.
fn refused(app: &App, request: &Request, looks: bool) -> Response {
    let reads = |kind: &str| {
        request.headers().get(header::ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|accept| accept.contains(kind))
    };
    let asked = request.uri().path_and_query().map_or("/", |p| p.as_str());
    if looks && reads("text/html") {
        let then: String = asked
            .bytes()
            .map(|b| {
                if b.is_ascii_alphanumeric() || b"-._~/".contains(&b) {
                    (b as char).to_string()
                } else {
                    format!("%{b:02X}")
                }
            })
            .collect();
        return (StatusCode::SEE_OTHER, [(header::LOCATION, format!("{LOGIN_PATH}?then={then}"))]).into_response();
    }
    if reads("text/html") {
        let why = say!("login-first-why", path = LOGIN_PATH);
        return plain(app, StatusCode::UNAUTHORIZED, say!("login-first"), vec![why]);
    }
    (StatusCode::UNAUTHORIZED, say!("http-login", path = LOGIN_PATH) + "\n").into_response()
}

/// Why a password is not even checked.
#[derive(Debug)]
enum Busy {
    /// Wrong too often: seconds to wait.
    Braked(u64),
    /// Too many at once.
    Full,
}

impl IntoResponse for Busy {
    fn into_response(self) -> Response {
        match self {
            Self::Braked(s) => {
                let why = say!("http-braked", seconds = s) + "\n";
                (StatusCode::TOO_MANY_REQUESTS, [(header::RETRY_AFTER, s.to_string())], why).into_response()
            }
            Self::Full => {
                let why = say!("http-logins") + "\n";
                (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "5".to_owned())], why).into_response()
            }
        }
    }
}

impl Rules {
    /// Who asks; none where it did not come through the proxy it must come through.
    fn peer(&self, request: &Request) -> Option<IpAddr> {
        let peer =
            request.extensions().get::<ConnectInfo<Peer>>().map(|ConnectInfo(Peer(at))| at.ip().to_canonical())?;
        match self.proxy {
            Some(proxy) if peer == proxy.to_canonical() => {
                // The last one is what the proxy itself saw; those before it anybody may have written.
                let named = request.headers().get_all("x-forwarded-for").iter().next_back();
                let last = named.and_then(|v| v.to_str().ok()).and_then(|v| v.rsplit(',').next());
                Some(last.and_then(|text| text.trim().parse().ok()).unwrap_or(peer))
            }
            Some(_) if !peer.is_loopback() => None,
            _ => Some(peer),
        }
    }

    async fn proved(&self, app: &App, headers: &HeaderMap, peer: IpAddr) -> Result<Proved, Busy> {
        let now = Moment::of(app.clock.as_ref());
        if let Some(token) = cookie(headers, self.cookie_name()) {
            let known = lock(&self.sessions).knows(&sessions::digest(token), now);
            if known == Some(true) {
                self.write_down().await;
            }
            if known.is_some() {
                return Ok(Proved::Cookie);
            }
        }
        let Some(shown) = headers.get(header::AUTHORIZATION).and_then(|v| v.to_str().ok()) else {
            return Ok(Proved::Not);
        };
        if let Some(token) = shown.strip_prefix("Bearer ") {
            // Both are hashed before they are compared: the time it takes tells nothing.
            let alike = sessions::digest(token) == sessions::digest(&self.token);
            return Ok(if alike { Proved::Program } else { Proved::Not });
        }
        let basic = shown.strip_prefix("Basic ").and_then(|text| STANDARD.decode(text.trim()).ok());
        let Some(password) = basic.as_deref().and_then(|pair| pair.splitn(2, |b| *b == b':').nth(1)) else {
            return Ok(Proved::Not);
        };
        let known = sessions::digest(shown);
        if lock(&self.sessions).knows(&known, now).is_some() {
            return Ok(Proved::Program);
        }
        if !self.fits(password, peer, app.clock.as_ref()).await? {
            return Ok(Proved::Not);
        }
        // A digest of the password itself is not for the disk.
        lock(&self.sessions).keep(known, now, false);
        Ok(Proved::Program)
    }

    /// Keeps the logins as they are now; done once they are on the disk.
    async fn write_down(&self) {
        let Some(kept) = self.kept.clone() else { return };
        let sessions = Arc::clone(&self.sessions);
        drop(tokio::task::spawn_blocking(move || kept.write(&sessions)).await);
    }

    /// Whether a password is right. Wrong ones cost the one who tries them time.
    async fn fits(&self, password: &[u8], peer: IpAddr, clock: &dyn Clock) -> Result<bool, Busy> {
        if password.is_empty() || password.len() > PASSWORD_MAX {
            return Ok(false);
        }
        let Ok(_place) = self.waiting.try_acquire() else { return Err(Busy::Full) };
        // Held for wrong until it is right: many at once gain nothing.
        lock(&self.brake).try_one(peer, clock.monotonic()).map_err(|wait| Busy::Braked(seconds(wait)))?;
        let Ok(_turn) = self.checking.acquire().await else { return Err(Busy::Full) };
        let (password, hash) = (password.to_vec(), self.hash.clone());
        let fits = tokio::task::spawn_blocking(move || password_fits(&password, &hash)).await.unwrap_or(false);
        if fits {
            lock(&self.brake).forget(peer);
        }
        Ok(fits)
    }

    const fn cookie_name(&self) -> &'static str {
        // A name that browsers take only with `Secure` and for this very host (RFC 6265bis, section 4.1.3).
        if self.secret { "__Host-warmend" } else { "warmend" }
    }

    fn cookie(&self, value: &str, holds: Span) -> Option<HeaderValue> {
        let secure = if self.secret { "; Secure" } else { "" };
        let age = holds.ms() / 1000;
        let text = format!("{}={value}; Path=/; HttpOnly; SameSite=Lax; Max-Age={age}{secure}", self.cookie_name());
        HeaderValue::from_str(&text).ok()
    }
}

fn seconds(span: Span) -> u64 {
    u64::try_from((span.ms() + 999) / 1000).unwrap_or(1)
}

/// The value of the cookie `name`.
fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let pairs = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(';'));
    pairs.filter_map(|pair| pair.trim().split_once('=')).find(|(key, _)| *key == name).map(|(_, value)| value)
}

#[cfg(test)]
mod inner_tests {
    use super::*;

    #[test]
    fn a_cookie_is_found_among_others() {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_static("a=b; warmend=token;x"));
        assert_eq!(cookie(&headers, "warmend"), Some("token"));
        assert_eq!(cookie(&headers, "armend"), None);
    }

    #[test]
    fn only_what_proves_itself_or_changes_nothing_is_open() {
        for path in ["/login", "/style.css", "/answer/x", "/health", "/heartbeat/x"] {
            assert!(is_open(path), "{path}");
        }
        for path in
            ["/", "/now.json", "/act", "/alarm", "/metrics", "/ways/test", "/live", "/answer", "/healthy", "/login/x"]
        {
            assert!(!is_open(path), "{path}");
        }
    }
}
