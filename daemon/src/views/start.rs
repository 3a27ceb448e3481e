//! First start: what was heard and has no place yet, and a form that writes the lines of a shelf file for it. It asks
//! what a person can read off a label and a ruler, and takes "I don't know".
use super::hours::ago;
use super::start_lines::{Answers, Lines, lines};
use crate::shelf_file::{self, Advice, ShelfErrors, material_names};
use crate::snapshot::Snapshot;
use dashboards::{Button, Cell, Field, FieldKind, Form, Link, Part, SheetPage, Table, Tone, say};
use enclosure::Timestamp;
use std::path::Path;

/// Where that page is.
pub const START_PATH: &str = "/start";
/// Most sources that the form asks about.
pub const SOURCES_MAX: usize = 12;
/// Rows for names to write where nothing was heard.
const BLANK_ROWS: usize = 3;

/// What stands already: the shelf file's name and text.
#[derive(Clone, Copy, Debug)]
pub struct Written<'a> {
    /// The file.
    pub path: &'a Path,
    /// What it says.
    pub text: &'a str,
    /// Where nodes publish: `mqtt://address/prefix/…`.
    pub broker: &'a str,
}

/// The page; its frame is left to the caller.
pub fn start_page(snap: &Snapshot, now: Timestamp, file: Written<'_>, asked: &Answers) -> SheetPage {
    let (title, lead) = if snap.shelf.nests.is_empty() {
        (say!("start-title-empty"), say!("start-lead-empty"))
    } else {
        (say!("start-title-more"), say!("start-lead-more"))
    };
    let mut parts = vec![Part::Says(vec![lead])];
    // What was asked for stands first: on a telephone the form is long.
    let said = asked.given().then(|| checked(&lines(asked), snap, file));
    let (done, open) = match said {
        Some(Ok(done)) => (done, Vec::new()),
        Some(Err(open)) => (Vec::new(), open),
        None => (Vec::new(), Vec::new()),
    };
    parts.extend(done);
    parts.push(Part::Heading(say!("start-head-heard")));
    parts.push(Part::Table(heard(snap, now)));
    parts.push(Part::Says(vec![say!("start-how", broker = file.broker)]));
    parts.push(Part::Heading(say!("start-head-asked")));
    parts.extend(open);
    parts.push(Part::Form(form(snap, asked)));
    parts.push(Part::Heading(say!("start-head-cautions")));
    parts.push(Part::Warns(Tone::Warning, cautions()));
    let plan = Link { label: say!("start-plan"), url: dashboards::PLAN_PATH.to_owned(), current: false };
    parts.push(Part::Links(vec![plan]));
    SheetPage { title, parts, ..SheetPage::default() }
}

fn cautions() -> Vec<String> {
    vec![
        say!("start-caution-device"),
        say!("start-caution-relay"),
        say!("start-caution-water"),
        say!("start-caution-label"),
    ]
}

fn heard(snap: &Snapshot, now: Timestamp) -> Table {
    let row = |(name, value, at): &(String, String, Timestamp)| {
        vec![Cell::of(name), Cell::of(value), Cell::of(ago(*at, now))]
    };
    Table {
        caption: say!("start-heard"),
        columns: vec![say!("start-heard-source"), say!("start-heard-said"), say!("probes-heard")],
        rows: snap.strangers.iter().map(row).collect(),
        empty: say!("start-heard-none"),
    }
}

