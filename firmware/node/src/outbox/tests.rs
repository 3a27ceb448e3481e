extern crate std;
use super::*;
use std::collections::BTreeMap;
use std::string::{String, ToString as _};
use std::vec::Vec;
use wire::JsonWriter;

const ROOM: usize = 128;
const CHANNELS: [Channel; 2] =
    [Channel { name: "warm", kind: Kind::Celsius }, Channel { name: "pad", kind: Kind::Duty }];
type Small = Outbox<ROOM, 2>;

fn sample(s: u64) -> Sample<2> {
    Sample::new(s * 1000, [2500, ABSENT])
}

/// The daemon, as far as it matters: it stores packs, says up to which it has them all, and knows the times.
#[derive(Default)]
struct Daemon {
    packs: BTreeMap<u32, Vec<u64>>,
    /// Up to where the node was told that all are stored.
    told: u64,
}

impl Daemon {
    fn take(&mut self, outbox: &Small, pack: &Pack, now_ms: u64) {
        let mut buffer = [0; 1024];
        let mut out = JsonWriter::new(&mut buffer).unwrap();
        outbox.write(&mut out, pack, ("oak-node:", Some(7), now_ms), &CHANNELS).unwrap();
        let mut header = Header::default();
        let mut times = Vec::new();
        for record in wire::decode(out.finish()) {
            let record = record.unwrap();
            if !header.take(&record).unwrap() {
                assert!(record.is_relative());
                times.push((now_ms as i64 + (record.time_s * 1000.0).round() as i64) as u64);
            }
        }
        assert_eq!((header.seq, header.boot, header.from), (Some(pack.seq.into()), 7, Some(pack.from.into())));
        // The oldest that is kept: the daemon takes what lies before it for lost or told.
        assert_eq!(u64::from(pack.from), self.told + 1);
        // From here a permit's seconds run: a later moment would lengthen them.
        assert_eq!(times.last(), Some(&pack.newest));
        // A pack that comes again says the same.
        assert_eq!(*self.packs.entry(pack.seq).or_insert_with(|| times.clone()), times);
    }

    fn tell(&mut self, outbox: &mut Small, upto: u64, now: Millis) {
        outbox.receipt(upto, now);
        self.told = self.told.max(upto);
    }

    fn upto(&self) -> u64 {
        (1..).find(|seq| !self.packs.contains_key(seq)).map_or(0, |missing: u32| u64::from(missing - 1))
    }

    fn times(&self) -> Vec<u64> {
        self.packs.values().flatten().copied().collect()
    }
}

#[test]
fn a_reading_is_kept_until_its_receipt_and_sent_with_its_true_time() {
    let mut outbox = Small::new();
    outbox.push(Sample::new(5000, [2725, 400]));
    let pack = outbox.next_pack(5000).unwrap();
    assert_eq!((pack.seq, pack.from, pack.is_new, pack.newest), (1, 1, true, 5000));
    assert_eq!(outbox.next_pack(5100), None);
    let text = |outbox: &Small, pack: &Pack, now| {
        let mut buffer = [0; 512];
        let mut out = JsonWriter::new(&mut buffer).unwrap();
        outbox.write(&mut out, pack, ("oak-node:", Some(7), now), &CHANNELS).unwrap();
        std::str::from_utf8(out.finish()).unwrap().to_string()
    };
    let head = r#"[{"bn":"oak-node:","n":"seq","u":"count","v":1},{"n":"boot","u":"count","v":7},{"n":"from","u":"count","v":1}"#;
    let now = String::from(head) + r#",{"n":"warm","u":"Cel","v":27.25},{"n":"pad","u":"/","v":0.4}]"#;
    assert_eq!(text(&outbox, &pack, 5000), now);
    let damp = entry(&Channel { name: "warm", kind: Kind::Humidity }, 6125, 0);
    assert_eq!(damp, Entry::number("warm", Number::Milli(61_250)).unit("%RH"));
    // A start without number says no number, so that nobody takes the pack for one of an earlier such start.
    let mut buffer = [0; 512];
    let mut out = JsonWriter::new(&mut buffer).unwrap();
    outbox.write(&mut out, &pack, ("oak-node:", None, 5000), &CHANNELS).unwrap();
    let nameless = r#"[{"bn":"oak-node:","n":"warm","u":"Cel","v":27.25},{"n":"pad","u":"/","v":0.4}]"#;
    assert_eq!(std::str::from_utf8(out.finish()).unwrap(), nameless);
    // No receipt: it goes again, with the same number, and says how long ago it was.
    let again = outbox.next_pack(5000 + PATIENCE_MS).unwrap();
    assert_eq!((again.seq, again.is_new), (1, false));
    let later =
        String::from(head) + r#",{"n":"warm","u":"Cel","v":27.25,"t":-15},{"n":"pad","u":"/","v":0.4,"t":-15}]"#;
    assert_eq!(text(&outbox, &again, 20_000), later);
    outbox.receipt(0, 20_000);
    assert_eq!(outbox.len(), 1);
    outbox.receipt(1, 20_000);
    assert!(outbox.is_empty() && outbox.next_pack(60_000).is_none());
}

