//! What a step, a reading and a nest cost: `cargo bench -p tests`.
//!
//! The estimator alone, ns a step and a reading, medians over many; then a whole core over 60 days of one nest, with the
//! bytes it holds on the heap after each five: they must not grow.
use cap::Cap;
use enclosure::body::Axis;
use enclosure::estimate::{Estimator, Hearing, STEP};
use enclosure::prior::prior;
use std::alloc::System;
use std::hint::black_box;
use std::path::Path;
use tests::watched::Watched;
use tests::{moment, shelf, story};

/// Counts what is held; it limits nothing.
#[global_allocator]
static HEAP: Cap<System> = Cap::new(System, usize::MAX);

/// 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;
const DAY_S: f64 = 86_400.0;
/// Steps or readings timed together.
const BATCH: u32 = 500;
/// Days of the run that watches the heap.
const DAYS: u32 = 60;

fn main() {
    estimator();
    heap();
}

/// Nanoseconds for one of `BATCH`, the median of so many batches.
fn median_ns(batches: usize, mut batch: impl FnMut()) -> f64 {
    let mut all: Vec<f64> = (0..batches)
        .map(|_| {
            let began = moment();
            batch();
            began.elapsed().as_nanos() as f64 / f64::from(BATCH)
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all[batches / 2]
}

fn estimator() {
    let text = shelf::of(&story::oak(EPOCH_S));
    let (file, _) =
        warmend::shelf_file::check_text(&text, Path::new("shelf.toml"), std::iter::empty()).expect("a shelf");
    let nest = &file.shelf.nests[0];
    let axis = Axis {
        length_mm: nest.length_mm,
        wall_mm: enclosure::prior::WALL_MM,
        blur_mm: enclosure::prior::BLUR_MM,
        pads: nest.pads.iter().map(|p| p.span).collect(),
    };
    let places: Vec<f64> = nest.probes.iter().map(|p| p.at_mm).collect();
    let brood = nest.brood.expect("it has brood");
    let begin = enclosure::Timestamp::from_unix_s(EPOCH_S).expect("a moment");
    let mut est = Estimator::new(axis, &prior(nest), places, brood, (begin, 20.0));
    let mut n = 0_u32;
    let step = median_ns(60, || {
        for _ in 0..BATCH {
            // A thermostat's rhythm: 10 minutes on, 20 off.
            n += 1;
            est.advance(&[if n % 90 < 30 { 1.0 } else { 0.0 }], 20.0);
        }
    });
    println!("predict            {step:8.0} ns a step of {:.0} s", STEP.s());
    let at = est.at();
    let expected: Vec<f64> = (0..3).map(|p| est.absorb(p, at, 20.0, Hearing::Nobody).expected_c).collect();
    let reading = median_ns(60, || {
        for i in 0..BATCH {
            let p = (i % 3) as usize;
            black_box(est.absorb(p, at, expected[p], Hearing::All));
        }
    });
    println!("absorb             {reading:8.0} ns a reading");
    let fit = median_ns(1, || {
        for _ in 0..BATCH {
            black_box(est.clone());
        }
    });
    println!("(a copy of it all  {fit:8.0} ns)");
}

fn heap() {
    let spec = story::oak(EPOCH_S);
    let empty = HEAP.allocated();
    let world = world::World::new(&spec, 3);
    let world_bytes = HEAP.allocated() - empty;
    drop(world);
    let mut watched = Watched::new(&spec, 3);
    println!("heap of one watched nest, 3 probes a minute (the simulated nest's own {world_bytes} bytes taken off):");
    let mut seen = Vec::new();
    for five in 0..=DAYS / 5 {
        let day = five * 5;
        watched.advance(EPOCH_S + f64::from(day) * DAY_S);
        watched.forget();
        let held = HEAP.allocated().saturating_sub(empty + world_bytes);
        seen.push(held);
        println!("  day {day:3}          {:8.1} KiB", held as f64 / 1024.0);
    }
    let (early, late) = (seen[2], seen[seen.len() - 1]);
    let growth = late as f64 / early as f64 - 1.0;
    println!("from day 10 to day {DAYS}: {:+.2} %", 100.0 * growth);
    let (_, core) = watched.spent;
    let rate = watched.readings as f64 / core.as_secs_f64();
    println!("whole core         {rate:8.0} readings/s, nightly fits included");
}
