//! A daemon that is killed again and again loses nothing that it gave a receipt for, and stores nothing twice.
use std::path::Path;
use tests::daemon::Daemon;
use tests::node::Node;
use tests::story::warmth;
use tests::{SOON, history, minute_now_s, seed, shelf, wait};

/// How often it is killed; `tests/soak` asks for more.
const KILLS: u32 = 8;
/// The fixed seed of the moments.
const SEED: u64 = 20_260_301;

/// Packs that may be on their way at a kill.
const AHEAD: u64 = 300;

/// Numbers between 0 and `below` (xorshift64, Marsaglia 2003).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % below
    }
}

/// Says packs, each with one reading, until `packs` are said; gives the readings' times, ms.
struct Speaker {
    node: Node,
    from_s: f64,
    said: Vec<i64>,
}

impl Speaker {
    fn says(&mut self) {
        let t = self.from_s + self.said.len() as f64;
        self.node.say(&[warmth("oak-node", "warm", t, 25.0)]);
        self.said.push((t * 1000.0) as i64);
    }
}

fn stored_once(db: &Path, said: &[i64], receipted: usize) {
    let stored = history::temperatures(db);
    for (which, times) in &stored {
        assert_eq!(*times, 1, "{which:?} is stored {times} times");
    }
    for t in &said[..receipted] {
        assert!(
            stored.contains_key(&("oak-node:warm".to_owned(), *t)),
            "the pack of {t} has a receipt, but no reading"
        );
    }
}

#[test]
fn what_has_a_receipt_outlives_every_kill_and_nothing_is_there_twice() {
    let wanted = std::env::var("WARMEND_SOAK_KILLS").ok().and_then(|text| text.parse().ok());
    let kills: u32 = wanted.unwrap_or(KILLS);
    let dir = tempfile::tempdir().unwrap();
    let db = dir.path().join("warmend.db");
    // Commits that are due late, so that a kill finds packs in flight.
    let services = shelf::SERVICES.replace("commit_s = 0.05", "commit_s = 0.3");
    shelf::write(dir.path(), &[shelf::PLAIN, &services]);
    let mut dice = Dice(seed(SEED) | 1);
    let from_s = minute_now_s() - 30.0 * 3600.0;
    let mut speaker = Speaker { node: Node::new("oak-node", 7), from_s, said: Vec::new() };
    let mut hurt = 0;
    for _ in 0..kills {
        let daemon = Daemon::run(dir.path());
        speaker.node.connect(daemon.broker);
        // Killed after so many receipts, with so many packs more on their way.
        let (answered, ahead) = (dice.roll(120), dice.roll(AHEAD));
        for _ in 0..answered {
            speaker.says();
            speaker.node.answered(40);
        }
        for _ in 0..ahead {
            speaker.says();
        }
        hurt += u32::from(speaker.node.unanswered() > 0);
        daemon.kill();
        wait("the node notices", SOON, || speaker.node.is_cut().then_some(()));
        let unanswered = speaker.node.unanswered();
        stored_once(&db, &speaker.said, speaker.said.len() - unanswered);
    }
    assert!(hurt * 2 > kills, "only {hurt} of {kills} kills found packs in flight");
    let daemon = Daemon::run(dir.path());
    speaker.node.connect(daemon.broker);
    speaker.node.answered(0);
    assert_eq!(daemon.stop(), 0);
    stored_once(&db, &speaker.said, speaker.said.len());
    assert_eq!(history::temperatures(&db).len(), speaker.said.len());
}
