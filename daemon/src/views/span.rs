//! Spans as a keeper asks for them: a day, a week, a month, a season, a year, by the calendar on the wall.
use super::hours::Hours;
use dashboards::say;
use enclosure::{Span, Timestamp};
use std::ops::Range;

/// One of the usual spans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// From the same hour of the day before.
    Day,
    /// Seven of them.
    Week,
    /// From the same day of the month before.
    Month,
    /// Three of them.
    Season,
    /// From the same day of the year before.
    Year,
}

/// The beginnings of a table's rows, and what they are called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rows {
    /// Day, week or month.
    pub kind: Kind,
    /// Beginnings; the first may lie before the span.
    pub starts: Vec<Timestamp>,
}

/// Most rows of a table.
const ROWS_MAX: usize = 400;
/// Up to so many days a table tells each.
const DAYS_UP_TO: Span = Span::from_h(46 * 24);
/// Up to so many it tells weeks, beyond that months.
const WEEKS_UP_TO: Span = Span::from_h(150 * 24);

impl Kind {
    /// From the shortest.
    pub const ALL: [Self; 5] = [Self::Day, Self::Week, Self::Month, Self::Season, Self::Year];

    /// What an address calls it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Week => "week",
            Self::Month => "month",
            Self::Season => "season",
            Self::Year => "year",
        }
    }

    /// What a page calls it.
    pub fn label(self) -> String {
        match self {
            Self::Day => say!("past-day"),
            Self::Week => say!("past-week"),
            Self::Month => say!("past-month"),
            Self::Season => say!("past-season"),
            Self::Year => say!("past-year"),
        }
    }

    /// By its word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// The span of this kind that ends at `end`.
    pub fn until(self, end: Timestamp, hours: &Hours) -> Range<Timestamp> {
        self.step(end, -1, hours)..end
    }

    /// So many spans of this kind later (earlier where negative), at the same hour of the wall.
    pub fn step(self, at: Timestamp, n: i64, hours: &Hours) -> Timestamp {
        let (months, days) = match self {
            Self::Day => (0, n),
            Self::Week => (0, 7 * n),
            Self::Month => (n, 0),
            Self::Season => (3 * n, 0),
            Self::Year => (12 * n, 0),
        };
        hours.shifted(at, months, days)
    }

    /// Which kind a span is, if any.
    pub fn of(span: &Range<Timestamp>, hours: &Hours) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.until(span.end, hours).start == span.start)
    }
}

/// What a page calls the span before one: `the week before`.
pub fn before(span: &Range<Timestamp>, hours: &Hours) -> String {
    match Kind::of(span, hours) {
        Some(Kind::Day) => say!("past-before-day"),
        Some(Kind::Week) => say!("past-before-week"),
        Some(Kind::Month) => say!("past-before-month"),
        Some(Kind::Season) => say!("past-before-season"),
        Some(Kind::Year) => say!("past-before-year"),
        None => say!("past-before"),
    }
}

/// The span that ends where `span` begins, as long by the calendar.
pub fn earlier(span: &Range<Timestamp>, hours: &Hours) -> Range<Timestamp> {
    match Kind::of(span, hours) {
        Some(kind) => kind.until(span.start, hours),
        None => span.start.minus(span.end.since(span.start))..span.start,
    }
}

/// The span that begins where `span` ends, but ends at `now` at the latest.
pub fn later(span: &Range<Timestamp>, now: Timestamp, hours: &Hours) -> Range<Timestamp> {
    let length = span.end.since(span.start);
    match Kind::of(span, hours) {
        Some(kind) => {
            let end = kind.step(span.end, 1, hours).min(now);
            kind.until(end, hours)
        }
        None => {
            let end = span.end.plus(length).min(now);
            end.minus(length)..end
        }
    }
}

/// The rows in which a span is told.
pub fn rows(span: &Range<Timestamp>, hours: &Hours) -> Rows {
    let length = span.end.since(span.start);
    if length <= DAYS_UP_TO {
        Rows { kind: Kind::Day, starts: hours.days(span, ROWS_MAX) }
    } else if length <= WEEKS_UP_TO {
        Rows { kind: Kind::Week, starts: hours.mondays(span, ROWS_MAX) }
    } else {
        Rows { kind: Kind::Month, starts: hours.months(span, ROWS_MAX) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::views::hours::moment;
    use jiff::tz::TimeZone;

    fn at(text: &str) -> Timestamp {
        moment(text, Timestamp::from_unix_ms(0)).unwrap()
    }

    fn lisbon() -> Hours {
        Hours::new(TimeZone::get("Europe/Lisbon").unwrap())
    }

    /// Clocks went forward on 2026-03-29 in Lisbon (IANA tz database): that week is an hour shorter.
    #[test]
    fn a_week_is_a_week_on_the_wall() {
        let (hours, end) = (lisbon(), at("2026-03-30T08:00:00Z"));
        let week = Kind::Week.until(end, &hours);
        assert_eq!(week.end.since(week.start), Span::from_h(7 * 24 - 1));
        assert_eq!(hours.clock(week.start), hours.clock(week.end));
        assert_eq!(Kind::of(&week, &hours), Some(Kind::Week));
    }

    #[test]
    fn steps_lead_back_and_forth() {
        let (hours, now) = (lisbon(), at("2026-11-25T12:00:00Z"));
        for kind in Kind::ALL {
            let span = kind.until(now, &hours);
            let before = earlier(&span, &hours);
            assert_eq!(before.end, span.start);
            assert_eq!(Kind::of(&before, &hours), Some(kind), "{kind:?}");
            assert_eq!(later(&before, now, &hours), span, "{kind:?}");
            assert_eq!(later(&span, now, &hours), span, "nothing lies beyond now");
            assert_eq!(Kind::named(kind.word()), Some(kind));
        }
        let odd = at("2026-11-01T00:00:00Z")..at("2026-11-01T05:00:00Z");
        assert_eq!(earlier(&odd, &hours), at("2026-10-31T19:00:00Z")..odd.start);
    }

    #[test]
    fn a_year_is_told_by_months_and_a_week_by_days() {
        let (hours, now) = (lisbon(), at("2026-11-25T12:00:00Z"));
        let of = |kind: Kind| rows(&kind.until(now, &hours), &hours);
        let found: Vec<_> = Kind::ALL.iter().map(|k| (of(*k).kind.word(), of(*k).starts.len())).collect();
        assert_eq!(found, [("day", 2), ("day", 8), ("day", 32), ("week", 14), ("month", 13)]);
    }
}