/// The lines to copy, as the daemon's own reader judges them; else what is to be mended.
fn checked(lines: &Lines, snap: &Snapshot, file: Written<'_>) -> Result<Vec<Part>, Vec<Part>> {
    if !lines.missing.is_empty() {
        let needed = [say!("start-still-needed")].into_iter().chain(lines.missing.iter().cloned());
        return Err(vec![Part::Warns(Tone::Advice, needed.collect())]);
    }
    let whole = format!("{}\n{}", file.text, lines.text);
    let (_, advice) = shelf_file::check_text(&whole, file.path, std::iter::empty())
        .map_err(|wrong| vec![Part::Warns(Tone::Advice, complaints(&wrong))])?;
    let own = format!("nest[{}]", snap.shelf.nests.len());
    let name = file.path.file_name().map_or("shelf.toml".into(), |n| n.to_string_lossy());
    let mut parts = vec![
        Part::Heading(say!("start-copy-head")),
        Part::Says(vec![say!("start-copy-says", file = name)]),
        Part::Copy(say!("start-copy"), lines.text.clone()),
    ];
    let advice = advice.iter().filter(|a| a.key.starts_with(&own)).map(remark);
    let open: Vec<String> = lines.open.iter().cloned().chain(advice).collect();
    if !open.is_empty() {
        parts.push(Part::Folded(say!("start-open"), vec![Part::Steps(open)]));
    }
    parts.push(Part::Says(vec![say!("start-no-notice")]));
    Ok(parts)
}

fn complaints(wrong: &ShelfErrors) -> Vec<String> {
    let one = |(key, why, remedy): (&str, &str, &str)| say!("start-complaint", key = key, why = why, remedy = remedy);
    let all: Vec<String> = wrong.errors().iter().map(|e| one((&e.key, &e.why, &e.remedy))).collect();
    if all.is_empty() { vec![wrong.to_string()] } else { all }
}

fn remark(a: &Advice) -> String {
    say!("start-complaint", key = &a.key, why = &a.why, remedy = &a.remedy)
}

/// What a form sends for a choice, and what that says.
fn pair(sends: &str, says: String) -> (String, String) {
    (sends.to_owned(), says)
}

fn unknown() -> (String, String) {
    pair("", say!("start-unknown"))
}

fn field(asked: &Answers, name: &str, label: String, help: Option<String>, kind: FieldKind) -> Field {
    Field {
        name: name.to_owned(),
        label,
        kind,
        value: asked.get(name).to_owned(),
        help: help.unwrap_or_default(),
        needed: false,
    }
}

fn form(snap: &Snapshot, asked: &Answers) -> Form {
    Form {
        url: START_PATH.to_owned(),
        asks: true,
        hidden: sources(snap, asked)
            .into_iter()
            .enumerate()
            .filter(|(_, s)| !s.is_empty())
            .map(|(i, s)| (format!("s{i}"), s))
            .collect(),
        groups: vec![
            (say!("planform-nest"), nest(asked)),
            (say!("start-group-sensors"), probes(snap, asked)),
            (say!("planform-mat"), mat(asked)),
            (say!("start-group-brood"), brood(asked)),
        ],
        buttons: vec![Button { label: say!("start-write"), sends: Some(pair("write", "yes".to_owned())) }],
        ..Form::default()
    }
}

fn nest(asked: &Answers) -> Vec<Field> {
    let mut materials = vec![unknown()];
    materials.extend(material_names().into_iter().map(|m| pair(m, material_words(m))));
    let covers = vec![
        unknown(),
        pair("open", say!("cover-open")),
        pair("glass", say!("cover-glass")),
        pair("acrylic", say!("cover-acrylic")),
        pair("lid", say!("start-cover-lid")),
    ];
    let (length, material) = (say!("start-length"), say!("start-material"));
    vec![
        field(asked, "id", say!("start-id"), Some(say!("start-id-help")), FieldKind::Line(32)),
        field(asked, "length", length, Some(say!("start-length-help")), FieldKind::Number(20.0, 5000.0)),
        field(asked, "material", material, Some(say!("start-material-help")), FieldKind::Choice(materials)),
        field(asked, "cover", say!("start-cover"), None, FieldKind::Choice(covers)),
    ]
}

/// Other names are said as the shelf file has them.
fn material_words(name: &str) -> String {
    match name {
        "aac" => say!("start-material-aac"),
        "printed" => say!("start-material-printed"),
        other => other.to_owned(),
    }
}

