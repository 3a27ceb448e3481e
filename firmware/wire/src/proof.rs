//! A pack that proves whose it is, for networks where anybody can publish in a node's name.
//!
//! The last record of such a pack is `{"n":"proof","vd":"…"}`: a counter that grows with every pack of a start, also where
//! one is sent again, and HMAC-SHA256 (RFC 2104) over the node, the counter and every byte before that record. It is
//! written one way only, so that no two packs of other bytes have one proof; packs as CBOR have none.
use hmac::Mac;

use crate::permit::mac;
use crate::text::Data;
use crate::{Entry, JsonWriter, Key, Payload, Text, WriteError};

const PROOF: &str = "proof";
const DOMAIN: &[u8] = b"warmend pack\0";
const COUNTER_BYTES: usize = 4;
const FRAME_BYTES: usize = COUNTER_BYTES + 32;
/// What stands before the frame in the text, and after.
const HEAD: &[u8] = b",{\"n\":\"proof\",\"vd\":\"";
const TAIL: &[u8] = b"\"}]";
/// The frame as base64: 36 bytes need no padding.
const DIGITS: usize = FRAME_BYTES / 3 * 4;
/// Bytes that a proof takes.
pub const PROOF_ROOM: usize = HEAD.len() + DIGITS + 2;

/// Ends a pack with a proof that it is `node`'s, who shares `key`. `counter` must be higher than in any pack of this
/// start before. Room for it is kept by [`JsonWriter::reserve`].
///
/// # Errors
/// [`WriteError::Full`] if there is none, [`WriteError::NoValue`] for a pack without a record.
pub fn write_proof<'b>(
    mut pack: JsonWriter<'b>,
    (node, key): (&str, &Key),
    counter: u32,
) -> Result<&'b [u8], WriteError> {
    if pack.records() == 0 {
        return Err(WriteError::NoValue);
    }
    let mut frame = [0; FRAME_BYTES];
    let (count, proof) = frame.split_at_mut(COUNTER_BYTES);
    count.copy_from_slice(&counter.to_le_bytes());
    proof.copy_from_slice(&mac(DOMAIN, node, key, &[count, pack.written()]).finalize().into_bytes());
    pack.release();
    pack.record(&Entry::new(PROOF, Payload::Data(&frame)))?;
    Ok(pack.finish())
}

/// The counter of a pack that is proven to be `node`'s; `None` of any other.
#[must_use]
pub fn read_proof(bytes: &[u8], node: &str, key: &Key) -> Option<u32> {
    let (said, digits) = bytes.strip_suffix(TAIL)?.split_last_chunk::<DIGITS>()?;
    let body = said.strip_suffix(HEAD)?;
    let data = Data::of_base64(Text::plain(core::str::from_utf8(digits).ok()?))?;
    let mut frame = [0; FRAME_BYTES];
    let mut spelt = data.bytes();
    for slot in &mut frame {
        *slot = spelt.next()?;
    }
    let (count, proof) = frame.split_first_chunk::<COUNTER_BYTES>()?;
    mac(DOMAIN, node, key, &[count, body]).verify_slice(proof).ok()?;
    Some(u32::from_le_bytes(*count))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Base, Number};

    const KEY: Key = [3; 32];

    fn pack(buffer: &mut [u8], counter: u32) -> Result<&[u8], WriteError> {
        let mut pack = JsonWriter::new(buffer)?;
        pack.reserve(PROOF_ROOM)?;
        let base = Base { name: Some("oak-node:"), ..Base::default() };
        pack.record_with(&base, &Entry::number("warm", Number::Milli(27_250)).unit("Cel"))?;
        write_proof(pack, ("oak-node", &KEY), counter)
    }

    #[test]
    fn a_pack_proves_whose_it_is_and_no_changed_byte_does() {
        let mut buffer = [0; 256];
        let bytes = pack(&mut buffer, 7).unwrap();
        // As another implementation of HMAC (Python's) signs what the head of this file says.
        let proof = "BwAAAB1-6W5qdds2iP0auwwHY8roDHEjDzLok7LiuTwVd_Mi";
        let whole = [r#"[{"bn":"oak-node:","n":"warm","u":"Cel","v":27.25},{"n":"proof","vd":""#, proof, "\"}]"];
        assert!(whole.iter().flat_map(|part| part.bytes()).eq(bytes.iter().copied()));
        assert_eq!(read_proof(bytes, "oak-node", &KEY), Some(7));
        assert_eq!(read_proof(bytes, "oak-nod", &KEY), None);
        assert_eq!(read_proof(bytes, "oak-node", &[4; 32]), None);
        assert_eq!(crate::decode(bytes).filter(Result::is_ok).count(), 2);
        let mut changed = [0; 256];
        let changed = &mut changed[..bytes.len()];
        for place in 0..bytes.len() {
            for bit in 0..8 {
                changed.copy_from_slice(bytes);
                changed[place] ^= 1 << bit;
                assert_eq!(read_proof(changed, "oak-node", &KEY), None, "{place} {bit}");
            }
        }
        for cut in 0..bytes.len() {
            assert_eq!(read_proof(&bytes[..cut], "oak-node", &KEY), None);
        }
    }

    #[test]
    fn its_room_is_kept_whatever_else_is_written() {
        for len in 0..256 {
            let mut buffer = [0; 256];
            let Ok(mut pack) = JsonWriter::new(&mut buffer[..len]) else { continue };
            if pack.reserve(PROOF_ROOM).is_err() {
                continue;
            }
            while pack.record(&Entry::new("oak-node:link", Payload::Bool(true))).is_ok() {}
            if pack.records() == 0 {
                assert_eq!(write_proof(pack, ("oak-node", &KEY), 1), Err(WriteError::NoValue));
            } else {
                let bytes = write_proof(pack, ("oak-node", &KEY), 1).unwrap();
                assert_eq!(read_proof(bytes, "oak-node", &KEY), Some(1), "{len}");
            }
        }
    }
}
