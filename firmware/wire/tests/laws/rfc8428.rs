//! The examples of RFC 8428, by section. Names and numbers are the RFC's.

use wire::{Data, Error, Text, Value, decode};

use crate::{Short, hex, read, read_good, short};

const DEVICE: &str = "urn:dev:ow:10e2073a01080063";

/// Section 5.1.2, second example.
const CURRENTS: &[u8] = br#"[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
   "bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"#;

fn currents() -> Vec<Short> {
    let end_s = 1_276_020_076.001;
    let name = "urn:dev:ow:10e2073a0108006:current";
    let mut all = vec![short("urn:dev:ow:10e2073a0108006:voltage", "V", 120.1, end_s)];
    all.extend(
        [(-5.0, 1.2), (-4.0, 1.3), (-3.0, 1.4), (-2.0, 1.5), (-1.0, 1.6), (0.0, 1.7)]
            .map(|(t, value)| short(name, "A", value, end_s + t)),
    );
    all
}

#[test]
fn section_5_1_1_single_datapoint() {
    let pack = br#"[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]"#;
    assert_eq!(read_good(pack), [short(DEVICE, "Cel", 23.1, 0.0)]);
}

#[test]
fn section_5_1_2_voltage_and_current() {
    let pack = br#"[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
      {"n":"current","u":"A","v":1.2}
    ]"#;
    let expected = [
        short("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1, 0.0),
        short("urn:dev:ow:10e2073a01080063:current", "A", 1.2, 0.0),
    ];
    assert_eq!(read_good(pack), expected);
}

#[test]
fn section_5_1_2_five_seconds_of_currents() {
    assert_eq!(read_good(CURRENTS), currents());
}

/// The RFC shows the stream while it runs, without an end: what came is kept, then it is broken off.
#[test]
fn section_5_1_2_stream_without_end() {
    let stream = br#"[
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
       "bu":"%RH","v":21.2},
      {"t":10,"v":21.3},
      {"t":20,"v":21.4},
      {"t":30,"v":21.4},
      {"t":40,"v":21.5},
      {"t":50,"v":21.5},
      {"t":60,"v":21.5},
      {"t":70,"v":21.6},
      {"t":80,"v":21.7},"#;
    let values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7];
    let mut expected: Vec<_> =
        (0..).zip(values).map(|(i, v)| Ok(short(DEVICE, "%RH", v, 1_320_067_464.0 + 10.0 * f64::from(i)))).collect();
    expected.push(Err(Error::Framing { at: stream.len() }));
    assert_eq!(read(stream), expected);
}

#[test]
fn sections_5_1_3_and_5_1_4_measurements_resolve() {
    let measured = br#"[
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
       "bu":"%RH","v":20},
      {"u":"lon","v":24.30621},
      {"u":"lat","v":60.07965},
      {"t":60,"v":20.3},
      {"u":"lon","t":60,"v":24.30622},
      {"u":"lat","t":60,"v":60.07965},
      {"t":120,"v":20.7},
      {"u":"lon","t":120,"v":24.30623},
      {"u":"lat","t":120,"v":60.07966},
      {"u":"%EL","t":150,"v":98},
      {"t":180,"v":21.2},
      {"u":"lon","t":180,"v":24.30628},
      {"u":"lat","t":180,"v":60.07967}
    ]"#;
    let resolved = br#"[
      {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
      {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
      {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
      {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
      {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
      {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}
    ]"#;
    let records = read_good(measured);
    assert_eq!(records.len(), 13);
    assert_eq!(records[9], short(DEVICE, "%EL", 98.0, 1_320_067_464.0 + 150.0));
    assert_eq!(records, read_good(resolved));
}

#[test]
fn section_5_1_5_data_types() {
    let pack = br#"[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"},
      {"n":"open","vb":false},
      {"n":"nfc-reader","vd":"aGkgCg"}
    ]"#;
    let values: Vec<_> = decode(pack).map(|record| record.unwrap().value.unwrap()).collect();
    let expected = [
        Value::Float(23.1),
        Value::Text(Text::plain("Machine Room")),
        Value::Bool(false),
        Value::Data(Data::plain(b"hi \n")),
    ];
    assert_eq!(values, expected);
}

/// The last record uses the base name of the third, but the base time of the first.
#[test]
fn section_5_1_6_collection() {
    let pack = br#"[
      {"bn":"2001:db8::2/","bt":1.320078429e+09,
       "n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},
      {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}
    ]"#;
    let time_s = 1_320_078_429.0;
    let expected = [
        short("2001:db8::2/temperature", "Cel", 25.2, time_s),
        short("2001:db8::2/humidity", "%RH", 30.0, time_s),
        short("2001:db8::1/temperature", "Cel", 12.3, time_s),
        short("2001:db8::1/humidity", "%RH", 67.0, time_s),
    ];
    assert_eq!(read_good(pack), expected);
}

/// The first record has nothing but a base name and is no measurement.
#[test]
fn section_5_1_7_set_point() {
    let pack = br#"[
      {"bn":"urn:dev:ow:10e2073a01080063:"},
      {"n":"temp","u":"Cel","v":23.1},
      {"n":"heat","u":"/","v":1},
      {"n":"fan","u":"/","v":0}
    ]"#;
    let expected = [("temp", "Cel", 23.1), ("heat", "/", 1.0), ("fan", "/", 0.0)]
        .map(|(name, unit, value)| short(&format!("{DEVICE}:{name}"), unit, value, 0.0));
    assert_eq!(read_good(pack), expected);
}

#[test]
fn section_5_1_7_lights() {
    let on = br#"[
      {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":1},
      {"n":"2001:db8::4","v":1}
    ]"#;
    let off = br#"[
      {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},
      {"n":"2001:db8::4","v":0.5},
      {"n":"2001:db8::3","t":0.1,"v":0},
      {"n":"2001:db8::4","t":0.1,"v":0}
    ]"#;
    let now_s = 1_320_078_429.0;
    let lights = |value: f64, time_s: f64| ["2001:db8::3", "2001:db8::4"].map(|name| short(name, "/", value, time_s));
    assert_eq!(read_good(on), lights(1.0, now_s));
    assert_eq!(read_good(off), [lights(0.5, now_s), lights(0.0, now_s + 0.1)].concat());
}

/// The dump of section 6 says what the second example of section 5.1.2 says.
#[test]
fn section_6_cbor() {
    let pack = hex("87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a
        31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a
        22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00
        67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06
        66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06
        24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75
        72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc
        cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f
        f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e
        74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e
        74 06 20 02 fb 3f f9 99 99 99 99 99 9a a3 00 67
        63 75 72 72 65 6e 74 06 00 02 fb 3f fb 33 33 33
        33 33 33");
    assert_eq!(pack.len(), 0xc3);
    assert_eq!(read_good(&pack), currents());
}
