//! Logins that hold: a bounded number, each for a bounded time. Only digests of their tokens are kept.
use enclosure::Span;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;

/// A login ends so long after it began.
pub(super) const HOLDS: Span = Span::from_h(30 * 24);
/// A login ends after so long without use.
const IDLE: Span = Span::from_h(7 * 24);
/// Logins that hold at once; the one used longest ago makes room.
const MOST: usize = 64;

/// What stands for a token.
pub(super) type Mark = [u8; 32];

/// SHA-256 (FIPS 180-4).
pub(super) fn digest(token: &str) -> Mark {
    Sha256::digest(token.as_bytes()).into()
}

/// Moments are the monotonic clock's: a set wall clock ends no login and keeps none alive.
#[derive(Debug, Default)]
pub(super) struct Sessions(BTreeMap<Mark, (Span, Span)>);

impl Sessions {
    /// Whether a login with this token holds; using it keeps it from ending for want of use.
    pub(super) fn holds(&mut self, token: &str, now: Span) -> bool {
        self.knows(&digest(token), now)
    }

    /// The same by the token's digest.
    pub(super) fn knows(&mut self, mark: &Mark, now: Span) -> bool {
        self.0.retain(|_, (born, used)| now.ms() - born.ms() < HOLDS.ms() && now.ms() - used.ms() < IDLE.ms());
        self.0.get_mut(mark).map(|(_, used)| *used = now).is_some()
    }

    /// Begins a login.
    pub(super) fn keep(&mut self, mark: Mark, now: Span) {
        if self.0.len() >= MOST {
            let oldest = self.0.iter().min_by_key(|(_, (_, used))| used.ms()).map(|(mark, _)| *mark);
            oldest.and_then(|mark| self.0.remove(&mark));
        }
        self.0.insert(mark, (now, now));
    }

    /// Ends one.
    pub(super) fn end(&mut self, token: &str) {
        self.0.remove(&digest(token));
    }

    /// Ends all.
    pub(super) fn clear(&mut self) {
        self.0.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn h(h: i64) -> Span {
        Span::from_h(h)
    }

    #[test]
    fn a_login_ends_after_a_week_unused_and_a_month_in_all() {
        let mut s = Sessions::default();
        s.keep(digest("a"), h(0));
        s.keep(digest("b"), h(0));
        for day in (0..30).step_by(6) {
            assert!(s.holds("a", h(day * 24)), "day {day}");
        }
        assert!(!s.holds("b", h(24 * 24)));
        assert!(!s.holds("a", h(30 * 24)));
        assert!(!s.holds("never", h(0)));
    }

    #[test]
    fn there_is_room_for_so_many_and_the_one_unused_longest_goes() {
        let mut s = Sessions::default();
        for i in 0..=MOST {
            s.keep(digest(&i.to_string()), Span::from_s(i as i64));
        }
        assert_eq!(s.0.len(), MOST);
        assert!(!s.holds("0", h(1)) && s.holds("1", h(1)));
        s.end("1");
        assert!(!s.holds("1", h(1)));
        s.clear();
        assert!(!s.holds("2", h(1)));
    }
}
