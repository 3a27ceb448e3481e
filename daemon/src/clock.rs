//! The only place that asks what time it is. Everything else is handed a [`Clock`], so that tests own the hours.
//!
//! Two times, because they differ exactly when it matters: the wall clock may be set or jump, and dates what was
//! measured; the monotonic clock never goes back, and says how long something took.
use enclosure::{Span, Timestamp};
use std::sync::Mutex;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

/// Tells the time. Shared as `Arc<dyn Clock>`.
pub trait Clock: Send + Sync + std::fmt::Debug {
    /// The wall clock's moment. It may go back.
    fn now(&self) -> Timestamp;

    /// Time passed since this clock was made. It never goes back and knows nothing of dates.
    fn monotonic(&self) -> Span;

    /// Seconds of [`Clock::now`] in one second of [`Clock::monotonic`]: 1, but for a simulation's clock.
    fn pace(&self) -> f64 {
        1.0
    }

    /// Whether somebody may set it, so that it jumps. A simulation's clock is never set, but waits at times.
    fn can_be_set(&self) -> bool {
        true
    }
}

/// The machine's own clocks.
#[derive(Debug)]
pub struct SystemClock {
    started: Instant,
}

impl SystemClock {
    /// A clock whose monotonic time starts now.
    #[expect(clippy::disallowed_methods, reason = "this is the place where time enters")]
    pub fn new() -> Self {
        Self { started: Instant::now() }
    }
}

impl Default for SystemClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the place where time enters")]
    fn now(&self) -> Timestamp {
        let now = SystemTime::now();
        let ms = match now.duration_since(UNIX_EPOCH) {
            Ok(since) => i64::try_from(since.as_millis()).unwrap_or(i64::MAX),
            // A machine without a battery-backed clock can wake up before 1970.
            Err(before) => i64::try_from(before.duration().as_millis()).map_or(i64::MIN, |ms| -ms),
        };
        Timestamp::from_unix_ms(ms)
    }

    fn monotonic(&self) -> Span {
        Span::from_ms(i64::try_from(self.started.elapsed().as_millis()).unwrap_or(i64::MAX))
    }
}

/// A clock that stands still until it is told to move.
#[derive(Debug)]
pub struct ManualClock {
    times: Mutex<(Timestamp, Span)>,
}

impl ManualClock {
    /// A clock that stands at `now`, its monotonic time at zero.
    pub fn new(now: Timestamp) -> Self {
        Self { times: Mutex::new((now, Span::ZERO)) }
    }

    /// Lets `by` pass on both clocks. A negative span moves the wall clock only.
    pub fn advance(&self, by: Span) {
        self.change(|(now, ran)| (now.plus(by), Span::from_ms(ran.ms().saturating_add(by.ms().max(0)))));
    }

    /// Sets the wall clock, as a person or a time server does; no time passes.
    pub fn set(&self, now: Timestamp) {
        self.change(|(_, ran)| (now, ran));
    }

    fn change(&self, f: impl FnOnce((Timestamp, Span)) -> (Timestamp, Span)) {
        let mut times = self.times.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        *times = f(*times);
    }

    fn times(&self) -> (Timestamp, Span) {
        *self.times.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Clock for ManualClock {
    fn now(&self) -> Timestamp {
        self.times().0
    }

    fn monotonic(&self) -> Span {
        self.times().1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_system_clock_tells_a_date_after_this_was_written_and_never_runs_back() {
        let clock = SystemClock::new();
        // 2025-01-01T00:00:00Z
        assert!(clock.now().unix_ms() > 1_735_689_600_000);
        let first = clock.monotonic();
        assert!(first >= Span::ZERO && clock.monotonic() >= first);
    }

    #[test]
    fn setting_the_wall_clock_lets_no_time_pass() {
        let clock = ManualClock::new(Timestamp::from_unix_ms(1_000));
        clock.advance(Span::from_s(2));
        assert_eq!((clock.now(), clock.monotonic()), (Timestamp::from_unix_ms(3_000), Span::from_s(2)));
        clock.set(Timestamp::from_unix_ms(-5));
        assert_eq!((clock.now(), clock.monotonic()), (Timestamp::from_unix_ms(-5), Span::from_s(2)));
        clock.advance(Span::from_ms(-10));
        assert_eq!((clock.now(), clock.monotonic()), (Timestamp::from_unix_ms(-15), Span::from_s(2)));
    }
}
