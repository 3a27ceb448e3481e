//! Notes: written down in two taps, or with words, a place and an hour; and what was written before.
use super::events::note_at;
use super::hours::Hours;
use super::now::live_part;
use super::words;
use crate::acts::NOTE_KINDS;
use crate::history::KeeperNote;
use crate::snapshot::Snapshot;
use dashboards::{Button, Cell, Field, FieldKind, Form, Link, Part, SheetPage, Table, capital, say};
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
        let link = |label, url, current| Link { label, url, current };
        let mut links = vec![link(say!("notes-all"), NOTES_PATH.to_owned(), nest.is_none())];
        links.extend(nests.iter().map(|n| link(n.id.clone(), notes_url(&n.id), nest == Some(n.id.as_str()))));
        parts.push(Part::Links(links));
    }
    if nests.is_empty() {
        parts.push(Part::Says(vec![say!("notes-no-nest")]));
    }
    let newest = notes.as_ref().ok().and_then(|n| n.iter().rev().find(|n| shown(n, nest)));
    if let Some(last) = newest.filter(|n| now.since(n.at) < Span::from_min(2)) {
        parts.push(Part::Says(vec![say!("notes-written", note = line(last))]));
    }
    parts.extend(chosen.iter().map(|n| Part::Form(taps(n, nest))));
    if !chosen.is_empty() {
        parts.push(Part::Says(vec![say!("notes-excuse")]));
        parts.push(Part::Folded(say!("notes-own-words"), vec![Part::Form(words_form(&chosen, nest))]));
    }
    match notes {
        Ok(notes) => parts.push(Part::Table(list(notes, nest, hours))),
        Err(why) => parts.push(Part::Says(vec![say!("notes-unread", why = why)])),
    }
    let live = Some(live_part(snap, (now, hours), &back(nest).1));
    SheetPage { title: say!("notes-title"), live, parts, ..SheetPage::default() }
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
                label: capital(&words::note_kind(kind)),
                sends: Some(("kind".to_owned(), (*kind).to_owned())),
            })
            .collect(),
        ..Form::default()
    }
}

fn words_form(nests: &[&Nest], nest: Option<&str>) -> Form {
    let field = |name: &str, label, kind| Field {
        name: name.to_owned(),
        label,
        kind,
        value: String::new(),
        help: String::new(),
        needed: false,
    };
    let ids = nests.iter().map(|n| (n.id.clone(), n.id.clone())).collect();
    let kinds = FieldKind::Choice(words::note_kinds());
    let longest = nests.iter().map(|n| n.length_mm).fold(0.0, f64::max);
    let fields = vec![
        Field { needed: true, ..field("nest", say!("notes-nest"), FieldKind::Choice(ids)) },
        Field { needed: true, value: "brood".to_owned(), ..field("kind", say!("notes-kind"), kinds) },
        Field {
            help: say!("notes-where-help"),
            ..field("at_mm", say!("notes-where"), FieldKind::Number(0.0, longest))
        },
        Field { help: say!("notes-when-help"), ..field("at", say!("note-when"), FieldKind::Line(40)) },
        field("text", say!("note-words"), FieldKind::Lines(TEXT_MAX)),
    ];
    Form {
        key: "words".to_owned(),
        url: "/note".to_owned(),
        hidden: vec![back(nest)],
        groups: vec![(String::new(), fields)],
        buttons: vec![Button { label: say!("note-write"), sends: None }],
        ..Form::default()
    }
}

/// Whether a note is one of a keeper's, about this nest or any.
fn shown(n: &KeeperNote, nest: Option<&str>) -> bool {
    words::act_note(&n.kind).is_none() && nest.is_none_or(|id| n.nest.as_deref() == Some(id))
}

fn line(n: &KeeperNote) -> String {
    match &n.nest {
        Some(nest) => say!("notes-of-nest", nest = nest, note = note_at(n)),
        None => note_at(n),
    }
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
        caption: say!("notes-table"),
        columns: vec![
            say!("head-when"),
            say!("notes-table-nest"),
            say!("head-what"),
            say!("notes-table-where"),
            say!("notes-table-text"),
        ],
        rows: notes.iter().rev().filter(|n| shown(n, nest)).take(LISTED_MAX).map(row).collect(),
        empty: say!("notes-none"),
    }
}
