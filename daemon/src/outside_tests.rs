//! Whatever people and programs write, a little wrong: nothing that reads it panics, and what is taken is within bounds.
use crate::broker::users::Users;
use crate::clock::ManualClock;
use crate::demo::FaultWish;
use crate::notices::{Answering, LINK_PATH, samples};
use crate::plan::{view, wish};
use crate::replay::{Settings, replay};
use crate::shelf_file::sample::{OAK, read};
use crate::snapshot::{ActKind, AlarmAct};
use crate::{times, told, web};
use enclosure::{Alarm, Event, Span, Timestamp};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use std::path::Path;
use std::sync::Arc;

/// What breaks readers of text: signs, ends, nothing, other alphabets, numbers at their edge.
const PIECES: [&str; 30] = [
    "",
    "0",
    "9",
    "-",
    "+",
    ".",
    ",",
    ":",
    ";",
    "/",
    "@",
    "#",
    "%",
    "$",
    "\"",
    "\\",
    "\n",
    "\0",
    " ",
    "{",
    "}",
    "[",
    "]",
    "e308",
    "99999999999999999999",
    "NaN",
    "ß",
    "\u{202e}",
    "😀",
    "\u{feff}",
];
/// 2026-03-01T12:00:00Z.
const NOW: Timestamp = Timestamp::from_unix_ms(1_772_366_400_000);

/// Users files that are right, but for the last.
const USERS: [&str; 3] = [
    "oak:$argon2id$v=19$m=8,t=1,p=1$c2FsdHNhbHQ$3fHEhYRTdjfZMNCL0cWTKEx6RnWFHXTPmEEH2vMlIpw",
    "a:$argon2id$v=19$m=8,t=1,p=1$c2FsdHNhbHQ$3fHEhYRTdjfZMNCL0cWTKEx6RnWFHXTPmEEH2vMlIpw:read warmend/#,act",
    "# who\n\noak:x:write warmend/oak/#,node\n",
];
/// Acts that are right.
const ACTS: [&str; 5] = [
    r#"{"do":"ack","alarm":"heater-stuck-on","nest":"oak","why":"I am there"}"#,
    r#"{"do":"shelve","alarm":"brood-cold","nest":"oak","minutes":30}"#,
    r#"{"do":"out-of-service","alarm":"heater-no-heat","nest":"oak","until":"2026-09-01"}"#,
    r#"{"do":"note","nest":"oak","kind":"brood","at_mm":"60,5","at":1772366400}"#,
    r#"{"do":"put-back-fit","nest":"oak","fit":3}"#,
];

/// One of these texts, with up to five pieces put in, or in the place of a letter.
fn near(seeds: &'static [&'static str]) -> impl Strategy<Value = String> {
    let edits = prop::collection::vec((any::<Index>(), select(&PIECES[..]), any::<bool>()), 0..6);
    (select(seeds), edits).prop_map(|(seed, edits)| {
        edits.into_iter().fold(seed.to_owned(), |text, (place, piece, instead)| {
            let letters: Vec<char> = text.chars().collect();
            let at = place.index(letters.len() + 1);
            let after = letters.iter().skip(at + usize::from(instead));
            letters.iter().take(at).copied().chain(piece.chars()).chain(after.copied()).collect()
        })
    })
}

/// What a number of a plan may be written as: left out, right, or nearly.
fn number() -> impl Strategy<Value = Option<String>> {
    prop::option::weighted(0.4, near(&["0", "5", "60", "200", "24.5", "1000"]))
}

