//! The node's tasks on an embassy executor and network stack, the same on every board.
//!
//! A board brings pins, bus, memory and network; here is who turns when. What must work when all of this hangs, the
//! guard of the pad, is called from the board's timer interrupt by [`Node::tick`].
#![no_std]
#![forbid(unsafe_code)]

mod line;
pub mod places;

use core::cell::RefCell;
use core::fmt::Arguments;
use core::sync::atomic::{AtomicI32, AtomicU32, Ordering};

use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::{Duration, Instant, Timer};
use embedded_hal::i2c::I2c;
use node::decide::Bounds;
use node::guard::{Begun, Guard};
use node::outbox::{ABSENT, Channel, Outbox, Sample};
use node::probe::any::Seek;
use node::probe::{Alone, Nothing, Probe, Said};
use node::schedule::{Schedule, seed_of};
use node::settings::{Notes, Settings};
use node::store::Memory;
use node::{Fault, Millis};

/// The node's own program says so often that it turns, ms.
const BEAT_EVERY_MS: u64 = 250;
/// How long it may not, ms.
const BEAT_MS: Millis = 2000;
/// Between two readings it is looked so often whether something is to be noted or said, ms.
const LOOK_EVERY_MS: u64 = 500;
/// A reading out of turn, to say why heat ended, comes no sooner after the last, ms.
const OUT_OF_TURN_MS: Millis = 1000;
/// So many turns without a good reading make a probe silent; and this on top, ms.
const PATIENCE: (Millis, Millis) = (3, 5000);

