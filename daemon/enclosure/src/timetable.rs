//! A timer's habit: it switches at the same times each day, whatever the warmth.
//!
//! A pad under a timer that does not report has no warmth at which it lets go or comes on. But where one day switched as the
//! day before, a pad that gives no heat at an hour at which it always did, or heats at one at which it never did, is odd.
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;

const DAY: Span = Span::from_h(24);
const TWO_DAYS: Span = Span::from_h(48);
/// Two switches of two days are the same one within so much: where nobody reports a switch is seen some minutes late.
const SAME: Span = Span::from_min(20);
/// It is late by more than the hour by which clocks are changed twice a year.
const LATE: Span = Span::from_min(75);
/// A timer switches no more often within a day; what does is a thermostat.
const OF_A_DAY: usize = 8;
/// Switches remembered: of three days and some.
const SWITCHES: usize = 32;
/// So long it may go unseen (an hour of sun) if it does the same after as before.
const UNSEEN: Span = Span::from_h(2);

/// What a pad did of late.
#[derive(Clone, Debug, Default)]
pub struct Timetable {
    /// Since when it has been seen without a break.
    seen_from: Option<Timestamp>,
    last: Option<(Timestamp, bool)>,
    /// When it was switched, and to what.
    switches: VecDeque<(Timestamp, bool)>,
}

impl Timetable {
    /// The pad is `on`, or off, as of `at`.
    pub fn note(&mut self, at: Timestamp, on: bool) {
        if let Some((last, was)) = self.last.replace((at, on)) {
            let gap = at.since(last);
            if gap > UNSEEN || (was != on && gap > SAME) {
                self.forget();
                self.last = Some((at, on));
            } else if was != on {
                if self.switches.len() == SWITCHES {
                    self.switches.pop_front();
                }
                self.switches.push_back((at, on));
            }
        }
        self.seen_from = self.seen_from.or(Some(at));
    }

    /// What it did so far is no habit, or not its own.
    pub fn forget(&mut self) {
        *self = Self::default();
    }

    /// Since when it has been `on`, or off, where it long has and was on neither of two days at this time.
    pub fn strays(&self, at: Timestamp, on: bool) -> Option<Timestamp> {
        self.last.filter(|(last, is_on)| *is_on == on && at.since(*last) < SAME)?;
        let since = self.switches.back().map(|(t, _)| *t)?;
        let is_known = self.seen_from.is_some_and(|from| since.since(from) >= TWO_DAYS);
        if !is_known || at.since(since) < LATE || self.switches.len() == SWITCHES {
            return None;
        }
        // On two days it was switched over at the same time, at least so long before.
        let (a, b) = (self.switched_to(!on, at.minus(DAY))?, self.switched_to(!on, at.minus(TWO_DAYS))?);
        (is_same(a, b) && self.is_regular(since)).then_some(since)
    }

    /// Since when it was `on`, or off, at `at`, if it had been for long.
    fn switched_to(&self, on: bool, at: Timestamp) -> Option<Timestamp> {
        let (t, was) = self.switches.iter().copied().rfind(|(t, _)| *t <= at)?;
        (was == on && at.since(t) >= LATE).then_some(t)
    }

    fn switched(&self, after: Timestamp, until: Timestamp) -> impl Iterator<Item = (Timestamp, bool)> {
        self.switches.iter().copied().filter(move |(t, _)| *t > after && *t <= until)
    }

    /// Whether the day up to its last switch, `since`, was as the day before.
    fn is_regular(&self, since: Timestamp) -> bool {
        // Switches at the very ends may lie within or without.
        let of = |end: Timestamp| self.switched(end.minus(DAY).plus(SAME), end.minus(SAME));
        let (day, before) = (|| of(since), || of(since.minus(DAY)));
        let count = day().count();
        let same = |((t, on), (then, was)): ((Timestamp, bool), (Timestamp, bool))| on == was && is_same(t, then);
        (1..=OF_A_DAY).contains(&count) && count == before().count() && day().zip(before()).all(same)
    }
}

