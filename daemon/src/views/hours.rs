//! Moments as a clock on the keeper's wall says them, and the spans that a keeper asks for.
use crate::times;
use dashboards::say;
use enclosure::shelf::{Band, Nest};
use enclosure::{Span, Timestamp};
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp as Instant, ZonedDateTime};
use std::ops::Range;

/// Most moments of [`Hours::every`].
pub const HOURS_MAX: usize = 1_000;

/// A time zone, to tell moments in.
#[derive(Clone, Debug)]
pub struct Hours {
    zone: TimeZone,
}

impl Hours {
    /// The machine's own zone; UTC where it has none.
    pub fn system() -> Self {
        Self { zone: TimeZone::system() }
    }

    /// A zone of the caller's.
    pub fn new(zone: TimeZone) -> Self {
        Self { zone }
    }

    fn zoned(&self, at: Timestamp) -> ZonedDateTime {
        let end = if at.unix_ms() < 0 { Instant::MIN } else { Instant::MAX };
        Instant::from_millisecond(at.unix_ms()).unwrap_or(end).to_zoned_datetime(self.zone.clone())
    }

    /// `03:12`.
    pub fn clock(&self, at: Timestamp) -> String {
        wall(&self.zoned(at), "%H:%M")
    }

    /// `Tue 3 March, 03:12:05`.
    pub fn dated_second(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        dated(&at, wall(&at, "%H:%M:%S"))
    }

    /// `03:12` on the day of `now`, `Tue 03:12` within six days of it, else `Tue 3 March 2026, 03:12`.
    pub fn near(&self, at: Timestamp, now: Timestamp) -> String {
        self.nearly((at, now), "%H:%M")
    }

    fn nearly(&self, (at, now): (Timestamp, Timestamp), clock: &str) -> String {
        let (then, today) = (self.zoned(at), self.zoned(now));
        let clock = wall(&then, clock);
        if then.date() == today.date() {
            clock
        } else if now.since(at).ms().abs() < Span::from_h(6 * 24).ms() {
            say!("hours-near", weekday = weekday(&then), clock = clock)
        } else {
            far(&then, clock)
        }
    }

    /// As [`Self::near`], to the second: `03:12:05`.
    pub fn second(&self, at: Timestamp, now: Timestamp) -> String {
        self.nearly((at, now), "%H:%M:%S")
    }

    /// Every moment of `span` at which a clock on the wall shows a full hour that `step_h` (a divisor of 24) divides; at
    /// most [`HOURS_MAX`]. On days on which clocks change the steps between are longer or shorter.
    pub fn every(&self, span: &Range<Timestamp>, step_h: usize) -> Vec<Timestamp> {
        let mut out = Vec::new();
        for day in self.days(span, HOURS_MAX) {
            let date = self.zoned(day).date();
            for hour in (0..24_i8).step_by(step_h.max(1)) {
                // An hour that the clock leaps over is left out; of one that comes twice the first counts.
                let Ok(at) = date.at(hour, 0, 0, 0).to_zoned_datetime(self.zone.clone()) else { continue };
                let at_ms = at.timestamp().as_millisecond();
                if at.hour() == hour && span.contains(&Timestamp::from_unix_ms(at_ms)) && out.len() < HOURS_MAX {
                    out.push(Timestamp::from_unix_ms(at_ms));
                }
            }
        }
        out
    }

    /// `Tue 3 March, 03:12`.
    pub fn dated(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        dated(&at, wall(&at, "%H:%M"))
    }

    /// `Tue 3 March, 03:12 (CET)`.
    pub fn with_zone(&self, at: Timestamp) -> String {
        let zone = self.zoned(at).strftime("%Z").to_string();
        say!("hours-zone", dated = self.dated(at), zone = zone)
    }

    /// `Tue 3 March`.
    pub fn day(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        say!("hours-day", weekday = weekday(&at), day = at.day(), month = month(&at))
    }

    /// `Tue 3`.
    pub fn short_day(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        say!("hours-day-short", weekday = weekday(&at), day = at.day())
    }

    /// `Mon 2 March, 03:00, to Mon 9 March 2026, 03:00`.
    pub fn span(&self, span: &Range<Timestamp>) -> String {
        let (from, to) = (self.zoned(span.start), self.zoned(span.end));
        let clock = |at: &ZonedDateTime| wall(at, "%H:%M");
        let start = if from.year() == to.year() { dated(&from, clock(&from)) } else { far(&from, clock(&from)) };
        say!("hours-span", from = start, to = far(&to, clock(&to)))
    }

    /// RFC 3339 in UTC, to the second: for addresses.
    pub fn rfc3339(at: Timestamp) -> String {
        let second = at.unix_ms().div_euclid(1000);
        Instant::from_second(second).unwrap_or(Instant::UNIX_EPOCH).to_string()
    }

    /// So many months and days later (earlier where negative), at the same hour of the wall.
    pub fn shifted(&self, at: Timestamp, months: i64, days: i64) -> Timestamp {
        let by = jiff::Span::new().try_months(months).and_then(|by| by.try_days(days));
        let moved = by.and_then(|by| self.zoned(at).checked_add(by));
        // Beyond what a calendar holds nothing moves.
        moved.map_or(at, |moved| Timestamp::from_unix_ms(moved.timestamp().as_millisecond()))
    }

