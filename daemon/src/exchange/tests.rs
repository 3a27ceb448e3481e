use super::*;
use crate::cli::{Cli, Command};
use crate::clock::ManualClock;
use crate::history::SettingsInForce;
use crate::history::sample::{DAY_S, Place, START_S, at, change, ever, once_free, reading as plain};
use crate::history::{AlarmRecord, Batch, Delivery, FitAct, FitRecord, Gap, HistoryError, Keep, KeeperNote, Reader};
use crate::shelf_file::ShelfFile;
use crate::shelf_file::sample::{self, OAK};
use crate::wrong_call::WrongCall;
use clap::Parser as _;
use enclosure::estimate::NotTaken;
use enclosure::{Alarm, Span, State};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

const PAD: &str = "[nest.pad]\nfrom_mm = 0\nto_mm = 80\nwatts = 7.0\ndrive = \"oak-node:pad\"\n";

fn file(place: &Place) -> ShelfFile {
    sample::read(&format!("{OAK}{PAD}"), &place.path.with_file_name("shelf.toml"))
}

/// Runs a command line on the place's history, which nobody holds.
fn call(place: &Place, line: &[&str]) -> anyhow::Result<()> {
    let held = |error: &anyhow::Error| matches!(error.downcast_ref(), Some(HistoryError::InUse { .. }));
    once_free(held, || call_at_once(place, line))
}

/// The same, 400 days after the first reading, whoever holds it.
fn call_at_once(place: &Place, line: &[&str]) -> anyhow::Result<()> {
    let cli = Cli::try_parse_from(std::iter::once(&"warmend").chain(line)).unwrap();
    let clock = ManualClock::new(at(400 * DAY_S));
    match cli.command {
        Command::Export(args) => export(&args, &file(place), &clock),
        Command::Import(args) => import(&args, &file(place), &clock),
        other => panic!("{other:?}"),
    }
}

fn put(place: &Place, name: &str, text: impl AsRef<[u8]>) -> String {
    let path = place.path.with_file_name(name);
    std::fs::write(&path, text).unwrap();
    path.to_string_lossy().into_owned()
}

fn some_reading() -> impl Strategy<Value = HistoricReading> {
    let c = prop_oneof![(-6_000..15_000_i32).prop_map(|c| f64::from(c) / 100.0), -60.0..150.0_f64, Just(1e-310)];
    let value = prop_oneof![
        4 => c.prop_map(|c| (Quantity::Temperature, c)),
        1 => (0.0..110.0_f64).prop_map(|v| (Quantity::Humidity, v)),
        1 => (0.0..1.0_f64).prop_map(|v| (Quantity::Duty, v)),
        1 => (0.0..100.0_f64).prop_map(|v| (Quantity::Power, v)),
        1 => any::<bool>().prop_map(|on| (Quantity::On, f64::from(u8::from(on)))),
    ];
    let source = prop_oneof![Just("oak-node:warm"), Just("oak-node:cool"), Just("oak-node:pad"), Just("a.b/c:d:e_f-9")];
    let why = prop_oneof![3 => Just(None), 1 => Just(Some(Rejection::Wild)), 1 => Just(Some(Rejection::Distrusted))];
    (source, value, 0..30 * DAY_S * 1000, why).prop_map(|(source, (quantity, v), ms, why)| HistoricReading {
        source: source.into(),
        at: at(0).plus(Span::from_ms(ms)),
        measured: quantity.measured(v).unwrap(),
        // Only temperatures are ever rejected.
        rejection: why.filter(|_| quantity == Quantity::Temperature),
    })
}

