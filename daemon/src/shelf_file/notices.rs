//! Ways by which a keeper is told.
use super::findings::Findings;
use super::names;
use super::raw::RawNotice;
use super::services::span;
use super::settings::{NoticeWay, QuietHours, Way};
use enclosure::alarm::Priority;
use enclosure::time::Span;
use std::path::Path;

/// The ways; the log alone where none is set.
pub(super) fn build(raw: &[RawNotice], dir: &Path, f: &mut Findings) -> Vec<NoticeWay> {
    if raw.is_empty() {
        return vec![NoticeWay { way: Way::Log, least: Priority::Advice, after: Span::ZERO, quiet: None }];
    }
    raw.iter().enumerate().filter_map(|(i, n)| notice(&format!("notice[{i}]"), n, dir, f)).collect()
}

fn notice(at: &str, raw: &RawNotice, dir: &Path, f: &mut Findings) -> Option<NoticeWay> {
    let way = f.need(raw.way.as_deref(), &format!("{at}.way")).and_then(|word| {
        foreign_keys(at, word, raw, f);
        way(at, word, raw, dir, f)
    });
    let quiet = quiet(at, raw, f);
    Some(NoticeWay {
        way: way?,
        least: match raw.least.as_deref() {
            Some("danger") => Priority::Danger,
            Some("warning") => Priority::Warning,
            _ => Priority::Advice,
        },
        after: span(raw.after_min.unwrap_or(0.0), 60_000.0),
        quiet,
    })
}

/// Names the keys that another way takes.
fn foreign_keys(at: &str, word: &str, raw: &RawNotice, f: &mut Findings) {
    let written: [(&str, bool, &str); 8] = [
        ("url", raw.url.is_some(), "webhook"),
        ("token_file", raw.token_file.is_some(), "webhook"),
        ("command", raw.command.is_some(), "command"),
        ("topic", raw.topic.is_some(), "mqtt"),
        ("server", raw.server.is_some(), "mail"),
        ("from", raw.from.is_some(), "mail"),
        ("to", raw.to.is_some(), "mail"),
        ("user", raw.user.is_some() || raw.password_file.is_some(), "mail"),
    ];
    for (key, _, owner) in written.into_iter().filter(|(_, set, owner)| *set && *owner != word) {
        let why = format!("is for way = \"{owner}\", and this is \"{word}\"");
        f.wrong(&format!("{at}.{key}"), why, "take it out, or write another [[notice]]");
    }
}

fn way(at: &str, word: &str, raw: &RawNotice, dir: &Path, f: &mut Findings) -> Option<Way> {
    let path = |key: &str| format!("{at}.{key}");
    match word {
        "command" => {
            let command = f.need(raw.command.clone(), &path("command"))?;
            if command.is_empty() {
                f.wrong(&path("command"), "names no program", "write [\"program\", \"argument\", …]");
            }
            Some(Way::Command { command })
        }
        "webhook" => {
            let url = f.need(raw.url.as_deref(), &path("url"))?;
            let url = f.keep(&path("url"), names::url(url, &["http", "https"]))?;
            Some(Way::Webhook { url: url.to_string(), token_file: raw.token_file.as_ref().map(|p| dir.join(p)) })
        }
        "mail" => mail(at, raw, dir, f),
        "mqtt" => {
            let topic = f.need(raw.topic.as_deref(), &path("topic"))?;
            f.keep(&path("topic"), names::topic(topic))?;
            Some(Way::Mqtt { topic: topic.to_owned() })
        }
        _ => Some(Way::Log),
    }
}

fn mail(at: &str, raw: &RawNotice, dir: &Path, f: &mut Findings) -> Option<Way> {
    let path = |key: &str| format!("{at}.{key}");
    let server = f.need(raw.server.as_deref(), &path("server"));
    let server = server.and_then(|s| f.keep(&path("server"), names::url(s, &["smtp", "smtps"])));
    let from = f.need(raw.from.as_deref(), &path("from")).and_then(|a| address(&path("from"), a, f));
    let to = f.need(raw.to.as_deref(), &path("to"));
    if to.is_some_and(<[_]>::is_empty) {
        f.wrong(&path("to"), "names nobody", "write [\"keeper@example.org\"]");
    }
    let to: Option<Vec<_>> = to.and_then(|to| to.iter().map(|a| address(&path("to"), a, f)).collect());
    if raw.password_file.is_some() && raw.user.is_none() && !f.is_doubted(&path("user")) {
        f.wrong(&path("password_file"), "stands without user", "add user = \"…\"");
    }
    Some(Way::Mail {
        server: server?.to_string(),
        from: from?,
        to: to?,
        user: raw.user.clone(),
        password_file: raw.password_file.as_ref().map(|p| dir.join(p)),
    })
}

/// A mail address: only its form is looked at, so that no line break can get into a mail's head.
fn address(path: &str, text: &str, f: &mut Findings) -> Option<String> {
    let fits =
        |part: &str| !part.is_empty() && !part.contains(|c: char| c.is_whitespace() || c.is_control() || c == '@');
    let good = text.split_once('@').is_some_and(|(a, b)| fits(a) && fits(b));
    let judged =
        if good { Ok(text.to_owned()) } else { Err((format!("\"{text}\" is no mail address"), "write name@host")) };
    f.keep(path, judged)
}

fn quiet(at: &str, raw: &RawNotice, f: &mut Findings) -> Option<QuietHours> {
    let path = |key: &str| format!("{at}.{key}");
    if raw.quiet_from.is_none() && raw.quiet_to.is_none() {
        if raw.time_zone.is_some() && !f.is_doubted(&path("quiet_from")) && !f.is_doubted(&path("quiet_to")) {
            f.wrong(&path("time_zone"), "serves only the quiet hours, and none are set", "add quiet_from and quiet_to");
        }
        return None;
    }
    let from = f.need(raw.quiet_from.as_deref(), &path("quiet_from"));
    let from = from.and_then(|t| f.keep(&path("quiet_from"), names::hour(t)));
    let to = f.need(raw.quiet_to.as_deref(), &path("quiet_to"));
    let to = to.and_then(|t| f.keep(&path("quiet_to"), names::hour(t)));
    if from.is_some() && from == to {
        f.wrong(&path("quiet_to"), "is quiet_from: would it be quiet always, or never?", "leave a span between them");
    }
    let time_zone = f.need(raw.time_zone.clone(), &path("time_zone"))?;
    if jiff::tz::TimeZone::get(&time_zone).is_err() {
        let why = format!("\"{time_zone}\" is no time zone that this machine knows");
        f.wrong(
            &path("time_zone"),
            why,
            "write it as \"Europe/Lisbon\" or \"UTC\", and install the zone data (tzdata)",
        );
    }
    Some(QuietHours { from_min: from?, to_min: to?, time_zone })
}
