//! What is written reads back the same.

use proptest::prelude::*;
use wire::{
    Base, CborWriter, Data, Entry, Format, Header, JsonWriter, MAX_EXACT, MAX_NAME, MAX_RECORDS, MAX_UNIT, Number,
    PackWriter, Payload, Receipt, Text, Value, WriteError, decode, read_link, read_receipt, split_name, write_header,
    write_link, write_receipt,
};

const WARM: Entry<'_> = Entry::number("warm", Number::Milli(27_250)).unit("Cel");

/// What a reader should see of a number.
#[expect(clippy::cast_precision_loss, reason = "within 2^53, where it is exact")]
fn seen(number: Number) -> f64 {
    match number {
        Number::Float(value) => value,
        Number::Int(whole) => whole as f64,
        // Both operands are exact, so that the quotient is the double nearest to the decimal.
        Number::Milli(thousandths) => thousandths as f64 / 1000.0,
    }
}

fn check_record(found: &wire::Record<'_>, base: &Base<'_>, entry: &Entry<'_>) -> Result<(), TestCaseError> {
    let expected_name = base.name.unwrap_or("").to_owned() + entry.name;
    prop_assert_eq!(found.name.as_str(), expected_name.as_str());
    prop_assert_eq!(found.unit.as_deref(), entry.unit.or(base.unit));
    let value = entry.value.map(|value| match value {
        Payload::Number(number) => Value::Float(seen(number)),
        Payload::Bool(value) => Value::Bool(value),
        Payload::Text(text) => Value::Text(Text::plain(text)),
        Payload::Data(bytes) => Value::Data(Data::plain(bytes)),
    });
    prop_assert_eq!(found.value, value);
    if let (Some(Value::Float(found)), Some(Value::Float(written))) = (found.value, value) {
        prop_assert_eq!(found.to_bits(), written.to_bits());
    }
    prop_assert_eq!(found.sum, entry.sum.map(seen));
    prop_assert_eq!(found.update_s, entry.update_s.map(seen));
    let time_s = match (base.time_s, entry.time_s) {
        (Some(base), Some(own)) => seen(base) + seen(own),
        (one, other) => one.or(other).map_or(0.0, seen),
    };
    prop_assert_eq!(found.time_s, time_s);
    Ok(())
}

/// Writes all of `entries`, the first with `base`, and checks that they read back.
fn check_pack<F: Format>(
    mut pack: PackWriter<'_, F>,
    base: &Base<'_>,
    entries: &[Entry<'_>],
) -> Result<(), TestCaseError> {
    for (i, entry) in entries.iter().enumerate() {
        let first = if i == 0 { *base } else { Base::default() };
        prop_assert_eq!(pack.record_with(&first, entry), Ok(()));
    }
    let bytes = pack.finish();
    let found: Vec<_> = decode(bytes).map(Result::unwrap).collect();
    prop_assert_eq!(found.len(), entries.len());
    for (found, entry) in found.iter().zip(entries) {
        check_record(found, base, entry)?;
    }
    Ok(())
}

fn number() -> impl Strategy<Value = Number> {
    let most = i64::try_from(MAX_EXACT).unwrap();
    prop_oneof![
        any::<f64>().prop_filter("finite", |value| value.is_finite()).prop_map(Number::Float),
        (-1000..1000_i32).prop_map(|value| Number::Float(f64::from(value) / 16.0)),
        (-most..=most).prop_map(Number::Int),
        (-most..=most).prop_map(Number::Milli),
        (-50_000..150_000_i64).prop_map(Number::Milli),
    ]
}

fn time() -> impl Strategy<Value = Number> {
    prop_oneof![
        (-1e12..1e12_f64).prop_map(Number::Float),
        (-100_000..2_000_000_000_i64).prop_map(Number::Int),
        (-100_000..2_000_000_000_000_i64).prop_map(Number::Milli),
    ]
}

/// An entry that owns its parts.
type Parts = (String, Option<String>, OwnedValue, Option<Number>, Option<Number>, Option<Number>);

#[derive(Clone, Debug)]
enum OwnedValue {
    Number(Number),
    Bool(bool),
    Text(String),
    Data(Vec<u8>),
}

fn parts() -> impl Strategy<Value = Parts> {
    let value = prop_oneof![
        4 => number().prop_map(OwnedValue::Number),
        1 => any::<bool>().prop_map(OwnedValue::Bool),
        1 => any::<String>().prop_map(OwnedValue::Text),
        1 => prop::collection::vec(any::<u8>(), 0..20).prop_map(OwnedValue::Data),
    ];
    let optional = || prop::option::of(number());
    (
        "[A-Za-z0-9][A-Za-z0-9:./_-]{0,20}",
        prop::option::of(".{0,4}"),
        value,
        optional(),
        prop::option::of(time()),
        optional(),
    )
}

fn entry(parts: &Parts) -> Entry<'_> {
    let (name, unit, value, sum, time_s, update_s) = parts;
    let value = match value {
        OwnedValue::Number(number) => Payload::Number(*number),
        OwnedValue::Bool(value) => Payload::Bool(*value),
        OwnedValue::Text(text) => Payload::Text(text),
        OwnedValue::Data(bytes) => Payload::Data(bytes),
    };
    Entry { name, unit: unit.as_deref(), value: Some(value), sum: *sum, time_s: *time_s, update_s: *update_s }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn packs(name in prop::option::of("[a-z][a-z0-9-]{0,20}:"), time_s in prop::option::of(time()),
             all in prop::collection::vec(parts(), 1..30)) {
        let base = Base { name: name.as_deref(), time_s, unit: Some("Cel") };
        let entries: Vec<_> = all.iter().map(entry).collect();
        let mut buffer = vec![0; 100_000];
        check_pack(JsonWriter::new(&mut buffer).unwrap(), &base, &entries)?;
        check_pack(CborWriter::new(&mut buffer).unwrap(), &base, &entries)?;
    }
}

