//! A shelf file for tests, and how a test reads one.
use super::{ShelfFile, check_text};
use std::path::Path;

/// One bare nest with the probes `oak-node:warm` and `oak-node:cool`; more may be written behind it.
pub(crate) const OAK: &str = include_str!("oak.toml");

/// What `text`, which is right, says as the file `path`.
#[track_caller]
pub(crate) fn read(text: &str, path: &Path) -> ShelfFile {
    check_text(text, path, std::iter::empty()).unwrap_or_else(|e| panic!("{e}\nin\n{text}")).0
}
