//! How history can fail: in a keeper's words, and sorted by what can be done.
use crate::whole_file::FileError;
use dashboards::say;
use std::path::{Path, PathBuf};

/// Why history cannot be opened or read.
#[derive(Debug, thiserror::Error)]
pub enum HistoryError {
    /// Another daemon holds it.
    #[error("{}", say!("failed-in-use", path = shown(path), holder = holder, lock = shown(lock)))]
    InUse {
        /// The history.
        path: PathBuf,
        /// The lock file.
        lock: PathBuf,
        /// What the lock file says of its holder.
        holder: String,
    },
    /// A later warmend wrote it.
    #[error("{}", say!("failed-newer", path = shown(path), found = *found, known = *known))]
    Newer {
        /// The history.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The newest version known here.
        known: i64,
    },
    /// A sound database, but none of warmend's.
    #[error("{}", say!("failed-foreign", path = shown(path)))]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// There is none.
    #[error("{}", say!("failed-missing", path = shown(path)))]
    Missing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// The one in use is not there any more, or another one is.
    #[error("{}", say!("failed-gone", path = shown(path)))]
    Gone {
        /// Where it was.
        path: PathBuf,
    },
    /// A file could not be opened, moved or locked.
    #[error("{}", doing.words(path))]
    File {
        /// What was attempted.
        doing: FileStep,
        /// With what.
        path: PathBuf,
        /// Why it failed.
        source: std::io::Error,
    },
    /// A file could not be made, or its name kept.
    #[error(transparent)]
    Making(#[from] FileError),
    /// A backup is never written over a file.
    #[error("{}", say!("failed-name-taken", path = shown(path)))]
    NameTaken {
        /// The file.
        path: PathBuf,
    },
    /// A copy that is to take the history's place is none.
    #[error("{}", say!("failed-no-backup", path = shown(path), why = why))]
    NoBackup {
        /// The copy.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The database refused.
    #[error("{}", doing.words())]
    Sql {
        /// What was attempted.
        doing: Step,
        /// Why it failed.
        source: rusqlite::Error,
    },
}

/// What is done with a file of the history.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileStep {
    /// It is opened.
    Opening,
    /// A lock is taken.
    Locking,
    /// A damaged one is put away.
    SettingAside,
    /// The present one is kept under another name.
    Keeping,
}

impl FileStep {
    fn words(self, path: &Path) -> String {
        let path = shown(path);
        match self {
            Self::Opening => say!("failed-file-opening", path = path),
            Self::Locking => say!("failed-file-locking", path = path),
            Self::SettingAside => say!("failed-file-aside", path = path),
            Self::Keeping => say!("failed-file-keeping", path = path),
        }
    }
}

/// What is asked of the database.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// To open.
    Opening,
    /// To open once more.
    OpeningAgain,
    /// To bring an older one forward.
    BringingForward,
    /// To read.
    Reading,
    /// To copy itself.
    Copying,
}

impl Step {
    fn words(self) -> String {
        match self {
            Self::Opening => say!("failed-sql-opening"),
            Self::OpeningAgain => say!("failed-sql-opening-again"),
            Self::BringingForward => say!("failed-sql-forward"),
            Self::Reading => say!("failed-sql-reading"),
            Self::Copying => say!("failed-sql-copying"),
        }
    }
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

/// Why a batch was not stored. Whoever sent it gets no receipt.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WriteError {
    /// No space left.
    #[error("{}", say!("failed-full"))]
    Full,
    /// The disk or the file failed.
    #[error("{}", say!("failed-writing", why = why))]
    Failing {
        /// What SQLite or the system said.
        why: String,
    },
    /// This batch alone cannot be stored.
    #[error("{}", say!("failed-entry", why = why))]
    Refused {
        /// What is wrong with it.
        why: String,
    },
    /// Too many batches wait.
    #[error("{}", say!("failed-queue", n = super::QUEUE_MAX))]
    QueueFull,
    /// The writer has ended.
    #[error("{}", say!("failed-stopped"))]
    Stopped,
}

impl WriteError {
    /// Sorts SQLite's error into what a keeper can act on.
    pub(crate) fn of(error: &rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::DiskFull) => Self::Full,
            Some(
                rusqlite::ErrorCode::ConstraintViolation
                | rusqlite::ErrorCode::TypeMismatch
                | rusqlite::ErrorCode::TooBig,
            )
            | None => Self::Refused { why: error.to_string() },
            Some(_) => Self::Failing { why: error.to_string() },
        }
    }

    /// The same for a whole commit, which no single batch can be blamed for.
    pub(crate) fn of_group(error: &rusqlite::Error) -> Self {
        match Self::of(error) {
            Self::Refused { why } => Self::Failing { why },
            other => other,
        }
    }
}
