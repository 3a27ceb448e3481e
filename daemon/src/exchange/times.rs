//! Moments as other programs write them.
use super::shown;
use enclosure::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use std::str::FromStr;

/// How a file writes its moments.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum TimeForm {
    /// `2026-03-01T12:00:00.250Z`.
    #[default]
    Rfc3339,
    /// Seconds since 1970, with a fraction if need be.
    Unix,
    /// Milliseconds since 1970.
    UnixMs,
    /// A pattern of `strptime`, as `%d.%m.%Y %H:%M`.
    Pattern(String),
}

impl FromStr for TimeForm {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "rfc3339" => Ok(Self::Rfc3339),
            "unix" => Ok(Self::Unix),
            "unix-ms" => Ok(Self::UnixMs),
            pattern if pattern.contains('%') => Ok(Self::Pattern(pattern.to_owned())),
            _ => Err("write rfc3339, unix, unix-ms, or a pattern as \"%d.%m.%Y %H:%M\"".to_owned()),
        }
    }
}

impl TimeForm {
    /// Reads a moment; one without an offset stands in `zone`.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(super) fn read(&self, text: &str, zone: &TimeZone) -> Result<Timestamp, String> {
        let text = text.trim();
        let wrong = || format!("\"{}\" is no such moment", shown(text));
        let moment = |t: jiff::Timestamp| Timestamp::from_unix_ms(t.as_millisecond());
        match self {
            Self::Rfc3339 => text.parse().map(moment).map_err(|_| wrong()),
            Self::Unix => text.parse().ok().and_then(Timestamp::from_unix_s).ok_or_else(wrong),
            Self::UnixMs => text.parse().map(Timestamp::from_unix_ms).map_err(|_| wrong()),
            Self::Pattern(pattern) => {
                if let Ok(t) = jiff::Timestamp::strptime(pattern, text) {
                    return Ok(moment(t));
                }
                let local = DateTime::strptime(pattern, text).map_err(|_| wrong())?;
                zone.to_timestamp(local).map(moment).map_err(|_| wrong())
            }
        }
    }
}

/// RFC 3339 in UTC with milliseconds; what no calendar holds as seconds since 1970.
pub(super) fn written(at: Timestamp) -> String {
    crate::times::rfc3339_ms(at)
}