/// Where a log goes.
pub type Log = fn(Arguments<'_>);

/// Something that tasks and interrupts share.
pub type Shared<T> = Mutex<CriticalSectionRawMutex, RefCell<T>>;

/// An empty outbox for a board's static: made in place, as no stack has room for one.
#[must_use]
pub const fn outbox<const N: usize, const C: usize>() -> Shared<Outbox<N, C>> {
    Mutex::new(RefCell::new(Outbox::new()))
}

/// Stands for a signal that nobody measured.
const NO_SIGNAL: i32 = i32::MIN;

/// One probe, of `K` kinds that may hang there, and what its numbers are called.
#[derive(Debug)]
pub struct Place<const K: usize, W = Nothing> {
    /// The probe on the bus.
    pub probe: Seek<K>,
    /// The one on a line of its own that may be there instead.
    pub alone: Option<W>,
    /// Whether it is that one: then it is, until the next start.
    pub is_alone: bool,
    /// The channel of its temperature.
    pub celsius: usize,
    /// The channel of its humidity, if it has one.
    pub humidity: Option<usize>,
}

/// A node with `P` probes and `C` channels, the last of them the pad's, that keeps `N` samples.
pub struct Node<const P: usize, const C: usize, const N: usize> {
    settings: Settings,
    notes: Option<Notes>,
    channels: [Channel; C],
    guard: Shared<Guard<P>>,
    outbox: &'static Shared<Outbox<N, C>>,
    fresh: Signal<CriticalSectionRawMutex, ()>,
    signal_mdbw: AtomicI32,
    written: AtomicU32,
    log: Log,
}

/// Milliseconds since the start.
fn now() -> Millis {
    Instant::now().as_millis()
}

impl<const P: usize, const C: usize, const N: usize> Node<P, C, N> {
    /// Begins: `notes` is `None` where this start got no number. Says whether watchdog or low supply began it.
    pub fn new(
        settings: Settings,
        notes: Option<Notes>,
        (channels, outbox): ([Channel; C], &'static Shared<Outbox<N, C>>),
        (by_watchdog, by_brown_out): (bool, bool),
        log: Log,
    ) -> Self {
        let bounds =
            Bounds { limit_centi_c: settings.limit_centi_c, duty_permille: settings.duty_permille, beat_ms: BEAT_MS };
        let begun = Begun { boot: notes.map(|notes| notes.boot), by_watchdog, by_brown_out };
        let patience = Millis::from(settings.every_s) * 1000 * PATIENCE.0 + PATIENCE.1;
        let guard = Guard::new(begun, bounds, patience, notes.unwrap_or_default().kept);
        Self {
            settings,
            notes,
            channels,
            guard: Mutex::new(RefCell::new(guard)),
            outbox,
            fresh: Signal::new(),
            signal_mdbw: AtomicI32::new(NO_SIGNAL),
            written: AtomicU32::new(0),
            log,
        }
    }

    /// Hears how strong the radio receives, dBm, or that it does not.
    pub fn radio(&self, dbm: Option<i32>) {
        let mdbw = dbm.map_or(NO_SIGNAL, |dbm| dbm.saturating_sub(30).saturating_mul(1000));
        self.signal_mdbw.store(mdbw, Ordering::Relaxed);
    }

    /// For the timer interrupt: whether the pad's switch is to be closed now.
    pub fn tick(&self, now: Millis) -> bool {
        self.guard(|guard| guard.tick(now))
    }

    fn guard<T>(&self, f: impl FnOnce(&mut Guard<P>) -> T) -> T {
        self.guard.lock(|guard| f(&mut guard.borrow_mut()))
    }

    fn outbox<T>(&self, f: impl FnOnce(&mut Outbox<N, C>) -> T) -> T {
        self.outbox.lock(|outbox| f(&mut outbox.borrow_mut()))
    }

    /// Says again and again that the program turns, to the guard and to the board's watchdog.
    pub async fn beat(&self, mut feed: impl FnMut()) -> ! {
        loop {
            self.guard(|guard| guard.beat(now()));
            feed();
            Timer::after(Duration::from_millis(BEAT_EVERY_MS)).await;
        }
    }

    /// Reads the probes turn by turn, and notes in `memory` what must outlive a restart.
    pub async fn read<const K: usize, W: Alone, B: I2c, M: Memory>(
        &self,
        bus: &mut B,
        places: &mut [Place<K, W>; P],
        memory: &mut M,
    ) -> ! {
        let mut schedule = Schedule::new(u32::from(self.settings.every_s) * 1000, seed_of(&self.settings.node));
        let mut notes = self.notes;
        loop {
            let taken = self.turn(bus, places).await;
            let mut keeps = true;
            let said = self.guard(|guard| guard.verdict().err());
            let next = schedule.next(now());
            while now() < next {
                let look = (next - now()).min(LOOK_EVERY_MS);
                Timer::after(Duration::from_millis(look)).await;
                // One that does not keep it is asked once a turn: flash wears by being asked.
                keeps = keeps && self.note(&mut notes, memory);
                let changed = self.guard(|guard| guard.verdict().err()) != said;
                if changed && now() >= taken + OUT_OF_TURN_MS {
                    break;
                }
            }
        }
    }

    async fn turn<const K: usize, W: Alone, B: I2c>(&self, bus: &mut B, places: &mut [Place<K, W>; P]) -> Millis {
        let mut values = [ABSENT; C];
        for (i, place) in places.iter_mut().enumerate() {
            let said = measure(place, bus).await;
            self.guard(|guard| guard.probe(i, now(), said.map(|said| said.centi_c)));
            match said {
                Ok(said) => {
                    set(&mut values, Some(place.celsius), Some(said.centi_c));
                    set(&mut values, place.humidity, said.centi_rh);
                }
                Err(fault) => (self.log)(format_args!("probe {i}: {fault:?}")),
            }
        }
        let duty = self.guard(Guard::take_duty);
        set(&mut values, C.checked_sub(1), i16::try_from(duty).ok());
        let taken = now();
        self.outbox(|outbox| outbox.push(Sample::new(taken, values)));
        self.fresh.signal(());
        taken
    }

    /// Notes what changed; returns whether the memory keeps it.
    fn note<M: Memory>(&self, notes: &mut Option<Notes>, memory: &mut M) -> bool {
        let Some(noted) = notes else { return true };
        let (changed, waiting) = (self.guard(Guard::take_changed), self.outbox(|outbox| outbox.waiting()));
        if changed.is_none() && waiting == noted.waiting {
            return true;
        }
        let next = Notes { kept: changed.unwrap_or(noted.kept), waiting, ..*noted };
        let keeps = matches!(next.save(memory), Ok(true));
        if keeps {
            *noted = next;
        } else if changed.is_some() {
            self.guard(Guard::not_kept);
        }
        let how = if keeps { "noted" } else { "NOT noted" };
        (self.log)(format_args!("{how} {:?}, {waiting} readings wait", next.kept));
        keeps
    }
}

/// Asks a probe; where it is not known yet which one hangs there, each kind that may.
async fn measure<const K: usize, W: Alone, B: I2c>(place: &mut Place<K, W>, bus: &mut B) -> Result<Said, Fault> {
    let mut said = Err(Fault::Silent);
    let tries = if place.is_alone { 0 } else { place.probe.tries() };
    for _ in 0..tries {
        said = ask(&mut place.probe, bus).await;
        if said.is_ok() {
            return said;
        }
    }
    match place.alone.as_mut().filter(|_| !place.probe.is_found()) {
        Some(alone) => {
            said = ask_alone(alone).await;
            place.is_alone |= said.is_ok();
            said
        }
        None => said,
    }
}

async fn ask_alone<W: Alone>(alone: &mut W) -> Result<Said, Fault> {
    alone.start()?;
    Timer::after(Duration::from_millis(W::WAIT_MS.into())).await;
    alone.fetch()
}

async fn ask<B: I2c>(probe: &mut impl Probe, bus: &mut B) -> Result<Said, Fault> {
    probe.start(bus)?;
    let wait_ms = probe.wait_ms();
    if wait_ms > 0 {
        Timer::after(Duration::from_millis(wait_ms.into())).await;
    }
    probe.fetch(bus)
}

fn set<const C: usize>(values: &mut [i16; C], place: Option<usize>, value: Option<i16>) {
    if let (Some(slot), Some(value)) = (place.and_then(|place| values.get_mut(place)), value) {
        *slot = value;
    }
}
