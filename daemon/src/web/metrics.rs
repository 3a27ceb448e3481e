//! `GET /metrics`: OpenMetrics 1.0. Labels come from the shelf file and from closed lists, never from what a node says.
use super::{App, VIEWERS_MAX};
use crate::history::Reader;
use crate::snapshot::Snapshot;
use crate::views::load::{self, Load};
use crate::views::now::{names, shown};
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use enclosure::Span;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::registry::{Registry, Unit};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// The type of the text, as OpenMetrics 1.0 names it.
const TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// An alarm that stands longer is stale (a common house rule; the standards give no number).
const STALE_AFTER: Span = Span::from_h(24);

/// How long the last day's figures are kept.
const DAY_KEPT_FOR: Span = Span::from_min(1);

type Labels = Vec<(&'static str, String)>;
type Number = Gauge<f64, AtomicU64>;
type Numbers = Family<Labels, Number>;

pub(super) async fn metrics(State(app): State<Arc<App>>) -> Response {
    let mut registry = Registry::with_prefix("warmend");
    let snap = app.snapshot();
    nests(&mut registry, &snap);
    vitals(&mut registry, &snap);
    alarm_load(&mut registry, &snap);
    if let Some(day) = app.alarms_of_the_day().await {
        alarm_day(&mut registry, &day);
    }
    gauge(
        &mut registry,
        ("up", "1 while readings are judged and history is written"),
        None,
        [(vec![], f64::from(u8::from(super::Health::of(&snap, app.pulse.stalled()).well)))],
    );
    let following = VIEWERS_MAX.saturating_sub(app.viewers.available_permits()) as f64;
    gauge(&mut registry, ("web_viewers", "Pages that follow now"), None, [(vec![], following)]);
    let pages = [
        ("web_requests", "Requests to the pages", &app.counted.requests),
        ("web_refused", "Requests refused as foreign", &app.counted.refused),
        ("web_busy", "Requests sent away for lack of room or time", &app.counted.busy),
        ("web_viewers_refused", "Pages that could not follow for lack of room", &app.counted.viewers_refused),
    ];
    for (name, help, counted) in pages {
        count(&mut registry, (name, help), counted.load(Ordering::Relaxed));
    }
    let mut text = String::new();
    if encode(&mut text, &registry).is_err() {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    }
    ([(header::CONTENT_TYPE, TYPE)], text).into_response()
}

/// Values that are no number are left out.
fn gauge(
    registry: &mut Registry,
    (name, help): (&str, &str),
    unit: Option<Unit>,
    values: impl IntoIterator<Item = (Labels, f64)>,
) {
    let family = Numbers::default();
    for (labels, value) in values.into_iter().filter(|(_, v)| v.is_finite()) {
        family.get_or_create(&labels).set(value);
    }
    match unit {
        Some(unit) => registry.register_with_unit(name, help, unit, family),
        None => registry.register(name, help, family),
    }
}

/// Whether a state asks for somebody.
const fn rings(state: enclosure::State) -> bool {
    use enclosure::State;
    matches!(state, State::Unacknowledged | State::Acknowledged | State::Returned | State::Latched)
}

fn count(registry: &mut Registry, (name, help): (&str, &str), value: u64) {
    let counter: Counter = Counter::default();
    counter.inc_by(value);
    registry.register(name, help, counter);
}

fn counts(registry: &mut Registry, named: (&str, &str), values: &BTreeMap<&'static str, u64>) {
    by(registry, named, "reason", values);
}

fn by(registry: &mut Registry, (name, help): (&str, &str), label: &'static str, values: &BTreeMap<&'static str, u64>) {
    let family = Family::<Labels, Counter>::default();
    for (value, n) in values {
        family.get_or_create(&vec![(label, (*value).to_owned())]).inc_by(*n);
    }
    registry.register(name, help, family);
}

fn nests(registry: &mut Registry, snap: &Snapshot) {
    let each = || snap.shelf.nests.iter().zip(&snap.nests);
    let nest = |id: &str| vec![("nest", id.to_owned())];
    let celsius = || Some(Unit::Celsius);
    let brood =
        |pick: fn((f64, f64, f64)) -> f64| each().filter_map(move |(n, s)| Some((nest(&n.id), pick(s.brood_c?))));
    gauge(registry, ("brood_mean", "Believed mean of the brood place"), celsius(), brood(|b| b.0));
    gauge(registry, ("brood_mean_sd", "Standard deviation of its error"), celsius(), brood(|b| b.1));
    gauge(registry, ("brood_hottest", "Believed hottest point of the brood place"), celsius(), brood(|b| b.2));
    let room = each().filter_map(|(n, s)| Some((nest(&n.id), s.room_c?.0)));
    gauge(registry, ("room", "Believed temperature of the room"), celsius(), room);
    let heat = each().filter(|(_, s)| s.heard.is_some()).map(|(n, s)| (nest(&n.id), s.profile.pad_w));
    gauge(registry, ("heat_watts", "Believed heat of the heating mats, W"), None, heat);
    let heard = each().filter_map(|(n, s)| Some((nest(&n.id), s.heard?.unix_s())));
    gauge(registry, ("heard_timestamp", "Newest believed reading"), Some(Unit::Seconds), heard);
    let probes = || {
        let name = |source: enclosure::SourceId| snap.sources.get(usize::from(source.0)).cloned();
        each().flat_map(move |(n, s)| {
            s.probes.iter().filter_map(move |p| Some((vec![("nest", n.id.clone()), ("probe", name(p.source)?)], p)))
        })
    };
    let warmth = probes().filter_map(|(l, p)| Some((l, p.temperature?.0)));
    gauge(registry, ("probe", "Last temperature of a probe"), celsius(), warmth);
    let damp = probes().filter_map(|(l, p)| Some((l, p.humidity?.0 / 100.0)));
    gauge(registry, ("probe_humidity", "Last relative humidity of a probe, 0 to 1.1"), Some(Unit::Ratios), damp);
    let believed = probes().map(|(l, p)| (l, f64::from(u8::from(p.rejected.is_none() && p.temperature.is_some()))));
    gauge(registry, ("probe_believed", "1 if the last reading of a probe was believed"), None, believed);
    let alarms = shown(snap).map(|a| {
        let (nest, probe, node) = names(snap, a);
        let mut labels = vec![("alarm", a.key.alarm.name().to_owned()), ("state", a.state.name().to_owned())];
        let named = [("nest", nest), ("probe", probe), ("node", node)];
        labels.extend(named.into_iter().filter_map(|(name, value)| Some((name, value?.to_owned()))));
        labels.push(("priority", a.priority().name().to_owned()));
        (labels, 1.0)
    });
    gauge(registry, ("alarm", "1 for each alarm that is not normal"), None, alarms.collect::<Vec<_>>());
}

/// How the alarms themselves do.
fn alarm_load(registry: &mut Registry, snap: &Snapshot) {
    let v = &snap.vitals;
    by(registry, ("alarms_raised", "Alarms raised, those that follow from others included"), "alarm", &v.raised);
    count(registry, ("alarms_told", "Alarms told as messages"), v.told);
    let standing = shown(snap).filter(|a| rings(a.state)).count();
    gauge(registry, ("alarms_standing", "Alarms that stand"), None, [(vec![], standing as f64)]);
    let stale = shown(snap).filter(|a| rings(a.state) && snap.at.since(a.since) > STALE_AFTER).count();
    gauge(registry, ("alarms_stale", "Alarms that stand for more than a day"), None, [(vec![], stale as f64)]);
}

/// The same of the last 24 hours, from history, against the guideline's table; see [`crate::views::load`].
fn alarm_day(registry: &mut Registry, day: &Load) {
    let mut one = |name: &str, help: &str, value: f64| gauge(registry, (name, help), None, [(vec![], value)]);
    one("alarms_day_raised", "Alarms raised within 24 h, those that follow from others included", day.raised as f64);
    one("alarms_day_told", "Alarms told as messages within 24 h", day.told as f64);
    one("alarms_day_peak", "Most told within ten minutes, within 24 h", day.peak as f64);
    one("alarms_chattering", "Alarms that came and went too often within 24 h", day.chattering.len() as f64);
    one("alarms_unanswered", "Alarms told within 24 h that nobody has answered", day.unanswered as f64);
    let answered = day.answered.into_iter().flat_map(|(median, longest)| [("median", median), ("longest", longest)]);
    let answered = answered.map(|(which, took)| (vec![("which", which.to_owned())], took.s()));
    gauge(registry, ("alarms_answer", "From message to answer within 24 h"), Some(Unit::Seconds), answered);
}

/// How the last day's alarms did, and when that was looked at, by the monotonic clock.
#[derive(Debug, Default)]
pub(super) struct Day(Mutex<Option<(Span, Arc<Load>)>>);

impl App {
    /// Looked at once a minute at most: a scrape must not cost a reading of history each time.
    async fn alarms_of_the_day(&self) -> Option<Arc<Load>> {
        let (now, monotonic) = (self.now(), self.clock.monotonic());
        let kept = self.day.0.lock().unwrap_or_else(PoisonError::into_inner).clone();
        if let Some((_, load)) = kept.filter(|(made, _)| monotonic.ms() - made.ms() < DAY_KEPT_FOR.ms()) {
            return Some(load);
        }
        let chatter = self.snapshot().shelf.alarms.chatter_within;
        let span = now.minus(Span::from_h(24))..now.plus(Span::from_ms(1));
        let read = move |reader: &Reader| Ok(Load::of(&load::changes(reader, &span)?, &span, chatter));
        let load = Arc::new(self.read_history(read).await.ok()?);
        *self.day.0.lock().unwrap_or_else(PoisonError::into_inner) = Some((monotonic, Arc::clone(&load)));
        Some(load)
    }
}

fn vitals(registry: &mut Registry, snap: &Snapshot) {
    let v = &snap.vitals;
    count(registry, ("messages", "Messages received"), v.messages);
    count(registry, ("readings", "Readings judged"), v.readings);
    count(registry, ("stored", "Readings stored"), v.stored);
    count(registry, ("duplicates", "Readings that were there already"), v.duplicates);
    count(registry, ("thinned", "Old readings of which only the hour is left, as history is bounded"), v.thinned.0);
    count(registry, ("forgotten", "Old readings of which nothing is left, as history is bounded"), v.thinned.1);
    count(registry, ("dropped", "Messages dropped for lack of room"), v.dropped);
    counts(registry, ("refused", "Records that are no readings"), &v.refused);
    counts(registry, ("rejected", "Readings not believed"), &v.rejected);
    if let Some(mirror) = &v.mirror {
        count(registry, ("mirror_sent", "Lines that the mirror took"), mirror.sent);
        count(registry, ("mirror_lost", "Lines that the mirror never gets"), mirror.lost);
        gauge(
            registry,
            ("mirror_waiting", "Readings that wait for the mirror"),
            None,
            [(vec![], mirror.waiting as f64)],
        );
        gauge(registry, ("mirror_due", "Older days of a source that wait for it"), None, [(vec![], mirror.due as f64)]);
        let lag = mirror.caught_up.map(|at| (vec![], snap.at.since(at).s()));
        gauge(registry, ("mirror_lag", "Since everything was sent"), Some(Unit::Seconds), lag);
        gauge(
            registry,
            ("mirror_up", "1 while the mirror takes what it is sent"),
            None,
            [(vec![], f64::from(u8::from(mirror.failing.is_none())))],
        );
    }
    let flag = |ok: bool| [(vec![], f64::from(u8::from(ok)))];
    gauge(registry, ("broker_up", "1 while the broker is in reach"), None, flag(v.broker_lost.is_none()));
    gauge(registry, ("history_up", "1 while history is written"), None, flag(v.history_failing.is_none()));
    let failing = v.notices_failing.keys().map(|way| (vec![("way", way.clone())], 1.0));
    gauge(registry, ("notice_failing", "1 for each way of messages that fails"), None, failing);
    let commit = [("newest", v.commit_ms.0), ("worst", v.commit_ms.1)];
    let commit = commit.map(|(which, ms)| (vec![("which", which.to_owned())], ms as f64 / 1000.0));
    gauge(
        registry,
        ("commit", "From a message's arrival to the disk: newest, and worst of a minute"),
        Some(Unit::Seconds),
        commit,
    );
    let judged = v.judged.map(|t| (vec![], t.unix_s()));
    gauge(registry, ("judged_timestamp", "Newest judged reading"), Some(Unit::Seconds), judged);
    gauge(
        registry,
        ("started_timestamp", "Start of the daemon"),
        Some(Unit::Seconds),
        [(vec![], snap.started.unix_s())],
    );
}
