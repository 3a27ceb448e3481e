//! Integer milliseconds. Arithmetic saturates: a wild clock gives a wild time, never a panic.

/// A moment, in milliseconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Timestamp(i64);

/// A length of time, in milliseconds; may be negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Span(i64);

impl Timestamp {
    /// The moment `ms` milliseconds after 1970-01-01T00:00:00Z.
    pub const fn from_unix_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// The moment `s` seconds after 1970, rounded to the millisecond; `None` unless finite and within ±10^12 s.
    pub fn from_unix_s(s: f64) -> Option<Self> {
        (s.is_finite() && s.abs() < 1e12).then(|| Self(libm::round(s * 1000.0) as i64))
    }

    /// Milliseconds since 1970.
    pub const fn unix_ms(self) -> i64 {
        self.0
    }

    /// Seconds since 1970.
    pub fn unix_s(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// Time passed since `earlier`; negative if `earlier` is later.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }

    /// This moment, moved by `span`.
    #[must_use]
    pub const fn plus(self, span: Span) -> Self {
        Self(self.0.saturating_add(span.0))
    }

    /// This moment, moved back by `span`.
    #[must_use]
    pub const fn minus(self, span: Span) -> Self {
        Self(self.0.saturating_sub(span.0))
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// `ms` milliseconds.
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// `s` seconds.
    pub const fn from_s(s: i64) -> Self {
        Self(s.saturating_mul(1000))
    }

    /// `min` minutes.
    pub const fn from_min(min: i64) -> Self {
        Self(min.saturating_mul(60_000))
    }

    /// `h` hours.
    pub const fn from_h(h: i64) -> Self {
        Self(h.saturating_mul(3_600_000))
    }

    /// Milliseconds.
    pub const fn ms(self) -> i64 {
        self.0
    }

    /// Seconds.
    pub fn s(self) -> f64 {
        self.0 as f64 / 1000.0
    }
}
