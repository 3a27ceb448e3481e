//! Reads SenML as CBOR (RFC 8428, section 6; RFC 8949).
//!
//! Framing is the heads of items and their lengths. An item of the wrong type costs its record; a head that is
//! reserved, or bytes that end early, cost the rest of the pack.

use minicbor::data::Type;
use minicbor::decode::Decoder;

use crate::number;
use crate::resolve::{Draft, Item};
use crate::{Error, Field, MAX_DEPTH, Text};

/// The byte that ends an item of indefinite length.
const BREAK: u8 = 0xff;
/// The tag of a decimal fraction (RFC 8949, section 3.4.4).
const DECIMAL: u64 = 4;

pub(crate) struct Reader<'a> {
    cbor: Decoder<'a>,
    /// Entries of the pack still to come; `None` where it has no definite length.
    left: Option<u64>,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        Self { cbor: Decoder::new(bytes), left: Some(0) }
    }

    /// Reads the head of the pack (`first`) or steps to the next entry; returns whether there is one.
    pub(crate) fn next_entry(&mut self, first: bool) -> Result<bool, Error> {
        if first {
            self.left = self.cbor.array().map_err(|_| self.framing())?;
        }
        if self.more()? {
            return Ok(true);
        }
        let at = self.cbor.position();
        if at < self.cbor.input().len() { Err(Error::Trailing { at }) } else { Ok(false) }
    }

    /// Counts one entry off, or takes the break after the last.
    fn more(&mut self) -> Result<bool, Error> {
        match self.left {
            Some(0) => Ok(false),
            Some(n) => {
                self.left = Some(n - 1);
                Ok(true)
            }
            None => self.before_break(),
        }
    }

    /// Returns whether an item comes next; takes the break if one does.
    fn before_break(&mut self) -> Result<bool, Error> {
        let at = self.cbor.position();
        match self.cbor.input().get(at) {
            Some(&BREAK) => {
                self.cbor.set_position(at + 1);
                Ok(false)
            }
            Some(_) => Ok(true),
            None => Err(self.framing()),
        }
    }

    /// Reads one entry of the pack into `draft`; returns whether it was a record at all.
    pub(crate) fn record(&mut self, draft: &mut Draft<'a>) -> Result<bool, Error> {
        let start = self.cbor.position();
        let Ok(length) = self.cbor.map() else {
            self.cbor.set_position(start);
            self.skip()?;
            return Ok(false);
        };
        match length {
            Some(length) => {
                for _ in 0..length {
                    self.field(draft)?;
                }
            }
            None => {
                while self.before_break()? {
                    self.field(draft)?;
                }
            }
        }
        Ok(true)
    }

    fn field(&mut self, draft: &mut Draft<'a>) -> Result<(), Error> {
        let start = self.cbor.position();
        let known = match self.kind()? {
            Type::String => {
                let Ok(label) = self.cbor.str() else {
                    self.cbor.set_position(start);
                    self.skip()?;
                    return self.skip();
                };
                let bytes = label.as_bytes();
                let known = Field::of_label(bytes);
                if known.is_none() {
                    draft.unknown(bytes.first().copied(), bytes.last().copied())?;
                }
                known
            }
            Type::U8 | Type::U16 | Type::U32 | Type::U64 | Type::I8 | Type::I16 | Type::I32 | Type::I64 => {
                Field::of_number(self.cbor.i64().unwrap_or(i64::MAX))
            }
            _ => {
                self.skip()?;
                None
            }
        };
        match known {
            Some(field) => {
                let item = self.item()?;
                draft.put(field, item);
                Ok(())
            }
            None => self.skip(),
        }
    }

    /// Reads the value of a known field; whatever it is, the place after it is reached.
    fn item(&mut self) -> Result<Item<'a>, Error> {
        let start = self.cbor.position();
        if let Some(item) = self.item_of(self.kind()?) {
            return Ok(item);
        }
        self.cbor.set_position(start);
        self.skip()?;
        Ok(Item::Bad)
    }

    fn item_of(&mut self, kind: Type) -> Option<Item<'a>> {
        match kind {
            Type::F16 | Type::F32 | Type::F64 => self.cbor.f64().ok().map(Item::Number),
            Type::String => self.cbor.str().ok().map(|text| Item::Text(Text::plain(text))),
            Type::Bytes => self.cbor.bytes().ok().map(Item::Bytes),
            Type::Bool => self.cbor.bool().ok().map(Item::Bool),
            Type::Tag => self.decimal().map(Item::Number),
            _ => self.integer().and_then(|whole| number::decimal(whole, 0)).map(Item::Number),
        }
    }

    fn integer(&mut self) -> Option<i128> {
        self.cbor.int().ok().map(i128::from)
    }

    /// Reads a decimal fraction: tag 4 around [exponent, mantissa].
    fn decimal(&mut self) -> Option<f64> {
        if self.cbor.tag().ok()?.as_u64() != DECIMAL || self.cbor.array().ok()? != Some(2) {
            return None;
        }
        let exponent = i64::try_from(self.integer()?).ok()?;
        number::decimal(self.integer()?, exponent)
    }

    fn kind(&self) -> Result<Type, Error> {
        self.cbor.datatype().map_err(|_| self.framing())
    }

    /// Passes over one item, whatever it is. Each step takes at least one byte, so that a huge length cannot hold it.
    fn skip(&mut self) -> Result<(), Error> {
        // The items still to come in each open container, innermost last; `None` where a break ends it.
        let mut open = heapless::Vec::<Option<u64>, MAX_DEPTH>::new();
        loop {
            match open.last_mut() {
                Some(Some(0)) => {
                    open.pop();
                }
                Some(None) if !self.before_break()? => {
                    open.pop();
                }
                Some(Some(left)) => {
                    *left -= 1;
                    self.step_into(&mut open)?;
                }
                _ => self.step_into(&mut open)?,
            }
            if open.is_empty() {
                return Ok(());
            }
        }
    }

    /// Passes over one head; opens what it opens.
    fn step_into(&mut self, open: &mut heapless::Vec<Option<u64>, MAX_DEPTH>) -> Result<(), Error> {
        let (major, length) = self.head()?;
        let inside = match (major, length) {
            // Numbers and simple values end with their head.
            (0 | 1 | 7, Some(_)) => return Ok(()),
            (2 | 3, Some(length)) => return self.advance(length),
            (2..=4, None) => None,
            (4, length) => length,
            (5, length) => length.map(|pairs| pairs.saturating_mul(2)),
            (6, Some(_)) => Some(1),
            _ => return Err(self.framing()),
        };
        open.push(inside).map_err(|_| Error::TooDeep)
    }

    /// Reads the head of an item (RFC 8949, section 3): its major type and argument, `None` if indefinite.
    fn head(&mut self) -> Result<(u8, Option<u64>), Error> {
        let at = self.cbor.position();
        let rest = self.cbor.input().get(at..).unwrap_or_default();
        let (first, rest) = rest.split_first().ok_or_else(|| self.framing())?;
        let len = match first & 0x1f {
            info @ 0..24 => {
                self.cbor.set_position(at + 1);
                return Ok((first >> 5, Some(u64::from(info))));
            }
            31 => {
                self.cbor.set_position(at + 1);
                return Ok((first >> 5, None));
            }
            info @ 24..=27 => 1_usize << (info - 24),
            _ => return Err(self.framing()),
        };
        let argument = rest.get(..len).ok_or_else(|| self.framing())?;
        self.cbor.set_position(at + 1 + len);
        Ok((first >> 5, Some(argument.iter().fold(0, |sum, &byte| (sum << 8) | u64::from(byte)))))
    }

    fn advance(&mut self, length: u64) -> Result<(), Error> {
        let end = usize::try_from(length).ok().and_then(|length| self.cbor.position().checked_add(length));
        match end {
            Some(end) if end <= self.cbor.input().len() => {
                self.cbor.set_position(end);
                Ok(())
            }
            _ => Err(self.framing()),
        }
    }

    fn framing(&self) -> Error {
        Error::Framing { at: self.cbor.position() }
    }
}
