//! When a message is due: repeats of danger, waits between attempts, quiet hours. Pure: times are arguments.
use crate::shelf_file::QuietHours;
use enclosure::{Alarm, Priority, Span, Timestamp};
use jiff::tz::TimeZone;

/// Danger is repeated this often at first ...
pub(super) const REPEAT_FIRST: Span = Span::from_min(2);
/// ... until so long after the first message ...
pub(super) const REPEAT_FIRST_UNTIL: Span = Span::from_min(20);
/// ... and this often from then on, while it is true and nobody answers.
pub(super) const REPEAT_LATER: Span = Span::from_min(10);
/// First wait after an attempt that failed; doubled each time.
const BACK_OFF_FIRST: Span = Span::from_s(2);
/// Longest wait while a danger is to be told.
const BACK_OFF_DANGER_MAX: Span = Span::from_s(30);
/// Longest wait else.
const BACK_OFF_MAX: Span = Span::from_min(5);

/// How long after the first message the next repeat is due, `passed` after that first message.
pub(super) fn next_repeat(passed: Span) -> Span {
    let (every, from) =
        if passed < REPEAT_FIRST_UNTIL { (REPEAT_FIRST.ms(), 0) } else { (REPEAT_LATER.ms(), REPEAT_FIRST_UNTIL.ms()) };
    let rounds = (passed.ms() - from).max(0) / every + 1;
    Span::from_ms(from + rounds * every)
}

/// How long to wait after `failures` failed attempts in a row.
pub(super) fn back_off(failures: u32, most_urgent: Priority) -> Span {
    let longest = if most_urgent == Priority::Danger { BACK_OFF_DANGER_MAX } else { BACK_OFF_MAX };
    let doubled = BACK_OFF_FIRST.ms() << failures.saturating_sub(1).min(20);
    Span::from_ms(doubled).min(longest)
}

/// Hours of rest with their time zone at hand.
#[derive(Clone, Debug)]
pub(super) struct Quiet {
    from_min: u16,
    to_min: u16,
    zone: TimeZone,
}

impl Quiet {
    /// `None` where the machine no longer knows the time zone: then nothing waits.
    pub(super) fn new(hours: &QuietHours) -> Option<Self> {
        let zone = TimeZone::get(&hours.time_zone).ok()?;
        Some(Self { from_min: hours.from_min, to_min: hours.to_min, zone })
    }

    /// Whether `at` lies in them: `from` counts, `to` does not.
    pub(super) fn holds(&self, at: Timestamp) -> bool {
        let Ok(at) = jiff::Timestamp::from_millisecond(at.unix_ms()) else { return false };
        let time = at.to_zoned_datetime(self.zone.clone()).time();
        let minute = u16::from(time.hour().unsigned_abs()) * 60 + u16::from(time.minute().unsigned_abs());
        if self.from_min <= self.to_min {
            (self.from_min..self.to_min).contains(&minute)
        } else {
            minute >= self.from_min || minute < self.to_min
        }
    }
}

/// Whether an alarm does no harm by morning.
///
/// A cold brood place and a dead mat may wait only where it is known that the brood place stays within 6 K of its
/// band until then. Nothing tells that yet, so they wake.
pub(super) fn may_wait(alarm: Alarm) -> bool {
    match alarm {
        Alarm::ForecastCold
        | Alarm::HumidityLow
        | Alarm::HumidityHigh
        | Alarm::Condensation
        | Alarm::WaterLow
        | Alarm::GradientFlat
        | Alarm::ProbeSilent => true,
        _ => alarm.priority() == Priority::Advice,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn danger_is_repeated_every_2_minutes_to_20_and_then_every_10() {
        let mut due_min = Vec::new();
        let mut passed = Span::ZERO;
        while passed < Span::from_min(50) {
            passed = next_repeat(passed);
            due_min.push(passed.ms() / 60_000);
        }
        assert_eq!(due_min, [2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 30, 40, 50]);
    }

    #[test]
    fn what_was_missed_is_not_made_up_for() {
        for (passed_s, next_min) in [(0, 2), (119, 2), (121, 4), (19 * 60 + 59, 20), (20 * 60 + 1, 30), (7200, 130)] {
            assert_eq!(next_repeat(Span::from_s(passed_s)), Span::from_min(next_min), "{passed_s} s");
        }
    }

    #[test]
    fn waits_double_and_stay_short_for_danger() {
        let waits = |p| (1..=10).map(|n| back_off(n, p).ms() / 1000).collect::<Vec<_>>();
        assert_eq!(waits(Priority::Danger), [2, 4, 8, 16, 30, 30, 30, 30, 30, 30]);
        assert_eq!(waits(Priority::Warning), [2, 4, 8, 16, 32, 64, 128, 256, 300, 300]);
        assert_eq!(back_off(u32::MAX, Priority::Advice), BACK_OFF_MAX);
    }

    #[test]
    fn quiet_hours_go_over_midnight_and_keep_to_their_zone() {
        let quiet = |from_min, to_min, zone: &str| {
            Quiet::new(&QuietHours { from_min, to_min, time_zone: zone.to_owned() }).expect("a known zone")
        };
        // 2026-03-01T00:00:00Z, a winter's day in Lisbon (UTC) and in Helsinki (UTC+2).
        let at = |min: i64| Timestamp::from_unix_ms(1_772_323_200_000 + min * 60_000);
        let (night, day) = (quiet(22 * 60 + 30, 7 * 60, "UTC"), quiet(60, 120, "UTC"));
        for (min, in_night, in_day) in [
            (0, true, false),
            (60, true, true),
            (119, true, true),
            (120, true, false),
            (420, false, false),
            (1350, true, false),
        ] {
            assert_eq!((night.holds(at(min)), day.holds(at(min))), (in_night, in_day), "minute {min}");
        }
        let there = quiet(22 * 60 + 30, 7 * 60, "Europe/Helsinki");
        assert!(there.holds(at(299)) && !there.holds(at(300)));
    }

    #[test]
    fn an_unknown_zone_holds_nothing_back() {
        let hours = QuietHours { from_min: 0, to_min: 1, time_zone: "Nowhere/Land".to_owned() };
        assert!(Quiet::new(&hours).is_none());
    }

    #[test]
    fn what_wakes_is_never_held_back() {
        let wakes = [Alarm::BroodHot, Alarm::BroodLimit, Alarm::ProbeHot, Alarm::HeaterStuckOn, Alarm::NestUnwatched];
        assert!(wakes.into_iter().all(|a| !may_wait(a)));
        assert!(Alarm::ALL.into_iter().filter(|a| a.priority() == Priority::Danger).all(|a| !may_wait(a)));
    }
}
