//! The two checks of eight bits that probes use; both have the polynomial x⁸ + x⁵ + x⁴ + 1.

/// As in the SHT3x and SHT4x datasheets: most significant bit first, begun with 0xFF.
#[must_use]
pub fn sht(bytes: &[u8]) -> u8 {
    let turn = |crc: u8| if crc & 0x80 == 0 { crc << 1 } else { crc << 1 ^ 0x31 };
    bytes.iter().fold(0xff, |crc, byte| (0..8).fold(crc ^ byte, |crc, _| turn(crc)))
}

/// As in the 1-Wire application note on it (AN27): least significant bit first, begun with 0.
#[must_use]
pub fn one_wire(bytes: &[u8]) -> u8 {
    let turn = |crc: u8| if crc & 1 == 0 { crc >> 1 } else { crc >> 1 ^ 0x8c };
    bytes.iter().fold(0, |crc, byte| (0..8).fold(crc ^ byte, |crc, _| turn(crc)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_give_what_the_makers_print() {
        // The SHT datasheets' own example; the others computed from it by an independent program.
        assert_eq!((sht(&[0xbe, 0xef]), sht(&[0, 0]), sht(&[0xff, 0xff])), (0x92, 0x81, 0xac));
        assert_eq!((sht(b"123456789"), one_wire(b"123456789")), (0xf7, 0xa1));
        // AN27's ROM code.
        let rom = [0x02, 0x1c, 0xb8, 0x01, 0, 0, 0];
        assert_eq!(one_wire(&rom), 0xa2);
        assert_eq!(one_wire(&[0x02, 0x1c, 0xb8, 0x01, 0, 0, 0, 0xa2]), 0);
    }

    proptest::proptest! {
        #[test]
        fn a_single_wrong_bit_never_passes(bytes: [u8; 8], place in 0_usize..8, bit in 0_u8..8) {
            let mut wrong = bytes;
            wrong[place] ^= 1 << bit;
            proptest::prop_assert!(sht(&bytes) != sht(&wrong) && one_wire(&bytes) != one_wire(&wrong));
        }
    }
}
