//! Snippets of shelf files and what is said of them.

mod example;
mod nests;
mod sections;
mod unwise;
mod variables;

use super::schema::{self, Kind, Section};
use super::*;
use enclosure::shelf::{AlarmSettings, PadPlace, SeasonKind};
use enclosure::time::Span;
use std::collections::BTreeSet;

const EXAMPLE: &str = include_str!("../../shelf.example.toml");

/// The least that is a shelf; its probe stands in lines 4 to 6.
const LEAST: &str = "[[nest]]\nid = \"oak\"\nlength_mm = 240\n[[nest.probe]]\nsource = \"n:warm\"\nat_mm = 10\n";

fn judged(text: &str, env: &[(&str, &str)]) -> Result<(ShelfFile, Vec<Advice>), ShelfErrors> {
    let env = env.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned()));
    check_text(text, Path::new("/etc/warmend/shelf.toml"), env)
}

fn good(text: &str, env: &[(&str, &str)]) -> (ShelfFile, Vec<Advice>) {
    judged(text, env).unwrap_or_else(|e| panic!("{e}\nin\n{text}"))
}

/// The errors as lines; none if all is well.
fn errors(text: &str, env: &[(&str, &str)]) -> Vec<String> {
    judged(text, env).err().map(|e| e.to_string().lines().map(str::to_owned).collect()).unwrap_or_default()
}

/// Exactly one error: that line and key, and these words in it.
fn check_wrong(text: &str, place_and_key: &str, words: &str) {
    let errors = errors(text, &[]);
    assert_eq!(errors.len(), 1, "one error wanted ({place_and_key}: {words}), got {errors:#?} in\n{text}");
    assert!(errors[0].starts_with(&format!("{place_and_key}: ")), "{} should be at {place_and_key}", errors[0]);
    assert!(errors[0].contains(words), "{} should say {words}", errors[0]);
}

/// `more` stands from line 7 on, after the least shelf.
fn check_after(more: &str, place_and_key: &str, words: &str) {
    check_wrong(&format!("{LEAST}{more}"), place_and_key, words);
}

#[test]
fn the_least_shelf_takes_the_contracts_values() {
    let (file, _) = good(LEAST, &[]);
    assert_eq!(file.broker.way, BrokerWay::Embedded { listen: ([127, 0, 0, 1], 1883).into(), users_file: None });
    assert_eq!(file.broker.prefix, "warmend");
    assert_eq!(file.history.path, Path::new("/etc/warmend/warmend.db"));
    assert_eq!(file.history.commit, Span::from_s(1));
    assert_eq!(file.web.listen, ([127, 0, 0, 1], 7180).into());
    assert_eq!(file.notices.iter().map(|n| &n.way).collect::<Vec<_>>(), [&Way::Log]);
    assert_eq!((file.influx, file.mappings), (None, Vec::new()));
    assert_eq!(file.shelf.alarms, AlarmSettings::default());
    let nest = &file.shelf.nests[0];
    assert_eq!((nest.pads.len(), nest.brood, nest.band), (0, None, None));
}

#[test]
fn an_empty_shelf_is_one_and_is_told_how_to_begin() {
    let (file, advice) = good("", &[]);
    assert!(file.shelf.nests.is_empty());
    assert!(advice.iter().any(|a| a.key == "nest" && a.remedy.contains("its page")), "{advice:#?}");
}

#[test]
fn everything_is_said_at_once_in_the_files_order() {
    let text = "[[nest]]\nid = \"O\"\nlenght_mm = 3\n[nest.pad]\nto_mm = 80\nwatts = 0\n[web]\nlisten = \"x\"\n";
    let keys: Vec<_> = judged(text, &[("WARMEND__WEB__LISTN", "")])
        .expect_err("wrong")
        .errors()
        .iter()
        .map(|e| (e.place.clone(), e.key.clone()))
        .collect();
    let line = |n, key: &str| (Place::Line(n), key.to_owned());
    assert_eq!(
        keys,
        [
            line(1, "nest[0].probe"),
            line(2, "nest[0].id"),
            line(3, "nest[0].lenght_mm"),
            line(4, "nest[0].pad.from_mm"),
            line(6, "nest[0].pad.watts"),
            line(8, "web.listen"),
            (Place::Environment("WARMEND__WEB__LISTN".to_owned()), String::new()),
        ]
    );
}