fn exact(readings: Vec<HistoricReading>) -> Vec<(String, i64, Quantity, u64, Option<Rejection>)> {
    let one = |r: HistoricReading| {
        let (quantity, v) = r.value();
        (r.source.to_string(), r.at.unix_ms(), quantity, v.to_bits(), r.rejection)
    };
    let mut all: Vec<_> = readings.into_iter().map(one).collect();
    all.sort_by(|a, b| (&a.0, a.1, a.2).cmp(&(&b.0, b.1, b.2)));
    all
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Out and in again through every form: to the bit, once, whatever was packed in between.
    #[test]
    fn a_round_trip_is_exact(readings in prop::collection::vec(some_reading(), 1..80), packed in any::<bool>()) {
        let place = Place::new();
        let mut store = place.open();
        store.commit(&[Batch { readings, ..Batch::default() }]).unwrap();
        if packed {
            while store.pack_step(at(20 * DAY_S)).unwrap().more {}
        }
        drop(store);
        let there = exact(place.readings());
        for (format, name) in [("sensml", "out.senml"), ("csv", "out.csv.gz"), ("line", "out.txt")] {
            let out = place.path.with_file_name(name).to_string_lossy().into_owned();
            call(&place, &["export", "--format", format, "--out", &out]).unwrap();
            let new = Place::new();
            for _ in 0..2 {
                call(&new, &["import", "--format", format, "--unlisted", &out]).unwrap();
                prop_assert_eq!(&exact(new.readings()), &there, "{}", format);
            }
        }
    }

    /// Whatever a file holds: it is refused or taken, never a panic, and what is refused changes nothing.
    #[test]
    fn hostile_bytes_are_refused_or_taken(bytes in prop::collection::vec(any::<u8>(), 0..300), head in 0..4_usize) {
        let heads = ["", "time,oak-node:warm [Cel]\r\n", "{\"n\":\"oak-node:warm\",\"u\":\"Cel\",", "reading,source="];
        let place = Place::new();
        let whole = [heads[head].as_bytes(), &bytes].concat();
        let path = put(&place, "hostile", whole);
        for format in ["sensml", "csv", "line"] {
            if call(&place, &["import", "--format", format, "--unlisted", &path]).is_err() {
                prop_assert!(!place.path.exists());
            } else {
                std::fs::remove_file(&place.path).unwrap();
            }
        }
    }
}

fn sentence(error: &anyhow::Error) -> String {
    format!("{error:#}")
}

#[test]
fn a_table_has_its_units_in_its_header_and_a_line_for_each_moment() {
    let place = Place::new();
    let mut store = place.open();
    let pad =
        |s, duty| HistoricReading { measured: Quantity::Duty.measured(duty).unwrap(), ..plain("oak-node:pad", s, 0.0) };
    let wild = HistoricReading { rejection: Some(Rejection::Wild), ..plain("oak-node:warm", 60, 85.0) };
    let readings = vec![plain("oak-node:warm", 0, 27.25), pad(0, 0.4), plain("oak-node:cool", 60, 22.0), wild];
    store.commit(&[Batch { readings, ..Batch::default() }]).unwrap();
    let out = place.path.with_file_name("out.csv");
    call(&place, &["export", "--format", "csv", "--out", &out.to_string_lossy()]).unwrap();
    let want = "time,oak-node:cool [Cel],oak-node:pad [/],oak-node:warm [Cel],oak-node:warm rejected\r\n\
                2026-01-05T00:00:00Z,,0.4,27.25,\r\n2026-01-05T00:01:00Z,22,,85,wild\r\n";
    assert_eq!(std::fs::read_to_string(&out).unwrap(), want);
    let only = place.path.with_file_name("only.txt");
    let line = ["export", "--format", "line", "--source", "oak-node:cool", "--out", &only.to_string_lossy()];
    call(&place, &line).unwrap();
    let ms = (START_S + 60) * 1000;
    let want = format!("reading,nest=oak,quantity=temperature,source=oak-node:cool value=22 {ms}\n");
    assert_eq!(std::fs::read_to_string(&only).unwrap(), want);
    let none = call(&place, &["export", "--format", "csv", "--nest", "elm"]).unwrap_err();
    assert!(none.is::<WrongCall>(), "{none:#}");
    let backwards = call(&place, &["export", "--format", "csv", "--from", "1h", "--to", "2h"]).unwrap_err();
    assert!(matches!(backwards.downcast_ref(), Some(WrongCall::Span { .. })), "{backwards:#}");
}

