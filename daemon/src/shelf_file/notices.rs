//! Ways by which a keeper is told.
use super::findings::{Findings, add, without};
use super::names;
use super::raw::RawNotice;
use super::recipients::hours;
use super::services::span;
use super::settings::{NoticeWay, Recipient, Way};
use dashboards::say;
use enclosure::alarm::Priority;
use std::path::Path;

/// The ways; the log alone where none is set.
pub(super) fn build(raw: &[RawNotice], recipients: &[Recipient], dir: &Path, f: &mut Findings) -> Vec<NoticeWay> {
    if raw.is_empty() {
        return vec![NoticeWay::plain(Way::Log)];
    }
    raw.iter().enumerate().filter_map(|(i, n)| notice(&format!("notice[{i}]"), n, recipients, dir, f)).collect()
}

fn notice(at: &str, raw: &RawNotice, recipients: &[Recipient], dir: &Path, f: &mut Findings) -> Option<NoticeWay> {
    let way = f.need(raw.way.as_deref(), &format!("{at}.way")).and_then(|word| {
        foreign_keys(at, word, raw, f);
        way(at, word, raw, dir, f)
    });
    let owner = owner(at, raw, recipients, f);
    let whose = owner.and_then(|i| recipients.get(i));
    let own = hours(at, (raw.quiet_from.as_deref(), raw.quiet_to.as_deref(), raw.time_zone.as_deref()), f);
    let daily_at_min = raw.daily_at.as_deref().and_then(|text| f.keep(&format!("{at}.daily_at"), names::hour(text)));
    let weekly_at =
        raw.weekly_at.as_deref().and_then(|text| f.keep(&format!("{at}.weekly_at"), names::week_hour(text)));
    Some(NoticeWay {
        way: way?,
        least: match raw.least.as_deref() {
            Some("danger") => Priority::Danger,
            Some("warning") => Priority::Warning,
            _ => Priority::Advice,
        },
        recipient: owner,
        after: raw.after_min.map(|min| span(min, 60_000.0)),
        quiet: own.or_else(|| whose.and_then(|r| r.quiet.clone())),
        time_zone: raw.time_zone.clone().or_else(|| whose.and_then(|r| r.time_zone.clone())),
        daily_at_min,
        weekly_at,
    })
}

fn owner(at: &str, raw: &RawNotice, recipients: &[Recipient], f: &mut Findings) -> Option<usize> {
    let name = raw.recipient.as_deref()?;
    let found = recipients.iter().position(|r| r.name == name);
    if found.is_none() {
        let names: Vec<_> = recipients.iter().map(|r| r.name.as_str()).collect();
        let why = say!("shelf-recipient-none", text = name, words = names.join(", "));
        f.wrong(&format!("{at}.recipient"), why, say!("shelf-recipient-none-do"));
    }
    found
}

/// Names the keys that another way takes.
fn foreign_keys(at: &str, word: &str, raw: &RawNotice, f: &mut Findings) {
    let written: [(&str, bool, &str); 10] = [
        ("url", raw.url.is_some(), "webhook"),
        ("token_file", raw.token_file.is_some(), "webhook"),
        ("secret_file", raw.secret_file.is_some(), "webhook"),
        ("ca_file", raw.ca_file.is_some(), "mail"),
        ("command", raw.command.is_some(), "command"),
        ("topic", raw.topic.is_some(), "mqtt"),
        ("server", raw.server.is_some(), "mail"),
        ("from", raw.from.is_some(), "mail"),
        ("to", raw.to.is_some(), "mail"),
        ("user", raw.user.is_some() || raw.password_file.is_some(), "mail"),
    ];
    for (key, _, owner) in written.into_iter().filter(|(_, set, owner)| *set && *owner != word) {
        let why = say!("shelf-other-way", owner = owner, text = word);
        f.wrong(&format!("{at}.{key}"), why, say!("shelf-other-way-do"));
    }
}

fn way(at: &str, word: &str, raw: &RawNotice, dir: &Path, f: &mut Findings) -> Option<Way> {
    let path = |key: &str| format!("{at}.{key}");
    match word {
        "command" => {
            let command = f.need(raw.command.clone(), &path("command"))?;
            if command.is_empty() {
                f.wrong(&path("command"), say!("shelf-command"), say!("shelf-command-do"));
            }
            Some(Way::Command { command })
        }
        "webhook" => {
            let url = f.need(raw.url.as_deref(), &path("url"))?;
            let url = f.keep(&path("url"), names::url(url, &["http", "https"]))?;
            let file = |name: &Option<String>| name.as_ref().map(|p| dir.join(p));
            let (token_file, secret_file) = (file(&raw.token_file), file(&raw.secret_file));
            Some(Way::Webhook { url: url.to_string(), token_file, secret_file })
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
        f.wrong(&path("to"), say!("shelf-mail-to"), say!("shelf-mail-to-do"));
    }
    let to: Option<Vec<_>> = to.and_then(|to| to.iter().map(|a| address(&path("to"), a, f)).collect());
    if raw.user.is_some() && raw.password_file.is_none() && !f.is_doubted(&path("password_file")) {
        f.wrong(&path("user"), without("password_file"), add("password_file"));
    }
    if raw.password_file.is_some() && raw.user.is_none() && !f.is_doubted(&path("user")) {
        f.wrong(&path("password_file"), without("user"), add("user"));
    }
    Some(Way::Mail {
        server: server?.to_string(),
        from: from?,
        to: to?,
        user: raw.user.clone(),
        password_file: raw.password_file.as_ref().map(|p| dir.join(p)),
        ca_file: raw.ca_file.as_ref().map(|p| dir.join(p)),
    })
}

/// A mail address: only its form is looked at, so that no line break can get into a mail's head.
fn address(path: &str, text: &str, f: &mut Findings) -> Option<String> {
    let fits =
        |part: &str| !part.is_empty() && !part.contains(|c: char| c.is_whitespace() || c.is_control() || c == '@');
    let good = text.split_once('@').is_some_and(|(a, b)| fits(a) && fits(b));
    let judged = if good {
        Ok(text.to_owned())
    } else {
        Err((say!("shelf-mail-address", text = text), say!("shelf-mail-address-do")))
    };
    f.keep(path, judged)
}
