//! Writes SenML as CBOR (RFC 8428, section 6).
//!
//! A pack that is no stream must be an array of definite length; the head is widened in place as the records pass 23
//! and 255.

use minicbor::Encoder;

use super::sealed::Sealed;
use super::{Number, Out, Payload, Put};
use crate::WriteError;

/// Stands for CBOR.
#[derive(Clone, Copy, Debug)]
pub struct Cbor;

/// The exponent of thousandths in a decimal fraction, its tag, and the length of the array it tags.
const MILLI: (i8, minicbor::data::Tag, u64) = (-3, minicbor::data::Tag::new(4), 2);

impl Sealed for Cbor {
    const TAIL: usize = 0;

    fn open(out: &mut Out<'_>) -> Result<(), WriteError> {
        out.push(&[0x80])
    }

    fn record(out: &mut Out<'_>, index: u32, fields: &[Put<'_>]) -> Result<(), WriteError> {
        items(&mut Encoder::new(&mut *out), fields).map_err(|error| error.into_write().unwrap_or(WriteError::Full))?;
        count(out, index + 1)
    }

    fn close(buffer: &mut [u8], len: usize) -> &[u8] {
        buffer.get(..len).unwrap_or_default()
    }
}

type Fault = minicbor::encode::Error<WriteError>;

fn items(cbor: &mut Encoder<&mut Out<'_>>, fields: &[Put<'_>]) -> Result<(), Fault> {
    cbor.map(fields.len() as u64)?;
    for (field, payload) in fields {
        cbor.i8(field.number())?;
        match *payload {
            Payload::Number(value) => number(cbor, value)?,
            Payload::Bool(value) => cbor.bool(value)?.ok()?,
            Payload::Text(text) => cbor.str(text)?.ok()?,
            Payload::Data(bytes) => cbor.bytes(bytes)?.ok()?,
        }
    }
    Ok(())
}

fn number(cbor: &mut Encoder<&mut Out<'_>>, number: Number) -> Result<(), Fault> {
    let (exponent, tag, len) = MILLI;
    match number {
        Number::Int(whole) => cbor.i64(whole)?.ok(),
        Number::Milli(thousandths) if thousandths % 1000 == 0 => cbor.i64(thousandths / 1000)?.ok(),
        Number::Milli(thousandths) => cbor.tag(tag)?.array(len)?.i8(exponent)?.i64(thousandths)?.ok(),
        Number::Float(value) => match narrow(value) {
            Some(short) => cbor.f32(short)?.ok(),
            None => cbor.f64(value)?.ok(),
        },
    }
}

/// Returns the value as a float of half the size, where it loses nothing.
#[expect(clippy::cast_possible_truncation, reason = "kept only if the way back gives the same bits")]
fn narrow(value: f64) -> Option<f32> {
    let short = value as f32;
    (f64::from(short).to_bits() == value.to_bits()).then_some(short)
}

/// Sets the head of the array to `records`, making room where it grows.
fn count(out: &mut Out<'_>, records: u32) -> Result<(), WriteError> {
    let [.., high, low] = records.to_be_bytes();
    let (head, grows): (&[u8], bool) = match (high, low) {
        (0, 0..24) => (&[0x80 | low], false),
        (0, _) => (&[0x98, low], low == 24),
        _ => (&[0x99, high, low], (high, low) == (1, 0)),
    };
    if grows {
        let end = out.len;
        out.push(&[0])?;
        out.buffer.copy_within(1..end, 2);
    }
    out.buffer.get_mut(..head.len()).ok_or(WriteError::Full)?.copy_from_slice(head);
    Ok(())
}
