//! The pages over real loopback connections, asked by an ordinary client.
mod acting;
mod following;
mod links;
mod machines;
mod planning;
mod rude;

use super::health::Health;
use super::*;
use crate::clock::ManualClock;
use crate::notices::samples;
use crate::snapshot::{ActKind, AlarmAct};
use crate::views::sample::{made, silent, utc};
use enclosure::{Alarm, Event, Span};
use serde_json::{Value, json};
use std::net::SocketAddr;
use tokio::net::TcpListener;

/// Longest wait of a test for anything.
const PATIENCE: Duration = Duration::from_secs(30);

pub(super) struct Served {
    pub(super) address: SocketAddr,
    pub(super) client: reqwest::Client,
    snapshots: watch::Sender<Arc<Snapshot>>,
    acts: mpsc::Receiver<Act>,
    pub(super) answering: Arc<Answering>,
    pub(super) clock: Arc<ManualClock>,
    stop: CancellationToken,
    ended: tokio::task::JoinHandle<anyhow::Result<()>>,
}

pub(super) async fn serve(snapshot: Snapshot) -> Served {
    serve_at(snapshot, "127.0.0.1:0", made().history()).await
}

pub(super) async fn serve_at(snapshot: Snapshot, listen: &str, history: PathBuf) -> Served {
    serve_on(snapshot, history, line::Line::new(TcpListener::bind(listen).await.unwrap(), None)).await
}

async fn serve_on(snapshot: Snapshot, history: PathBuf, line: line::Line) -> Served {
    // Another test may have done so already.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let clock = Arc::new(ManualClock::new(snapshot.at));
    let (snapshots, pictures) = watch::channel(Arc::new(snapshot));
    let (sender, acts) = mpsc::channel(crate::snapshot::ACTS_WAITING);
    let mut file = samples::shelf();
    file.web.url = Some("http://shelf.example:7180".to_owned());
    let page = "127.0.0.1:7180".parse().unwrap();
    let answering = Answering::new([7; 32], &file, page, clock.clone());
    let stop = CancellationToken::new();
    let address = axum::serve::Listener::local_addr(&line).unwrap();
    let app = App::new(
        pictures,
        sender,
        (history, utc(), places::Places::of_file(&made().file)),
        (clock.clone(), Arc::clone(&answering), Access::default()),
        stop.clone(),
    );
    let ended = tokio::spawn(serve_app(line, None, app, stop.clone()));
    let client = reqwest::Client::builder()
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .timeout(PATIENCE)
        .build()
        .unwrap();
    Served { address, client, snapshots, acts, answering, clock, stop, ended }
}

impl Served {
    pub(super) fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    pub(super) async fn get(&self, path: &str) -> reqwest::Response {
        self.client.get(self.url(path)).send().await.unwrap()
    }

    pub(super) async fn page(&self, path: &str) -> (u16, String) {
        let answer = self.get(path).await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    }

    async fn json(&self, path: &str) -> Value {
        serde_json::from_str(&self.page(path).await.1).unwrap()
    }

