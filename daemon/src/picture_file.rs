//! A file that a picture or a page is written to: its ending says which.
use crate::wrong_call::WrongCall;
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
    /// By the name of `path`.
    ///
    /// # Errors
    /// [`WrongCall::Ending`] if that says nothing known.
    pub(crate) fn of(path: &Path) -> Result<Self, WrongCall> {
        let ending = path.extension().and_then(|e| e.to_str()).unwrap_or_default().to_ascii_lowercase();
        match ending.as_str() {
            "html" | "htm" => Ok(Self::Html),
            "png" => Ok(Self::Png),
            "svg" => Ok(Self::Svg),
            _ => Err(WrongCall::Ending { path: path.to_owned() }),
        }
    }
}
