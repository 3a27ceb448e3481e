//! What a pad under a thermostat usually does: how warm its place ever was while it heated, and how cool while it did
//! not.
//!
//! A thermostat whose own sensor fell off heats as told, and one that does not report tells nothing: both show only in
//! that the pad heats where it never did, past the warmth at which it always let go.
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;

/// Hours remembered: two days.
const HOURS: usize = 48;
/// Hours that must be known before habits mean anything: a thermostat has a day's programme.
const HOURS_LEAST: usize = 20;
/// And hours in which it heated, or did not.
const OF_A_KIND_LEAST: usize = 5;
/// So many times it must have let go within the last day: a timer or a dimmer has no habit of warmth.
const LET_GO_LEAST: u32 = 6;
/// The last hours are no habit yet.
const NOT_YET: i64 = 3;
/// Past its habit for so long.
const HEATS_FOR: Span = Span::from_min(5);
/// The same of a pad that does not heat: a lid that is lifted cools the nest too.
const IDLES_FOR: Span = Span::from_min(20);
/// A pad that heats for so long without pause is never off: a dimmer's.
const STEADY: Span = Span::from_h(24);
/// A pad is on above, and off below this share of its swing; between it is as it was.
const ON: f64 = 0.65;
/// See [`ON`].
const OFF: f64 = 0.35;
/// A swing of less is none: a dimmer's noise.
const SWING_LEAST: f64 = 0.4;
/// What the lowest and the highest drive forget with each look, and take on.
const SWING: (f64, f64) = (1.0 / 1440.0, 0.2);
/// Harder than ever is by this share of full drive.
const HARDER: f64 = 0.25;
/// A margin is at least so many deviations of what the hours showed.
const MARGIN_SIGMA: f64 = 2.0;

/// What one hour showed.
#[derive(Clone, Copy, Debug, Default)]
struct Hour {
    /// Since 1970.
    number: i64,
    /// Warmest over the pad while it heated, °C.
    heats_c: Option<f64>,
    /// Coolest while it did not, °C.
    idles_c: Option<f64>,
    let_go: u32,
    /// Highest drive, and the warmest over the pad whatever it did, °C.
    most: Option<(f64, f64)>,
}

/// The habits of one pad.
#[derive(Clone, Debug, Default)]
pub struct Habits {
    hours: VecDeque<Hour>,
    /// Whether it is on.
    now: Option<bool>,
    /// Since when.
    turned: Option<Timestamp>,
    /// Whether it heated for a day without pause before.
    was_steady: bool,
    /// What it was driven at last.
    drive: f64,
    /// Lowest and highest drive of about a day.
    swing: Option<(f64, f64)>,
    /// Whether it let go since somebody began to watch: a first warm-up is no habit.
    cycling: bool,
    /// Since when it has been past them: heating, not heating.
    past: (Option<Timestamp>, Option<Timestamp>),
}

/// How far a pad is beyond its habits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beyond {
    /// Since when it has been past them.
    pub since: Timestamp,
    /// How warm its place is now, °C.
    pub now_c: f64,
    /// The warmest at which it ever heated (or the coolest at which it did not), °C; none where it heated without pause.
    pub extreme_c: Option<f64>,
}

/// The most extreme of what the hours showed, and their spread.
#[derive(Clone, Copy, Debug)]
struct Known {
    extreme_c: f64,
    sd_k: f64,
}

