//! Whether the pad may be driven: one pure function of everything that speaks for or against it.
use wire::HeatOff;

use crate::Millis;
use crate::plausible::Condition;

/// Everything that speaks for or against it.
#[derive(Clone, Copy, Debug)]
pub struct Situation<'a> {
    /// Settings were read and this start has a number of its own.
    pub memory: bool,
    /// Why a person has to reset it first.
    pub latch: Option<Latch>,
    /// Since the node's own program last said that it turns, ms.
    pub beat_ms: Millis,
    /// The supply is, or was until a moment ago, too low to trust anything.
    pub supply_low: bool,
    /// The leave to heat.
    pub lease: Lease,
    /// The node's probes.
    pub probes: &'a [Condition],
}

/// Why a person has to reset it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Latch {
    /// The daemon withdrew the permit.
    Withdrawn,
    /// A probe passed the node's own limit.
    Limit,
    /// The watchdog started the node anew.
    Watchdog,
}

/// A leave to heat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lease {
    /// None yet.
    None,
    /// The last permit was refused; with it the one before is void.
    Refused,
    /// One was given.
    Held {
        /// How long it still holds, ms; negative: how long it is over.
        left_ms: i64,
        /// Thousandths; more than 1000 counts as 1000.
        duty_permille: u16,
        /// No probe may say so much, hundredths of a degree Celsius.
        ceiling_centi_c: i16,
    },
}

/// What the node itself never exceeds, whoever permits it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// No probe may say more, hundredths of a degree Celsius.
    pub limit_centi_c: i16,
    /// The most the pad is driven, thousandths.
    pub duty_permille: u16,
    /// How long the node's own program may not turn, ms.
    pub beat_ms: Millis,
}

