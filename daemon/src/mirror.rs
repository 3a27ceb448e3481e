//! A mirror of readings in InfluxDB 2, or whatever takes its line protocol. History stays the truth; this is a copy.
//!
//! It never holds anything up: readings are offered to a bounded queue, sent in batches, and lost (and counted) when
//! the server is away for longer than the queue lasts. Off unless the shelf file has `[influx]`.
//!
//! A line: `reading,nest=oak,quantity=temperature,source=oak-node:warm value=27.25 1772366400000`.
use crate::history::{HistoricReading, Quantity};
use crate::pipeline::Tap;
use crate::shelf_file::InfluxSettings;
use enclosure::{Shelf, Timestamp};
use influxdb2::RequestError;
use influxdb2::api::write::TimestampPrecision;
use std::collections::{HashMap, VecDeque};
use std::fmt::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::sync::mpsc;

/// Readings that may wait for the mirror's task.
pub const MIRROR_WAITING: usize = 4_096;
/// Readings that wait for a server that is away; beyond, the oldest are lost and counted.
pub const KEPT_MAX: usize = 50_000;
/// Most readings in one request.
pub const BATCH_MAX: usize = 5_000;
/// A batch waits so long for company.
const BATCH_EVERY: Duration = Duration::from_secs(5);
/// Longest that one request may take: the client itself would wait for ever.
const WRITE_TIMEOUT: Duration = Duration::from_secs(10);
/// First wait after a request that failed; doubled each time ...
const BACK_OFF_FIRST: Duration = Duration::from_secs(2);
/// ... up to this.
const BACK_OFF_MAX: Duration = Duration::from_secs(120);

/// One reading on its way.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Full SenML name.
    pub source: Arc<str>,
    /// Id of the nest that lists it.
    pub nest: Option<Arc<str>>,
    /// What was measured.
    pub quantity: Quantity,
    /// In the quantity's unit.
    pub value: f64,
    /// When.
    pub at: Timestamp,
}

/// What was done.
#[derive(Debug, Default)]
pub struct Counts {
    sent: AtomicU64,
    lost: AtomicU64,
}

impl Counts {
    /// Readings that the server took.
    pub fn sent(&self) -> u64 {
        self.sent.load(Ordering::Relaxed)
    }

    /// Readings lost: no room, no number, or refused by the server.
    pub fn lost(&self) -> u64 {
        self.lost.load(Ordering::Relaxed)
    }

    fn lose(&self, n: usize) {
        self.lost.fetch_add(n as u64, Ordering::Relaxed);
    }
}

/// Offers readings to the mirror; never waits.
#[derive(Clone, Debug)]
pub struct Feed {
    lines: mpsc::Sender<Line>,
    counts: Arc<Counts>,
}

impl Feed {
    /// Offers one; if there is no room it is lost and counted.
    pub fn offer(&self, line: Line) {
        if self.lines.try_send(line).is_err() {
            self.counts.lose(1);
        }
    }

    /// What was done so far.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }
}

/// Offers every judged reading to the mirror, under the nest that lists its source.
pub fn tap(feed: Feed, shelf: &Shelf) -> Tap {
    let mut nests: HashMap<String, Arc<str>> = HashMap::new();
    for nest in &shelf.nests {
        let id: Arc<str> = nest.id.as_str().into();
        let probes = nest.probes.iter().map(|p| &p.source);
        let drives = nest.pads.iter().filter_map(|p| p.drive.as_ref());
        // A room belongs to the first nest that lists it.
        for source in probes.chain(drives).chain(nest.room.as_ref()) {
            nests.entry(source.clone()).or_insert_with(|| Arc::clone(&id));
        }
    }
    Tap(Arc::new(move |r: &HistoricReading| {
        let (quantity, value) = Quantity::of(r.measured);
        let nest = nests.get(&*r.source).cloned();
        feed.offer(Line { source: Arc::clone(&r.source), nest, quantity, value, at: r.at });
    }))
}

