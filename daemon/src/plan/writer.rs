//! Where a wish was written.
use crate::views::plan::form;

/// Where a wish was written: what is said of it calls its parts as they are called there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writer {
    /// Behind the command: `--material-limit`.
    Command,
    /// In the page's form: “What must not be passed: The material bears, °C”.
    Form,
}

impl Writer {
    /// What a part of the wish, as `material_limit`, is called.
    pub fn name(self, part: &str) -> String {
        match self {
            Self::Command => format!("--{}", part.replace('_', "-")),
            Self::Form => form::called(part),
        }
    }
}
