//! Base fields, times, versions, names: RFC 8428, sections 4.1 to 4.6.

use wire::{Error, Field, MAX_NAME, MAX_UNIT, Value, decode, decode_line};

use crate::{read, read_good, short};

/// Reads the one record of a pack.
fn one(pack: &str) -> Result<(f64, Option<f64>), Error> {
    let records: Vec<_> = decode(pack.as_bytes()).collect();
    assert_eq!(records.len(), 1, "{pack}");
    let record = records.into_iter().next().unwrap()?;
    Ok((record.float().unwrap_or(f64::NAN), record.sum))
}

#[test]
fn order_of_fields_does_not_matter() {
    let expected = [short("oak-node:warm", "Cel", 27.5, 1_772_323_210.0)];
    for pack in [
        r#"[{"bn":"oak-node:","bt":1772323220,"bu":"Cel","n":"warm","t":-10,"v":27.5}]"#,
        r#"[{"v":27.5,"t":-10,"n":"warm","bu":"Cel","bt":1772323220,"bn":"oak-node:"}]"#,
        "\t[ { \"v\" : 27.5 , \"bn\":\"oak-node:\",\r\n \"t\":-10,\"bu\":\"Cel\",\"n\":\"warm\",\"bt\":1772323220 } ] \n",
        r#"[{"\u006e":"w\u0061rm","u":"\u0043el","v":2.75e+1,"bn":"oak\u002dnode:","bt":1772323220,"t":-1E1}]"#,
    ] {
        assert_eq!(read_good(pack.as_bytes()), expected, "{pack}");
    }
}

#[test]
fn base_values_add_up_and_last_until_replaced() {
    let pack = r#"[{"bn":"a","bv":20,"v":1},{"v":2},{"bv":-1,"v":2},{"bs":100,"bv":0,"s":5},{"v":3}]"#;
    let all: Vec<_> = decode(pack.as_bytes()).map(|record| record.map(|r| (r.float(), r.sum)).unwrap()).collect();
    assert_eq!(
        all,
        [
            (Some(21.0), None),
            (Some(22.0), None),
            (Some(1.0), None),
            (None, Some(105.0)),
            (Some(3.0), Some(100.0)) // the missing sum counts as zero: section 4.5.4
        ]
    );
}

