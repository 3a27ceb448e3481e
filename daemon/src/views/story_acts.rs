//! What a keeper can do to an alarm on its own page, each with what comes of it, before it is done.
use super::hours::Hours;
use super::story::{STORY_PATH, story_url};
use super::words;
use crate::pipeline::WHY_MAX;
use crate::pipeline::acts::{DANGER_SILENCE_MAX_MIN, SILENCE_MAX_MIN, written};
use crate::snapshot::{AlarmName, StandingAlarm};
use crate::times::length;
use dashboards::{Button, Field, FieldKind, Form, Part, say};
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
        return vec![Part::Says(vec![say!("do-nothing")])];
    }
    if !usual.is_empty() {
        parts.push(Part::Forms(usual));
    }
    parts.extend(grave.into_iter().map(Part::Form));
    parts
}

/// A form whose button says what its heading says, unless it is given words of its own.
fn form(name: &AlarmName, what: &str, heading: String, says: Vec<String>, fields: Vec<Field>) -> Form {
    let mut hidden = vec![("do".to_owned(), what.to_owned()), ("alarm".to_owned(), name.alarm.clone())];
    let named = [("nest", &name.nest), ("probe", &name.probe), ("node", &name.node)];
    hidden.extend(named.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value.clone()?))));
    hidden.push(("back".to_owned(), story_url(&written(name), None)));
    Form {
        key: what.to_owned(),
        buttons: vec![button(heading.clone())],
        heading,
        says,
        url: STORY_PATH.to_owned(),
        hidden,
        groups: vec![(String::new(), fields)],
        ..Form::default()
    }
}

fn button(label: String) -> Button {
    Button { label, sends: None }
}

/// What the button for it says on other pages too.
fn act(what: &str) -> String {
    words::act(what, 0)
}

fn reason(needed: bool) -> Field {
    Field {
        name: "why".to_owned(),
        label: if needed { say!("do-why") } else { say!("do-why-empty") },
        kind: FieldKind::Line(WHY_MAX),
        value: String::new(),
        help: say!("do-why-help"),
        needed,
    }
}

fn until(name: &str, choices: Vec<(String, String)>, value: &str) -> Field {
    Field {
        name: name.to_owned(),
        label: say!("do-silence-until"),
        kind: FieldKind::Choice(choices),
        value: value.to_owned(),
        help: String::new(),
        needed: true,
    }
}

fn answer(name: &AlarmName, danger: bool) -> Form {
    let reminded = if danger { say!("do-ack-danger") } else { say!("do-ack-else") };
    form(name, "ack", act("ack"), vec![say!("do-ack-says"), reminded], vec![reason(false)])
}

fn on_the_way(name: &AlarmName) -> Form {
    form(name, "on-the-way", act("on-the-way"), vec![say!("do-on-the-way-says")], Vec::new())
}

fn silence(name: &AlarmName, danger: bool, (now, hours): (Timestamp, &Hours)) -> Form {
    let most = if danger { DANGER_SILENCE_MAX_MIN } else { SILENCE_MAX_MIN };
    let offered = SILENCES_MIN.into_iter().filter(|min| *min <= most);
    let choice_of = |min: u32| {
        let span = Span::from_min(i64::from(min));
        let end = hours.near(now.plus(span), now);
        (min.to_string(), say!("do-silence-for", length = length(span), until = end))
    };
    let mut says = vec![say!("do-silence-says"), say!("do-silence-ends")];
    if danger {
        says.push(say!("do-silence-danger"));
    }
    let end = until("minutes", offered.map(choice_of).collect(), "30");
    let form = form(name, "shelve", say!("do-silence"), says, vec![end, reason(true)]);
    Form { buttons: vec![button(say!("do-silence-it"))], ..form }
}

fn speak(name: &AlarmName) -> Form {
    form(name, "unshelve", act("unshelve"), vec![say!("do-speak-says")], Vec::new())
}

fn reset(name: &AlarmName) -> Form {
    let says = vec![say!("do-reset-only"), say!("do-reset-closes"), say!("do-reset-before")];
    let form = form(name, "reset", say!("do-reset"), says, vec![reason(true)]);
    Form { grave: true, buttons: vec![button(say!("do-reset-it"))], ..form }
}

fn unplugged(name: &AlarmName, (now, hours): (Timestamp, &Hours)) -> Form {
    let choice_of = |days: u32| {
        let end = now.plus(Span::from_h(i64::from(days) * 24));
        (format!("{days}d"), say!("do-out-for", days = days, until = hours.near(end, now)))
    };
    let end = until("until", OUT_DAYS.map(choice_of).into(), "30d");
    let form = form(name, "out-of-service", say!("do-out"), vec![say!("do-out-says")], vec![end, reason(true)]);
    Form { grave: true, ..form }
}

fn back(name: &AlarmName) -> Form {
    let form = form(name, "in-service", say!("do-back"), vec![say!("do-back-says")], Vec::new());
    Form { buttons: vec![button(act("in-service"))], ..form }
}
