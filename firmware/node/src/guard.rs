//! Holds what [`decide`](crate::decide::decide()) judges, and drives the pad by it from the timer interrupt.
//!
//! A permit counts only if it is signed, for this start, newer than the last, and rests on a pack of this node's own;
//! its seconds run from the readings of that pack. A withdrawal and a passed limit are kept over restarts, until a
//! permit comes that says that a person has reset it.
use core::fmt;

use wire::{HeatOff, Permit, PermitError, PermitKind};

use crate::decide::{Bounds, Latch, Lease, Situation, decide};
use crate::plausible::{Condition, Watch};
use crate::{Fault, Millis};

/// The longest a permit may hold, whatever it says, s: ten minutes of full power are what a small pad may do unseen.
pub const LEASE_MAX_S: u16 = 600;
/// The pad is switched with this period, ms: slow enough for a relay's contacts, quick for a nest.
pub const PERIOD_MS: Millis = 60_000;
/// After the supply was low, so long nothing is driven, ms.
pub const SUPPLY_SETTLES_MS: Millis = 30_000;
/// Packs on which a permit may rest: the last that were made.
pub const PACKS: usize = 16;

/// What must outlive a restart: it is stored when [`Guard::take_changed`] says so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// The highest number of resets by a person that was seen.
    pub reset: u32,
    /// Why a person has to reset it.
    pub latch: Option<Latch>,
}

/// Says why a permit that was read does not count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// It could not be read.
    Unread(PermitError),
    /// It is for another start of this node.
    OtherStart,
    /// It, or a later one, came before.
    Replayed,
    /// It rests on no pack of late.
    Stale,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unread(error) => error.fmt(f),
            Self::OtherStart => f.write_str("a permit for another start of this node"),
            Self::Replayed => f.write_str("a permit that came before"),
            Self::Stale => f.write_str("a permit that rests on no pack of late"),
        }
    }
}

/// How a node began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Begun {
    /// The number of this start; `None` if it could not be stored: then old permits might fit, and none counts.
    pub boot: Option<u32>,
    /// The watchdog began it.
    pub by_watchdog: bool,
    /// A low supply began it.
    pub by_brown_out: bool,
}

/// Watches over the pad of a node with `P` probes.
#[derive(Clone, Debug)]
pub struct Guard<const P: usize> {
    bounds: Bounds,
    boot: Option<u32>,
    patience_ms: Millis,
    kept: Kept,
    changed: bool,
    lease: Given,
    last: Option<Permit>,
    refused: u32,
    packs: heapless::Deque<(u32, Millis), PACKS>,
    probes: [Watch; P],
    beat: Millis,
    supply_low_until: Millis,
    verdict: Result<u16, HeatOff>,
    pin: bool,
    ticked: Millis,
    counted_ms: Millis,
    on_ms: Millis,
}

#[derive(Clone, Copy, Debug)]
enum Given {
    None,
    Refused,
    Until { ends: Millis, duty_permille: u16, ceiling_centi_c: i16 },
}

impl<const P: usize> Guard<P> {
    /// Begins without a permit. Probes may be silent for `patience_ms`.
    #[must_use]
    pub fn new(begun: Begun, bounds: Bounds, patience_ms: Millis, kept: Kept) -> Self {
        let mut guard = Self {
            bounds,
            boot: begun.boot,
            patience_ms,
            kept,
            changed: false,
            lease: Given::None,
            last: None,
            refused: 0,
            packs: heapless::Deque::new(),
            probes: [Watch::default(); P],
            beat: 0,
            supply_low_until: if begun.by_brown_out { SUPPLY_SETTLES_MS } else { 0 },
            verdict: Err(HeatOff::NoPermit),
            pin: false,
            ticked: 0,
            counted_ms: 0,
            on_ms: 0,
        };
        if begun.by_watchdog {
            guard.latch(Latch::Watchdog);
        }
        guard
    }

    fn latch(&mut self, why: Latch) {
        if self.kept.latch.is_none() {
            self.kept.latch = Some(why);
            self.changed = true;
        }
        self.lease = Given::None;
    }

    /// Takes a reading of a probe, hundredths of a degree Celsius, or why there is none.
    pub fn probe(&mut self, place: usize, now: Millis, said: Result<i16, Fault>) {
        let Some(probe) = self.probes.get_mut(place) else { return };
        probe.take(now, said, self.bounds.limit_centi_c);
        if probe.is_above() {
            self.latch(Latch::Limit);
        }
    }

    /// Hears that the node's own program turns.
    pub const fn beat(&mut self, now: Millis) {
        self.beat = now;
    }

    /// Hears that the supply is low.
    pub const fn supply_is_low(&mut self, now: Millis) {
        self.supply_low_until = now.saturating_add(SUPPLY_SETTLES_MS);
    }

    /// Hears that pack `seq` was made, whose newest reading was taken at `taken`.
    pub fn pack_made(&mut self, seq: u32, taken: Millis) {
        if self.packs.is_full() {
            self.packs.pop_front();
        }
        // There is room now.
        let _ = self.packs.push_back((seq, taken));
    }

