//! What is stored, in line protocol.
use crate::exchange::line::{escape, quote, write};
use crate::history::{AlarmRecord, HistoricReading};
use crate::snapshot::Snapshot;
use enclosure::{NestNow, State, Timestamp};
use std::collections::HashMap;
use std::fmt::Write as _;

/// Places of a profile that are sent, at most.
const PLACES_MAX: usize = 13;

pub(super) fn readings(readings: &[HistoricReading], nests: &HashMap<String, String>) -> String {
    let mut body = String::with_capacity(readings.len() * 90);
    for r in readings {
        write(r, nests.get(&*r.source).map(String::as_str), &mut body);
    }
    body
}

pub(super) fn changes(changes: &[AlarmRecord]) -> String {
    let mut body = String::new();
    for c in changes {
        let _ = write!(body, "alarm,alarm={}", c.alarm.name());
        for (tag, value) in [("nest", &c.nest), ("probe", &c.probe), ("node", &c.node)] {
            if let Some(value) = value.as_ref().filter(|value| !value.is_empty()) {
                let _ = write!(body, ",{tag}=");
                escape(value, &mut body);
            }
        }
        let active = u8::from(!matches!(c.state, State::Normal | State::NotJudged));
        let (priority, event, state) = (c.alarm.priority().name(), c.event.name(), c.state.name());
        let _ = write!(body, ",priority={priority} active={active},event=\"{event}\",state=\"{state}\",detail=");
        quote(&c.detail, &mut body);
        if let Some(cause) = c.cause {
            let _ = write!(body, ",cause=\"{}\"", cause.name());
        }
        let _ = writeln!(body, " {}", c.at.unix_ms());
    }
    body
}

/// What is believed of every nest that was heard.
pub(super) fn estimates(snap: &Snapshot, at: Timestamp) -> String {
    let mut body = String::new();
    for (nest, now) in snap.shelf.nests.iter().zip(&snap.nests) {
        if now.heard.is_some() && !now.profile.at_mm.is_empty() {
            one(&nest.id, now, at, &mut body);
        }
    }
    body
}

fn one(id: &str, now: &NestNow, at: Timestamp, body: &mut String) {
    let mut fields = vec![("heat", Some(now.profile.pad_w)), ("heat_sd", Some(now.profile.pad_w_sd))];
    fields.extend([("room", now.room_c.map(|r| r.0)), ("told_duty", now.told.iter().flatten().next().copied())]);
    let brood = now.brood_c;
    fields.extend([("brood_mean", brood.map(|b| b.0)), ("brood_sd", brood.map(|b| b.1))]);
    fields.push(("brood_hottest", brood.map(|b| b.2)));
    line(&format!("estimate,nest={id}"), &fields, at, body);
    let n = now.profile.at_mm.len();
    let sent = n.min(PLACES_MAX);
    for k in 0..sent {
        // Both ends, and evenly between them.
        let i = if sent > 1 { k * (n - 1) / (sent - 1) } else { 0 };
        let part = |values: &[f64]| values.get(i).copied();
        let humidity = now.rh_pct.get(i).copied().flatten().map(|h| h.0);
        let fields = [("mean", part(&now.profile.mean_c)), ("sd", part(&now.profile.sd_c)), ("humidity", humidity)];
        let place = part(&now.profile.at_mm).unwrap_or_default();
        line(&format!("profile,nest={id},at_mm={place:.0}"), &fields, at, body);
    }
}

/// A line of those fields that are numbers; none if there is none.
fn line(head: &str, fields: &[(&str, Option<f64>)], at: Timestamp, body: &mut String) {
    let numbers = fields.iter().filter_map(|(name, v)| Some((name, (*v)?))).filter(|(_, v)| v.is_finite());
    let text: Vec<String> = numbers.map(|(name, v)| format!("{name}={}", (v * 1000.0).round() / 1000.0)).collect();
    if !text.is_empty() {
        let _ = writeln!(body, "{head} {} {}", text.join(","), at.unix_ms());
    }
}
