//! A permit is what was signed, to the bit, for the node it was signed for; anything else is none.

use proptest::prelude::*;
use wire::{CborWriter, JsonWriter, Key, Permit, PermitError, PermitKind, read_permit, write_permit};

const KEY: Key = [7; 32];

fn permits() -> impl Strategy<Value = Permit> {
    let kinds = prop_oneof![Just(PermitKind::Grant), Just(PermitKind::Withdraw)];
    (kinds, any::<[u32; 4]>(), any::<u16>(), any::<i16>(), any::<u16>()).prop_map(
        |(kind, [boot, counter, answers, reset], duty_permille, ceiling_centi_c, lease_s)| Permit {
            kind,
            boot,
            counter,
            answers,
            reset,
            duty_permille,
            ceiling_centi_c,
            lease_s,
        },
    )
}

fn json<'b>(buffer: &'b mut [u8], node: &str, permit: &Permit) -> &'b [u8] {
    write_permit(JsonWriter::new(buffer).unwrap(), node, &KEY, permit).unwrap()
}

proptest! {
    #[test]
    fn what_was_signed_reads_back(permit in permits(), cbor: bool) {
        let mut buffer = [0; 256];
        let bytes = if cbor {
            write_permit(CborWriter::new(&mut buffer).unwrap(), "oak-node", &KEY, &permit).unwrap()
        } else {
            json(&mut buffer, "oak-node", &permit)
        };
        prop_assert_eq!(read_permit(bytes, "oak-node", &KEY), Ok(permit));
        prop_assert_eq!(read_permit(bytes, "elm-node", &KEY), Err(PermitError::OtherNode));
        prop_assert_eq!(read_permit(bytes, "oak-node", &[8; 32]), Err(PermitError::Forged));
    }

    #[test]
    fn no_bit_can_be_changed(permit in permits(), place: prop::sample::Index, bit in 0_u8..8) {
        let mut buffer = [0; 256];
        let len = write_permit(CborWriter::new(&mut buffer).unwrap(), "oak-node", &KEY, &permit).unwrap().len();
        let place = place.index(len);
        buffer[place] ^= 1 << bit;
        prop_assert!(read_permit(&buffer[..len], "oak-node", &KEY).is_err());
    }

    #[test]
    fn bytes_of_a_stranger_are_no_permit(bytes: Vec<u8>) {
        prop_assert!(read_permit(&bytes, "oak-node", &KEY).is_err());
    }
}

#[test]
fn a_name_that_is_changed_along_with_the_node_is_no_permit_either() {
    let permit = Permit {
        kind: PermitKind::Grant,
        boot: 1,
        counter: 1,
        answers: 1,
        reset: 0,
        duty_permille: 500,
        ceiling_centi_c: 3300,
        lease_s: 60,
    };
    let mut buffer = [0; 256];
    let text = std::str::from_utf8(json(&mut buffer, "oak-node", &permit)).unwrap().replace("oak-", "elm-");
    assert_eq!(read_permit(text.as_bytes(), "elm-node", &KEY), Err(PermitError::Forged));
    let two = text.replace("}]", "},{\"n\":\"more\",\"vb\":true}]");
    assert_eq!(read_permit(two.as_bytes(), "elm-node", &KEY), Err(PermitError::Garbled));
}
