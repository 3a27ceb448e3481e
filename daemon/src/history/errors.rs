//! How history can fail: in a keeper's words, and sorted by what can be done.
use std::path::PathBuf;

/// Why history cannot be opened or read.
#[derive(Debug, thiserror::Error)]
pub enum HistoryError {
    /// Another daemon holds it.
    #[error(
        "opening the history {path}: another warmend uses it ({holder}). Stop that one, or give this one its own \
         [history] path. The lock is {lock}"
    )]
    InUse {
        /// The history.
        path: PathBuf,
        /// The lock file.
        lock: PathBuf,
        /// What the lock file says of its holder.
        holder: String,
    },
    /// A later warmend wrote it.
    #[error(
        "opening the history {path}: it is of version {found}, this warmend knows up to {known}. Nothing was changed. \
         Install the newer warmend again, or point [history] path at another file"
    )]
    Newer {
        /// The history.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The newest version known here.
        known: i64,
    },
    /// A sound database, but none of warmend's.
    #[error(
        "opening the history {path}: it is a database of some other program. Nothing was changed. Point [history] \
         path at another file"
    )]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// There is none.
    #[error(
        "reading the history {path}: there is none yet, or an older one that `warmend run` has still to bring \
         forward. Start that once, or check [history] path"
    )]
    Missing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// A file could not be opened, moved or locked.
    #[error("{doing} {path}: check that the directory exists and may be written")]
    File {
        /// What was attempted.
        doing: &'static str,
        /// With what.
        path: PathBuf,
        /// Why it failed.
        source: std::io::Error,
    },
    /// A backup is never written over a file.
    #[error(
        "writing the backup {path}: there is a file of that name already, and it is left as it is. Give another name"
    )]
    NameTaken {
        /// The file.
        path: PathBuf,
    },
    /// A copy that is to take the history's place is none.
    #[error("putting back the backup {path}: {why}. Nothing was changed; take another one")]
    NoBackup {
        /// The copy.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The database refused.
    #[error("{doing} the history: check free space and the disk")]
    Sql {
        /// What was attempted.
        doing: &'static str,
        /// Why it failed.
        source: rusqlite::Error,
    },
    /// A stored day cannot be unpacked.
    #[error("reading the history: the stored day {day} of series {series} is damaged ({why})")]
    DamagedDay {
        /// Days since 1970.
        day: i64,
        /// Which series.
        series: i64,
        /// What is wrong with it.
        why: &'static str,
    },
}

/// Why a batch was not stored. Whoever sent it gets no receipt.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WriteError {
    /// No space left.
    #[error("writing history: the disk is full. Free some space; writing is tried again by itself")]
    Full,
    /// The disk or the file failed.
    #[error("writing history: {why}. Check the disk; writing is tried again by itself")]
    Failing {
        /// What SQLite or the system said.
        why: String,
    },
    /// This batch alone cannot be stored.
    #[error("writing history: this entry cannot be stored ({why}); the others were")]
    Refused {
        /// What is wrong with it.
        why: String,
    },
    /// Too many batches wait.
    #[error("writing history: {} batches wait already; this one was dropped and counted", super::QUEUE_MAX)]
    QueueFull,
    /// The writer has ended.
    #[error("writing history: its writer has stopped")]
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
