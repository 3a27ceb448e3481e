use super::*;
use crate::history::AlarmRecord;
use crate::notices::daily;
use crate::notices::samples;
use crate::snapshot::StandingAlarm;
use crate::views::sample::made;
use crate::web::words_tests::words::{unsaid, unsaid_text};
use dashboards::say::{Language, in_language};
use enclosure::{AlarmKey, Timestamp};

fn told(alarm: Alarm, event: Event, nest: Option<&str>) -> Told {
    let change = AlarmRecord {
        at: Timestamp::from_unix_ms(1_772_366_400_000),
        alarm,
        nest: nest.map(str::to_owned),
        probe: None,
        node: None,
        event,
        state: State::Unacknowledged,
        detail: "The brood place was 36.2 °C (give or take 0.4).".to_owned(),
        cause: None,
        told: true,
    };
    Told { id: Some(1), change, restored: false }
}

fn said(told: &Told, context: &Context, repeat: u32) -> Message {
    compose(told, context, Occasion { repeat, ..Occasion::default() })
}

/// Every way in which a change can be told.
fn occasions() -> impl Iterator<Item = Occasion<'static>> {
    let both = [false, true];
    both.into_iter().flat_map(move |reminder| {
        both.into_iter().flat_map(move |second| {
            [None, Some("http://shelf.local:7180/answer/x")].into_iter().map(move |link| Occasion {
                repeat: u32::from(reminder) * 3,
                reminder,
                second,
                seen: link.map(|_| "Warmth along oak: 27.1 °C at 0 mm, 24.0 °C at 240 mm."),
                link,
            })
        })
    })
}

/// Every alarm, every event, with and without a nest and with the longest of names.
fn every() -> impl Iterator<Item = Told> {
    let nests = [None, Some("oak".to_owned()), Some("n".repeat(32)), Some("nobody-knows-it".to_owned())];
    let all = Alarm::ALL.into_iter().flat_map(|alarm| Event::ALL.into_iter().map(move |event| (alarm, event)));
    all.flat_map(move |(alarm, event)| {
        nests.clone().into_iter().flat_map(move |nest| {
            let plain = told(alarm, event, nest.as_deref());
            let mut named = plain.clone();
            named.change.probe = Some("oak-node:warm".to_owned());
            let mut long = plain.clone();
            long.change.node = Some("x".repeat(200));
            [plain, named, long]
        })
    })
}

#[test]
fn the_first_line_is_complete_on_a_lock_screen() {
    let context = samples::context();
    for told in every() {
        let line = said(&told, &context, 0).first_line;
        assert!(letters(&line) <= FIRST_LINE_MAX, "{} letters: {line}", letters(&line));
        assert!(!line.contains('\n') && !line.contains('…'), "{line}");
        if told.begins() {
            let rank = words::rank(told.priority());
            let act = words_for(&told, &context).first;
            assert!(line.starts_with(&format!("{rank}: ")) && line.contains(&act), "{line}");
        }
        assert!(told.change.nest.as_deref().is_none_or(|nest| line.contains(nest)), "{line}");
    }
}

#[test]
fn a_stuck_heating_mat_reads_so() {
    let message = said(&told(Alarm::HeaterStuckOn, Event::Raised, Some("oak")), &samples::context(), 0);
    assert_eq!(message.first_line, "DANGER: nest oak, the heating mat will not switch off. Unplug it now.");
    assert!(message.body.starts_with("1. Smoke, flame or a burning smell"), "{}", message.body);
    for part in [
        "unplug the heating mat at the wall. It is this plug: left strip, socket 2.",
        "thermostat's sensor still sits in the nest",
        "Where: nest oak, shelf study, study, oak board",
        "Since: Sun 1 March, 12:00 (UTC)",
        "How sure: Worked out",
        "For the brood: ",
        "Evidence: The brood place was 36.2 °C",
        "`warmend alarms ack heater-stuck-on@oak`",
        "the same heating mat warms plaster",
    ] {
        assert!(message.body.contains(part), "{part} is not in:\n{}", message.body);
    }
    let steps = message.body.find("1. Smoke").zip(message.body.find("Where: ")).zip(message.body.find("Evidence: "));
    assert!(steps.is_some_and(|((steps, place), evidence)| steps < place && place < evidence));
}

