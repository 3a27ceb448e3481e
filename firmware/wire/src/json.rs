//! Reads SenML as JSON (RFC 8428, section 5; RFC 8259).
//!
//! Framing is what carries a reader from one record to the next: brackets, quotes, colons, commas. Where only a value
//! is wrong (`nan`, an empty place after a colon, a bad escape) the record is lost and reading goes on.

use crate::number;
use crate::resolve::{Draft, Item};
use crate::{Error, Field, MAX_DEPTH, Text};

pub(crate) struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Reader<'a> {
    pub(crate) const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// Steps over the opening bracket (`first`) or the comma before the next entry; returns whether there is one.
    pub(crate) fn next_entry(&mut self, first: bool) -> Result<bool, Error> {
        match self.peek_token() {
            Some(b'[') if first => {
                self.at += 1;
                if self.peek_token() != Some(b']') {
                    return Ok(true);
                }
            }
            Some(b',') if !first => {
                self.at += 1;
                return Ok(true);
            }
            Some(b']') if !first => {}
            _ => return Err(self.framing()),
        }
        self.at += 1;
        self.end().map(|()| false)
    }

    /// Checks that nothing but white space follows.
    pub(crate) fn end(&mut self) -> Result<(), Error> {
        match self.peek_token() {
            None => Ok(()),
            Some(_) => Err(Error::Trailing { at: self.at }),
        }
    }

    /// Reads one entry of the pack into `draft`; returns whether it was a record at all.
    pub(crate) fn record(&mut self, draft: &mut Draft<'a>) -> Result<bool, Error> {
        if self.peek_token() != Some(b'{') {
            self.skip()?;
            return Ok(false);
        }
        self.at += 1;
        if self.peek_token() == Some(b'}') {
            self.at += 1;
            return Ok(true);
        }
        loop {
            self.expect_token(b'"')?;
            let label = self.string()?;
            self.expect_token(b':')?;
            self.field(label, draft)?;
            match self.peek_token() {
                Some(b',') => self.at += 1,
                Some(b'}') => {
                    self.at += 1;
                    return Ok(true);
                }
                _ => return Err(self.framing()),
            }
        }
    }

    fn field(&mut self, label: Raw<'a>, draft: &mut Draft<'a>) -> Result<(), Error> {
        let known = if label.escaped { label.unescape_field() } else { Field::of_label(label.bytes) };
        if let Some(field) = known {
            let item = self.item()?;
            draft.put(field, item);
            return Ok(());
        }
        let (first, last) = label.ends();
        draft.unknown(first, last)?;
        self.skip()
    }

    /// Reads the value of a known field.
    fn item(&mut self) -> Result<Item<'a>, Error> {
        match self.peek_token() {
            Some(b'"') => {
                self.at += 1;
                let raw = self.string()?;
                Ok(raw.text().map_or(Item::Bad, Item::Text))
            }
            Some(b'{' | b'[') => {
                self.skip()?;
                Ok(Item::Bad)
            }
            Some(_) => Ok(self.bare()),
            None => Err(self.framing()),
        }
    }

    /// Reads a value that is neither string nor container: it goes as far as no delimiter stops it.
    fn bare(&mut self) -> Item<'a> {
        let rest = self.rest();
        if let Some((number, len)) = number::scan(rest)
            && rest.get(len).is_none_or(|&c| delimits(c))
        {
            self.at += len;
            return Item::Number(number);
        }
        let len = rest.iter().position(|&c| delimits(c)).unwrap_or(rest.len());
        self.at += len;
        match rest.get(..len).unwrap_or_default() {
            b"true" => Item::Bool(true),
            b"false" => Item::Bool(false),
            word if spells_non_finite(word) => Item::NonFinite,
            _ => Item::Bad,
        }
    }

    /// Passes over one value, whatever it is.
    fn skip(&mut self) -> Result<(), Error> {
        // One bit for each open bracket, the innermost lowest: 1 for a brace.
        let (mut open, mut depth) = (0_u32, 0_usize);
        loop {
            match self.peek_token().ok_or_else(|| self.framing())? {
                b'"' => {
                    self.at += 1;
                    self.string()?;
                }
                bracket @ (b'{' | b'[') => {
                    if depth == MAX_DEPTH {
                        return Err(Error::TooDeep);
                    }
                    self.at += 1;
                    open = (open << 1) | u32::from(bracket == b'{');
                    depth += 1;
                }
                bracket @ (b'}' | b']') if depth > 0 => {
                    if (open & 1 == 1) != (bracket == b'}') {
                        return Err(self.framing());
                    }
                    self.at += 1;
                    open >>= 1;
                    depth -= 1;
                }
                b',' | b':' if depth > 0 => self.at += 1,
                _ => {
                    // An empty place stands for a missing value, unless nothing would ever move on.
                    self.bare();
                }
            }
            if depth == 0 {
                return Ok(());
            }
        }
    }

    /// Reads the rest of a string, its opening quote taken.
    fn string(&mut self) -> Result<Raw<'a>, Error> {
        let rest = self.rest();
        let (mut len, mut escaped, mut control) = (0, false, false);
        loop {
            match *rest.get(len).ok_or(Error::Framing { at: self.bytes.len() })? {
                b'"' => break,
                b'\\' => {
                    escaped = true;
                    len += 1;
                }
                c => control |= c < 0x20,
            }
            len += 1;
        }
        self.at += len + 1;
        Ok(Raw { bytes: rest.get(..len).unwrap_or_default(), escaped, control })
    }

    fn rest(&self) -> &'a [u8] {
        self.bytes.get(self.at..).unwrap_or_default()
    }

    /// Steps over white space; returns the byte after it.
    fn peek_token(&mut self) -> Option<u8> {
        loop {
            match self.bytes.get(self.at).copied() {
                Some(b' ' | b'\t' | b'\n' | b'\r') => self.at += 1,
                other => return other,
            }
        }
    }

    fn expect_token(&mut self, expected: u8) -> Result<(), Error> {
        if self.peek_token() == Some(expected) {
            self.at += 1;
            Ok(())
        } else {
            Err(self.framing())
        }
    }

    fn framing(&self) -> Error {
        Error::Framing { at: self.at }
    }
}

