//! Those who are told: their days, hours and zones; and signs of life to and from elsewhere.
use super::findings::Findings;
use super::names::{self, Checked};
use super::raw::{RawHeartbeat, RawRecipient};
use super::services::span;
use super::settings::{HeartbeatSettings, QuietHours, Recipient};
use dashboards::say;
use jiff::civil::Date;

/// How often a sign of life goes out where nothing is set, minutes.
const EVERY_MIN: f64 = 5.0;
/// Longest name of a recipient or a shelf, letters.
const NAME_MAX: usize = 40;

/// All who are told, in their order.
pub(super) fn build(raw: &[RawRecipient], f: &mut Findings) -> Vec<Recipient> {
    let mut built: Vec<Recipient> = Vec::new();
    for (i, r) in raw.iter().enumerate() {
        let at = format!("recipient[{i}]");
        let Some(recipient) = recipient(&at, r, f) else { continue };
        if built.iter().any(|b| b.name == recipient.name) {
            let why = say!("shelf-recipient-twice", text = &recipient.name);
            f.wrong(&format!("{at}.name"), why, say!("shelf-recipient-twice-do"));
        }
        built.push(recipient);
    }
    built
}

fn recipient(at: &str, raw: &RawRecipient, f: &mut Findings) -> Option<Recipient> {
    let path = |key: &str| format!("{at}.{key}");
    let name = f.need(raw.name.clone(), &path("name"))?;
    if name.chars().count() > NAME_MAX {
        f.wrong(&path("name"), say!("shelf-long-name", most = NAME_MAX), say!("shelf-shorten-do"));
    }
    let mut date = |key: &str, text: &Option<String>| text.as_deref().and_then(|text| f.keep(&path(key), date(text)));
    let days = (date("from", &raw.from), date("until", &raw.until));
    if let (Some(from), Some(until)) = days
        && until < from
    {
        f.wrong(&path("until"), say!("shelf-until"), say!("shelf-until-do"));
    }
    let quiet = hours(at, (raw.quiet_from.as_deref(), raw.quiet_to.as_deref(), raw.time_zone.as_deref()), f);
    Some(Recipient { name, phone: raw.phone.clone(), days, quiet, time_zone: raw.time_zone.clone() })
}

/// A day of one year, RFC 3339's `full-date`.
fn date(text: &str) -> Checked<Date> {
    let shape = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
    let read = text.parse().ok().filter(|_| shape);
    read.ok_or_else(|| (say!("shelf-date", text = text), say!("shelf-date-do")))
}

/// Hours of rest from `(quiet_from, quiet_to, time_zone)`.
pub(super) fn hours(
    at: &str,
    (from, to, zone): (Option<&str>, Option<&str>, Option<&str>),
    f: &mut Findings,
) -> Option<QuietHours> {
    let path = |key: &str| format!("{at}.{key}");
    if let Some(zone) = zone
        && jiff::tz::TimeZone::get(zone).is_err()
    {
        f.wrong(&path("time_zone"), say!("shelf-zone", text = zone), say!("shelf-zone-do"));
    }
    if from.is_none() && to.is_none() {
        return None;
    }
    let from_min = f.need(from, &path("quiet_from")).and_then(|t| f.keep(&path("quiet_from"), names::hour(t)));
    let to_min = f.need(to, &path("quiet_to")).and_then(|t| f.keep(&path("quiet_to"), names::hour(t)));
    if from_min.is_some() && from_min == to_min {
        f.wrong(&path("quiet_to"), say!("shelf-quiet"), say!("shelf-quiet-do"));
    }
    let time_zone = f.need(zone, &path("time_zone"))?.to_owned();
    Some(QuietHours { from_min: from_min?, to_min: to_min?, time_zone })
}

/// Signs of life.
pub(super) fn heartbeat(raw: &RawHeartbeat, f: &mut Findings) -> HeartbeatSettings {
    let url = raw.url.as_deref().and_then(|u| f.keep("heartbeat.url", names::url(u, &["http", "https"])));
    let names = raw.watches.as_deref().unwrap_or_default().split(',').map(str::trim).filter(|name| !name.is_empty());
    let watches: Vec<String> = names.map(str::to_owned).collect();
    if watches.iter().any(|name| name.chars().count() > NAME_MAX) {
        f.wrong("heartbeat.watches", say!("shelf-watches", most = NAME_MAX), say!("shelf-shorten-do"));
    }
    HeartbeatSettings {
        url: url.map(|u| u.to_string()),
        every: span(raw.every_min.unwrap_or(EVERY_MIN), 60_000.0),
        watches,
    }
}
