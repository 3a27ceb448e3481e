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
/// How long after its beginning a danger that nobody answered goes to the first, the next, and all other people.
pub(super) const STAGES: [Span; 3] = [Span::ZERO, Span::from_min(4), Span::from_min(8)];
/// So long after the second reminder of an answered danger that still holds, the next person is told.
pub(super) const NEXT_AFTER_REMINDER: Span = Span::from_min(1);
/// A cold brood place may wait for morning while it is expected to stay within so much of its band, K.
pub(super) const COLD_WAITS_K: f64 = 6.0;
/// How much cooler than now a room may be taken to be by morning, K (a house that cools at night; common practice, no
/// source).
pub(super) const ROOM_BY_MORNING_K: f64 = 4.0;
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

/// What is known of a nest that decides whether something may wait for morning.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Outlook {
    /// The coldest that the brood place is expected to be before the quiet hours end, less the lower end of its band, K.
    pub(super) cold_k: Option<f64>,
    /// How many of its probes are silent.
    pub(super) silent: usize,
}

impl Outlook {
    /// Without heat a nest comes to the room's temperature and no lower: `brood_c` and `room_c` are what is believed
    /// now, each less its uncertainty. Where one of them is not known, nothing is expected, and nothing waits.
    pub(super) fn new(brood_c: Option<f64>, room_c: Option<f64>, low_c: Option<f64>, silent: usize) -> Self {
        let cold_k = match (brood_c, room_c, low_c) {
            (Some(brood), Some(room), Some(low)) => {
                Some(brood.min(room - ROOM_BY_MORNING_K) - low).filter(|k| k.is_finite())
            }
            _ => None,
        };
        Self { cold_k, silent }
    }
}

/// Whether an alarm does no harm by morning.
pub(super) fn may_wait(alarm: Alarm, outlook: Outlook) -> bool {
    match alarm {
        Alarm::BroodCold | Alarm::HeaterNoHeat | Alarm::ForecastCold => {
            outlook.cold_k.is_some_and(|k| k >= -COLD_WAITS_K)
        }
        Alarm::ProbeSilent => outlook.silent <= 1,
        Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation | Alarm::WaterLow | Alarm::GradientFlat => true,
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
        assert!(wakes.into_iter().all(|a| !may_wait(a, Outlook { cold_k: Some(50.0), silent: 0 })));
        let mut dangers = Alarm::ALL.into_iter().filter(|a| a.priority() == Priority::Danger);
        assert!(dangers.all(|a| !may_wait(a, Outlook { cold_k: Some(50.0), silent: 0 })));
    }

    #[test]
    fn cold_waits_only_while_the_brood_place_stays_within_6_k_of_its_band() {
        let low_c = 24.0;
        for (brood_c, room_c, waits) in [
            (Some(22.0), Some(23.0), true),
            // The room itself, by morning, is what the nest comes to.
            (Some(22.0), Some(low_c - COLD_WAITS_K + ROOM_BY_MORNING_K), true),
            (Some(22.0), Some(low_c - COLD_WAITS_K + ROOM_BY_MORNING_K - 0.1), false),
            (Some(17.9), Some(23.0), false),
            (None, Some(23.0), false),
            (Some(22.0), None, false),
            (Some(f64::NAN), Some(f64::NAN), false),
        ] {
            let outlook = Outlook::new(brood_c, room_c, Some(low_c), 0);
            for alarm in [Alarm::BroodCold, Alarm::HeaterNoHeat, Alarm::ForecastCold] {
                assert_eq!(may_wait(alarm, outlook), waits, "{alarm}: {brood_c:?} {room_c:?}");
            }
        }
        assert!(!may_wait(Alarm::BroodCold, Outlook::new(Some(30.0), Some(30.0), None, 0)), "no band is known");
    }

    #[test]
    fn one_silent_probe_waits_and_two_do_not() {
        let silent = |silent| Outlook { silent, ..Outlook::default() };
        assert!(may_wait(Alarm::ProbeSilent, silent(1)) && !may_wait(Alarm::ProbeSilent, silent(2)));
    }

    #[test]
    fn quiet_hours_follow_the_clock_on_the_wall_through_both_changes_of_it() {
        // Lisbon, 2026: on 29 March 01:00 becomes 02:00, on 25 October 02:00 becomes 01:00 (EU Directive 2000/84/EC).
        let quiet = Quiet::new(&QuietHours { from_min: 90, to_min: 180, time_zone: "Europe/Lisbon".to_owned() });
        let quiet = quiet.expect("a known zone");
        let at = |text: &str| {
            let at: jiff::Timestamp = text.parse().expect("RFC 3339");
            Timestamp::from_unix_ms(at.as_millisecond())
        };
        for (moment, holds) in [
            // Spring: 01:30 does not come; the hours begin as the clock jumps over it, and are half as long.
            ("2026-03-29T00:59:59Z", false),
            ("2026-03-29T01:00:00Z", true),
            ("2026-03-29T01:59:59Z", true),
            ("2026-03-29T02:00:00Z", false),
            // Autumn: 01:30 to 02:00 comes twice; between them the clock says 01:00 to 01:30 again.
            ("2026-10-25T00:30:00Z", true),
            ("2026-10-25T01:00:00Z", false),
            ("2026-10-25T01:30:00Z", true),
            ("2026-10-25T02:59:59Z", true),
            ("2026-10-25T03:00:00Z", false),
        ] {
            assert_eq!(quiet.holds(at(moment)), holds, "{moment}");
        }
    }
}
