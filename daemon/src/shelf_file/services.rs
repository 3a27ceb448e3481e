//! Sections that stand once: broker, history, pages, mirror, alarms; and the mappings.
use super::findings::{Findings, add, without};
use super::raw::{RawAlarm, RawBroker, RawHistory, RawInflux, RawMapping, RawWeb};
use super::settings::{BrokerSettings, BrokerWay, HistorySettings, InfluxSettings, Mapping, Turned, WebSettings};
use super::{manners, names};
use dashboards::say;
use enclosure::reading::Unit;
use enclosure::shelf::AlarmSettings;
use enclosure::time::Span;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::Path;

/// The port of MQTT without TLS (IANA).
const MQTT_PORT: u16 = 1883;

/// The pages' port where none is set.
const WEB_PORT: u16 = 7180;

/// The broker. `dir` is the shelf file's directory.
pub(super) fn broker(raw: &RawBroker, dir: &Path, f: &mut Findings) -> Option<BrokerSettings> {
    let way = way(raw, dir, f);
    let prefix = raw.prefix.as_deref().unwrap_or("warmend");
    f.keep("broker.prefix", names::prefix(prefix));
    let client_id = raw.client_id.as_deref().unwrap_or("warmend");
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if client_id.len() > 64 || !client_id.chars().all(fits) {
        f.wrong("broker.client_id", say!("shelf-client-id"), say!("shelf-name-do"));
    }
    Some(BrokerSettings { way: way?, prefix: prefix.to_owned(), client_id: client_id.to_owned() })
}

fn way(raw: &RawBroker, dir: &Path, f: &mut Findings) -> Option<BrokerWay> {
    match (&raw.embedded, &raw.url) {
        (Some(_), Some(_)) => {
            f.wrong("broker.url", say!("shelf-broker-both"), say!("shelf-broker-both-do"));
            None
        }
        (_, Some(url)) => outside(url, raw, dir, f),
        (Some(embedded), None) => {
            let listen = f.keep("broker.embedded", names::listen(embedded))?;
            own(listen, raw, dir, f)
        }
        // A wrong embedded or url was complained about already; then neither is here.
        (None, None) if f.is_doubted("broker.embedded") || f.is_doubted("broker.url") => None,
        (None, None) if f.is_marked("broker") => {
            f.wrong("broker", say!("shelf-broker-neither"), say!("shelf-broker-neither-do"));
            None
        }
        (None, None) => own(SocketAddr::from((Ipv4Addr::LOCALHOST, MQTT_PORT)), raw, dir, f),
    }
}

fn own(listen: SocketAddr, raw: &RawBroker, dir: &Path, f: &mut Findings) -> Option<BrokerWay> {
    for (key, _) in [("user", &raw.user), ("password_file", &raw.password_file)].iter().filter(|(_, v)| v.is_some()) {
        let path = format!("broker.{key}");
        f.wrong(&path, say!("shelf-elsewhere"), say!("shelf-broker-user-do"));
    }
    if raw.acts_from.is_some() {
        f.wrong("broker.acts_from", say!("shelf-elsewhere"), say!("shelf-broker-acts-do"));
    }
    if !listen.ip().is_loopback() && raw.users_file.is_none() && !f.is_doubted("broker.users_file") {
        let why = say!("shelf-broker-open", text = listen.to_string());
        f.wrong("broker.embedded", why, say!("shelf-broker-open-do"));
    }
    Some(BrokerWay::Embedded { listen, users_file: raw.users_file.as_ref().map(|p| dir.join(p)) })
}

fn outside(url: &str, raw: &RawBroker, dir: &Path, f: &mut Findings) -> Option<BrokerWay> {
    if raw.users_file.is_some() {
        f.wrong("broker.users_file", say!("shelf-broker-own"), say!("shelf-broker-own-do"));
    }
    if raw.password_file.is_some() && raw.user.is_none() && !f.is_doubted("broker.user") {
        f.wrong("broker.password_file", without("user"), add("user"));
    }
    let url = f.keep("broker.url", names::url(url, &["mqtt"]))?;
    let more = !matches!(url.path(), "" | "/") || url.query().is_some() || url.fragment().is_some();
    if more {
        f.wrong("broker.url", say!("shelf-broker-rest"), say!("shelf-broker-rest-do"));
    }
    let acts_from = raw.acts_from.clone().unwrap_or_default();
    let is_name = |name: &String| {
        !name.is_empty() && name.len() <= 64 && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
    };
    if let Some(name) = acts_from.iter().find(|name| !is_name(name)) {
        f.wrong("broker.acts_from", say!("shelf-broker-name", text = format!("{name:?}")), say!("shelf-name-do"));
    }
    let host = url.host_str().unwrap_or_default();
    Some(BrokerWay::Outside {
        acts_from,
        host: host.trim_start_matches('[').trim_end_matches(']').to_owned(),
        port: url.port().unwrap_or(MQTT_PORT),
        user: raw.user.clone(),
        password_file: raw.password_file.as_ref().map(|p| dir.join(p)),
    })
}

