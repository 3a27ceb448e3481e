//! What people do with a message: one-time links, proofs that a message was seen, "someone is on the way".
//!
//! A link holds what it is about and until when, signed with a key that only this history knows: it cannot be guessed,
//! and outlives a restart. It answers or passes on one raising of one alarm; it resets, silences and heats nothing.
use super::heartbeat::Awaited;
use super::ledger::{self, Ledger};
use super::ways::{is_signed, sign};
use super::{Mail, Proof};
use crate::clock::Clock;
use crate::history::Delivery;
use crate::shelf_file::ShelfFile;
use crate::snapshot::{AlarmName, Sent as Report, Told};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use dashboards::say;
use enclosure::{Priority, Span, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{mpsc, oneshot};

/// Where links lead.
pub const LINK_PATH: &str = "/answer/";
/// The fact in history under which the links' key stands.
pub const KEY_FACT: &str = "link_key";
/// How long a link can be used.
pub const LINK_HOLDS: Span = Span::from_h(24);
/// How long the code of a test message can be used.
pub const CODE_HOLDS: Span = Span::from_h(24);
/// A danger way that nobody saw a test of for so long is told on every page.
pub const PROOF_HOLDS: Span = Span::from_h(90 * 24);
/// Bytes of a link's signature: 128 bits, as RFC 2104 (section 5) allows.
const MAC_BYTES: usize = 16;
/// Codes kept; beyond, the oldest goes.
const CODES_MAX: usize = 64;

const ALARM: u8 = 1;
const TEST: u8 = 2;

/// Random bytes, for keys and codes.
///
/// # Errors
/// If the system gives none.
pub fn random<const N: usize>() -> Result<[u8; N], String> {
    let mut bytes = [0; N];
    let provider = rustls::crypto::ring::default_provider();
    provider.secure_random.fill(&mut bytes).map_err(|_| "the system gives no random numbers".to_owned())?;
    Ok(bytes)
}

/// What a link is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Linked {
    /// One raising of one alarm: its first line, and its name.
    Alarm {
        /// The message's first line.
        first_line: String,
        /// Which alarm.
        name: AlarmName,
        /// The raising.
        id: i64,
        /// By which way the link came.
        way: u8,
    },
    /// A test message, by its code.
    Test(String),
}

#[derive(Debug, Default)]
struct Inner {
    mailboxes: Vec<mpsc::Sender<Mail>>,
    outcomes: Option<mpsc::Sender<Report>>,
    /// Raisings that can be answered: what a page says of them.
    open: BTreeMap<i64, (AlarmName, String)>,
    /// Links that were used: raising and way.
    used: BTreeSet<(i64, u8)>,
    codes: Vec<(String, String, String, Timestamp)>,
    proofs: Vec<Proof>,
}

/// Between the pages and the ways out. Shared.
#[derive(Debug)]
pub struct Answering {
    key: [u8; 32],
    base: Option<String>,
    clock: Arc<dyn Clock>,
    awaited: Awaited,
    inner: Mutex<Inner>,
}

impl Answering {
    /// `page` is where the pages really are; links need an address that others reach.
    pub fn new(key: [u8; 32], file: &ShelfFile, page: SocketAddr, clock: Arc<dyn Clock>) -> Arc<Self> {
        let reachable = !page.ip().is_loopback() && !page.ip().is_unspecified();
        let scheme = if file.web.tls.is_some() { "https" } else { "http" };
        let own = reachable.then(|| format!("{scheme}://{page}"));
        let awaited = Awaited::new(file.heartbeat.as_ref(), clock.monotonic());
        Arc::new(Self { key, base: file.web.url.clone().or(own), clock, awaited, inner: Mutex::default() })
    }

    /// One that nobody can reach: for commands and tests.
    pub fn alone(clock: Arc<dyn Clock>) -> Arc<Self> {
        Arc::new(Self { key: [0; 32], base: None, clock, awaited: Awaited::default(), inner: Mutex::default() })
    }

    /// Signs of life from elsewhere.
    pub fn awaited(&self) -> &Awaited {
        &self.awaited
    }

