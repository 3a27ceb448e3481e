//! What outlives a power cut: two slots, written in turn, each with version, number and check.
//!
//! A cut in the midst of writing leaves the other slot as it was. A slot that is damaged, or of a version that is not
//! known, counts as empty.

/// Memory that keeps its bytes.
pub trait Memory {
    /// What can go wrong.
    type Error;

    /// Fills `bytes` from `at`.
    ///
    /// # Errors
    /// The memory's own.
    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Self::Error>;

    /// Writes `bytes` from `at`.
    ///
    /// # Errors
    /// The memory's own.
    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Self::Error>;
}

/// Most bytes that one slot holds beside its frame.
pub const PAYLOAD_MAX: usize = 240;
/// Marks a slot.
const MAGIC: [u8; 2] = *b"wn";
/// Magic, version, length, number.
const HEAD: usize = 8;
/// Head and check.
const FRAME: usize = HEAD + 4;
/// Bytes that a slot takes.
pub const SLOT: u32 = 256;

/// Two slots for one thing.
#[derive(Clone, Copy, Debug)]
pub struct Pair {
    /// Where the first begins; the second follows [`SLOT`] bytes after.
    pub at: u32,
    /// Version of what is in them.
    pub version: u8,
}

/// What a pair holds.
pub type Payload = heapless::Vec<u8, PAYLOAD_MAX>;

impl Pair {
    /// Reads the newer of the slots that are sound.
    ///
    /// # Errors
    /// The memory's.
    pub fn load<M: Memory>(&self, memory: &mut M) -> Result<Option<Payload>, M::Error> {
        Ok(self.newest(memory)?.map(|(_, _, payload)| payload))
    }

    /// Whether something stood there that can no longer be read. A cut while the very first was written is none: that
    /// goes into the first slot, and the sound one is never written over.
    ///
    /// # Errors
    /// The memory's.
    pub fn is_damaged<M: Memory>(&self, memory: &mut M) -> Result<bool, M::Error> {
        let mut magic = [0; MAGIC.len()];
        memory.read(self.at + SLOT, &mut magic)?;
        Ok(magic == MAGIC && self.newest(memory)?.is_none())
    }

    /// Writes into the older slot, then reads it back; returns whether it stands there.
    ///
    /// # Errors
    /// The memory's.
    pub fn save<M: Memory>(&self, memory: &mut M, payload: &[u8]) -> Result<bool, M::Error> {
        let newest = self.newest(memory)?;
        let (place, number) = newest.map_or((0, 0), |(place, number, _)| (1 - place, number));
        let number = number.wrapping_add(1);
        let mut slot = heapless::Vec::<u8, { SLOT as usize }>::new();
        let head = [MAGIC[0], MAGIC[1], self.version, payload.len().to_le_bytes()[0]];
        let all = [&head[..], &number.to_le_bytes(), payload];
        if payload.len() > PAYLOAD_MAX || all.iter().any(|part| slot.extend_from_slice(part).is_err()) {
            return Ok(false);
        }
        let check = crc32(&slot).to_le_bytes();
        if slot.extend_from_slice(&check).is_err() {
            return Ok(false);
        }
        memory.write(self.at + place * SLOT, &slot)?;
        Ok(self.slot(memory, place)?.is_some_and(|(found, kept)| found == number && kept == payload))
    }

    fn newest<M: Memory>(&self, memory: &mut M) -> Result<Option<(u32, u32, Payload)>, M::Error> {
        let (first, second) = (self.slot(memory, 0)?, self.slot(memory, 1)?);
        Ok(match (first, second) {
            // Numbers may wrap: the newer is the one ahead by less than half the circle.
            (Some((a, _)), Some((b, payload))) if b.wrapping_sub(a) < 1 << 31 => Some((1, b, payload)),
            (Some((a, payload)), _) => Some((0, a, payload)),
            (None, Some((b, payload))) => Some((1, b, payload)),
            (None, None) => None,
        })
    }

    fn slot<M: Memory>(&self, memory: &mut M, place: u32) -> Result<Option<(u32, Payload)>, M::Error> {
        let mut slot = [0; SLOT as usize];
        memory.read(self.at + place * SLOT, &mut slot)?;
        Ok(open(&slot, self.version))
    }
}

fn open(slot: &[u8], version: u8) -> Option<(u32, Payload)> {
    let (&[m0, m1, is, len, n0, n1, n2, n3], _) = slot.split_first_chunk::<HEAD>()?;
    let len = usize::from(len);
    if [m0, m1] != MAGIC || is != version || len > PAYLOAD_MAX {
        return None;
    }
    let (said, check) = slot.get(..len + FRAME)?.split_last_chunk::<4>()?;
    let payload = said.get(HEAD..)?;
    (crc32(said) == u32::from_le_bytes(*check)).then_some(())?;
    Some((u32::from_le_bytes([n0, n1, n2, n3]), Payload::from_slice(payload).ok()?))
}

/// The check of ISO/IEC 8802-3 and many others: reflected, polynomial 0x04C11DB7.
#[must_use]
pub fn crc32(bytes: &[u8]) -> u32 {
    let turn = |crc: u32| if crc & 1 == 0 { crc >> 1 } else { crc >> 1 ^ 0xedb8_8320 };
    !bytes.iter().fold(u32::MAX, |crc, byte| (0..8).fold(crc ^ u32::from(*byte), |crc, _| turn(crc)))
}

