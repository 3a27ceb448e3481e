//! A real time-series server that takes line protocol: Debian's `victoria-metrics`, on loopback, in a directory of its
//! own. `tests/run` sees to it that it is there.
use crate::{SOON, http, wait};
use serde_json::Value;
use std::collections::BTreeMap;
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

/// A running server.
#[derive(Debug)]
pub struct Server {
    child: Option<Child>,
    /// Where it is.
    pub at: SocketAddr,
    dir: PathBuf,
}

/// One series as it gives it back: its labels, and its values by time, ms.
#[derive(Clone, Debug)]
pub struct Series {
    /// Labels, `__name__` among them.
    pub labels: BTreeMap<String, String>,
    /// Times and values.
    pub values: BTreeMap<i64, f64>,
}

impl Server {
    /// Starts one over `dir` on a port that was free just now.
    ///
    /// # Panics
    /// If it is not installed.
    pub fn start(dir: PathBuf) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let at = listener.local_addr().unwrap();
        drop(listener);
        let mut this = Self { child: None, at, dir };
        this.resume();
        this
    }

    /// Starts it again at the same place.
    pub fn resume(&mut self) {
        let child = Command::new("victoria-metrics")
            .args([format!("-httpListenAddr={}", self.at), format!("-storageDataPath={}", self.dir.display())])
            .args(["-retentionPeriod=100y", "-search.latencyOffset=0s", "-memory.allowedBytes=64MB"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let child =
            child.unwrap_or_else(|e| panic!("victoria-metrics does not start ({e}): apt-get install victoria-metrics"));
        self.child = Some(child);
        wait("the time-series server answers", SOON, || std::net::TcpStream::connect(self.at).ok());
    }

    /// Ends it, as a power cut would.
    pub fn end(&mut self) {
        if let Some(mut child) = self.child.take() {
            // It may have ended by itself.
            drop(child.kill());
            drop(child.wait());
        }
    }

    /// Everything it holds of `name`, raw.
    pub fn export(&self, name: &str) -> Vec<Series> {
        // What came just now is not in its index yet.
        drop(http::get(self.at, "/internal/force_flush"));
        let (status, body) = http::get(self.at, &format!("/api/v1/export?match[]={name}&start=1000&end=4102444800"));
        assert_eq!(status, 200, "{body}");
        let one = |line: &str| {
            let json: Value = serde_json::from_str(line).unwrap();
            let labels = json["metric"].as_object().unwrap().iter();
            let times = json["timestamps"].as_array().unwrap().iter().map(|t| t.as_i64().unwrap());
            let values = json["values"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap());
            Series {
                labels: labels.map(|(k, v)| (k.clone(), v.as_str().unwrap().to_owned())).collect(),
                values: times.zip(values).collect(),
            }
        };
        body.lines().filter(|line| !line.is_empty()).map(one).collect()
    }

    /// What a query in PromQL gives over a span, s.
    ///
    /// # Panics
    /// If it is refused.
    pub fn query(&self, query: &str, (from_s, to_s, step_s): (i64, i64, i64)) -> Vec<Value> {
        drop(http::get(self.at, "/internal/force_flush"));
        let path = format!(
            "/api/v1/query_range?query={}&start={from_s}&end={to_s}&step={step_s}&nocache=1",
            http::escaped(query)
        );
        let (status, body) = http::get(self.at, &path);
        assert_eq!(status, 200, "{query}: {body}");
        let json: Value = serde_json::from_str(&body).unwrap();
        json["data"]["result"].as_array().unwrap_or_else(|| panic!("{query}: {body}")).clone()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.end();
    }
}