    /// A sign of life of the shelf `name` came; `false` where none of it is awaited.
    pub fn hear_life(&self, name: &str) -> bool {
        self.awaited.hear(name, self.clock.monotonic())
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn connect(
        &self,
        mailboxes: Vec<mpsc::Sender<Mail>>,
        outcomes: mpsc::Sender<Report>,
        proofs: Vec<Proof>,
    ) {
        let mut inner = self.lock();
        (inner.mailboxes, inner.outcomes, inner.proofs) = (mailboxes, Some(outcomes), proofs);
    }

    /// The tasks end: nothing holds their boxes open any longer.
    pub(super) fn disconnect(&self) {
        let mut inner = self.lock();
        inner.mailboxes.clear();
        inner.outcomes = None;
    }

    /// The host under which a telephone reaches the pages, if the keeper named one.
    pub fn host(&self) -> Option<String> {
        let url = reqwest::Url::parse(self.base.as_deref()?).ok()?;
        let host = url.host_str()?.to_owned();
        Some(url.port().map_or(host.clone(), |port| format!("{host}:{port}")))
    }

    /// Takes in what changed: only the newest raising of an alarm can be answered.
    pub(crate) fn hear(&self, told: &Told, first_line: &str) {
        let (alarm, nest, probe, node) = told.key();
        let owned = |text: Option<&str>| text.map(str::to_owned);
        let name = AlarmName { alarm: alarm.to_owned(), nest: owned(nest), probe: owned(probe), node: owned(node) };
        let mut inner = self.lock();
        inner.open.retain(|_, (known, _)| *known != name);
        if let Some(id) = told.id.filter(|_| told.begins()) {
            inner.open.insert(id, (name, first_line.to_owned()));
        }
        let Inner { open, used, .. } = &mut *inner;
        used.retain(|(id, _)| open.contains_key(id));
    }

    /// A link to answer `told` with, as it goes out by `way`.
    pub(crate) fn link(&self, told: &Told, way: u8) -> Option<String> {
        let id = told.id.filter(|_| told.begins())?;
        self.signed(ALARM, way, id, LINK_HOLDS)
    }

    fn signed(&self, kind: u8, way: u8, id: i64, holds: Span) -> Option<String> {
        let base = self.base.as_deref()?;
        let until = self.clock.now().plus(holds).unix_ms();
        let mut token = vec![kind, way];
        token.extend(id.to_be_bytes());
        token.extend(until.to_be_bytes());
        let mac = sign(&self.key, &[&token]);
        token.extend(&mac[..MAC_BYTES]);
        Some(format!("{base}{LINK_PATH}{}", URL_SAFE_NO_PAD.encode(token)))
    }

    /// What a link is about.
    ///
    /// # Errors
    /// In plain words, why nothing can be done with it.
    pub fn read(&self, token: &str) -> Result<Linked, String> {
        let wrong = || say!("answer-link-wrong");
        let bytes = URL_SAFE_NO_PAD.decode(token).map_err(|_| wrong())?;
        let (head, mac) = bytes.split_at_checked(18).ok_or_else(wrong)?;
        let whole = sign(&self.key, &[head]);
        // Both sides are hashed again before they are compared: the time it takes tells nothing.
        let proof = sign(&self.key, &[&whole[..MAC_BYTES]]);
        if mac.len() != MAC_BYTES || !is_signed(&self.key, &[mac], &proof) {
            return Err(wrong());
        }
        let number = |range: std::ops::Range<usize>| head[range].try_into().map(i64::from_be_bytes);
        let (Ok(id), Ok(until)) = (number(2..10), number(10..18)) else { return Err(wrong()) };
        if self.clock.now().unix_ms() > until {
            return Err(say!("answer-link-expired"));
        }
        if head[0] == TEST {
            return Ok(Linked::Test(format!("{id:08}")));
        }
        let inner = self.lock();
        if inner.used.contains(&(id, head[1])) {
            return Err(say!("answer-link-used"));
        }
        match inner.open.get(&id) {
            Some((name, line)) => Ok(Linked::Alarm { first_line: line.clone(), name: name.clone(), id, way: head[1] }),
            None => Err(say!("answer-link-over")),
        }
    }

    /// The link did its work.
    pub fn used(&self, id: i64, way: u8) {
        self.lock().used.insert((id, way));
    }

    /// "I cannot get there": the next person is told now. `false` where nobody is left to be told.
    pub fn pass_on(&self, id: i64) -> bool {
        let inner = self.lock();
        let Some((name, _)) = inner.open.get(&id).cloned() else { return false };
        let reached =
            inner.mailboxes.iter().map(|m| m.try_send(Mail::PassOn(name.clone())).is_ok()).filter(|ok| *ok).count();
        Self::write_down(&inner, self.clock.now(), id, ledger::PASSED_ON);
        reached > 1
    }

    /// "Someone is on the way": who was told is left in peace for a while.
    ///
    /// # Errors
    /// In plain words, why not.
    pub fn on_the_way(&self, name: &AlarmName) -> Result<(), String> {
        let inner = self.lock();
        let id = inner.open.iter().find(|(_, (known, _))| known == name).map(|(id, _)| *id);
        let id = id.ok_or_else(|| format!("nobody is being told of {} now", name.alarm))?;
        for mailbox in &inner.mailboxes {
            mailbox.try_send(Mail::OnTheWay(name.clone())).map_err(|_| "a way out is busy: try again".to_owned())?;
        }
        Self::write_down(&inner, self.clock.now(), id, ledger::ON_THE_WAY);
        Ok(())
    }

    fn write_down(inner: &Inner, at: Timestamp, id: i64, what: &str) {
        Self::report(
            inner,
            Delivery { change: Some(id), way: ledger::PERSON.to_owned(), attempt: 1, at, outcome: what.to_owned() },
        );
    }

    fn report(inner: &Inner, delivery: Delivery) {
        let report = Report { delivery, failing: false };
        if inner.outcomes.as_ref().is_none_or(|outcomes| outcomes.try_send(report).is_err()) {
            tracing::warn!("what a person did could not be written down; it holds until the next start");
        }
    }

    /// Sends a test message by every way; for each: its name, and whether the other side accepted it.
    pub async fn test(&self) -> Vec<(String, Result<(), String>)> {
        let sent: Vec<_> = {
            let mut inner = self.lock();
            let ways: Vec<_> = inner.proofs.iter().map(|p| (p.way.clone(), p.fingerprint.clone())).collect();
            let mailboxes = inner.mailboxes.clone();
            ways.into_iter()
                .zip(mailboxes)
                .map(|((way, print), mailbox)| {
                    let (reply, answer) = oneshot::channel();
                    let now = self.clock.now();
                    let sent = Self::code().and_then(|code| {
                        let link = code.parse().ok().and_then(|id| self.signed(TEST, 0, id, CODE_HOLDS));
                        remember(&mut inner.codes, (code.clone(), way.clone(), print, now));
                        mailbox.try_send(Mail::Test { code, link, reply }).map_err(|_| say!("failed-way-busy"))
                    });
                    (way, sent, answer)
                })
                .collect()
        };
        let mut said = Vec::new();
        for (way, sent, answer) in sent {
            let result = match sent {
                Ok(()) => answer.await.unwrap_or_else(|_| Err(say!("failed-way-ended"))),
                Err(why) => Err(why),
            };
            if result.is_ok()
                && let Some(proof) = self.lock().proofs.iter_mut().find(|proof| proof.way == way)
            {
                proof.accepted = Some(self.clock.now());
            }
            said.push((way, result));
        }
        said
    }

    /// Eight digits for a test message.
    ///
    /// # Errors
    /// If the system gives no random numbers.
    pub fn code() -> Result<String, String> {
        let number = u64::from_be_bytes(random::<8>()?) % 100_000_000;
        Ok(format!("{number:08}"))
    }

    /// What is to be written down where a person saw the test message with this code.
    ///
    /// # Errors
    /// In plain words, why it proves nothing.
    pub fn proves(&self, code: &str) -> Result<Delivery, String> {
        let now = self.clock.now();
        let mut inner = self.lock();
        inner.codes.retain(|(.., at)| now.since(*at) <= CODE_HOLDS);
        let found = inner.codes.iter().find(|(known, ..)| known == code);
        let (_, way, fingerprint, _) = found.ok_or_else(|| say!("answer-code-unknown"))?;
        let outcome = format!("{} {fingerprint}", ledger::SEEN);
        Ok(Delivery { change: None, way: way.clone(), attempt: 1, at: now, outcome })
    }

    /// It is written down: the code did its work.
    pub fn proved(&self, code: &str, written: &Delivery) {
        let mut inner = self.lock();
        inner.codes.retain(|(known, ..)| known != code);
        if let Some(proof) = inner.proofs.iter_mut().find(|p| p.way == written.way) {
            proof.seen = Some(written.at);
        }
    }

    /// Every way, and when a person last saw a test message by it.
    pub fn proofs(&self) -> Vec<Proof> {
        self.lock().proofs.clone()
    }

    /// What every page says of ways that should carry danger and are not proved.
    pub fn unproved(&self) -> Vec<String> {
        let now = self.clock.now();
        let stale = |p: &&Proof| p.carries_danger && p.seen.is_none_or(|at| now.since(at) > PROOF_HOLDS);
        let said = |p: &Proof| match p.seen {
            None => say!("answer-never-seen", way = &p.way),
            Some(at) => say!("answer-seen-long-ago", way = &p.way, days = now.since(at).ms() / 86_400_000),
        };
        self.lock().proofs.iter().filter(stale).map(said).collect()
    }
}

fn remember(codes: &mut Vec<(String, String, String, Timestamp)>, code: (String, String, String, Timestamp)) {
    if codes.len() >= CODES_MAX {
        codes.remove(0);
    }
    codes.push(code);
}

/// Whether a way may carry danger to a person: the log reaches nobody.
pub(super) fn carries_danger(way: &crate::shelf_file::NoticeWay) -> bool {
    way.way != crate::shelf_file::Way::Log && way.least <= Priority::Danger
}

/// What a way's proof is about: with other settings it must be proved again.
pub(super) fn fingerprint(way: &crate::shelf_file::Way) -> String {
    super::ways::hex(&sign(b"way", &[format!("{way:?}").as_bytes()])[..4])
}

impl Proof {
    /// What is known of a way at the start.
    pub(super) fn of(name: &str, way: &crate::shelf_file::NoticeWay, ledger: &Ledger) -> Self {
        let fingerprint = fingerprint(&way.way);
        Self {
            way: name.to_owned(),
            carries_danger: carries_danger(way),
            seen: ledger.proof(name, ledger::SEEN, &fingerprint),
            accepted: ledger.proof(name, ledger::ACCEPTED, &fingerprint),
            fingerprint,
        }
    }
}
