//! From TOML text to checked values, every key with its line: what is unknown, of the wrong kind or out of range is
//! named and left out, so that the rest can still be weighed in the same run.
use super::findings::{Findings, Place};
use super::nearest::{likely, nearest};
use super::no_toml;
use super::schema::{self, Kind, Section};
use config::{Map, Value, ValueKind};
use dashboards::say;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Longest text of one value, bytes.
pub(super) const MAX_TEXT_BYTES: usize = 1000;

/// Most entries of one list (nests of a shelf, probes of a nest, words of a command).
pub(super) const MAX_LIST: usize = 256;

/// The checked document, ready to be layered under the environment.
#[derive(Clone, Debug)]
pub(super) struct Document {
    /// Sections by name.
    pub(super) sections: Map<String, Value>,
}

impl config::Source for Document {
    fn clone_into_box(&self) -> Box<dyn config::Source + Send + Sync> {
        Box::new(self.clone())
    }

    fn collect(&self) -> Result<Map<String, Value>, config::ConfigError> {
        Ok(self.sections.clone())
    }
}

/// Where a value stands: its path, and the name and line a keeper is told.
struct At {
    path: String,
    shown: String,
    line: usize,
}

impl At {
    fn key(&self, name: &str, line: usize) -> Self {
        let join = |base: &str| if base.is_empty() { name.to_owned() } else { format!("{base}.{name}") };
        Self { path: join(&self.path), shown: join(&self.shown), line }
    }

    fn item(&self, index: usize, line: usize) -> Self {
        Self { path: format!("{}[{index}]", self.path), shown: format!("{}[{index}]", self.shown), line }
    }

    /// The only one of what may be a list: numbered in the path, not in what is shown.
    fn only(&self) -> Self {
        Self { path: format!("{}[0]", self.path), shown: self.shown.clone(), line: self.line }
    }
}

/// Reads `text`; `None` if it is no TOML at all (the findings say where).
pub(super) fn read(text: &str, findings: &mut Findings) -> Option<Document> {
    let lines = Lines::of(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        no_toml::tell(&errors, (text, &lines), findings);
        return None;
    }
    let mut reader = Reader { lines, findings };
    let top = At { path: String::new(), shown: String::new(), line: 1 };
    Some(Document { sections: reader.table(table.get_ref(), &schema::FILE, &top) })
}

struct Reader<'a> {
    lines: Lines,
    findings: &'a mut Findings,
}

