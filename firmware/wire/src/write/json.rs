//! Writes SenML as JSON (RFC 8428, section 5).

use core::fmt::Write as _;

use super::sealed::Sealed;
use super::{Number, Out, Payload, Put};
use crate::WriteError;
use crate::text::ALPHABET;

/// Stands for JSON.
#[derive(Clone, Copy, Debug)]
pub struct Json;

impl Sealed for Json {
    const TAIL: usize = 1;

    fn open(out: &mut Out<'_>) -> Result<(), WriteError> {
        out.push(b"[")
    }

    fn record(out: &mut Out<'_>, index: u32, fields: &[Put<'_>]) -> Result<(), WriteError> {
        if index > 0 {
            out.push(b",")?;
        }
        out.push(b"{")?;
        for (place, (field, payload)) in fields.iter().enumerate() {
            out.push(if place > 0 { b",\"" } else { b"\"" })?;
            out.push(field.label().as_bytes())?;
            out.push(b"\":")?;
            match *payload {
                Payload::Number(value) => number(out, value)?,
                Payload::Bool(value) => out.push(if value { b"true" } else { b"false" })?,
                Payload::Text(text) => string(out, text)?,
                Payload::Data(bytes) => base64(out, bytes)?,
            }
        }
        out.push(b"}")
    }

    fn close(buffer: &mut [u8], len: usize) -> &[u8] {
        if let Some(last) = buffer.get_mut(len) {
            *last = b']';
        }
        buffer.get(..=len).unwrap_or_default()
    }
}

fn number(out: &mut Out<'_>, number: Number) -> Result<(), WriteError> {
    match number {
        Number::Int(whole) => write!(out, "{whole}"),
        Number::Milli(thousandths) => return milli(out, thousandths),
        // Plain digits where they are few, else with an exponent; both are the shortest that read back the same.
        Number::Float(value) if value == 0.0 || (1e-5..1e16).contains(&value.abs()) => write!(out, "{value}"),
        Number::Float(value) => write!(out, "{value:e}"),
    }
    .map_err(|_| WriteError::Full)
}

fn milli(out: &mut Out<'_>, thousandths: i64) -> Result<(), WriteError> {
    let magnitude = thousandths.unsigned_abs();
    let sign = if thousandths < 0 { "-" } else { "" };
    let (whole, rest) = (magnitude / 1000, magnitude % 1000);
    let (digits, width) = match rest {
        0 => return write!(out, "{sign}{whole}").map_err(|_| WriteError::Full),
        _ if rest.is_multiple_of(100) => (rest / 100, 1),
        _ if rest.is_multiple_of(10) => (rest / 10, 2),
        _ => (rest, 3),
    };
    write!(out, "{sign}{whole}.{digits:0width$}").map_err(|_| WriteError::Full)
}

fn string(out: &mut Out<'_>, text: &str) -> Result<(), WriteError> {
    out.push(b"\"")?;
    for c in text.chars() {
        match c {
            '"' => out.push(b"\\\""),
            '\\' => out.push(b"\\\\"),
            '\0'..='\u{1f}' => write!(out, "\\u{:04x}", u32::from(c)).map_err(|_| WriteError::Full),
            _ => out.push(c.encode_utf8(&mut [0; 4]).as_bytes()),
        }?;
    }
    out.push(b"\"")
}

/// Writes base64url without padding (RFC 4648, section 5).
fn base64(out: &mut Out<'_>, bytes: &[u8]) -> Result<(), WriteError> {
    out.push(b"\"")?;
    for group in bytes.chunks(3) {
        let bits = group.iter().fold(0_usize, |bits, &byte| (bits << 8) | usize::from(byte)) << (8 * (3 - group.len()));
        for place in 0..=group.len() {
            let digit = (bits >> (18 - 6 * place)) & 0x3f;
            out.push(ALPHABET.get(digit..=digit).unwrap_or_default())?;
        }
    }
    out.push(b"\"")
}
