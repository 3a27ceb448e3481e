//! First start: what was heard and has no place yet, and a form that writes the lines of a shelf file for it. It asks
//! what a person can read off a label and a ruler, and takes "I don't know".
//! Every sentence of that page stands in this file and in `start_lines`.
use super::start_lines::{Answers, Lines, lines};
use crate::shelf_file::{self, Advice, ShelfErrors, material_names};
use crate::snapshot::Snapshot;
use dashboards::{Button, Cell, Field, FieldKind, Form, Link, Part, SheetPage, Table, Tone};
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
    let empty = snap.shelf.nests.is_empty();
    let title = if empty { "An empty shelf: let us fill it" } else { "Another nest" };
    let mut parts = Vec::new();
    let lead = if empty {
        "The watch runs, but no nest is described yet, so nothing is judged and nobody is told of anything. Three steps: see \
         what your sensors say, answer what you can, copy a few lines."
    } else {
        "What your sensors say that no nest lists yet, and the lines that give it a place."
    };
    parts.push(Part::Says(vec![lead.to_owned()]));
    // What was asked for stands first: on a telephone the form is long.
    let said = asked.given().then(|| checked(&lines(asked), snap, file));
    let (done, open) = match said {
        Some(Ok(done)) => (done, Vec::new()),
        Some(Err(open)) => (Vec::new(), open),
        None => (Vec::new(), Vec::new()),
    };
    parts.extend(done);
    parts.push(Part::Heading("1. What was heard".to_owned()));
    parts.push(Part::Table(heard(snap, now)));
    let how = format!(
        "Sensors publish to {}; a sensor that speaks otherwise is taken in by a [[mapping]]. `warmend check --listen 1m` shows \
         what arrives and what becomes of it.",
        file.broker
    );
    parts.push(Part::Says(vec![how]));
    parts.push(Part::Heading("2. What you can read off label and ruler".to_owned()));
    parts.extend(open);
    parts.push(Part::Form(form(snap, asked)));
    parts.push(Part::Heading("Before anything is plugged in".to_owned()));
    parts.push(Part::Warns(Tone::Warning, CAUTIONS.map(str::to_owned).into()));
    let plan = Link {
        label: "Plan: how hot if the mat sticks on".to_owned(),
        url: dashboards::PLAN_PATH.to_owned(),
        current: false,
    };
    parts.push(Part::Links(vec![plan]));
    SheetPage { title: title.to_owned(), parts, ..SheetPage::default() }
}

const CAUTIONS: [&str; 4] = [
    "Software is never the protective device, and neither is this program. A heating mat needs a thermal cut-off of its own, \
     apart from the thermostat's sensor, and should be so small that even when it sticks on, nest and wood stay within what \
     they bear.",
    "Relays weld, and sensors slip out of nests: the usual failure of a heater is on. Cover no mat with anything that keeps \
     its warmth in.",
    "Water and mains: a drip loop in every cable, a residual-current device in the circuit, low voltage where there is a \
     choice. Unplug before you add or wipe water.",
    "The heater's own label and instructions, local codes, and licensed people for work on mains wiring come first.",
];

fn heard(snap: &Snapshot, now: Timestamp) -> Table {
    let row = |(name, value, at): &(String, String, Timestamp)| {
        vec![Cell::of(name), Cell::of(value), Cell::of(format!("{} ago", now.since(*at).max(enclosure::Span::ZERO)))]
    };
    Table {
        caption: "Heard, but in no nest yet".to_owned(),
        columns: ["source: node, colon, sensor", "said last", "heard"].map(str::to_owned).into(),
        rows: snap.strangers.iter().map(row).collect(),
        empty: "Nothing was heard yet that has no place. Once a node publishes, it stands here within seconds: look again. You \
                can also write its name by hand below."
            .to_owned(),
    }
}