/// The wording that every danger carries, word for word: whoever changes it changes this table too.
const DANGER: [&str; 7] = [
    "1. Smoke, flame or a burning smell: do not touch it, get everyone out, close the door, call the fire service from \
     outside.",
    "2. If plug, socket or cable is hot, discoloured or wet, do not touch it; switch off that circuit if you can reach it \
     safely.",
    "3. Otherwise unplug the heating mat at the wall.",
    "4. No water, no ice.",
    "5. Leave it unplugged until you know why.",
    "This is not a protective device and not a smoke alarm. Local codes come first; work on mains wiring is for licensed \
     people.",
    "It is repeated until somebody answers. An answer does not end it: go and look.",
];

/// With several mats at a nest, pulling one plug may be pulling the wrong one.
#[test]
fn every_mat_of_the_nest_is_named_where_one_is_stuck() {
    let mut context = samples::context();
    let mut body = |pads: usize, plugs: &[&str]| {
        let nest = context.nests.get_mut("oak").unwrap();
        (nest.pads, nest.plugs) = (pads, plugs.iter().map(|p| (*p).to_owned()).collect());
        said(&told(Alarm::HeaterStuckOn, Event::Raised, Some("oak")), &context, 0).body
    };
    let unplug = |body: &str| body.lines().find(|line| line.starts_with("3. ")).unwrap().to_owned();
    assert_eq!(unplug(&body(1, &[])), "3. Otherwise unplug the heating mat at the wall.");
    let all = "3. Otherwise unplug all 2 heating mats of this nest at the wall.";
    let both = body(2, &["left", "right"]);
    assert_eq!(unplug(&both), format!("{all} They are these plugs: left; right."));
    assert!(both.contains("its heating mats hang on: left; right"), "{both}");
    let some = "Of its 2 mats these plugs are written down: left. Find the others as well.";
    assert_eq!(unplug(&body(2, &["left"])), format!("{all} {some}"));
    assert_eq!(unplug(&body(2, &[])), all);
}

#[test]
fn every_danger_says_what_to_do_about_fire_and_plugs_word_for_word() {
    let context = samples::context();
    let dangers = Alarm::ALL.into_iter().filter(|a| a.priority() == Priority::Danger);
    for alarm in dangers {
        for nest in [Some("oak"), Some("nobody-knows-it"), None] {
            for repeat in [0, 7] {
                let text = said(&told(alarm, Event::Raised, nest), &context, repeat).text();
                let mut from = 0;
                for part in &DANGER[..5] {
                    let at = text[from..].find(part).unwrap_or_else(|| panic!("{alarm}: {part} is not in:\n{text}"));
                    from += at + part.len();
                }
                for part in &DANGER[5..] {
                    assert!(text.contains(part), "{alarm}: {part} is not in:\n{text}");
                }
                assert!(text.contains("the pages are open on one machine only"), "{text}");
            }
        }
    }
}

/// What a neighbour reads at night of a power cut, of a node, and of a watch elsewhere: three things, one alarm.
#[test]
fn silence_says_whose_it_is() {
    let context = samples::context();
    let silent = |nest: Option<&str>, node: Option<&str>| {
        let mut told = told(Alarm::NodeSilent, Event::Raised, nest);
        told.change.node = node.map(str::to_owned);
        said(&told, &context, 0)
    };
    let all = silent(None, None);
    assert_eq!(all.first_line, "Warning: shelf study, every probe fell silent at once. Is the power on?");
    assert!(all.body.starts_with("1. See whether the power is on: a power cut"), "{}", all.body);
    let one = silent(Some("oak"), Some("oak-node"));
    assert_eq!(one.first_line, "Warning: nest oak, the node of its probes is silent. Look at its power.");
    assert!(one.body.contains("; node oak-node"), "{}", one.body);
    // The example's shelf awaits signs of life of this one.
    let other = silent(None, Some("cellar"));
    assert_eq!(other.first_line, "Warning: shelf study, another shelf's watch is silent (cellar). Look there.");
    assert!(other.body.contains("the other shelf: cellar") && !other.body.contains("node cellar"), "{}", other.body);
}

/// Words that nobody knows who never saw the tool stand in no first line.
#[test]
fn no_first_line_needs_the_manual() {
    let context = samples::context();
    for told in every() {
        let line = said(&told, &context, 0).first_line.to_lowercase();
        for word in ["broker", "mqtt", "estimate", "axis", "band", "senml", "pipeline", "profile", "latched", "shelved"]
        {
            assert!(!line.contains(word), "\"{word}\" in: {line}");
        }
    }
}