/// Why there is no mirror.
#[derive(Debug, thiserror::Error)]
pub enum MirrorError {
    /// The address is none.
    #[error("mirroring to {url}: it is no http address with a host. Correct [influx] url")]
    Address {
        /// What the shelf file says.
        url: String,
    },
    /// The token cannot be read.
    #[error("mirroring: the token in {path} cannot be read. Correct [influx] token_file")]
    Token {
        /// The file.
        path: std::path::PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// Makes the mirror: the way in, and the task that sends; the task ends after the last [`Feed`], with a last attempt.
///
/// # Errors
/// [`MirrorError`].
pub fn mirror(settings: &InfluxSettings) -> Result<(Feed, impl Future<Output = ()> + Send + use<>), MirrorError> {
    let address = || MirrorError::Address { url: settings.url.clone() };
    // The client panics on a bad address.
    let url = reqwest::Url::parse(&settings.url).map_err(|_| address())?;
    if url.scheme() != "http" || url.host_str().is_none_or(str::is_empty) {
        return Err(address());
    }
    let token = match &settings.token_file {
        Some(path) => {
            let read = std::fs::read_to_string(path);
            read.map_err(|source| MirrorError::Token { path: path.clone(), source })?.trim().to_owned()
        }
        None => String::new(),
    };
    let (lines, inbox) = mpsc::channel(MIRROR_WAITING);
    let counts = Arc::new(Counts::default());
    let task = Task {
        client: influxdb2::Client::new(url.as_str().trim_end_matches('/'), settings.org.clone(), token),
        org: settings.org.clone(),
        bucket: settings.bucket.clone(),
        kept: VecDeque::new(),
        counts: Arc::clone(&counts),
        failures: 0,
    };
    Ok((Feed { lines, counts }, task.run(inbox)))
}

struct Task {
    client: influxdb2::Client,
    org: String,
    bucket: String,
    kept: VecDeque<Line>,
    counts: Arc<Counts>,
    failures: u32,
}

impl Task {
    async fn run(mut self, mut inbox: mpsc::Receiver<Line>) {
        loop {
            let open = self.gather(&mut inbox).await;
            let least = if open { BATCH_MAX } else { 1 };
            while !self.kept.is_empty() && self.write().await && self.kept.len() >= least {}
            if !open {
                self.counts.lose(self.kept.len());
                return;
            }
        }
    }

    /// Takes lines in until a batch is due; whether more may come.
    async fn gather(&mut self, inbox: &mut mpsc::Receiver<Line>) -> bool {
        let due = tokio::time::sleep(if self.failures == 0 { BATCH_EVERY } else { self.back_off() });
        tokio::pin!(due);
        loop {
            tokio::select! {
                line = inbox.recv() => match line {
                    Some(line) => self.keep(line),
                    None => return false,
                },
                () = &mut due => return true,
            }
            if self.failures == 0 && self.kept.len() >= BATCH_MAX {
                return true;
            }
        }
    }

    fn keep(&mut self, line: Line) {
        if !line.value.is_finite() {
            return self.counts.lose(1);
        }
        if self.kept.len() >= KEPT_MAX {
            self.kept.pop_front();
            self.counts.lose(1);
        }
        self.kept.push_back(line);
    }

    fn back_off(&self) -> Duration {
        BACK_OFF_FIRST.saturating_mul(1 << self.failures.saturating_sub(1).min(16)).min(BACK_OFF_MAX)
    }

    /// Sends the oldest batch; whether the server is there for more.
    async fn write(&mut self) -> bool {
        let n = self.kept.len().min(BATCH_MAX);
        let mut body = String::with_capacity(n * 80);
        self.kept.iter().take(n).for_each(|line| write_line(line, &mut body));
        let precision = TimestampPrecision::Milliseconds;
        let writing = self.client.write_line_protocol_with_precision(&self.org, &self.bucket, body, precision);
        let why = match tokio::time::timeout(WRITE_TIMEOUT, writing).await {
            Ok(Ok(())) => {
                self.kept.drain(..n);
                self.counts.sent.fetch_add(n as u64, Ordering::Relaxed);
                self.failures = 0;
                return true;
            }
            // The lines themselves are refused: sent again they would be refused again.
            Ok(Err(RequestError::Http { status, .. })) if [400, 413, 422].contains(&status.as_u16()) => {
                self.kept.drain(..n);
                self.counts.lose(n);
                tracing::warn!("the mirror refused {n} readings ({status}); they are in history");
                return true;
            }
            // Its text may be long, and the answer's body is another's.
            Ok(Err(RequestError::Http { status, .. })) => format!("it answered {status}"),
            Ok(Err(_)) => "it cannot be reached".to_owned(),
            Err(_) => format!("no answer within {} s", WRITE_TIMEOUT.as_secs()),
        };
        self.failures = self.failures.saturating_add(1);
        if self.failures == 1 {
            tracing::warn!("mirroring readings: {why}; they are kept for a while and tried again");
        }
        false
    }
}

fn write_line(line: &Line, out: &mut String) {
    out.push_str("reading");
    if let Some(nest) = &line.nest {
        out.push_str(",nest=");
        escape(nest, out);
    }
    let _ = write!(out, ",quantity={},source=", line.quantity.name());
    escape(&line.source, out);
    let _ = writeln!(out, " value={} {}", line.value, line.at.unix_ms());
}

/// A tag's value: commas, equal signs and spaces with a backslash before them; what ends a line is a space.
fn escape(text: &str, out: &mut String) {
    for c in text.chars() {
        match c {
            ',' | '=' | ' ' => out.extend(['\\', c]),
            c if c.is_control() => out.push_str("\\ "),
            c => out.push(c),
        }
    }
    // A backslash at the end would take the next comma with it.
    if text.ends_with('\\') {
        out.push('_');
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::http_probe::{DEADLINE, Probe};

    fn settings(probe: &Probe) -> InfluxSettings {
        InfluxSettings { url: probe.url(""), org: "home".to_owned(), bucket: "shelf".to_owned(), token_file: None }
    }

    fn line(source: &str, value: f64, ms: i64) -> Line {
        Line {
            source: source.into(),
            nest: Some("oak".into()),
            quantity: Quantity::Temperature,
            value,
            at: Timestamp::from_unix_ms(ms),
        }
    }

    /// Feeds `lines`, ends the feed, and waits for the task.
    async fn feed(probe: &Probe, lines: Vec<Line>) -> (u64, u64) {
        let (feed, task) = mirror(&settings(probe)).expect("a mirror");
        for line in lines {
            feed.offer(line);
        }
        let counts = Arc::clone(&feed.counts);
        drop(feed);
        tokio::time::timeout(DEADLINE, task).await.expect("it ends");
        (counts.sent(), counts.lost())
    }

    #[tokio::test]
    async fn readings_arrive_as_lines_with_milliseconds() {
        let mut probe = Probe::start(&[]).await;
        let lines = vec![line("oak-node:warm", 27.25, 1_772_366_400_250), line("a b,c=d", -0.5, 5)];
        assert_eq!(feed(&probe, lines).await, (2, 0));
        let request = probe.request().await;
        assert!(request.head.starts_with("POST /api/v2/write?bucket=shelf&org=home&precision=ms "), "{}", request.head);
        let want = "reading,nest=oak,quantity=temperature,source=oak-node:warm value=27.25 1772366400250\n\
                    reading,nest=oak,quantity=temperature,source=a\\ b\\,c\\=d value=-0.5 5\n";
        assert_eq!(request.body, want);
    }

    #[tokio::test]
    async fn what_is_refused_or_no_number_is_lost_and_counted() {
        let probe = Probe::start(&[(400, "bad line")]).await;
        assert_eq!(feed(&probe, vec![line("a:b", 1.0, 1), line("a:b", f64::NAN, 2)]).await, (0, 2));
    }

    #[tokio::test]
    async fn a_server_that_is_down_costs_readings_but_no_time() {
        let probe = Probe::start(&[(503, "away")]).await;
        assert_eq!(feed(&probe, vec![line("a:b", 1.0, 1)]).await, (0, 1));
    }

    #[tokio::test]
    async fn a_full_queue_holds_nobody_up() {
        let probe = Probe::start(&[]).await;
        let (feed, task) = mirror(&settings(&probe)).expect("a mirror");
        for i in 0..MIRROR_WAITING + 7 {
            feed.offer(line("a:b", 1.0, i as i64));
        }
        assert_eq!(feed.counts().lost(), 7);
        drop(task);
    }

    #[tokio::test]
    async fn more_than_one_batch_is_sent_in_several_requests() {
        let mut probe = Probe::start(&[]).await;
        let mut task = Task {
            client: influxdb2::Client::new(probe.url(""), "home", ""),
            org: "home".to_owned(),
            bucket: "shelf".to_owned(),
            kept: VecDeque::new(),
            counts: Arc::default(),
            failures: 0,
        };
        (0..KEPT_MAX + 3).for_each(|i| task.keep(line("a:b", 1.0, i as i64)));
        assert_eq!((task.kept.len(), task.counts.lost()), (KEPT_MAX, 3));
        task.kept.truncate(BATCH_MAX + 1);
        assert!(task.write().await && task.write().await);
        let sizes = [probe.request().await, probe.request().await].map(|r| r.body.lines().count());
        assert_eq!(sizes, [BATCH_MAX, 1]);
    }

    #[test]
    fn an_address_that_is_none_is_refused_instead_of_a_panic() {
        for url in ["", "nonsense", "https://host", "http://"] {
            let settings =
                InfluxSettings { url: url.to_owned(), org: String::new(), bucket: String::new(), token_file: None };
            assert!(mirror(&settings).is_err(), "{url}");
        }
    }

    #[test]
    fn hostile_names_stay_within_their_line() {
        let mut out = String::new();
        write_line(&line("x\ny value=1 2\n\\", 1.0, 1), &mut out);
        assert_eq!(out.lines().count(), 1);
        assert!(!out.contains("\\ v value"), "{out}");
    }
}
