//! Line protocol: `reading,nest=oak,quantity=temperature,source=oak-node:warm value=27.25 1772366400250`.
//!
//! Times are milliseconds: a server must be told so (`precision=ms`), or it takes them for nanoseconds of 1970.
use super::{reading, rejection, shown};
use crate::history::{HistoricReading, Quantity};
use enclosure::Timestamp;
use std::fmt::Write as _;

/// The measurement that holds readings.
pub(crate) const MEASUREMENT: &str = "reading";

/// Writes a reading as a line, under the nest that lists its source, if one does.
pub(crate) fn write(r: &HistoricReading, nest: Option<&str>, line: &mut String) {
    let (quantity, v) = r.value();
    line.push_str(MEASUREMENT);
    if let Some(nest) = nest {
        line.push_str(",nest=");
        escape(nest, line);
    }
    let _ = write!(line, ",quantity={},source=", quantity.name());
    escape(&r.source, line);
    let _ = write!(line, " value={v}");
    if let Some(why) = r.rejection {
        let _ = write!(line, ",rejected=\"{}\"", why.name());
    }
    let _ = writeln!(line, " {}", r.at.unix_ms());
}

/// A tag's value: commas, equal signs and spaces with a backslash before them; what would end the line is a space.
pub(crate) fn escape(text: &str, out: &mut String) {
    for c in text.chars() {
        match c {
            ',' | '=' | ' ' => out.extend(['\\', c]),
            c if c.is_control() => out.push_str("\\ "),
            c => out.push(c),
        }
    }
    // A backslash at the end would take the next comma with it.
    if text.ends_with('\\') {
        out.push('_');
    }
}

/// A field's text, between its quotes.
pub(crate) fn quote(text: &str, out: &mut String) {
    out.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
}

/// Reads a line; `None` where it is empty, a comment, or of another measurement.
pub(super) fn read(line: &[u8]) -> Result<Option<HistoricReading>, String> {
    let line = std::str::from_utf8(line).map_err(|_| "it is no UTF-8 text")?.trim();
    if line.is_empty() || line.starts_with('#') {
        return Ok(None);
    }
    let (head, rest) = split(line, ' ').ok_or("it has no fields")?;
    let (fields, time) = split(rest, ' ').ok_or("it has no time: write it in milliseconds since 1970")?;
    let mut tags = parts(head, ',');
    if tags.next().map(unescaped).as_deref() != Some(MEASUREMENT) {
        return Ok(None);
    }
    let (mut source, mut quantity) = (None, None);
    for tag in tags {
        let (key, value) = split(tag, '=').ok_or_else(|| format!("\"{}\" is no tag", shown(tag)))?;
        match key {
            "source" => source = Some(unescaped(value)),
            "quantity" => {
                let known = Quantity::ALL.into_iter().find(|q| q.name() == value);
                quantity = Some(known.ok_or_else(|| format!("\"{}\" is no quantity", shown(value)))?);
            }
            _ => {}
        }
    }
    let (mut value, mut why) = (None, None);
    for field in parts(fields, ',') {
        let (key, text) = split(field, '=').ok_or_else(|| format!("\"{}\" is no field", shown(field)))?;
        match key {
            "value" => value = Some(text.parse::<f64>().map_err(|_| format!("\"{}\" is no number", shown(text)))?),
            "rejected" => why = Some(rejection(text.trim_matches('"'))?),
            _ => {}
        }
    }
    let ms = time.trim().parse().map_err(|_| format!("\"{}\" is no time in milliseconds", shown(time)))?;
    let source = source.ok_or("it names no source")?;
    let value = (quantity.ok_or("it names no quantity")?, value.ok_or("it has no field \"value\"")?);
    Ok(Some(HistoricReading { rejection: why, ..reading(&source, value, Timestamp::from_unix_ms(ms))? }))
}

/// The next of `at` outside quotes and not behind a backslash.
fn split(text: &str, at: char) -> Option<(&str, &str)> {
    let (mut quoted, mut behind) = (false, false);
    for (i, c) in text.char_indices() {
        match c {
            _ if behind => behind = false,
            '\\' => behind = true,
            '"' => quoted = !quoted,
            c if c == at && !quoted => return Some((text.get(..i)?, text.get(i + c.len_utf8()..)?)),
            _ => {}
        }
    }
    None
}

fn parts(text: &str, at: char) -> impl Iterator<Item = &str> {
    let mut rest = Some(text);
    std::iter::from_fn(move || match split(rest?, at) {
        Some((part, more)) => {
            rest = Some(more);
            Some(part)
        }
        None => rest.take(),
    })
}

fn unescaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match (c, chars.peek()) {
            ('\\', Some(next @ (',' | '=' | ' '))) => {
                out.push(*next);
                chars.next();
            }
            _ => out.push(c),
        }
    }
    out
}