#[test]
fn nothing_is_called_safe_protected_or_guaranteed_and_no_number_is_given_to_call() {
    let context = samples::context();
    let texts = every().flat_map(|told| occasions().map(|o| compose(&told, &context, o).text()).collect::<Vec<_>>());
    let tests = [test_message(&context, "12345678", Some("http://shelf.local/answer/x")).text()];
    let fixed = [say!("told-daily"), say!("told-weekly"), say!("told-nothing-found"), say!("card-water-after")];
    let fixed = fixed.into_iter().chain(words::never());
    for text in texts.chain(tests).chain(fixed) {
        // Two phrases deny or ask for it; they may stay.
        let bare = text.to_lowercase().replace("not a protective device", "").replace("if you can reach it safely", "");
        for word in
            ["safe", "protect", "guarant", "secure", "harmless", "no danger", "all clear", "all is well", "surely"]
        {
            assert!(!bare.contains(word), "\"{word}\" in:\n{text}");
        }
        for number in ["112", "911", "999", "000"] {
            let called = text.split(|c: char| !c.is_ascii_digit()).any(|digits| digits == number);
            assert!(!called, "{number} in:\n{text}");
        }
    }
}

#[test]
fn water_begins_with_the_plug_and_a_cold_mat_with_its_plug() {
    let context = samples::context();
    let first_step = |alarm| {
        let body = said(&told(alarm, Event::Raised, Some("oak")), &context, 0).body;
        body.lines().next().unwrap_or_default().to_owned()
    };
    for alarm in [Alarm::WaterLow, Alarm::HumidityLow, Alarm::HumidityHigh, Alarm::Condensation] {
        assert_eq!(first_step(alarm), "1. Unplug the heating mat before you add or wipe water.", "{alarm}");
    }
    assert!(first_step(Alarm::HeaterNoHeat).contains("plug is in"));
}

#[test]
fn every_alarm_has_steps_evidence_and_meaning() {
    let all: Vec<_> = Alarm::ALL.into_iter().map(words::of).chain([words::all_silent(), words::elsewhere()]).collect();
    for words in &all {
        assert!(!words.steps.is_empty() && !words.sure.is_empty() && !words.brood.is_empty(), "{words:?}");
        assert!(letters(&words.short) + letters(&words.first) <= words::SHORT_MAX, "{words:?}");
    }
    // No two alarms read alike.
    let whats: std::collections::BTreeSet<_> = all.iter().map(|words| words.what.as_str()).collect();
    assert_eq!(whats.len(), all.len());
}

#[test]
fn a_hostile_name_breaks_no_line() {
    let mut hostile = told(Alarm::ProbeSilent, Event::Raised, Some("oak"));
    hostile.change.probe = Some("a\r\nSubject: b\u{1b}[2J".to_owned());
    hostile.change.detail = "x\ny".repeat(100_000);
    let message = said(&hostile, &samples::context(), 0);
    assert!(!message.text().contains('\u{1b}') && !message.text().contains('\r'));
    assert!(!message.body.lines().any(|l| l.starts_with("Subject")) && message.body.len() < 10_000);
}

#[test]
fn an_answered_danger_that_goes_on_is_told_as_the_danger_it_is() {
    let mut answered = told(Alarm::HeaterStuckOn, Event::Acknowledged, Some("oak"));
    answered.change.state = State::Acknowledged;
    let message = compose(&answered, &samples::context(), Occasion { reminder: true, ..Occasion::default() });
    assert_eq!(message.first_line, "DANGER: nest oak, the heating mat will not switch off. Unplug it now.");
    assert!(message.body.starts_with(&say!("told-reminder")), "{}", message.body);
    assert!(message.body.contains(&words::fire()) && message.body.contains(&words::not_a_device()), "{}", message.body);
}

#[test]
fn the_keepers_own_emergency_number_stands_beside_the_fire_and_nowhere_else() {
    let mut file = samples::shelf();
    file.emergency = Some("the desk, line 7".to_owned());
    let context = Context::new(&file, TimeZone::UTC);
    for alarm in Alarm::ALL {
        let text = said(&told(alarm, Event::Raised, Some("oak")), &context, 0).text();
        let danger = alarm.priority() == Priority::Danger;
        assert_eq!(text.contains("whom to call: the desk, line 7."), danger, "{alarm}: {text}");
    }
}