    /// Takes a permit.
    ///
    /// # Errors
    /// Why it does not count. The one before it is then void, too: somebody meddles, or the node's view of things is
    /// not the daemon's. The same permit twice, as a broker may deliver it, is no fault and changes nothing.
    pub fn permit(&mut self, read: Result<Permit, PermitError>) -> Result<(), Refused> {
        if read.is_ok() && read.ok() == self.last {
            return Ok(());
        }
        let judged = read.map_err(Refused::Unread).and_then(|permit| self.judge(&permit).map(|taken| (permit, taken)));
        match judged {
            Ok((permit, taken)) => {
                self.accept(&permit, taken);
                Ok(())
            }
            Err(why) => {
                self.lease = Given::Refused;
                self.refused = self.refused.saturating_add(1);
                Err(why)
            }
        }
    }

    /// Returns when the readings were taken that a permit rests on.
    fn judge(&self, permit: &Permit) -> Result<Millis, Refused> {
        if self.boot != Some(permit.boot) {
            return Err(Refused::OtherStart);
        }
        if self.last.is_some_and(|last| permit.counter <= last.counter) {
            return Err(Refused::Replayed);
        }
        let taken = self.packs.iter().find(|(seq, _)| *seq == permit.answers).map(|(_, taken)| *taken);
        match (permit.kind, taken) {
            (_, Some(taken)) => Ok(taken),
            // A withdrawal is good whatever it rests on.
            (PermitKind::Withdraw, None) => Ok(0),
            (PermitKind::Grant, None) => Err(Refused::Stale),
        }
    }

    fn accept(&mut self, permit: &Permit, taken: Millis) {
        self.last = Some(*permit);
        match permit.kind {
            PermitKind::Withdraw => self.latch(Latch::Withdrawn),
            PermitKind::Grant => {
                if self.kept.latch.is_some() && permit.reset > self.kept.reset {
                    // The higher number is noted below, and this with it.
                    self.kept.latch = None;
                }
                let lease_ms = Millis::from(permit.lease_s.min(LEASE_MAX_S)) * 1000;
                self.lease = Given::Until {
                    ends: taken.saturating_add(lease_ms),
                    duty_permille: permit.duty_permille,
                    ceiling_centi_c: permit.ceiling_centi_c,
                };
            }
        }
        if permit.reset > self.kept.reset {
            self.kept.reset = permit.reset;
            self.changed = true;
        }
    }

    /// Called from the timer interrupt: returns whether the pad's switch is to be closed now.
    pub fn tick(&mut self, now: Millis) -> bool {
        let lease = match self.lease {
            Given::None => Lease::None,
            Given::Refused => Lease::Refused,
            Given::Until { ends, duty_permille, ceiling_centi_c } => {
                Lease::Held { left_ms: ends.saturating_sub(now).cast_signed().max(0), duty_permille, ceiling_centi_c }
            }
        };
        let probes: [Condition; P] = self.probes.map(|probe| probe.condition(now, self.patience_ms));
        let situation = Situation {
            memory: self.boot.is_some(),
            latch: self.kept.latch,
            beat_ms: now.saturating_sub(self.beat),
            supply_low: now < self.supply_low_until,
            lease,
            probes: &probes,
        };
        self.verdict = decide(&situation, &self.bounds);
        self.count(now);
        let duty = Millis::from(self.verdict.unwrap_or(0));
        self.pin = now % PERIOD_MS * 1000 < duty * PERIOD_MS;
        self.pin
    }

    /// Counts how long the switch was closed until `now`.
    fn count(&mut self, now: Millis) {
        let passed = now.saturating_sub(self.ticked);
        self.ticked = now;
        self.counted_ms += passed;
        if self.pin {
            self.on_ms += passed;
        }
    }

    /// Returns the mean duty since this was asked last, thousandths.
    pub fn take_duty(&mut self) -> u16 {
        let (on_ms, counted_ms) = (core::mem::take(&mut self.on_ms), core::mem::take(&mut self.counted_ms));
        let now = Millis::from(self.pin) * 1000;
        // A share in thousandths fits.
        (on_ms * 1000).checked_div(counted_ms).unwrap_or(now) as u16
    }

    /// How far the pad may be driven, thousandths, or why it may not; as of the last tick.
    ///
    /// # Errors
    /// Why it may not.
    pub const fn verdict(&self) -> Result<u16, HeatOff> {
        self.verdict
    }

    /// When the lease that is held ends; it may be over.
    #[must_use]
    pub const fn lease_ends(&self) -> Option<Millis> {
        match self.lease {
            Given::Until { ends, .. } => Some(ends),
            Given::None | Given::Refused => None,
        }
    }

    /// What is to be stored, if it changed since this was asked last.
    pub fn take_changed(&mut self) -> Option<Kept> {
        core::mem::take(&mut self.changed).then_some(self.kept)
    }

    /// Hears that it could not be stored: it is to be tried again.
    pub const fn not_kept(&mut self) {
        self.changed = true;
    }

    /// What outlives a restart.
    #[must_use]
    pub const fn kept(&self) -> Kept {
        self.kept
    }

    /// Permits that did not count since the start.
    #[must_use]
    pub const fn refused(&self) -> u32 {
        self.refused
    }
}

#[cfg(test)]
mod tests;
