//! Logins over real connections, plain and secret.
use crate::broker::users::hash_password;
use crate::clock::ManualClock;
use crate::notices::{Answering, samples};
use crate::shelf_file::WebSettings;
use crate::snapshot::Act;
use crate::views::sample::{made, utc};
use crate::web::access::{Access, token};
use crate::web::{App, line, places, serve_app, tls};
use enclosure::Span;
use std::net::SocketAddr;
use std::process::Command;
use std::sync::{Arc, LazyLock};
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

const KEY: [u8; 32] = [7; 32];
const PASSWORD: &str = "six legs & two antennae";
const PATIENCE: Duration = Duration::from_secs(30);
static HASH: LazyLock<String> = LazyLock::new(|| hash_password(PASSWORD, [3; 16]).unwrap());

struct Guarded {
    base: String,
    client: reqwest::Client,
    acts: mpsc::Receiver<Act>,
    clock: Arc<ManualClock>,
    dir: tempfile::TempDir,
}

fn settings(dir: &std::path::Path) -> WebSettings {
    let path = dir.join("page.password");
    std::fs::write(&path, format!("# the shelf's\n{}\n", *HASH)).unwrap();
    let listen = SocketAddr::from(([127, 0, 0, 1], 0));
    WebSettings { listen, url: None, password_file: Some(path), open: false, tls: None, proxy: None }
}

async fn guarded(change: impl FnOnce(&mut WebSettings)) -> Guarded {
    let dir = tempfile::tempdir().unwrap();
    let mut web = settings(dir.path());
    change(&mut web);
    started(dir, web, Span::ZERO).await
}

/// Started so long after the made history's end, with what lies in `dir`.
async fn started(dir: tempfile::TempDir, web: WebSettings, later: Span) -> Guarded {
    // Another test may have done so already.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let snapshot = made().snapshot.clone();
    let clock = Arc::new(ManualClock::new(snapshot.at.plus(later)));
    let (pictures, seen) = watch::channel(Arc::new(snapshot));
    let (sender, acts) = mpsc::channel(crate::snapshot::ACTS_WAITING);
    let answering = Answering::new(KEY, &samples::shelf(), "127.0.0.1:7180".parse().unwrap(), clock.clone());
    let stop = CancellationToken::new();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = listener.local_addr().unwrap();
    let known = (made().history(), utc(), places::Places::of_file(&made().file));
    let access = Access::load(&web, &KEY).unwrap().kept_beside(&dir.path().join("h.db"), &KEY, clock.as_ref());
    let app = App::new(seen, sender, known, (clock.clone(), answering, access), stop.clone());
    let line = line::Line::new(listener, tls::config(&web).unwrap());
    tokio::spawn(async move {
        let _pictures = pictures;
        serve_app(line, None, app, stop).await
    });
    let mut client =
        reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).no_proxy().timeout(PATIENCE);
    if let Some((cert, _)) = &web.tls {
        client = client.add_root_certificate(reqwest::Certificate::from_pem(&std::fs::read(cert).unwrap()).unwrap());
    }
    let scheme = if web.tls.is_some() { "https" } else { "http" };
    Guarded { base: format!("{scheme}://localhost:{}", at.port()), client: client.build().unwrap(), acts, clock, dir }
}

/// What a browser sends with a form of our own.
const OURS: (&str, &str) = ("sec-fetch-site", "same-origin");
const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");
const ACK: &str = "do=ack&alarm=heater-stuck-on&nest=oak";

impl Guarded {
    async fn send(&self, method: &str, path: &str, body: String, headers: &[(&str, &str)]) -> reqwest::Response {
        let method = method.parse().unwrap();
        let mut request = self.client.request(method, format!("{}{path}", self.base)).body(body);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.send().await.unwrap()
    }

    async fn get(&self, path: &str, headers: &[(&str, &str)]) -> reqwest::Response {
        self.send("GET", path, String::new(), headers).await
    }

    /// Status, and the cookie if one came.
    async fn log_in(&self, password: &str, from: &[(&str, &str)]) -> (u16, Option<String>) {
        let body = format!("password={}&then=/alarms", password.replace('&', "%26").replace(' ', "+"));
        let answer = self.send("POST", "/login", body, &[&[FORM, OURS], from].concat()).await;
        let cookie = answer.headers().get("set-cookie").map(|v| v.to_str().unwrap().to_owned());
        (answer.status().as_u16(), cookie)
    }

