//! Any bytes, read as a pack, a line, a link and a receipt: nothing panics, everything ends, no number is unsound.
#![no_main]

use libfuzzer_sys::fuzz_target;
use wire::{MAX_RECORDS, Record, Value, decode, decode_line, read_link, read_receipt};

fn check(record: &Record<'_>) {
    let numbers = [record.float(), record.sum, Some(record.time_s), record.update_s];
    assert!(numbers.into_iter().flatten().all(f64::is_finite));
    assert!(!record.name.is_empty());
    match record.value {
        Some(Value::Text(text)) => assert!(text.chars().count() <= 1 << 24),
        Some(Value::Data(data)) => assert!(data.bytes().count() <= 1 << 24),
        _ => {}
    }
}

fuzz_target!(|bytes: &[u8]| {
    let mut met = 0;
    let mut ended = false;
    for record in decode(bytes) {
        assert!(!ended);
        met += 1;
        match record {
            Ok(record) => check(&record),
            Err(error) => ended = error.ends_pack(),
        }
    }
    assert!(met <= MAX_RECORDS + 1);
    if let Ok(record) = decode_line(bytes) {
        check(&record);
    }
    let _ = (read_link(bytes), read_receipt(bytes));
});