    /// `March 2026`.
    pub fn month(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        say!("hours-month-year", month = month(&at), year = at.strftime("%Y").to_string())
    }

    /// `Mar`, in January `2026`.
    pub fn short_month(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        if at.month() == 1 { at.strftime("%Y").to_string() } else { say!("hours-month-short", month = at.month()) }
    }

    /// `3 Mar`.
    pub fn short_date(&self, at: Timestamp) -> String {
        let at = self.zoned(at);
        say!("hours-date-short", day = at.day(), month = say!("hours-month-short", month = at.month()))
    }

    /// Beginnings of the keeper's weeks (Mondays, as ISO 8601 has it) that touch `span`; at most `most`.
    pub fn mondays(&self, span: &Range<Timestamp>, most: usize) -> Vec<Timestamp> {
        let back = i64::from(self.zoned(span.start).weekday().to_monday_one_offset() - 1);
        let first = self.days(&(self.shifted(span.start, 0, -back)..span.end), 1);
        self.stepped(first, (0, 7), span, most)
    }

    /// Beginnings of months that touch `span`; at most `most`.
    pub fn months(&self, span: &Range<Timestamp>, most: usize) -> Vec<Timestamp> {
        let back = i64::from(self.zoned(span.start).day() - 1);
        let first = self.days(&(self.shifted(span.start, 0, -back)..span.end), 1);
        self.stepped(first, (1, 0), span, most)
    }

    fn stepped(
        &self,
        first: Vec<Timestamp>,
        (months, days): (i64, i64),
        span: &Range<Timestamp>,
        most: usize,
    ) -> Vec<Timestamp> {
        let from = first.into_iter();
        from.flat_map(|at| (0..most as i64).map(move |k| self.shifted(at, months * k, days * k)))
            .take_while(|at| *at < span.end)
            .collect()
    }

    /// Beginnings of the keeper's days that touch `span`; the first may lie before it. At most `most`.
    pub fn days(&self, span: &Range<Timestamp>, most: usize) -> Vec<Timestamp> {
        let mut days = Vec::new();
        let mut day = self.zoned(span.start).start_of_day();
        while let Ok(start) = day {
            let at = Timestamp::from_unix_ms(start.timestamp().as_millisecond());
            if at >= span.end || days.len() >= most {
                break;
            }
            days.push(at);
            // A day is 23 to 25 hours long where clocks change.
            day = start.tomorrow().and_then(|next| next.start_of_day());
        }
        days
    }
}

fn weekday(at: &ZonedDateTime) -> String {
    say!("hours-weekday", day = at.weekday().to_monday_one_offset())
}

fn month(at: &ZonedDateTime) -> String {
    say!("hours-month", month = at.month())
}

/// What the clock on the wall shows. In the hour that comes twice, when summer time ends, with the name of its time.
fn wall(at: &ZonedDateTime, form: &str) -> String {
    let clock = at.strftime(form).to_string();
    match at.time_zone().to_ambiguous_timestamp(at.datetime()).offset() {
        AmbiguousOffset::Fold { .. } => format!("{clock} {}", at.strftime("%Z")),
        AmbiguousOffset::Unambiguous { .. } | AmbiguousOffset::Gap { .. } => clock,
    }
}

fn dated(at: &ZonedDateTime, clock: String) -> String {
    say!("hours-dated", weekday = weekday(at), day = at.day(), month = month(at), clock = clock)
}

fn far(at: &ZonedDateTime, clock: String) -> String {
    let year = at.strftime("%Y").to_string();
    say!("hours-far", weekday = weekday(at), day = at.day(), month = month(at), year = year, clock = clock)
}

/// `20 s ago`.
pub fn ago(at: Timestamp, now: Timestamp) -> String {
    say!("hours-ago", length = times::length(now.since(at)))
}

/// The band in force for `nest` at `at`: its season's, else its own. `ahead` is the keeper's winter time ahead of UTC.
pub fn band_in_force(nest: &Nest, at: Timestamp, ahead: Span) -> Option<Band> {
    let day = Hours::new(TimeZone::UTC).zoned(at.plus(ahead));
    let today = (u8::try_from(day.month()).unwrap_or(0), u8::try_from(day.day()).unwrap_or(0));
    let holds = |from, to| if from <= to { today >= from && today <= to } else { today >= from || today <= to };
    match nest.seasons.iter().find(|s| holds(s.from, s.to)) {
        Some(season) => season.band,
        None => nest.band,
    }
}

