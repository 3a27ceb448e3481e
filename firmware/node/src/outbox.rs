//! Keeps readings until the daemon says that it has them.
//!
//! A pack gets its number when it is first sent, so that numbers have no gaps; what waits behind may be thinned when
//! room runs out: of the older half every second reading goes, and is counted. A long outage then costs detail of long
//! ago before it costs an hour as a whole.
use wire::{Base, Entry, Format, Header, Number, PackWriter, WriteError, write_header};

use crate::Millis;

/// Packs that are under way without a receipt.
pub const UNDER_WAY: usize = 4;
/// Readings in one pack.
pub const PER_PACK: usize = 8;
/// Room for a pack of five channels: 55 bytes a value at most, and header, health and proof.
pub const PACK_BYTES: usize = 2800;
/// Without a receipt for so long, packs are sent again, ms: the daemon commits within seconds.
pub const PATIENCE_MS: Millis = 15_000;
/// Fewer samples than so many wait while all is well.
pub const WAITING_FROM: u32 = 16;
/// Stands for a value that was not measured.
pub const ABSENT: i16 = i16::MIN;

/// What a channel's numbers are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Hundredths of a degree Celsius.
    Celsius,
    /// Hundredths of a percent relative humidity.
    Humidity,
    /// Thousandths of full power, the mean since the reading before.
    Duty,
}

/// One of a node's sources.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Channel {
    /// As it is called on the wire, after the node's name.
    pub name: &'static str,
    /// What it says.
    pub kind: Kind,
}

/// Everything that was read at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample<const C: usize> {
    /// When, in tenths of a second since the start: 13 years fit.
    pub at_ds: u32,
    /// One number a channel, or [`ABSENT`].
    pub values: [i16; C],
}

impl<const C: usize> Sample<C> {
    /// One at `now`.
    #[must_use]
    pub fn new(now: Millis, values: [i16; C]) -> Self {
        Self { at_ds: u32::try_from(now / 100).unwrap_or(u32::MAX), values }
    }

    /// When, ms since the start.
    #[must_use]
    pub fn at_ms(&self) -> Millis {
        Millis::from(self.at_ds) * 100
    }
}

#[derive(Clone, Copy, Debug)]
struct Sent {
    seq: u32,
    samples: usize,
}

/// Keeps up to `N` samples of `C` channels.
#[derive(Debug)]
pub struct Outbox<const N: usize, const C: usize> {
    samples: heapless::Deque<Sample<C>, N>,
    under_way: heapless::Deque<Sent, UNDER_WAY>,
    /// How many of those under way were sent since the connection, or the patience, began.
    said: usize,
    seq: u32,
    lost: u32,
    /// Of those lost, how many no pack told that has its receipt.
    untold: u32,
    progress: Millis,
}

/// A pack to be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pack {
    /// Its number.
    pub seq: u32,
    /// The oldest that is still kept.
    pub from: u32,
    first: usize,
    samples: usize,
    /// Whether it is sent for the first time.
    pub is_new: bool,
    /// When its newest reading was taken.
    pub newest: Millis,
}

impl<const N: usize, const C: usize> Default for Outbox<N, C> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize, const C: usize> Outbox<N, C> {
    /// Half of what waits can always be thinned.
    const ROOMY: () = assert!(N >= 2 * UNDER_WAY * PER_PACK, "too small to be thinned");

    /// An empty one; the first pack is number 1.
    #[must_use]
    pub const fn new() -> Self {
        let () = Self::ROOMY;
        Self {
            samples: heapless::Deque::new(),
            under_way: heapless::Deque::new(),
            said: 0,
            seq: 0,
            lost: 0,
            untold: 0,
            progress: 0,
        }
    }

    /// Keeps a sample.
    pub fn push(&mut self, sample: Sample<C>) {
        if self.samples.is_full() {
            self.thin();
        }
        if self.samples.push_back(sample).is_err() {
            self.lose();
        }
    }

    const fn lose(&mut self) {
        self.lost = self.lost.saturating_add(1);
        self.untold = self.untold.saturating_add(1);
    }

    /// Drops every second of the older half of what is not under way.
    fn thin(&mut self) {
        let fixed: usize = self.under_way.iter().map(|sent| sent.samples).sum();
        let older = self.samples.len().saturating_sub(fixed) / 2;
        let many = self.samples.len();
        for place in 0..many {
            let Some(sample) = self.samples.pop_front() else { break };
            let goes = (fixed..fixed + older).contains(&place) && (place - fixed) % 2 == 1;
            if goes {
                self.lose();
            } else {
                // One was taken out before.
                let _ = self.samples.push_back(sample);
            }
        }
    }