#[cfg(test)]
pub(crate) mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// Memory that loses its power after so many bytes written.
    pub(crate) struct Cells {
        pub(crate) bytes: Vec<u8>,
        pub(crate) power: usize,
    }

    impl Cells {
        pub(crate) fn empty() -> Self {
            Self { bytes: std::vec![0xff; 2048], power: usize::MAX }
        }
    }

    impl Memory for Cells {
        type Error = ();

        fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), ()> {
            bytes.copy_from_slice(&self.bytes[at as usize..][..bytes.len()]);
            Ok(())
        }

        fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), ()> {
            for (place, byte) in bytes.iter().enumerate() {
                self.power = self.power.checked_sub(1).ok_or(())?;
                self.bytes[at as usize + place] = *byte;
            }
            Ok(())
        }
    }

    const PAIR: Pair = Pair { at: 512, version: 1 };

    #[test]
    fn the_check_is_the_usual_one() {
        // The value that catalogues of such checks give for this text.
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn a_power_cut_at_any_byte_leaves_the_old_or_the_new() {
        for cut in 0..64 {
            let mut cells = Cells::empty();
            assert_eq!(PAIR.load(&mut cells), Ok(None));
            assert_eq!(PAIR.save(&mut cells, b"first"), Ok(true));
            assert_eq!(PAIR.save(&mut cells, b"second"), Ok(true));
            cells.power = cut;
            let saved = PAIR.save(&mut cells, b"a third, longer one");
            cells.power = usize::MAX;
            let found = PAIR.load(&mut cells).unwrap().unwrap();
            let expected: &[u8] = if saved.is_ok() { b"a third, longer one" } else { b"second" };
            assert_eq!(found, expected, "cut after {cut}");
            // And it goes on from there.
            assert_eq!(PAIR.save(&mut cells, b"next"), Ok(true));
            assert_eq!(PAIR.load(&mut cells).unwrap().unwrap(), b"next");
        }
    }

    #[test]
    fn what_once_stood_there_and_does_not_any_more_is_damaged_and_a_cut_is_not() {
        for cut in 0..64 {
            let mut cells = Cells::empty();
            assert_eq!(PAIR.is_damaged(&mut cells), Ok(false));
            cells.power = cut;
            for payload in [&b"first"[..], b"second", b"third"] {
                // As far as the power lasts.
                if PAIR.save(&mut cells, payload).is_err() {
                    break;
                }
            }
            cells.power = usize::MAX;
            assert_eq!(PAIR.is_damaged(&mut cells), Ok(false), "cut after {cut}");
            for (saved, slot) in [(&b"one"[..], 0), (b"two", 1)] {
                assert_eq!(PAIR.save(&mut cells, saved), Ok(true));
                assert_eq!(PAIR.save(&mut cells, saved), Ok(true));
                cells.bytes[512 + slot * SLOT as usize + 9] ^= 1;
                assert_eq!(PAIR.is_damaged(&mut cells), Ok(false), "one slot is sound");
                cells.bytes[512 + (1 - slot) * SLOT as usize + 9] ^= 1;
                assert_eq!(PAIR.is_damaged(&mut cells), Ok(true));
                assert_eq!(PAIR.load(&mut cells), Ok(None));
            }
        }
    }

    #[test]
    fn numbers_wrap_and_what_is_too_long_or_does_not_stick_is_said() {
        let mut cells = Cells::empty();
        for (number, place) in [(u32::MAX, 0), (0, 1)] {
            let mut slot = [&MAGIC[..], &[1, 1], &number.to_le_bytes(), &[place]].concat();
            slot.extend_from_slice(&crc32(&slot).to_le_bytes());
            cells.write(PAIR.at + u32::from(place) * SLOT, &slot).unwrap();
        }
        assert_eq!(PAIR.load(&mut cells).unwrap().unwrap(), [1]);
        assert_eq!(PAIR.save(&mut cells, &[0; PAYLOAD_MAX + 1]), Ok(false));
        assert_eq!(PAIR.save(&mut cells, &[7; PAYLOAD_MAX]), Ok(true));
        assert_eq!(Pair { version: 2, ..PAIR }.load(&mut cells), Ok(None));
    }

    /// Memory that takes every write and keeps none: worn out, or its write protection is wired.
    struct Worn(Cells);

    impl Memory for Worn {
        type Error = ();

        fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), ()> {
            self.0.read(at, bytes)
        }

        fn write(&mut self, _: u32, _: &[u8]) -> Result<(), ()> {
            Ok(())
        }
    }

    /// A start that believes its number kept would have it again, and old permits with it.
    #[test]
    fn what_memory_does_not_keep_is_not_held_for_kept() {
        for saves in 0..4 {
            let mut cells = Cells::empty();
            (0..saves).for_each(|_| assert_eq!(PAIR.save(&mut cells, b"notes"), Ok(true)));
            let mut worn = Worn(cells);
            assert_eq!(PAIR.save(&mut worn, b"notes"), Ok(false), "after {saves} that were kept");
            assert_eq!(crate::settings::Notes::begin(&mut Worn(Cells::empty()), false), None);
        }
    }

    proptest::proptest! {
        #[test]
        fn a_damaged_slot_is_never_taken_for_a_sound_one(at in 0_usize..17, bit in 0_u8..8, bytes: [u8; 32]) {
            let mut cells = Cells::empty();
            PAIR.save(&mut cells, b"first").unwrap();
            cells.bytes[512 + at] ^= 1 << bit;
            proptest::prop_assert_eq!(PAIR.load(&mut cells), Ok(None));
            cells.bytes[512..544].copy_from_slice(&bytes);
            proptest::prop_assert_eq!(PAIR.load(&mut cells), Ok(None));
        }
    }
}
