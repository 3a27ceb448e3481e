//! What each alarm means, and what to do about it, for the pages: first look, then the steps, in the order of doing.
//!
//! The pages' strings stand here and nowhere else; messages have their own, which must be understood without a page.
use enclosure::estimate::NotTaken;
use enclosure::{Alarm, Rejection, State};

/// What an alarm tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlarmWords {
    /// What it means, one sentence.
    pub means: &'static str,
    /// What to do, in order.
    pub steps: &'static [&'static str],
}

const UNPLUG: &str = "Pull the plug of the heating mat; do not trust its switch, thermostat or node.";
const FEEL: &str = "Feel the nest and measure it with a second thermometer.";

/// What to do about an alarm that is over and that nobody has answered.
pub const OVER: &str = "It is over by itself. Look what caused it, then say that you have seen it.";

/// Meaning and steps.
pub const fn alarm(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::BroodLimit | Alarm::ProbeHot | Alarm::HeaterStuckOn | Alarm::HeaterNoHeat => heating(alarm),
        Alarm::BroodCold
        | Alarm::BroodHot
        | Alarm::ForecastHot
        | Alarm::ForecastCold
        | Alarm::GradientFlat
        | Alarm::RestWarm => warmth(alarm),
        Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation | Alarm::WaterLow => water(alarm),
        _ => watch(alarm),
    }
}

const fn heating(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::BroodLimit => AlarmWords {
            means: "Some of the brood place is hotter than the limit you set.",
            steps: &[UNPLUG, "Let the nest cool with the room; no ice, no cold water.", FEEL],
        },
        Alarm::ProbeHot => AlarmWords {
            means: "A probe says more than any place in this nest may have: the nest is too hot, or the probe is broken.",
            steps: &["Look now, and take it for heat until you know better.", UNPLUG, FEEL],
        },
        Alarm::HeaterStuckOn => AlarmWords {
            means: "The heating mat gives heat that nobody asked for, or does not let go where it always did.",
            steps: &[
                UNPLUG,
                "Look whether the thermostat's sensor still sits where you put it.",
                "Plug it in again only once you know why; then reset this alarm.",
            ],
        },
        _ => AlarmWords {
            means: "The heating mat is told to heat, and no heat arrives.",
            steps: &[
                "Look at plug, switch, socket and cable of the heating mat.",
                "Feel whether the mat is warm.",
                "If it is dead, keep the room warm until it is replaced.",
            ],
        },
    }
}

const fn warmth(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::BroodCold => AlarmWords {
            means: "The brood place has been colder than the band you set.",
            steps: &[
                "Look whether the heating mat is on and the room is as warm as usual.",
                "Raise its set point a little, or move the mat nearer.",
            ],
        },
        Alarm::BroodHot => AlarmWords {
            means: "The brood place has been warmer than the band you set.",
            steps: &[
                "Lower the set point, or switch the heating mat off for a while.",
                "Shade the nest if the sun is on it.",
            ],
        },
        Alarm::ForecastHot => AlarmWords {
            means: "If nothing changes, the brood place will become warmer than the band you set.",
            steps: &["Lower the set point or switch the heating mat off.", "Cool or shade the room."],
        },
        Alarm::ForecastCold => AlarmWords {
            means: "If nothing changes, the brood place will become colder than the band you set.",
            steps: &["Look whether the heating mat is on.", "Keep the room warm."],
        },
        Alarm::GradientFlat => AlarmWords {
            means: "The whole nest is about equally warm while the mat heats: there is no cooler place to go to.",
            steps: &["Warm a shorter stretch of the nest, or turn the heat down."],
        },
        _ => AlarmWords {
            means: "A nest in winter rest is warmer, or colder, than its rest allows.",
            steps: &["Look at the place where it rests, and at its own thermometer."],
        },
    }
}

const fn water(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::HumidityLow => AlarmWords {
            means: "The nest has been drier than you want it.",
            steps: &["Look at the water, and refill it."],
        },
        Alarm::HumidityHigh => {
            AlarmWords { means: "The nest has been damper than you want it.", steps: &["Air it, and give less water."] }
        }
        Alarm::Condensation => AlarmWords {
            means: "Somewhere in the nest a wall is colder than the dew point: water settles there.",
            steps: &["Look for drops at the cool end, and keep brood and small ants from drowning."],
        },
        _ => AlarmWords {
            means: "The nest dries as it does when its water has run out.",
            steps: &["Look at the water, refill it, and note it here as refilled."],
        },
    }
}

const fn watch(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::ProbeSilent => AlarmWords {
            means: "A probe has stopped speaking; what lies near it is known less well.",
            steps: &["Look at its cable and plug."],
        },
        Alarm::ProbeImplausible => AlarmWords {
            means: "A probe says what its nest cannot do: it is frozen, jumps, or fell off.",
            steps: &["Look whether it still sits where the shelf file says.", "Compare it with a second thermometer."],
        },
        Alarm::NestUnwatched => AlarmWords {
            means: "A heated nest has had no reading that can be believed for ten minutes: how warm it is, nobody knows.",
            steps: &["Look at the nest yourself, now.", "Look at its node, its power and its probes."],
        },
        Alarm::WatchGap => AlarmWords {
            means: "For a while nothing was watched: a power cut, or this watch was stopped.",
            steps: &["Look at the nests, and whether all heating came back as it should."],
        },
        Alarm::NodeSilent => AlarmWords {
            means: "Everything that hangs on a node has stopped speaking.",
            steps: &["Look at its power and its network."],
        },
        Alarm::BrokerLost => AlarmWords {
            means: "The broker cannot be reached: no reading arrives.",
            steps: &[
                "Look whether the broker runs, and at the network between.",
                "Until it is back, look at the nests yourself.",
            ],
        },
        Alarm::HistoryFailing => AlarmWords {
            means: "Readings cannot be written down, or the file was damaged; judging goes on.",
            steps: &["Look for free space on the disk, and whether the disk is sound."],
        },
        Alarm::NoticeFailing => AlarmWords {
            means: "Messages do not get out: you would not be told.",
            steps: &["Try the way out with `warmend alarms`.", "Until it works, look at this page yourself."],
        },
        _ => AlarmWords {
            means: "The clock was set or jumped; times near it may be wrong.",
            steps: &["Look whether the machine keeps time."],
        },
    }
}

