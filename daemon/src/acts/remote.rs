//! Acts while a daemon runs: asked over its own pages' address.
use super::proving::Step;
use super::{Standing, Written};
use crate::history::Reader;
use crate::notices::KEY_FACT;
use crate::run;
use crate::shelf_file::ShelfFile;
use crate::snapshot::{AlarmAct, AlarmName, Note};
use crate::times;
use crate::web::access::token;
use anyhow::{Context as _, bail};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use enclosure::{State, Timestamp};
use reqwest::header::{AUTHORIZATION, HeaderMap, HeaderValue};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::ops::Range;
use std::time::Duration;

/// Longest wait for the daemon's answer: an act waits for the disk.
const ANSWER_WITHIN: Duration = Duration::from_secs(15);

/// The running daemon.
pub(super) struct Daemon {
    address: SocketAddr,
    client: reqwest::Client,
}

#[derive(Deserialize)]
struct Alarms {
    alarms: Vec<AlarmJson>,
}

#[derive(Deserialize)]
struct AlarmJson {
    alarm: String,
    state: String,
    since: f64,
    nest: Option<String>,
    probe: Option<String>,
    node: Option<String>,
    #[serde(default)]
    detail: String,
}

#[derive(Deserialize)]
struct Ways {
    ways: Vec<WayJson>,
}

#[derive(Deserialize)]
struct WayJson {
    way: String,
    #[serde(default)]
    why: Option<String>,
    #[serde(default)]
    accepted: Option<f64>,
    #[serde(default)]
    seen: Option<f64>,
}

#[derive(Deserialize)]
struct Notes {
    notes: Vec<NoteJson>,
}

#[derive(Deserialize)]
struct NoteJson {
    t: f64,
    nest: Option<String>,
    kind: String,
    at_mm: Option<f64>,
    #[serde(default)]
    text: String,
}

#[derive(Deserialize)]
struct Answer {
    #[serde(default)]
    why: String,
    #[serde(default)]
    way: String,
}

impl Daemon {
    pub(super) fn of(file: &ShelfFile) -> anyhow::Result<Self> {
        let reader = Reader::open(&file.history.path)?;
        let key = reader.fact(KEY_FACT)?.and_then(|text| URL_SAFE_NO_PAD.decode(text).ok()?.try_into().ok());
        let token = key.map(|key| token(&key));
        let beside = reader.fact(run::LOCAL_FACT)?.and_then(|text| text.parse().ok());
        if let Some(address) = beside.filter(|_| file.web.tls.is_some() || file.web.proxy.is_some()) {
            return Self::at(address, token);
        }
        let mut address = file.web.listen;
        if address.port() == 0 {
            let fact = reader.fact(run::PAGE_FACT)?;
            address = fact.and_then(|text| text.parse().ok()).context(
                "asking the running daemon: [web] listen leaves the port to chance, and it did not write down which \
                 it took. Give [web] listen a port of its own",
            )?;
        }
        Self::at(address, token)
    }

    pub(super) fn at(mut address: SocketAddr, token: Option<String>) -> anyhow::Result<Self> {
        if address.ip().is_unspecified() {
            let loopback = if address.is_ipv4() { IpAddr::V4(Ipv4Addr::LOCALHOST) } else { Ipv6Addr::LOCALHOST.into() };
            address.set_ip(loopback);
        }
        drop(rustls::crypto::ring::default_provider().install_default());
        // It is this machine: no proxy has any business here.
        let mut headers = HeaderMap::new();
        let bearer = token.and_then(|token| HeaderValue::from_str(&format!("Bearer {token}")).ok());
        headers.extend(bearer.map(|value| (AUTHORIZATION, value)));
        let client = reqwest::Client::builder().timeout(ANSWER_WITHIN).default_headers(headers).no_proxy().build();
        Ok(Self { address, client: client.context("making an HTTP client")? })
    }

    pub(super) async fn standing(&self) -> anyhow::Result<Vec<Standing>> {
        let alarms: Alarms = self.get("alarms.json", &[]).await?;
        alarms.alarms.into_iter().map(AlarmJson::standing).collect()
    }

    pub(super) async fn notes(&self, span: Range<Timestamp>) -> anyhow::Result<Vec<Written>> {
        let (from, to) = (times::rfc3339_ms(span.start), times::rfc3339_ms(span.end));
        let notes: Notes = self.get("notes.json", &[("from", from), ("to", to)]).await?;
        notes.notes.into_iter().map(NoteJson::written).collect()
    }

    pub(super) async fn act(&self, act: AlarmAct, name: &AlarmName, why: &str) -> anyhow::Result<()> {
        let wish = match act {
            AlarmAct::Acknowledge => "ack",
            AlarmAct::Shelve(_) => "shelve",
            AlarmAct::Unshelve => "unshelve",
            AlarmAct::Reset => "reset",
            AlarmAct::TakeOut(_) => "out-of-service",
            AlarmAct::PutBack => "in-service",
            AlarmAct::OnTheWay => "on-the-way",
        };
        let mut body = named(wish, name);
        match act {
            AlarmAct::Shelve(minutes) => body["minutes"] = json!(minutes),
            AlarmAct::TakeOut(Some(until)) => body["until"] = json!(until.unix_s()),
            _ => {}
        }
        body["by"] = json!(super::BY);
        if !why.is_empty() {
            body["why"] = json!(why);
        }
        self.post(&body).await
    }

