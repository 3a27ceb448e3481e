//! What was found wrong or unwise, and where: collected, so that a keeper mends a file once and not ten times.
use super::names::Checked;
use dashboards::say;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::{Path, PathBuf};

/// Most errors that are kept; those beyond are counted.
pub const MAX_ERRORS: usize = 200;

/// Where in the shelf's description something stands.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Nowhere: something is missing from the file.
    File,
    /// A line, from 1.
    Line(usize),
    /// An environment variable.
    Environment(String),
}

/// One thing that is wrong in the shelf file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ShelfError {
    /// Where it stands.
    pub place: Place,
    /// The key, as `nest[0].pad.watts`; empty where the file as a whole is meant.
    pub key: String,
    /// What is wrong.
    pub why: String,
    /// What to do about it.
    pub remedy: String,
}

/// Something legal but unwise.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Advice {
    /// Where it stands.
    pub place: Place,
    /// The key, as `nest[0].pad`.
    pub key: String,
    /// The reason.
    pub why: String,
    /// What to do about it.
    pub remedy: String,
}

/// Why there is no shelf to watch. All of it ends the process with exit code 64.
#[derive(Debug, thiserror::Error)]
pub enum ShelfErrors {
    /// The file is missing or cannot be read.
    #[error("{}", say!("shelf-unreadable", path = path.display().to_string(), why = reason))]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why it cannot be read.
        reason: String,
    },
    /// The file can be read, but says something wrong.
    #[error("{}", Lines { path, errors, more: *more })]
    Wrong {
        /// The file.
        path: PathBuf,
        /// Everything that is wrong, in the order of the file; at most [`MAX_ERRORS`].
        errors: Vec<ShelfError>,
        /// Errors beyond those.
        more: usize,
    },
}

impl ShelfErrors {
    /// The errors by line and key; none if the file could not be read.
    pub fn errors(&self) -> &[ShelfError] {
        match self {
            Self::Unreadable { .. } => &[],
            Self::Wrong { errors, .. } => errors,
        }
    }
}

struct Lines<'a> {
    path: &'a Path,
    errors: &'a [ShelfError],
    more: usize,
}

impl fmt::Display for Lines<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, e) in self.errors.iter().enumerate() {
            let end = if i + 1 == self.errors.len() { "" } else { "\n" };
            write!(f, "{}{end}", line(self.path, &e.place, &e.key, (&e.why, &e.remedy)))?;
        }
        if self.more > 0 {
            write!(f, "\n{}", say!("shelf-more", n = self.more))?;
        }
        Ok(())
    }
}

impl Advice {
    /// The advice as one line: `shelf.toml:12: nest[0].pad: why (what to do)`.
    pub fn line(&self, path: &Path) -> String {
        line(path, &self.place, &self.key, (&self.why, &self.remedy))
    }
}

fn line(path: &Path, place: &Place, key: &str, (why, remedy): (&str, &str)) -> String {
    let name = path.file_name().map_or_else(|| path.to_string_lossy(), |n| n.to_string_lossy());
    let place = match place {
        Place::File => name.into_owned(),
        Place::Line(n) => format!("{name}:{n}"),
        Place::Environment(variable) => printable(variable),
    };
    let colon = if key.is_empty() { "" } else { ": " };
    format!("{place}{colon}{key}: {why} ({remedy})")
}

/// Where a key stands, and how a keeper would name it.
#[derive(Clone, Debug)]
pub(super) struct Mark {
    /// `nest[0].pad.watts`, where the path says `nest[0].pad[0].watts`.
    pub(super) shown: String,
    /// Where it stands.
    pub(super) place: Place,
}

/// The findings of one reading of the file. Keys are named by path: `nest[0].pad[0].watts`, lists always numbered.
#[derive(Debug, Default)]
pub(super) struct Findings {
    marks: BTreeMap<String, Mark>,
    doubted: BTreeSet<String>,
    errors: Vec<ShelfError>,
    more: usize,
    advice: Vec<Advice>,
}

