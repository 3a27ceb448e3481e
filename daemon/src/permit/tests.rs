use super::*;
use std::collections::BTreeMap;

const NOW: Timestamp = Timestamp::from_unix_ms(1_772_366_400_000);
const GRANT: Leave = Leave::Grant { duty: 0.6, ceiling_c: 40.0 };

fn standing(facts: &BTreeMap<String, String>) -> Standing {
    let key_file = PathBuf::new();
    let settings = PermitSettings { nest: 0, pad: 0, node: "oak-node".to_owned(), key_file, duty: 1.0, signed: true };
    Standing::new(Mat { settings, key: [7; KEY_BYTES] }, |name| facts.get(name).cloned())
}

fn heard() -> Standing {
    let mut standing = standing(&BTreeMap::new());
    assert!(standing.hear((7, 3), (Some(1), Some(0)), Span::ZERO));
    standing
}

#[test]
fn leave_answers_the_last_pack_and_every_permit_counts_on() {
    let mut standing = standing(&BTreeMap::new());
    assert_eq!(standing.answer(GRANT, NOW), None, "nobody was heard");
    assert!(standing.hear((7, 3), (None, None), Span::ZERO));
    let first = standing.answer(GRANT, NOW).unwrap();
    assert_eq!((first.boot, first.answers, first.duty_permille, first.ceiling_centi_c), (7, 3, 600, 4000));
    assert_eq!((first.kind, first.lease_s, first.reset), (PermitKind::Grant, 180, 0));
    // A backlog is not answered pack by pack, nor an older start.
    assert!(!standing.hear((7, 4), (None, None), Span::from_s(1)));
    assert!(!standing.hear((6, 900), (None, None), Span::from_s(9)));
    // A clock that was set back does not repeat a number.
    let second = standing.answer(GRANT, NOW.minus(Span::from_h(2))).unwrap();
    assert!(second.counter > first.counter && second.answers == 4);
    let none = standing.answer(Leave::Withhold(Withheld::Warm), NOW).unwrap();
    assert_eq!((none.kind, none.duty_permille), (PermitKind::Grant, 0));
    assert_eq!(standing.now().withheld, Some(Withheld::Warm));
    let bytes = standing.write(&second).unwrap();
    assert_eq!(wire::read_permit(&bytes, "oak-node", &[7; KEY_BYTES]), Ok(second));
}

#[test]
fn a_withdrawal_outlives_restarts_and_ends_with_a_persons_reset_only() {
    let mut standing = heard();
    assert_eq!(standing.answer(Leave::Withdraw, NOW).unwrap().kind, PermitKind::Withdraw);
    assert_eq!(standing.answer(GRANT, NOW).unwrap().kind, PermitKind::Withdraw);
    assert!(standing.now().waits && standing.now().duty.is_none());
    let facts = BTreeMap::from([standing.fact()]);
    let mut again = self::standing(&facts);
    assert!(again.now().waits);
    again.hear((8, 1), (Some(4), Some(0)), Span::ZERO);
    assert_eq!(again.answer(GRANT, NOW).unwrap().kind, PermitKind::Withdraw);
    assert!(again.reset());
    let granted = again.answer(GRANT, NOW).unwrap();
    assert_eq!((granted.kind, granted.reset), (PermitKind::Grant, 1));
    assert!(!again.reset(), "once is enough");
    assert_eq!(self::standing(&BTreeMap::from([again.fact()])).answer(GRANT, NOW), None);
}

/// A history that was lost knows no resets; the node says how many it has seen.
#[test]
fn a_reset_counts_on_from_what_the_node_has_seen() {
    let mut standing = standing(&BTreeMap::new());
    standing.hear((7, 3), (Some(u64::from(HeatOff::Limit.code())), Some(5)), Span::ZERO);
    assert!(standing.now().waits, "the node stopped for good by itself");
    assert_eq!(standing.answer(GRANT, NOW).unwrap().reset, 5);
    assert!(standing.reset());
    assert_eq!(standing.answer(GRANT, NOW).unwrap().reset, 6);
}

#[test]
fn a_key_file_holds_sixty_four_digits() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("oak.key");
    for (text, good) in [("0aF".repeat(21) + "7\n", true), ("ab".repeat(31), false), ("xy".repeat(32), false)] {
        std::fs::write(&path, text).unwrap();
        assert_eq!(key(&path).is_ok(), good);
    }
    std::fs::write(&path, "01".repeat(32)).unwrap();
    assert_eq!(key(&path).unwrap(), [1; KEY_BYTES]);
    assert!(key(&dir.path().join("none")).is_err_and(|e| e.to_string().contains("64 hexadecimal digits")));
}

/// A pack as the node signs it.
fn signed(key: u8, counter: u32, celsius: i64) -> Vec<u8> {
    let mut buffer = [0; 512];
    let mut pack = wire::JsonWriter::new(&mut buffer).unwrap();
    pack.reserve(wire::PROOF_ROOM).unwrap();
    let entry = wire::Entry::number("oak-node:warm", wire::Number::Int(celsius)).unit("Cel");
    pack.record(&entry).unwrap();
    wire::write_proof(pack, ("oak-node", &[key; KEY_BYTES]), counter).unwrap().to_vec()
}

#[test]
fn only_a_new_pack_with_the_nodes_key_is_its_own_and_who_feigns_one_is_remembered() {
    let begin = || {
        let mut standing = standing(&BTreeMap::new());
        standing.prove(&signed(7, 5, 25), 1, Span::ZERO);
        assert!(standing.is_proven() && !standing.is_doubted(Span::ZERO));
        standing
    };
    let after = |payload: &[u8], boot| {
        let mut standing = begin();
        standing.prove(payload, boot, Span::from_min(1));
        (standing.is_proven(), standing.is_doubted(Span::from_min(2)))
    };
    let mut cut = signed(7, 6, 25);
    cut.pop();
    assert_eq!(after(&signed(7, 6, 25), 1), (true, false));
    assert_eq!(after(&signed(7, 1, 25), 2), (true, false), "a new start counts anew");
    assert_eq!(after(&signed(7, 5, 25), 1), (false, false), "a broker may deliver twice");
    assert_eq!(after(&signed(7, 4, 25), 1), (false, true), "an old one again");
    assert_eq!(after(&signed(7, 900, 25), 0), (false, true), "one of an old start");
    assert_eq!(after(&signed(8, 6, 25), 1), (false, true), "another key");
    assert_eq!(after(&cut, 1), (false, true), "a broken one");
    assert_eq!(after(b"[{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":20}]", 1), (false, true), "none");
    // It fades.
    let mut standing = begin();
    standing.prove(b"[]", 1, Span::from_min(1));
    assert!(standing.is_doubted(Span::from_min(30)) && !standing.is_doubted(Span::from_min(31)));
}
