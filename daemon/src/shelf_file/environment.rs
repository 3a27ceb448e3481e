//! Settings from the environment: `WARMEND__SECTION__KEY`, checked like the file's and laid over them.
use super::document::{self, Document};
use super::findings::{Findings, Place, ShelfError};
use super::nearest::nearest;
use super::schema;
use config::Map;
use dashboards::say;

/// What a variable's name begins with. One underscore is left to other tools.
pub const PREFIX: &str = "WARMEND__";

/// The variable that sets `section.key`: `WARMEND__ALARM__BROOD_COLD__ON_DELAY_MIN` for `on_delay_min` of
/// `alarm.brood-cold`.
pub(super) fn variable(section: &str, key: &str) -> String {
    layered(section, key).replace('-', "_")
}

/// The same as [`config::Environment`] must hear it, to find the section's own name again.
fn layered(section: &str, key: &str) -> String {
    format!("{PREFIX}{}__{}", section.replace('.', "__").to_uppercase(), key.to_uppercase())
}

/// Keeps the variables that are known and well formed; an empty one takes the file's value away.
///
/// The result holds lower-cased `section__key` under the prefix, as [`config::Environment`] reads them.
pub(super) fn read(
    variables: impl Iterator<Item = (String, String)>,
    document: &mut Document,
    findings: &mut Findings,
) -> Map<String, String> {
    let known: Vec<_> = schema::settable().map(|(s, k)| (variable(&s, k.name), s, k)).collect();
    let mut kept = Map::new();
    for (name, value) in variables.filter(|(name, _)| name.starts_with(PREFIX)) {
        let Some((_, section, key)) = known.iter().find(|(v, ..)| *v == name) else {
            findings.push(unknown(&name, &known.iter().map(|(v, ..)| v.as_str()).collect::<Vec<_>>()));
            continue;
        };
        let path = format!("{section}.{}", key.name);
        if value.is_empty() {
            take_away(document, section, key.name);
            continue;
        }
        findings.mark(&path, path.clone(), Place::Environment(name.clone()));
        match document::from_text(&value, &key.kind) {
            Ok(_) => {
                kept.insert(layered(section, key.name), value.trim().to_owned());
            }
            Err((why, remedy)) => {
                findings.wrong(&path, why, remedy);
            }
        }
    }
    kept
}

fn unknown(name: &str, known: &[&str]) -> ShelfError {
    let in_list = ["NEST", "NOTICE", "MAPPING"].iter().any(|s| name.starts_with(&format!("{PREFIX}{s}__")));
    let near = nearest(name, known.iter().copied()).map_or("", |(near, _)| near);
    ShelfError {
        place: Place::Environment(name.to_owned()),
        key: String::new(),
        why: say!("shelf-variable", near = near),
        remedy: if in_list { say!("shelf-variable-list-do") } else { say!("shelf-variable-do") },
    }
}

fn take_away(document: &mut Document, section: &str, key: &str) {
    let mut tables = section.split('.');
    let mut found = tables.next().and_then(|name| document.sections.get_mut(name));
    for name in tables {
        found = match found.map(|value| &mut value.kind) {
            Some(config::ValueKind::Table(table)) => table.get_mut(name),
            _ => None,
        };
    }
    if let Some(config::ValueKind::Table(table)) = found.map(|value| &mut value.kind) {
        table.remove(key);
    }
}
