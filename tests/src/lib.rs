//! What the whole-system tests stand on: the program as a process, nodes that speak MQTT, stories from the simulated
//! shelf. Nothing here reaches into the daemon: only its public surfaces are used. Five modules need no daemon at all:
//! [`watched`] lets the pure core watch a simulated shelf in this process, [`told`] adds what a keeper is told of it,
//! [`mod@hindsight`] what is seen of it later, [`blind`] while a fault was not found yet, [`sums`] puts textbook problems
//! to its parts.
pub mod blind;
pub mod board;
pub mod browser;
pub mod daemon;
pub mod hindsight;
pub mod history;
pub mod http;
pub mod influx;
pub mod mail;
pub mod node;
pub mod program;
pub mod quiet;
pub mod record;
pub mod rp2040;
pub mod series;
pub mod shelf;
pub mod story;
pub mod sums;
pub mod table;
pub mod told;
pub mod watched;
pub mod words;

use std::time::{Duration, Instant, SystemTime};

/// Longest wait for what happens at once on a busy machine of two cores.
pub const SOON: Duration = Duration::from_secs(30);
/// Between two looks at a condition.
const LOOK_EVERY: Duration = Duration::from_millis(10);

/// A story's seed: the fixed one, or another for each round of `tests/soak`.
pub fn seed(fixed: u64) -> u64 {
    match std::env::var("WARMEND_SOAK_SEED").ok().and_then(|text| text.parse::<u64>().ok()) {
        Some(round) => fixed.wrapping_add(round.wrapping_mul(1_000_003)),
        None => fixed,
    }
}

/// Looks until there is something to see; the only place that sleeps.
///
/// # Panics
/// If `limit` passes first.
#[track_caller]
pub fn wait<T>(what: &str, limit: Duration, mut look: impl FnMut() -> Option<T>) -> T {
    let began = moment();
    loop {
        if let Some(seen) = look() {
            return seen;
        }
        assert!(began.elapsed() < limit, "waited {limit:?} in vain: {what}");
        pause();
    }
}

#[expect(clippy::disallowed_methods, reason = "the one polling helper")]
fn pause() {
    std::thread::sleep(LOOK_EVERY);
}

/// Now, for deadlines and figures.
#[expect(clippy::disallowed_methods, reason = "tests measure the outside, on the machine's own clock")]
pub fn moment() -> Instant {
    Instant::now()
}

/// Now, s since 1970, in whole minutes.
///
/// # Panics
/// On a machine whose clock stands before 1970.
#[expect(clippy::disallowed_methods, reason = "nodes have clocks of their own")]
pub fn minute_now_s() -> f64 {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap();
    (since.as_secs() / 60 * 60) as f64
}