#[test]
fn a_link_is_given_where_there_is_one_and_its_absence_is_said() {
    let context = samples::context();
    let link = "http://shelf.local:7180/answer/token";
    for alarm in Alarm::ALL {
        let told = told(alarm, Event::Raised, Some("oak"));
        let with = compose(&told, &context, Occasion { link: Some(link), ..Occasion::default() }).body;
        let without = compose(&told, &context, Occasion::default()).body;
        assert!(with.contains(link) && !with.contains("no link"), "{with}");
        assert!(without.contains("act at the shelf first") && without.contains("no link"), "{without}");
        assert!(with.contains("warmend alarms ack") && without.contains("warmend alarms ack"));
    }
}

#[test]
fn what_is_believed_now_is_said_in_words_too() {
    let told = told(Alarm::BroodHot, Event::Raised, Some("oak"));
    let seen = "Warmth along oak: 27.1 °C at 0 mm.";
    let message = compose(&told, &samples::context(), Occasion { seen: Some(seen), ..Occasion::default() });
    assert!(message.body.contains(&format!("Now: {seen}")), "{}", message.body);
}

/// Stands for everything that the shelf file, a probe or a person gave.
const GIVEN: &str = "zx";

/// What the texts know of a shelf that calls everything [`GIVEN`].
fn given() -> Context {
    let zx = || GIVEN.to_owned();
    let nest = NestContext { pads: 1, plugs: vec![zx(), zx()], shared_with: vec![zx(), zx()] };
    Context {
        shelf: zx(),
        place: Some(zx()),
        zone: None,
        emergency: Some(zx()),
        nests: BTreeMap::from([(zx(), nest)]),
        watches: vec![zx()],
    }
}

/// Every message, with the name that commands know its alarm by left out.
fn all_messages() -> Vec<String> {
    let (context, zx) = (given(), || GIVEN.to_owned());
    let mut texts: Vec<String> = [None, Some(GIVEN)].map(|link| test_message(&context, "12345678", link).text()).into();
    for mut told in every() {
        let change = &mut told.change;
        (change.nest, change.probe) = (change.nest.take().map(|_| zx()), change.probe.take().map(|_| zx()));
        (change.node, change.detail) = (change.node.take().map(|_| zx()), zx());
        change.cause = Some(Alarm::WaterLow);
        let name = written(told.key());
        let occasions = occasions().map(|o| Occasion { seen: o.seen.map(|_| GIVEN), link: o.link.map(|_| GIVEN), ..o });
        texts.extend(occasions.map(|o| compose(&told, &context, o).text().replace(&name, GIVEN)));
    }
    texts
}

fn given_card() -> String {
    let zx = || GIVEN.to_owned();
    let mut file = samples::shelf();
    (file.shelf.name, file.place, file.emergency) = (zx(), Some(zx()), Some(zx()));
    file.shelf.nests[0].id = zx();
    for plug in &mut file.plugs {
        plug.plug = Some(zx());
    }
    for person in &mut file.recipients {
        (person.name, person.phone) = (zx(), Some(zx()));
    }
    crate::notices::card::html(&file, GIVEN).unwrap()
}

/// The reports of a day with every alarm standing, and of a week.
fn reports() -> Vec<String> {
    let mut snap = made().snapshot.clone();
    let mut texts = vec![daily::report(&snap, snap.at, &given()).text()];
    for (i, alarm) in Alarm::ALL.into_iter().enumerate() {
        let key = AlarmKey { alarm, nest: (i % 2 == 0).then_some(0), probe: None, node: None };
        let (since, detail) = (snap.at, String::new());
        snap.alarms = vec![StandingAlarm {
            key,
            state: State::Unacknowledged,
            since,
            raised: None,
            detail,
            cause: None,
            until: None,
        }];
        texts.push(daily::report(&snap, snap.at, &given()).text());
    }
    snap.alarms.extend(snap.alarms.clone());
    texts.push(daily::report(&snap, snap.at, &given()).text());
    texts.push(daily::week_message((GIVEN.to_owned(), GIVEN.to_owned())).text());
    texts
}

#[test]
fn every_word_of_a_message_and_of_the_card_comes_from_the_table() {
    let (texts, card) = in_language(Language::Marked, || ([all_messages(), reports()].concat(), given_card()));
    // The nests of the made snapshot have names of their own.
    let names = [GIVEN, "oak", "plaster"];
    let mut left: Vec<String> = texts.iter().flat_map(|text| unsaid_text(text, &names)).collect();
    left.extend(unsaid(&card, &names));
    left.sort();
    left.dedup();
    assert!(left.is_empty(), "{} words of no table:\n{}", left.len(), left.join("\n"));
}