/// The sources that the form asks about, by their row: those of the form before, then those heard; an empty one is a
/// row to write in.
fn sources(snap: &Snapshot, asked: &Answers) -> Vec<String> {
    let mut known: Vec<String> = asked.sources();
    for (name, value, _) in &snap.strangers {
        let is_reading = [" Cel", " %RH", " /", " W"].iter().any(|unit| value.ends_with(unit)) || !value.contains(' ');
        if is_reading && known.len() < SOURCES_MAX && !known.contains(name) {
            known.push(name.clone());
        }
    }
    known
}

fn probes(snap: &Snapshot, asked: &Answers) -> Vec<Field> {
    let known = sources(snap, asked);
    let roles = || {
        FieldKind::Choice(vec![
            pair("", say!("start-role-none")),
            pair("probe", say!("start-role-probe")),
            pair("room", say!("start-role-room")),
            pair("drive", say!("start-role-drive")),
        ])
    };
    let mut fields = Vec::new();
    let rows = (known.len() + BLANK_ROWS).min(SOURCES_MAX).max(known.len());
    for (i, name) in known.iter().map(String::as_str).chain(std::iter::repeat("")).take(rows).enumerate() {
        let (is, at) = if name.is_empty() {
            let help = Some(say!("start-source-unheard-help"));
            let label = say!("start-source-unheard");
            fields.push(field(asked, &format!("s{i}"), label, help, FieldKind::Line(96)));
            (say!("start-it-is"), say!("start-it-sits"))
        } else {
            let is = match snap.strangers.iter().find(|s| s.0 == name) {
                Some((_, value, _)) => say!("start-source-is-said", source = name, value = value),
                None => say!("start-source-is", source = name),
            };
            (is, say!("start-source-at", source = name))
        };
        fields.push(field(asked, &format!("r{i}"), is, None, roles()));
        let help = Some(say!("start-sits-help"));
        fields.push(field(asked, &format!("m{i}"), at, help, FieldKind::Number(0.0, 5000.0)));
    }
    fields
}

fn mat(asked: &Answers) -> Vec<Field> {
    let has = vec![unknown(), pair("yes", say!("start-yes")), pair("no", say!("start-mat-none"))];
    let cutoff = vec![unknown(), pair("yes", say!("start-yes")), pair("no", say!("start-no"))];
    let places = vec![
        pair("", say!("start-where-under")),
        pair("beside", say!("place-beside")),
        pair("lid", say!("place-lid")),
        pair("inside", say!("place-inside")),
    ];
    let mm = || FieldKind::Number(0.0, 5000.0);
    let number = |name, label, help, least, most| field(asked, name, label, Some(help), FieldKind::Number(least, most));
    let cutoff_help = Some(say!("start-cutoff-help"));
    vec![
        field(asked, "mat", say!("start-mat"), None, FieldKind::Choice(has)),
        field(asked, "where", say!("start-where"), None, FieldKind::Choice(places)),
        field(asked, "from", say!("start-from"), Some(say!("start-from-help")), mm()),
        field(asked, "to", say!("start-to"), None, mm()),
        number("watts", say!("start-watts"), say!("start-watts-help"), 0.01, 1000.0),
        number("volts", say!("start-volts"), say!("start-volts-help"), 1.0, 250.0),
        number("amps", say!("start-amps"), say!("start-amps-help"), 0.001, 20.0),
        field(asked, "cutoff", say!("start-cutoff"), cutoff_help, FieldKind::Choice(cutoff)),
        field(asked, "plug", say!("start-plug"), Some(say!("start-plug-help")), FieldKind::Line(80)),
    ]
}

fn brood(asked: &Answers) -> Vec<Field> {
    let celsius = || FieldKind::Number(-20.0, 60.0);
    let mm = || FieldKind::Number(0.0, 5000.0);
    vec![
        field(asked, "brood_from", say!("start-brood-from"), Some(say!("start-brood-from-help")), mm()),
        field(asked, "brood_to", say!("start-brood-to"), None, mm()),
        field(asked, "low", say!("start-low"), Some(say!("start-low-help")), celsius()),
        field(asked, "high", say!("start-high"), None, celsius()),
        field(asked, "limit", say!("start-limit"), Some(say!("start-limit-help")), celsius()),
    ]
}
