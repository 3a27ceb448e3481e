//! The contract's names in a keeper's words.

/// An alarm as a keeper would say it; a name that is none stays as it is.
pub fn alarm_words(name: &str) -> &str {
    match name {
        "brood-cold" => "the brood place is too cold",
        "brood-hot" => "the brood place is too warm",
        "brood-limit" => "the brood place is hotter than its limit",
        "probe-hot" => "a probe is far too hot",
        "forecast-hot" => "the brood place is on its way to too warm",
        "forecast-cold" => "the brood place is on its way to too cold",
        "heater-stuck-on" => "the heating gives heat it was not told to give",
        "heater-no-heat" => "the heating gives no heat though it is told to",
        "gradient-flat" => "no cooler place to go to",
        "probe-silent" => "a probe is silent",
        "probe-implausible" => "a probe says what cannot be",
        "humidity-low" => "the nest is too dry",
        "humidity-high" => "the nest is too damp",
        "condensation" => "water condenses on a wall",
        "water-low" => "the nest dries as if its water ran out",
        "nest-unwatched" => "nobody knows how warm the nest is",
        "rest-warm" => "winter rest is disturbed",
        "watch-gap" => "nothing was watched for a while",
        "node-silent" => "a node is silent",
        "broker-lost" => "the broker is out of reach",
        "history-failing" => "history is not kept as it should be",
        "notice-failing" => "messages do not get out",
        "clock-jumped" => "the clock jumped",
        other => other,
    }
}

/// An alarm's state as a keeper would say it; a name that is none stays as it is.
pub fn state_words(name: &str) -> &str {
    match name {
        "not-judged" => "not judged yet",
        "normal" => "nothing the matter",
        "unacknowledged" => "nobody has answered yet",
        "acknowledged" => "answered",
        "returned" => "over, but nobody has answered",
        "latched" => "over, held until it is reset",
        "shelved" => "silenced for a time",
        "suppressed" => "follows from another alarm",
        "out-of-service" => "taken out of service",
        other => other,
    }
}

/// Whether an alarm in this state still speaks for itself (not silenced, not over).
pub(crate) fn stands(state: &str) -> bool {
    !matches!(state, "not-judged" | "normal" | "shelved" | "suppressed" | "out-of-service")
}

/// A word's first letter made large.
pub(crate) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