impl Findings {
    /// Remembers where `path` stands.
    pub(super) fn mark(&mut self, path: &str, shown: String, place: Place) {
        self.marks.insert(path.to_owned(), Mark { shown, place });
    }

    /// Whether `path` was written anywhere.
    pub(super) fn is_marked(&self, path: &str) -> bool {
        self.marks.contains_key(path)
    }

    /// Notes an error at `path`.
    pub(super) fn wrong(&mut self, path: &str, why: String, remedy: String) {
        self.doubt(path);
        let mark = self.find(path);
        self.push(ShelfError { place: mark.place, key: mark.shown, why, remedy });
    }

    /// Notes an error that stands at a place of its own.
    pub(super) fn push(&mut self, mut error: ShelfError) {
        if self.errors.len() < MAX_ERRORS {
            error.key = printable(&error.key);
            error.why = printable(&error.why);
            self.errors.push(error);
        } else {
            self.more += 1;
        }
    }

    /// Notes an advice at `path`.
    pub(super) fn advise(&mut self, path: &str, why: String, remedy: String) {
        let mark = self.find(path);
        self.advice.push(Advice { place: mark.place, key: mark.shown, why, remedy });
    }

    /// Says that `path` was complained about already: that it is missing need not be said again.
    pub(super) fn doubt(&mut self, path: &str) {
        self.doubted.insert(path.to_owned());
    }

    /// Whether `path`, or what it is part of, was complained about already.
    pub(super) fn is_doubted(&self, path: &str) -> bool {
        std::iter::successors(Some(path), |p| parent(p)).any(|p| self.doubted.contains(p))
    }

    /// Hands `value` on, and notes an error if it is missing without a reason given already.
    pub(super) fn need<T>(&mut self, value: Option<T>, path: &str) -> Option<T> {
        if value.is_none() && !self.is_doubted(path) {
            let key = path.rsplit('.').next().unwrap_or(path);
            self.wrong(path, say!("shelf-missing"), say!("shelf-missing-do", key = key));
        }
        value
    }

    /// Hands `value` on if `checked` holds; else notes why not.
    pub(super) fn keep<T>(&mut self, path: &str, checked: Checked<T>) -> Option<T> {
        checked.map_err(|(why, remedy)| self.wrong(path, why, remedy)).ok()
    }

    /// Ends the collecting: the advice, or the errors in the order of the file.
    pub(super) fn finish(mut self, path: &Path) -> Result<Vec<Advice>, ShelfErrors> {
        self.errors.sort();
        self.errors.dedup();
        self.advice.sort();
        if self.errors.is_empty() {
            Ok(self.advice)
        } else {
            Err(ShelfErrors::Wrong { path: path.to_owned(), errors: self.errors, more: self.more })
        }
    }

    /// Whether anything is wrong so far.
    pub(super) fn any_wrong(&self) -> bool {
        !self.errors.is_empty()
    }

    /// The mark of `path`, or of the nearest thing it would be part of.
    fn find(&self, path: &str) -> Mark {
        std::iter::successors(Some(path), |p| parent(p)).find_map(|p| self.marks.get(p).map(|m| (p, m))).map_or_else(
            || Mark { shown: path.to_owned(), place: Place::File },
            |(p, m)| Mark { shown: format!("{}{}", m.shown, &path[p.len()..]), place: m.place.clone() },
        )
    }
}

/// What is said of a key that needs another one beside it.
pub(super) fn without(key: &str) -> String {
    say!("shelf-without", key = key)
}

/// The advice to write that key.
pub(super) fn add(key: &str) -> String {
    say!("shelf-without-do", key = key)
}

/// What came from the file, without the control characters by which it could look like a line of ours.
fn printable(text: &str) -> String {
    let escaped = |c: char| if c.is_control() { c.escape_default().collect() } else { String::from(c) };
    text.chars().map(escaped).collect()
}

/// What `path` is part of: `nest[0].pad` of `nest[0].pad[1]`, of `nest[0].pad.watts`.
fn parent(path: &str) -> Option<&str> {
    path.rfind(['.', '[']).map(|i| &path[..i])
}
