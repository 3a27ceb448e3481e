//! A clock that runs fast, and waits for the simulation where that is slower.
use crate::clock::{Clock, SystemClock};
use enclosure::{Span, Timestamp};
use std::sync::{Mutex, PoisonError};

/// Runs so many times faster than the machine's from a given moment on, up to a ceiling that its owner moves.
#[derive(Debug)]
pub struct PacedClock {
    machine: SystemClock,
    speed: f64,
    times: Mutex<Times>,
}

#[derive(Debug)]
struct Times {
    /// What the machine said when it was last asked.
    machine: Span,
    /// Milliseconds since 1970; a double is exact to a fraction of a millisecond.
    now_ms: f64,
    ceiling: Timestamp,
}

impl PacedClock {
    /// A clock that stands at `from` until its ceiling is raised.
    pub fn new(from: Timestamp, speed: f64) -> Self {
        let machine = SystemClock::new();
        let times = Times { machine: machine.monotonic(), now_ms: from.unix_ms() as f64, ceiling: from };
        Self { machine, speed, times: Mutex::new(times) }
    }

    /// Lets it run up to `ceiling`. Time in which it was held back is lost, not made up for.
    pub fn may_run_to(&self, ceiling: Timestamp) {
        self.with(|times| times.ceiling = ceiling);
    }

    fn with<T>(&self, f: impl FnOnce(&mut Times) -> T) -> T {
        let mut times = self.times.lock().unwrap_or_else(PoisonError::into_inner);
        let machine = self.machine.monotonic();
        let passed_ms = (machine.ms() - times.machine.ms()) as f64 * self.speed;
        times.machine = machine;
        let most = times.ceiling.unix_ms() as f64;
        times.now_ms = times.now_ms.max((times.now_ms + passed_ms).min(most));
        f(&mut times)
    }
}

impl Clock for PacedClock {
    fn now(&self) -> Timestamp {
        self.with(|times| Timestamp::from_unix_ms(times.now_ms as i64))
    }

    fn monotonic(&self) -> Span {
        self.machine.monotonic()
    }

    fn pace(&self) -> f64 {
        self.speed
    }

    fn can_be_set(&self) -> bool {
        false
    }
}