impl Reader<'_> {
    fn table(&mut self, table: &DeTable<'_>, section: &Section, at: &At) -> Map<String, Value> {
        let mut kept = Map::new();
        for (name, value) in table {
            let at = at.key(name.get_ref(), self.lines.at(name.span().start));
            self.findings.mark(&at.path, at.shown.clone(), Place::Line(at.line));
            match section.key(name.get_ref()) {
                None => self.unknown(name.get_ref(), section, &at),
                Some(key) => {
                    if let Some(v) = self.value(value, &key.kind, &at) {
                        kept.insert(key.name.to_owned(), v);
                    }
                }
            }
        }
        kept
    }

    fn unknown(&mut self, name: &str, section: &Section, at: &At) {
        let near = nearest(name, section.keys.iter().map(|k| k.name));
        let elsewhere = schema::settable().find(|(_, k)| k.name == name).map(|(s, _)| s);
        let (why, remedy) = match (near, elsewhere) {
            (Some((near, d)), Some(other)) if !likely(name, d) => {
                (say!("shelf-unknown-here", key = near), say!("shelf-unknown-here-do", key = name, section = other))
            }
            (Some((near, d)), _) => {
                if likely(name, d) {
                    let meant = at.path.strip_suffix(name).unwrap_or_default();
                    self.findings.doubt(&format!("{meant}{near}"));
                }
                (say!("shelf-unknown-near", key = near), say!("shelf-unknown-near-do"))
            }
            (None, _) => (say!("shelf-unknown"), say!("shelf-take-out-do")),
        };
        self.findings.wrong(&at.path, why, remedy);
    }

    fn value(&mut self, value: &Spanned<DeValue<'_>>, kind: &Kind, at: &At) -> Option<Value> {
        let origin = format!("line {}", at.line);
        let kept = match (kind, value.get_ref()) {
            (Kind::Table(s) | Kind::TextOrTable(s), DeValue::Table(t)) => ValueKind::Table(self.table(t, s, at)),
            (Kind::OneOrMore(s), DeValue::Table(t)) => {
                let only = at.only();
                self.findings.mark(&only.path, only.shown.clone(), Place::Line(only.line));
                let table = self.table(t, s, &only);
                ValueKind::Array(vec![Value::new(Some(&origin), ValueKind::Table(table))])
            }
            (Kind::Tables(s) | Kind::OneOrMore(s), DeValue::Array(a)) => {
                self.not_too_many(a.len(), at)?;
                ValueKind::Array(a.iter().enumerate().map(|(i, v)| self.item(v, s, at, i)).collect())
            }
            (Kind::Texts, DeValue::Array(a)) => {
                self.not_too_many(a.len(), at)?;
                let texts: Option<Vec<_>> = a.iter().map(|v| self.value(v, &Kind::Text, at)).collect();
                ValueKind::Array(texts?)
            }
            (_, other) => match plain(other, kind) {
                Ok(v) => v,
                Err((why, remedy)) => {
                    self.findings.wrong(&at.path, why, remedy);
                    return None;
                }
            },
        };
        Some(Value::new(Some(&origin), kept))
    }

    /// One entry of a list of sections. A faulty one leaves an empty place, so that the others keep their numbers.
    fn item(&mut self, value: &Spanned<DeValue<'_>>, section: &Section, at: &At, index: usize) -> Value {
        let at = at.item(index, self.lines.at(value.span().start));
        self.findings.mark(&at.path, at.shown.clone(), Place::Line(at.line));
        let table = if let DeValue::Table(t) = value.get_ref() {
            self.table(t, section, &at)
        } else {
            let remedy = say!("shelf-section-do", section = bare(&at.path));
            self.findings.wrong(&at.path, say!("shelf-section"), remedy);
            Map::new()
        };
        Value::new(None, ValueKind::Table(table))
    }

    fn not_too_many(&mut self, n: usize, at: &At) -> Option<()> {
        if n <= MAX_LIST {
            return Some(());
        }
        self.findings.wrong(&at.path, say!("shelf-entries", n = n, most = MAX_LIST), say!("shelf-several-do"));
        None
    }
}

/// The path without its numbers: `nest.probe` of `nest[0].probe[3]`.
fn bare(path: &str) -> String {
    path.split('.').map(|p| p.split('[').next().unwrap_or(p)).collect::<Vec<_>>().join(".")
}

/// What is wrong, and what to do.
type Fault = (String, String);

/// A value that is no section, checked against its kind.
fn plain(value: &DeValue<'_>, kind: &Kind) -> Result<ValueKind, Fault> {
    match (kind, value) {
        (Kind::Number(..), DeValue::Integer(_) | DeValue::Float(_)) => number(&value_text(value), kind),
        (Kind::Whole(..), DeValue::Integer(i)) => match i64::from_str_radix(i.as_str(), i.radix()) {
            Ok(n) => number(&n.to_string(), kind),
            Err(_) => number(i.as_str(), kind),
        },
        (Kind::YesNoUnknown, DeValue::Boolean(b)) => Ok(ValueKind::String(b.to_string())),
        (Kind::Moment, DeValue::Datetime(d)) => Ok(ValueKind::String(d.to_string())),
        (
            Kind::Text | Kind::Choice(_) | Kind::YesNoUnknown | Kind::Moment | Kind::TextOrTable(_),
            DeValue::String(s),
        ) => word(s, kind),
        _ => Err((say!("shelf-kind", found = found(value), wanted = wanted(kind)), say!("shelf-example-do"))),
    }
}

fn value_text(value: &DeValue<'_>) -> String {
    match value {
        DeValue::Integer(i) if i.radix() != 10 => {
            i64::from_str_radix(i.as_str(), i.radix()).map_or_else(|_| i.to_string(), |n| n.to_string())
        }
        DeValue::Integer(i) => i.as_str().to_owned(),
        DeValue::Float(f) => f.as_str().to_owned(),
        _ => String::new(),
    }
}

