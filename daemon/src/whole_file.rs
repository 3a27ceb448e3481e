//! A file that is there whole or not at all: made under another name beside it, on the device before it gets its own.
//!
//! Whoever looks at its name finds what was there before, or all of what is new, after any crash and power cut.
use dashboards::say;
use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Follows the name of a file that is not whole yet.
const PART: &str = ".part";

/// Who may read a file that is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Readers<'a> {
    /// Its owner alone.
    Owner,
    /// Who could read what it replaces; whom the system lets, if there was nothing.
    AsBefore,
    /// Who can read that file.
    Of(&'a Path),
}

/// What is done, one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A file is begun beside the one to be.
    Beginning,
    /// It is filled.
    Writing,
    /// It is brought to the device.
    Syncing,
    /// It gets its name.
    Naming,
    /// The name is brought to the device.
    SyncingName,
}

/// Why a file is not there. Up to [`Step::Naming`] what was there before still is.
#[derive(Debug, thiserror::Error)]
#[error("{}", self.words())]
pub struct FileError {
    /// What failed.
    pub step: Step,
    /// The file to be.
    pub path: PathBuf,
    /// What the system said.
    pub why: io::Error,
}

impl FileError {
    fn words(&self) -> String {
        let todo = match self.why.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => say!("failed-whole-room"),
            ErrorKind::NotFound | ErrorKind::NotADirectory => say!("failed-whole-directory"),
            ErrorKind::IsADirectory | ErrorKind::InvalidFilename => say!("failed-whole-name"),
            ErrorKind::ResourceBusy => say!("failed-whole-busy"),
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => say!("failed-whole-rights"),
            _ => say!("failed-whole-disk"),
        };
        let (path, why) = (self.path.display().to_string(), self.why.to_string());
        match self.step {
            Step::Beginning => say!("failed-whole-beginning", path = path, why = why, todo = todo),
            Step::Writing => say!("failed-whole-writing", path = path, why = why, todo = todo),
            Step::Syncing => say!("failed-whole-syncing", path = path, why = why, todo = todo),
            Step::Naming => say!("failed-whole-naming", path = path, why = why, todo = todo),
            Step::SyncingName => say!("failed-whole-name-synced", path = path, why = why),
        }
    }
}

fn attempt<T>(step: Step, path: &Path, work: impl FnOnce() -> io::Result<T>) -> Result<T, FileError> {
    #[cfg(test)]
    let work = || tests::fault(step).and_then(|()| work());
    work().map_err(|why| FileError { step, path: path.to_owned(), why })
}

/// A file while it is made. What is dropped without [`Self::put`] is gone.
#[derive(Debug)]
pub(crate) struct Part {
    /// As the caller names it, for errors.
    path: PathBuf,
    /// The file behind links: they stay.
    target: PathBuf,
    part: PathBuf,
    file: File,
    /// Whose readers it gets.
    like: Option<Metadata>,
    put: bool,
}

impl Part {
    /// Begins a file, empty, that is to be at `path`. Half a file that a crash left over goes.
    ///
    /// # Errors
    /// [`FileError`]; nothing has changed then.
    pub(crate) fn begin(path: &Path, readers: Readers<'_>) -> Result<Self, FileError> {
        attempt(Step::Beginning, path, || {
            if path.is_dir() {
                return Err(ErrorKind::IsADirectory.into());
            }
            let target = if path.exists() { path.canonicalize()? } else { path.to_owned() };
            let like = match readers {
                Readers::Owner => None,
                Readers::AsBefore => std::fs::metadata(&target).ok(),
                Readers::Of(other) => Some(std::fs::metadata(other)?),
            };
            let part = beside(&target, PART);
            remove_left_over(&part)?;
            let mut options = OpenOptions::new();
            options.write(true).create_new(true);
            #[cfg(unix)]
            if readers == Readers::Owner || like.is_some() {
                // Until it is whole, its owner's; and never, not for a moment, anybody else's who may not.
                std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
            }
            let file = match options.open(&part) {
                Err(why) if why.kind() == ErrorKind::AlreadyExists => return Err(ErrorKind::ResourceBusy.into()),
                file => file?,
            };
            // Where files cannot be locked, two at once are not told apart; a name that is another's by then is seen below.
            drop(file.try_lock());
            Ok(Self { path: path.to_owned(), target, part, file, like, put: false })
        })
    }

    /// Where it lies meanwhile, for whoever fills it by its name.
    pub(crate) fn name(&self) -> &Path {
        &self.part
    }

    /// That it could not be filled.
    pub(crate) fn unfilled(&self, why: impl Into<io::Error>) -> FileError {
        FileError { step: Step::Writing, path: self.path.clone(), why: why.into() }
    }

