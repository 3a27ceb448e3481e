//! Whether what a probe says can be: range, and how fast a nest changes.
//!
//! A reading that cannot be is a reason not to heat, never one to heat. But the gate does not lock: a probe that keeps
//! saying the same is believed after [`AGREE`] readings.
use crate::{Fault, Millis};

/// What a probe in a room's nest can say, hundredths of a degree Celsius (common practice, no source).
pub const RANGE_CENTI_C: core::ops::RangeInclusive<i16> = -4000..=8500;
/// A step that needs no time: a lid, a drop of water, a probe that was moved; hundredths of a kelvin (common practice,
/// no source).
const STEP_CENTI_K: u64 = 300;
/// Beyond it, so much a second: a mat of 100 W/m² on dry wood does a tenth of it; hundredths of a kelvin (a rough sum).
const RATE_CENTI_K_PER_S: u64 = 20;
/// So many readings in a row that fit each other are believed, though they fit nothing before; and so many above the
/// limit are a danger, as one may be a glitch.
pub const AGREE: u8 = 3;

/// How it stands with a probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Condition {
    /// It has said nothing good for too long, or never has.
    Silent,
    /// The last it said cannot be.
    Implausible,
    /// What it says, hundredths of a degree Celsius.
    Says(i16),
}

/// Watches one probe.
#[derive(Clone, Copy, Debug, Default)]
pub struct Watch {
    /// The last that was believed.
    last: Option<(Millis, i16)>,
    /// The last that was not, and how many in a row fit it.
    odd: Option<(i16, u8)>,
    implausible: bool,
    above: u8,
}

impl Watch {
    /// Takes a reading, hundredths of a degree Celsius.
    pub fn take(&mut self, now: Millis, said: Result<i16, Fault>, limit_centi_c: i16) {
        let centi_c = match said {
            Ok(centi_c) => centi_c,
            Err(Fault::Implausible) => {
                self.implausible = true;
                return;
            }
            // It may just have been a bad contact: it counts once it lasts.
            Err(Fault::Silent | Fault::Garbled) => return,
        };
        self.above = if centi_c > limit_centi_c { self.above.saturating_add(1) } else { 0 };
        let fits = RANGE_CENTI_C.contains(&centi_c) && (self.follows(now, centi_c) || self.agrees(centi_c));
        self.implausible = !fits;
        if fits {
            self.last = Some((now, centi_c));
            self.odd = None;
        }
    }

    fn follows(&self, now: Millis, centi_c: i16) -> bool {
        let Some((at, last)) = self.last else { return true };
        let may = STEP_CENTI_K + now.saturating_sub(at) * RATE_CENTI_K_PER_S / 1000;
        u64::from(centi_c.abs_diff(last)) <= may
    }

    fn agrees(&mut self, centi_c: i16) -> bool {
        let before = self.odd.filter(|(odd, _)| u64::from(odd.abs_diff(centi_c)) <= STEP_CENTI_K);
        let many = before.map_or(0, |(_, many)| many) + 1;
        self.odd = Some((centi_c, many));
        many >= AGREE
    }

    /// How it stands with the probe now, if it may be silent for `patience_ms`.
    #[must_use]
    pub fn condition(&self, now: Millis, patience_ms: Millis) -> Condition {
        match self.last {
            _ if self.implausible => Condition::Implausible,
            Some((at, centi_c)) if now.saturating_sub(at) <= patience_ms => Condition::Says(centi_c),
            _ => Condition::Silent,
        }
    }

