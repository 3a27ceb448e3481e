//! The log, to standard error: so many lines of one kind a minute, and never the end of whoever writes it.
//!
//! A disk that is full or a reader that is gone costs lines, not the watch. What a stranger can make happen a million
//! times is not written a million times: a log that fills the disk takes the history with it.
use crate::cli::LogForm;
use crate::clock::{Clock, SystemClock};
use enclosure::Span;
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use tracing::callsite::Identifier;
use tracing::{Event, Subscriber};
use tracing_subscriber::layer::{Context, Layer, SubscriberExt as _};
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, fmt};

/// The variable that says how much is logged.
pub const LOG_VARIABLE: &str = "WARMEND_LOG";
/// How much is logged unless it says otherwise: the broker's library tells of every client at `info`.
const LOG_DEFAULT: &str = "info,mqtt5=warn";
/// Lines that one place of the program writes within [`WINDOW`] ...
const LINES_MAX: u32 = 60;
/// ... before the rest of them is only counted.
const WINDOW: Span = Span::from_min(1);
/// The messages themselves, where the log is a way: each counts.
const MESSAGES: &str = "warmend::message";

/// Starts the log. A filter that is not understood is said and left aside.
pub fn start(form: LogForm) {
    let wanted = std::env::var(LOG_VARIABLE).ok().filter(|filter| !filter.is_empty());
    let read = wanted.as_deref().map(EnvFilter::try_new);
    let refused = read.as_ref().and_then(|read| read.as_ref().err().map(ToString::to_string));
    let filter = read.and_then(Result::ok).unwrap_or_else(|| EnvFilter::new(LOG_DEFAULT));
    let base = tracing_subscriber::registry().with(filter).with(Limit::new(Box::new(SystemClock::new())));
    // An error of writing would be said by `eprintln!`, which panics where standard error is what fails.
    let lines = fmt::layer().with_writer(std::io::stderr).log_internal_errors(false);
    // A log that is there already stays: a test may have started one.
    let _ = match form {
        LogForm::Text => base.with(lines.with_ansi(std::io::IsTerminal::is_terminal(&std::io::stderr()))).try_init(),
        LogForm::Json => base.with(lines.json()).try_init(),
    };
    if let Some(why) = refused {
        tracing::warn!("{LOG_VARIABLE} is not understood ({why}); taken as {LOG_DEFAULT}");
    }
}

/// Holds back what one place of the program says too often.
struct Limit {
    clock: Box<dyn Clock>,
    /// By place: as many as the program has.
    places: Mutex<HashMap<Identifier, Place>>,
}

/// What one place said of late.
struct Place {
    since: Span,
    written: u32,
    held_back: u64,
}

impl Limit {
    fn new(clock: Box<dyn Clock>) -> Self {
        Self { clock, places: Mutex::default() }
    }

    /// Whether one more line of this place is written, and how many were not in the window before.
    fn pass(&self, place: Identifier) -> (bool, u64) {
        let now = self.clock.monotonic();
        let mut places = self.places.lock().unwrap_or_else(PoisonError::into_inner);
        let place = places.entry(place).or_insert(Place { since: now, written: 0, held_back: 0 });
        let mut untold = 0;
        if now.ms() - place.since.ms() >= WINDOW.ms() {
            untold = std::mem::take(&mut place.held_back);
            (place.since, place.written) = (now, 0);
        }
        if place.written < LINES_MAX {
            place.written += 1;
            (true, untold)
        } else {
            place.held_back += 1;
            (false, untold)
        }
    }
}

impl<S: Subscriber> Layer<S> for Limit {
    fn event_enabled(&self, event: &Event<'_>, _: Context<'_, S>) -> bool {
        let of = event.metadata();
        if of.target() == MESSAGES {
            return true;
        }
        let (written, untold) = self.pass(of.callsite());
        if untold > 0 {
            tracing::warn!(of = of.target(), "{untold} more lines like the next one came within a minute");
        }
        written
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::ManualClock;
    use enclosure::Timestamp;
    use std::io::Write;
    use std::sync::Arc;

    #[derive(Clone, Default)]
    struct Page(Arc<Mutex<Vec<u8>>>);

    impl Write for Page {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0.lock().unwrap().write(bytes)
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    #[derive(Debug)]
    struct Shared(Arc<ManualClock>);

    impl Clock for Shared {
        fn now(&self) -> Timestamp {
            self.0.now()
        }
        fn monotonic(&self) -> Span {
            self.0.monotonic()
        }
    }

    #[test]
    fn one_place_writes_so_many_lines_a_minute_and_says_how_many_it_did_not() {
        let page = Page::default();
        let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(0)));
        let to = page.clone();
        let log = tracing_subscriber::registry()
            .with(Limit::new(Box::new(Shared(Arc::clone(&clock)))))
            .with(fmt::layer().without_time().with_ansi(false).with_writer(move || to.clone()));
        let flood = || tracing::error!("too many open files");
        let count = |words: &str| {
            let bytes = page.0.lock().unwrap().clone();
            String::from_utf8(bytes).unwrap().lines().filter(|line| line.contains(words)).count()
        };
        tracing::subscriber::with_default(log, || {
            for _ in 0..1000 {
                flood();
                tracing::error!(target: MESSAGES, "the mat will not switch off");
            }
            tracing::warn!("another place");
            assert_eq!(count("too many open files"), LINES_MAX as usize);
            assert_eq!(count("the mat will not switch off"), 1000, "a message is never held back");
            assert_eq!(count("another place"), 1, "one place takes nothing from another");
            clock.advance(WINDOW);
            flood();
            assert_eq!(count("too many open files"), LINES_MAX as usize + 1);
        });
        let _ = clock;
    }

    #[test]
    fn what_was_held_back_is_counted_once() {
        let clock = Arc::new(ManualClock::new(Timestamp::from_unix_ms(0)));
        let limit = Limit::new(Box::new(Shared(Arc::clone(&clock))));
        let place = Identifier(&PLACE);
        let most = u64::from(LINES_MAX);
        let written = (0..most + 40).filter(|_| limit.pass(place.clone()).0).count();
        assert_eq!(written as u64, most);
        clock.advance(WINDOW);
        assert_eq!(limit.pass(place.clone()), (true, 40));
        assert_eq!(limit.pass(place), (true, 0));
    }

    static PLACE: Nowhere = Nowhere;
    struct Nowhere;
    impl tracing::Callsite for Nowhere {
        fn set_interest(&self, _: tracing::subscriber::Interest) {}
        fn metadata(&self) -> &tracing::Metadata<'_> {
            unreachable!("nobody asks")
        }
    }
}
