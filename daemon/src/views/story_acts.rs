//! What a keeper can do to an alarm on its own page, each with what comes of it, before it is done.
use super::hours::Hours;
use super::story::{STORY_PATH, story_url};
use crate::pipeline::WHY_MAX;
use crate::pipeline::acts::{DANGER_SILENCE_MAX_MIN, SILENCE_MAX_MIN, written};
use crate::snapshot::{AlarmName, StandingAlarm};
use dashboards::{Button, Field, FieldKind, Form, Part};
use enclosure::{Alarm, Priority, Span, State, Timestamp};

/// Lengths of a silence that are offered, minutes; only those that are allowed.
const SILENCES_MIN: [u32; 8] = [15, 30, 60, 240, 720, 1440, 2 * 1440, 7 * 1440];
/// Lengths of a time out of service that are offered, days.
const OUT_DAYS: [u32; 4] = [1, 7, 30, 180];

/// The forms, those that can do harm apart and last.
pub(super) fn forms(name: &AlarmName, alarm: &StandingAlarm, (now, hours): (Timestamp, &Hours)) -> Vec<Part> {
    let mut usual = Vec::new();
    let mut grave = Vec::new();
    let danger = alarm.priority() == Priority::Danger;
    match alarm.state {
        State::Unacknowledged => {
            usual.push(answer(name, danger));
            usual.push(on_the_way(name));
            usual.push(silence(name, danger, (now, hours)));
        }
        State::Acknowledged => usual.push(silence(name, danger, (now, hours))),
        State::Returned => usual.push(answer(name, false)),
        State::Latched => {
            usual.push(answer(name, false));
            grave.push(reset(name));
        }
        State::Shelved => usual.push(speak(name)),
        State::OutOfService => usual.push(back(name)),
        State::NotJudged | State::Normal | State::Suppressed => {}
    }
    if alarm.key.alarm == Alarm::HeaterNoHeat && !matches!(alarm.state, State::OutOfService | State::Latched) {
        grave.push(unplugged(name, (now, hours)));
    }
    let mut parts = Vec::new();
    if usual.is_empty() && grave.is_empty() {
        let nothing = "Nothing needs to be done to it here: it follows from another alarm, or from the season.";
        return vec![Part::Says(vec![nothing.to_owned()])];
    }
    if !usual.is_empty() {
        parts.push(Part::Forms(usual));
    }
    parts.extend(grave.into_iter().map(Part::Form));
    parts
}

fn form(name: &AlarmName, what: &str, heading: &str, says: &[&str], fields: Vec<Field>, button: &str) -> Form {
    let mut hidden = vec![("do".to_owned(), what.to_owned()), ("alarm".to_owned(), name.alarm.clone())];
    let named = [("nest", &name.nest), ("probe", &name.probe), ("node", &name.node)];
    hidden.extend(named.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value.clone()?))));
    hidden.push(("back".to_owned(), story_url(&written(name), None)));
    Form {
        key: what.to_owned(),
        heading: heading.to_owned(),
        says: says.iter().map(|s| (*s).to_owned()).collect(),
        url: STORY_PATH.to_owned(),
        hidden,
        groups: vec![(String::new(), fields)],
        buttons: vec![Button { label: button.to_owned(), sends: None }],
        ..Form::default()
    }
}

fn reason(needed: bool) -> Field {
    Field {
        name: "why".to_owned(),
        label: if needed { "Why" } else { "Anything to add (may stay empty)" }.to_owned(),
        kind: FieldKind::Line(WHY_MAX),
        value: String::new(),
        help: "It is written down beside what you do, for whoever looks later.".to_owned(),
        needed,
    }
}

fn choice(name: &str, label: &str, choices: Vec<(String, String)>, value: &str, help: &str) -> Field {
    Field {
        name: name.to_owned(),
        label: label.to_owned(),
        kind: FieldKind::Choice(choices),
        value: value.to_owned(),
        help: help.to_owned(),
        needed: true,
    }
}

fn answer(name: &AlarmName, danger: bool) -> Form {
    let reminded = if danger {
        "While it goes on you are reminded every few minutes; after the second time the next person is told."
    } else {
        "If it grows worse, you are told anew."
    };
    let says =
        ["Ends the repetition of its messages. It switches nothing, and does not end what is the matter.", reminded];
    form(name, "ack", "I have seen it", &says, vec![reason(false)], "I have seen it")
}

fn on_the_way(name: &AlarmName) -> Form {
    let says = [
        "Whoever was told so far is left in peace for half an hour. The alarm stays unanswered, and the next person's turn \
         still comes.",
    ];
    form(name, "on-the-way", "Someone is on the way", &says, Vec::new(), "Someone is on the way")
}

fn silence(name: &AlarmName, danger: bool, (now, hours): (Timestamp, &Hours)) -> Form {
    let most = if danger { DANGER_SILENCE_MAX_MIN } else { SILENCE_MAX_MIN };
    let offered = SILENCES_MIN.into_iter().filter(|min| *min <= most);
    let choice_of = |min: u32| {
        let span = Span::from_min(i64::from(min));
        (min.to_string(), format!("for {span}, until {}", hours.near(now.plus(span), now)))
    };
    let mut says = vec![
        "Until then no message about this alarm is sent, whatever becomes of it. It is judged and written down all the same; \
         other alarms of the nest still speak.",
        "The silence ends by itself. If it still holds then, you are told again.",
    ];
    if danger {
        says.push("This is a danger: it can be silenced for half an hour at most. Silence cools nothing.");
    }
    let end = choice("minutes", "Until when", offered.map(choice_of).collect(), "30", "");
    form(name, "shelve", "Silence it for a time", &says, vec![end, reason(true)], "Silence it")
}

fn speak(name: &AlarmName) -> Form {
    let says = ["If it still holds, you are told of it at once."];
    form(name, "unshelve", "End the silence", &says, Vec::new(), "End the silence")
}

fn reset(name: &AlarmName) -> Form {
    let says = [
        "Only after you have been there and know why it happened. A relay that stuck once sticks again.",
        "The alarm is closed, and the next time it is raised anew. Where a node heats on leave only, the mat may heat again \
         after this.",
        "Before you plug the mat in again: its thermal cut-off is in place, the sensor sits where it belongs, and nothing \
         covers the mat.",
    ];
    let form = form(name, "reset", "Reset it", &says, vec![reason(true)], "I have looked: reset it");
    Form { grave: true, ..form }
}

fn unplugged(name: &AlarmName, (now, hours): (Timestamp, &Hours)) -> Form {
    let choice_of = |days: u32| {
        let end = now.plus(Span::from_h(i64::from(days) * 24));
        let word = if days == 1 { "day" } else { "days" };
        (format!("{days}d"), format!("for {days} {word}, until {}", hours.near(end, now)))
    };
    let says = [
        "For a mat that you unplugged on purpose. Until then nobody is told that it gives no heat. Every danger of this nest \
         still speaks.",
    ];
    let until = choice("until", "Until when", OUT_DAYS.map(choice_of).into(), "30d", "");
    let form = form(
        name,
        "out-of-service",
        "Take it out of service",
        &says,
        vec![until, reason(true)],
        "Take it out of service",
    );
    Form { grave: true, ..form }
}

fn back(name: &AlarmName) -> Form {
    let says = ["From then on it is judged again as usual."];
    form(name, "in-service", "Put it back into service", &says, Vec::new(), "Back in service")
}
