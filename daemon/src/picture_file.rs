//! A file that a picture or a page is written to: its ending says which.
use anyhow::{Context as _, Result};
use std::path::Path;

/// What a file is to hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ending {
    /// A page with everything in it.
    Html,
    /// The picture in pixels.
    Png,
    /// The picture in lines.
    Svg,
}

impl Ending {
    /// By the name of `path`, if that says anything known.
    pub(crate) fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_ascii_lowercase();
        match ending.as_str() {
            "html" | "htm" => Some(Self::Html),
            "png" => Some(Self::Png),
            "svg" => Some(Self::Svg),
            _ => None,
        }
    }
}

/// Writes it.
///
/// # Errors
/// Where that fails, and what to look at.
pub(crate) fn save(path: &Path, bytes: Vec<u8>) -> Result<()> {
    std::fs::write(path, bytes)
        .with_context(|| format!("writing {}: check that the directory exists and may be written", path.display()))
}
