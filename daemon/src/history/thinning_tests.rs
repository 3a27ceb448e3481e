use super::*;
use crate::history::sample::{DAY_S, Place, at, change, ever, numbered, reading, rejected, still};
use crate::history::{Batch, Bucket, Gap, HistoricReading, KeeperNote, PACKED_AFTER, Quantity, SettingsInForce};
use crate::history::{Settings, Writer};
use enclosure::{Alarm, State};
use proptest::prelude::*;
use rusqlite::ffi;

const SOURCE: &str = "oak-node:warm";
const TWO: [&str; 2] = [SOURCE, "oak-node:cool"];

fn days(days: u32) -> Keep {
    Keep { max_days: Some(days), max_bytes: None }
}

fn store_all(store: &mut Store, readings: Vec<HistoricReading>) {
    store.commit(&[Batch { readings, ..Batch::default() }]).unwrap();
    while store.pack_step(at(4_000 * DAY_S)).unwrap().more {}
}

fn thin_all(store: &mut Store, keep: &Keep, now: Timestamp) -> Thinned {
    let mut sum = Thinned::default();
    loop {
        let step = store.thin_step(keep, now).unwrap();
        sum.readings += step.readings;
        sum.dropped += step.dropped;
        if !step.more {
            return Thinned { over: step.over, ..sum };
        }
    }
}

fn buckets(place: &Place, from: i64, to: i64, n: usize) -> Vec<Bucket> {
    place.reader().buckets((SOURCE, Quantity::Temperature), at(from)..at(to), n).unwrap()
}

fn ends(buckets: &[Bucket], of: fn(&Bucket) -> Option<Extent>) -> (u64, u64, u64, f64) {
    let all: Vec<Extent> = buckets.iter().filter_map(of).collect();
    let low = all.iter().map(|e| e.min).reduce(f64::min).map_or(0, f64::to_bits);
    let high = all.iter().map(|e| e.max).reduce(f64::max).map_or(0, f64::to_bits);
    let n = all.iter().map(|e| e.n).sum();
    (n, low, high, all.iter().map(|e| e.mean * e.n as f64).sum::<f64>())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is thinned, in however many parts it is asked for: no reading is lost from the count, no end from the
    /// ends, and the means agree to the seven digits that are kept.
    #[test]
    fn thinning_keeps_number_ends_and_mean_at_any_width(
        seen in prop::collection::vec((0..4 * 96_i64, -40.0..80.0_f64, any::<bool>()), 1..120),
        n in 1..150_usize,
        keep_days in 1..5_u32,
    ) {
        let place = Place::new();
        let mut store = place.open();
        let readings = seen.iter().map(|(k, c, bad)| if *bad { rejected(SOURCE, k * 900, *c) } else { reading(SOURCE, k * 900, *c) });
        store_all(&mut store, readings.collect());
        let before = buckets(&place, 0, 4 * DAY_S, n);
        thin_all(&mut store, &days(keep_days), at(5 * DAY_S));
        let after = buckets(&place, 0, 4 * DAY_S, n);
        for of in [|b: &Bucket| b.believed, |b: &Bucket| b.rejected] {
            let (was, is) = (ends(&before, of), ends(&after, of));
            prop_assert_eq!((was.0, was.1, was.2), (is.0, is.1, is.2));
            prop_assert!((was.3 - is.3).abs() < 1e-5 * (1.0 + was.0 as f64 * 80.0), "{was:?} {is:?}");
        }
    }

    #[test]
    fn a_day_of_hours_comes_back(seen in prop::collection::vec((0..86_400_000_i64, -1e6..1e6_f64, any::<bool>()), 0..90)) {
        let rejection = |bad: bool| bad.then_some(enclosure::Rejection::Wild);
        let rows: Vec<Row> = seen.iter().map(|(t_ms, v, bad)| Row { t_ms: *t_ms, v: *v, rejection: rejection(*bad) }).collect();
        let hours = hours_of(&rows);
        let back = unpack(&pack(&hours).unwrap()).unwrap();
        prop_assert_eq!(back.len(), hours.len());
        for (a, b) in back.iter().zip(&hours) {
            prop_assert_eq!((a.hour, a.rejected, a.extent.n), (b.hour, b.rejected, b.extent.n));
            prop_assert_eq!([a.extent.min, a.extent.max].map(f64::to_bits), [b.extent.min, b.extent.max].map(f64::to_bits));
            prop_assert!((a.extent.mean - b.extent.mean).abs() <= 1e-6 * b.extent.mean.abs());
        }
        prop_assert_eq!(hours.iter().map(|h| h.extent.n).sum::<u64>(), rows.len() as u64);
    }
}

