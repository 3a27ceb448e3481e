//! What is bad costs only itself, and nothing panics or runs on.

use proptest::prelude::*;
use wire::{Error, Field, MAX_DEPTH, MAX_RECORDS, Value, decode, decode_line, read_link, read_receipt};

use crate::{hex, read, short};

/// Checks a pack of "a" = 1, something bad, "c" = 3: the neighbours come whole.
fn check_between(bad: &str, error: Error) {
    let pack = format!(r#"[{{"n":"a","v":1}},{bad},{{"n":"c","v":3}}]"#);
    let expected = [Ok(short("a", "", 1.0, 0.0)), Err(error), Ok(short("c", "", 3.0, 0.0))];
    assert_eq!(read(pack.as_bytes()), expected, "{pack}");
}

/// The same in CBOR; `bad` is a dump.
fn check_between_cbor(bad: &str, error: Error) {
    let pack = hex(&format!("83 a2 00 6161 02 01 {bad} a2 00 6163 02 03"));
    let expected = [Ok(short("a", "", 1.0, 0.0)), Err(error), Ok(short("c", "", 3.0, 0.0))];
    assert_eq!(read(&pack), expected, "{bad}");
}

#[test]
fn a_bad_record_leaves_its_neighbours() {
    let value = Error::BadField(Field::Value);
    for bad in [
        "\"1\"",
        "null",
        "true",
        "{}",
        "[1,[2,{\"n\":\"x\"}]]",
        "",
        "1.",
        ".5",
        "+1",
        "01",
        "0x10",
        "1e",
        "-",
        "--1",
        "1.2.3",
    ] {
        check_between(&format!(r#"{{"n":"b","v":{bad}}}"#), value);
    }
    for bad in ["nan", "NaN", "inf", "-inf", "Infinity", "-Infinity", "1e999", "-1e999"] {
        check_between(&format!(r#"{{"n":"b","v":{bad}}}"#), Error::NonFinite(Field::Value));
    }
    check_between(r#"{"n":"b","bv":1e308,"v":1e308},{"bv":0}"#, Error::NonFinite(Field::BaseValue));
    check_between(r#"{"v":2}"#, Error::NoName);
    check_between(r#"{"n":"b","v":2,"t":"now"}"#, Error::BadField(Field::Time));
    check_between(r#"{"n":"b","v":2,"n":"d"}"#, Error::Duplicate(Field::Name));
    check_between(r#"{"n":"b","vb":0}"#, Error::BadField(Field::Bool));
    check_between(r#"{"n":"b","vd":"a"}"#, Error::BadField(Field::Data));
    check_between(r#"{"n":"b","vd":"a+/="}"#, Error::BadField(Field::Data));
    for entry in ["5", "\"]\"", "[]", "[[{}]]", "null", ""] {
        check_between(entry, Error::NotARecord);
    }
}

#[test]
fn a_bad_cbor_record_leaves_its_neighbours() {
    let value = Error::BadField(Field::Value);
    for bad in [
        "6131",
        "f6",
        "a0",
        "9f0102ff",
        "bf6161820304ff",
        "7f6161ff",
        "c2420101",
        "c48101",
        "c4826161 01",
        "f820",
        "62ffff",
    ] {
        check_between_cbor(&format!("a2 00 6162 02 {bad}"), value);
    }
    for bad in ["f97c00", "f97e00", "fa7f800000", "fb7ff8000000000000", "c4821903e701", "c4821b7fffffffffffffff01"] {
        check_between_cbor(&format!("a2 00 6162 02 {bad}"), Error::NonFinite(Field::Value));
    }
    check_between_cbor("a2 00 6162 616e 6163", Error::Duplicate(Field::Name));
    check_between_cbor("a3 00 6162 02 01 62785f 00", Error::MustUnderstand);
    for entry in ["05", "6161", "80", "f6", "d9d9f7a0", "5f4101ff"] {
        check_between_cbor(entry, Error::NotARecord);
    }
}

#[test]
fn cbor_numbers_come_in_many_forms() {
    let value = |item: &str| {
        let pack = hex(&format!("81 a2 00 6161 02 {item}"));
        read(&pack).pop().unwrap().map(|(_, _, value, _)| value)
    };
    for (item, expected) in [
        ("00", 0.0),
        ("1903e8", 1000.0),
        ("1bffffffffffffffff", 2_f64.powi(64)),
        ("20", -1.0),
        ("3bffffffffffffffff", -2_f64.powi(64)),
        ("f93e00", 1.5),
        ("fac1c80000", -25.0),
        ("fb40379999999999 9a", 23.6),
        ("c48221196ab3", 273.15), // RFC 8949, section 3.4.4: 273.15 = 27315 x 10^-2
        ("c4822239513a", -20.795),
        ("c482381d01", 1e-30),
        ("c48218641b7fffffffffffffff", "9223372036854775807e100".parse().unwrap()),
    ] {
        assert_eq!(value(item), Ok(expected), "{item}");
    }
}

#[test]
fn cbor_labels_may_be_text_or_unknown() {
    let pack =
        hex("9f bf 626276 14 616e 6161 6176 01 ff a5 00 6162 02 02 0a 9f bf00 8101 ff ff 6178 a101 d82060 f5 f4 ff");
    assert_eq!(read(&pack), [Ok(short("a", "", 21.0, 0.0)), Ok(short("b", "", 22.0, 0.0))]);
}

#[test]
fn broken_framing_ends_the_pack_after_what_was_good() {
    let good = || Ok(short("a", "", 1.0, 0.0));
    for (rest, at) in
        [("{\"n\":\"b\" \"v\":2}]", 27), (",{\"n\":\"b", 25), ("", 16), ("x", 16), (",{\"n\":[}]", 23), (",{,}]", 18)]
    {
        let pack = format!(r#"[{{"n":"a","v":1}}{rest}"#);
        assert_eq!(read(pack.as_bytes())[0], good(), "{pack}");
        let last = read(pack.as_bytes()).pop().unwrap().unwrap_err();
        assert!(matches!(last, Error::Framing { at: found } if found <= at), "{pack}: {last:?}");
    }
    assert_eq!(read(br#"[{"n":"a","v":1}]]"#), [good(), Err(Error::Trailing { at: 17 })]);
    assert_eq!(read(&hex("81 a2 00 6161 02 01 00")), [good(), Err(Error::Trailing { at: 7 })]);
    for rest in ["", "a2 00", "1c", "ff", "a1 00 7bffffffffffffffff", "a1 05 9bffffffffffffffff", "bbffffffffffffffff"]
    {
        let pack = hex(&format!("82 a2 00 6161 02 01 {rest}"));
        let all = read(&pack);
        assert_eq!(all[0], good(), "{rest}");
        assert!(all.len() == 2 && matches!(all[1], Err(Error::Framing { .. })), "{rest}: {all:?}");
    }
}

#[test]
fn what_is_no_pack_says_so_once() {
    for bytes in ["", "  ", "{}", "hello", "\u{feff}[]", "5"] {
        assert_eq!(read(bytes.as_bytes()), [Err(Error::NotSenml)], "{bytes}");
    }
    assert_eq!(read(&hex("a1 00 6161")), [Err(Error::NotSenml)]);
    for empty in [&b"[]"[..], b" [ ] ", &[0x80], &[0x9f, 0xff]] {
        assert_eq!(read(empty), []);
    }
}

#[test]
fn nesting_has_a_limit() {
    let json = |depth: usize| format!(r#"[{{"n":"a","x":{}{},"v":1}}]"#, "[".repeat(depth), "]".repeat(depth));
    let cbor = |depth: usize| [hex("81 a3 00 6161 02 01 6178"), vec![0x81; depth], hex("00")].concat();
    for (pack, expected) in [
        (json(MAX_DEPTH).into_bytes(), Ok(short("a", "", 1.0, 0.0))),
        (json(MAX_DEPTH + 1).into_bytes(), Err(Error::TooDeep)),
        (json(100_000).into_bytes(), Err(Error::TooDeep)),
        (cbor(MAX_DEPTH), Ok(short("a", "", 1.0, 0.0))),
        (cbor(MAX_DEPTH + 1), Err(Error::TooDeep)),
        (cbor(100_000), Err(Error::TooDeep)),
    ] {
        assert_eq!(read(&pack), [expected]);
    }
}

#[test]
fn records_have_a_limit() {
    let most = MAX_RECORDS as usize;
    for (entry, error) in [(r#"{"n":"a","v":1}"#, None), ("5", Some(Error::NotARecord))] {
        let pack = |count: usize| format!("[{}]", vec![entry; count].join(","));
        let each = error.map_or_else(|| Ok(short("a", "", 1.0, 0.0)), Err);
        assert!(read(pack(most).as_bytes()) == vec![each.clone(); most]);
        let mut beyond = read(pack(most + 5).as_bytes());
        assert_eq!(beyond.pop(), Some(Err(Error::TooManyRecords)));
        assert_eq!(beyond.len(), most);
    }
}

/// Reads `bytes` every way there is and checks what holds for all of them.
fn check_any(bytes: &[u8]) -> Result<(), TestCaseError> {
    let mut records = decode(bytes);
    let mut met = 0;
    while let Some(record) = records.next() {
        met += 1;
        // Every entry takes at least one byte, and one error may tell of the end.
        prop_assert!(met <= bytes.len() + 1 && met <= MAX_RECORDS as usize + 1);
        match record {
            Ok(record) => check_record(&record)?,
            Err(error) if error.ends_pack() => prop_assert!(records.next().is_none()),
            Err(_) => {}
        }
    }
    prop_assert!(records.next().is_none());
    if let Ok(record) = decode_line(bytes) {
        check_record(&record)?;
    }
    let _ = (read_link(bytes), read_receipt(bytes));
    Ok(())
}

fn check_record(record: &wire::Record<'_>) -> Result<(), TestCaseError> {
    let numbers = [record.float(), record.sum, Some(record.time_s), record.update_s];
    prop_assert!(numbers.into_iter().flatten().all(f64::is_finite));
    prop_assert!(record.name.starts_with(|c: char| c.is_ascii_alphanumeric()));
    prop_assert!(record.value.is_some() || record.sum.is_some());
    match record.value {
        Some(Value::Text(text)) => prop_assert!(text.to_string().chars().eq(text.chars())),
        Some(Value::Data(data)) => prop_assert!(data.bytes().count() <= 1 << 20),
        _ => {}
    }
    Ok(())
}

/// Packs to start from when mangling.
fn seeds() -> Vec<Vec<u8>> {
    let json = br#"[{"bn":"oak-node:","bt":1772323220.5,"bu":"Cel","n":"warm","v":27.25},{"n":"cool","t":-2.5e0,"v":21},
      {"n":"link","vb":true},{"n":"say","vs":"\u00e4\ud83d\udc1c \" x"},{"n":"raw","vd":"aGkgCg"},{"n":"e","s":5,"ut":60,"x":[{}]}]"#;
    let cbor = hex("86 a4 21 696f616b2d6e6f64653a 22 fb41da68f1d5200000 00 647761726d 02 f94ed0
        a3 00 64636f6f6c 06 c482203818 02 15 a2 00 646c696e6b 04 f5 a2 00 63736179 03 64f09f909c
        a2 00 63726177 08 43010203 a4 00 6165 05 05 07 183c 6178 9fa0ff");
    vec![json.to_vec(), cbor]
}

#[test]
fn seeds_are_good() {
    for seed in seeds() {
        assert_eq!(decode(&seed).filter(Result::is_ok).count(), 6);
        assert!(decode(&seed).all(|record| record.is_ok()));
    }
}

/// Cut anywhere, a pack still yields every record that was whole.
#[test]
fn a_cut_pack_keeps_its_whole_records() {
    for seed in seeds() {
        let whole: Vec<_> = decode(&seed).collect();
        let mut met = 0;
        for len in 0..seed.len() {
            let cut: Vec<_> = decode(&seed[..len]).collect();
            let (last, before) = cut.split_last().unwrap();
            assert!(last.is_err_and_ends(), "{last:?}");
            assert_eq!(before, &whole[..before.len()], "cut at {len}");
            assert!(before.len() >= met);
            met = before.len();
        }
        assert_eq!(met, whole.len() - usize::from(seed[0] != b'['));
    }
}

trait Ends {
    fn is_err_and_ends(&self) -> bool;
}

impl<T> Ends for Result<T, Error> {
    fn is_err_and_ends(&self) -> bool {
        self.as_ref().is_err_and(|error| error.ends_pack())
    }
}

fn token() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec![
        "[",
        "]",
        "{",
        "}",
        ",",
        ":",
        "\"",
        "\\",
        " ",
        "\"n\":",
        "\"v\":",
        "\"bn\":\"o:\"",
        "\"n\":\"a\"",
        "\"v\":1",
        "\"vb\":true",
        "\"vs\":\"\\u00",
        "\"vd\":\"aGk\"",
        "\"x_\":",
        "{\"n\":\"a\",\"v\":1}",
        "1e",
        "-0.5",
        "nan",
        "\u{e4}",
        "\"bt\":1e308",
        "\"bver\":10",
        "1234567890123456789012345",
    ])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        check_any(&bytes)?;
    }

    #[test]
    fn any_bytes_after_an_array_head(head in prop::sample::select(vec![0x5b, 0x81, 0x84, 0x9f]),
                                     rest in prop::collection::vec(any::<u8>(), 0..200)) {
        check_any(&[vec![head], rest].concat())?;
    }

    #[test]
    fn any_tokens(tokens in prop::collection::vec(token(), 0..40)) {
        check_any(format!("[{}", tokens.concat()).as_bytes())?;
        check_any(tokens.concat().as_bytes())?;
    }

    #[test]
    fn any_mangling(which in 0..2_usize, edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3_u8), 1..6)) {
        let mut pack = seeds().swap_remove(which);
        for (place, byte, kind) in edits {
            let at = place.index(pack.len().max(1));
            match kind {
                0 if at < pack.len() => pack[at] = byte,
                1 if at < pack.len() => { pack.remove(at); }
                _ => pack.insert(at, byte),
            }
        }
        check_any(&pack)?;
    }

    /// Numbers come out as the standard library reads them, bit for bit.
    #[test]
    fn numbers_are_correctly_rounded(text in "-?(0|[1-9][0-9]{0,24})(\\.[0-9]{1,24})?([eE][+-]?[0-9]{1,3})?") {
        let line = format!(r#"{{"n":"a","v":{text}}}"#);
        let expected: f64 = text.parse().unwrap();
        match decode_line(line.as_bytes()) {
            Ok(record) => prop_assert_eq!(record.float().unwrap().to_bits(), expected.to_bits()),
            Err(error) => prop_assert!(error == Error::NonFinite(Field::Value) && expected.is_infinite()),
        }
    }
}