/// The history.
pub(super) fn history(raw: &RawHistory, dir: &Path) -> HistorySettings {
    HistorySettings {
        path: dir.join(raw.path.as_deref().unwrap_or("warmend.db")),
        commit: span(raw.commit_s.unwrap_or(1.0), 1000.0),
        max_mb: raw.max_mb,
        max_days: raw.max_days,
    }
}

/// The pages. `dir` is the shelf file's directory.
pub(super) fn web(raw: &RawWeb, dir: &Path, f: &mut Findings) -> Option<WebSettings> {
    let listen = match &raw.listen {
        None => SocketAddr::from((Ipv4Addr::LOCALHOST, WEB_PORT)),
        Some(text) => f.keep("web.listen", names::listen(text))?,
    };
    let url = match &raw.url {
        None => None,
        Some(text) => {
            Some(f.keep("web.url", names::url(text, &["http", "https"]))?.as_str().trim_end_matches('/').to_owned())
        }
    };
    let proxy = match &raw.proxy {
        None => None,
        Some(text) => {
            let why = || (say!("shelf-proxy", text = text), say!("shelf-proxy-do"));
            Some(f.keep("web.proxy", text.parse::<IpAddr>().map_err(|_| why()))?)
        }
    };
    let tls = match (&raw.cert_file, &raw.key_file) {
        (Some(cert), Some(key)) => Some((dir.join(cert), dir.join(key))),
        (None, None) => None,
        (Some(_), None) => {
            f.wrong("web.cert_file", without("key_file"), say!("shelf-cert-do"));
            None
        }
        (None, Some(_)) => {
            f.wrong("web.key_file", without("cert_file"), say!("shelf-cert-key-do"));
            None
        }
    };
    let doubted = ["password_file", "cert_file", "key_file", "proxy"].iter().any(|k| f.is_doubted(&format!("web.{k}")));
    guarded(raw, (listen, proxy.is_some()), doubted, f);
    Some(WebSettings {
        listen,
        url,
        password_file: raw.password_file.as_ref().map(|p| dir.join(p)),
        open: raw.reading.as_deref() == Some("open"),
        tls,
        proxy,
    })
}

/// Beyond loopback a password is required, and that nobody on the way reads it.
fn guarded(raw: &RawWeb, (listen, proxied): (SocketAddr, bool), doubted: bool, f: &mut Findings) {
    let beyond = !listen.ip().is_loopback();
    if raw.reading.is_some() && raw.password_file.is_none() && !doubted {
        f.wrong("web.reading", say!("shelf-reading"), say!("shelf-reading-do"));
    }
    if (beyond || proxied) && raw.password_file.is_none() && !doubted {
        let (key, why) = if beyond {
            ("web.listen", say!("shelf-web-open", text = listen.to_string()))
        } else {
            ("web.proxy", say!("shelf-web-proxy"))
        };
        f.wrong(key, why, say!("shelf-web-password-do"));
    }
    if beyond && !proxied && raw.cert_file.is_none() && !doubted {
        f.wrong("web.listen", say!("shelf-web-plain", text = listen.to_string()), say!("shelf-web-plain-do"));
    }
}

/// The mirror.
pub(super) fn influx(raw: &RawInflux, dir: &Path, f: &mut Findings) -> Option<InfluxSettings> {
    let url = f.need(raw.url.as_deref(), "influx.url").and_then(|u| f.keep("influx.url", names::url(u, &["http"])));
    let org = f.need(raw.org.clone(), "influx.org");
    let bucket = f.need(raw.bucket.clone(), "influx.bucket");
    Some(InfluxSettings {
        url: url?.to_string(),
        org: org?,
        bucket: bucket?,
        token_file: raw.token_file.as_ref().map(|p| dir.join(p)),
        shelf_tag: match &raw.shelf_tag {
            Some(tag) => Some(f.keep("influx.shelf_tag", names::id(tag).map(|()| tag.clone()))?),
            None => None,
        },
    })
}