/// Why a reading was not believed, to follow “not believed because”.
pub const fn not_believed_because(why: Rejection) -> &'static str {
    match why {
        Rejection::Wild => "it is far from what the nest can do there",
        Rejection::Distrusted => "the probe seems frozen, fallen off, jumping or drifting",
        Rejection::Late => "it came too late to be taken in",
        Rejection::Duplicate => "it was there already",
    }
}

/// Why a fit was not taken.
pub const fn not_taken_because(why: NotTaken) -> &'static str {
    match why {
        NotTaken::Unsettled => "its numbers did not come to rest",
        NotTaken::ExplainsWorse => "it explained its own hours worse than the one in force",
        NotTaken::ForetellsWorse => "it foretold the hours before its own worse than the one in force",
        NotTaken::Untried => "there were too few hours before its own to try it on",
    }
}

/// What a keeper can do to an alarm in this state: what a form sends, and what its button says.
pub fn buttons(state: State) -> &'static [(&'static str, &'static str)] {
    match state {
        State::Unacknowledged => {
            &[("ack", "I have seen it"), ("on-the-way", "Someone is on the way"), ("shelve", "Silence for 30 min")]
        }
        State::Acknowledged => &[("shelve", "Silence for 30 min")],
        State::Returned => &[("ack", "I have seen it")],
        State::Latched => &[("reset", "I have looked: reset"), ("ack", "I have seen it")],
        State::Shelved => &[("unshelve", "End the silence")],
        State::OutOfService => &[("in-service", "Back in service")],
        State::NotJudged | State::Normal | State::Suppressed => &[],
    }
}

/// What happened to an alarm, as a past event.
pub const fn event(event: enclosure::Event) -> &'static str {
    use enclosure::Event;
    match event {
        Event::Raised => "raised",
        Event::Acknowledged => "answered",
        Event::Unacknowledged => "worse than when it was answered",
        Event::Returned => "over, but nobody has answered",
        Event::Cleared => "over",
        Event::Reset => "reset",
        Event::Shelved => "silenced for a time",
        Event::Unshelved => "no longer silenced",
        Event::Suppressed => "silenced, as it follows from another",
        Event::Unsuppressed => "on its own again",
        Event::OutOfService => "taken out of service",
        Event::InService => "back in service",
    }
}

/// The event that an act's note stands beside; none for a note of what was seen or done to a nest.
pub fn act_note(kind: &str) -> Option<enclosure::Event> {
    use enclosure::Event;
    Some(match kind {
        "acknowledged" => Event::Acknowledged,
        "shelved" => Event::Shelved,
        "unshelved" => Event::Unshelved,
        "reset" => Event::Reset,
        "out-of-service" => Event::OutOfService,
        "in-service" => Event::InService,
        _ => return None,
    })
}

/// The same with its first letter made large.
pub fn sentence_case(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// Kinds of notes that a page offers: the stored word, and what the page says.
pub const NOTE_KINDS: [(&str, &str); 8] = [
    ("brood", "brood seen"),
    ("fed", "fed"),
    ("water", "water given"),
    ("refilled", "water refilled"),
    ("opened", "nest opened"),
    ("moved", "probe, mat or nest moved"),
    ("eggs", "eggs laid"),
    ("other", "something else"),
];

/// A note's kind as a page says it; one that is none stays as it is.
pub fn note_kind(kind: &str) -> &str {
    NOTE_KINDS.iter().find(|(k, _)| *k == kind).map_or(kind, |(_, words)| words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_alarm_has_words_of_its_own() {
        let all: std::collections::BTreeSet<_> = Alarm::ALL.iter().map(|a| alarm(*a).means).collect();
        assert_eq!(all.len(), Alarm::ALL.len());
        assert!(Alarm::ALL.iter().all(|a| !alarm(*a).steps.is_empty()));
    }

    #[test]
    fn danger_of_heat_begins_with_the_plug_or_with_looking() {
        for a in [Alarm::BroodLimit, Alarm::HeaterStuckOn] {
            assert_eq!(alarm(a).steps[0], UNPLUG, "{a}");
        }
        assert!(alarm(Alarm::ProbeHot).steps.contains(&UNPLUG));
    }

    #[test]
    fn nothing_promises_what_a_watch_cannot_keep() {
        for a in Alarm::ALL {
            let words = alarm(a);
            let text = format!("{} {}", words.means, words.steps.join(" ")).to_lowercase();
            for word in ["safe", "protect", "guarantee", "pad ", "profile", "notice"] {
                assert!(!text.contains(word), "{a}: {word}");
            }
        }
    }
}
