//! A nest's span as it is asked for by links: other lengths, the one before, what it is compared with, its values.
use super::App;
use super::weeks::{Asked, SpanQuery, Wish};
use crate::snapshot::Snapshot;
use crate::views::comparing::{BEFORE, other};
use crate::views::hours::Hours;
use crate::views::now::nest_url;
use crate::views::span::{Kind, before, earlier, later};
use dashboards::{Link, WeekPage, WeekView, say};
use enclosure::{Span, Timestamp};
use serde_json::{Value, json};
use std::ops::Range;

/// Rows of the map that are sent as values.
const VALUE_ROWS: usize = 31;

/// What a query asks for.
pub(super) fn wish(app: &App, (snap, nest): (&Snapshot, usize), asked: &Asked, query: &SpanQuery) -> Wish {
    let with = |with: &str| other(with, &snap.shelf.nests, (nest, &asked.span), &app.hours);
    let other = query.with.as_deref().and_then(with);
    Wish { nest, span: asked.span.clone(), other, base_c: query.base_c() }
}

/// The page's links; all else is left empty.
pub(super) fn links(app: &App, (snap, url): (&Snapshot, &str), asked: &Asked, query: &SpanQuery) -> WeekPage {
    let (span, hours) = (&asked.span, &app.hours);
    let with = query.with.as_deref().filter(|with| *with == BEFORE || snap.shelf.nests.iter().any(|n| n.id == *with));
    let base = query.base_c();
    let extra = |with: Option<&str>| {
        let with = with.map(|w| format!("&with={w}")).unwrap_or_default();
        with + &base.map(|base| format!("&base={base}")).unwrap_or_default()
    };
    let to = |span: &Range<Timestamp>, with| format!("{}{}", span_url(url, span), extra(with));
    let now = Kind::of(span, hours);
    let kind = |kind: Kind| {
        let link = to(&kind.until(span.end, hours), with);
        Link { label: kind.label(), url: link, current: now == Some(kind) }
    };
    let others = snap.shelf.nests.iter().map(|n| n.id.as_str()).filter(|id| nest_url(id) != url);
    let against = std::iter::once((BEFORE, before(span, hours))).chain(others.map(|id| (id, id.to_owned()))).map(
        |(value, label)| {
            let chosen = with == Some(value);
            Link { label, url: to(span, (!chosen).then_some(value)), current: chosen }
        },
    );
    let file =
        |label: String, file: &str| Link { label, url: span_url(&format!("{url}/{file}"), span), current: false };
    WeekPage {
        spans: Kind::ALL.map(kind).into(),
        compare: against.collect(),
        earlier_url: Some(to(&earlier(span, hours), with)),
        later_url: (!asked.latest).then(|| to(&later(span, app.now(), hours), with)),
        keep_url: Some(to(span, with)),
        values_url: Some(span_url(&format!("{url}/week.json"), span)),
        base_url: Some(format!("{}{}", span_url(url, span), with.map(|w| format!("&with={w}")).unwrap_or_default())),
        downloads: vec![file(say!("past-as-png"), "week.png"), file(say!("past-as-svg"), "week.svg")],
        ..WeekPage::default()
    }
}

fn span_url(url: &str, span: &Range<Timestamp>) -> String {
    format!("{url}?from={}&to={}", Hours::rfc3339(span.start), Hours::rfc3339(span.end))
}

/// What the picture shows, as numbers: for whoever points at it.
pub(super) fn values(week: &WeekView, span: &Range<Timestamp>, hours: &Hours) -> Value {
    let count = week.map.columns.len();
    let rows: Vec<usize> = {
        let all = week.map.at_mm.len();
        let few = all.clamp(1, VALUE_ROWS);
        (0..few).map(|i| i * all.saturating_sub(1) / few.saturating_sub(1).max(1)).filter(|r| *r < all).collect()
    };
    let tenth = |v: f64| v.is_finite().then(|| (v * 10.0).round() / 10.0);
    let picked = |columns: &[Option<Vec<f32>>], times: f64| -> Vec<Option<Vec<Option<f64>>>> {
        let one = |c: &Vec<f32>| rows.iter().map(|r| c.get(*r).and_then(|v| tenth(f64::from(*v) * times))).collect();
        columns.iter().map(|c| c.as_ref().map(one)).collect()
    };
    let step_ms = span.end.since(span.start).ms() as f64 / count.max(1) as f64;
    let at = |i: usize| span.start.plus(Span::from_ms(((i as f64 + 0.5) * step_ms) as i64));
    let lane = |l: &dashboards::Lane| {
        let v: Vec<_> = l.points.iter().map(|p| p.and_then(|p| tenth(p.mean))).collect();
        json!({"label": l.label, "unit": l.unit, "v": v})
    };
    json!({
        "t": (0..count).map(|i| hours.dated(at(i))).collect::<Vec<_>>(),
        "length_mm": tenth(week.length_mm),
        "brood_mm": week.brood.and_then(|b| tenth(f64::midpoint(b.from_mm, b.to_mm))),
        "at_mm": rows.iter().filter_map(|r| week.map.at_mm.get(*r)).map(|mm| tenth(*mm)).collect::<Vec<_>>(),
        "c": picked(&week.map.columns, 1.0),
        "off_k": picked(&week.map.sd_k, 1.645),
        "lanes": week.lanes.iter().map(lane).collect::<Vec<_>>(),
    })
}