    /// Gives it its name, once it is on the device.
    ///
    /// # Errors
    /// [`FileError`].
    pub(crate) fn put(mut self) -> Result<(), FileError> {
        attempt(Step::Syncing, &self.path, || {
            if let Some(like) = &self.like {
                self.file.set_permissions(like.permissions())?;
            }
            self.file.sync_all()
        })?;
        attempt(Step::Naming, &self.path, || {
            if !is_at(&self.file, &self.part)? {
                return Err(ErrorKind::ResourceBusy.into());
            }
            std::fs::rename(&self.part, &self.target)
        })?;
        self.put = true;
        sync_name(&self.target)
    }
}

/// Removes half a file that a crash left over; one that another command is making is locked.
fn remove_left_over(part: &Path) -> io::Result<()> {
    match OpenOptions::new().append(true).open(part).map(|file| file.try_lock()) {
        Ok(Err(std::fs::TryLockError::WouldBlock)) => return Err(ErrorKind::ResourceBusy.into()),
        Err(why) if why.kind() == ErrorKind::NotFound => return Ok(()),
        _ => {}
    }
    match std::fs::remove_file(part) {
        Err(why) if why.kind() != ErrorKind::NotFound => Err(why),
        _ => Ok(()),
    }
}

/// Whether `file` is what lies at `path`.
fn is_at(file: &File, path: &Path) -> io::Result<bool> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt as _;
        let (own, there) = (file.metadata()?, std::fs::metadata(path)?);
        Ok((own.dev(), own.ino()) == (there.dev(), there.ino()))
    }
    #[cfg(not(unix))]
    {
        let _ = file;
        Ok(path.exists())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.put && is_at(&self.file, &self.part).unwrap_or(false) {
            // Half a file is none; the error says what happened.
            drop(std::fs::remove_file(&self.part));
        }
    }
}

/// To write to; a failure says of itself which file, and what to do.
struct Sink<'a> {
    path: &'a Path,
    file: &'a File,
}

impl Sink<'_> {
    fn attempt<T>(&mut self, work: impl FnOnce(&mut &File) -> io::Result<T>) -> io::Result<T> {
        let mut file = self.file;
        attempt(Step::Writing, self.path, || work(&mut file)).map_err(|e| io::Error::new(e.why.kind(), e))
    }
}

impl Write for Sink<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.attempt(|file| file.write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.attempt(|file| file.flush())
    }
}

/// Makes the file at `path` of what `fill` writes. What is no file (a pipe, a terminal) is written to as it stands.
///
/// # Errors
/// [`FileError`], or what `fill` says; writing fails with an error that says all a keeper needs.
pub(crate) fn write<T, E: From<FileError>>(
    path: &Path,
    readers: Readers<'_>,
    fill: impl FnOnce(&mut dyn Write) -> Result<T, E>,
) -> Result<T, E> {
    let through = |file: &File| {
        let mut out = BufWriter::new(Sink { path, file });
        let done = fill(&mut out)?;
        out.flush().map_err(|e| {
            e.downcast().unwrap_or_else(|why| FileError { step: Step::Writing, path: path.to_owned(), why })
        })?;
        Ok(done)
    };
    if std::fs::metadata(path).is_ok_and(|there| !there.is_file() && !there.is_dir()) {
        return through(&attempt(Step::Beginning, path, || OpenOptions::new().write(true).open(path))?);
    }
    let part = Part::begin(path, readers)?;
    let done = through(&part.file)?;
    part.put()?;
    Ok(done)
}

/// Makes the file at `path` of `bytes`.
///
/// # Errors
/// [`FileError`].
pub(crate) fn save(path: &Path, readers: Readers<'_>, bytes: &[u8]) -> Result<(), FileError> {
    let failed =
        |e: io::Error| e.downcast().unwrap_or_else(|why| FileError { step: Step::Writing, path: path.to_owned(), why });
    write(path, readers, |out| out.write_all(bytes).map_err(failed))
}

/// Makes the name of a new file survive a power cut.
///
/// # Errors
/// [`FileError`]; the file is there all the same.
pub(crate) fn sync_name(path: &Path) -> Result<(), FileError> {
    // Only here can a directory be opened like a file.
    attempt(Step::SyncingName, path, || if cfg!(unix) { File::open(directory_of(path))?.sync_all() } else { Ok(()) })
}

/// `path` with `suffix` after its last part.
pub(crate) fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

/// Where a file lies: a bare name lies in the working directory.
pub(crate) fn directory_of(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

#[cfg(test)]
#[path = "whole_file/tests.rs"]
pub(crate) mod tests;
