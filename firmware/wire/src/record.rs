//! One resolved record.

use crate::{ABSOLUTE_FROM_S, Data, MAX_NAME, MAX_UNIT, Text, number};

/// A full name, `bn` + `n`.
pub type Name = heapless::String<MAX_NAME>;
/// A unit, as the pack spells it.
pub type Unit = heapless::String<MAX_UNIT>;

/// Holds what a record says of its source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value<'a> {
    /// `v` (with `bv` added); always finite.
    Float(f64),
    /// `vb`
    Bool(bool),
    /// `vs`
    Text(Text<'a>),
    /// `vd`
    Data(Data<'a>),
}

/// Holds one record with the base fields applied (RFC 8428, section 4.6, but for the time, which stays as given).
#[derive(Clone, Debug, PartialEq)]
pub struct Record<'a> {
    /// `bn` + `n`; of the permitted characters.
    pub name: Name,
    /// `u`, else `bu`.
    pub unit: Option<Unit>,
    /// `v`, `vs`, `vb` or `vd`; `None` only where there is a sum.
    pub value: Option<Value<'a>>,
    /// `s` with `bs` added, unit times seconds.
    pub sum: Option<f64>,
    /// `bt` + `t` as given, s: since 1970 or relative to now, see [`Record::is_relative`].
    pub time_s: f64,
    /// `ut`: the longest wait before the next reading, s.
    pub update_s: Option<f64>,
    /// Whether this record itself had base fields: a record of a resolved stream may not.
    pub had_base: bool,
}

impl Record<'_> {
    /// Returns whether the time is relative to now: below 2^28 s (RFC 8428, section 4.5.3).
    #[must_use]
    pub fn is_relative(&self) -> bool {
        self.time_s < ABSOLUTE_FROM_S
    }

    /// Returns the time in seconds since 1970, taking a relative one from `now_s` (seconds since 1970).
    #[must_use]
    pub fn resolve(&self, now_s: f64) -> f64 {
        if self.is_relative() { now_s + self.time_s } else { self.time_s }
    }

    /// Returns the number of `v`.
    #[must_use]
    pub fn float(&self) -> Option<f64> {
        match self.value {
            Some(Value::Float(value)) => Some(value),
            _ => None,
        }
    }

    /// Returns the number of `v` where it is a whole one from 0 to 2^53 with unit "count".
    #[must_use]
    pub fn count(&self) -> Option<u64> {
        (self.unit.as_deref() == Some("count")).then(|| self.float().and_then(number::whole)).flatten()
    }
}

/// Returns whether `c` may stand in a name (RFC 8428, section 4.5.1).
pub(crate) const fn in_name(c: u8) -> bool {
    c.is_ascii_alphanumeric() || matches!(c, b'-' | b':' | b'.' | b'/' | b'_')
}
