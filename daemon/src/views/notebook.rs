//! Notes: written down in two taps, or with words, a place and an hour; and what was written before.
//! Every sentence of that page stands in this file and in `words`.
use super::hours::Hours;
use super::now::live_part;
use super::words;
use crate::acts::NOTE_KINDS;
use crate::history::KeeperNote;
use crate::snapshot::Snapshot;
use dashboards::{Button, Cell, Field, FieldKind, Form, Link, Part, SheetPage, Table};
use enclosure::shelf::Nest;
use enclosure::{Span, Timestamp};

/// Where that page is.
pub const NOTES_PATH: &str = "/notes";
/// Notes of so long ago are listed.
pub const NOTES_BACK: Span = Span::from_h(90 * 24);
/// Most of them, the newest.
const LISTED_MAX: usize = 300;
/// Longest text of a note that a form takes, characters.
pub const TEXT_MAX: usize = 1_000;

/// The page of the nest called `nest`, or of all; its frame is left to the caller.
pub fn notes_page(
    snap: &Snapshot,
    nest: Option<&str>,
    (now, hours): (Timestamp, &Hours),
    notes: &Result<Vec<KeeperNote>, String>,
) -> SheetPage {
    let nests = &snap.shelf.nests;
    let chosen: Vec<&Nest> = nests.iter().filter(|n| nest.is_none_or(|id| n.id == id)).collect();
    let mut parts = Vec::new();
    if nests.len() > 1 {
        let link = |label: &str, url: String, current| Link { label: label.to_owned(), url, current };
        let mut links = vec![link("all", NOTES_PATH.to_owned(), nest.is_none())];
        links.extend(nests.iter().map(|n| link(&n.id, notes_url(&n.id), nest == Some(n.id.as_str()))));
        parts.push(Part::Links(links));
    }
    if nests.is_empty() {
        parts.push(Part::Says(vec!["There is no nest yet to write about.".to_owned()]));
    }
    let newest = notes.as_ref().ok().and_then(|n| n.iter().rev().find(|n| shown(n, nest)));
    if let Some(last) = newest.filter(|n| now.since(n.at) < Span::from_min(2)) {
        parts.push(Part::Says(vec![format!("Written down: {}.", line(last))]));
    }
    parts.extend(chosen.iter().map(|n| Part::Form(taps(n, nest))));
    if !chosen.is_empty() {
        let told = "“Nest opened”, “water refilled” and “moved” excuse that nest's steps of warmth for an hour; danger is \
                    never excused. “Water refilled” also tells the watch over its water.";
        parts.push(Part::Says(vec![told.to_owned()]));
        parts.push(Part::Folded(
            "With your own words, a place, or an earlier hour".to_owned(),
            vec![Part::Form(words_form(&chosen, nest))],
        ));
    }
    match notes {
        Ok(notes) => parts.push(Part::Table(list(notes, nest, hours))),
        Err(why) => parts.push(Part::Says(vec![format!("What was written before cannot be shown: {why}.")])),
    }
    let live = Some(live_part(snap, (now, hours), &back(nest).1));
    SheetPage { title: "Notes".to_owned(), live, parts, ..SheetPage::default() }
}

/// The address of a nest's notes.
pub fn notes_url(nest: &str) -> String {
    format!("{NOTES_PATH}?nest={nest}")
}

fn back(nest: Option<&str>) -> (String, String) {
    ("back".to_owned(), nest.map_or(NOTES_PATH.to_owned(), notes_url))
}

/// One button a kind: a tap writes it down.
fn taps(n: &Nest, nest: Option<&str>) -> Form {
    Form {
        key: format!("tap-{}", n.id),
        heading: n.id.clone(),
        says: Vec::new(),
        url: "/note".to_owned(),
        hidden: vec![("nest".to_owned(), n.id.clone()), back(nest)],
        buttons: NOTE_KINDS
            .iter()
            .filter(|kind| **kind != "other")
            .map(|kind| Button {
                label: words::sentence_case(&words::note_kind(kind)),
                sends: Some(("kind".to_owned(), (*kind).to_owned())),
            })
            .collect(),
        ..Form::default()
    }
}

fn words_form(nests: &[&Nest], nest: Option<&str>) -> Form {
    let field = |name: &str, label: &str, kind, value: &str, help: &str, needed| Field {
        name: name.to_owned(),
        label: label.to_owned(),
        kind,
        value: value.to_owned(),
        help: help.to_owned(),
        needed,
    };
    let pair = |(a, b): (&str, &str)| (a.to_owned(), b.to_owned());
    let ids: Vec<(String, String)> = nests.iter().map(|n| pair((&n.id, &n.id))).collect();
    let kinds = words::note_kinds();
    let longest = nests.iter().map(|n| n.length_mm).fold(0.0, f64::max);
    let fields = vec![
        field("nest", "Nest", FieldKind::Choice(ids), "", "", true),
        field("kind", "What it is about", FieldKind::Choice(kinds), "brood", "", true),
        field(
            "at_mm",
            "Where, mm",
            FieldKind::Number(0.0, longest),
            "",
            "From the zero end, by the ruler. Where brood was seen teaches the watch what warmth it was put to. May stay empty.",
            false,
        ),
        field(
            "at",
            "When",
            FieldKind::Line(40),
            "",
            "Empty is now. As 20m, 3h or 2d ago, or a date with its hour.",
            false,
        ),
        field("text", "In your words", FieldKind::Lines(TEXT_MAX), "", "", false),
    ];
    Form {
        key: "words".to_owned(),
        url: "/note".to_owned(),
        hidden: vec![back(nest)],
        groups: vec![(String::new(), fields)],
        buttons: vec![Button { label: "Write it down".to_owned(), sends: None }],
        ..Form::default()
    }
}

/// Whether a note is one of a keeper's, about this nest or any.
fn shown(n: &KeeperNote, nest: Option<&str>) -> bool {
    words::act_note(&n.kind).is_none() && nest.is_none_or(|id| n.nest.as_deref() == Some(id))
}

fn line(n: &KeeperNote) -> String {
    let nest = n.nest.as_deref().map(|id| format!("{id}, ")).unwrap_or_default();
    let place = n.at_mm.map(|mm| format!(" at {mm:.0} mm")).unwrap_or_default();
    format!("{nest}{}{place}", words::note_kind(&n.kind))
}

fn list(notes: &[KeeperNote], nest: Option<&str>, hours: &Hours) -> Table {
    let row = |n: &KeeperNote| {
        let place = n.at_mm.map(|mm| format!("{mm:.0} mm")).unwrap_or_default();
        vec![
            Cell::of(hours.dated(n.at)),
            Cell::of(n.nest.clone().unwrap_or_default()),
            Cell::of(words::note_kind(&n.kind)),
            Cell::of(place),
            Cell::of(&n.text),
        ]
    };
    Table {
        caption: "Written down in the last 90 days".to_owned(),
        columns: ["when", "nest", "what", "where", "in your words"].map(str::to_owned).into(),
        rows: notes.iter().rev().filter(|n| shown(n, nest)).take(LISTED_MAX).map(row).collect(),
        empty: "Nothing was written down in the last 90 days.".to_owned(),
    }
}
