//! The one reader of moments and durations that a keeper writes (`7d`, `90s`, `2026-03-01T12:00:00Z`), and the words in
//! which a keeper reads a length of time.
use dashboards::say;
use enclosure::{Span, Timestamp};
use std::fmt;

/// Longest duration that is understood: a century.
const LONGEST: Span = Span::from_h(100 * 366 * 24);

/// Why a duration or a moment was not understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimeError {
    /// It is no duration.
    NoDuration(String),
    /// It must be more than nothing.
    Nothing(String),
    /// It is longer than anything on a shelf.
    TooLong(String),
    /// It is no moment.
    NoMoment(String),
    /// It is no end.
    NoEnd(String),
}

impl fmt::Display for TimeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&match self {
            Self::NoDuration(shown) => say!("time-no-duration", shown = shown),
            Self::Nothing(shown) => say!("time-nothing", shown = shown),
            Self::TooLong(shown) => say!("time-too-long", shown = shown),
            Self::NoMoment(shown) => say!("time-no-moment", shown = shown),
            Self::NoEnd(shown) => say!("time-no-end", shown = shown),
        })
    }
}

impl std::error::Error for TimeError {}

/// A moment as a keeper names it: absolute, or so far back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// An hour of its own.
    At(Timestamp),
    /// So long before now.
    Back(Span),
}

impl Moment {
    /// The moment meant, at `now`.
    pub fn from(self, now: Timestamp) -> Timestamp {
        match self {
            Self::At(at) => at,
            Self::Back(span) => now.minus(span),
        }
    }
}

/// An end as a keeper names it: a day, a moment, or so far ahead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// An hour of its own; a day begins at its midnight, in the machine's time zone.
    At(Timestamp),
    /// So long after now.
    Ahead(Span),
}

impl End {
    /// The moment meant, at `now`.
    pub fn from(self, now: Timestamp) -> Timestamp {
        match self {
            Self::At(at) => at,
            Self::Ahead(span) => now.plus(span),
        }
    }
}

/// A length of time in words: `45 s`, `12 min`, `3 h 05 min`, `2 days 4 h`; a negative one is none.
pub fn length(span: Span) -> String {
    let s = span.ms().max(0) / 1000;
    let (min, hours) = (s / 60, s / 3600);
    match s {
        0..=119 => say!("hours-seconds", seconds = s),
        120..=7_199 => say!("hours-minutes", minutes = min),
        7_200..=172_799 => say!("hours-hours", hours = hours, minutes = format!("{:02}", min % 60)),
        _ => say!("hours-days", days = hours / 24, hours = hours % 24),
    }
}

/// An end: a day (`2026-03-01`), RFC 3339, or a span ahead as [`duration`] reads it.
///
/// # Errors
/// [`TimeError`], with what to write instead.
pub fn end(text: &str) -> Result<End, TimeError> {
    let text = text.trim();
    let at = |t: jiff::Timestamp| End::At(Timestamp::from_unix_ms(t.as_millisecond()));
    if let Ok(moment) = text.parse::<jiff::Timestamp>() {
        return Ok(at(moment));
    }
    if text.len() == 10
        && let Ok(day) = text.parse::<jiff::civil::Date>()
        && let Ok(midnight) = day.to_zoned_datetime(jiff::tz::TimeZone::system())
    {
        return Ok(at(midnight.timestamp()));
    }
    match duration(text) {
        Ok(span) => Ok(End::Ahead(span)),
        Err(TimeError::NoDuration(text)) => Err(TimeError::NoEnd(text)),
        Err(other) => Err(other),
    }
}

/// A duration above 0: whole numbers with `ms`, `s`, `m` (or `min`), `h`, `d` or `w`, one after the other: `1h30m`.
///
/// # Errors
/// [`TimeError`], with what to write instead.
pub fn duration(text: &str) -> Result<Span, TimeError> {
    let bad = || TimeError::NoDuration(shown(text));
    let mut rest = text;
    let mut total_ms = 0_i64;
    if rest.is_empty() {
        return Err(bad());
    }
    while !rest.is_empty() {
        let digits = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let (number, after) = rest.split_at(digits);
        let letters = after.len() - after.trim_start_matches(|c: char| c.is_ascii_alphabetic()).len();
        let (unit, after) = after.split_at(letters);
        let unit_ms = unit_ms(unit).filter(|_| !number.is_empty()).ok_or_else(bad)?;
        // Only digits stand there: what does not fit is too long, nothing else.
        let number: i64 = number.parse().map_err(|_| TimeError::TooLong(shown(text)))?;
        total_ms = total_ms.saturating_add(number.saturating_mul(unit_ms));
        rest = after;
    }
    match Span::from_ms(total_ms) {
        Span::ZERO => Err(TimeError::Nothing(shown(text))),
        span if span > LONGEST => Err(TimeError::TooLong(shown(text))),
        span => Ok(span),
    }
}

