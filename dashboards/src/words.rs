//! The contract's names in a keeper's words.
use crate::say;

/// An alarm as a keeper would say it; a name that is none stays as it is.
pub fn alarm_words(name: &str) -> String {
    match name {
        "brood-cold" => say!("alarm-brood-cold"),
        "brood-hot" => say!("alarm-brood-hot"),
        "brood-limit" => say!("alarm-brood-limit"),
        "probe-hot" => say!("alarm-probe-hot"),
        "forecast-hot" => say!("alarm-forecast-hot"),
        "forecast-cold" => say!("alarm-forecast-cold"),
        "heater-stuck-on" => say!("alarm-heater-stuck-on"),
        "heater-no-heat" => say!("alarm-heater-no-heat"),
        "gradient-flat" => say!("alarm-gradient-flat"),
        "probe-silent" => say!("alarm-probe-silent"),
        "probe-implausible" => say!("alarm-probe-implausible"),
        "humidity-low" => say!("alarm-humidity-low"),
        "humidity-high" => say!("alarm-humidity-high"),
        "condensation" => say!("alarm-condensation"),
        "water-low" => say!("alarm-water-low"),
        "nest-unwatched" => say!("alarm-nest-unwatched"),
        "rest-warm" => say!("alarm-rest-warm"),
        "watch-gap" => say!("alarm-watch-gap"),
        "node-silent" => say!("alarm-node-silent"),
        "broker-lost" => say!("alarm-broker-lost"),
        "history-failing" => say!("alarm-history-failing"),
        "notice-failing" => say!("alarm-notice-failing"),
        "clock-jumped" => say!("alarm-clock-jumped"),
        other => other.to_owned(),
    }
}

/// An alarm's state as a keeper would say it; a name that is none stays as it is.
pub fn state_words(name: &str) -> String {
    match name {
        "not-judged" => say!("state-not-judged"),
        "normal" => say!("state-normal"),
        "unacknowledged" => say!("state-unacknowledged"),
        "acknowledged" => say!("state-acknowledged"),
        "returned" => say!("state-returned"),
        "latched" => say!("state-latched"),
        "shelved" => say!("state-shelved"),
        "suppressed" => say!("state-suppressed"),
        "out-of-service" => say!("state-out-of-service"),
        other => other.to_owned(),
    }
}

/// Whether an alarm in this state still speaks for itself (not silenced, not over).
pub(crate) fn stands(state: &str) -> bool {
    !matches!(state, "not-judged" | "normal" | "shelved" | "suppressed" | "out-of-service")
}

/// A word's first letter made large.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// The members of a list in one phrase: `oak and beech`.
pub fn list_and<S: AsRef<str>>(members: &[S]) -> String {
    list(members, |so_far, next| say!("list-and", so_far = so_far, next = next))
}

/// Things said one after the other: `told to 45 %, gives 3.1 W`.
pub fn list_comma<S: AsRef<str>>(members: &[S]) -> String {
    list(members, |so_far, next| say!("list-comma", so_far = so_far, next = next))
}

/// Remarks one after the other, each of which may hold commas.
pub fn list_semicolon<S: AsRef<str>>(members: &[S]) -> String {
    list(members, |so_far, next| say!("list-semicolon", so_far = so_far, next = next))
}

fn list<S: AsRef<str>>(members: &[S], join: impl Fn(String, &str) -> String) -> String {
    let mut members = members.iter().map(AsRef::as_ref);
    let first = members.next().unwrap_or_default().to_owned();
    members.fold(first, join)
}
