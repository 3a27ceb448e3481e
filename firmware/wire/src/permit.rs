//! Leave to heat: a short lease, signed, from the daemon to one start of one node.
//!
//! Nobody on the network can heat: a permit carries HMAC-SHA256 (RFC 2104) over all it says and the node it is for.
//! Nor can anybody heat with an old one: it names the node's start, a counter that only grows within it, and the pack
//! of readings it rests on; its seconds run from when the node made *that pack*, so that holding a permit back only
//! shortens it.
//!
//! On the wire it is `[{"bn":"oak-node:","n":"permit","vd":"…"}]`: 24 bytes that are said and 32 that prove it.

use core::fmt;

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::write::Format;
use crate::{Base, Entry, MAX_NAME, PackWriter, Payload, Value, WriteError, decode, split_name};

/// Length of the key that node and daemon share, bytes.
pub const KEY_BYTES: usize = 32;
/// A key that node and daemon share.
pub type Key = [u8; KEY_BYTES];

/// The last part of a permit's name.
const PERMIT: &str = "permit";
/// Version of the layout below.
const LAYOUT: u8 = 1;
/// Sets these signatures apart from any other use of the key.
const DOMAIN: &[u8] = b"warmend permit\0";
const BODY_BYTES: usize = 24;
const MAC_BYTES: usize = 32;
const FRAME_BYTES: usize = BODY_BYTES + MAC_BYTES;

/// What is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PermitKind {
    /// The pad may be driven, within the bounds.
    Grant,
    /// It may not, until a person has reset it: a later grant must carry a higher `reset`.
    Withdraw,
}

/// Leave to heat, or its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Permit {
    /// Which of the two.
    pub kind: PermitKind,
    /// The start of the node that it is for.
    pub boot: u32,
    /// Grows with each permit of that start.
    pub counter: u32,
    /// The pack on whose readings it rests; its seconds run from when that was made.
    pub answers: u32,
    /// How often a person has let heat return.
    pub reset: u32,
    /// The most that the pad may be driven, thousandths.
    pub duty_permille: u16,
    /// No probe of the node may say so much, hundredths of a degree Celsius.
    pub ceiling_centi_c: i16,
    /// How long it holds, s.
    pub lease_s: u16,
}

/// Says why a permit is not one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PermitError {
    /// The message is no permit, is broken, or is of another layout.
    Garbled,
    /// It is a permit for another node.
    OtherNode,
    /// It is not signed with the node's key.
    Forged,
}

impl fmt::Display for PermitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Garbled => "no permit, or a broken one",
            Self::OtherNode => "a permit for another node",
            Self::Forged => "a permit that is not signed with the node's key",
        })
    }
}

impl core::error::Error for PermitError {}

/// Why a node does not drive its pad. The numbers are what stands on the wire as `heat-off`; 0 there is "it may".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum HeatOff {
    /// No permit came since the node's start.
    NoPermit = 1,
    /// The last permit is over.
    LeaseOver = 2,
    /// A permit was garbled, forged, stale or said again: the one before it is void, too.
    PermitRefused = 3,
    /// The daemon withdrew it; a person has to reset it.
    Withdrawn = 4,
    /// A probe passed the node's own limit; a person has to reset it.
    Limit = 5,
    /// The node hung and its watchdog started it anew; a person has to reset it.
    Watchdog = 6,
    /// A probe is at the permit's ceiling.
    AtCeiling = 7,
    /// A probe has said nothing for too long.
    ProbeSilent = 8,
    /// A probe says what cannot be.
    ProbeImplausible = 9,
    /// The node's own program hangs.
    Hung = 10,
    /// The supply is low, or was until a moment ago.
    SupplyLow = 11,
    /// The node cannot read its settings or number its starts.
    Memory = 12,
    /// The permit leaves it nothing.
    Nothing = 13,
}

impl HeatOff {
    /// All, the gravest first: this is the one that is said where several hold.
    pub const ALL: [Self; 13] = [
        Self::Memory,
        Self::Limit,
        Self::Withdrawn,
        Self::Watchdog,
        Self::Hung,
        Self::SupplyLow,
        Self::ProbeImplausible,
        Self::ProbeSilent,
        Self::NoPermit,
        Self::PermitRefused,
        Self::LeaseOver,
        Self::AtCeiling,
        Self::Nothing,
    ];

    /// The number on the wire.
    #[must_use]
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// The reason with that number.
    #[must_use]
    pub fn from_code(code: u64) -> Option<Self> {
        Self::ALL.into_iter().find(|why| u64::from(why.code()) == code)
    }
}