/// Whether two switches are the same of two days.
fn is_same(later: Timestamp, earlier: Timestamp) -> bool {
    later.minus(DAY).since(earlier).ms().abs() <= SAME.ms()
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);

    /// What is told, and at which minutes, of a pad that is on where `is_on` says, seen each minute for so many days.
    fn told(days: i64, is_on: impl Fn(i64) -> Option<bool>) -> Vec<(i64, bool)> {
        let mut table = Timetable::default();
        let mut out = Vec::new();
        for minute in 0..days * 1440 {
            let at = BEGIN.plus(Span::from_min(minute));
            if let Some(on) = is_on(minute) {
                table.note(at, on);
            }
            out.extend([true, false].into_iter().filter(|on| table.strays(at, *on).is_some()).map(|on| (minute, on)));
        }
        out
    }

    /// From six to eleven and from one to ten at night, with some minutes of a quick clock's or an eye's own.
    fn timer(minute: i64) -> bool {
        let off_min = (minute / 1440 * 7919) % 9;
        let of_day = minute % 1440 - off_min;
        (360..660).contains(&of_day) || (780..1320).contains(&of_day)
    }

    #[test]
    fn a_timer_that_keeps_its_times_is_never_odd() {
        assert_eq!(told(14, |m| Some(timer(m))), []);
    }

    #[test]
    fn a_pad_that_dies_is_missed_at_its_hour() {
        // It dies at eight in the evening of the third day.
        let died = 2 * 1440 + 1200;
        let told = told(6, |m| Some(m < died && timer(m)));
        let (first, on) = told[0];
        // Off early is seen at once, for it was on then on two days.
        assert!(!on && (died + 75..died + 100).contains(&first), "{}", first - died);
        assert!(told.iter().all(|(_, on)| !on));
    }

    /// An hour before it would have gone off anyway, which alone is no sign: it is missed when it should come on again.
    #[test]
    fn a_pad_that_dies_late_in_its_hours_is_missed_at_the_next() {
        let died = 3 * 1440 + 600;
        let (first, on) = told(6, |m| Some(m < died && timer(m)))[0];
        let comes_on = 3 * 1440 + 780;
        assert!(!on && (comes_on + 75..comes_on + 100).contains(&first), "{}", first - comes_on);
        // One stretch of hours a day is a timer's, too.
        let once = |m: i64| (480..1200).contains(&(m % 1440));
        let (first, on) = told(6, |m| Some(m < died && once(m)))[0];
        assert!(!on && first == died + 75, "{}", first - died);
    }

    #[test]
    fn a_pad_that_sticks_is_told_out_of_its_hours() {
        let stuck = 3 * 1440 + 1000;
        let told = told(6, |m| Some(m >= stuck || timer(m)));
        let (first, on) = told[0];
        let lets_go = 3 * 1440 + 1320;
        assert!(on && (lets_go + 75..lets_go + 100).contains(&first), "{}", first - lets_go);
    }

    #[test]
    fn clocks_that_are_changed_make_nothing_odd() {
        for hour in [-60, 60] {
            let changed = 4 * 1440 + 120;
            assert_eq!(told(10, |m| Some(timer(if m < changed { m } else { m + hour }))), [], "{hour}");
        }
    }

    /// A thermostat of a weak pad: on through cool nights, off on warm days, never quite at the same time.
    #[test]
    fn what_follows_the_room_is_no_timer() {
        let warm_night = |m: i64| (4..5).contains(&(m / 1440));
        let edge = |m: i64| (m / 1440 * 37) % 90;
        let is_on = |m: i64| !warm_night(m) && !(540 + edge(m)..1080 + edge(m)).contains(&(m % 1440));
        assert_eq!(told(8, |m| Some(is_on(m))), []);
    }

    #[test]
    fn what_was_not_seen_for_hours_is_no_habit() {
        // Unseen from two to five on the third day.
        let seen = |m: i64| (!(2 * 1440 + 840..2 * 1440 + 1020).contains(&m)).then_some(());
        let told = told(5, |m| seen(m).map(|()| m < 3 * 1440 + 100 && timer(m)));
        assert_eq!(told, [], "two whole days were never known");
        // An hour of sun is no such thing.
        let sun = |m: i64| (!(2 * 1440 + 840..2 * 1440 + 900).contains(&m)).then_some(());
        let died = 3 * 1440 + 100;
        assert!(!self::told(5, |m| sun(m).map(|()| m < died && timer(m))).is_empty());
    }
}
