//! Text and data values, borrowed from the pack as they stand there.

use core::fmt;

/// Borrows a text value from a pack; escapes of JSON are resolved as it is read.
#[derive(Clone, Copy)]
pub struct Text<'a> {
    raw: &'a str,
    escaped: bool,
}

impl<'a> Text<'a> {
    /// Wraps text that stands for itself.
    #[must_use]
    pub const fn plain(raw: &'a str) -> Self {
        Self { raw, escaped: false }
    }

    /// Wraps what stands between the quotes of a JSON string; `None` if it is no UTF-8, has a bare control character
    /// or an escape that is none (RFC 8259, section 7), a lone surrogate among them.
    pub(crate) fn of_json(raw: &'a [u8], escaped: bool) -> Option<Self> {
        let raw = core::str::from_utf8(raw).ok()?;
        if !escaped {
            return Some(Self::plain(raw));
        }
        let mut rest = raw.chars();
        while !rest.as_str().is_empty() {
            unescape(&mut rest)?;
        }
        Some(Self { raw, escaped })
    }

    /// Iterates over the characters, escapes resolved.
    #[must_use]
    pub fn chars(&self) -> Chars<'a> {
        Chars { rest: self.raw.chars(), escaped: self.escaped }
    }

    /// Returns the text where it needs no unescaping.
    #[must_use]
    pub fn as_str(&self) -> Option<&'a str> {
        (!self.escaped).then_some(self.raw)
    }

    /// Returns whether there are no characters.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.raw.is_empty()
    }

    /// Appends the text to `out`; `None` if it does not fit, `out` then holds part of it.
    pub(crate) fn append_to<const N: usize>(&self, out: &mut heapless::String<N>) -> Option<()> {
        match self.as_str() {
            Some(plain) => out.push_str(plain).ok(),
            None => self.chars().try_for_each(|c| out.push(c).ok()),
        }
    }
}

impl PartialEq for Text<'_> {
    fn eq(&self, other: &Self) -> bool {
        self.chars().eq(other.chars())
    }
}

impl fmt::Debug for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "\"{self}\"")
    }
}

impl fmt::Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.chars().try_for_each(|c| fmt::Write::write_char(f, c))
    }
}

/// Iterates over the characters of a [`Text`].
#[derive(Clone, Debug)]
pub struct Chars<'a> {
    rest: core::str::Chars<'a>,
    escaped: bool,
}

impl Iterator for Chars<'_> {
    type Item = char;

    fn next(&mut self) -> Option<char> {
        // The text was checked when it was read, so that an escape cannot fail here; if one did, the text would end.
        if self.escaped { unescape(&mut self.rest) } else { self.rest.next() }
    }
}

/// Takes one character, escaped or not; `None` at the end or where the escape is none.
fn unescape(rest: &mut core::str::Chars<'_>) -> Option<char> {
    match rest.next()? {
        '\\' => {}
        c => return Some(c),
    }
    Some(match rest.next()? {
        c @ ('"' | '\\' | '/') => c,
        'b' => '\u{8}',
        'f' => '\u{c}',
        'n' => '\n',
        'r' => '\r',
        't' => '\t',
        'u' => {
            let first = hex4(rest)?;
            if !(0xd800..0xdc00).contains(&first) {
                // A low surrogate alone is refused by `from_u32`.
                return char::from_u32(first);
            }
            if rest.next()? != '\\' || rest.next()? != 'u' {
                return None;
            }
            let second = hex4(rest)?;
            if !(0xdc00..0xe000).contains(&second) {
                return None;
            }
            return char::from_u32(0x1_0000 + ((first - 0xd800) << 10) + (second - 0xdc00));
        }
        _ => return None,
    })
}

fn hex4(rest: &mut core::str::Chars<'_>) -> Option<u32> {
    (0..4).try_fold(0, |sum, _| Some(sum * 16 + rest.next()?.to_digit(16)?))
}

/// Borrows a data value from a pack: bytes from CBOR, base64url (RFC 4648, section 5) from JSON.
#[derive(Clone, Copy)]
pub struct Data<'a>(Source<'a>);

#[derive(Clone, Copy)]
enum Source<'a> {
    Bytes(&'a [u8]),
    Base64(&'a [u8]),
}

impl<'a> Data<'a> {
    /// Wraps bytes that stand for themselves.
    #[must_use]
    pub const fn plain(bytes: &'a [u8]) -> Self {
        Self(Source::Bytes(bytes))
    }

    /// Wraps base64url text; padding is tolerated though RFC 8428 has none. `None` if it is none.
    pub(crate) fn of_base64(text: Text<'a>) -> Option<Self> {
        let digits = text.as_str()?.trim_end_matches('=').as_bytes();
        let whole = digits.len() % 4 != 1 && digits.iter().all(|&c| sextet(c).is_some());
        whole.then_some(Self(Source::Base64(digits)))
    }

    /// Iterates over the bytes.
    #[must_use]
    pub fn bytes(&self) -> DataBytes<'a> {
        let (source, decode) = match self.0 {
            Source::Bytes(bytes) => (bytes, false),
            Source::Base64(digits) => (digits, true),
        };
        DataBytes { rest: source.iter(), decode, held: 0, held_bits: 0 }
    }
}

impl PartialEq for Data<'_> {
    fn eq(&self, other: &Self) -> bool {
        self.bytes().eq(other.bytes())
    }
}

impl fmt::Debug for Data<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.bytes()).finish()
    }
}

/// Iterates over the bytes of a [`Data`].
#[derive(Clone, Debug)]
pub struct DataBytes<'a> {
    rest: core::slice::Iter<'a, u8>,
    decode: bool,
    held: u16,
    held_bits: u8,
}

impl Iterator for DataBytes<'_> {
    type Item = u8;

    fn next(&mut self) -> Option<u8> {
        if !self.decode {
            return self.rest.next().copied();
        }
        while self.held_bits < 8 {
            // At most 7 bits are held, so that 6 more always fit.
            self.held = (self.held << 6) | u16::from(sextet(*self.rest.next()?)?);
            self.held_bits += 6;
        }
        self.held_bits -= 8;
        let [_, byte] = (self.held >> self.held_bits).to_be_bytes();
        self.held &= (1 << self.held_bits) - 1;
        Some(byte)
    }
}

/// The alphabet of base64url, by value.
pub(crate) const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

fn sextet(c: u8) -> Option<u8> {
    Some(match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'-' => 62,
        b'_' => 63,
        _ => return None,
    })
}