/// A moment: `now`, RFC 3339, or a span back from now as [`duration`] reads it.
///
/// # Errors
/// [`TimeError`], with what to write instead.
pub fn moment(text: &str) -> Result<Moment, TimeError> {
    if let Ok(at) = text.parse::<jiff::Timestamp>() {
        return Ok(Moment::At(Timestamp::from_unix_ms(at.as_millisecond())));
    }
    if text == "now" {
        return Ok(Moment::Back(Span::ZERO));
    }
    match duration(text) {
        Ok(span) => Ok(Moment::Back(span)),
        Err(TimeError::NoDuration(text)) => Err(TimeError::NoMoment(text)),
        Err(other) => Err(other),
    }
}

/// A moment as RFC 3339 in UTC, to the second; what no calendar holds is shown as seconds since 1970.
pub fn rfc3339(at: Timestamp) -> String {
    jiff::Timestamp::from_second(at.unix_ms().div_euclid(1000))
        .map_or_else(|_| format!("{} s since 1970", at.unix_s()), |t| t.to_string())
}

/// The same to the millisecond, for machines.
pub fn rfc3339_ms(at: Timestamp) -> String {
    jiff::Timestamp::from_millisecond(at.unix_ms()).map_or_else(|_| rfc3339(at), |t| t.to_string())
}

fn unit_ms(unit: &str) -> Option<i64> {
    Some(match unit {
        "ms" => 1,
        "s" => 1_000,
        "m" | "min" => 60_000,
        "h" => 3_600_000,
        "d" => 86_400_000,
        "w" => 7 * 86_400_000,
        _ => return None,
    })
}

/// At most so much of a wrong word is repeated, and nothing that a terminal would obey.
fn shown(text: &str) -> String {
    text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_is_a_day_a_moment_or_a_span_ahead() {
        let now = Timestamp::from_unix_ms(1_772_366_400_000);
        let midnight: jiff::civil::Date = "2026-03-02".parse().expect("a day");
        let midnight = midnight.to_zoned_datetime(jiff::tz::TimeZone::system()).expect("a midnight").timestamp();
        for (text, ms) in [
            ("2026-03-02", midnight.as_millisecond()),
            ("2026-03-02T12:00:00Z", now.unix_ms() + 86_400_000),
            ("30d", now.unix_ms() + 30 * 86_400_000),
        ] {
            assert_eq!(end(text).map(|e| e.from(now).unix_ms()), Ok(ms), "{text}");
        }
        for text in ["", "tomorrow", "2026-02-30", "2026-3-1", "0d"] {
            assert!(end(text).is_err(), "{text}");
        }
    }

    #[test]
    fn durations_are_sums_of_numbers_with_units() {
        for (text, ms) in [
            ("250ms", 250),
            ("30s", 30_000),
            ("10m", 600_000),
            ("10min", 600_000),
            ("1h", 3_600_000),
            ("1h30m", 5_400_000),
            ("7d", 604_800_000),
            ("2w", 1_209_600_000),
        ] {
            assert_eq!(duration(text), Ok(Span::from_ms(ms)), "{text}");
        }
    }

    #[test]
    fn what_is_no_duration_is_refused_with_its_words() {
        for text in ["", "m", "10", "-5m", "1.5h", "10 m", "10x", "1h30", "∞d", "h1"] {
            assert_eq!(duration(text), Err(TimeError::NoDuration(text.to_owned())), "{text}");
        }
        for text in ["0s", "0h0m"] {
            assert_eq!(duration(text), Err(TimeError::Nothing(text.to_owned())), "{text}");
        }
        for text in ["6000w", "9223372036854775807d", "99999999999999999999s"] {
            assert_eq!(duration(text), Err(TimeError::TooLong(text.to_owned())), "{text}");
        }
    }

    #[test]
    fn moments_are_absolute_or_back_from_now() {
        // 2026-03-01T12:00:00Z is 1,772,366,400 s after 1970 (POSIX).
        let noon = Timestamp::from_unix_ms(1_772_366_400_000);
        let now = noon.plus(Span::from_h(24));
        for text in ["2026-03-01T12:00:00Z", "2026-03-01T13:00:00+01:00", "1d", "24h"] {
            assert_eq!(moment(text).map(|m| m.from(now)), Ok(noon), "{text}");
        }
        for text in ["", "yesterday", "2026-03-01", "2026-13-01T00:00:00Z", "2026-03-01T12:00:00"] {
            assert_eq!(moment(text), Err(TimeError::NoMoment(text.to_owned())), "{text}");
        }
    }

    #[test]
    fn a_moment_written_out_is_read_back() {
        for s in [0, 1_772_366_400, -1, 4_102_444_799] {
            let at = Timestamp::from_unix_ms(s * 1000);
            assert_eq!(moment(&rfc3339(at)), Ok(Moment::At(at)));
            let between = at.plus(Span::from_ms(250));
            assert_eq!(moment(&rfc3339_ms(between)), Ok(Moment::At(between)));
        }
    }

    #[test]
    fn no_calendar_and_no_wild_word_stops_it() {
        let _ = rfc3339(Timestamp::from_unix_ms(i64::MAX));
        let wrong = duration(&"\u{1b}[2J".repeat(1000)).map_err(|e| e.to_string());
        assert!(wrong.is_err_and(|e| e.len() < 300 && !e.contains('\u{1b}')));
    }
}