/// A buffer of any length holds the records that fit, whole, and the one that does not leaves them alone.
fn check_any_room<F: Format>(new: impl Fn(&mut [u8]) -> Result<PackWriter<'_, F>, WriteError>, records: usize) {
    let mut met = 0;
    for room in 0..1000 {
        let mut buffer = vec![0xaa; room];
        let Ok(mut pack) = new(&mut buffer) else {
            assert!(room < 2);
            continue;
        };
        let fitted = (0..records).take_while(|_| pack.record(&WARM).is_ok()).count();
        if fitted < records {
            assert_eq!(pack.record(&WARM), Err(WriteError::Full));
        }
        assert_eq!(pack.records() as usize, fitted);
        let bytes = pack.finish();
        assert!(bytes.len() <= room);
        assert_eq!(decode(bytes).map(Result::unwrap).count(), fitted);
        assert!(fitted >= met, "room for more holds no less");
        met = fitted;
    }
    assert_eq!(met, records);
}

#[test]
fn any_room_holds_what_fits() {
    check_any_room(|buffer| JsonWriter::new(buffer), 25);
    check_any_room(|buffer| CborWriter::new(buffer), 25);
}

/// The head of a CBOR array grows at 24 and 256 records (RFC 8949, section 3).
#[test]
fn cbor_heads_are_the_shortest() {
    for (count, head) in [
        (0, &[0x80][..]),
        (1, &[0x81]),
        (23, &[0x97]),
        (24, &[0x98, 24]),
        (255, &[0x98, 255]),
        (256, &[0x99, 1, 0]),
        (300, &[0x99, 1, 44]),
    ] {
        let mut buffer = vec![0; 10_000];
        let mut pack = CborWriter::new(&mut buffer).unwrap();
        for _ in 0..count {
            pack.record(&WARM).unwrap();
        }
        let bytes = pack.finish();
        assert_eq!(&bytes[..head.len()], head);
        assert_eq!(decode(bytes).map(Result::unwrap).count(), count);
    }
}

#[test]
fn a_pack_takes_no_more_than_a_reader() {
    let mut buffer = vec![0; 1 << 18];
    let mut pack = JsonWriter::new(&mut buffer).unwrap();
    for _ in 0..MAX_RECORDS {
        pack.record(&WARM).unwrap();
    }
    assert_eq!(pack.record(&WARM), Err(WriteError::TooManyRecords));
    assert_eq!(decode(pack.finish()).filter(Result::is_ok).count(), MAX_RECORDS as usize);
}

