//! Forms of the texts in a shelf file: identifiers, source names, topics, pointers, addresses, hours.
use dashboards::say;
use std::net::SocketAddr;

/// A text that is right, or what is wrong with it and what to do.
pub(super) type Checked<T> = Result<T, (String, String)>;

/// Longest source name, bytes.
const MAX_SOURCE_BYTES: usize = 128;

/// Longest MQTT topic filter, bytes (MQTT 3.1.1, section 1.5.3).
const MAX_TOPIC_BYTES: usize = 65_535;

/// An identifier of a nest or a pad: `[a-z0-9-]{1,32}`.
pub(super) fn id(text: &str) -> Checked<()> {
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if (1..=32).contains(&text.len()) && text.chars().all(fits) {
        Ok(())
    } else {
        Err((say!("shelf-id", text = text), say!("shelf-id-do")))
    }
}

/// A full SenML name (RFC 8428, section 4.5.1) whose node stands before its last `:`.
pub(super) fn source(text: &str) -> Checked<()> {
    let remedy = || say!("shelf-source-do");
    let fits = |c: char| c.is_ascii_alphanumeric() || "-:./_".contains(c);
    if text.len() > MAX_SOURCE_BYTES || !text.chars().all(fits) {
        return Err((say!("shelf-source-letters", text = text, most = MAX_SOURCE_BYTES), remedy()));
    }
    if !text.starts_with(|c: char| c.is_ascii_alphanumeric()) {
        return Err((say!("shelf-source-begin", text = text), remedy()));
    }
    match text.rsplit_once(':') {
        Some((node, sensor)) if !node.is_empty() && !sensor.is_empty() => Ok(()),
        _ => Err((say!("shelf-source-node", text = text), remedy())),
    }
}

/// An MQTT topic without wildcards.
pub(super) fn topic(text: &str) -> Checked<()> {
    if text.contains(['+', '#', '\0']) || text.is_empty() || text.len() > MAX_TOPIC_BYTES {
        return Err((say!("shelf-topic", text = text), say!("shelf-topic-do")));
    }
    Ok(())
}

/// The first part of all topics: levels that are neither empty nor wildcards.
pub(super) fn prefix(text: &str) -> Checked<()> {
    topic(text).and_then(|()| {
        if text.split('/').any(str::is_empty) || text.starts_with('$') || text.len() > 64 {
            Err((say!("shelf-prefix", text = text), say!("shelf-prefix-do")))
        } else {
            Ok(())
        }
    })
}

/// An MQTT topic filter (MQTT 3.1.1, section 4.7).
pub(super) fn filter(text: &str) -> Checked<()> {
    let levels: Vec<_> = text.split('/').collect();
    let last = levels.len() - 1;
    let level = |(i, l): (usize, &&str)| match *l {
        "+" => true,
        "#" => i == last,
        l => !l.contains(['+', '#', '\0']),
    };
    if !text.is_empty() && text.len() <= MAX_TOPIC_BYTES && levels.iter().enumerate().all(level) {
        Ok(())
    } else {
        Err((say!("shelf-filter", text = text), say!("shelf-filter-do")))
    }
}

/// A JSON Pointer (RFC 6901, section 3).
pub(super) fn pointer(text: &str) -> Checked<()> {
    let escaped = text.split('~').skip(1).all(|after| after.starts_with(['0', '1']));
    if text.starts_with('/') && escaped {
        Ok(())
    } else {
        Err((say!("shelf-pointer", text = text), say!("shelf-pointer-do")))
    }
}

/// An address to listen on; port 0 means any free one.
pub(super) fn listen(text: &str) -> Checked<SocketAddr> {
    text.parse().map_err(|_| (say!("shelf-listen", text = text), say!("shelf-listen-do")))
}

/// An address by URL with one of `schemes`.
pub(super) fn url(text: &str, schemes: &[&str]) -> Checked<reqwest::Url> {
    let bad = |why: String| Err((why, say!("shelf-url-do")));
    match reqwest::Url::parse(text) {
        Err(e) => bad(say!("shelf-url", text = text, why = e.to_string())),
        Ok(u) if !schemes.contains(&u.scheme()) => {
            bad(say!("shelf-url-scheme", text = u.scheme(), words = schemes.join(", ")))
        }
        Ok(u) if u.host_str().is_none_or(str::is_empty) => bad(say!("shelf-url-host", text = text)),
        Ok(u) if !u.username().is_empty() || u.password().is_some() => {
            Err((say!("shelf-url-secret"), say!("shelf-url-secret-do")))
        }
        Ok(u) => Ok(u),
    }
}