    /// Whether the last readings, believed or not, were above the limit for long enough to be a danger.
    #[must_use]
    pub const fn is_above(&self) -> bool {
        self.above >= AGREE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: i16 = 4000;

    /// A probe that said this, and which nobody would judge otherwise on a node that has run for five days.
    fn watch(said: &[(Millis, Result<i16, Fault>)]) -> Watch {
        const DAYS_MS: Millis = 5 * 86_400_000;
        let (mut watch, mut late) = (Watch::default(), Watch::default());
        for (at, said) in said {
            watch.take(*at, *said, LIMIT);
            late.take(DAYS_MS + at, *said, LIMIT);
            assert_eq!(watch.condition(*at, 60_000), late.condition(DAYS_MS + at, 60_000));
        }
        watch
    }

    #[test]
    fn silence_counts_once_it_lasts_and_a_wild_reading_at_once() {
        let warm = watch(&[(0, Ok(2500))]);
        assert_eq!(warm.condition(30_000, 30_000), Condition::Says(2500));
        assert_eq!(warm.condition(30_001, 30_000), Condition::Silent);
        assert_eq!(Watch::default().condition(0, 30_000), Condition::Silent);
        for fault in [Fault::Silent, Fault::Garbled] {
            let once = watch(&[(0, Ok(2500)), (10_000, Err(fault))]);
            assert_eq!(once.condition(10_000, 30_000), Condition::Says(2500));
            assert_eq!(once.condition(40_000, 30_000), Condition::Silent);
        }
        for wild in [Ok(-900), Ok(8501), Ok(3100), Err(Fault::Implausible)] {
            let wild = watch(&[(0, Ok(2500)), (10_000, wild)]);
            assert_eq!(wild.condition(10_000, 30_000), Condition::Implausible);
        }
    }

    #[test]
    fn a_nest_may_change_as_fast_as_nests_do() {
        // 3 K at once, and 0.2 K/s more.
        let at = |at, centi_c| watch(&[(0, Ok(2500)), (at, Ok(centi_c))]).condition(at, 60_000);
        assert_eq!(at(10_000, 3000), Condition::Says(3000));
        assert_eq!(at(10_000, 3001), Condition::Implausible);
        assert_eq!(at(10_000, 2000), Condition::Says(2000));
    }

    #[test]
    fn what_a_probe_keeps_saying_is_believed_in_the_end() {
        let mut said = watch(&[(0, Ok(2500)), (1000, Ok(3500)), (2000, Ok(3510))]);
        assert_eq!(said.condition(2000, 60_000), Condition::Implausible);
        said.take(3000, Ok(3490), LIMIT);
        assert_eq!(said.condition(3000, 60_000), Condition::Says(3490));
        // Only in a row: what fits in between begins the count anew, and two that differ by more than a lid's step do not
        // fit each other.
        let believed = |said: &[i16]| {
            let said = (0..).zip(said).map(|(s, centi_c)| (s * 1000, Ok(*centi_c)));
            let said: heapless::Vec<_, 8> = said.collect();
            !matches!(watch(&said).condition(0, 60_000), Condition::Implausible)
        };
        assert!(believed(&[2500, 3500, 3800, 3500]) && !believed(&[2500, 3500, 3801, 3500]));
        assert!(believed(&[2500, 3500, 3500, 3500]) && !believed(&[2500, 3500, 3500, 2500, 3500]));
        // Readings that fit nothing, not even each other, never are.
        let wild = watch(&[(0, Ok(2500)), (1000, Ok(3500)), (2000, Ok(4500)), (3000, Ok(3500)), (4000, Ok(4500))]);
        assert_eq!(wild.condition(4000, 60_000), Condition::Implausible);
    }

    #[test]
    fn three_readings_above_the_limit_are_a_danger_believed_or_not() {
        assert!(!watch(&[(0, Ok(2500)), (1000, Ok(4500)), (2000, Ok(4500))]).is_above());
        assert!(watch(&[(0, Ok(2500)), (1000, Ok(4500)), (2000, Ok(9900)), (3000, Ok(4001))]).is_above());
        assert!(!watch(&[(0, Ok(4500)), (1000, Ok(4500)), (2000, Ok(4000)), (3000, Ok(4500))]).is_above());
        // A bad contact in between does not make it well.
        assert!(watch(&[(0, Ok(4500)), (1, Err(Fault::Silent)), (2, Ok(4500)), (3, Ok(4500))]).is_above());
    }
}
