//! The timer interrupt: it moves the clock, wakes who waits, and asks the guard about the pad; whatever else hangs.
use core::cell::RefCell;
use core::sync::atomic::{AtomicU32, Ordering};
use core::task::Waker;

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use critical_section::Mutex;
use embassy_time_driver::Driver;
use embassy_time_queue_utils::Queue;

/// The interrupt comes so often, ms.
pub const EVERY_MS: u32 = 10;
/// Clock cycles in that time, at the 12.5 MHz that the emulated chip starts with.
const CYCLES: u32 = 12_500 * EVERY_MS;

/// Since the start, in units of [`EVERY_MS`]; the second counts how often the first ran over.
static TURNS: AtomicU32 = AtomicU32::new(0);
static OVER: AtomicU32 = AtomicU32::new(0);

struct Clock {
    queue: Mutex<RefCell<Queue>>,
}

embassy_time_driver::time_driver_impl!(static CLOCK: Clock = Clock { queue: Mutex::new(RefCell::new(Queue::new())) });

/// Starts it.
pub fn begin(mut timer: SYST) {
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(CYCLES - 1);
    timer.clear_current();
    timer.enable_counter();
    timer.enable_interrupt();
}

/// Milliseconds since the start.
pub fn now() -> u64 {
    critical_section::with(|_| {
        let (over, turns) = (OVER.load(Ordering::Relaxed), TURNS.load(Ordering::Relaxed));
        (u64::from(over) << 32 | u64::from(turns)) * u64::from(EVERY_MS)
    })
}

/// To be called in the interrupt.
pub fn interrupt() {
    let turns = TURNS.load(Ordering::Relaxed).wrapping_add(1);
    TURNS.store(turns, Ordering::Relaxed);
    if turns == 0 {
        OVER.store(OVER.load(Ordering::Relaxed).wrapping_add(1), Ordering::Relaxed);
    }
    critical_section::with(|cs| {
        CLOCK.queue.borrow_ref_mut(cs).next_expiration(now());
    });
}

impl Driver for Clock {
    fn now(&self) -> u64 {
        now()
    }

    fn schedule_wake(&self, at: u64, waker: &Waker) {
        // The interrupt comes anyway; there is no alarm to set.
        critical_section::with(|cs| self.queue.borrow_ref_mut(cs).schedule_wake(at, waker));
    }
}