#[test]
fn errors_are_bounded() {
    let text = (0..MAX_ERRORS + 7).fold(LEAST.to_owned(), |t, i| t + &format!("x{i} = 1\n"));
    let all = errors(&text, &[]);
    assert_eq!(all.len(), MAX_ERRORS + 1);
    assert_eq!(all[MAX_ERRORS], "… and 7 more");
}

#[test]
fn loading_reads_the_disk_and_says_what_is_not_there() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("shelf.toml");
    let missing = load(&path, std::iter::empty());
    assert!(matches!(missing, Err(ShelfErrors::Unreadable { .. })));
    let (text, code) = report(&missing);
    assert_eq!(code, 64);
    assert!(text.contains("--shelf") && text.contains(&deference()), "{text}");

    std::fs::write(&path, b"\xff\xfe").expect("written");
    assert!(matches!(load(&path, std::iter::empty()), Err(ShelfErrors::Unreadable { .. })), "not UTF-8");

    std::fs::write(&path, EXAMPLE).expect("written");
    let (file, advice) = load(&path, std::iter::empty()).expect("good");
    assert_eq!(file.history.path, dir.path().join("warmend.db"));
    let absent: Vec<_> = advice.iter().map(|a| a.key.as_str()).collect();
    assert_eq!(
        absent,
        ["notice[0].token_file", "notice[0].secret_file", "notice[2].password_file", "influx.token_file"]
    );
}

#[test]
fn a_file_that_is_there_and_of_no_use_is_named_with_line_and_key() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("shelf.toml");
    std::fs::write(dir.path().join("empty"), "\n").expect("written");
    let more =
        "[[notice]]\nway = \"webhook\"\nurl = \"http://127.0.0.1/\"\ntoken_file = \".\"\nsecret_file = \"empty\"\n";
    std::fs::write(&path, format!("{LEAST}{more}")).expect("written");
    let (text, code) = report(&load(&path, std::iter::empty()));
    assert_eq!(code, 0, "{text}");
    assert!(
        text.contains("shelf.toml:10: notice[0].token_file: the file ") && text.contains("cannot be read"),
        "{text}"
    );
    assert!(text.contains("shelf.toml:11: notice[0].secret_file: the file ") && text.contains("is empty"), "{text}");
}

#[test]
fn reports_end_with_deference_and_the_right_code() {
    let (text, code) = report(&judged(LEAST, &[]));
    assert_eq!(code, 0);
    assert!(text.contains("1 nest, 1 probe, 0 heating mats"), "{text}");
    assert!(text.contains("shelf.toml:4: nest[0].probe: ") && text.trim_end().ends_with(&deference()), "{text}");
    let heated = format!(
        "{LEAST}[nest.pad]\nfrom_mm = 0\nto_mm = 80\nwatts = 5\n[nest.band]\nlow_c = 24\nhigh_c = 28\nlimit_c = 34\n"
    );
    assert!(!text.contains("without heat"), "{text}");
    let (text, _) = report(&judged(&heated, &[]));
    assert!(text.contains(": without heat, in a room at 19 °C, the brood place is below 24 °C after some "), "{text}");
    let (text, code) = report(&judged("[[nest]]\n", &[]));
    assert_eq!(code, 64);
    assert!(text.contains("3 things are wrong") && text.trim_end().ends_with(&deference()), "{text}");
}

#[test]
fn the_contracts_own_example_is_taken() {
    let text = r#"
[shelf]
name = "study"
[[nest]]
id = "oak"
length_mm = 240
material = "oak"
[nest.pad]
from_mm = 0
to_mm = 80
watts = 7.0
drive = "oak-node:pad"
thermostat_c = 30.0
[nest.brood]
from_mm = 50
to_mm = 90
[nest.band]
low_c = 24.0
high_c = 31.0
limit_c = 35.0
[[nest.probe]]
source = "oak-node:warm"
at_mm = 10
[[nest.probe]]
source = "oak-node:cool"
at_mm = 230
[nest.room]
source = "room:air"
[[nest.season]]
from = "11-01"
to = "03-15"
kind = "rest"
low_c = 2.0
high_c = 10.0
limit_c = 15.0
pad = "off"
[broker]
embedded = "127.0.0.1:1883"
[history]
path = "warmend.db"
[web]
listen = "127.0.0.1:7180"
[[notice]]
way = "webhook"
url = "http://127.0.0.1:9000/heat"
[influx]
url = "http://127.0.0.1:8086"
org = "home"
bucket = "shelf"
token_file = "influx.token"
"#;
    let (file, _) = good(text, &[]);
    assert_eq!(file.shelf.nests[0].pads[0].thermostat_c, Some(30.0));
}
