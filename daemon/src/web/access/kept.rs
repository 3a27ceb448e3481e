//! The file of the logins beside the history: they outlive a restart of the daemon.
//!
//! Nobody can log in with what stands in it: of a token only a digest. What a program sends with each request, the
//! password itself, never gets there, digested or not. It is its owner's to read, and there whole or not at all.
use super::sessions::{MOST, Mark, Moment, Sessions};
use crate::notices::{hex, sign};
use crate::whole_file::{self, Readers, beside};
use enclosure::Timestamp;
use std::fmt::Write as _;
use std::io::{ErrorKind, Read as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// First line: what the file is, and under which password.
const HEAD: &str = "warmend logins 1";
/// Longest file that is read, bytes: [`MOST`] lines of about a hundred.
const BYTES_MAX: u64 = 16 * 1024;

/// A login as it is written down.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) mark: Mark,
    pub(super) born: Timestamp,
    pub(super) used: Timestamp,
}

/// Where they are kept, and under which password.
#[derive(Debug)]
pub(super) struct Kept {
    path: PathBuf,
    under: Mark,
    /// One writes at a time, the newest last.
    writing: Mutex<()>,
}

impl Kept {
    /// Beside the history at `history`, under the password of which `hash` is the line; `key` is the history's own.
    pub(super) fn beside(history: &Path, hash: &str, key: &[u8; 32]) -> Self {
        let under = sign(key, &[b"logins to the pages", hash.as_bytes()]);
        Self { path: beside(history, ".logins"), under, writing: Mutex::default() }
    }

    /// What was kept: nothing under another password, another history, or where the file is none of ours.
    pub(super) fn read(&self, now: Moment) -> Sessions {
        let text = std::fs::File::open(&self.path).and_then(|file| {
            let mut text = String::new();
            file.take(BYTES_MAX).read_to_string(&mut text).map(|_| text)
        });
        match text {
            Ok(text) => Sessions::of(&self.lines(&text), now),
            Err(e) if e.kind() == ErrorKind::NotFound => Sessions::default(),
            Err(e) => {
                let path = self.path.display();
                tracing::warn!("reading the logins kept in {path}: {e}; everybody logs in anew");
                Sessions::default()
            }
        }
    }

    fn lines(&self, text: &str) -> Vec<Line> {
        let mut lines = text.lines();
        let head = lines.next().unwrap_or_default();
        if head != self.head() {
            if head.starts_with(HEAD) {
                // Another password ends them for good, even if the one before comes back.
                drop(std::fs::remove_file(&self.path));
            }
            return Vec::new();
        }
        lines.filter_map(line).take(MOST).collect()
    }

    fn head(&self) -> String {
        format!("{HEAD} {}", hex(&self.under))
    }

    /// Writes down what `sessions` holds by then. A failure is said in the log: the logins hold until the next start.
    pub(super) fn write(&self, sessions: &Mutex<Sessions>) {
        let _one = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let mut text = self.head() + "\n";
        for Line { mark, born, used } in sessions.lock().unwrap_or_else(PoisonError::into_inner).lines() {
            let _ = writeln!(text, "{} {} {}", hex(&mark), born.unix_ms(), used.unix_ms());
        }
        if let Err(e) = whole_file::save(&self.path, Readers::Owner, text.as_bytes()) {
            // Better no file than one by which a login that was ended comes back.
            drop(std::fs::remove_file(&self.path));
            tracing::warn!("keeping the logins: {e}; after the next start everybody logs in anew");
        }
    }
}

fn line(text: &str) -> Option<Line> {
    let mut parts = text.split(' ');
    let digits = parts.next().filter(|digits| digits.len() == 64 && digits.is_ascii())?;
    let mut mark = Mark::default();
    for (i, byte) in mark.iter_mut().enumerate() {
        *byte = u8::from_str_radix(digits.get(2 * i..2 * i + 2)?, 16).ok()?;
    }
    let mut moment = || parts.next()?.parse().ok().map(Timestamp::from_unix_ms);
    Some(Line { mark, born: moment()?, used: moment()? })
}