/// A moment as [`times::moment`] reads it, seen from `now`.
///
/// # Errors
/// In plain words, with what to write instead.
pub fn moment(text: &str, now: Timestamp) -> Result<Timestamp, String> {
    times::moment(text.trim()).map(|moment| moment.from(now)).map_err(|why| why.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        moment(text, Timestamp::from_unix_ms(0)).unwrap()
    }

    #[test]
    fn moments_are_dates_or_spans_back_from_now_and_nothing_else() {
        let now = at("2026-03-08T12:00:00Z");
        let ok = |text: &str| moment(text, now).unwrap();
        assert_eq!(ok("now"), now);
        assert_eq!(ok(" 7d "), at("2026-03-01T12:00:00Z"));
        assert_eq!(ok("1h30m"), at("2026-03-08T10:30:00Z"));
        assert_eq!(ok("90m"), ok("90min"));
        assert_eq!(ok("2026-03-01T08:00:00+02:00"), at("2026-03-01T06:00:00Z"));
        for hostile in
            ["", "7", "d", "-7d", "1e9d", "999999999999d", "inf d", "NaNh", "<script>", "..h", &"9".repeat(9_999)]
        {
            let why = moment(hostile, now).unwrap_err();
            assert!(why.chars().count() < 250, "{why}");
        }
    }

    #[test]
    fn a_day_is_as_long_as_the_clocks_on_the_wall_make_it() {
        // Clocks went forward on 2026-03-29 in Lisbon, as everywhere in the European Union (IANA tz database).
        let hours = Hours::new(TimeZone::get("Europe/Lisbon").unwrap());
        let days = hours.days(&(at("2026-03-28T12:00:00Z")..at("2026-03-30T12:00:00Z")), 400);
        let lengths: Vec<_> = days.windows(2).map(|d| d[1].since(d[0])).collect();
        assert_eq!(lengths, [Span::from_h(24), Span::from_h(23)]);
        assert_eq!(days[0], at("2026-03-28T00:00:00Z"));
    }

    /// The same in a zone that is not a whole hour off, and over both changes of the clocks (IANA tz database: Adelaide
    /// leaves summer time on 2026-04-05; Lisbon enters it on 2026-03-29 and leaves it on 2026-10-25).
    #[test]
    fn hours_of_the_wall_stay_hours_of_the_wall() {
        for (zone, from) in [
            ("Europe/Lisbon", "2026-03-28T00:00:00Z"),
            ("Europe/Lisbon", "2026-10-24T00:00:00Z"),
            ("Australia/Adelaide", "2026-04-04T00:00:00Z"),
        ] {
            let hours = Hours::new(TimeZone::get(zone).unwrap());
            let span = at(from)..at(from).plus(Span::from_h(72));
            let ticks = hours.every(&span, 6);
            assert!((11..=13).contains(&ticks.len()), "{zone}");
            for t in &ticks {
                assert!(["00:00", "06:00", "12:00", "18:00"].contains(&hours.clock(*t).as_str()), "{zone}");
            }
            let steps: std::collections::BTreeSet<_> = ticks.windows(2).map(|p| p[1].since(p[0]).ms()).collect();
            assert_eq!(steps.len(), 2, "one step is an hour longer or shorter: {steps:?}");
        }
    }

    /// IANA tz database: New York leaves summer time on 2026-11-01 at 06:00 UTC.
    #[test]
    fn the_hour_that_comes_twice_is_told_apart() {
        let hours = Hours::new(TimeZone::get("America/New_York").unwrap());
        let (first, second) = (at("2026-11-01T05:30:00Z"), at("2026-11-01T06:30:00Z"));
        assert_eq!((hours.clock(first), hours.clock(second)), ("01:30 EDT".to_owned(), "01:30 EST".to_owned()));
        let span = hours.span(&(first..second));
        assert_eq!(span, "Sun 1 November, 01:30 EDT to Sun 1 November 2026, 01:30 EST");
        for once in ["2026-11-01T04:30:00Z", "2026-11-01T07:30:00Z", "2026-03-08T06:30:00Z", "2026-03-08T07:30:00Z"] {
            assert_eq!(hours.clock(at(once)).len(), 5, "{once}");
        }
    }

    #[test]
    fn the_nearer_the_shorter() {
        let hours = Hours::new(TimeZone::UTC);
        let now = at("2026-03-08T12:00:00Z");
        assert_eq!(hours.near(at("2026-03-08T03:12:00Z"), now), "03:12");
        assert_eq!(hours.near(at("2026-03-07T03:12:00Z"), now), "Sat 03:12");
        assert_eq!(hours.near(at("2026-02-07T03:12:00Z"), now), "Sat 7 February 2026, 03:12");
        assert_eq!(hours.second(at("2026-03-08T03:12:05Z"), now), "03:12:05");
        assert_eq!(Hours::rfc3339(now), "2026-03-08T12:00:00Z");
    }

    #[test]
    fn no_moment_is_too_wild_to_be_told() {
        let hours = Hours::new(TimeZone::UTC);
        for ms in [i64::MIN, -1, 0, i64::MAX] {
            let at = Timestamp::from_unix_ms(ms);
            let told = [hours.clock(at), hours.dated(at), hours.near(at, at), Hours::rfc3339(at)];
            assert!(told.iter().all(|t| !t.is_empty()));
            assert!(hours.days(&(at..at.plus(Span::from_h(48))), 400).len() <= 3);
        }
    }
}
