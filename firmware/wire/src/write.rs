//! Writes packs into a buffer of the caller's.
//!
//! A record is written whole or not at all: one that does not fit leaves the pack as it was, so that a node can finish
//! it and begin the next with the very same record.

use crate::record::in_name;
use crate::{Field, MAX_EXACT, MAX_NAME, MAX_RECORDS, MAX_UNIT, WriteError};

mod cbor;
mod json;

pub use cbor::Cbor;
pub use json::Json;

/// A number as its owner has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Number {
    /// A double; refused if not finite.
    Float(f64),
    /// A whole number, written as one; at most 2^53 in magnitude.
    Int(i64),
    /// Thousandths, written as a decimal fraction; at most 2^53 in magnitude. For nodes without floats to spare.
    Milli(i64),
}

impl Number {
    fn check(self) -> Result<Self, WriteError> {
        match self {
            Self::Float(value) if !value.is_finite() => Err(WriteError::NonFinite),
            Self::Int(value) | Self::Milli(value) if value.unsigned_abs() > MAX_EXACT => Err(WriteError::NotExact),
            _ => Ok(self),
        }
    }

    /// Checks a time: bounded so that a base time and a time have a finite sum.
    #[expect(clippy::cast_precision_loss, reason = "2^53 is exact")]
    fn check_time(self) -> Result<Self, WriteError> {
        match self.check()? {
            Self::Float(value) if !(-(MAX_EXACT as f64)..=MAX_EXACT as f64).contains(&value) => {
                Err(WriteError::NotExact)
            }
            sound => Ok(sound),
        }
    }
}

/// A value of a record, or of any of its fields.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Payload<'a> {
    /// `v`
    Number(Number),
    /// `vb`
    Bool(bool),
    /// `vs`
    Text(&'a str),
    /// `vd`
    Data(&'a [u8]),
}

/// One record to be written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry<'a> {
    /// `n`; appended to the base name in force.
    pub name: &'a str,
    /// `u`
    pub unit: Option<&'a str>,
    /// `v`, `vb`, `vs` or `vd`.
    pub value: Option<Payload<'a>>,
    /// `s`
    pub sum: Option<Number>,
    /// `t`, s; added to the base time in force.
    pub time_s: Option<Number>,
    /// `ut`, s
    pub update_s: Option<Number>,
}

impl<'a> Entry<'a> {
    /// Starts a record with a name and a value.
    #[must_use]
    pub const fn new(name: &'a str, value: Payload<'a>) -> Self {
        Self { name, unit: None, value: Some(value), sum: None, time_s: None, update_s: None }
    }

    /// Starts a record with a number.
    #[must_use]
    pub const fn number(name: &'a str, value: Number) -> Self {
        Self::new(name, Payload::Number(value))
    }

    /// Makes a whole number of unit "count"; at most 2^53.
    ///
    /// # Errors
    /// [`WriteError::NotExact`] beyond that.
    pub fn count(name: &'a str, value: u64) -> Result<Self, WriteError> {
        let value = i64::try_from(value).map_err(|_| WriteError::NotExact)?;
        Number::Int(value).check()?;
        Ok(Self::number(name, Number::Int(value)).unit("count"))
    }

    /// Sets the unit.
    #[must_use]
    pub const fn unit(self, unit: &'a str) -> Self {
        Self { unit: Some(unit), ..self }
    }

    /// Sets the time, s.
    #[must_use]
    pub const fn time_s(self, time_s: Number) -> Self {
        Self { time_s: Some(time_s), ..self }
    }
}

/// Base fields that a record brings along for itself and those after it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Base<'a> {
    /// `bn`
    pub name: Option<&'a str>,
    /// `bt`, s
    pub time_s: Option<Number>,
    /// `bu`
    pub unit: Option<&'a str>,
}

/// One field with what is to be written for it.
type Put<'a> = (Field, Payload<'a>);

/// Writes a pack of one format.
pub struct PackWriter<'b, F> {
    out: Out<'b>,
    format: core::marker::PhantomData<F>,
    records: u32,
    base_name: BaseName,
}

/// Writes a pack as JSON.
pub type JsonWriter<'b> = PackWriter<'b, Json>;
/// Writes a pack as CBOR.
pub type CborWriter<'b> = PackWriter<'b, Cbor>;

impl<'b, F: Format> PackWriter<'b, F> {
    /// Begins a pack at the start of `buffer`.
    ///
    /// # Errors
    /// [`WriteError::Full`] if not even an empty pack fits (2 bytes).
    pub fn new(buffer: &'b mut [u8]) -> Result<Self, WriteError> {
        let limit = buffer.len().checked_sub(F::TAIL).ok_or(WriteError::Full)?;
        let mut out = Out { buffer, len: 0, limit };
        F::open(&mut out)?;
        Ok(Self { out, format: core::marker::PhantomData, records: 0, base_name: BaseName::default() })
    }

    /// Appends a record.
    ///
    /// # Errors
    /// Why it was not written; the pack is then as it was before.
    pub fn record(&mut self, entry: &Entry<'_>) -> Result<(), WriteError> {
        self.record_with(&Base::default(), entry)
    }

    /// Appends a record that brings base fields along, which hold for it and those after it.
    ///
    /// # Errors
    /// Why it was not written; the pack and the base in force are then as before.
    pub fn record_with(&mut self, base: &Base<'_>, entry: &Entry<'_>) -> Result<(), WriteError> {
        if self.records == MAX_RECORDS {
            return Err(WriteError::TooManyRecords);
        }
        let base_name = base.name.map_or(self.base_name, BaseName::of);
        base_name.check_with(entry.name)?;
        let fields = fields_of(base, entry)?;
        let start = self.out.len;
        if let Err(error) = F::record(&mut self.out, self.records, &fields) {
            self.out.len = start;
            return Err(error);
        }
        self.base_name = base_name;
        self.records += 1;
        Ok(())
    }