/// The lines to copy, as the daemon's own reader judges them; else what is to be mended.
fn checked(lines: &Lines, snap: &Snapshot, file: Written<'_>) -> Result<Vec<Part>, Vec<Part>> {
    if !lines.missing.is_empty() {
        let first = "These are still needed; all else may stay open.".to_owned();
        return Err(vec![Part::Warns(
            Tone::Advice,
            [first].into_iter().chain(lines.missing.iter().cloned()).collect(),
        )]);
    }
    let whole = format!("{}\n{}", file.text, lines.text);
    match shelf_file::check_text(&whole, file.path, std::iter::empty()) {
        Err(wrong) => Err(vec![Part::Warns(Tone::Advice, complaints(&wrong))]),
        Ok((_, advice)) => {
            let own = format!("nest[{}]", snap.shelf.nests.len());
            let mut parts = vec![
                Part::Heading("Copy these lines".to_owned()),
                Part::Says(vec![format!(
                    "They were read by the watch's own reader and can be used. Put them at the end of {}, then `warmend check`, \
                     then start the watch again.",
                    file.path.file_name().map_or("shelf.toml".into(), |n| n.to_string_lossy())
                )]),
                Part::Copy("To copy".to_owned(), lines.text.clone()),
            ];
            let open: Vec<String> = lines
                .open
                .iter()
                .cloned()
                .chain(advice.iter().filter(|a| a.key.starts_with(&own)).map(remark))
                .collect();
            if !open.is_empty() {
                parts.push(Part::Folded("What stays open, and what that costs".to_owned(), vec![Part::Steps(open)]));
            }
            let told = "Without a [[notice]] only the log is told. A message that wakes you needs a way out: README, “How it \
                        tells you”.";
            parts.push(Part::Says(vec![told.to_owned()]));
            Ok(parts)
        }
    }
}

fn complaints(wrong: &ShelfErrors) -> Vec<String> {
    let all: Vec<String> = wrong.errors().iter().map(|e| format!("{}: {}; {}.", e.key, e.why, e.remedy)).collect();
    if all.is_empty() { vec![wrong.to_string()] } else { all }
}

fn remark(a: &Advice) -> String {
    format!("{}: {}; {}.", a.key, a.why, a.remedy)
}

fn pair(a: &str, b: &str) -> (String, String) {
    (a.to_owned(), b.to_owned())
}

fn field(asked: &Answers, (name, label, help): (&str, &str, &str), kind: FieldKind) -> Field {
    Field {
        name: name.to_owned(),
        label: label.to_owned(),
        kind,
        value: asked.get(name).to_owned(),
        help: help.to_owned(),
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
            ("The nest".to_owned(), nest(asked)),
            ("The sensors".to_owned(), probes(snap, asked)),
            ("The heating mat".to_owned(), mat(asked)),
            ("The brood, and the warmth you want".to_owned(), brood(asked)),
        ],
        buttons: vec![Button { label: "Write the lines".to_owned(), sends: Some(pair("write", "yes")) }],
        ..Form::default()
    }
}

fn nest(asked: &Answers) -> Vec<Field> {
    let mut materials = vec![pair("", "I don't know")];
    materials.extend(material_names().into_iter().map(|m| pair(m, material_words(m))));
    let covers = [
        ("", "I don't know"),
        ("open", "nothing"),
        ("glass", "glass"),
        ("acrylic", "acrylic"),
        ("lid", "a closed lid"),
    ];
    vec![
        field(
            asked,
            (
                "id",
                "What to call it",
                "A short name, small letters, digits and hyphens: it stands in messages and on pages.",
            ),
            FieldKind::Line(32),
        ),
        field(
            asked,
            (
                "length",
                "Its length, mm",
                "Lay a ruler along the galleries. The end that you measure from is the zero end; all places count from it.",
            ),
            FieldKind::Number(20.0, 5000.0),
        ),
        field(
            asked,
            (
                "material",
                "What its body is made of",
                "A first guess of how it carries warmth. The watch learns better from its readings.",
            ),
            FieldKind::Choice(materials),
        ),
        field(
            asked,
            ("cover", "What lies over the galleries", ""),
            FieldKind::Choice(covers.map(|(a, b)| pair(a, b)).into()),
        ),
    ]
}