impl fmt::Display for HeatOff {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoPermit => "no leave to heat since the node started",
            Self::LeaseOver => "the leave to heat ran out",
            Self::PermitRefused => "a leave to heat came that was not good",
            Self::Withdrawn => "the leave to heat was withdrawn, a person has to reset it",
            Self::Limit => "a probe passed the node's own limit, a person has to reset it",
            Self::Watchdog => "the node hung and was started anew, a person has to reset it",
            Self::AtCeiling => "a probe is as warm as it may be",
            Self::ProbeSilent => "a probe of the node is silent",
            Self::ProbeImplausible => "a probe of the node says what cannot be",
            Self::Hung => "the node's program hangs",
            Self::SupplyLow => "the node's supply is low",
            Self::Memory => "the node's memory does not keep what it must",
            Self::Nothing => "the leave to heat leaves it nothing",
        })
    }
}

/// Writes a permit for `node`, signed with `key`.
///
/// # Errors
/// Why it could not be written.
pub fn write_permit<'b, F: Format>(
    mut pack: PackWriter<'b, F>,
    node: &str,
    key: &Key,
    permit: &Permit,
) -> Result<&'b [u8], WriteError> {
    let mut base_name = crate::Name::new();
    base_name.push_str(node).and_then(|()| base_name.push(':')).map_err(|_| WriteError::NameTooLong)?;
    let base = Base { name: Some(&base_name), ..Base::default() };
    pack.record_with(&base, &Entry::new(PERMIT, Payload::Data(&seal(node, key, permit))))?;
    Ok(pack.finish())
}

/// Reads a permit for `node` that is signed with `key`.
///
/// # Errors
/// [`PermitError`]. Whatever is not exactly one sound permit is none.
pub fn read_permit(bytes: &[u8], node: &str, key: &Key) -> Result<Permit, PermitError> {
    let mut records = decode(bytes);
    let (Some(Ok(record)), None) = (records.next(), records.next()) else { return Err(PermitError::Garbled) };
    let (of, leaf) = split_name(&record.name);
    let Some(Value::Data(data)) = record.value else { return Err(PermitError::Garbled) };
    if leaf != PERMIT {
        return Err(PermitError::Garbled);
    }
    if of != node {
        return Err(PermitError::OtherNode);
    }
    let mut frame = [0; FRAME_BYTES];
    let mut said = data.bytes();
    for slot in &mut frame {
        *slot = said.next().ok_or(PermitError::Garbled)?;
    }
    if said.next().is_some() { Err(PermitError::Garbled) } else { open(&frame, node, key) }
}

/// Over what is said by or to `node`; `domain` sets one use of the key apart from another.
pub(crate) fn mac(domain: &[u8], node: &str, key: &Key, said: &[&[u8]]) -> Hmac<Sha256> {
    // The length stands first, so that no end of a name can pass for the begin of what is said.
    debug_assert!(node.len() <= MAX_NAME);
    let mut mac = hmac(key);
    mac.update(domain);
    mac.update(&[node.len().to_le_bytes()[0]]);
    mac.update(node.as_bytes());
    said.iter().for_each(|part| mac.update(part));
    mac
}

fn hmac(key: &[u8]) -> Hmac<Sha256> {
    Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes a key of any length")
}

fn seal(node: &str, key: &Key, permit: &Permit) -> [u8; FRAME_BYTES] {
    let mut frame = [0; FRAME_BYTES];
    let (body, proof) = frame.split_at_mut(BODY_BYTES);
    body.copy_from_slice(&spell(permit));
    proof.copy_from_slice(&mac(DOMAIN, node, key, &[body]).finalize().into_bytes());
    frame
}

fn spell(permit: &Permit) -> [u8; BODY_BYTES] {
    let mut body = [0; BODY_BYTES];
    let kind = match permit.kind {
        PermitKind::Grant => 1,
        PermitKind::Withdraw => 2,
    };
    let head = [LAYOUT, kind].into_iter();
    let counts = [permit.boot, permit.counter, permit.answers, permit.reset];
    let bounds =
        [permit.duty_permille.to_le_bytes(), permit.ceiling_centi_c.to_le_bytes(), permit.lease_s.to_le_bytes()];
    let said = head.chain(counts.into_iter().flat_map(u32::to_le_bytes)).chain(bounds.into_iter().flatten());
    for (slot, byte) in body.iter_mut().zip(said) {
        *slot = byte;
    }
    body
}