/// Returns how far the pad may be driven, 1 to 1000 thousandths.
///
/// # Errors
/// Why it may not be driven at all; where several reasons hold, the first in the order of [`HeatOff::ALL`].
pub fn decide(situation: &Situation<'_>, bounds: &Bounds) -> Result<u16, HeatOff> {
    if !situation.memory {
        return Err(HeatOff::Memory);
    }
    let says = |test: &dyn Fn(Condition) -> bool| situation.probes.iter().any(|probe| test(*probe));
    if says(&|probe| matches!(probe, Condition::Says(centi_c) if centi_c > bounds.limit_centi_c)) {
        return Err(HeatOff::Limit);
    }
    match situation.latch {
        Some(Latch::Limit) => return Err(HeatOff::Limit),
        Some(Latch::Withdrawn) => return Err(HeatOff::Withdrawn),
        Some(Latch::Watchdog) => return Err(HeatOff::Watchdog),
        None => {}
    }
    if situation.beat_ms > bounds.beat_ms {
        return Err(HeatOff::Hung);
    }
    if situation.supply_low {
        return Err(HeatOff::SupplyLow);
    }
    if says(&|probe| probe == Condition::Implausible) {
        return Err(HeatOff::ProbeImplausible);
    }
    // A node without a probe is blind: that is silence, too.
    if situation.probes.is_empty() || says(&|probe| probe == Condition::Silent) {
        return Err(HeatOff::ProbeSilent);
    }
    let (left_ms, duty_permille, ceiling_centi_c) = match situation.lease {
        Lease::None => return Err(HeatOff::NoPermit),
        Lease::Refused => return Err(HeatOff::PermitRefused),
        Lease::Held { left_ms, duty_permille, ceiling_centi_c } => (left_ms, duty_permille, ceiling_centi_c),
    };
    if left_ms <= 0 {
        return Err(HeatOff::LeaseOver);
    }
    if says(&|probe| matches!(probe, Condition::Says(centi_c) if centi_c >= ceiling_centi_c)) {
        return Err(HeatOff::AtCeiling);
    }
    match duty_permille.min(bounds.duty_permille).min(1000) {
        0 => Err(HeatOff::Nothing),
        duty_permille => Ok(duty_permille),
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    const LIMIT: i16 = 4000;
    const CEILING: i16 = 3300;
    const BEAT: Millis = 2000;

    /// Each input at each value where something changes, and beyond on both sides.
    const MEMORY: [bool; 2] = [true, false];
    const LATCH: [Option<Latch>; 4] = [None, Some(Latch::Withdrawn), Some(Latch::Limit), Some(Latch::Watchdog)];
    const BEATS: [Millis; 4] = [0, BEAT, BEAT + 1, Millis::MAX];
    const SUPPLY_LOW: [bool; 2] = [false, true];
    const LEFT: [i64; 6] = [i64::MIN, -1, 0, 1, 60_000, i64::MAX];
    const DUTY: [u16; 6] = [0, 1, 500, 1000, 1001, u16::MAX];
    const OWN_DUTY: [u16; 4] = [0, 300, 1000, u16::MAX];
    const CEILINGS: [i16; 5] = [i16::MIN, CEILING, LIMIT, LIMIT + 1, i16::MAX];

    fn conditions() -> Vec<Condition> {
        let says = [i16::MIN, 0, CEILING - 1, CEILING, CEILING + 1, LIMIT, LIMIT + 1, i16::MAX];
        [Condition::Silent, Condition::Implausible].into_iter().chain(says.map(Condition::Says)).collect()
    }

    fn leases() -> Vec<Lease> {
        let mut all = std::vec![Lease::None, Lease::Refused];
        for left_ms in LEFT {
            for duty_permille in DUTY {
                all.extend(CEILINGS.map(|ceiling_centi_c| Lease::Held { left_ms, duty_permille, ceiling_centi_c }));
            }
        }
        all
    }

    fn probe_sets() -> Vec<Vec<Condition>> {
        let one = conditions();
        let mut all = std::vec![std::vec![]];
        all.extend(one.iter().map(|a| std::vec![*a]));
        all.extend(one.iter().flat_map(|a| one.iter().map(move |b| std::vec![*a, *b])));
        all
    }

    fn each(mut test: impl FnMut(&Situation<'_>, &Bounds)) -> u64 {
        let (leases, sets) = (leases(), probe_sets());
        let mut many = 0;
        for (memory, latch) in MEMORY.into_iter().flat_map(|m| LATCH.map(|l| (m, l))) {
            for (beat_ms, supply_low) in BEATS.into_iter().flat_map(|b| SUPPLY_LOW.map(|s| (b, s))) {
                for (lease, probes) in leases.iter().flat_map(|l| sets.iter().map(move |s| (l, s))) {
                    for duty_permille in OWN_DUTY {
                        let bounds = Bounds { limit_centi_c: LIMIT, duty_permille, beat_ms: BEAT };
                        let situation = Situation { memory, latch, beat_ms, supply_low, lease: *lease, probes };
                        test(&situation, &bounds);
                        many += 1;
                    }
                }
            }
        }
        many
    }

    /// Said once more, as one condition: the pad is driven if and only if all of it holds.
    fn may(s: &Situation<'_>, b: &Bounds) -> bool {
        let Lease::Held { left_ms, duty_permille, ceiling_centi_c } = s.lease else { return false };
        let cool = |probe: &Condition| matches!(probe, Condition::Says(centi_c) if *centi_c < ceiling_centi_c && *centi_c <= b.limit_centi_c);
        s.memory
            && s.latch.is_none()
            && s.beat_ms <= b.beat_ms
            && !s.supply_low
            && left_ms > 0
            && duty_permille > 0
            && b.duty_permille > 0
            && !s.probes.is_empty()
            && s.probes.iter().all(cool)
    }

    #[test]
    fn over_the_whole_lattice_the_pad_is_driven_only_if_everything_speaks_for_it() {
        let mut driven = 0;
        let many = each(|situation, bounds| {
            let got = decide(situation, bounds);
            assert_eq!(got.is_ok(), may(situation, bounds), "{situation:?} {bounds:?}");
            if let Ok(duty) = got {
                driven += 1;
                let Lease::Held { duty_permille, .. } = situation.lease else { unreachable!("no lease, no heat") };
                let most = duty_permille.min(bounds.duty_permille);
                assert!(0 < duty && duty <= 1000 && duty <= most && (duty == most || most > 1000));
            }
        });
        assert!(many > 5_000_000 && driven > 10_000, "{many} situations, driven in {driven}");
    }

    /// Every reason comes up, and the one said is the gravest that holds: without the graver ones it stays.
    #[test]
    fn the_gravest_reason_is_said() {
        let good = Situation {
            memory: true,
            latch: None,
            beat_ms: 0,
            supply_low: false,
            lease: Lease::Held { left_ms: 1, duty_permille: 500, ceiling_centi_c: CEILING },
            probes: &[Condition::Says(2500)],
        };
        let bounds = Bounds { limit_centi_c: LIMIT, duty_permille: 1000, beat_ms: BEAT };
        assert_eq!(decide(&good, &bounds), Ok(500));
        let held = |left_ms, duty_permille| Lease::Held { left_ms, duty_permille, ceiling_centi_c: CEILING };
        // In the order of the list; each leaves all the graver reasons out and the milder ones free.
        let worse: [(HeatOff, Situation<'_>); 15] = [
            (HeatOff::Memory, Situation { memory: false, latch: Some(Latch::Limit), ..good }),
            (HeatOff::Limit, Situation { latch: Some(Latch::Limit), beat_ms: 9999, ..good }),
            (
                HeatOff::Limit,
                Situation { probes: &[Condition::Says(LIMIT + 1)], latch: Some(Latch::Withdrawn), ..good },
            ),
            (HeatOff::Withdrawn, Situation { latch: Some(Latch::Withdrawn), supply_low: true, ..good }),
            (HeatOff::Watchdog, Situation { latch: Some(Latch::Watchdog), supply_low: true, ..good }),
            (HeatOff::Hung, Situation { beat_ms: BEAT + 1, supply_low: true, ..good }),
            (HeatOff::SupplyLow, Situation { supply_low: true, probes: &[Condition::Implausible], ..good }),
            (HeatOff::ProbeImplausible, Situation { probes: &[Condition::Silent, Condition::Implausible], ..good }),
            (HeatOff::ProbeSilent, Situation { probes: &[Condition::Silent], lease: Lease::None, ..good }),
            (HeatOff::ProbeSilent, Situation { probes: &[], lease: Lease::None, ..good }),
            (HeatOff::NoPermit, Situation { lease: Lease::None, ..good }),
            (HeatOff::PermitRefused, Situation { lease: Lease::Refused, ..good }),
            (HeatOff::LeaseOver, Situation { lease: held(0, 0), ..good }),
            (HeatOff::AtCeiling, Situation { probes: &[Condition::Says(CEILING)], lease: held(1, 0), ..good }),
            (HeatOff::Nothing, Situation { lease: held(1, 0), ..good }),
        ];
        for (why, situation) in &worse {
            assert_eq!(decide(situation, &bounds), Err(*why), "{situation:?}");
        }
        assert!(HeatOff::ALL.iter().all(|why| worse.iter().any(|(said, _)| said == why)));
    }

    /// Whatever gets worse, heat does not begin by it.
    #[test]
    fn nothing_that_gets_worse_ever_begins_heat() {
        let mut tried = 0;
        each(|situation, bounds| {
            // The neighbours are enough: worse than worse is worse.
            let worse = [
                Situation { memory: false, ..*situation },
                Situation { latch: Some(Latch::Limit), ..*situation },
                Situation { beat_ms: situation.beat_ms.saturating_add(1), ..*situation },
                Situation { supply_low: true, ..*situation },
                Situation { lease: Lease::Refused, ..*situation },
                Situation { probes: &[], ..*situation },
            ];
            let before = decide(situation, bounds).unwrap_or(0);
            for worse in worse {
                tried += u64::from(before == 0);
                assert!(decide(&worse, bounds).unwrap_or(0) <= before, "{situation:?} {worse:?}");
            }
        });
        assert!(tried > 0);
    }
}
