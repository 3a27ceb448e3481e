//! How a command can be called wrongly although its words can be read: what the shelf file or the clock says against it.
use enclosure::shelf::Nest;
use std::path::PathBuf;

/// How it was called wrongly (exit code 2); found in an [`anyhow::Error`] by `downcast_ref`.
#[derive(Debug, thiserror::Error)]
pub enum WrongCall {
    /// No such nest.
    #[error("looking for the nest {asked}: the shelf file names {known}. Call again with --nest and one of these")]
    Nest {
        /// What was asked for.
        asked: String,
        /// Ids.
        known: String,
    },
    /// No such probe.
    #[error("looking for the probe {asked}: the shelf file names {known}. Call again with one of these")]
    Probe {
        /// What was asked for.
        asked: String,
        /// Their sources.
        known: String,
    },
    /// Nothing that it could be compared with.
    #[error("comparing with {asked}: {known}. Call again with --with and one of these")]
    With {
        /// What was asked for.
        asked: String,
        /// What would be right.
        known: String,
    },
    /// Several nests where one is meant.
    #[error("{doing}: the shelf has several nests ({known}). Call again with --nest and one of these")]
    Several {
        /// What was attempted.
        doing: &'static str,
        /// Ids.
        known: String,
    },
    /// A moment that is none.
    #[error("reading --{flag}: {why}")]
    Moment {
        /// `from` or `to`.
        flag: &'static str,
        /// What was not understood, and what would be.
        why: String,
    },
    /// The span is empty.
    #[error("the span begins {from} and ends {to}: call again with --from before --to, and both before now")]
    Span {
        /// Begin.
        from: String,
        /// End.
        to: String,
    },
    /// Not one of the endings.
    #[error("writing {path}: its ending says nothing known. Call again with a name that ends in .html, .png or .svg")]
    Ending {
        /// The file.
        path: PathBuf,
    },
    /// A table that has no such form or part.
    #[error("exporting {what}: {why}")]
    Table {
        /// What was asked for.
        what: &'static str,
        /// Why that cannot be, and what to do.
        why: &'static str,
    },
    /// What was wished of a plan is not understood.
    #[error("{}", .0.join("\n"))]
    Wish(Vec<String>),
}

/// The nest of that id.
///
/// # Errors
/// [`WrongCall::Nest`].
pub fn nest<'a>(asked: &str, nests: &'a [Nest]) -> Result<&'a Nest, WrongCall> {
    place(asked, nests).map(|at| &nests[at])
}

/// Its place among them.
///
/// # Errors
/// [`WrongCall::Nest`].
pub fn place(asked: &str, nests: &[Nest]) -> Result<usize, WrongCall> {
    let found = nests.iter().position(|nest| nest.id == asked);
    found.ok_or_else(|| WrongCall::Nest { asked: asked.to_owned(), known: known(nests) })
}

/// The nest of that id, or all of them where none is asked for.
///
/// # Errors
/// [`WrongCall::Nest`].
pub fn nest_or_all<'a>(asked: Option<&str>, nests: &'a [Nest]) -> Result<Vec<&'a Nest>, WrongCall> {
    match asked {
        Some(id) => Ok(vec![nest(id, nests)?]),
        None => Ok(nests.iter().collect()),
    }
}

/// Their ids, as they are told.
pub fn known(nests: &[Nest]) -> String {
    nests.iter().map(|nest| nest.id.as_str()).collect::<Vec<_>>().join(", ")
}
