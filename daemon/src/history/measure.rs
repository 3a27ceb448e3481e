//! Figures for DEVELOPERS.md: `cargo test -p warmend history::measure -- --ignored --nocapture`.
use super::sample::{DAY_S, Place, at, reading};
use super::{Batch, Quantity};
use std::time::Duration;

const SERIES: i64 = 10;
const DAYS: i64 = 8;
const EVERY_S: i64 = 10;

#[expect(clippy::disallowed_methods, reason = "a stopwatch")]
fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let start = std::time::Instant::now();
    let done = work();
    let took: Duration = start.elapsed();
    println!("{what}: {:.1} ms", took.as_secs_f64() * 1e3);
    done
}

#[test]
#[ignore = "measures, by hand"]
fn bytes_and_times() {
    let place = Place::new();
    let mut store = place.open();
    let mut x = 1_u64;
    let rows = SERIES * DAYS * DAY_S / EVERY_S;
    timed("appending all", || {
        for s in (0..DAYS * DAY_S).step_by(600) {
            let batch = (s..s + 600).step_by(10).flat_map(|s| (0..SERIES).map(move |k| (s, k)));
            let readings = batch.map(|(s, k)| {
                x ^= x << 13;
                x ^= x >> 7;
                x ^= x << 17;
                let slow = 2.0 * (s as f64 / 14_000.0 + k as f64).sin();
                let mut one =
                    reading(&format!("oak-node:p{k}"), s, ((25.0 + slow) * 100.0 + (x % 7) as f64).round() / 100.0);
                one.at = one.at.plus(enclosure::Span::from_ms((x % 200).cast_signed()));
                one
            });
            store.commit(&[Batch { readings: readings.collect(), ..Batch::default() }]).unwrap();
        }
    });
    let reader = place.reader();
    let sizes = reader.sizes().unwrap();
    store.conn.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
    println!(
        "{rows} readings, hot: {:.1} B each",
        reader.sizes().unwrap().file_bytes as f64 / sizes.hot_readings as f64
    );
    let week = at(0)..at(7 * DAY_S);
    let one = "oak-node:p3";
    let read = |what: &str| {
        let n =
            timed(&format!("a week of one series, {what}"), || reader.readings(Some(&[one]), week.clone())).unwrap();
        println!("  {} readings", n.len());
        timed(&format!("a week in 672 buckets, {what}"), || {
            reader.buckets((one, Quantity::Temperature), week.clone(), 672).unwrap()
        });
    };
    read("hot");
    drop(store);
    let mut store = timed("opening with all of it hot", || place.open());
    timed("packing all", || while timed(" a step", || store.pack_step(at(DAYS * DAY_S))).unwrap().more {});
    let sizes = reader.sizes().unwrap();
    println!(
        "packed: {:.2} B each in {} chunks",
        sizes.packed_bytes as f64 / sizes.packed_readings as f64,
        sizes.chunks
    );
    read("packed");
    read("packed, warm");
    timed("12 h of everything", || reader.readings(None, at(6 * DAY_S)..at(6 * DAY_S + DAY_S / 2)).unwrap().len());
    drop(store);
    timed("opening with all of it packed", || place.open());
    let copy = place.path.with_file_name("copy.db");
    timed("backup", || reader.backup(&copy)).unwrap();
    println!("backup: {} B", std::fs::metadata(&copy).unwrap().len());
}