#[test]
fn values_are_exactly_one_or_none_beside_a_sum() {
    assert_eq!(one(r#"[{"n":"a","v":1,"s":2}]"#), Ok((1.0, Some(2.0))));
    assert_eq!(one(r#"[{"n":"a"}]"#), Err(Error::NoValue));
    assert_eq!(one("[{}]"), Err(Error::NoValue));
    assert_eq!(one(r#"[{"bn":"a","t":1}]"#), Err(Error::NoValue));
    assert_eq!(one(r#"[{"n":"a","v":1,"vb":true}]"#), Err(Error::ManyValues));
    assert_eq!(one(r#"[{"n":"a","vs":"x","vd":"eA"}]"#), Err(Error::ManyValues));
    assert_eq!(decode_line(br#"{"n":"a","s":2}"#).unwrap().value, None);
}

#[test]
fn time_is_relative_below_two_to_the_28() {
    let now_s = 1_772_323_220.0;
    let limit_s = 2_f64.powi(28);
    for (time_s, relative) in [
        (-limit_s, true),
        (-60.0, true),
        (0.0, true),
        (30.0, true),
        (limit_s - 0.5, true),
        (limit_s, false),
        (now_s, false),
    ] {
        let line = format!(r#"{{"n":"a","v":1,"t":{time_s}}}"#);
        let record = decode_line(line.as_bytes()).unwrap();
        assert_eq!(record.is_relative(), relative, "{time_s}");
        assert_eq!(record.resolve(now_s), if relative { now_s + time_s } else { time_s });
    }
    assert!(decode_line(br#"{"n":"a","v":1}"#).unwrap().is_relative());
}

/// The base time is added before relative is told from absolute.
#[test]
fn relative_seconds_on_an_absolute_base_are_absolute() {
    let records: Vec<_> =
        decode(br#"[{"bn":"a","bt":268435456,"t":-1,"v":1},{"t":0,"v":1}]"#).map(Result::unwrap).collect();
    assert_eq!([records[0].is_relative(), records[1].is_relative()], [true, false]);
}

#[test]
fn one_version_for_all_records() {
    let check = |pack: &str, expected: &[Result<f64, Error>]| {
        let all: Vec<_> =
            read(pack.as_bytes()).into_iter().map(|record| record.map(|(_, _, value, _)| value)).collect();
        assert_eq!(all, expected, "{pack}");
    };
    check(r#"[{"bver":5,"n":"a","v":1},{"n":"a","v":2},{"bver":5,"n":"a","v":3}]"#, &[Ok(1.0), Ok(2.0), Ok(3.0)]);
    check(r#"[{"n":"a","v":1},{"bver":10,"n":"a","v":2}]"#, &[Ok(1.0), Ok(2.0)]);
    check(r#"[{"n":"a","v":1},{"bver":5,"n":"a","v":2},{"n":"a","v":3}]"#, &[Ok(1.0), Err(Error::VersionMixed)]);
    check(r#"[{"n":"a","v":1,"bver":11},{"n":"a","v":2}]"#, &[Err(Error::Version { found: 11 })]);
    for bad in ["0", "-1", "10.5", "\"10\"", "true", "1e99"] {
        check(&format!(r#"[{{"bver":{bad},"n":"a","v":1}},{{"n":"a","v":2}}]"#), &[Err(Error::BadVersion)]);
    }
}

#[test]
fn unknown_fields_pass_unless_they_must_be_understood() {
    let good = Ok(short("b", "", 2.0, 0.0));
    let check = |field: &str, first: Result<(), Error>, second: bool| {
        let pack = format!(r#"[{{"n":"a",{field},"v":1}},{{"n":"b","v":2}}]"#);
        let mut expected = vec![first.map(|()| short("a", "", 1.0, 0.0))];
        expected.extend(second.then(|| good.clone()));
        assert_eq!(read(pack.as_bytes()), expected, "{pack}");
    };
    check(r#""x":{"y":[1,"]}",{"z":null}],"_":{}}"#, Ok(()), true);
    check(r#""_x":1"#, Ok(()), true);
    check(r#""x_":1"#, Err(Error::MustUnderstand), true);
    check(r#""x\u005f":[[]]"#, Err(Error::MustUnderstand), true);
    check(r#""bx_":1"#, Err(Error::UnknownBase), false);
}

#[test]
fn names_keep_to_the_rule() {
    let name = |name: &str| {
        let line = format!(r#"{{"n":"{name}","v":1}}"#);
        decode_line(line.as_bytes()).map(|record| record.name.as_str().to_owned())
    };
    let longest = "a".repeat(MAX_NAME);
    for good in ["a", "Z9-:./_", "0", "urn:dev:ow:10e2073a01080063", &longest] {
        assert_eq!(name(good).as_deref(), Ok(good));
    }
    for bad in ["-a", ":a", ".a", "/a", "_a", "a b", "a\\nb", "ä", "a%", "a\\u0000"] {
        assert_eq!(name(bad), Err(Error::BadName), "{bad}");
    }
    assert_eq!(name(""), Err(Error::NoName));
    assert_eq!(name(&(longest.clone() + "a")), Err(Error::NameTooLong));
    // Judged as a whole: a name may start with any of them where the base name stands before it.
    assert_eq!(read_good(br#"[{"bn":"a","n":"_b","v":1}]"#), [short("a_b", "", 1.0, 0.0)]);
    assert_eq!(read(br#"[{"bn":":a","n":"b","v":1}]"#), [Err(Error::BadName)]);
}

#[test]
fn units_have_a_limit() {
    let unit =
        |len: usize| decode_line(format!(r#"{{"n":"a","v":1,"u":"{}"}}"#, "x".repeat(len)).as_bytes()).map(|_| ());
    assert_eq!([unit(MAX_UNIT), unit(MAX_UNIT + 1)], [Ok(()), Err(Error::UnitTooLong)]);
}

/// A base field that could not be read takes along what depends on it, and nothing else, until it is replaced.
#[test]
fn a_broken_base_costs_what_depends_on_it() {
    let broken = |field| Err(Error::BrokenBase(field));
    let pack = br#"[{"bn":"o:","n":"a","v":1},{"bt":1e999,"n":"b","v":2},{"n":"c","v":3},{"bt":7,"n":"d","v":4}]"#;
    let good = |name, value, time_s| Ok(short(name, "", value, time_s));
    assert_eq!(
        read(pack),
        [good("o:a", 1.0, 0.0), Err(Error::NonFinite(Field::BaseTime)), broken(Field::BaseTime), good("o:d", 4.0, 7.0)]
    );
    let pack = br#"[{"bn":5,"n":"a","v":1},{"n":"b","v":2},{"bn":"o:","n":"c","v":3}]"#;
    assert_eq!(read(pack), [Err(Error::BadField(Field::BaseName)), broken(Field::BaseName), good("o:c", 3.0, 0.0)]);
    let pack = br#"[{"n":"a","v":1,"bu":null},{"n":"b","v":2},{"n":"c","v":3,"u":"Cel"}]"#;
    let own_unit = Ok(short("c", "Cel", 3.0, 0.0));
    assert_eq!(read(pack), [Err(Error::BadField(Field::BaseUnit)), broken(Field::BaseUnit), own_unit]);
    let too_long = format!(r#"[{{"bn":"{}","n":"a","v":1}},{{"n":"b","v":2}}]"#, "a".repeat(MAX_NAME + 1));
    assert_eq!(read(too_long.as_bytes()), [Err(Error::NameTooLong), broken(Field::BaseName)]);
}

/// The base fields of a record that is bad for another reason hold all the same.
#[test]
fn a_bad_record_still_sets_the_base() {
    for pack in [r#"[{"v":"x","bn":"o:","n":"a"},{"n":"b","v":2}]"#, r#"[{"bn":"o:","n":"a","v":nan},{"n":"b","v":2}]"#]
    {
        assert_eq!(read(pack.as_bytes())[1], Ok(short("o:b", "", 2.0, 0.0)), "{pack}");
    }
}

#[test]
fn lines_tell_whether_they_had_base_fields() {
    let line = |line: &str| decode_line(line.as_bytes()).map(|record| (record.had_base, record.time_s));
    assert_eq!(line(r#"{"n":"plaster:warm","u":"Cel","v":20.78,"t":1772323220.203}"#), Ok((false, 1_772_323_220.203)));
    assert_eq!(line(" {\"n\":\"a\",\"bt\":5,\"v\":1}\r\n"), Ok((true, 5.0)));
    assert_eq!(line(r#"{"bn":"a"}"#), Err(Error::OnlyBase));
    assert_eq!(line(r#"[{"n":"a","v":1}]"#), Err(Error::NotARecord));
    assert_eq!(line(r#"{"n":"a","v":1},"#), Err(Error::Trailing { at: 15 }));
    assert_eq!(line(r#"{"n":"a","v":1,"bver":11}"#), Err(Error::Version { found: 11 }));
    assert_eq!(line(""), Err(Error::Framing { at: 0 }));
}

#[test]
fn counts_are_whole_numbers_of_unit_count() {
    let count = |fields: &str| decode_line(format!(r#"{{"n":"a",{fields}}}"#).as_bytes()).unwrap().count();
    assert_eq!(count(r#""u":"count","v":1234"#), Some(1234));
    assert_eq!(count(r#""u":"count","v":9007199254740992"#), Some(1 << 53));
    for none in [
        r#""u":"count","v":-1"#,
        r#""u":"count","v":0.5"#,
        r#""u":"count","v":1e16"#,
        r#""v":1"#,
        r#""u":"count","vb":true"#,
    ] {
        assert_eq!(count(none), None, "{none}");
    }
}

#[test]
fn text_values_unescape() {
    let text = |json: &str| {
        let line = format!(r#"{{"n":"a","vs":"{json}"}}"#);
        decode_line(line.as_bytes()).map(|record| match record.value {
            Some(Value::Text(text)) => text.to_string(),
            other => panic!("{other:?}"),
        })
    };
    for (json, plain) in [
        ("", ""),
        ("plain ä 🐜", "plain ä 🐜"),
        (r#"\"\\\/\b\f\n\r\t"#, "\"\\/\u{8}\u{c}\n\r\t"),
        (r"\u00e4\uD83D\uDC1C!", "ä🐜!"),
        (r"a\u0000b", "a\0b"),
    ] {
        assert_eq!(text(json).as_deref(), Ok(plain), "{json}");
    }
    for bad in [r"\x", r"\u12", r"\u12g4", r"\ud83d", r"\udc1c", r"\ud83d\ud83d", r"\ud83dx", "\n", "\u{1}"] {
        assert_eq!(text(bad), Err(Error::BadField(Field::Text)), "{bad}");
    }
}