    /// The cookie of a login, as a browser sends it back.
    async fn inside(&self) -> String {
        let (status, cookie) = self.log_in(PASSWORD, &[]).await;
        assert_eq!(status, 303);
        cookie.unwrap().split(';').next().unwrap().to_owned()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_looks_or_acts_without_a_login() {
    let mut shelf = guarded(|_| {}).await;
    for path in
        ["/", "/now.json", "/nest/oak", "/alarms", "/metrics", "/live", "/notes", "/watch", "/start", "/ways.json"]
    {
        assert_eq!(shelf.get(path, &[]).await.status(), 401, "{path}");
    }
    let led = shelf.get("/nest/oak?from=1d", &[("accept", "text/html")]).await;
    assert_eq!(
        (led.status().as_u16(), &led.headers()["location"]),
        (303, &"/login?then=/nest/oak%3Ffrom%3D1d".parse().unwrap())
    );
    for (path, body) in
        [("/alarm", ACK), ("/act", "{}"), ("/note", "nest=oak&kind=fed"), ("/watch", "do=test"), ("/ways/test", "")]
    {
        assert_eq!(shelf.send("POST", path, body.to_owned(), &[FORM, OURS]).await.status(), 401, "{path}");
    }
    // What is open carries its own proof, or tells nothing of the nests.
    for (path, status) in
        [("/health", 200), ("/style.css", 200), ("/login", 200), ("/answer/x", 410), ("/heartbeat/x", 404)]
    {
        let answer = shelf.get(path, &[]).await;
        assert_eq!(answer.status(), status, "{path}");
        let text = answer.text().await.unwrap();
        assert!(!text.contains("/nest/") && !text.contains("test message by"), "{path}: {text}");
    }
    assert!(shelf.acts.try_recv().is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_login_opens_holds_and_ends() {
    let mut shelf = guarded(|_| {}).await;
    let (status, cookie) = shelf.log_in(PASSWORD, &[]).await;
    let cookie = cookie.unwrap();
    assert_eq!(status, 303);
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Lax") && cookie.contains("Path=/"), "{cookie}");
    let cookie = shelf.inside().await;
    let held = [("cookie", cookie.as_str())];
    let page = shelf.get("/", &held).await;
    assert_eq!(page.status(), 200);
    assert_eq!(page.headers()["x-frame-options"], "DENY");
    assert!(page.headers()["content-security-policy"].to_str().unwrap().contains("frame-ancestors 'none'"));
    // The cookie alone is no proof that somebody meant it: an act comes from a page of our own, and says so.
    let body = || ACK.to_owned();
    assert_eq!(shelf.send("POST", "/alarm", body(), &[FORM, held[0]]).await.status(), 401);
    let foreign = ("sec-fetch-site", "cross-site");
    assert_eq!(shelf.send("POST", "/alarm", body(), &[FORM, held[0], foreign]).await.status(), 403);
    assert!(shelf.acts.try_recv().is_err());
    let base = shelf.base.clone();
    let request = shelf.client.post(format!("{base}/alarm")).header("cookie", &cookie).header(OURS.0, OURS.1);
    let sent = tokio::spawn(request.header(FORM.0, FORM.1).body(ACK).send());
    let act = tokio::time::timeout(PATIENCE, shelf.acts.recv()).await.unwrap().unwrap();
    act.reply.send(Ok(())).unwrap();
    assert_eq!(sent.await.unwrap().unwrap().status(), 303);
    // Out is out, on this device; another login goes on until its time is over.
    let other = shelf.inside().await;
    assert_eq!(shelf.send("POST", "/login", "do=out".to_owned(), &[FORM, OURS, held[0]]).await.status(), 303);
    assert_eq!(shelf.get("/", &held).await.status(), 401);
    assert_eq!(shelf.get("/", &[("cookie", &other)]).await.status(), 200);
    shelf.clock.advance(Span::from_h(8 * 24));
    assert_eq!(shelf.get("/", &[("cookie", &other)]).await.status(), 401);
}

/// A restart is another daemon over the same files. It knows whoever was inside, for as long as they would have been.
#[tokio::test(flavor = "multi_thread")]
async fn logins_outlive_a_restart_but_no_end_and_no_other_password() {
    async fn looks(shelf: &Guarded, cookie: &str) -> u16 {
        shelf.get("/now.json", &[("cookie", cookie)]).await.status().as_u16()
    }
    let mut shelf = guarded(|_| {}).await;
    let (kept, ended) = (shelf.inside().await, shelf.inside().await);
    let out = [FORM, OURS, ("cookie", ended.as_str())];
    assert_eq!(shelf.send("POST", "/login", "do=out".to_owned(), &out).await.status(), 303);
    // Not a word more is needed than what was answered: no end, no flush.
    let again = |shelf: Guarded, days: i64| async move {
        let password_file = Some(shelf.dir.path().join("page.password"));
        let listen = SocketAddr::from(([127, 0, 0, 1], 0));
        let web = WebSettings { listen, url: None, password_file, open: false, tls: None, proxy: None };
        started(shelf.dir, web, Span::from_h(24 * days)).await
    };
    shelf = again(shelf, 6).await;
    assert_eq!((looks(&shelf, &kept).await, looks(&shelf, &ended).await), (200, 401));
    let file = std::fs::read_to_string(shelf.dir.path().join("h.db.logins")).unwrap();
    for word in file.split_whitespace() {
        assert_eq!(looks(&shelf, &format!("warmend={word}")).await, 401, "what is in the file lets nobody in");
    }
    shelf = again(shelf, 12).await;
    assert_eq!(looks(&shelf, &kept).await, 200, "it was used on the sixth day");
    // All out, from one of two.
    let other = shelf.inside().await;
    let out = [FORM, OURS, ("cookie", other.as_str())];
    assert_eq!(shelf.send("POST", "/login", "do=all-out".to_owned(), &out).await.status(), 303);
    shelf = again(shelf, 12).await;
    assert_eq!((looks(&shelf, &kept).await, looks(&shelf, &other).await), (401, 401));
    let kept = shelf.inside().await;
    shelf = again(shelf, 19).await;
    assert_eq!(looks(&shelf, &kept).await, 401, "a week unused, by the wall clock");
    let kept = shelf.inside().await;
    std::fs::write(shelf.dir.path().join("page.password"), hash_password("another", [4; 16]).unwrap()).unwrap();
    shelf = again(shelf, 19).await;
    assert_eq!(looks(&shelf, &kept).await, 401, "another password");
    let before = settings(shelf.dir.path());
    shelf = started(shelf.dir, before, Span::from_h(24 * 19)).await;
    assert_eq!(looks(&shelf, &kept).await, 401, "and what it ended stays ended under the first");
}

#[tokio::test(flavor = "multi_thread")]
async fn guessing_is_slowed_down_and_a_right_one_is_not_let_in_meanwhile() {
    let shelf = guarded(|_| {}).await;
    for i in 0..5 {
        assert_eq!(shelf.log_in("wrong", &[]).await.0, 401, "try {i}");
    }
    assert_eq!(shelf.log_in(PASSWORD, &[]).await.0, 429);
    let basic = [("authorization", "Basic eDp3cm9uZw==")];
    assert_eq!(shelf.get("/now.json", &basic).await.status(), 429, "the other door is braked alike");
    shelf.clock.advance(Span::from_min(16));
    assert_eq!(shelf.log_in(PASSWORD, &[]).await.0, 303);
    assert_eq!(shelf.log_in(&"x".repeat(5_000), &[]).await.0, 401);
}

#[tokio::test(flavor = "multi_thread")]
async fn programs_send_the_password_and_the_command_line_its_token() {
    let shelf = guarded(|_| {}).await;
    let right =
        shelf.client.get(format!("{}/now.json", shelf.base)).basic_auth("any", Some(PASSWORD)).send().await.unwrap();
    assert_eq!(right.status(), 200);
    let bearer = |key: &[u8; 32]| format!("Bearer {}", token(key));
    assert_eq!(shelf.get("/alarms.json", &[("authorization", &bearer(&KEY))]).await.status(), 200);
    for wrong in
        [bearer(&[8; 32]), "Bearer ".to_owned(), "Basic !!".to_owned(), "Basic".to_owned(), "Digest x".to_owned()]
    {
        assert_eq!(shelf.get("/alarms.json", &[("authorization", &wrong)]).await.status(), 401, "{wrong}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn looking_can_be_opened_apart_from_acting() {
    let mut shelf = guarded(|web| web.open = true).await;
    assert_eq!(shelf.get("/", &[]).await.status(), 200);
    assert_eq!(shelf.get("/now.json", &[]).await.status(), 200);
    let refused = shelf.send("POST", "/alarm", ACK.to_owned(), &[FORM, OURS, ("accept", "text/html")]).await;
    assert_eq!(refused.status(), 401);
    assert!(refused.text().await.unwrap().contains("Log in"));
    assert!(shelf.acts.try_recv().is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn behind_a_proxy_guessing_counts_for_who_guesses() {
    let shelf = guarded(|web| web.proxy = Some("127.0.0.1".parse().unwrap())).await;
    for _ in 0..5 {
        // What stands before the last address anybody may have written.
        shelf.log_in("wrong", &[("x-forwarded-for", "198.51.100.9, 192.0.2.1")]).await;
    }
    assert_eq!(shelf.log_in(PASSWORD, &[("x-forwarded-for", "192.0.2.1")]).await.0, 429);
    let (status, cookie) = shelf.log_in(PASSWORD, &[("x-forwarded-for", "192.0.2.2")]).await;
    assert_eq!(status, 303);
    let cookie = cookie.unwrap();
    assert!(cookie.starts_with("__Host-warmend=") && cookie.contains("; Secure"), "{cookie}");
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_over_tls_and_nothing_plain_beside_them() {
    let dir = tempfile::tempdir().unwrap();
    let (cert, key) = (dir.path().join("c.pem"), dir.path().join("k.pem"));
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"])
        .args(["-addext", "basicConstraints=critical,CA:FALSE"])
        .arg("-keyout")
        .arg(&key)
        .arg("-out")
        .arg(&cert)
        .output()
        .unwrap();
    assert!(made.status.success(), "openssl: {}", String::from_utf8_lossy(&made.stderr));
    let shelf = guarded(|web| web.tls = Some((cert.clone(), key.clone()))).await;
    let cookie = shelf.inside().await;
    assert!(cookie.starts_with("__Host-warmend="));
    assert_eq!(shelf.get("/", &[("cookie", &cookie)]).await.status(), 200);
    // A greeting that never ends holds up nobody, and plain HTTP gets no page.
    let at = shelf.base.replace("https://localhost", "127.0.0.1");
    let silent = tokio::net::TcpStream::connect(&at).await.unwrap();
    let plain = shelf.client.get(format!("http://{at}/login")).send().await;
    assert!(plain.is_err(), "{plain:?}");
    assert_eq!(shelf.get("/login", &[]).await.status(), 200);
    drop(silent);
    // A key that is not the certificate's, and files that are none, are refused before anything is opened.
    let mut web = settings(dir.path());
    web.tls = Some((key.clone(), key.clone()));
    assert!(tls::config(&web).is_err());
    web.tls = Some((cert, dir.path().join("none.pem")));
    assert!(tls::config(&web).unwrap_err().to_string().contains("none.pem"));
}

#[test]
fn a_password_file_that_holds_no_hash_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let mut web = settings(dir.path());
    let path = web.password_file.clone().unwrap();
    for wrong in ["", "hunter2", "$argon2id$v=19$m=9999999,t=2,p=1$c2FsdHNhbHQ$aGFzaA", "$2y$10$abc"] {
        std::fs::write(&path, wrong).unwrap();
        let why = Access::load(&web, &KEY).unwrap_err().to_string();
        assert!(why.contains("--hash-password"), "{why}");
    }
    std::fs::remove_file(&path).unwrap();
    assert!(Access::load(&web, &KEY).is_err());
    web.password_file = None;
    assert!(!Access::load(&web, &KEY).unwrap().is_guarded());
}