#[cfg(test)]
mod tests {
    use super::super::sessions::digest;
    use super::*;
    use enclosure::Span;

    const NOW: Moment = Moment { wall: Timestamp::from_unix_ms(1_772_323_200_000), steady: Span::ZERO };

    fn holds(kept: &Kept, token: &str) -> bool {
        kept.read(NOW).knows(&digest(token), NOW).is_some()
    }

    #[test]
    fn what_is_written_is_read_again_under_the_same_password_and_key_only() {
        let dir = tempfile::tempdir().unwrap();
        let history = dir.path().join("warmend.db");
        let kept = Kept::beside(&history, "hash", &[7; 32]);
        assert!(!holds(&kept, "a"), "no file yet");
        let sessions = Mutex::new(Sessions::default());
        sessions.lock().unwrap().keep(digest("a"), NOW, true);
        sessions.lock().unwrap().keep(digest("the password"), NOW, false);
        kept.write(&sessions);
        assert!(holds(&kept, "a") && !holds(&kept, "b"));
        assert!(!holds(&kept, "the password"), "it is not for the disk");
        // What stands there is no token.
        let text = std::fs::read_to_string(dir.path().join("warmend.db.logins")).unwrap();
        assert!(text.split_whitespace().all(|word| !holds(&kept, word)), "{text}");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1, "nothing is left beside it");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = std::fs::metadata(dir.path().join("warmend.db.logins")).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
        for other in [Kept::beside(&history, "another", &[7; 32]), Kept::beside(&history, "hash", &[8; 32])] {
            kept.write(&sessions);
            assert!(holds(&kept, "a") && !holds(&other, "a"));
            assert!(!holds(&kept, "a"), "what another ended stays ended");
        }
    }

    #[test]
    fn whichever_step_of_keeping_fails_no_login_that_was_ended_comes_back() {
        for step in whole_file::tests::STEPS {
            let dir = tempfile::tempdir().unwrap();
            let kept = Kept::beside(&dir.path().join("h"), "hash", &[7; 32]);
            let sessions = Mutex::new(Sessions::default());
            sessions.lock().unwrap().keep(digest("a"), NOW, true);
            kept.write(&sessions);
            assert!(holds(&kept, "a"));
            sessions.lock().unwrap().end("a");
            whole_file::tests::failing(step, || kept.write(&sessions));
            assert!(!holds(&kept, "a") && !kept.path.exists(), "{step:?}");
        }
    }

    #[test]
    fn a_torn_or_foreign_file_costs_its_own_logins_only() {
        let dir = tempfile::tempdir().unwrap();
        let kept = Kept::beside(&dir.path().join("h"), "hash", &[7; 32]);
        let sessions = Mutex::new(Sessions::default());
        for i in 0..MOST {
            sessions.lock().unwrap().keep(digest(&i.to_string()), NOW, true);
        }
        kept.write(&sessions);
        let whole = std::fs::read(&kept.path).unwrap();
        assert!((whole.len() as u64) < BYTES_MAX);
        assert!((0..MOST).all(|i| holds(&kept, &i.to_string())));
        for cut in (0..whole.len()).step_by(97) {
            std::fs::write(&kept.path, &whole[..cut]).unwrap();
            assert!(kept.read(NOW).lines().iter().all(|l| sessions.lock().unwrap().lines().contains(l)), "{cut}");
        }
        for foreign in [&b"\xff\xfe\x00"[..], b"", b"warmend logins 1 00\n", &[b'\n'; 99_999]] {
            std::fs::write(&kept.path, foreign).unwrap();
            assert!(kept.read(NOW).lines().is_empty());
        }
        // A directory in its place: said in the log, and the logins hold till the next start.
        std::fs::remove_file(&kept.path).unwrap();
        std::fs::create_dir(&kept.path).unwrap();
        kept.write(&sessions);
        assert!(kept.read(NOW).lines().is_empty() && sessions.lock().unwrap().lines().len() == MOST);
    }
}