impl Habits {
    /// The pad is driven at `drive`, and its place `over_pad_c` warm, as of `at`; what it does is a habit while
    /// `is_plausible`.
    pub fn note(&mut self, at: Timestamp, drive: f64, over_pad_c: f64, is_plausible: bool) {
        let on = self.is_on(drive);
        let number = at.unix_ms().div_euclid(3_600_000);
        if self.hours.back().is_none_or(|h| h.number < number) {
            if self.hours.len() == HOURS {
                self.hours.pop_front();
            }
            self.hours.push_back(Hour { number, ..Hour::default() });
        }
        let began = *self.turned.get_or_insert(at);
        let turned = self.now.replace(on).filter(|was| *was != on);
        if let Some(was) = turned {
            self.was_steady = was && at.since(began) >= STEADY;
            self.turned = Some(at);
        }
        self.drive = drive;
        if let Some(hour) = self.hours.back_mut().filter(|_| is_plausible) {
            let (harder, warmer_c) = hour.most.unwrap_or((drive, over_pad_c));
            hour.most = Some((harder.max(drive), warmer_c.max(over_pad_c)));
        }
        self.cycling |= turned == Some(true);
        let Some(hour) = self.hours.back_mut().filter(|_| self.cycling) else { return };
        hour.let_go += u32::from(turned == Some(true));
        // A pad that has just let go was right to heat up to here, whatever was thought of it.
        let heated = turned == Some(true) || (on && is_plausible);
        let idled = turned == Some(false) || (!on && is_plausible);
        if heated {
            hour.heats_c = Some(hour.heats_c.map_or(over_pad_c, |c| c.max(over_pad_c)));
        }
        if idled {
            hour.idles_c = Some(hour.idles_c.map_or(over_pad_c, |c| c.min(over_pad_c)));
        }
    }

    /// Whether the pad is on, measured by its own swing: what full drive brings is known only to some tenths where nobody
    /// reports.
    fn is_on(&mut self, drive: f64) -> bool {
        let (low, high) = self.swing.unwrap_or((drive, drive));
        let towards = |from: f64, outward: bool| from + (drive - from) * if outward { SWING.1 } else { SWING.0 };
        let (low, high) = (towards(low, drive < low), towards(high, drive > high));
        self.swing = Some((low, high));
        let was = self.now.unwrap_or(drive > 0.5);
        if high - low < SWING_LEAST {
            return was;
        }
        drive > low + (high - low) * if was { OFF } else { ON }
    }

    /// Forgets the spell under way: nobody watched.
    pub fn interrupt(&mut self) {
        self.now = None;
        self.turned = None;
        self.was_steady = false;
        self.cycling = false;
        self.past = (None, None);
    }

    /// Whether the pad heats past where it ever did, by `margin_k`.
    pub fn stays_on(&mut self, at: Timestamp, over_pad_c: f64, margin_k: f64) -> Option<Beyond> {
        let known = self.known(at, |h| h.heats_c, f64::max).filter(|_| self.now == Some(true));
        let known = known.or_else(|| self.harder(at));
        let past = known.filter(|k| over_pad_c > k.extreme_c + margin_k.max(MARGIN_SIGMA * k.sd_k));
        lasting(&mut self.past.0, at, past.map(|k| k.extreme_c), over_pad_c, HEATS_FOR)
    }

    /// Whether it does not heat past where it always came back, by `margin_k`.
    pub fn stays_off(&mut self, at: Timestamp, over_pad_c: f64, margin_k: f64) -> Option<Beyond> {
        if self.now == Some(false) && self.was_steady {
            let beyond = |since| Beyond { since, now_c: over_pad_c, extreme_c: None };
            return self.turned.filter(|since| at.since(*since) >= IDLES_FOR).map(beyond);
        }
        let known = self.known(at, |h| h.idles_c, f64::min).filter(|_| self.now == Some(false));
        let past = known.filter(|k| over_pad_c < k.extreme_c - margin_k.max(MARGIN_SIGMA * k.sd_k));
        lasting(&mut self.past.1, at, past.map(|k| k.extreme_c), over_pad_c, IDLES_FOR)
    }

    /// A dimmer's pad never lets go, but it has a habit of power: how warm it ever was, while it is driven harder than
    /// ever.
    fn harder(&self, at: Timestamp) -> Option<Known> {
        let now = at.unix_ms().div_euclid(3_600_000);
        let past = || self.hours.iter().filter(|h| now - h.number > NOT_YET).filter_map(|h| h.most);
        let (hardest, extreme_c) = past().reduce(|a, b| (a.0.max(b.0), a.1.max(b.1)))?;
        let known = past().count() >= HOURS_LEAST && self.drive > hardest + HARDER;
        known.then_some(Known { extreme_c, sd_k: 0.0 })
    }

