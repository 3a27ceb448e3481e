//! What can go wrong, on reading and on writing.

use core::fmt;

use crate::{Field, MAX_DEPTH, MAX_NAME, MAX_RECORDS, MAX_UNIT, VERSION};

/// Says why a record, or the rest of a pack, could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Error {
    /// The first byte opens neither a JSON nor a CBOR array.
    NotSenml,
    /// The brackets, quotes or lengths do not add up; `at` is the byte where reading stopped.
    Framing {
        /// Offset into the bytes given, from 0.
        at: usize,
    },
    /// A value that would have been passed over is nested deeper than [`MAX_DEPTH`].
    TooDeep,
    /// The pack has more than [`MAX_RECORDS`] entries.
    TooManyRecords,
    /// Bytes follow after the end of the pack or line.
    Trailing {
        /// Offset of the first of them.
        at: usize,
    },
    /// The pack is of a version that is not understood.
    Version {
        /// Its `bver`.
        found: u64,
    },
    /// `bver` is no positive whole number.
    BadVersion,
    /// Records of one pack name different versions.
    VersionMixed,
    /// A base field must be understood (its label starts with `b` and ends in `_`) and is not known.
    UnknownBase,
    /// An entry of the pack is no map.
    NotARecord,
    /// A field must be understood (its label ends in `_`) and is not known.
    MustUnderstand,
    /// A field's value is missing, of the wrong type or malformed.
    BadField(Field),
    /// A number is not finite, or becomes so when its base is added.
    NonFinite(Field),
    /// A field stands twice in one record.
    Duplicate(Field),
    /// A base field that this record depends on could not be read.
    BrokenBase(Field),
    /// The record has no name, nor a base name.
    NoName,
    /// The full name has a character it may not have, or starts with one it may not start with.
    BadName,
    /// The full name, or the base name, is longer than [`MAX_NAME`].
    NameTooLong,
    /// The unit is longer than [`MAX_UNIT`].
    UnitTooLong,
    /// The record has neither a value nor a sum.
    NoValue,
    /// The record has more than one of `v`, `vs`, `vb`, `vd`.
    ManyValues,
    /// The record has base fields only: legal in a pack (and not reported there), no reading where one is expected.
    OnlyBase,
}

impl Error {
    /// Returns whether nothing more can be read from this pack.
    #[must_use]
    pub fn ends_pack(self) -> bool {
        match self {
            Self::NotSenml
            | Self::Framing { .. }
            | Self::TooDeep
            | Self::TooManyRecords
            | Self::Trailing { .. }
            | Self::Version { .. }
            | Self::BadVersion
            | Self::VersionMixed
            | Self::UnknownBase => true,
            Self::NotARecord
            | Self::MustUnderstand
            | Self::BadField(_)
            | Self::NonFinite(_)
            | Self::Duplicate(_)
            | Self::BrokenBase(_)
            | Self::NoName
            | Self::BadName
            | Self::NameTooLong
            | Self::UnitTooLong
            | Self::NoValue
            | Self::ManyValues
            | Self::OnlyBase => false,
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotSenml => f.write_str("not a SenML pack: it starts with neither a JSON nor a CBOR array"),
            Self::Framing { at } => write!(f, "the pack is broken off or malformed at byte {at}"),
            Self::TooDeep => write!(f, "a value is nested deeper than {MAX_DEPTH}"),
            Self::TooManyRecords => write!(f, "the pack has more than {MAX_RECORDS} records: send several packs"),
            Self::Trailing { at } => write!(f, "bytes follow after the end, from byte {at}"),
            Self::Version { found } => write!(f, "bver is {found}, only versions up to {VERSION} are understood"),
            Self::BadVersion => f.write_str("bver is no positive whole number"),
            Self::VersionMixed => f.write_str("records of one pack have different bver"),
            Self::UnknownBase => f.write_str("a base field that must be understood (b..._) is not known"),
            Self::NotARecord => f.write_str("not a record: a map of fields is expected"),
            Self::MustUnderstand => f.write_str("a field that must be understood (..._) is not known"),
            Self::BadField(field) => write!(f, "{field} is missing its value, or it is of the wrong type or malformed"),
            Self::NonFinite(field) => write!(f, "{field} is not a finite number"),
            Self::Duplicate(field) => write!(f, "{field} stands twice in one record"),
            Self::BrokenBase(field) => write!(f, "the record needs {field}, which could not be read"),
            Self::NoName => f.write_str("the record has no name"),
            Self::BadName => {
                f.write_str("the name may only have A-Z a-z 0-9 - : . / _ and must start with a letter or digit")
            }
            Self::NameTooLong => write!(f, "the name is longer than {MAX_NAME} bytes"),
            Self::UnitTooLong => write!(f, "the unit is longer than {MAX_UNIT} bytes"),
            Self::NoValue => f.write_str("the record has no value"),
            Self::ManyValues => f.write_str("the record has more than one of v, vs, vb, vd"),
            Self::OnlyBase => f.write_str("the record has base fields only"),
        }
    }
}

impl core::error::Error for Error {}

/// Says why a record could not be written. The pack stays as it was before that record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum WriteError {
    /// The buffer has no room for the record: finish this pack and begin another.
    Full,
    /// The pack has [`MAX_RECORDS`] records already.
    TooManyRecords,
    /// A number is not finite. It is never written.
    NonFinite,
    /// A whole number or a count of thousandths lies beyond 2^53, or a time does: a reader would not get it back.
    NotExact,
    /// The full name is empty, or has a character it may not have.
    BadName,
    /// The full name is longer than [`MAX_NAME`].
    NameTooLong,
    /// The unit is longer than [`MAX_UNIT`].
    UnitTooLong,
    /// The record has neither a value nor a sum.
    NoValue,
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("could not write the record: ")?;
        match self {
            Self::Full => f.write_str("the buffer is full: finish this pack and begin another"),
            Self::TooManyRecords => write!(f, "the pack has {MAX_RECORDS} records: finish it and begin another"),
            Self::NonFinite => f.write_str("a number is not finite: leave the record out"),
            Self::NotExact => f.write_str("a number lies beyond 2^53, where a reader would not get it back"),
            Self::BadName => {
                f.write_str("the name may only have A-Z a-z 0-9 - : . / _ and must start with a letter or digit")
            }
            Self::NameTooLong => write!(f, "the name is longer than {MAX_NAME} bytes"),
            Self::UnitTooLong => write!(f, "the unit is longer than {MAX_UNIT} bytes"),
            Self::NoValue => f.write_str("it has neither a value nor a sum"),
        }
    }
}

impl core::error::Error for WriteError {}