#[test]
fn another_programs_table_is_taken_in_by_naming_its_columns() {
    let place = Place::new();
    let text = "\u{feff}Datum;\"T; warm\";Feuchte;Notiz\r\n05.01.2026 01:00;27,25;61,5;\"a \"\"word\"\"\"\r\n\
                05.01.2026 01:01;;62;\r\n";
    let path = put(&place, "foreign.csv", text);
    let named =
        ["--time", "Datum", "--time-form", "%d.%m.%Y %H:%M", "--time-zone", "Europe/Lisbon", "--separator", ";"];
    let columns = ["--column", "T; warm=oak-node:warm Cel", "--column", "Feuchte=oak-node:warm %RH"];
    let line: Vec<&str> = ["import", "--format", "csv", &path].into_iter().chain(named).chain(columns).collect();
    call(&place, &line).unwrap();
    let found: Vec<_> = place.readings().into_iter().map(|r| (r.at, r.value())).collect();
    // Lisbon has winter time then: UTC.
    let [first, second] = [at(3_600), at(3_660)];
    assert_eq!(found.len(), 3, "{found:?}");
    for one in [
        (first, (Quantity::Temperature, 27.25)),
        (first, (Quantity::Humidity, 61.5)),
        (second, (Quantity::Humidity, 62.0)),
    ] {
        assert!(found.contains(&one), "{one:?}: {found:?}");
    }
    for (time, form, text) in [
        ("t", "unix", "1767571200.5"),
        ("t", "unix-ms", "1767571200500"),
        ("t", "rfc3339", "2026-01-05T01:00:00.5+01:00"),
    ] {
        let new = Place::new();
        let path = put(&new, "f.csv", format!("{time},x\n{text},20\n"));
        call(
            &new,
            &[
                "import",
                "--format",
                "csv",
                "--time",
                time,
                "--time-form",
                form,
                "--column",
                "x=oak-node:warm Cel",
                &path,
            ],
        )
        .unwrap();
        assert_eq!(new.readings()[0].at, at(0).plus(Span::from_ms(500)), "{form}");
    }
}

#[test]
fn one_bad_line_refuses_the_file_with_its_number_and_the_rest_can_be_asked_for() {
    let good = |s: i64| format!("{{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":27.25,\"t\":{}}}", START_S + s);
    let csv = "time,oak-node:warm [Cel]";
    let line = "reading,quantity=temperature,source=oak-node:warm value=";
    let far = START_S + 500 * DAY_S;
    let bad: Vec<(&str, String, String)> = vec![
        ("sensml", good(0), "{\"n\":\"oak-node:warm\"".into()),
        ("sensml", good(0), "{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":20}".into()),
        ("sensml", good(0), "{\"bn\":\"oak-node:\",\"n\":\"warm\",\"u\":\"Cel\",\"v\":20,\"t\":1767571200}".into()),
        ("sensml", good(0), format!("{{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":20,\"t\":{far}}}")),
        ("sensml", good(0), "{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":2000,\"t\":1767571200}".into()),
        ("sensml", good(0), "{\"n\":\"oak-node:warm\",\"u\":\"kg\",\"v\":20,\"t\":1767571200}".into()),
        (
            "sensml",
            good(0),
            "{\"n\":\"oak-node:warm\",\"u\":\"Cel\",\"v\":20,\"t\":1767571200,\"rejected\":\"why\"}".into(),
        ),
        ("csv", format!("{csv}\n2026-01-05T00:00:00Z,20"), "2026-01-05T00:00:00Z,20,21".into()),
        ("csv", format!("{csv}\n2026-01-05T00:00:00Z,20"), "yesterday,20".into()),
        ("csv", format!("{csv}\n2026-01-05T00:00:00Z,20"), "2026-01-05T00:01:00Z,warm".into()),
        ("csv", format!("{csv}\n2026-01-05T00:00:00Z,20"), "2026-01-05T00:01:00Z,NaN".into()),
        ("csv", format!("{csv}\n2026-01-05T00:00:00Z,20"), "1977-01-05T00:01:00Z,20".into()),
        ("line", format!("{line}20 1767571200000"), format!("{line}20")),
        ("line", format!("{line}20 1767571200000"), format!("{line}inf 1767571200000")),
        ("line", format!("{line}20 1767571200000"), format!("{line}20 soon")),
        ("line", format!("{line}20 1767571200000"), "reading,quantity=colour,source=oak-node:warm value=1 5".into()),
        (
            "line",
            format!("{line}20 1767571200000"),
            "reading,quantity=temperature,source=!! value=1 1767571200000".into(),
        ),
    ];
    for (format, good, bad) in bad {
        let place = Place::new();
        let number = good.lines().count() + 2;
        // An empty line before it counts too, in the numbers.
        let path = put(&place, "mixed", format!("{good}\n\n{bad}\n"));
        let error = call(&place, &["import", "--format", format, &path]).unwrap_err();
        assert!(sentence(&error).contains("1 lines are no readings, so nothing was stored"), "{bad}: {error:#}");
        assert!(!place.path.exists(), "{bad}");
        let source = import::test_look(Path::new(&path), format, at(400 * DAY_S));
        assert_eq!(source.first().map(|(n, _)| *n), Some(number as u64), "{bad}: {source:?}");
        call(&place, &["import", "--format", format, "--skip-bad", &path]).unwrap();
        assert_eq!(place.readings().len(), 1, "{bad}");
    }
}