/// An hour of the day, `HH:MM`, in minutes after midnight.
pub(super) fn hour(text: &str) -> Checked<u16> {
    two(text, ':')
        .filter(|(h, m)| *h < 24 && *m < 60)
        .map(|(h, m)| u16::from(h) * 60 + u16::from(m))
        .ok_or_else(|| (say!("shelf-hour", text = text), say!("shelf-hour-do")))
}

/// Days of the week, from Monday.
const WEEK_DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// An hour of a day of the week, `Sun 18:00`, as (days after Monday, minutes after midnight).
pub(super) fn week_hour(text: &str) -> Checked<(u8, u16)> {
    let no = || (say!("shelf-week-hour", text = text), say!("shelf-week-hour-do"));
    let (day, at) = text.trim().split_once(' ').ok_or_else(no)?;
    let day = WEEK_DAYS.iter().position(|name| name.eq_ignore_ascii_case(day)).ok_or_else(no)?;
    Ok((u8::try_from(day).map_err(|_| no())?, hour(at.trim()).map_err(|_| no())?))
}

/// Days of each month, 29 February included.
const MONTH_DAYS: [u8; 12] = [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// A day of the year, `MM-DD`, as (month, day).
pub(super) fn day(text: &str) -> Checked<(u8, u8)> {
    two(text, '-')
        .filter(|(m, d)| {
            let days = usize::from(*m).checked_sub(1).and_then(|i| MONTH_DAYS.get(i));
            *d >= 1 && days.is_some_and(|last| d <= last)
        })
        .ok_or_else(|| (say!("shelf-day", text = text), say!("shelf-day-do")))
}

/// The place of a day in a leap year, from 0.
pub(super) fn day_of_year((month, day): (u8, u8)) -> usize {
    let before = MONTH_DAYS.iter().take(usize::from(month).saturating_sub(1));
    before.map(|d| usize::from(*d)).sum::<usize>() + usize::from(day).saturating_sub(1)
}

/// Two numbers of two digits each.
fn two(text: &str, between: char) -> Option<(u8, u8)> {
    let number = |s: &str| (s.len() == 2 && s.bytes().all(|b| b.is_ascii_digit())).then(|| s.parse().ok()).flatten();
    let (a, b) = text.split_once(between)?;
    Some((number(a)?, number(b)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check<T>(judge: impl Fn(&str) -> Checked<T>, good: &[&str], bad: &[&str]) {
        for g in good {
            assert!(judge(g).is_ok(), "{g} is right");
        }
        for b in bad {
            assert!(judge(b).is_err(), "{b} is wrong");
        }
    }

    #[test]
    fn forms() {
        check(id, &["oak", "a-1", "0"], &["", "Oak", "a_b", "ä", &"x".repeat(33)]);
        check(source, &["n:a", "urn:dev:mac:01:t", "n.x/1:a"], &["n", ":a", "n:", "-n:a", "n:ä", "n: a"]);
        check(filter, &["a", "a/+/b", "#", "a/#", "+"], &["", "a#", "a/#/b", "a+/b"]);
        check(pointer, &["/a", "/a/0", "/a~0b~1"], &["", "a", "/a~", "/a~2"]);
        check(prefix, &["warmend", "home/warmend"], &["", "/a", "a/", "a/+", "$SYS"]);
        check(hour, &["00:00", "23:59"], &["24:00", "1:00", "12:60", "noon", "+1:00"]);
        check(day, &["02-29", "12-31"], &["02-30", "00-01", "13-01", "04-31", "1-1", "01-00"]);
        check(listen, &["127.0.0.1:0", "[::1]:1883"], &["localhost", ":1883", "1.2.3.4"]);
        let mqtt = |t: &str| url(t, &["mqtt"]);
        check(
            mqtt,
            &["mqtt://h", "mqtt://h:1883", "mqtt://[::1]:1"],
            &["h:1883", "http://h", "mqtt://", "mqtt://u:p@h"],
        );
    }

    #[test]
    fn an_hour_of_the_week_is_a_day_and_an_hour() {
        assert_eq!(week_hour("Mon 00:00"), Ok((0, 0)));
        assert_eq!(week_hour(" sun 18:05 "), Ok((6, 1085)));
        for bad in ["", "Sun", "18:00", "Day 18:00", "Sun 24:00", "Sunday 18:00"] {
            assert!(week_hour(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn days_of_the_year_follow_each_other() {
        assert_eq!(day_of_year((1, 1)), 0);
        assert_eq!(day_of_year((3, 1)), 60);
        assert_eq!(day_of_year((12, 31)), 365);
    }
}
