use super::*;
use crate::history::sample::Place;
use crate::history::{Batch, HistoricReading};
use crate::shelf_file::sample;

const SHELF: &str = "[[nest]]\nid = \"oak\"\nlength_mm = 240\n[[nest.probe]]\nsource = \"n:warm\"\nat_mm = 10\n\
                     [[nest.probe]]\nsource = \"n:cool\"\nat_mm = 230\noffset_k = 0.1\n[nest.room]\nsource = \"room:air\"\n";

fn now() -> Timestamp {
    Timestamp::from_unix_ms(1_772_323_200_000)
}

/// What a source says in its n-th minute.
type Course = fn(i64) -> Measured;

/// A history in which each source said these for the last so many minutes, once a minute.
struct Bench {
    place: Place,
    file: ShelfFile,
}

impl Bench {
    fn new(said: &[(&str, i64, Course)]) -> Self {
        let place = Place::new();
        let path = place.path.with_file_name("shelf.toml");
        let mut file = sample::read(SHELF, &path);
        file.history.path.clone_from(&place.path);
        let readings = said.iter().flat_map(|(source, minutes, value)| {
            (0..*minutes).map(move |m| HistoricReading {
                source: (*source).into(),
                at: now().minus(Span::from_min(minutes - m)),
                measured: value(m),
                rejection: None,
            })
        });
        let mut store = place.open();
        store.commit(&[Batch { readings: readings.collect(), ..Batch::default() }]).unwrap().remove(0).unwrap();
        drop(store);
        Self { place, file }
    }

    fn trim(&self, probe: &str, against: &str) -> anyhow::Result<String> {
        let args = TrimArgs {
            probe: probe.to_owned(),
            against: reference(against).unwrap(),
            from: times::moment("20m").unwrap(),
            to: None,
        };
        assert!(self.place.path.exists());
        text(&args, &self.file, now())
    }

    fn wrong(&self, probe: &str, against: &str) -> String {
        format!("{:#}", self.trim(probe, against).unwrap_err())
    }
}

fn noisy(level: f64, m: i64) -> Measured {
    Measured::Temperature(level + if m % 2 == 0 { 0.03 } else { -0.03 })
}

#[test]
fn a_probe_in_ice_is_told_its_offset_and_the_line_for_the_shelf_file() {
    let bench = Bench::new(&[("n:warm", 20, |m| noisy(0.31, m))]);
    let text = bench.trim("n:warm", "ice").unwrap();
    for words in [
        "It said 0.31 °C on average (20 readings)",
        "0.31 K too warm, give or take 0.08 K",
        "offset_k = 0.31\n",
        CAUTION,
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    // The line is read back as it was told, and takes the offset from every word.
    let line = text.lines().last().unwrap();
    let shelf = SHELF.replacen("at_mm = 10\n", &format!("at_mm = 10\n{line}\n"), 1);
    let file = sample::read(&shelf, &bench.place.path.with_file_name("shelf.toml"));
    assert!((file.shelf.nests[0].probes[0].offset_k - 0.31).abs() < 1e-12);
}

#[test]
fn what_is_no_more_than_what_it_is_known_to_is_left_alone() {
    let text = Bench::new(&[("n:warm", 20, |m| noisy(-0.04, m))]).trim("n:warm", "ice").unwrap();
    assert!(text.contains("0.04 K too cool") && text.contains("leave it as it is"), "{text}");
    assert!(!text.contains("offset_k"), "{text}");
}

#[test]
fn a_probe_over_salt_is_held_against_the_salt_at_its_own_warmth() {
    // NaCl at 20 °C: 75.47 % (Greenspan 1977, Table 2).
    let bench = Bench::new(&[("n:warm", 20, |m| noisy(20.0, m)), ("n:warm", 20, |_| Measured::Humidity(78.5))]);
    let text = bench.trim("n:warm", "nacl").unwrap();
    assert!(text.contains("3.0 %RH too damp") && text.contains("offset_pct = 3.0\n"), "{text}");
    let cold = Bench::new(&[("n:warm", 20, |m| noisy(4.0, m)), ("n:warm", 20, |_| Measured::Humidity(78.5))]);
    assert!(cold.wrong("n:warm", "NaCl").contains("0 readings in that time that can be held against NaCl"));
}

/// What `check` would refuse is never told as a line for the shelf file.
#[test]
fn a_probe_that_lay_elsewhere_is_not_corrected() {
    let text = Bench::new(&[("n:warm", 20, |m| noisy(21.0, m))]).trim("n:warm", "ice").unwrap();
    assert!(text.contains("more than 3.00 K") && text.contains("broken"), "{text}");
    assert!(!text.contains("offset_k"), "{text}");
}

#[test]
fn a_neighbours_own_offset_is_taken_off_first_and_a_rooms_probe_is_not_corrected() {
    let bench = Bench::new(&[
        ("n:warm", 20, |m| noisy(22.5, m)),
        ("n:cool", 20, |m| noisy(22.1, m)),
        ("room:air", 20, |m| noisy(22.9, m)),
    ]);
    let text = bench.trim("n:warm", "n:cool").unwrap();
    assert!(text.contains("0.50 K too warm") && text.contains("makes neither of them right"), "{text}");
    let text = bench.trim("room:air", "n:warm").unwrap();
    assert!(text.contains("a room's probe is not corrected"), "{text}");
}

#[test]
fn what_tells_nothing_says_why_and_what_to_do() {
    let bench =
        Bench::new(&[("n:warm", 20, |m| Measured::Temperature(20.0 - m as f64)), ("n:cool", 4, |m| noisy(0.0, m))]);
    let text = bench.wrong("n:warm", "ice");
    assert!(text.contains("it has not come to rest") && text.contains("take a later --from"), "{text}");
    let text = bench.wrong("n:cool", "ice");
    assert!(text.contains("holds 4 readings") && text.contains("10 are needed"), "{text}");
    let text = bench.wrong("n:tepid", "ice");
    assert!(text.contains("the shelf file names n:warm, n:cool, room:air"), "{text}");
    assert!(bench.wrong("n:warm", "n:warm").contains("any probe but the same one"));
    assert!(reference("sugar").is_err_and(|e| e.contains("LiCl, MgCl2, NaCl, KCl, K2SO4")));
}
