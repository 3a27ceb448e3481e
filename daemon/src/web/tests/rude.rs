//! Callers that no browser is.
use super::*;

/// Sends these bytes as they are and gives the answer's first line.
async fn raw(served: &Served, request: &str) -> String {
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    let mut stream = tokio::net::TcpStream::connect(served.address).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = vec![0; 4096];
    let got = tokio::time::timeout(PATIENCE, stream.read(&mut answer)).await.unwrap().unwrap();
    String::from_utf8_lossy(&answer[..got]).lines().next().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_names_two_hosts_is_refused() {
    let served = serve(made().snapshot.clone()).await;
    let own = served.address;
    let refused = "HTTP/1.1 400 Bad Request";
    let two = format!("GET /health HTTP/1.1\r\nHost: {own}\r\nHost: evil.example\r\n\r\n");
    assert_eq!(raw(&served, &two).await, refused);
    let beside = format!("GET http://evil.example/health HTTP/1.1\r\nHost: {own}\r\n\r\n");
    assert_eq!(raw(&served, &beside).await, refused);
    for one in [
        format!("GET http://{own}/nodes HTTP/1.1\r\nHost: {own}\r\n\r\n"),
        format!("GET /nodes HTTP/1.1\r\nHost: {own}\r\n\r\n"),
    ] {
        assert_eq!(raw(&served, &one).await, "HTTP/1.1 200 OK", "{one}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_comes_byte_by_byte_for_ever_gives_its_place_back() {
    use tokio::io::AsyncWriteExt as _;
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let line = line::Line::new(listener, None).asked_within(Duration::from_millis(500));
    let served = serve_on(made().snapshot.clone(), made().history(), line).await;
    let mut stream = tokio::net::TcpStream::connect(served.address).await.unwrap();
    stream.write_all(b"GET / HTTP/1.1\r\nX: ").await.unwrap();
    let mut beat = tokio::time::interval(Duration::from_millis(20));
    let dribble = async {
        while stream.write_all(b"a").await.is_ok() {
            beat.tick().await;
        }
    };
    tokio::time::timeout(PATIENCE, dribble).await.expect("the connection is closed, though a byte came all the time");
}