    pub(super) async fn post(
        &self,
        path: &str,
        body: &'static str,
        headers: &[(&'static str, &str)],
    ) -> reqwest::Response {
        let kind = if path == "/act" { "application/json" } else { "application/x-www-form-urlencoded" };
        let mut request = self.client.post(self.url(path)).header("content-type", kind).body(body);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.send().await.unwrap()
    }

    /// Posts, lets the pipeline's part answer, and gives what it was asked to do.
    pub(super) async fn acted(
        &mut self,
        path: &str,
        body: &'static str,
        answer: Result<(), String>,
    ) -> (ActKind, reqwest::Response) {
        let url = self.url(path);
        let kind = if path == "/act" { "application/json" } else { "application/x-www-form-urlencoded" };
        let sent = tokio::spawn(self.client.post(url).header("content-type", kind).body(body).send());
        let act = tokio::time::timeout(PATIENCE, self.acts.recv()).await.unwrap().unwrap();
        act.reply.send(answer).unwrap();
        (act.kind, sent.await.unwrap().unwrap())
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_opens_under_a_strict_policy() {
    let served = serve(made().snapshot.clone()).await;
    for path in [
        "/",
        "/fragment",
        "/nest/oak",
        "/nest/plaster?from=1d",
        "/nest/oak?span=month&with=before",
        "/nest/oak?span=day&with=plaster&base=10",
        "/nest/oak/week.json?from=1d",
        "/span.js",
        "/nest/oak/fragment",
        "/alarms",
        "/alarms/fragment",
        "/plan",
        "/plan/fragment?nest=oak",
        "/alarm?name=heater-stuck-on@oak",
        "/nodes",
        "/nodes/fragment",
        "/notes?nest=oak",
        "/watch",
        "/watch/fragment",
        "/start",
        "/login",
        "/plan.js",
        "/style.css",
        "/live.js",
        "/now.json",
    ] {
        let answer = served.get(path).await;
        assert_eq!(answer.status(), 200, "{path}");
        let policy = answer.headers()["content-security-policy"].to_str().unwrap().to_owned();
        assert!(policy.starts_with("default-src 'none';") && policy.contains("frame-ancestors 'none'"), "{path}");
        assert_eq!(answer.headers()["x-content-type-options"], "nosniff");
        assert_eq!(answer.headers()["referrer-policy"], "same-origin");
        let text = answer.text().await.unwrap();
        assert!(!text.contains("style=\"") && !text.contains("onclick="), "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_week_page_shows_gap_note_and_alarm() {
    let served = serve(made().snapshot.clone()).await;
    let (status, page) = served.page("/nest/oak").await;
    assert_eq!(status, 200);
    assert!(page.contains("two heaps &amp; &lt;eggs&gt;") && !page.contains("<eggs>"));
    assert!(page.contains("heating mat will not switch off"));
    assert!(page.contains("nothing is known"));
    assert!(page.contains("action=\"/note\"") && page.contains("week.png?from="));
    let png = served.get("/nest/oak/week.png?from=1d").await;
    assert_eq!(png.headers()["content-type"], "image/png");
    let png = png.bytes().await.unwrap();
    assert!(png::Decoder::new(std::io::Cursor::new(png)).read_info().unwrap().info().width >= 800);
}

#[tokio::test(flavor = "multi_thread")]
async fn without_history_now_is_still_shown() {
    let nowhere = made().dir.path().join("none.db");
    let served = serve_at(made().snapshot.clone(), "127.0.0.1:0", nowhere).await;
    let (status, page) = served.page("/nest/oak").await;
    assert_eq!(status, 200);
    assert!(page.contains("The past cannot be shown") && page.contains("Now, "));
    assert_eq!(served.page("/alarms").await.0, 200);
}

/// RFC 1952: a member begins with 1f 8b.
#[tokio::test(flavor = "multi_thread")]
async fn pages_are_packed_for_those_who_take_it() {
    let served = serve(made().snapshot.clone()).await;
    let plain = served.get("/").await;
    assert!(!plain.headers().contains_key("content-encoding"));
    let plain = plain.bytes().await.unwrap();
    let packed = served.client.get(served.url("/")).header("accept-encoding", "gzip").send().await.unwrap();
    assert_eq!(packed.headers()["content-encoding"], "gzip");
    assert!(packed.headers().contains_key("content-security-policy"));
    let packed = packed.bytes().await.unwrap();
    assert!(packed.starts_with(&[0x1f, 0x8b]) && packed.len() * 3 < plain.len(), "{} of {}", packed.len(), plain.len());
    let mut whole = String::new();
    std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&packed[..]), &mut whole).unwrap();
    assert_eq!(whole.len(), plain.len());
    let live = served.client.get(served.url("/live")).header("accept-encoding", "gzip").send().await.unwrap();
    assert!(!live.headers().contains_key("content-encoding"));
}