/// Writes one value as JSON.
fn json_of(value: Number) -> String {
    let mut buffer = [0; 100];
    let mut pack = JsonWriter::new(&mut buffer).unwrap();
    pack.record(&Entry::number("a", value)).unwrap();
    let text = std::str::from_utf8(pack.finish()).unwrap();
    text.strip_prefix(r#"[{"n":"a","v":"#).and_then(|rest| rest.strip_suffix("}]")).unwrap().to_owned()
}

#[test]
fn numbers_are_written_short() {
    for (value, text) in [
        (Number::Milli(20_780), "20.78"),
        (Number::Milli(-5), "-0.005"),
        (Number::Milli(100), "0.1"),
        (Number::Milli(-21_000), "-21"),
        (Number::Int(1234), "1234"),
        (Number::Float(20.78), "20.78"),
        (Number::Float(0.0), "0"),
        (Number::Float(1e300), "1e300"),
        (Number::Float(-2.5e-7), "-2.5e-7"),
    ] {
        assert_eq!(json_of(value), text);
    }
}

/// Checks that an entry is refused and leaves the pack as it was.
fn check_refused(base: &Base<'_>, entry: &Entry<'_>, error: WriteError) {
    let mut buffer = [0; 600];
    let mut pack = JsonWriter::new(&mut buffer).unwrap();
    pack.record(&WARM).unwrap();
    assert_eq!(pack.record_with(base, entry), Err(error), "{entry:?}");
    pack.record(&WARM).unwrap();
    let names: Vec<_> = decode(pack.finish()).map(|record| record.unwrap().name.as_str().to_owned()).collect();
    assert_eq!(names, ["warm", "warm"]);
}

#[test]
fn what_could_not_be_read_is_not_written() {
    let none = Base::default();
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        check_refused(&none, &Entry::number("a", Number::Float(value)), WriteError::NonFinite);
        check_refused(&none, &WARM.time_s(Number::Float(value)), WriteError::NonFinite);
        check_refused(&none, &Entry { sum: Some(Number::Float(value)), ..WARM }, WriteError::NonFinite);
        check_refused(&Base { time_s: Some(Number::Float(value)), ..none }, &WARM, WriteError::NonFinite);
    }
    for value in [Number::Int(i64::MIN), Number::Int(i64::MAX), Number::Milli((1 << 53) + 1)] {
        check_refused(&none, &Entry::number("a", value), WriteError::NotExact);
    }
    check_refused(&none, &WARM.time_s(Number::Float(1e300)), WriteError::NotExact);
    for name in ["", "-a", "a b", "ä", "a\""] {
        check_refused(&none, &Entry { name, ..WARM }, WriteError::BadName);
    }
    check_refused(&Base { name: Some(":"), ..none }, &WARM, WriteError::BadName);
    check_refused(&Base { name: Some(&"a".repeat(MAX_NAME)), ..none }, &WARM, WriteError::NameTooLong);
    check_refused(&none, &WARM.unit(&"u".repeat(MAX_UNIT + 1)), WriteError::UnitTooLong);
    check_refused(&none, &Entry { value: None, ..WARM }, WriteError::NoValue);
    assert_eq!(Entry::count("seq", MAX_EXACT + 1), Err(WriteError::NotExact));
    assert_eq!(Entry::count("seq", u64::MAX), Err(WriteError::NotExact));
}

/// Runs `check` with both formats.
macro_rules! both {
    ($check:ident) => {{
        $check(|buffer| JsonWriter::new(buffer).unwrap());
        $check(|buffer| CborWriter::new(buffer).unwrap());
    }};
}

