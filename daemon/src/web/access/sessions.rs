//! Logins that hold: a bounded number, each for a bounded time. Only digests of their tokens are kept.
use super::kept::Line;
use crate::clock::Clock;
use enclosure::{Span, Timestamp};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;

/// A login ends so long after it began.
pub(super) const HOLDS: Span = Span::from_h(30 * 24);
/// A login ends after so long without use.
const IDLE: Span = Span::from_h(7 * 24);
/// Logins that hold at once; the one used longest ago makes room.
pub(super) const MOST: usize = 64;
/// That a login was used is worth writing down once in so long.
const NOTED_EVERY: Span = Span::from_h(1);

/// What stands for a token.
pub(super) type Mark = [u8; 32];

/// SHA-256 (FIPS 180-4).
pub(super) fn digest(token: &str) -> Mark {
    Sha256::digest(token.as_bytes()).into()
}

/// A moment by both clocks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    pub(super) wall: Timestamp,
    pub(super) steady: Span,
}

impl Moment {
    pub(super) fn of(clock: &dyn Clock) -> Self {
        Self { wall: clock.now(), steady: clock.monotonic() }
    }

    /// Time since `then` by the clock that says more: one that is set back keeps no login alive, and one that stood still
    /// while the machine was off neither.
    fn since(self, then: Self) -> i64 {
        self.wall.since(then.wall).ms().max(self.steady.ms().saturating_sub(then.steady.ms()))
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Login {
    born: Moment,
    used: Moment,
    /// When its use was last written down; none: it is not for the disk.
    noted: Option<Moment>,
}

/// The logins.
#[derive(Debug, Default)]
pub(super) struct Sessions(BTreeMap<Mark, Login>);

impl Sessions {
    /// Those that were written down, as of `now`; what is over by then is left out.
    pub(super) fn of(lines: &[Line], now: Moment) -> Self {
        // The steady clock began anew: it is set so far back as the wall clock says, if that says so.
        let moment = |wall: Timestamp| {
            let ago = now.wall.since(wall).ms().max(0);
            Moment { wall, steady: Span::from_ms(now.steady.ms().saturating_sub(ago)) }
        };
        let mut this = Self::default();
        for line in lines.iter().take(MOST) {
            let used = moment(line.used);
            this.0.insert(line.mark, Login { born: moment(line.born), used, noted: Some(used) });
        }
        this.tidy(now);
        this
    }

    /// Those that are for the disk.
    pub(super) fn lines(&self) -> Vec<Line> {
        let kept = self.0.iter().filter(|(_, login)| login.noted.is_some());
        kept.map(|(mark, l)| Line { mark: *mark, born: l.born.wall, used: l.used.wall }).collect()
    }

    fn tidy(&mut self, now: Moment) {
        self.0.retain(|_, l| now.since(l.born) < HOLDS.ms() && now.since(l.used) < IDLE.ms());
    }

    /// Whether a login with this digest holds, and then whether its use is worth writing down. Using it keeps it from
    /// ending for want of use.
    pub(super) fn knows(&mut self, mark: &Mark, now: Moment) -> Option<bool> {
        self.tidy(now);
        let login = self.0.get_mut(mark)?;
        login.used = now;
        let due = login.noted.is_some_and(|noted| now.since(noted) >= NOTED_EVERY.ms());
        if due {
            login.noted = Some(now);
        }
        Some(due)
    }

    /// Whether a login with this token holds.
    pub(super) fn holds(&mut self, token: &str, now: Moment) -> bool {
        self.tidy(now);
        self.0.contains_key(&digest(token))
    }

    /// Begins a login; `written`: it is to outlive a restart.
    pub(super) fn keep(&mut self, mark: Mark, now: Moment, written: bool) {
        if self.0.len() >= MOST {
            let oldest = self.0.iter().max_by_key(|(_, l)| now.since(l.used)).map(|(mark, _)| *mark);
            oldest.and_then(|mark| self.0.remove(&mark));
        }
        self.0.insert(mark, Login { born: now, used: now, noted: written.then_some(now) });
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

    /// So many hours after the first, by both clocks.
    fn h(h: i64) -> Moment {
        Moment { wall: Timestamp::from_unix_ms(Span::from_h(h).ms()), steady: Span::from_h(h) }
    }

    /// Used, where it holds.
    fn holds(s: &mut Sessions, token: &str, now: Moment) -> bool {
        let holds = s.holds(token, now);
        assert_eq!(s.knows(&digest(token), now).is_some(), holds);
        holds
    }

    #[test]
    fn a_login_ends_after_a_week_unused_and_a_month_in_all() {
        let mut s = Sessions::default();
        s.keep(digest("a"), h(0), true);
        s.keep(digest("b"), h(0), true);
        for day in (0..30).step_by(6) {
            assert!(holds(&mut s, "a", h(day * 24)), "day {day}");
        }
        assert!(!holds(&mut s, "b", h(24 * 24)));
        assert!(!holds(&mut s, "a", h(30 * 24)));
        assert!(!holds(&mut s, "never", h(0)));
    }

    #[test]
    fn there_is_room_for_so_many_and_the_one_unused_longest_goes() {
        let mut s = Sessions::default();
        for i in 0..=MOST {
            s.keep(digest(&i.to_string()), Moment { steady: Span::from_s(i as i64), ..h(0) }, true);
        }
        assert_eq!(s.0.len(), MOST);
        assert!(!holds(&mut s, "0", h(1)) && holds(&mut s, "1", h(1)));
        s.end("1");
        assert!(!holds(&mut s, "1", h(1)));
        s.clear();
        assert!(!holds(&mut s, "2", h(1)));
    }

    /// Whichever clock says more counts, also over a restart, at which the steady one begins anew.
    #[test]
    fn neither_a_clock_set_back_nor_a_restart_makes_a_login_last_longer() {
        let mut s = Sessions::default();
        s.keep(digest("a"), h(0), true);
        assert!(holds(&mut s, "a", h(5 * 24)));
        let back = |days: i64| Moment { wall: h(-100 * 24).wall, ..h(days * 24) };
        assert!(holds(&mut s, "a", back(11)));
        assert!(!holds(&mut s, "a", back(18)), "a week unused by the steady clock");

        let mut s = Sessions::default();
        s.keep(digest("a"), h(0), true);
        let again = |days: i64| Moment { steady: Span::ZERO, ..h(days * 24) };
        assert_eq!(Sessions::of(&s.lines(), again(6)).0.len(), 1);
        assert_eq!(Sessions::of(&s.lines(), again(7)).0.len(), 0);
        let mut days = 0;
        while days < 40 {
            let mut woken = Sessions::of(&s.lines(), again(days));
            if !holds(&mut woken, "a", again(days)) {
                break;
            }
            s = woken;
            days += 3;
        }
        assert_eq!(days, 30, "used every third day, over as many restarts");
        // Started with the clock of 1970, it ends a month later at the latest.
        let mut early = Sessions::of(&s.lines(), Moment { wall: h(-9_999).wall, steady: Span::ZERO });
        assert!(holds(&mut early, "a", Moment { wall: h(-9_999).wall, steady: Span::from_h(24) }));
        assert!(!holds(&mut early, "a", Moment { wall: h(-9_999).wall, steady: HOLDS }));
    }

    #[test]
    fn its_use_is_worth_a_line_once_an_hour_and_what_is_not_for_the_disk_never() {
        let mut s = Sessions::default();
        s.keep(digest("a"), h(0), true);
        s.keep(digest("b"), h(0), false);
        let minute = |min: i64| Moment { steady: Span::from_min(min), ..h(0) };
        let due = (0..180).filter(|min| s.knows(&digest("a"), minute(*min)) == Some(true)).count();
        assert_eq!(due, 2);
        assert_eq!(s.knows(&digest("b"), minute(179)), Some(false));
        assert_eq!(s.lines().len(), 1);
    }
}
