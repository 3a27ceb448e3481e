//! A real HTTP server on loopback for tests: it keeps what it was sent, and answers as it was told.
use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;

/// Longest that a test waits for anything.
pub(crate) const DEADLINE: Duration = Duration::from_secs(20);

/// One request as it came in.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    pub(crate) head: String,
    pub(crate) body: String,
}

impl Request {
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).expect("a JSON body")
    }
}

/// The server. Answers are `(status, body)`, used in order; then 204 for ever. Status 0 means: never answer.
pub(crate) struct Probe {
    pub(crate) address: SocketAddr,
    requests: mpsc::Receiver<Request>,
}

impl Probe {
    pub(crate) async fn start(answers: &[(u16, &str)]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("its address");
        let (seen, requests) = mpsc::channel(64);
        let answers: VecDeque<(u16, String)> = answers.iter().map(|(s, b)| (*s, (*b).to_owned())).collect();
        let answers = Arc::new(Mutex::new(answers));
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                tokio::spawn(serve(stream, seen.clone(), Arc::clone(&answers)));
            }
        });
        Self { address, requests }
    }

    pub(crate) fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    pub(crate) async fn request(&mut self) -> Request {
        tokio::time::timeout(DEADLINE, self.requests.recv()).await.expect("a request in time").expect("a server")
    }

    pub(crate) fn has_more(&self) -> bool {
        !self.requests.is_empty()
    }
}

type Answers = Arc<Mutex<VecDeque<(u16, String)>>>;

async fn serve(mut stream: TcpStream, seen: mpsc::Sender<Request>, answers: Answers) {
    let mut bytes = Vec::new();
    let mut chunk = [0_u8; 4096];
    loop {
        if let Some((request, used)) = whole(&bytes) {
            bytes.drain(..used);
            let _ = seen.send(request).await;
            let answer = answers.lock().expect("no test panicked here").pop_front();
            let (status, body) = answer.unwrap_or((204, String::new()));
            if status == 0 {
                // Holds the connection until the other side gives up.
                while stream.read(&mut chunk).await.is_ok_and(|n| n > 0) {}
                return;
            }
            let length = if status == 204 { String::new() } else { format!("Content-Length: {}\r\n", body.len()) };
            let answer = format!("HTTP/1.1 {status} As-Told\r\n{length}\r\n{body}");
            if stream.write_all(answer.as_bytes()).await.is_err() {
                return;
            }
        } else {
            match stream.read(&mut chunk).await {
                Ok(n) if n > 0 => bytes.extend_from_slice(&chunk[..n]),
                _ => return,
            }
        }
    }
}

/// A whole request at the beginning of `bytes`, and its length.
fn whole(bytes: &[u8]) -> Option<(Request, usize)> {
    let text = String::from_utf8_lossy(bytes);
    let (head, rest) = text.split_once("\r\n\r\n")?;
    let length = head.lines().find_map(|l| l.to_lowercase().strip_prefix("content-length:")?.trim().parse().ok());
    let length: usize = length.unwrap_or(0);
    let body = rest.get(..length)?;
    Some((Request { head: head.to_owned(), body: body.to_owned() }, head.len() + 4 + length))
}
