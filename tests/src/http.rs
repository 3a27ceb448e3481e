//! Just enough HTTP: a GET, and a server that keeps what is posted to it.
use crate::SOON;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// Status and body of a GET.
pub fn get(at: SocketAddr, path: &str) -> (u16, String) {
    ask(at, &format!("GET {path} HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n\r\n"))
}

/// The same, in the form `kind` (a media type).
pub fn get_as(at: SocketAddr, path: &str, kind: &str) -> (u16, String) {
    ask(at, &format!("GET {path} HTTP/1.1\r\nHost: {at}\r\nAccept: {kind}\r\nConnection: close\r\n\r\n"))
}

/// Status and body of what a form sends.
pub fn post(at: SocketAddr, path: &str, form: &str) -> (u16, String) {
    let kind = "Content-Type: application/x-www-form-urlencoded";
    let length = form.len();
    let head = format!("POST {path} HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n{kind}");
    ask(at, &format!("{head}\r\nContent-Length: {length}\r\n\r\n{form}"))
}

fn ask(at: SocketAddr, request: &str) -> (u16, String) {
    let mut stream = TcpStream::connect_timeout(&at, SOON).unwrap();
    stream.set_read_timeout(Some(SOON)).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let answer = String::from_utf8_lossy(&answer);
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
    (status, if head.contains("chunked") { unchunk(body) } else { body.to_owned() })
}

fn unchunk(mut body: &str) -> String {
    let mut whole = String::new();
    while let Some((size, rest)) = body.split_once("\r\n") {
        let Ok(size @ 1..) = usize::from_str_radix(size.trim(), 16) else { break };
        let Some(chunk) = rest.get(..size) else { break };
        whole.push_str(chunk);
        body = rest.get(size + 2..).unwrap_or("");
    }
    whole
}

/// A server that takes JSON by POST; it lives as long as the test's process.
#[derive(Clone, Debug)]
pub struct Post {
    /// Where it is.
    pub at: SocketAddr,
    came: Arc<Mutex<Vec<(Instant, Value)>>>,
}

impl Post {
    /// On any free port.
    pub fn open() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let this = Self { at: listener.local_addr().unwrap(), came: Arc::default() };
        let came = Arc::clone(&this.came);
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                // Whoever speaks no HTTP is not answered.
                if let Some(json) = take(stream) {
                    came.lock().unwrap().push((crate::moment(), json));
                }
            }
        });
        this
    }

    /// What came, in order.
    pub fn came(&self) -> Vec<Value> {
        self.came.lock().unwrap().iter().map(|(_, json)| json.clone()).collect()
    }

    /// The same with when each came.
    pub fn came_when(&self) -> Vec<(Instant, Value)> {
        self.came.lock().unwrap().clone()
    }
}

/// Percent-encoded (RFC 3986), everything but letters and digits.
pub(crate) fn escaped(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

fn take(mut stream: TcpStream) -> Option<Value> {
    let body = posted(&stream)?;
    stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n").ok()?;
    serde_json::from_str(&body).ok()
}

/// What is posted by a connection, which still waits for its answer.
pub(crate) fn posted(stream: &TcpStream) -> Option<String> {
    stream.set_read_timeout(Some(SOON)).ok()?;
    let mut reader = BufReader::new(stream.try_clone().ok()?);
    let mut length = 0;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).ok()?;
        let line = line.trim().to_ascii_lowercase();
        if line.is_empty() {
            break;
        }
        if let Some(value) = line.strip_prefix("content-length:") {
            length = value.trim().parse().ok()?;
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    String::from_utf8(body).ok()
}
