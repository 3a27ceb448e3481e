//! InfluxDB itself, as Debian has it (1.6), on loopback, in a directory of its own: the parser of line protocol, the
//! storage and the InfluxQL that version 2 took over. It knows no `/api/v2/write` yet, so [`Door`] stands before it.
//! `tests/run` sees to it that it is there.
use crate::{SOON, http, wait};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::Write as _;
use std::net::{SocketAddr, TcpListener};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

/// A running server with one database, `shelf`.
#[derive(Debug)]
pub struct Influx {
    child: Child,
    /// Where it is.
    pub at: SocketAddr,
}

/// One series of an answer: its name, its tags, its columns (`time` first), its rows.
#[derive(Clone, Debug)]
pub struct Found {
    /// The measurement.
    pub name: String,
    /// By what it was grouped.
    pub tags: Value,
    /// The columns' names.
    pub columns: Vec<String>,
    /// Rows, times in ms.
    pub rows: Vec<Vec<Value>>,
}

impl Influx {
    /// Starts one over `dir` on a port that was free just now.
    ///
    /// # Panics
    /// If it is not installed.
    pub fn start(dir: &Path) -> Self {
        std::fs::create_dir_all(dir).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let at = listener.local_addr().unwrap();
        drop(listener);
        let place = |part: &str| dir.join(part).to_string_lossy().into_owned();
        let settings = format!(
            "reporting-disabled = true\nbind-address = \"127.0.0.1:0\"\n[meta]\ndir = {:?}\n[data]\ndir = {:?}\n\
             wal-dir = {:?}\n[monitor]\nstore-enabled = false\n[http]\nbind-address = \"{at}\"\nlog-enabled = false\n",
            place("meta"),
            place("data"),
            place("wal")
        );
        let file = dir.join("influxdb.conf");
        std::fs::write(&file, settings).unwrap();
        let child = Command::new("influxd")
            .args(["run", "-config"])
            .arg(file)
            .env("HOME", dir)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let child = child.unwrap_or_else(|e| panic!("influxd does not start ({e}): apt-get install influxdb"));
        let this = Self { child, at };
        wait("InfluxDB answers", SOON, || std::net::TcpStream::connect(at).ok());
        let (status, body) = http::post(at, "/query?q=CREATE%20DATABASE%20shelf", "");
        assert_eq!(status, 200, "{body}");
        this
    }

    /// Status and body of what it says to lines.
    pub fn write(&self, lines: &str) -> (u16, String) {
        write(self.at, lines)
    }

    /// Every `value` of `reading`, temperatures only, by source and ms: from its own digits, which a reader of JSON may
    /// round.
    ///
    /// # Panics
    /// If it is not what it says it is.
    pub fn temperatures(&self) -> BTreeMap<(String, i64), f64> {
        let query = "SELECT \"value\" FROM \"reading\" WHERE \"quantity\" = 'temperature' GROUP BY \"source\"";
        let (status, body) = http::get_as(self.at, &asked(query), "application/csv");
        assert_eq!(status, 200, "{body}");
        let one = |line: &str| {
            let fields: Vec<&str> = line.split(',').collect();
            let [_, tags, t_ms, v] = fields[..] else { panic!("no reading: {line}") };
            let source = tags.trim_start_matches("source=").to_owned();
            ((source, t_ms.parse().unwrap()), v.parse().unwrap())
        };
        body.lines().skip(1).map(one).collect()
    }

    /// What a query in InfluxQL gives.
    ///
    /// # Panics
    /// If it is refused.
    pub fn query(&self, query: &str) -> Vec<Found> {
        let (status, body) = http::get(self.at, &asked(query));
        let json: Value = serde_json::from_str(&body).unwrap_or_else(|e| panic!("{query}: {status} {body}: {e}"));
        let result = &json["results"][0];
        assert!(status == 200 && result["error"].is_null(), "{query}: {status} {body}");
        let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
        let one = |series: &Value| Found {
            name: series["name"].as_str().unwrap_or_default().to_owned(),
            tags: series["tags"].clone(),
            columns: list(&series["columns"]).iter().filter_map(|c| c.as_str().map(str::to_owned)).collect(),
            rows: list(&series["values"]).iter().map(list).collect(),
        };
        list(&result["series"]).iter().map(one).collect()
    }
}

impl Drop for Influx {
    fn drop(&mut self) {
        // It may have ended by itself.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

fn asked(query: &str) -> String {
    format!("/query?db=shelf&epoch=ms&q={}", http::escaped(query))
}

fn write(at: SocketAddr, lines: &str) -> (u16, String) {
    http::post(at, "/write?db=shelf&precision=ms", lines)
}

/// Takes what is sent to version 2 and hands it to the server as it is; hands back what that says. It lives as long as
/// the test's process.
#[derive(Clone, Debug)]
pub struct Door {
    /// Where it is.
    pub at: SocketAddr,
    said: Arc<Mutex<Vec<(u16, String)>>>,
}

impl Door {
    /// Before `server`, on any free port.
    pub fn before(server: &Influx) -> Self {
        let (listener, behind) = (TcpListener::bind("127.0.0.1:0").unwrap(), server.at);
        let this = Self { at: listener.local_addr().unwrap(), said: Arc::default() };
        let said = Arc::clone(&this.said);
        std::thread::spawn(move || {
            for mut stream in listener.incoming().flatten() {
                let Some(lines) = http::posted(&stream) else { continue };
                let (status, body) = write(behind, &lines);
                let length = body.len();
                let head = format!("HTTP/1.1 {status} As it says\r\nConnection: close\r\nContent-Length: {length}");
                // Who does not wait for the answer asks again.
                drop(write!(stream, "{head}\r\n\r\n{body}"));
                said.lock().unwrap().push((status, body));
            }
        });
        this
    }

    /// The server's answers, in order.
    pub fn said(&self) -> Vec<(u16, String)> {
        self.said.lock().unwrap().clone()
    }
}