#[test]
fn floods_are_refused_early() {
    let place = Place::new();
    let path = put(&place, "long", vec![b'x'; 3 * LINE_MAX]);
    for format in ["sensml", "line"] {
        let error = call(&place, &["import", "--format", format, &path]).unwrap_err();
        assert!(sentence(&error).contains("line 1: longer than"), "{error:#}");
    }
    let path = put(&place, "quote", format!("time,oak-node:warm [Cel]\n\"{}", "x\n".repeat(2_000_000)));
    let error = call(&place, &["import", "--format", "csv", &path]).unwrap_err();
    assert!(sentence(&error).contains("line 2: a record of more than"), "{error:#}");
    let many: String =
        (0..5_000).map(|i| format!("reading,quantity=temperature,source=n:s{i} value=1 1767571200000\n")).collect();
    let path = put(&place, "many", many);
    let error = call(&place, &["import", "--format", "line", "--unlisted", &path]).unwrap_err();
    assert!(sentence(&error).contains("more than 4096 sources"), "{error:#}");
    assert!(!place.path.exists());
}

#[test]
fn sources_that_no_nest_lists_are_left_out_unless_asked_for() {
    let place = Place::new();
    let text = "reading,quantity=temperature,source=oak-node:warm value=20 1767571200000\n\
                other,x=1 y=2 3\n# a word\nreading,quantity=temperature,source=elm:warm value=20 1767571200000\n";
    let path = put(&place, "two", text);
    call(&place, &["import", "--format", "line", &path]).unwrap();
    assert_eq!(place.readings().len(), 1);
    call(&place, &["import", "--format", "line", "--unlisted", &path]).unwrap();
    assert_eq!(place.readings().len(), 2);
}

#[test]
fn while_another_holds_history_nothing_comes_in_but_a_backup_goes_out_and_back() {
    let place = Place::new();
    let mut store = place.open();
    store.commit(&[Batch { readings: vec![plain("oak-node:warm", 0, 20.0)], ..Batch::default() }]).unwrap();
    let path = put(&place, "one", "reading,quantity=temperature,source=oak-node:warm value=20 1767571260000\n");
    let error = call_at_once(&place, &["import", "--format", "line", &path]).unwrap_err();
    assert!(sentence(&error).contains("another warmend uses it"), "{error:#}");
    let copy = place.path.with_file_name("copy.db").to_string_lossy().into_owned();
    call(&place, &["export", "--backup", &copy]).unwrap();
    drop(store);
    call(&place, &["import", "--format", "line", &path]).unwrap();
    assert_eq!(place.readings().len(), 2);
    call(&place, &["import", "--backup", &copy]).unwrap();
    assert_eq!(place.readings().len(), 1);
    let kept: Vec<PathBuf> = std::fs::read_dir(place.path.parent().unwrap())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.to_string_lossy().contains(".replaced-"))
        .collect();
    assert_eq!(Reader::open(&kept[0]).unwrap().readings(None, ever()).unwrap().len(), 2);
}

#[test]
fn half_a_year_comes_in_packed() {
    let place = Place::new();
    let lines: String = (0..180 * 24 * 4)
        .map(|k| {
            format!(
                "reading,quantity=temperature,source=oak-node:warm value={} {}\n",
                20 + k % 7,
                (START_S + k * 900) * 1000
            )
        })
        .collect();
    let path = put(&place, "year", lines);
    call(&place, &["import", "--format", "line", &path]).unwrap();
    let sizes = place.reader().sizes().unwrap();
    assert_eq!((sizes.hot_readings, sizes.packed_readings), (0, 180 * 24 * 4));
}

