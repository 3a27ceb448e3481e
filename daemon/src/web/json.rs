//! The same for machines: `/now.json`, `/alarms.json`, `/notes.json`.
use super::App;
use super::weeks::{Asked, SpanQuery};
use crate::history::{AlarmRecord, KeeperNote};
use crate::permit::HeatNow;
use crate::snapshot::{Snapshot, StandingAlarm};
use crate::views::now::{names, shown};
use axum::Json;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use enclosure::forecast::{self, Outlook};
use enclosure::{Alarm, NestNow, Span, Timestamp};
use serde_json::{Map, Value, json};
use std::sync::Arc;

/// Most entries of a list; the newest stay.
const ENTRIES_MAX: usize = 2_000;

pub(super) async fn now(State(app): State<Arc<App>>) -> Response {
    Json(now_json(&app.snapshot())).into_response()
}

/// The contract's object.
pub(crate) fn now_json(snap: &Snapshot) -> Value {
    let nests: Vec<Value> = snap.nests.iter().enumerate().map(|(i, seen)| nest(snap, i, seen)).collect();
    let of_none: Vec<Value> = shown(snap).filter(|a| a.key.nest.is_none()).map(|a| alarm(snap, a)).collect();
    json!({ "t": snap.at.unix_s(), "nests": nests, "alarms": of_none })
}

fn nest(snap: &Snapshot, i: usize, seen: &NestNow) -> Value {
    let heard = seen.heard.is_some();
    let list = |values: &[f64], per: f64| -> Vec<Option<f64>> {
        if heard { values.iter().map(|v| rounded(*v, per)).collect() } else { Vec::new() }
    };
    let rh = if heard { seen.rh_pct.as_slice() } else { &[] };
    let alarms = shown(snap).filter(|a| a.key.nest.map(usize::from) == Some(i));
    json!({
        "nest": snap.shelf.nests.get(i).map(|n| n.id.as_str()),
        "t": seen.heard.map(Timestamp::unix_s),
        "at_mm": list(&seen.profile.at_mm, 10.0),
        "mean_c": list(&seen.profile.mean_c, 1000.0),
        "sd_c": list(&seen.profile.sd_c, 1000.0),
        "rh_pct": rh.iter().map(|v| v.and_then(|v| rounded(v.0, 10.0))).collect::<Vec<_>>(),
        "rh_sd_pct": rh.iter().map(|v| v.and_then(|v| rounded(v.1, 10.0))).collect::<Vec<_>>(),
        "pad_w": if heard { rounded(seen.profile.pad_w, 1000.0) } else { None },
        "pad_w_sd": if heard { rounded(seen.profile.pad_w_sd, 1000.0) } else { None },
        "learning_until": seen.learning_until.map(Timestamp::unix_s),
        "forecast": seen.outlook.as_ref().map(forecast),
        "alarms": alarms.map(|a| alarm(snap, a)).collect::<Vec<_>>(),
        "leave": snap.heat.iter().filter(|heat| heat.nest == i).map(leave).collect::<Vec<_>>(),
    })
}

/// Leave to heat of one mat: what it may, or that a person has to reset it, and why its node does not heat.
fn leave(heat: &HeatNow) -> Value {
    json!({
        "node": heat.node,
        "duty": heat.duty,
        "waits": heat.waits,
        "withheld": heat.withheld.map(|why| why.to_string()),
        "off": heat.off.map(|why| why.to_string()),
    })
}

/// The brood area's mean over the hour before each `t`, the room, and when the band is left if that is likely.
fn forecast(o: &Outlook) -> Value {
    let count = o.brood_c.len().min(o.brood_sd_k.len()).min(o.room_c.len());
    let t = (1..=count).map(|i| o.at.plus(Span::from_ms(forecast::EVERY.ms() * i as i64)).unix_s());
    let leaves = o.leaves.map(|d| {
        json!({
            "side": if d.hot { "hot" } else { "cold" }, "probability": rounded(d.probability, 100.0),
            "about": d.about.unix_s(), "from": d.from.unix_s(), "to": d.to.map(Timestamp::unix_s),
            "extreme_c": rounded(d.extreme_c.0, 100.0), "extreme_sd_c": rounded(d.extreme_c.1, 100.0),
        })
    });
    json!({
        "t": t.collect::<Vec<_>>(),
        "brood_c": o.brood_c.iter().take(count).map(|c| rounded(*c, 100.0)).collect::<Vec<_>>(),
        "sd_below_c": o.brood_sd_k.iter().take(count).map(|s| rounded(s.0, 100.0)).collect::<Vec<_>>(),
        "sd_above_c": o.brood_sd_k.iter().take(count).map(|s| rounded(s.1, 100.0)).collect::<Vec<_>>(),
        "room_c": o.room_c.iter().take(count).map(|r| rounded(r.0, 100.0)).collect::<Vec<_>>(),
        "room_sd_c": o.room_c.iter().take(count).map(|r| rounded(r.1, 100.0)).collect::<Vec<_>>(),
        "leaves": leaves,
    })
}