/// A value that came as text (from the environment), checked against its kind.
pub(super) fn from_text(text: &str, kind: &Kind) -> Result<ValueKind, Fault> {
    match kind {
        Kind::Number(..) | Kind::Whole(..) => number(text.trim(), kind),
        _ => word(text, kind),
    }
}

fn number(text: &str, kind: &Kind) -> Result<ValueKind, Fault> {
    let none = || (say!("shelf-not-number", text = text, wanted = wanted(kind)), say!("shelf-not-number-do"));
    let outside = |low: String, high: String| {
        Err((say!("shelf-outside", text = text, low = low, high = high), say!("shelf-outside-do")))
    };
    match kind {
        Kind::Whole(low, high) => {
            let n: i64 = text.parse().map_err(|_| none())?;
            if n < *low || n > *high { outside(low.to_string(), high.to_string()) } else { Ok(ValueKind::I64(n)) }
        }
        Kind::Number(low, high) => {
            let n: f64 = text.parse().map_err(|_| none())?;
            if !n.is_finite() {
                return Err(none());
            }
            if n < *low || n > *high { outside(low.to_string(), high.to_string()) } else { Ok(ValueKind::Float(n)) }
        }
        _ => Err(none()),
    }
}

fn word(text: &str, kind: &Kind) -> Result<ValueKind, Fault> {
    let choices: &[&str] = match kind {
        Kind::Choice(words) => words,
        Kind::YesNoUnknown => &["true", "false", "unknown"],
        _ => &[],
    };
    if text.is_empty() {
        return Err((say!("shelf-empty"), say!("shelf-empty-do")));
    }
    if text.len() > MAX_TEXT_BYTES {
        return Err((say!("shelf-long", most = MAX_TEXT_BYTES), say!("shelf-shorten-do")));
    }
    if text.contains(char::is_control) {
        return Err((say!("shelf-control"), say!("shelf-take-out-do")));
    }
    match nearest(text, choices.iter().copied()) {
        Some((near, _)) if !choices.contains(&text) => {
            Err((say!("shelf-none-of", text = text, words = choices.join(", ")), say!("shelf-none-of-do", near = near)))
        }
        _ => Ok(ValueKind::String(text.to_owned())),
    }
}

fn found(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(_) => say!("shelf-found-text"),
        DeValue::Integer(_) | DeValue::Float(_) => say!("shelf-found-number"),
        DeValue::Boolean(_) => say!("shelf-found-bool"),
        DeValue::Datetime(_) => say!("shelf-found-date"),
        DeValue::Array(_) => say!("shelf-found-list"),
        DeValue::Table(_) => say!("shelf-found-section"),
    }
}

fn wanted(kind: &Kind) -> String {
    match kind {
        Kind::Text => say!("shelf-wanted-text"),
        Kind::Number(..) => say!("shelf-wanted-number"),
        Kind::Whole(..) => say!("shelf-wanted-whole"),
        Kind::Choice(_) => say!("shelf-wanted-word"),
        Kind::YesNoUnknown => say!("shelf-wanted-known"),
        Kind::Texts => say!("shelf-wanted-texts"),
        Kind::Moment => say!("shelf-wanted-moment"),
        Kind::Table(_) => say!("shelf-wanted-section"),
        Kind::Tables(_) => say!("shelf-wanted-sections"),
        Kind::OneOrMore(_) => say!("shelf-wanted-one-or-more"),
        Kind::TextOrTable(_) => say!("shelf-wanted-material"),
    }
}

/// Where the lines of a text begin.
pub(super) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    fn of(text: &str) -> Self {
        let after_breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(i, _)| i + 1);
        Self { starts: std::iter::once(0).chain(after_breaks).collect() }
    }

    /// The line of a byte, from 1.
    pub(super) fn at(&self, byte: usize) -> usize {
        self.starts.partition_point(|s| *s <= byte)
    }
}