/// The alarms' delays; what is left out keeps [`AlarmSettings::default`].
pub(super) fn alarms(raw: &RawAlarm) -> AlarmSettings {
    let usual = AlarmSettings::default();
    let minutes = |set: Option<f64>, usual: Span| set.map_or(usual, |m| span(m, 60_000.0));
    let mut settings = AlarmSettings {
        deadband_k: raw.deadband_k.unwrap_or(usual.deadband_k),
        hot_on_delay: minutes(raw.hot_on_delay_min, usual.hot_on_delay),
        cold_on_delay: minutes(raw.cold_on_delay_min, usual.cold_on_delay),
        limit_on_delay: minutes(raw.limit_on_delay_min, usual.limit_on_delay),
        hot_off_delay: minutes(raw.hot_off_delay_min, usual.hot_off_delay),
        cold_off_delay: minutes(raw.cold_off_delay_min, usual.cold_off_delay),
        limit_off_delay: minutes(raw.limit_off_delay_min, usual.limit_off_delay),
        heater_off_delay: minutes(raw.heater_off_delay_min, usual.heater_off_delay),
        other_off_delay: minutes(raw.other_off_delay_min, usual.other_off_delay),
        chatter_within: minutes(raw.chatter_within_min, usual.chatter_within),
        excused: minutes(raw.excused_min, usual.excused),
        chatter_raised: raw.chatter_raised.unwrap_or(usual.chatter_raised),
        worse_k: raw.worse_k.unwrap_or(usual.worse_k),
        forecast_hot: minutes(raw.forecast_hot_min, usual.forecast_hot),
        forecast_cold: minutes(raw.forecast_cold_min, usual.forecast_cold),
        forecast_sustained: minutes(raw.forecast_sustained_min, usual.forecast_sustained),
        silent_missed: raw.silent_missed.unwrap_or(usual.silent_missed),
        silent_at_least: minutes(raw.silent_at_least_min, usual.silent_at_least),
        unwatched_after: minutes(raw.unwatched_after_min, usual.unwatched_after),
        flat_span_k: raw.flat_span_k.unwrap_or(usual.flat_span_k),
        flat_on_delay: minutes(raw.flat_on_delay_min, usual.flat_on_delay),
        rest_on_delay: minutes(raw.rest_on_delay_min, usual.rest_on_delay),
        humidity_deadband_pct: raw.humidity_deadband_pct.unwrap_or(usual.humidity_deadband_pct),
        humidity_on_delay: minutes(raw.humidity_on_delay_min, usual.humidity_on_delay),
        water_on_delay: minutes(raw.water_on_delay_min, usual.water_on_delay),
        learning: minutes(raw.learning_min, usual.learning),
        season_utc_offset: minutes(raw.season_utc_offset_min, usual.season_utc_offset),
        own: usual.own,
    };
    manners::lay_over(raw, &mut settings);
    settings
}

/// `value` units of `unit_ms` milliseconds each, rounded to the millisecond.
pub(super) fn span(value: f64, unit_ms: f64) -> Span {
    Span::from_ms((value * unit_ms).round() as i64)
}

/// The mappings; one source and unit comes in by one of them only.
pub(super) fn mappings(raw: &[RawMapping], f: &mut Findings) -> Vec<Mapping> {
    let mut built: Vec<Mapping> = Vec::new();
    for (i, m) in raw.iter().enumerate() {
        let at = format!("mapping[{i}]");
        let Some(mapping) = mapping(&at, m, f) else { continue };
        if built.iter().any(|b| b.source == mapping.source && b.unit == mapping.unit) {
            let why = say!("shelf-mapping-twice", text = &mapping.source);
            f.wrong(&format!("{at}.source"), why, say!("shelf-mapping-twice-do"));
        }
        built.push(mapping);
    }
    built
}

fn mapping(at: &str, raw: &RawMapping, f: &mut Findings) -> Option<Mapping> {
    let path = |key: &str| format!("{at}.{key}");
    let topic = f.need(raw.topic.as_deref(), &path("topic"));
    let topic = topic.and_then(|t| f.keep(&path("topic"), names::filter(t)).map(|()| t.to_owned()));
    let source = f.need(raw.source.as_deref(), &path("source"));
    let source = source.and_then(|s| f.keep(&path("source"), names::source(s)).map(|()| s.to_owned()));
    let unit = f.need(raw.unit.as_deref(), &path("unit")).and_then(foreign);
    if let Some(p) = raw.pointer.as_deref() {
        f.keep(&path("pointer"), names::pointer(p))?;
    }
    let (unit, turned) = unit?;
    Some(Mapping { topic: topic?, pointer: raw.pointer.clone(), unit, turned, source: source? })
}

/// The unit of a reading, and what turns a number of `unit` into one.
fn foreign(unit: &str) -> Option<(Unit, Turned)> {
    Some(match unit {
        "K" => (Unit::Celsius, Turned::Kelvin),
        "degF" => (Unit::Celsius, Turned::Fahrenheit),
        "/100" => (Unit::Ratio, Turned::Hundredths),
        "kW" => (Unit::Watt, Turned::Thousands),
        senml => (Unit::from_senml(senml)?, Turned::Not),
    })
}