#[test]
fn the_texts_are_right_before_they_are_bent() {
    for text in &USERS[..2] {
        assert!(Users::parse(text, "warmend").is_ok_and(|users| users.len() == 1), "{text}");
    }
    for text in ACTS {
        let wish: web::acts::Wish = serde_json::from_str(text).unwrap();
        assert!(wish.signed().is_ok() && wish.act(NOW).is_ok(), "{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn times_are_read_within_their_bounds(
        text in near(&["1h30m", "7d", "90min", "5w", "now", "2026-03-01", "2026-03-01T12:00:00Z", "-009999-01-01T00:00:00Z"])
    ) {
        if let Ok(span) = times::duration(&text) {
            prop_assert!(span > Span::ZERO);
        }
        if let Ok(moment) = times::moment(&text) {
            prop_assert!(!times::rfc3339(moment.from(NOW)).is_empty());
        }
        if let Ok(end) = times::end(&text) {
            prop_assert!(!times::rfc3339(end.from(NOW)).is_empty());
        }
    }

    #[test]
    fn what_is_read_as_an_alarms_name_is_written_so(
        text in near(&["heater-stuck-on@oak", "probe-silent@oak/oak-node:warm", "node-silent@/oak-node", "broker-lost"])
    ) {
        if let Ok(name) = told::read(&text) {
            let alarm = Alarm::from_name(&name.alarm);
            prop_assert!(alarm.is_some());
            let key = (alarm.map_or("", Alarm::name), name.nest.as_deref(), name.probe.as_deref(), name.node.as_deref());
            prop_assert_eq!(told::read(&told::written(key)), Ok(name.clone()), "{:?}", text);
        }
    }

    #[test]
    fn a_users_file_gives_nobody_the_daemons_topics(
        text in near(&USERS),
        topic in near(&["warmend/oak/senml", "warmend/oak/stored", "warmend/#", "$SYS/x"])
    ) {
        if let Ok(users) = Users::parse(&text, "warmend") {
            prop_assert!(users.len() <= text.lines().count());
            for name in ["oak", "a", ""] {
                let known = users.hash(name).is_some();
                prop_assert!(known || !users.may_publish(name, &topic) && !users.may_subscribe(name, &topic));
            }
        }
    }

    #[test]
    fn an_act_is_one_of_those_there_are_and_silences_nothing_for_ever(
        text in near(&ACTS)
    ) {
        let wish = serde_json::from_str::<web::acts::Wish>(&text).ok();
        match wish.and_then(|wish| wish.signed().ok().and_then(|_| wish.act(NOW).ok())) {
            Some(ActKind::Alarm(AlarmAct::Shelve(minutes), _)) => prop_assert!((1..=7 * 24 * 60).contains(&minutes)),
            Some(ActKind::Note(note)) => prop_assert!(note.at_mm.is_none_or(f64::is_finite)),
            Some(ActKind::PutBackFit { fit, .. }) => prop_assert!(fit > 0),
            _ => {}
        }
    }

    #[test]
    fn a_link_that_is_a_little_wrong_is_none(place in any::<Index>(), piece in select(&PIECES[1..]), instead in any::<bool>()) {
        let clock = Arc::new(ManualClock::new(NOW));
        let mut file = samples::shelf();
        file.web.url = Some("http://shelf.example".to_owned());
        let answering = Answering::new([7; 32], &file, "127.0.0.1:7180".parse().unwrap(), clock);
        let told = samples::told(Alarm::HeaterStuckOn, Event::Raised, "oak");
        answering.hear(&told, "DANGER");
        let link = answering.link(&told, 0).unwrap();
        let token = link.rsplit_once(LINK_PATH).unwrap().1.trim_start_matches('/');
        prop_assert!(answering.read(token).is_ok());
        let (head, tail) = token.split_at(place.index(token.len()));
        let wrong = format!("{head}{piece}{}", tail.get(usize::from(instead)..).unwrap_or_default());
        prop_assert!(wrong == token || answering.read(&wrong).is_err(), "{}", wrong);
    }

    #[test]
    fn a_fault_is_one_of_those_there_are(text in near(&["stuck-on@oak+30m", "silent@plaster", "water-dry@oak+1d2h"])) {
        if let Ok(fault) = text.parse::<FaultWish>() {
            prop_assert!(world::FaultKind::ALL.contains(&fault.kind));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_plan_is_reckoned_in_finite_numbers_or_says_what_is_wrong(
        (length, width, height) in (number(), number(), number()),
        (pad_from, pad_to, watts) in (number(), number(), number()),
        (brood_from, brood_to, hold) in (number(), number(), number()),
        (limit, room, swing, covered, share) in (number(), number(), number(), number(), number()),
    ) {
        let wish = wish::Wish {
            length: length.or(Some("200".to_owned())), width, height,
            pad_from: pad_from.or(Some("0".to_owned())), pad_to: pad_to.or(Some("60".to_owned())),
            watts: watts.or(Some("5".to_owned())),
            brood_from, brood_to, hold, limit, room, swing, covered, share,
            ..wish::Wish::default()
        };
        match view(&wish, None, wish::Writer::Command) {
            Ok(plan) => {
                let text = dashboards::plan_text(&plan, 100);
                prop_assert!(!text.contains("NaN") && !text.contains("inf °C"), "{text}");
            }
            Err(wrong) => prop_assert!(!wrong.to_string().is_empty()),
        }
    }

    #[test]
    fn a_recording_is_replayed_line_by_line_whatever_its_lines(
        lines in prop::collection::vec(near(&[
            r#"{"n":"oak-node:warm","u":"Cel","v":25.5,"t":1772366400}"#,
            r#"{"n":"oak-node:cool","u":"Cel","v":21,"t":1772366460.25}"#,
            r#"{"n":"oak-node:warm","vb":true,"t":1772366520}"#,
        ]), 0..12)
    ) {
        let shelf = read(OAK, Path::new("shelf.toml")).shelf;
        let settings = Settings { every: Span::from_h(24 * 365), fits: false };
        let mut out = Vec::new();
        // A wrong year is lived through timer by timer, which takes seconds a year: it is named elsewhere, not fuzzed here.
        let of_its_day = |line: &&String| {
            wire::decode_line(line.as_bytes()).map_or(true, |r| (r.time_s - NOW.unix_s()).abs() < 86_400.0)
        };
        let text = lines.iter().filter(of_its_day).map(String::as_str).collect::<Vec<_>>().join("\n");
        let done = replay(shelf, &mut text.as_bytes(), &mut out, settings);
        for line in String::from_utf8(out).unwrap().lines() {
            prop_assert!(serde_json::from_str::<serde_json::Value>(line).is_ok(), "{line}");
        }
        if let Ok(outcome) = done {
            let skipped: u64 = outcome.skipped.values().sum();
            prop_assert!(outcome.taken + outcome.strangers + skipped <= text.split('\n').count() as u64);
        }
    }
}
