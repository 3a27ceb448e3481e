//! What holds for reading and writing, case by case and over samples.
#![expect(clippy::unwrap_used, clippy::panic, reason = "helpers of tests fail as tests do")]
#![expect(clippy::float_cmp, reason = "what is read is the nearest double, not one near it")]

mod bad_input;
mod permit;
mod resolution;
mod rfc8428;
mod round_trip;

use wire::{Error, Value, decode};

/// A record, short enough to stand in a table: name, unit, number, time.
type Short = (String, String, f64, f64);

fn short(name: &str, unit: &str, value: f64, time_s: f64) -> Short {
    (name.to_owned(), unit.to_owned(), value, time_s)
}

/// Reads a pack of numbers.
fn read(pack: &[u8]) -> Vec<Result<Short, Error>> {
    decode(pack)
        .map(|record| {
            let record = record?;
            let Some(Value::Float(value)) = record.value else { panic!("no number: {record:?}") };
            Ok(short(&record.name, record.unit.as_deref().unwrap_or(""), value, record.time_s))
        })
        .collect()
}

/// Reads a pack of numbers that is all good.
fn read_good(pack: &[u8]) -> Vec<Short> {
    read(pack).into_iter().collect::<Result<_, _>>().unwrap()
}

/// Turns the hexadecimal digits of `dump` into bytes.
fn hex(dump: &str) -> Vec<u8> {
    let digits: Vec<u32> = dump.chars().filter_map(|c| c.to_digit(16)).collect();
    digits.chunks_exact(2).map(|pair| u8::try_from(pair[0] * 16 + pair[1]).unwrap()).collect()
}