/// `null` where it is no number.
fn rounded(v: f64, per: f64) -> Option<f64> {
    v.is_finite().then(|| (v * per).round() / per)
}

fn alarm(snap: &Snapshot, a: &StandingAlarm) -> Value {
    let (_, probe, node) = names(snap, a);
    let mut out = Map::new();
    out.insert("alarm".to_owned(), a.key.alarm.name().into());
    out.insert("state".to_owned(), a.state.name().into());
    out.insert("since".to_owned(), a.since.unix_s().into());
    out.insert("priority".to_owned(), a.priority().name().into());
    let optional =
        [("probe", probe), ("node", node), ("cause", a.cause.map(Alarm::name)), ("detail", Some(a.detail.as_str()))];
    for (name, value) in optional {
        if let Some(value) = value.filter(|v| !v.is_empty()) {
            out.insert(name.to_owned(), value.into());
        }
    }
    Value::Object(out)
}

/// Standing alarms with their nests, and the changes of a span (the last 7 days unless asked otherwise).
pub(super) async fn alarms(State(app): State<Arc<App>>, Query(query): Query<SpanQuery>) -> Response {
    let snap = app.snapshot();
    let asked = match Asked::of(&query, app.now(), None) {
        Ok(asked) => asked,
        Err(why) => return wrong(StatusCode::BAD_REQUEST, &why),
    };
    let span = asked.span.clone();
    match app.read_history(move |reader| reader.alarm_changes(span)).await {
        Ok(changes) => {
            let standing: Vec<Value> = shown(&snap).map(|a| standing(&snap, a)).collect();
            let skip = changes.len().saturating_sub(ENTRIES_MAX);
            let past: Vec<Value> = changes.iter().skip(skip).map(|(_, c)| change(c)).collect();
            Json(json!({ "t": snap.at.unix_s(), "alarms": standing, "past": past, "left_out": skip })).into_response()
        }
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn standing(snap: &Snapshot, a: &StandingAlarm) -> Value {
    let mut out = alarm(snap, a);
    if let Some(nest) = names(snap, a).0 {
        out["nest"] = nest.into();
    }
    out
}

fn change(c: &AlarmRecord) -> Value {
    json!({
        "t": c.at.unix_s(), "alarm": c.alarm.name(), "event": c.event.name(), "state": c.state.name(), "nest": c.nest,
        "probe": c.probe, "node": c.node, "cause": c.cause.map(Alarm::name), "detail": c.detail,
    })
}

/// Notes of a span (the last 7 days unless asked otherwise).
pub(super) async fn notes(State(app): State<Arc<App>>, Query(query): Query<SpanQuery>) -> Response {
    let asked = match Asked::of(&query, app.now(), None) {
        Ok(asked) => asked,
        Err(why) => return wrong(StatusCode::BAD_REQUEST, &why),
    };
    let span = asked.span.clone();
    match app.read_history(move |reader| reader.notes(span)).await {
        Ok(notes) => {
            let skip = notes.len().saturating_sub(ENTRIES_MAX);
            let notes: Vec<Value> = notes.iter().skip(skip).map(note).collect();
            Json(json!({ "t": app.now().unix_s(), "notes": notes, "left_out": skip })).into_response()
        }
        Err(why) => wrong(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn note(n: &KeeperNote) -> Value {
    json!({
        "t": n.at.unix_s(), "nest": n.nest, "kind": n.kind, "at_mm": n.at_mm.and_then(|mm| rounded(mm, 10.0)),
        "text": n.text,
    })
}

fn wrong(status: StatusCode, why: &str) -> Response {
    (status, Json(json!({ "why": why }))).into_response()
}