fn open(frame: &[u8; FRAME_BYTES], node: &str, key: &Key) -> Result<Permit, PermitError> {
    let (body, proof) = frame.split_at(BODY_BYTES);
    // In constant time: whoever guesses learns nothing from how long a refusal takes.
    mac(DOMAIN, node, key, &[body]).verify_slice(proof).map_err(|_| PermitError::Forged)?;
    let [layout, kind, rest @ ..] = body else { return Err(PermitError::Garbled) };
    if *layout != LAYOUT {
        return Err(PermitError::Garbled);
    }
    let kind = match kind {
        1 => PermitKind::Grant,
        2 => PermitKind::Withdraw,
        _ => return Err(PermitError::Garbled),
    };
    let (words, _) = rest.as_chunks::<4>();
    let (halves, _) = rest.get(16..).unwrap_or_default().as_chunks::<2>();
    let (&[boot, counter, answers, reset, ..], &[duty, ceiling, lease]) = (words, halves) else {
        return Err(PermitError::Garbled);
    };
    Ok(Permit {
        kind,
        boot: u32::from_le_bytes(boot),
        counter: u32::from_le_bytes(counter),
        answers: u32::from_le_bytes(answers),
        reset: u32::from_le_bytes(reset),
        duty_permille: u16::from_le_bytes(duty),
        ceiling_centi_c: i16::from_le_bytes(ceiling),
        lease_s: u16::from_le_bytes(lease),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4231, section 4: key, data, HMAC-SHA-256 (case 5 is of a shortened one, compared as far as it goes).
    #[test]
    fn the_signature_is_that_of_rfc_4231() {
        fn check(key: &[u8], data: &[u8], expected: &str) {
            let mut mac = hmac(key);
            mac.update(data);
            let found = mac.finalize().into_bytes();
            let (pairs, _) = expected.as_bytes().as_chunks::<2>();
            for (byte, [high, low]) in found.iter().zip(pairs) {
                let digit = |c: &u8| u8::try_from(char::from(*c).to_digit(16).unwrap()).unwrap();
                assert_eq!(*byte, digit(high) * 16 + digit(low), "{expected}");
            }
        }
        check(&[0x0b; 20], b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7");
        check(
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        );
        check(&[0xaa; 20], &[0xdd; 50], "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe");
        let counting: [u8; 25] = core::array::from_fn(|i| i as u8 + 1);
        check(&counting, &[0xcd; 50], "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b");
        check(&[0x0c; 20], b"Test With Truncation", "a3b6167473100ee06e0c796c2955552b");
        check(
            &[0xaa; 131],
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        );
        check(
            &[0xaa; 131],
            b"This is a test using a larger than block-size key and a larger than block-size data. The key needs to be \
              hashed before being used by the HMAC algorithm.",
            "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
        );
    }

    const KEY: Key = [7; 32];
    const PERMIT_7: Permit = Permit {
        kind: PermitKind::Grant,
        boot: 7,
        counter: 0x0102_0304,
        answers: 42,
        reset: 3,
        duty_permille: 500,
        ceiling_centi_c: -1234,
        lease_s: 180,
    };

    fn read(frame: &[u8]) -> Result<Permit, PermitError> {
        let mut buffer = [0; 256];
        let mut pack = crate::JsonWriter::new(&mut buffer).unwrap();
        pack.record(&Entry::new("oak-node:permit", Payload::Data(frame))).unwrap();
        read_permit(pack.finish(), "oak-node", &KEY)
    }

    /// Nodes are not renewed along with the daemon: what is signed today must be read by one of years ago. Layout by
    /// Python's `struct`, signature by its `hmac`.
    #[test]
    fn a_permit_looks_as_another_implementation_makes_it() {
        let key: Key = core::array::from_fn(|i| i as u8);
        let text = br#"[{"bn":"oak-node:","n":"permit","vd":"AQEHAAAABAMCASoAAAADAAAA9AEu-7QAcUniLmsK6HnXf7CeOEShYZsAzt97Vku232sZEBZvLG4"}]"#;
        let mut buffer = [0; 256];
        let written = write_permit(crate::JsonWriter::new(&mut buffer).unwrap(), "oak-node", &key, &PERMIT_7);
        assert_eq!(written, Ok(&text[..]));
        assert_eq!(read_permit(text, "oak-node", &key), Ok(PERMIT_7));
    }

    #[test]
    fn what_is_signed_but_longer_shorter_or_of_another_layout_is_none() {
        let frame = seal("oak-node", &KEY, &PERMIT_7);
        let mut longer = [0; FRAME_BYTES + 1];
        longer[..FRAME_BYTES].copy_from_slice(&frame);
        assert_eq!(read(&frame), Ok(PERMIT_7));
        assert_eq!(read(&longer), Err(PermitError::Garbled));
        assert_eq!(read(&frame[..FRAME_BYTES - 1]), Err(PermitError::Garbled));
        for (place, byte) in [(0, 0), (0, LAYOUT + 1), (1, 0), (1, 3)] {
            let mut other = frame;
            other[place] = byte;
            assert_eq!(read(&other), Err(PermitError::Forged));
            let (body, proof) = other.split_at_mut(BODY_BYTES);
            proof.copy_from_slice(&mac(DOMAIN, "oak-node", &KEY, &[body]).finalize().into_bytes());
            assert_eq!(read(&other), Err(PermitError::Garbled), "{place} {byte}");
        }
    }

    #[test]
    fn every_reason_has_one_number_and_it_leads_back() {
        for why in HeatOff::ALL {
            assert_eq!(HeatOff::from_code(why.code().into()), Some(why));
        }
        assert_eq!((HeatOff::from_code(0), HeatOff::from_code(14)), (None, None));
    }
}
