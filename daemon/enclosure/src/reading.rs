//! What a probe said and when; what is not a reading (a refusal), and what is not believed (a rejection).
use crate::time::Timestamp;
use core::fmt;

/// A source that some nest lists, by its place in the core's own table. Valid for one [`crate::Core`] only.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceId(pub u16);

/// What a source said, when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Who said it.
    pub source: SourceId,
    /// When it was measured.
    pub at: Timestamp,
    /// What was measured.
    pub measured: Measured,
}

/// A measured value, finite and in range by construction (see [`Measured::new`]).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measured {
    /// °C.
    Temperature(f64),
    /// %RH.
    Humidity(f64),
    /// Mean duty since the source's previous record, 0 to 1.
    Duty(f64),
    /// The drive's state from here on.
    On(bool),
    /// Mean power, W.
    Power(f64),
}

/// The units of the wire that become a reading; others (V, dBW, s) are a node's health.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// `Cel`.
    Celsius,
    /// `%RH`.
    RelativeHumidity,
    /// `/`.
    Ratio,
    /// `W`.
    Watt,
}

/// Why a record is not a reading at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Refusal {
    /// The bytes are no SenML record.
    Form,
    /// The unit is none that a probe or a pad gives.
    Unit,
    /// Not a number, or infinite.
    NonFinite,
    /// Outside −60 to 150 °C, 0 to 110 %RH, 0 to 1, or 0 to 10,000 W.
    Range,
    /// No absolute time where arrival gives none.
    TimeUnknown,
    /// From before 2000, or more than ten minutes from now on.
    Time,
    /// No nest lists the source.
    UnknownSource,
}

/// Why a well-formed reading was not believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Rejection {
    /// Far from what the nest can do at that place and moment.
    Wild,
    /// The probe is held for frozen, fallen off, jumping or drifting.
    Distrusted,
    /// Older than what the estimate can still take in; kept for history.
    Late,
    /// The same source and time was there already.
    Duplicate,
}

impl Measured {
    /// A value in `unit`, or why it is none.
    ///
    /// # Errors
    /// [`Refusal::NonFinite`] or [`Refusal::Range`].
    pub fn new(unit: Unit, v: f64) -> Result<Self, Refusal> {
        if !v.is_finite() {
            return Err(Refusal::NonFinite);
        }
        let (low, high, make): (f64, f64, fn(f64) -> Self) = match unit {
            Unit::Celsius => (-60.0, 150.0, Self::Temperature),
            Unit::RelativeHumidity => (0.0, 110.0, Self::Humidity),
            Unit::Ratio => (0.0, 1.0, Self::Duty),
            Unit::Watt => (0.0, 10_000.0, Self::Power),
        };
        if v < low || v > high { Err(Refusal::Range) } else { Ok(make(v)) }
    }
}

impl Unit {
    /// The unit by its SenML symbol.
    pub fn from_senml(u: &str) -> Option<Self> {
        match u {
            "Cel" => Some(Self::Celsius),
            "%RH" => Some(Self::RelativeHumidity),
            "/" => Some(Self::Ratio),
            "W" => Some(Self::Watt),
            _ => None,
        }
    }
}

impl Refusal {
    /// Every refusal, for counters.
    pub const ALL: [Self; 7] =
        [Self::Form, Self::Unit, Self::NonFinite, Self::Range, Self::TimeUnknown, Self::Time, Self::UnknownSource];

    /// Short name for counters and logs.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Form => "form",
            Self::Unit => "unit",
            Self::NonFinite => "non-finite",
            Self::Range => "range",
            Self::TimeUnknown => "time-unknown",
            Self::Time => "time",
            Self::UnknownSource => "unknown-source",
        }
    }
}

impl Rejection {
    /// Short name for history and logs.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Wild => "wild",
            Self::Distrusted => "distrusted",
            Self::Late => "late",
            Self::Duplicate => "duplicate",
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Form => "it is no SenML record",
            Self::Unit => "its unit is none that a probe or a pad gives (Cel, %RH, /, W)",
            Self::NonFinite => "its value is not a finite number",
            Self::Range => "its value is outside what can be (-60 to 150 °C, 0 to 110 %RH, 0 to 1, 0 to 10,000 W)",
            Self::TimeUnknown => "it says no absolute time, and its arrival gives none",
            Self::Time => "its time lies before 2000 or more than ten minutes ahead",
            Self::UnknownSource => "no nest lists its source",
        })
    }
}

impl fmt::Display for Rejection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Wild => "the nest cannot change so fast at that place",
            Self::Distrusted => "the probe is held for faulty",
            Self::Late => "it came too late to be weighed; kept in history",
            Self::Duplicate => "it was there already",
        })
    }
}