#[test]
fn one_spike_outlives_its_reading_at_every_width() {
    let place = Place::new();
    let mut store = place.open();
    let mut readings: Vec<_> = (0..40 * 24).map(|h| reading(SOURCE, h * 3_600, 26.0)).collect();
    readings.push(reading(SOURCE, 3 * DAY_S + 4_711, 71.5));
    store_all(&mut store, readings);
    let done = thin_all(&mut store, &days(7), at(40 * DAY_S));
    assert_eq!(done.readings, 33 * 24 + 1, "all that is older than seven days");
    for n in [1, 7, 40, 41, 960, 5_000] {
        let hot = buckets(&place, 0, 40 * DAY_S, n).into_iter().filter(|b| b.believed.is_some_and(|e| e.max > 71.0));
        let hot: Vec<_> = hot.collect();
        assert_eq!(hot.len(), 1, "{n} buckets");
        let off = hot[0].from.since(at(3 * DAY_S + 4_711)).ms().abs();
        assert!(off <= 40 * DAY_S * 1000 / n as i64 + HOUR_MS, "{n} buckets: {off} ms away");
    }
    let raw = place.readings();
    assert_eq!((raw.len(), raw[0].at), (7 * 24, at(33 * DAY_S)));
    let mut hours = place.reader().hours(&[SOURCE], at(0)..at(DAY_S)).unwrap();
    assert_eq!((hours.len(), hours.remove(2).at), (24, at(2 * 3_600 + 1_800)));
}

#[test]
fn by_default_nothing_ever_leaves() {
    let place = Place::new();
    let mut store = place.open();
    store_all(&mut store, (0..20).map(|d| reading(SOURCE, d * DAY_S, 26.0)).collect());
    assert_eq!(store.thin_step(&Keep::default(), at(9_000 * DAY_S)).unwrap(), Thinned::default());
    assert_eq!(place.readings().len(), 20);
}

#[test]
fn what_comes_again_after_it_was_thinned_changes_nothing_and_what_is_new_widens() {
    let place = Place::new();
    let mut store = place.open();
    let first: Vec<_> = (0..60).map(|k| reading(SOURCE, k * 60, 20.0 + k as f64 / 10.0)).collect();
    store_all(&mut store, first.clone());
    thin_all(&mut store, &days(7), at(30 * DAY_S));
    let thinned = buckets(&place, 0, 3_600, 1);
    store_all(&mut store, first);
    thin_all(&mut store, &days(7), at(30 * DAY_S));
    assert_eq!(buckets(&place, 0, 3_600, 1), thinned);
    store_all(&mut store, vec![reading(SOURCE, 61, 55.0)]);
    thin_all(&mut store, &days(7), at(30 * DAY_S));
    let wider = buckets(&place, 0, 3_600, 1)[0].believed.unwrap();
    assert_eq!((wider.n, wider.max.to_bits()), (60, 55.0_f64.to_bits()));
}

