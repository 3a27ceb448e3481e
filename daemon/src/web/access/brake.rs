//! Guessing takes time: after some wrong passwords each further one from the same place has to wait, longer each time.
use enclosure::Span;
use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv6Addr};

/// Wrong ones that cost nothing: people mistype.
const FREE: u32 = 4;
/// Longest wait.
const WAIT_MAX: Span = Span::from_min(15);
/// A place that tried nothing for so long begins anew.
const FORGOTTEN: Span = Span::from_h(2);
/// Places remembered; the one that tried longest ago makes room.
const PLACES_MAX: usize = 512;

/// Who tried how often, and when last, by the monotonic clock.
#[derive(Debug, Default)]
pub(super) struct Brake(BTreeMap<IpAddr, (u32, Span)>);

impl Brake {
    /// Counts a try from `peer`, held for wrong until [`Self::forget`].
    ///
    /// # Errors
    /// How long it has to wait, if it does; then nothing is counted.
    pub(super) fn try_one(&mut self, peer: IpAddr, now: Span) -> Result<(), Span> {
        self.0.retain(|_, (_, last)| now.ms() - last.ms() < FORGOTTEN.ms());
        let place = place(peer);
        let (tries, last) = self.0.get(&place).copied().unwrap_or((0, now));
        let left = last.ms() + wait(tries).ms() - now.ms();
        if left > 0 {
            return Err(Span::from_ms(left));
        }
        if self.0.len() >= PLACES_MAX && !self.0.contains_key(&place) {
            let oldest = self.0.iter().min_by_key(|(_, (_, last))| last.ms()).map(|(place, _)| *place);
            oldest.and_then(|place| self.0.remove(&place));
        }
        self.0.insert(place, (tries.saturating_add(1), now));
        Ok(())
    }

    /// The password was right.
    pub(super) fn forget(&mut self, peer: IpAddr) {
        self.0.remove(&place(peer));
    }
}

/// After so many wrong ones: 1 s, doubled with each.
fn wait(tries: u32) -> Span {
    match tries.checked_sub(FREE) {
        None | Some(0) => Span::ZERO,
        Some(over) => Span::from_s(1_i64 << (over - 1).min(20)).min(WAIT_MAX),
    }
}

/// One household: an IPv6 host has a whole /64 to itself (RFC 4291, section 2.5.4).
fn place(peer: IpAddr) -> IpAddr {
    match peer.to_canonical() {
        IpAddr::V6(v6) => Ipv6Addr::from_bits(v6.to_bits() & !u128::from(u64::MAX)).into(),
        v4 => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn guessing_soon_takes_a_quarter_of_an_hour_each() {
        let mut brake = Brake::default();
        let mut now = Span::ZERO;
        let mut tried = 0;
        while now < Span::from_h(24) {
            match brake.try_one(ip("192.0.2.1"), now) {
                Ok(()) => tried += 1,
                Err(left) => now = Span::from_ms(now.ms() + left.ms()),
            }
        }
        assert!((90..120).contains(&tried), "{tried} tries in a day");
        // Somebody elsewhere is not held up by it.
        assert_eq!(brake.try_one(ip("192.0.2.2"), now), Ok(()));
    }

    #[test]
    fn a_right_one_and_a_long_pause_begin_anew() {
        let mut brake = Brake::default();
        for _ in 0..=FREE {
            brake.try_one(ip("192.0.2.1"), Span::ZERO).unwrap();
        }
        assert!(brake.try_one(ip("192.0.2.1"), Span::ZERO).is_err());
        assert_eq!(brake.clone_with(FORGOTTEN), Ok(()));
        brake.forget(ip("192.0.2.1"));
        assert_eq!(brake.try_one(ip("192.0.2.1"), Span::ZERO), Ok(()));
    }

    impl Brake {
        /// A try from the first place later, on a copy.
        fn clone_with(&self, later: Span) -> Result<(), Span> {
            Self(self.0.clone()).try_one(ip("192.0.2.1"), later)
        }
    }

    #[test]
    fn a_whole_prefix_is_one_place_and_memory_is_bounded() {
        let mut brake = Brake::default();
        for i in 0..=FREE {
            brake.try_one(ip(&format!("2001:db8::{i}")), Span::ZERO).unwrap();
        }
        assert!(brake.try_one(ip("2001:db8::ffff"), Span::ZERO).is_err());
        for i in 0..2000_u32 {
            brake.try_one(IpAddr::from(i.to_be_bytes()), Span::from_ms(i64::from(i))).unwrap();
        }
        assert!(brake.0.len() <= PLACES_MAX);
    }
}
