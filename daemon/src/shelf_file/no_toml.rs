//! What in the file is no TOML at all: told by line. Where one section stands twice that there may be several of, the
//! keeper is told how several are written; what follows from that is not told as well.
use super::document::Lines;
use super::findings::{Findings, Place, ShelfError};
use super::schema::{FILE, Kind};
use dashboards::say;
use toml::de::Error;

/// How the parser calls a section or a key that stands twice.
const TWICE: &str = "duplicate key";

pub(super) fn tell(errors: &[Error], (text, lines): (&str, &Lines), findings: &mut Findings) {
    let mut twice_until = 0;
    for e in errors {
        let line = e.span().map(|s| lines.at(s.start));
        let place = line.map_or(Place::File, Place::Line);
        let twice = line.filter(|_| e.message() == TWICE);
        if twice.is_some_and(|line| line < twice_until) {
            continue;
        }
        let several = twice.and_then(|line| Some((line, one_of_several(text.lines().nth(line - 1)?)?)));
        let (why, remedy) = match several {
            Some((line, section)) => {
                let headed = |l: &&str| l.trim_start().starts_with('[');
                twice_until = line + text.lines().skip(line).take_while(|l| !headed(l)).count() + 1;
                (say!("shelf-twice", section = section), say!("shelf-twice-do", section = section))
            }
            None => (say!("shelf-not-toml", why = e.message()), say!("shelf-not-toml-do")),
        };
        findings.push(ShelfError { place, key: String::new(), why, remedy });
    }
}

/// The section that a line begins, if there may be several of it.
fn one_of_several(line: &str) -> Option<&str> {
    let line = line.split('#').next()?.trim();
    let name = line.strip_prefix('[')?.trim_start_matches('[').trim_end_matches(']').trim();
    let mut section = Some(&FILE);
    let mut several = false;
    for part in name.split('.') {
        let kind = &section?.key(part.trim())?.kind;
        (section, several) = match kind {
            Kind::Table(inner) => (Some(*inner), false),
            Kind::Tables(inner) | Kind::OneOrMore(inner) => (Some(*inner), true),
            _ => return None,
        };
    }
    several.then_some(name)
}