#[test]
fn a_link_says_whether_its_node_is_there() {
    let mut buffer = [0; 100];
    let will = write_link(JsonWriter::new(&mut buffer).unwrap(), "oak-node", false).unwrap();
    assert_eq!(std::str::from_utf8(will), Ok(r#"[{"bn":"oak-node:","n":"link","vb":false}]"#));

    fn check<F: Format>(new: impl Fn(&mut [u8]) -> PackWriter<'_, F>) {
        for up in [false, true] {
            let mut buffer = [0; 100];
            let link = read_link(write_link(new(&mut buffer), "oak-node", up).unwrap()).unwrap();
            assert_eq!((link.node.as_str(), link.up), ("oak-node", up));
        }
    }
    both!(check);
    assert_eq!(read_link(br#"[{"n":"oak-node:warm","u":"Cel","v":1}]"#), None);
    assert_eq!(read_link(br#"[{"n":"oak-node:link","v":1}]"#), None);
}

#[test]
fn a_receipt_reads_back() {
    let mut buffer = [0; 200];
    let receipt = write_receipt(JsonWriter::new(&mut buffer).unwrap(), "oak-node", 1234, 7).unwrap();
    let expected = r#"[{"bn":"oak-node:","n":"stored","u":"count","v":1234},{"n":"boot","u":"count","v":7}]"#;
    assert_eq!(std::str::from_utf8(receipt), Ok(expected));

    fn check<F: Format>(new: impl Fn(&mut [u8]) -> PackWriter<'_, F>) {
        for (stored, boot) in [(0, 0), (1234, 7), (MAX_EXACT, MAX_EXACT)] {
            let mut buffer = [0; 200];
            let bytes = write_receipt(new(&mut buffer), "oak-node", stored, boot).unwrap();
            let node = wire::Name::try_from("oak-node").unwrap();
            assert_eq!(read_receipt(bytes), Ok(Receipt { node, stored, boot }));
        }
    }
    both!(check);
    for half in [
        "[]",
        r#"[{"n":"oak-node:boot","u":"count","v":7}]"#,
        r#"[{"bn":"oak-node:","n":"stored","u":"count","v":1234},{"n":"boot","u":"count","v":-7}]"#,
        r#"[{"bn":"oak-node:","n":"stored","u":"count","v":1234},{"n":"boot","u":"count","v":7}"#,
        r#"[{"bn":"oak-node:","n":"stored","u":"count","v":12.5}]"#,
    ] {
        assert!(read_receipt(half.as_bytes()).is_err(), "{half}");
    }
}

#[test]
fn a_header_reads_back_among_readings() {
    fn check<F: Format>(new: impl Fn(&mut [u8]) -> PackWriter<'_, F>) {
        for header in [
            Header { seq: Some(12), boot: 3, from: Some(9) },
            Header { seq: Some(0), boot: 0, from: None },
            Header::default(),
        ] {
            let mut buffer = [0; 300];
            let mut pack = new(&mut buffer);
            let base = Base { name: Some("oak-node:"), ..Base::default() };
            write_header(&mut pack, &base, &header).unwrap();
            pack.record(&WARM).unwrap();
            let mut found = Header::default();
            let rest: Vec<_> = decode(pack.finish())
                .map(Result::unwrap)
                .filter(|record| !found.take(record).unwrap())
                .map(|record| split_name(&record.name).1.to_owned())
                .collect();
            assert_eq!((found, rest), (header, vec!["warm".to_owned()]));
        }
    }
    both!(check);
}

#[test]
fn a_node_stands_before_the_last_colon() {
    for (name, split) in
        [("oak-node:warm", ("oak-node", "warm")), ("a:b:c", ("a:b", "c")), ("warm", ("", "warm")), ("a:", ("a", ""))]
    {
        assert_eq!(split_name(name), split);
    }
}

#[test]
fn a_header_takes_counts_only() {
    let take = |line: &str| Header::default().take(&wire::decode_line(line.as_bytes()).unwrap());
    assert_eq!(take(r#"{"n":"oak-node:seq","u":"s","v":1}"#), Ok(false));
    assert_eq!(take(r#"{"n":"oak-node:seq:warm","u":"count","v":1}"#), Ok(false));
    assert_eq!(take(r#"{"n":"oak-node:seq","u":"count","v":1}"#), Ok(true));
    assert!(take(r#"{"n":"oak-node:seq","u":"count","v":1.5}"#).is_err());
    assert!(take(r#"{"n":"oak-node:boot","u":"count","v":-1}"#).is_err());
}