/// Ten days of two series with noise that does not pack well, and everything that must never leave.
fn a_full_history(place: &Place, days: i64) -> Store {
    let mut store = place.open();
    let mut x = 7_u64;
    let noise = move || {
        x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (x >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut noise = noise;
    for day in 0..days {
        let times = (0..DAY_S).step_by(20).flat_map(|s| TWO.map(|source| (source, day * DAY_S + s)));
        let readings = times.map(|(source, s)| reading(source, s, 20.0 + noise())).collect();
        store_all(&mut store, readings);
    }
    let note = KeeperNote { at: at(60), nest: None, at_mm: None, kind: "fed".into(), text: "honey".into() };
    store
        .commit(&[Batch {
            changes: vec![change(50, Alarm::BroodHot, State::Unacknowledged)],
            notes: vec![note],
            gaps: vec![Gap { from: at(0), to: at(900), why: "power cut".into() }],
            settings: Some(SettingsInForce { since: at(1), text: "[shelf]".into() }),
            ..Batch::default()
        }])
        .unwrap();
    store
}

#[test]
fn a_ceiling_in_bytes_thins_the_oldest_first_then_drops_and_gives_the_room_back() {
    let place = Place::new();
    let mut store = a_full_history(&place, 12);
    let size = |store: &Store| {
        let pragma = |name| store.conn.pragma_query_value(None, name, |row| row.get::<_, i64>(0)).unwrap();
        (
            pragma("page_count") * pragma("page_size"),
            (pragma("page_count") - pragma("freelist_count")) * pragma("page_size"),
        )
    };
    let full = size(&store).0;
    let keep = |bytes: i64| Keep { max_bytes: Some(u64::try_from(bytes).unwrap()), max_days: None };
    let half = thin_all(&mut store, &keep(full / 2), at(13 * DAY_S));
    assert!(half.readings > 0 && half.dropped == 0 && !half.over, "{half:?}");
    assert!(size(&store).0 <= full / 2, "the file is {} of {full}", size(&store).0);
    let raw = place.readings();
    let oldest = raw[0].at;
    assert!(raw.iter().all(|r| r.at >= oldest) && oldest > at(DAY_S), "the oldest went first");
    assert_eq!(ends(&buckets(&place, 0, 13 * DAY_S, 1), |b| b.believed).0, 12 * 4_320, "every reading still counts");
    // Too small for anything: all that may leave leaves, and it is said that this is not enough.
    let none = thin_all(&mut store, &keep(1), at(13 * DAY_S));
    assert!(none.over && none.dropped > 0, "{none:?}");
    assert_eq!(place.reader().sizes().unwrap().thinned_readings, 0);
    let reader = place.reader();
    assert_eq!((reader.alarm_changes(ever()).unwrap().len(), reader.notes(ever()).unwrap().len()), (1, 1));
    assert_eq!((reader.gaps(ever()).unwrap().len(), reader.settings(ever()).unwrap().len()), (1, 1));
    assert!(size(&store).0 < full / 8);
}

#[test]
fn the_last_week_stays_whole_while_there_are_older_hours_to_drop() {
    let place = Place::new();
    let mut store = a_full_history(&place, 9);
    let now = at(9 * DAY_S + 60);
    // Thin day 0 only, then ask for a little less than what is used.
    thin_all(&mut store, &days(8), now);
    let pragma = |name| store.conn.pragma_query_value(None, name, |row| row.get::<_, i64>(0)).unwrap();
    let used = (pragma("page_count") - pragma("freelist_count")) * pragma("page_size");
    let keep = Keep { max_bytes: Some(u64::try_from(used - 1).unwrap()), max_days: None };
    let step = store.thin_step(&keep, now).unwrap();
    assert!(step.readings > 0, "day 1 is older than a week: thinned first");
    while place.readings()[0].at < at(2 * DAY_S) {
        store.thin_step(&keep, now).unwrap();
    }
    let tiny = Keep { max_bytes: Some(1), max_days: None };
    let step = store.thin_step(&tiny, now).unwrap();
    assert!(step.dropped > 0 && step.readings == 0, "{step:?}");
}

#[test]
fn whichever_write_of_thinning_fails_nothing_is_lost() {
    for code in [ffi::SQLITE_IOERR, ffi::SQLITE_FULL] {
        for n in 1.. {
            let place = Place::new();
            let mut store = place.open();
            store_all(&mut store, (0..4 * 24).map(|h| reading(SOURCE, h * 3_600, h as f64)).collect());
            store.faults.at(n, code);
            while store.thin_step(&days(1), at(5 * DAY_S)).is_ok_and(|step| step.more) {}
            let fired = !store.faults.pending();
            drop(store);
            let all = ends(&buckets(&place, 0, 5 * DAY_S, 1), |b| b.believed);
            assert_eq!((all.0, all.1, all.2), (96, 0.0_f64.to_bits(), 95.0_f64.to_bits()), "write {n}");
            drop(place.open());
            if !fired {
                assert!(n > 2, "nothing was thinned");
                break;
            }
        }
    }
}

#[test]
fn the_writer_thins_between_commits_and_counts_it() {
    let place = Place::new();
    let mut store = place.open();
    store_all(&mut store, (0..20).map(|d| reading(SOURCE, d * DAY_S, 26.0)).collect());
    let writer = Writer::start(store, Settings { keep: days(7), ..Settings::default() }, still()).unwrap();
    let tended = writer
        .tend(at(20 * DAY_S).plus(PACKED_AFTER), at(20 * DAY_S).plus(PACKED_AFTER))
        .unwrap()
        .blocking_recv()
        .unwrap()
        .unwrap();
    assert_eq!((tended.thinned.readings, tended.thinned.over), (14, false));
    let counters = writer.counters();
    assert_eq!((counters.thinned, counters.dropped, counters.over), (14, 0, false));
}

#[test]
fn settings_are_written_down_when_they_change() {
    let place = Place::new();
    let mut store = place.open();
    let say = |store: &mut Store, s: i64, text: &str| {
        let settings = Some(SettingsInForce { since: at(s), text: text.to_owned() });
        store.commit(&[Batch { settings, ..Batch::default() }]).unwrap();
    };
    for (s, text) in [(0, "a"), (10, "a"), (20, "b"), (30, "a")] {
        say(&mut store, s, text);
    }
    let texts = |from: i64, to: i64| -> Vec<String> {
        place.reader().settings(at(from)..at(to)).unwrap().into_iter().map(|s| s.text).collect()
    };
    assert_eq!(texts(5, 100), ["a", "b", "a"]);
    assert_eq!((texts(15, 19), texts(25, 100)), (vec!["a".to_owned()], vec!["b".to_owned(), "a".to_owned()]));
}

#[test]
fn what_packing_left_free_is_given_back_as_a_whole() {
    let place = Place::new();
    let mut store = place.open();
    for i in (0..3_000).step_by(100) {
        store.commit(&(i..i + 100).map(numbered).collect::<Vec<_>>()).unwrap();
    }
    while store.pack_step(at(60 * DAY_S)).unwrap().more {}
    let free =
        |store: &Store| -> i64 { store.conn.pragma_query_value(None, "freelist_count", |row| row.get(0)).unwrap() };
    assert!(free(&store) > 10, "{} pages are free", free(&store));
    store.give_back().unwrap();
    assert_eq!(free(&store), 0);
}