#[test]
fn an_outage_that_fits_loses_nothing_and_a_longer_one_loses_detail_of_the_older_hours_first() {
    for turns in [ROOM as u64, 3 * ROOM as u64, 20 * ROOM as u64] {
        let mut outbox = Small::new();
        for s in 0..turns {
            outbox.push(sample(s * 60));
            // The first packs are under way when the line breaks.
            if s < 4 {
                assert!(outbox.next_pack(s * 60_000).is_some());
            }
        }
        let mut daemon = Daemon::default();
        let mut now = turns * 60_000;
        outbox.again(now);
        while !outbox.is_empty() {
            now += 100;
            let (mut next, mut said) = (None, 0);
            while let Some(pack) = outbox.next_pack(now) {
                assert_eq!(pack.seq, next.unwrap_or(pack.from), "none is left out");
                (next, said) = (Some(pack.seq + 1), said + pack.samples);
                daemon.take(&outbox, &pack, now);
            }
            assert!(said == outbox.len() || outbox.under_way.len() == UNDER_WAY, "as many as may be under way");
            daemon.tell(&mut outbox, daemon.upto(), now);
        }
        let times = daemon.times();
        assert_eq!(times.len() as u64 + u64::from(outbox.lost()), turns);
        assert_eq!(outbox.lost() == 0, turns <= ROOM as u64);
        assert!(times.is_sorted() && times.iter().all(|at| at % 60_000 == 0));
        assert_eq!((times[0], *times.last().unwrap()), (0, (turns - 1) * 60_000));
        // The newest quarter of what fits is there in full.
        let newest = &times[times.len() - ROOM / 4..];
        assert!(newest.windows(2).all(|pair| pair[1] - pair[0] == 60_000));
        // No gap is longer than a part of how long ago it was.
        let end = turns * 60_000;
        for pair in times.windows(2).skip(UNDER_WAY) {
            assert!(pair[1] - pair[0] <= 120_000.max((end - pair[0]) / 4), "{pair:?} of {end}");
        }
    }
}

/// A pack that did not fit would be tried for ever, and hold up all behind it.
#[test]
fn the_longest_pack_of_five_channels_fits_its_room_with_health_and_proof() {
    let channel = |name, kind| Channel { name, kind };
    let (celsius, humidity) = (Kind::Celsius, Kind::Humidity);
    let channels = [
        channel("warm", celsius),
        channel("warm", humidity),
        channel("cool", celsius),
        channel("cool", humidity),
        channel("pad", Kind::Duty),
    ];
    let mut outbox = std::boxed::Box::new(Outbox::<ROOM, 5>::new());
    for _ in 0..2 * PER_PACK {
        outbox.push(Sample { at_ds: 1, values: [-12_345; 5] });
    }
    let pack = Pack { seq: u32::MAX, from: u32::MAX, ..outbox.next_pack(0).unwrap() };
    let (node, now) = ("n".repeat(crate::settings::NAME_MAX), Millis::from(u32::MAX) * 100 + 1);
    let mut buffer = [0; PACK_BYTES];
    let mut out = JsonWriter::new(&mut buffer).unwrap();
    out.reserve(wire::PROOF_ROOM).unwrap();
    outbox.write(&mut out, &pack, (&(node.clone() + ":"), Some(u32::MAX), now), &channels).unwrap();
    let most = Some(i32::MIN);
    let health = crate::health::Health {
        up_ms: now,
        supply_mv: most,
        signal_mdbw: most,
        bites: u32::MAX,
        lost: u32::MAX,
        cut_off: u32::MAX,
        refused: u32::MAX,
        reset: u32::MAX,
        heat_off: Some(wire::HeatOff::Nothing),
    };
    health.write(&mut out, &Base::default()).unwrap();
    let said = wire::write_proof(out, (&node, &[7; 32]), u32::MAX).unwrap();
    std::println!("the longest pack takes {} of {PACK_BYTES} bytes", said.len());
}