fn material_words(name: &str) -> &str {
    match name {
        "aac" => "aerated concrete (AAC)",
        "printed" => "printed plastic (PLA)",
        other => other,
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
            pair("", "not of this nest"),
            pair("probe", "in this nest"),
            pair("room", "in the room's air, in the shade"),
            pair("drive", "reports what the heating mat is told or takes"),
        ])
    };
    let mut fields = Vec::new();
    let rows = (known.len() + BLANK_ROWS).min(SOURCES_MAX).max(known.len());
    for (i, name) in known.iter().map(String::as_str).chain(std::iter::repeat("")).take(rows).enumerate() {
        let said = snap.strangers.iter().find(|s| s.0 == name).map(|s| format!(" (said {})", s.1)).unwrap_or_default();
        let (mut is, mut at) = (format!("{name}{said} is"), format!("{name} sits at, mm"));
        if name.is_empty() {
            let help = "As the node calls itself: node, colon, sensor, as oak-node:warm. Empty if there is none.";
            fields.push(field(asked, (&format!("s{i}"), "A source not heard yet", help), FieldKind::Line(96)));
            (is, at) = ("It is".to_owned(), "It sits at, mm".to_owned());
        }
        fields.push(field(asked, (&format!("r{i}"), &is, ""), roles()));
        let help = "From the zero end to the sensor's tip. Only if it sits in this nest.";
        fields.push(field(asked, (&format!("m{i}"), &at, help), FieldKind::Number(0.0, 5000.0)));
    }
    fields
}

fn mat(asked: &Answers) -> Vec<Field> {
    let has = [("", "I don't know"), ("yes", "yes"), ("no", "no, it is not heated")];
    let cutoff = [("", "I don't know"), ("yes", "yes"), ("no", "no")];
    let places = [("", "under it"), ("beside", "beside it"), ("lid", "on its lid"), ("inside", "inside it")];
    let choice = |list: &[(&str, &str)]| FieldKind::Choice(list.iter().map(|(a, b)| pair(a, b)).collect());
    let mm = || FieldKind::Number(0.0, 5000.0);
    vec![
        field(asked, ("mat", "Is there a heating mat or cable", ""), choice(&has)),
        field(asked, ("where", "Where it lies", ""), choice(&places)),
        field(asked, ("from", "It begins at, mm", "Where the warm part begins, from the zero end."), mm()),
        field(asked, ("to", "It ends at, mm", ""), mm()),
        field(
            asked,
            ("watts", "Its power, W", "On the label or the plug: a number before W. Empty if you cannot find it."),
            FieldKind::Number(0.01, 1000.0),
        ),
        field(
            asked,
            (
                "volts",
                "or its voltage, V",
                "If the label names no watts but volts and amperes, the two are multiplied.",
            ),
            FieldKind::Number(1.0, 250.0),
        ),
        field(asked, ("amps", "and its current, A", "0.5 A is 500 mA."), FieldKind::Number(0.001, 20.0)),
        field(
            asked,
            (
                "cutoff",
                "Has it a thermal cut-off of its own",
                "A part in the mat or its cable that breaks the circuit when it grows too hot, apart from any thermostat and its sensor. Label, \
                 instructions or maker say so. A thermostat alone is none.",
            ),
            choice(&cutoff),
        ),
        field(
            asked,
            ("plug", "Which plug it hangs on", "In your words, so that a message at night says which one to pull."),
            FieldKind::Line(80),
        ),
    ]
}

fn brood(asked: &Answers) -> Vec<Field> {
    let celsius = || FieldKind::Number(-20.0, 60.0);
    vec![
        field(
            asked,
            (
                "brood_from",
                "The brood lies from, mm",
                "Where eggs, larvae and cocoons lie now, from the zero end. Empty if you cannot see it.",
            ),
            FieldKind::Number(0.0, 5000.0),
        ),
        field(asked, ("brood_to", "to, mm", ""), FieldKind::Number(0.0, 5000.0)),
        field(
            asked,
            (
                "low",
                "It should stay above, °C",
                "What your species likes you know better than this page: from your own notes or its literature. Empty if you don't know.",
            ),
            celsius(),
        ),
        field(asked, ("high", "and below, °C", ""), celsius()),
        field(asked, ("limit", "Danger above, °C", "The hottest that its brood bears. All three or none."), celsius()),
    ]
}