    pub(super) async fn write(&self, note: &Note) -> anyhow::Result<()> {
        let mut body = json!({
            "do": "note", "nest": note.nest, "kind": note.kind, "text": note.text, "at": note.at.unix_s(),
        });
        if let Some(mm) = note.at_mm {
            body["at_mm"] = json!(mm);
        }
        self.post(&body).await
    }

    /// Puts a former fit back into force.
    pub(super) async fn put_back_fit(&self, nest: &str, fit: i64, why: &str) -> anyhow::Result<()> {
        self.post(&json!({ "do": "put-back-fit", "nest": nest, "fit": fit, "by": super::BY, "why": why })).await
    }

    /// Sends test messages; each way with why it was not accepted.
    pub(super) async fn test(&self) -> anyhow::Result<Vec<(String, Option<String>)>> {
        let answer = self.post_to("ways/test", &json!({})).await?;
        let ways: Ways = answer.json().await.with_context(|| self.asking())?;
        Ok(ways.ways.into_iter().map(|w| (w.way, w.why)).collect())
    }

    /// A person saw the test message of this code; gives the way.
    pub(super) async fn seen(&self, code: &str) -> anyhow::Result<String> {
        let answer = self.post_to("ways/seen", &json!({ "code": code })).await?;
        let answer: Answer = answer.json().await.with_context(|| self.asking())?;
        Ok(answer.way)
    }

    /// How far each way is proved.
    pub(super) async fn ways(&self) -> anyhow::Result<Vec<Step>> {
        let ways: Ways = self.get("ways.json", &[]).await?;
        let at = |s: Option<f64>| s.and_then(Timestamp::from_unix_s);
        Ok(ways.ways.into_iter().map(|w| Step { way: w.way, accepted: at(w.accepted), seen: at(w.seen) }).collect())
    }

    async fn get<T: for<'a> Deserialize<'a>>(&self, page: &str, query: &[(&str, String)]) -> anyhow::Result<T> {
        let mut url = reqwest::Url::parse(&format!("http://{}/{page}", self.address)).context("the pages' address")?;
        if !query.is_empty() {
            url.query_pairs_mut().extend_pairs(query);
        }
        let answer = self.client.get(url).send().await.with_context(|| self.asking())?;
        let answer = self.judged(answer).await?;
        answer
            .json()
            .await
            .with_context(|| format!("{}: its answer is not understood; is it of another version?", self.asking()))
    }

    async fn post(&self, body: &Value) -> anyhow::Result<()> {
        self.post_to("act", body).await.map(drop)
    }

    async fn post_to(&self, page: &str, body: &Value) -> anyhow::Result<reqwest::Response> {
        let url = format!("http://{}/{page}", self.address);
        let answer = self.client.post(url).json(body).send().await.with_context(|| self.asking())?;
        self.judged(answer).await
    }

    async fn judged(&self, answer: reqwest::Response) -> anyhow::Result<reqwest::Response> {
        let status = answer.status();
        if status.is_success() {
            return Ok(answer);
        }
        let why = answer.json::<Answer>().await.map(|a| a.why).unwrap_or_default();
        let why = if why.is_empty() { format!("it answered {status}") } else { super::one_line(&why) };
        bail!("the running daemon did not do it: {why}")
    }

    fn asking(&self) -> String {
        format!(
            "asking the running daemon at {}: see whether [web] listen in this shelf file is the one it runs with",
            self.address
        )
    }
}

/// What is to be done to an alarm.
fn named(wish: &str, name: &AlarmName) -> Value {
    let mut body = Map::new();
    body.insert("do".to_owned(), json!(wish));
    body.insert("alarm".to_owned(), json!(name.alarm));
    for (key, value) in [("nest", &name.nest), ("probe", &name.probe), ("node", &name.node)] {
        if let Some(value) = value {
            body.insert(key.to_owned(), json!(value));
        }
    }
    Value::Object(body)
}

impl AlarmJson {
    fn standing(self) -> anyhow::Result<Standing> {
        let state = State::from_name(&self.state);
        let since = Timestamp::from_unix_s(self.since);
        let (state, since) =
            state.zip(since).context("the daemon's answer is not understood; is it of another version?")?;
        let name = AlarmName { alarm: self.alarm, nest: self.nest, probe: self.probe, node: self.node };
        Ok(Standing { name, state, since, detail: self.detail })
    }
}

impl NoteJson {
    fn written(self) -> anyhow::Result<Written> {
        let at = Timestamp::from_unix_s(self.t).context("the daemon's answer holds a time that cannot be")?;
        Ok(Written { at, nest: self.nest, kind: self.kind, at_mm: self.at_mm, text: self.text })
    }
}