/// A history with one of everything beside readings, and a day of which only hours are left.
fn of_everything() -> Place {
    let place = Place::new();
    let mut store = place.open();
    let hot = AlarmRecord {
        cause: Some(Alarm::HeaterStuckOn),
        told: false,
        detail: "seen 33.1 °C, \"hot\"".to_owned(),
        ..change(60, Alarm::BroodHot, State::Suppressed)
    };
    let note = |nest: Option<&str>, text: &str| KeeperNote {
        at: at(120),
        nest: nest.map(str::to_owned),
        at_mm: nest.map(|_| 62.5),
        kind: "brood".to_owned(),
        text: text.to_owned(),
    };
    let changes = vec![change(0, Alarm::HeaterStuckOn, State::Unacknowledged), hot];
    let sent = Delivery { change: Some(1), way: "mail".to_owned(), attempt: 2, at: at(7), outcome: "sent".to_owned() };
    let gap = Gap { from: at(0), to: at(600), why: "power cut".to_owned() };
    let unsettled = FitRecord {
        at: at(90),
        nest: "oak".to_owned(),
        shape: "240 mm".to_owned(),
        fit: None,
        refused: Some(NotTaken::Unsettled),
    };
    let batch = Batch {
        readings: (0..3).map(|k| plain("oak-node:warm", -30 * DAY_S + k * 60, 20.0 + k as f64)).collect(),
        changes,
        notes: vec![note(Some("oak"), "larvae,\nwhite"), note(None, "a \"word\"")],
        deliveries: vec![sent],
        gaps: vec![gap],
        settings: Some(SettingsInForce { since: at(0), text: "[shelf]\nname = \"a, b\"\n".to_owned() }),
        fits: vec![FitAct::New(unsettled)],
        ..Batch::default()
    };
    store.commit(&[batch]).unwrap().remove(0).unwrap();
    while store.pack_step(at(0)).unwrap().more {}
    let keep = Keep { max_days: Some(8), max_bytes: None };
    while store.thin_step(&keep, at(0)).unwrap().more {}
    place
}

#[test]
fn what_is_no_reading_goes_out_as_tables_with_units_in_their_headers() {
    let place = of_everything();
    let table = |what: &str, more: &[&str]| {
        let out = place.path.with_file_name("table.csv");
        let to = out.to_string_lossy().into_owned();
        let line = [&["export", "--format", "csv", "--what", what, "--out", &to], more].concat();
        call(&place, &line).unwrap();
        std::fs::read_to_string(out).unwrap()
    };
    for (what, wanted) in [
        (
            "alarms",
            "id,time,alarm,nest,probe,node,priority,event,state,told,cause,detail\r\n\
             1,2026-01-05T00:00:00Z,heater-stuck-on,oak,,,danger,raised,unacknowledged,yes,,\
             \"expected 27.0 °C, seen 33.1 °C for 12 min\"\r\n\
             2,2026-01-05T00:01:00Z,brood-hot,oak,,,warning,raised,suppressed,no,heater-stuck-on,\
             \"seen 33.1 °C, \"\"hot\"\"\"\r\n",
        ),
        ("messages", "time,change,way,attempt,outcome\r\n2026-01-05T00:00:07Z,1,mail,2,sent\r\n"),
        (
            "notes",
            "time,nest,place [mm],kind,text\r\n2026-01-05T00:02:00Z,oak,62.5,brood,\"larvae,\nwhite\"\r\n\
             2026-01-05T00:02:00Z,,,brood,\"a \"\"word\"\"\"\r\n",
        ),
        ("gaps", "from,to,why\r\n2026-01-05T00:00:00Z,2026-01-05T00:10:00Z,power cut\r\n"),
        (
            "fits",
            "fit,time,nest,in force,refused,from,until,readings,room [Cel],error [K]\r\n\
             1,2026-01-05T00:01:30Z,oak,no,unsettled,,,,,\r\n",
        ),
        ("settings", "since,shelf file\r\n2026-01-05T00:00:00Z,\"[shelf]\nname = \"\"a, b\"\"\n\"\r\n"),
        (
            "hours",
            "time,source,unit,readings,lowest,highest,mean,believed\r\n\
             2025-12-06T00:00:00Z,oak-node:warm,Cel,3,20,22,21,yes\r\n",
        ),
    ] {
        assert_eq!(table(what, &[]), wanted, "{what}");
    }
    assert_eq!(table("notes", &["--nest", "oak"]).lines().count(), 3, "the one of no nest is left out");
    assert_eq!(table("alarms", &["--from", "2026-01-05T00:00:30Z"]).lines().count(), 2);
    for wrong in [
        &["--format", "line", "--what", "notes"][..],
        &["--format", "csv", "--what", "gaps", "--nest", "oak"],
        &["--format", "csv", "--what", "alarms", "--source", "oak-node:warm"],
        &["--format", "csv", "--nest", "elm"],
    ] {
        let error = call(&place, &[&["export"], wrong].concat()).unwrap_err();
        assert!(error.downcast_ref::<WrongCall>().is_some(), "{wrong:?}: {error:#}");
    }
}
