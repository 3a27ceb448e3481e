//! When to read: every so often, each time a little early or late, so that many nodes of one image do not all speak at
//! once after a power cut. The moments do not drift.
use crate::Millis;

/// The moments at which a node reads.
#[derive(Clone, Copy, Debug)]
pub struct Schedule {
    every_ms: u32,
    turn: u64,
    seed: u32,
}

/// The jitter is up to one in so many of the interval, either way.
const JITTER: u32 = 10;

impl Schedule {
    /// Every `every_ms`, at least 1 s; `seed` is the node's own, for example its name's hash.
    #[must_use]
    pub fn new(every_ms: u32, seed: u32) -> Self {
        Self { every_ms: every_ms.max(1000), turn: 0, seed }
    }

    /// The next moment after `now`. Those that were missed are left out.
    pub fn next(&mut self, now: Millis) -> Millis {
        self.turn = self.turn.max(now / Millis::from(self.every_ms));
        loop {
            self.turn += 1;
            let at = self.moment(self.turn);
            if at > now {
                return at;
            }
        }
    }

    fn moment(&self, turn: u64) -> Millis {
        let (even, span) = (turn * Millis::from(self.every_ms), self.every_ms / JITTER);
        let jitter =
            mix(self.seed ^ turn.to_le_bytes().iter().fold(0, |sum, b| mix(sum ^ u32::from(*b)))) % (2 * span + 1);
        even - Millis::from(span) + Millis::from(jitter)
    }
}

/// Doubles from 1 s to a minute, with jitter: how long to wait before the next attempt to connect.
#[derive(Clone, Copy, Debug)]
pub struct Backoff {
    attempts: u32,
    seed: u32,
}

impl Backoff {
    /// Begins with 1 s.
    #[must_use]
    pub const fn new(seed: u32) -> Self {
        Self { attempts: 0, seed }
    }

    /// How long to wait now, ms: 0.5 to 1 of what it grew to.
    pub fn next_ms(&mut self) -> u32 {
        let most = 1000_u32.checked_shl(self.attempts).unwrap_or(u32::MAX).min(60_000);
        self.attempts = (self.attempts + 1).min(6);
        self.seed = mix(self.seed.wrapping_add(1));
        most / 2 + self.seed % (most / 2 + 1)
    }

    /// To be called once the broker has taken the node in, not when its address answered: what stands between may take
    /// every connection and drop it.
    pub const fn reset(&mut self) {
        self.attempts = 0;
    }
}

/// A 32-bit hash of a name (FNV-1a, RFC 9923): for seeds.
#[must_use]
pub fn seed_of(name: &str) -> u32 {
    name.bytes().fold(0x811c_9dc5, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193))
}

/// One step of a xorshift generator (shifts 13, 17, 5), kept away from its fixed point 0.
const fn mix(state: u32) -> u32 {
    let mut x = state ^ 0x9e37_79b9;
    x ^= x << 13;
    x ^= x >> 17;
    x ^ x << 5
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::collections::BTreeSet;

    proptest::proptest! {
        #[test]
        fn it_neither_drifts_nor_leaves_a_turn_out(seed: u32, every_ms in 1000_u32..3_600_000, start in 0_u64..1 << 40) {
            let mut schedule = Schedule::new(every_ms, seed);
            let mut now = start;
            for turn in 0..50_u64 {
                let at = schedule.next(now);
                let even = Millis::from(every_ms);
                proptest::prop_assert!(at > now && (turn == 0 || at - now <= even + even / 5 + 1));
                let off = (at + even / 2) % even;
                proptest::prop_assert!(off.abs_diff(even / 2) <= even / 10, "{at} is off its turn");
                now = at;
            }
            proptest::prop_assert!(now - start >= 48 * u64::from(every_ms));
        }

        #[test]
        fn attempts_grow_rarer_up_to_a_minute_and_quick_again(seed: u32) {
            let mut backoff = Backoff::new(seed);
            for most in [1000, 2000, 4000, 8000, 16_000, 32_000, 60_000, 60_000] {
                proptest::prop_assert!((most / 2..=most).contains(&backoff.next_ms()));
            }
            backoff.reset();
            proptest::prop_assert!(backoff.next_ms() <= 1000);
        }
    }

    #[test]
    fn nodes_of_different_names_do_not_speak_at_once() {
        let firsts: BTreeSet<_> =
            (0..50).map(|i| Schedule::new(60_000, seed_of(&std::format!("node-{i}"))).next(0)).collect();
        assert!(firsts.len() > 45, "{} moments of 50 nodes", firsts.len());
        // RFC 9923's FNV-1a: of nothing, and of "a".
        assert_eq!((seed_of(""), seed_of("a")), (0x811c_9dc5, 0xe40c_292c));
    }
}