    fn known(&self, at: Timestamp, of: fn(&Hour) -> Option<f64>, extreme: fn(f64, f64) -> f64) -> Option<Known> {
        let now = at.unix_ms().div_euclid(3_600_000);
        let lately = self.hours.iter().filter(|h| now - h.number <= 24);
        if lately.map(|h| h.let_go).sum::<u32>() < LET_GO_LEAST {
            return None;
        }
        let past = || self.hours.iter().filter(|h| now - h.number > NOT_YET);
        let known = || past().filter_map(of);
        let (count, sum) = known().fold((0_usize, 0.0), |(n, s), c| (n + 1, s + c));
        if past().count() < HOURS_LEAST || count < OF_A_KIND_LEAST {
            return None;
        }
        let mean = sum / count as f64;
        let variance = known().map(|c| (c - mean) * (c - mean)).sum::<f64>() / count as f64;
        Some(Known { extreme_c: known().reduce(extreme)?, sd_k: libm::sqrt(variance) })
    }
}

/// What has lasted for long enough since `began`.
fn lasting(
    began: &mut Option<Timestamp>,
    at: Timestamp,
    past_c: Option<f64>,
    now_c: f64,
    least: Span,
) -> Option<Beyond> {
    let Some(extreme_c) = past_c else {
        *began = None;
        return None;
    };
    let since = *began.get_or_insert(at);
    (at.since(since) >= least).then_some(Beyond { since, now_c, extreme_c: Some(extreme_c) })
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);

    /// One pad's days, minute by minute.
    struct Days {
        habits: Habits,
        minute: i64,
        on: bool,
        c: f64,
    }

    impl Days {
        fn new() -> Self {
            Self { habits: Habits::default(), minute: 0, on: false, c: 22.0 }
        }

        fn at(&self) -> Timestamp {
            BEGIN.plus(Span::from_min(self.minute))
        }

        /// One minute in which the place warms or cools by so much; what the habits say of it.
        fn minute(&mut self, on: bool, change_k: f64) -> (Option<Beyond>, Option<Beyond>) {
            self.minute += 1;
            self.c += change_k;
            let at = self.at();
            let said = (self.habits.stays_on(at, self.c, 0.5), self.habits.stays_off(at, self.c, 0.5));
            self.on = on;
            self.habits.note(at, f64::from(u8::from(on)), self.c, said == (None, None));
            said
        }

        /// Under a thermostat that lets go at 29 and comes on at 28 °C.
        fn regulated(&mut self, minutes: i64) {
            for _ in 0..minutes {
                let on = if self.on { self.c < 29.0 } else { self.c < 28.0 };
                let said = self.minute(on, if on { 0.1 } else { -0.05 });
                assert_eq!(said, (None, None), "minute {} at {:.1} °C", self.minute, self.c);
            }
        }
    }

    #[test]
    fn a_pad_that_never_lets_go_is_told_past_its_warmest() {
        let mut days = Days::new();
        days.regulated(1500);
        let beyond = (0..60).find_map(|_| days.minute(true, 0.1).0).expect("told");
        assert!(beyond.extreme_c.is_some_and(|c| (29.0..29.2).contains(&c)), "{beyond:?}");
        // Half a kelvin past, for five minutes.
        assert!((29.9..30.3).contains(&days.c), "{:.1}", days.c);
        assert_eq!(days.at().since(beyond.since), HEATS_FOR);
    }

    #[test]
    fn a_pad_that_never_comes_on_is_told_past_its_coolest() {
        let mut days = Days::new();
        days.regulated(1500);
        let told = (0..60).find(|_| days.minute(false, -0.05).1.is_some()).expect("told");
        assert!(told >= 20 && days.c < 27.5, "{told} {:.1}", days.c);
    }

    #[test]
    fn nothing_is_told_before_a_day_is_known() {
        let mut days = Days::new();
        days.regulated(900);
        assert!((0..120).all(|_| days.minute(true, 0.1) == (None, None)));
    }

    #[test]
    fn a_timer_or_a_dimmer_has_no_habit_of_warmth() {
        let mut days = Days::new();
        for i in 0..4 * 1440 {
            // On from six to ten and from noon to ten at night, each day a little warmer.
            let hour = i % 1440 / 60;
            let on = (6..10).contains(&hour) || (12..22).contains(&hour);
            let change_k = (if on { 31.0 } else { 22.0 } + f64::from(i) / 1440.0 - days.c) / 60.0;
            assert_eq!(days.minute(on, change_k), (None, None), "minute {i}");
        }
        let mut days = Days::new();
        assert!((0..4 * 1440).all(|_| days.minute(true, 0.001) == (None, None)));
    }

    #[test]
    fn a_dimmers_pad_that_gives_nothing_is_told() {
        let mut days = Days::new();
        assert!((0..1500).all(|_| days.minute(true, 0.001) == (None, None)));
        let told = (0..60).find(|_| days.minute(false, -0.02).1.is_some_and(|b| b.extreme_c.is_none()));
        assert!(told.is_some_and(|minutes| (20..25).contains(&minutes)), "{told:?}");
        days.minute(true, 0.1);
        assert_eq!(days.minute(true, 0.1), (None, None), "and well again with its heat");
    }

    #[test]
    fn a_dimmers_pad_that_takes_more_than_ever_is_told_once_it_is_warmer_than_ever() {
        let mut habits = Habits::default();
        let mut told = None;
        for i in 0..2000_i64 {
            let at = BEGIN.plus(Span::from_min(i));
            // A dimmer at 35 %, a day's swing of the room, and full power from minute 1,900 on.
            let day_c = 27.0 + libm::sin(i as f64 / 1440.0 * core::f64::consts::TAU);
            let (drive, c) = if i < 1900 { (0.35, day_c) } else { (1.0, day_c + 0.1 * (i - 1900) as f64) };
            if habits.stays_on(at, c, 0.5).is_some() {
                told.get_or_insert(i);
            }
            habits.note(at, drive, c, told.is_none());
        }
        let told = told.expect("told");
        assert!((1905..1950).contains(&told), "minute {told}");
    }

    #[test]
    fn a_dimmers_noise_is_no_switching() {
        let mut habits = Habits::default();
        for i in 0..4 * 1440_i64 {
            let drive = 0.5 + 0.15 * ((i * 7 % 11) as f64 / 5.0 - 1.0);
            let at = BEGIN.plus(Span::from_min(i));
            let warmer_c = 25.0 + i as f64 / 1440.0;
            assert!(habits.stays_on(at, warmer_c, 0.5).is_none() && habits.stays_off(at, warmer_c, 0.5).is_none());
            habits.note(at, drive, warmer_c, true);
        }
    }

    #[test]
    fn what_is_past_all_habits_is_no_new_habit() {
        let mut days = Days::new();
        days.regulated(1500);
        let told = (0..600).filter(|_| days.minute(true, if days.c < 31.0 { 0.1 } else { 0.0 }).0.is_some()).count();
        assert!(told > 560, "{told} of 600 minutes");
    }

    #[test]
    fn where_it_lets_go_at_last_becomes_one() {
        let mut days = Days::new();
        days.regulated(1500);
        // The keeper turned the thermostat up by two kelvin.
        let mut last = 0;
        for i in 0..3000 {
            let on = if days.on { days.c < 31.0 } else { days.c < 30.0 };
            if days.minute(on, if on { 0.1 } else { -0.05 }) != (None, None) {
                last = i;
            }
        }
        assert!(last > 0, "at first it is told");
        assert!(last < 300, "five hours on it is the new habit: {last}");
    }

    #[test]
    fn after_an_interruption_the_spell_begins_anew() {
        let mut days = Days::new();
        days.regulated(1500);
        days.habits.interrupt();
        assert!((0..20).all(|_| days.minute(false, -0.3) == (None, None)), "nobody watched");
    }
}
