//! Reads packs and lines.

use core::iter::FusedIterator;

use crate::resolve::{Base, Draft};
use crate::{Error, MAX_RECORDS, Record, cbor, json};

/// Reads a pack, JSON or CBOR told apart by the first byte.
///
/// JSON starts with `[`, white space before it allowed; CBOR with an array head (major type 4).
#[must_use]
pub fn decode(bytes: &[u8]) -> Decoder<'_> {
    let first = bytes.iter().find(|c| !c.is_ascii_whitespace());
    let source = match (first, bytes.first()) {
        (Some(b'['), _) => Source::Json(json::Reader::new(bytes)),
        (_, Some(0x80..=0x9b | 0x9f)) => Source::Cbor(cbor::Reader::new(bytes)),
        _ => Source::Unknown,
    };
    Decoder { source, base: Base::default(), entries: 0, done: false }
}

/// Reads one JSON record: a line of a resolved stream.
///
/// Base fields are applied to the record itself and marked by [`Record::had_base`].
///
/// # Errors
/// Whatever is wrong with the record, its version included; [`Error::OnlyBase`] for base fields alone.
pub fn decode_line(line: &[u8]) -> Result<Record<'_>, Error> {
    let mut reader = json::Reader::new(line);
    let mut draft = Draft::new();
    let is_record = reader.record(&mut draft)?;
    reader.end()?;
    if !is_record {
        return Err(Error::NotARecord);
    }
    Base::default().apply(draft)
}

enum Source<'a> {
    Json(json::Reader<'a>),
    Cbor(cbor::Reader<'a>),
    Unknown,
}

/// Yields the records of a pack in their order, each resolved against the base fields in force.
///
/// Records of base fields only are legal and not yielded. After an error for which [`Error::ends_pack`] holds there is
/// nothing more.
pub struct Decoder<'a> {
    source: Source<'a>,
    base: Base,
    /// Entries met so far.
    entries: u32,
    done: bool,
}

impl<'a> Decoder<'a> {
    /// Reads one entry; `None` at the end of the pack.
    fn entry(&mut self) -> Result<Option<Record<'a>>, Error> {
        let first = self.entries == 0;
        let more = match &mut self.source {
            Source::Json(reader) => reader.next_entry(first)?,
            Source::Cbor(reader) => reader.next_entry(first)?,
            Source::Unknown => return Err(Error::NotSenml),
        };
        if !more {
            return Ok(None);
        }
        if self.entries == MAX_RECORDS {
            return Err(Error::TooManyRecords);
        }
        self.entries += 1;
        let mut draft = Draft::new();
        let is_record = match &mut self.source {
            Source::Json(reader) => reader.record(&mut draft)?,
            Source::Cbor(reader) => reader.record(&mut draft)?,
            Source::Unknown => false,
        };
        if is_record { self.base.apply(draft).map(Some) } else { Err(Error::NotARecord) }
    }
}

impl<'a> Iterator for Decoder<'a> {
    type Item = Result<Record<'a>, Error>;

    fn next(&mut self) -> Option<Self::Item> {
        while !self.done {
            match self.entry() {
                Ok(Some(record)) => return Some(Ok(record)),
                Ok(None) => self.done = true,
                Err(Error::OnlyBase) => {}
                Err(error) => {
                    self.done = error.ends_pack();
                    return Some(Err(error));
                }
            }
        }
        None
    }
}

impl FusedIterator for Decoder<'_> {}