    /// Begins to send from the oldest again: after a new connection.
    pub const fn again(&mut self, now: Millis) {
        self.said = 0;
        self.progress = now;
    }

    /// The next pack to be sent now, if any.
    pub fn next_pack(&mut self, now: Millis) -> Option<Pack> {
        if !self.under_way.is_empty() && now.saturating_sub(self.progress) >= PATIENCE_MS {
            self.again(now);
        }
        if self.under_way.is_empty() {
            self.progress = now;
        }
        let is_new = self.said >= self.under_way.len();
        if is_new {
            let fixed: usize = self.under_way.iter().map(|sent| sent.samples).sum();
            let samples = self.samples.len().saturating_sub(fixed).min(PER_PACK);
            if samples == 0 || self.under_way.is_full() {
                return None;
            }
            self.seq = self.seq.checked_add(1)?;
            // There is room.
            let _ = self.under_way.push_back(Sent { seq: self.seq, samples });
        }
        let first: usize = self.under_way.iter().take(self.said).map(|sent| sent.samples).sum();
        let sent = self.under_way.iter().nth(self.said).copied()?;
        self.said += 1;
        let newest = self.samples.iter().nth((first + sent.samples).saturating_sub(1)).map_or(0, Sample::at_ms);
        let from = self.under_way.front().map_or(sent.seq, |oldest| oldest.seq);
        Some(Pack { seq: sent.seq, from, first, samples: sent.samples, is_new, newest })
    }

    /// Takes a receipt for every pack up to `upto`.
    pub fn receipt(&mut self, upto: u64, now: Millis) {
        while self.under_way.front().is_some_and(|oldest| u64::from(oldest.seq) <= upto) {
            let Some(sent) = self.under_way.pop_front() else { break };
            for _ in 0..sent.samples {
                self.samples.pop_front();
            }
            self.said = self.said.saturating_sub(1);
            self.progress = now;
            // Packs say what was lost.
            self.untold = 0;
        }
    }

    /// Samples that are kept.
    #[must_use]
    pub fn len(&self) -> usize {
        self.samples.len()
    }

    /// Whether none is kept.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.samples.is_empty()
    }

    /// Samples that were dropped for want of room.
    #[must_use]
    pub const fn lost(&self) -> u32 {
        self.lost
    }

    /// How many samples the daemon would never hear of if the power went now, at least, in few enough steps to be
    /// written down at each: 0, or a power of two from [`WAITING_FROM`] on.
    #[must_use]
    pub fn waiting(&self) -> u32 {
        let many = u32::try_from(self.len()).unwrap_or(u32::MAX).saturating_add(self.untold);
        if many < WAITING_FROM { 0 } else { many.checked_ilog2().map_or(0, |exponent| 1 << exponent) }
    }

    /// Writes a pack: its header, then its readings with their own times, which are relative to `now`, as a node knows
    /// no other; a pack that is sent again says them anew. A start without number (`boot`) numbers no pack: the daemon
    /// would take it for one of an earlier such start.
    ///
    /// # Errors
    /// Why it could not be written.
    pub fn write<F: Format>(
        &self,
        out: &mut PackWriter<'_, F>,
        pack: &Pack,
        (base_name, boot, now): (&str, Option<u32>, Millis),
        channels: &[Channel; C],
    ) -> Result<(), WriteError> {
        let mut base = Base { name: Some(base_name), ..Base::default() };
        if let Some(boot) = boot {
            let header = Header { seq: Some(pack.seq.into()), boot: boot.into(), from: Some(pack.from.into()) };
            write_header(out, &base, &header)?;
            base = Base::default();
        }
        for sample in self.samples.iter().skip(pack.first).take(pack.samples) {
            let ago = i64::try_from(now.saturating_sub(sample.at_ms())).unwrap_or(i64::MAX);
            for (channel, value) in channels.iter().zip(sample.values) {
                if value != ABSENT {
                    out.record_with(&core::mem::take(&mut base), &entry(channel, value, -ago))?;
                }
            }
        }
        Ok(())
    }
}

fn entry(channel: &Channel, value: i16, ago_ms: i64) -> Entry<'static> {
    let (unit, milli) = match channel.kind {
        Kind::Celsius => ("Cel", i64::from(value) * 10),
        Kind::Humidity => ("%RH", i64::from(value) * 10),
        Kind::Duty => ("/", i64::from(value)),
    };
    let entry = Entry::number(channel.name, Number::Milli(milli)).unit(unit);
    if ago_ms == 0 { entry } else { entry.time_s(Number::Milli(ago_ms)) }
}

#[cfg(test)]
mod tests;