    /// Returns how many records were written.
    #[must_use]
    pub const fn records(&self) -> u32 {
        self.records
    }

    /// Keeps `room` bytes free for what comes last.
    ///
    /// # Errors
    /// [`WriteError::Full`] if there are not so many.
    pub fn reserve(&mut self, room: usize) -> Result<(), WriteError> {
        let limit = self.out.limit.checked_sub(room).filter(|limit| *limit >= self.out.len);
        self.out.limit = limit.ok_or(WriteError::Full)?;
        Ok(())
    }

    /// Gives back what was kept free.
    pub(crate) const fn release(&mut self) {
        self.out.limit = self.out.buffer.len() - F::TAIL;
    }

    /// What was written so far, without the pack's end.
    pub(crate) fn written(&self) -> &[u8] {
        self.out.buffer.get(..self.out.len).unwrap_or_default()
    }

    /// Ends the pack and returns its bytes.
    #[must_use]
    pub fn finish(self) -> &'b [u8] {
        let Out { buffer, len, .. } = self.out;
        F::close(buffer, len)
    }
}

/// Lists the fields to be written, in the order of the RFC's own examples.
fn fields_of<'a>(base: &Base<'a>, entry: &Entry<'a>) -> Result<heapless::Vec<Put<'a>, 9>, WriteError> {
    if entry.value.is_none() && entry.sum.is_none() {
        return Err(WriteError::NoValue);
    }
    if [base.unit, entry.unit].into_iter().flatten().any(|unit| unit.len() > MAX_UNIT) {
        return Err(WriteError::UnitTooLong);
    }
    let time = |time: Option<Number>| time.map(Number::check_time).transpose();
    let number = |number: Option<Number>| number.map(Number::check).transpose();
    if let Some(Payload::Number(value)) = entry.value {
        value.check()?;
    }
    let name = Some(entry.name).filter(|name| !name.is_empty());
    let all = [
        (Field::BaseName, base.name.map(Payload::Text)),
        (Field::BaseTime, time(base.time_s)?.map(Payload::Number)),
        (Field::BaseUnit, base.unit.map(Payload::Text)),
        (Field::Name, name.map(Payload::Text)),
        (Field::Unit, entry.unit.map(Payload::Text)),
        (entry.value.map_or(Field::Value, value_field), entry.value),
        (Field::Sum, number(entry.sum)?.map(Payload::Number)),
        (Field::Time, time(entry.time_s)?.map(Payload::Number)),
        (Field::UpdateTime, number(entry.update_s)?.map(Payload::Number)),
    ];
    Ok(all.into_iter().filter_map(|(field, payload)| Some((field, payload?))).collect())
}

const fn value_field(payload: Payload<'_>) -> Field {
    match payload {
        Payload::Number(_) => Field::Value,
        Payload::Bool(_) => Field::Bool,
        Payload::Text(_) => Field::Text,
        Payload::Data(_) => Field::Data,
    }
}

/// What must be known of the base name to judge full names.
#[derive(Clone, Copy, Default)]
struct BaseName {
    len: usize,
    bad: bool,
}

impl BaseName {
    fn of(name: &str) -> Self {
        Self { len: name.len(), bad: !may_start(name) || !may_follow(name) }
    }

    fn check_with(self, name: &str) -> Result<(), WriteError> {
        if self.len.saturating_add(name.len()) > MAX_NAME {
            return Err(WriteError::NameTooLong);
        }
        let empty = self.len == 0 && name.is_empty();
        let starts = self.len > 0 || may_start(name);
        if empty || self.bad || !starts || !may_follow(name) { Err(WriteError::BadName) } else { Ok(()) }
    }
}

fn may_start(name: &str) -> bool {
    name.bytes().next().is_none_or(|c| c.is_ascii_alphanumeric())
}

fn may_follow(name: &str) -> bool {
    name.bytes().all(in_name)
}

/// A format a pack can be written in: [`Json`] or [`Cbor`].
pub trait Format: sealed::Sealed {}

impl<F: sealed::Sealed> Format for F {}

pub(crate) mod sealed {
    use super::{Out, Put};
    use crate::WriteError;

    /// How a format spells a pack. A failed call may leave bytes after `len` at its start; the caller takes them back.
    pub trait Sealed {
        /// Bytes kept free for the end of the pack.
        const TAIL: usize;
        fn open(out: &mut Out<'_>) -> Result<(), WriteError>;
        fn record(out: &mut Out<'_>, index: u32, fields: &[Put<'_>]) -> Result<(), WriteError>;
        fn close(buffer: &mut [u8], len: usize) -> &[u8];
    }
}

/// The buffer and how far it is filled.
pub struct Out<'b> {
    buffer: &'b mut [u8],
    len: usize,
    limit: usize,
}

impl Out<'_> {
    fn push(&mut self, bytes: &[u8]) -> Result<(), WriteError> {
        let end = self.len.checked_add(bytes.len()).filter(|&end| end <= self.limit).ok_or(WriteError::Full)?;
        self.buffer.get_mut(self.len..end).ok_or(WriteError::Full)?.copy_from_slice(bytes);
        self.len = end;
        Ok(())
    }
}

/// For numbers in JSON.
impl core::fmt::Write for Out<'_> {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        self.push(text.as_bytes()).map_err(|_| core::fmt::Error)
    }
}

/// For items of CBOR.
impl minicbor::encode::Write for Out<'_> {
    type Error = WriteError;

    fn write_all(&mut self, bytes: &[u8]) -> Result<(), WriteError> {
        self.push(bytes)
    }
}