/// What stands between the quotes of a string.
#[derive(Clone, Copy)]
struct Raw<'a> {
    bytes: &'a [u8],
    escaped: bool,
    /// There is a bare control character, which JSON does not allow.
    control: bool,
}

impl<'a> Raw<'a> {
    fn text(&self) -> Option<Text<'a>> {
        if self.control { None } else { Text::of_json(self.bytes, self.escaped) }
    }

    fn unescape_field(&self) -> Option<Field> {
        let mut label = heapless::String::<4>::new();
        self.text()?.append_to(&mut label)?;
        Field::of_label(label.as_bytes())
    }

    /// The first and the last character, as far as they are ASCII; those of a label whose escapes are broken decide
    /// as they stand.
    fn ends(&self) -> (Option<u8>, Option<u8>) {
        let Some(mut chars) = self.text().map(|text| text.chars()) else {
            return (self.bytes.first().copied(), self.bytes.last().copied());
        };
        let first = chars.next();
        let last = chars.last().or(first);
        (first.and_then(ascii), last.and_then(ascii))
    }
}

fn ascii(c: char) -> Option<u8> {
    u8::try_from(c).ok().filter(u8::is_ascii)
}

const fn delimits(c: u8) -> bool {
    matches!(c, b',' | b':' | b'"' | b'{' | b'}' | b'[' | b']' | b' ' | b'\t' | b'\n' | b'\r')
}

/// Returns whether `word` is what printing a non-finite number yields in some language or other.
fn spells_non_finite(word: &[u8]) -> bool {
    let word = word.strip_prefix(b"-").or_else(|| word.strip_prefix(b"+")).unwrap_or(word);
    [&b"nan"[..], b"inf", b"infinity"].iter().any(|known| word.eq_ignore_ascii_case(known))
}
