//! Every write may be the one that fails, and every moment the last: what was answered as stored is found again.
use rusqlite::ffi;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// Makes the n-th write from now fail, once.
#[derive(Clone, Debug, Default)]
pub(crate) struct Faults {
    left: Arc<AtomicI64>,
    code: Arc<AtomicI64>,
}

impl Faults {
    /// The `n`-th step from now fails with SQLite's result `code`.
    pub(crate) fn at(&self, n: i64, code: std::ffi::c_int) {
        self.left.store(n, Ordering::SeqCst);
        self.code.store(i64::from(code), Ordering::SeqCst);
    }

    /// Whether the fault is still to come.
    pub(crate) fn pending(&self) -> bool {
        self.left.load(Ordering::SeqCst) > 0
    }

    pub(crate) fn step(&self) -> rusqlite::Result<()> {
        if self.left.fetch_sub(1, Ordering::SeqCst) != 1 {
            return Ok(());
        }
        let code = i32::try_from(self.code.load(Ordering::SeqCst)).unwrap_or(ffi::SQLITE_IOERR);
        Err(rusqlite::Error::SqliteFailure(ffi::Error::new(code), None))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::sample::{DAY_S, Place, at, numbered, numbers, open};
    use crate::history::{HistoryError, Store, WriteError};
    use std::io::{BufRead as _, BufReader};
    use std::path::Path;
    use std::process::{Child, Command, Stdio};

    const CHILD: &str = "WARMEND_TEST_HISTORY_CHILD";
    const PACKS: u64 = 6;

    /// Two packs a commit, a packing after each; gives the numbers of the packs that were answered as stored.
    fn run(store: &mut Store) -> Vec<u64> {
        let mut stored = Vec::new();
        // Packs a day apart, so that there is something to pack.
        for pair in (0..PACKS).map(|i| i * 144).collect::<Vec<_>>().chunks(2) {
            let batches: Vec<_> = pair.iter().map(|i| numbered(*i)).collect();
            if store.commit(&batches).is_ok_and(|all| all.iter().all(Result::is_ok)) {
                stored.extend(pair);
            }
            // A failed packing leaves everything as it was; the next one does its work.
            let _ = store.pack_step(at(i64::try_from(pair[0]).unwrap() * 600));
        }
        stored
    }

    #[test]
    fn whichever_write_fails_nothing_answered_is_lost_and_nothing_is_half_written() {
        // The disk fails, is full, or was made read-only beneath us.
        for code in [ffi::SQLITE_IOERR, ffi::SQLITE_FULL, ffi::SQLITE_READONLY] {
            let mut n = 1;
            loop {
                let place = Place::new();
                let mut store = place.open();
                store.faults.at(n, code);
                let stored = run(&mut store);
                let fired = !store.faults.pending();
                let receipt = store.standing_receipts();
                drop(store);
                assert_eq!(numbers(&place.readings()), stored, "write {n} failed with {code}");
                assert_eq!(place.open().standing_receipts(), receipt);
                if !fired {
                    assert_eq!(stored.len() as u64, PACKS);
                    break;
                }
                n += 1;
            }
            assert!(n > 30, "only {n} writes were tried");
        }
    }

    #[test]
    fn a_batch_that_cannot_be_stored_does_not_take_others_along() {
        let place = Place::new();
        let mut store = place.open();
        store.faults.at(2, ffi::SQLITE_CONSTRAINT);
        let outcomes = store.commit(&[numbered(0), numbered(1)]).unwrap();
        assert!(matches!(outcomes[0], Err(WriteError::Refused { .. })), "{outcomes:?}");
        assert_eq!(numbers(&place.readings()), [1]);
        assert!(store.commit(&[numbered(0)]).unwrap()[0].as_ref().is_ok_and(|c| c.stored == 4));
        assert_eq!(numbers(&place.readings()), [0, 1]);
    }

    #[test]
    fn on_a_full_disk_nothing_is_half_written_and_all_goes_on_when_there_is_space() {
        for pages in [0, 1, 2, 5, 11, 23] {
            let place = Place::new();
            let mut store = place.open();
            let limit = |store: &Store, pages: i64| {
                store.conn.pragma_update_and_check(None, "max_page_count", pages, |_| Ok(())).unwrap();
            };
            let used: i64 = store.conn.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
            limit(&store, used + pages);
            let eight = |i: u64| (8 * i..8 * i + 8).map(numbered).collect::<Vec<_>>();
            let failed = (0..500).find_map(|i| store.commit(&eight(i)).err().map(|error| (i, error)));
            let (i, error) = failed.unwrap();
            assert_eq!(error, WriteError::Full);
            let stored: Vec<u64> = (0..8 * i).collect();
            assert_eq!(numbers(&place.readings()), stored, "{pages} pages");
            // Packing needs space too: it may fail, but loses nothing.
            let _ = store.pack_step(at(400 * DAY_S));
            assert_eq!(numbers(&place.readings()), stored, "{pages} pages, packing");
            limit(&store, 1_000_000);
            assert!(store.commit(&eight(i)).unwrap().iter().all(Result::is_ok));
            drop(store);
            assert_eq!(numbers(&place.readings()), (0..8 * i + 8).collect::<Vec<_>>());
            assert_eq!(place.open().standing_receipts()[0].upto, 8 * i + 7);
        }
    }

    /// The log is lost as a whole: what was only in it is gone, and nothing is promised that is not there.
    #[test]
    fn without_its_log_a_history_is_an_earlier_moment_of_itself() {
        let place = Place::new();
        let mut store = place.open();
        for i in 0..400 {
            store.commit(&[numbered(i)]).unwrap();
            if i == 250 {
                store.conn.query_row("PRAGMA wal_checkpoint(FULL)", [], |_| Ok(())).unwrap();
            }
        }
        let other = Place::new();
        std::fs::copy(&place.path, &other.path).unwrap();
        let receipts = other.open().standing_receipts();
        let there = numbers(&other.readings());
        assert_eq!(there, (0..there.len() as u64).collect::<Vec<_>>());
        assert!((251..400).contains(&there.len()), "{} packs", there.len());
        assert_eq!(receipts[0].upto + 1, there.len() as u64);
    }

    #[test]
    fn a_place_that_cannot_be_written_to_is_said() {
        // Nobody writes there, not even root.
        let text = Store::open(Path::new("/proc/self/warmend.db"), at(0)).unwrap_err().to_string();
        assert!(text.contains("may be written") && text.contains("/proc/"), "{text}");
    }

    /// Not a test by itself: the process that the tests below kill. Commits numbered packs and says so.
    #[test]
    fn child() {
        let Some(path) = std::env::var_os(CHILD) else { return };
        let mut store = open(Path::new(&path));
        let first = store.standing_receipts().first().map_or(0, |receipt| receipt.upto + 1);
        println!("\n#open");
        let mut failures = 0;
        for i in first..first + 100_000 {
            match store.commit(&[numbered(i)]) {
                Ok(_) => println!("\n#stored {i}"),
                Err(error) => {
                    println!("\n#failed {i} {error}");
                    failures += 1;
                    let _ = store.reopen();
                }
            }
            if i % 50 == 0 {
                let _ = store.pack_step(at(i64::try_from(i).unwrap() * 600));
            }
            if failures > 5 {
                return;
            }
        }
    }

    struct Lines {
        child: Child,
        lines: std::io::Lines<BufReader<std::process::ChildStdout>>,
    }

    impl Lines {
        /// The test binary again, running [`child`]; below `blocks` of 512 bytes a file if given.
        fn spawn(path: &Path, blocks: Option<u32>) -> Self {
            let program = std::env::current_exe().unwrap();
            let mut command = match blocks {
                Some(blocks) => {
                    let mut shell = Command::new("sh");
                    let limit = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
                    shell.args(["-c", &limit]).arg(program);
                    shell
                }
                None => Command::new(program),
            };
            command.args(["--exact", "history::faults::tests::child", "--nocapture", "--test-threads=1"]);
            let mut child = command.env(CHILD, path).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
            let lines = BufReader::new(child.stdout.take().unwrap()).lines();
            Self { child, lines }
        }

        fn next(&mut self, word: &str) -> Option<String> {
            self.lines.by_ref().map_while(Result::ok).find_map(|line| line.strip_prefix(word).map(str::to_owned))
        }

        /// Ends it as a power cut would end the process, and gives the last number that it had said.
        fn kill(mut self) -> Option<u64> {
            self.child.kill().unwrap();
            let mut last = None;
            while let Some(number) = self.next("#stored ") {
                last = number.parse().ok().or(last);
            }
            self.child.wait().unwrap();
            last
        }
    }

    #[test]
    fn killed_at_any_moment_everything_answered_is_there_and_whole() {
        let place = Place::new();
        for round in 0..6_u64 {
            let mut child = Lines::spawn(&place.path, None);
            child.next("#open").unwrap();
            match Store::open(&place.path, at(0)) {
                Err(HistoryError::InUse { holder, .. }) => {
                    assert_eq!(holder, format!("process {}", child.child.id()));
                }
                other => panic!("a second writer was let in: {other:?}"),
            }
            let heard = (0..20 + 37 * round).map_while(|_| child.next("#stored ")).last().unwrap();
            let last = child.kill().unwrap_or(heard.parse().unwrap());
            let receipt = place.open().standing_receipts()[0].upto;
            let there = numbers(&place.readings());
            assert!(receipt >= last, "receipt {receipt}, said {last}");
            assert_eq!(there, (0..=receipt).collect::<Vec<_>>(), "round {round}");
        }
        assert!(place.reader().sizes().unwrap().chunks > 0, "the child never packed");
    }

    /// A file system that takes no more at some byte (torn in the middle of a page, too): a real failed `write`.
    #[cfg(unix)]
    #[test]
    fn where_the_system_refuses_to_write_nothing_answered_is_lost() {
        for blocks in [401, 700, 1_333, 3_000] {
            let place = Place::new();
            drop(place.open());
            let mut child = Lines::spawn(&place.path, Some(blocks));
            let mut stored: Vec<u64> = Vec::new();
            let mut failed = 0;
            while let Some(line) = child.next("#") {
                match line.split_once(' ') {
                    Some(("stored", i)) => stored.push(i.parse().unwrap()),
                    Some(("failed", _)) => failed += 1,
                    _ => {}
                }
            }
            child.child.wait().unwrap();
            assert!(failed > 0 && !stored.is_empty(), "{blocks} blocks: {failed} failed, {} stored", stored.len());
            let _store = place.open();
            let there = numbers(&place.readings());
            let lost: Vec<_> = stored.iter().filter(|i| !there.contains(i)).collect();
            assert_eq!(lost, Vec::<&u64>::new(), "{blocks} blocks");
        }
    }
}
