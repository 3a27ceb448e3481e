//! The fields of a SenML record and their labels.

use core::fmt;

/// Names one field of a record (RFC 8428, sections 4.1 and 4.2; labels of sections 5 and 6).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Field {
    /// `bver`
    Version,
    /// `bn`
    BaseName,
    /// `bt`
    BaseTime,
    /// `bu`
    BaseUnit,
    /// `bv`
    BaseValue,
    /// `bs`
    BaseSum,
    /// `n`
    Name,
    /// `u`
    Unit,
    /// `v`
    Value,
    /// `vs`
    Text,
    /// `vb`
    Bool,
    /// `s`
    Sum,
    /// `t`
    Time,
    /// `ut`
    UpdateTime,
    /// `vd`
    Data,
}

/// Every field, in the order of its discriminant.
const ALL: [Field; 15] = [
    Field::Version,
    Field::BaseName,
    Field::BaseTime,
    Field::BaseUnit,
    Field::BaseValue,
    Field::BaseSum,
    Field::Name,
    Field::Unit,
    Field::Value,
    Field::Text,
    Field::Bool,
    Field::Sum,
    Field::Time,
    Field::UpdateTime,
    Field::Data,
];

impl Field {
    /// Returns the label in JSON (and in CBOR where text labels are used).
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Version => "bver",
            Self::BaseName => "bn",
            Self::BaseTime => "bt",
            Self::BaseUnit => "bu",
            Self::BaseValue => "bv",
            Self::BaseSum => "bs",
            Self::Name => "n",
            Self::Unit => "u",
            Self::Value => "v",
            Self::Text => "vs",
            Self::Bool => "vb",
            Self::Sum => "s",
            Self::Time => "t",
            Self::UpdateTime => "ut",
            Self::Data => "vd",
        }
    }

    /// Returns the label in CBOR (RFC 8428, section 6).
    #[must_use]
    pub const fn number(self) -> i8 {
        match self {
            Self::Version => -1,
            Self::BaseName => -2,
            Self::BaseTime => -3,
            Self::BaseUnit => -4,
            Self::BaseValue => -5,
            Self::BaseSum => -6,
            Self::Name => 0,
            Self::Unit => 1,
            Self::Value => 2,
            Self::Text => 3,
            Self::Bool => 4,
            Self::Sum => 5,
            Self::Time => 6,
            Self::UpdateTime => 7,
            Self::Data => 8,
        }
    }

    /// Finds the field of a text label.
    pub(crate) fn of_label(label: &[u8]) -> Option<Self> {
        Some(match label {
            b"n" => Self::Name,
            b"u" => Self::Unit,
            b"v" => Self::Value,
            b"t" => Self::Time,
            b"vb" => Self::Bool,
            b"vs" => Self::Text,
            b"vd" => Self::Data,
            b"s" => Self::Sum,
            b"ut" => Self::UpdateTime,
            b"bn" => Self::BaseName,
            b"bt" => Self::BaseTime,
            b"bu" => Self::BaseUnit,
            b"bv" => Self::BaseValue,
            b"bs" => Self::BaseSum,
            b"bver" => Self::Version,
            _ => return None,
        })
    }

    /// Finds the field of a CBOR integer label.
    pub(crate) fn of_number(number: i64) -> Option<Self> {
        ALL.into_iter().find(|field| i64::from(field.number()) == number)
    }

    /// The field's place in a [`Fields`] set.
    pub(crate) const fn bit(self) -> u16 {
        1 << self as u8
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.label())
    }
}

/// A set of fields.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Fields(u16);

impl Fields {
    /// `bver`, `bn`, `bt`, `bu`, `bv`, `bs`.
    pub(crate) const BASE: Self = Self(
        Field::Version.bit()
            | Field::BaseName.bit()
            | Field::BaseTime.bit()
            | Field::BaseUnit.bit()
            | Field::BaseValue.bit()
            | Field::BaseSum.bit(),
    );
    /// `v`, `vs`, `vb`, `vd`.
    pub(crate) const VALUES: Self =
        Self(Field::Value.bit() | Field::Text.bit() | Field::Bool.bit() | Field::Data.bit());

    pub(crate) const fn has(self, field: Field) -> bool {
        self.0 & field.bit() != 0
    }

    /// Adds `field`; returns whether it was new.
    pub(crate) fn insert(&mut self, field: Field) -> bool {
        let new = !self.has(field);
        self.0 |= field.bit();
        new
    }

    pub(crate) fn remove(&mut self, field: Field) {
        self.0 &= !field.bit();
    }

    /// Counts the fields that both sets have.
    pub(crate) const fn count_in(self, other: Self) -> u32 {
        (self.0 & other.0).count_ones()
    }

    pub(crate) const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Returns whether every field of `self` is in `other`.
    pub(crate) const fn within(self, other: Self) -> bool {
        self.0 & !other.0 == 0
    }
}