#[test]
fn how_many_wait_is_said_in_steps_and_never_too_high() {
    let mut outbox = Small::new();
    let mut steps = std::collections::BTreeSet::new();
    for s in 0..ROOM as u64 {
        outbox.push(sample(s));
        let waiting = outbox.waiting();
        assert!(waiting as usize <= outbox.len() && (outbox.len() < 2 * waiting.max(8) as usize));
        steps.insert(waiting);
    }
    // What was thinned is lost as well, until a pack that says so has its receipt.
    for s in 0..ROOM as u64 {
        outbox.push(sample(s));
        assert!(outbox.waiting() as usize <= outbox.len() + outbox.lost() as usize);
    }
    assert_eq!((outbox.waiting(), outbox.len() + outbox.lost() as usize), (2 * ROOM as u32, 2 * ROOM));
    let pack = outbox.next_pack(0).unwrap();
    outbox.receipt(pack.seq.into(), 0);
    assert_eq!((outbox.waiting(), steps.into_iter().collect::<Vec<_>>()), (64, std::vec![0, 16, 32, 64, 128]));
}

proptest::proptest! {
    /// Packs lost, receipts lost, receipts of nonsense, lines that break: whatever is not counted as lost arrives, once.
    #[test]
    fn whatever_the_line_does_nothing_is_lost_uncounted(
        events in proptest::collection::vec((0_u8..6, 0_u64..40), 0..400),
    ) {
        let (mut outbox, mut daemon) = (Small::new(), Daemon::default());
        let (mut now, mut pushed) = (0, 0_u64);
        for (kind, number) in events {
            now += number * 100;
            match kind {
                0 | 1 => {
                    outbox.push(Sample::new(now, [2500, ABSENT]));
                    pushed += 1;
                }
                2 => {
                    if let Some(pack) = outbox.next_pack(now) && number % 3 > 0 {
                        daemon.take(&outbox, &pack, now);
                    }
                }
                3 => daemon.tell(&mut outbox, daemon.upto(), now),
                4 => daemon.tell(&mut outbox, daemon.upto().saturating_sub(number), now),
                _ => outbox.again(now),
            }
            proptest::prop_assert!(outbox.len() <= ROOM);
        }
        while !outbox.is_empty() {
            now += 1000;
            while let Some(pack) = outbox.next_pack(now) {
                daemon.take(&outbox, &pack, now);
            }
            daemon.tell(&mut outbox, daemon.upto(), now);
        }
        let times = daemon.times();
        proptest::prop_assert_eq!(times.len() as u64 + u64::from(outbox.lost()), pushed);
        proptest::prop_assert!(times.is_sorted());
    }
}

/// What each board loses over an outage, by its room and how often it reads; the figures of `firmware/README.md`.
#[test]
fn an_outage_of_a_minute_or_an_hour_loses_nothing_and_a_day_what_the_room_says() {
    fn lost<const N: usize>(outage_s: u64, every_s: u64) -> (u32, u32) {
        // Not on the stack: a board has it as a static.
        let mut outbox = std::boxed::Box::new(Outbox::<N, 5>::new());
        let turns = outage_s / every_s;
        for turn in 0..turns {
            outbox.push(Sample::new(turn * every_s * 1000, [2500; 5]));
        }
        assert_eq!(outbox.len() as u64 + u64::from(outbox.lost()), turns);
        (turns as u32, outbox.lost())
    }
    let outages = [60, 3600, 86_400];
    for every_s in [10, 60] {
        let boards = [
            ("lm3s6965evb", outages.map(|outage_s| lost::<1500>(outage_s, every_s))),
            ("esp32", outages.map(|outage_s| lost::<6000>(outage_s, every_s))),
            ("rp2040", outages.map(|outage_s| lost::<8000>(outage_s, every_s))),
        ];
        for (board, [minute, hour, day]) in boards {
            std::println!("{board}, every {every_s} s: (taken, lost) in 1 min {minute:?}, 1 h {hour:?}, 1 day {day:?}");
            assert_eq!((minute.1, hour.1), (0, 0), "{board}");
            // Where the room is enough nothing is lost; where not, what is left is at least three quarters of it.
            let room = [("lm3s6965evb", 1500), ("esp32", 6000), ("rp2040", 8000)];
            let room = room.iter().find(|(name, _)| *name == board).map_or(0, |(_, room)| *room);
            assert_eq!(day.1 == 0, day.0 <= room, "{board}: {day:?}");
            assert!(day.0 - day.1 >= (room * 3 / 4).min(day.0), "{board}: {day:?}");
        }
    }
}
