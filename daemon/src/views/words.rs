//! What each alarm means, and what to do about it, for the pages: first look, then the steps, in the order of doing;
//! and other words that several pages share. Messages have their own, which must be understood without a page.
use crate::acts::NOTE_KINDS;
use dashboards::{list_comma, list_semicolon, say};
use enclosure::estimate::NotTaken;
use enclosure::{Alarm, Rejection, State};

/// What an alarm tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmWords {
    /// What it means, one sentence.
    pub means: String,
    /// What goes before all of it, where something may burn.
    pub fire: Option<String>,
    /// What to do, in order.
    pub steps: Vec<String>,
}

impl AlarmWords {
    fn new<const N: usize>(means: String, steps: [String; N]) -> Self {
        Self { means, fire: None, steps: steps.into() }
    }

    fn dangerous<const N: usize>(means: String, steps: [String; N]) -> Self {
        Self { fire: Some(say!("told-fire")), ..Self::new(means, steps) }
    }

    /// All that is to be done, in order.
    pub fn in_order(&self) -> Vec<String> {
        self.fire.iter().chain(&self.steps).cloned().collect()
    }
}

fn unplug() -> String {
    say!("alarm-step-unplug")
}

/// Meaning and steps.
pub fn alarm(alarm: Alarm) -> AlarmWords {
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

fn heating(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::BroodLimit => AlarmWords::dangerous(
            say!("alarm-means-brood-limit"),
            [unplug(), say!("alarm-step-cool"), say!("alarm-step-feel")],
        ),
        Alarm::ProbeHot => AlarmWords::dangerous(
            say!("alarm-means-probe-hot"),
            [say!("alarm-step-look-now"), unplug(), say!("alarm-step-feel")],
        ),
        Alarm::HeaterStuckOn => AlarmWords::dangerous(
            say!("alarm-means-heater-stuck-on"),
            [unplug(), say!("alarm-step-sensor"), say!("alarm-step-reset")],
        ),
        _ => AlarmWords::new(
            say!("alarm-means-heater-no-heat"),
            [say!("alarm-step-cable"), say!("alarm-step-mat-warm"), say!("alarm-step-dead")],
        ),
    }
}

fn warmth(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::BroodCold => {
            AlarmWords::new(say!("alarm-means-brood-cold"), [say!("alarm-step-heats"), say!("alarm-step-raise")])
        }
        Alarm::BroodHot => {
            AlarmWords::new(say!("alarm-means-brood-hot"), [say!("alarm-step-lower"), say!("alarm-step-shade")])
        }
        Alarm::ForecastHot => AlarmWords::new(
            say!("alarm-means-forecast-hot"),
            [say!("alarm-step-lower-now"), say!("alarm-step-cool-room")],
        ),
        Alarm::ForecastCold => AlarmWords::new(
            say!("alarm-means-forecast-cold"),
            [say!("alarm-step-mat-on"), say!("alarm-step-warm-room")],
        ),
        Alarm::GradientFlat => AlarmWords::new(say!("alarm-means-gradient-flat"), [say!("alarm-step-flat")]),
        _ => AlarmWords::new(say!("alarm-means-rest-warm"), [say!("alarm-step-rest")]),
    }
}

fn water(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::HumidityLow => AlarmWords::new(say!("alarm-means-humidity-low"), [say!("alarm-step-water")]),
        Alarm::HumidityHigh => AlarmWords::new(say!("alarm-means-humidity-high"), [say!("alarm-step-air")]),
        Alarm::Condensation => AlarmWords::new(say!("alarm-means-condensation"), [say!("alarm-step-drops")]),
        _ => AlarmWords::new(say!("alarm-means-water-low"), [say!("alarm-step-refill")]),
    }
}

fn watch(alarm: Alarm) -> AlarmWords {
    match alarm {
        Alarm::ProbeSilent => AlarmWords::new(say!("alarm-means-probe-silent"), [say!("alarm-step-probe-cable")]),
        Alarm::ProbeImplausible => AlarmWords::new(
            say!("alarm-means-probe-implausible"),
            [say!("alarm-step-probe-sits"), say!("alarm-step-compare")],
        ),
        Alarm::NestUnwatched => AlarmWords::new(
            say!("alarm-means-nest-unwatched"),
            [say!("alarm-step-look-yourself"), say!("alarm-step-node-and-probes")],
        ),
        Alarm::WatchGap => AlarmWords::new(say!("alarm-means-watch-gap"), [say!("alarm-step-heating-back")]),
        Alarm::NodeSilent => AlarmWords::new(say!("alarm-means-node-silent"), [say!("alarm-step-node-power")]),
        Alarm::BrokerLost => {
            AlarmWords::new(say!("alarm-means-broker-lost"), [say!("alarm-step-broker"), say!("alarm-step-until-back")])
        }
        Alarm::HistoryFailing => AlarmWords::new(say!("alarm-means-history-failing"), [say!("alarm-step-disk")]),
        Alarm::NoticeFailing => AlarmWords::new(
            say!("alarm-means-notice-failing"),
            [say!("alarm-step-ways"), say!("alarm-step-until-works")],
        ),
        _ => AlarmWords::new(say!("alarm-means-clock-jumped"), [say!("alarm-step-clock")]),
    }
}

/// Why a reading was not believed, to follow “not believed because”.
pub fn not_believed_because(why: Rejection) -> String {
    match why {
        Rejection::Wild => say!("doubt-wild"),
        Rejection::Distrusted => say!("doubt-distrusted"),
        Rejection::Late => say!("doubt-late"),
        Rejection::Duplicate => say!("doubt-duplicate"),
    }
}

/// What was counted under this name: why a record was refused, or a reading not believed. Names of which nothing is known
/// stay as they are.
pub fn counted(name: &str) -> String {
    match name {
        "form" => say!("counted-form"),
        "unit" => say!("counted-unit"),
        "non-finite" => say!("counted-non-finite"),
        "range" => say!("counted-range"),
        "time-unknown" => say!("counted-time-unknown"),
        "time" => say!("counted-time"),
        "unknown-source" => say!("counted-unknown-source"),
        "oversized" => say!("counted-oversized"),
        "crowded" => say!("counted-crowded"),
        "wild" => say!("counted-wild"),
        "distrusted" => say!("counted-distrusted"),
        "late" => say!("counted-late"),
        "duplicate" => say!("counted-duplicate"),
        other => other.to_owned(),
    }
}

/// Why a fit was not taken.
pub fn not_taken_because(why: NotTaken) -> String {
    match why {
        NotTaken::Unsettled => say!("fit-unsettled"),
        NotTaken::ExplainsWorse => say!("fit-explains-worse"),
        NotTaken::ForetellsWorse => say!("fit-foretells-worse"),
        NotTaken::Untried => say!("fit-untried"),
    }
}

/// What a keeper can do to an alarm in this state, as a form sends it.
pub const fn acts(state: State) -> &'static [&'static str] {
    match state {
        State::Unacknowledged => &["ack", "on-the-way", "shelve"],
        State::Acknowledged => &["shelve"],
        State::Returned => &["ack"],
        State::Latched => &["reset", "ack"],
        State::Shelved => &["unshelve"],
        State::OutOfService => &["in-service"],
        State::NotJudged | State::Normal | State::Suppressed => &[],
    }
}

/// What the button of such an act says; `minutes`: how long a silence is.
pub fn act(what: &str, minutes: u32) -> String {
    match what {
        "ack" => say!("alarm-act-ack"),
        "on-the-way" => say!("alarm-act-on-the-way"),
        "shelve" => say!("alarm-act-shelve", minutes = minutes),
        "unshelve" => say!("alarm-act-unshelve"),
        "reset" => say!("alarm-act-reset"),
        "in-service" => say!("alarm-act-in-service"),
        "out-of-service" => say!("alarm-act-unplugged"),
        other => other.to_owned(),
    }
}

/// What happened to an alarm, as a past event.
pub fn event(event: enclosure::Event) -> String {
    use enclosure::Event;
    match event {
        Event::Raised => say!("alarm-event-raised"),
        Event::Acknowledged => say!("alarm-event-acknowledged"),
        Event::Unacknowledged => say!("alarm-event-unacknowledged"),
        Event::Returned => say!("alarm-event-returned"),
        Event::Cleared => say!("alarm-event-cleared"),
        Event::Reset => say!("alarm-event-reset"),
        Event::Shelved => say!("alarm-event-shelved"),
        Event::Unshelved => say!("alarm-event-unshelved"),
        Event::Suppressed => say!("alarm-event-suppressed"),
        Event::Unsuppressed => say!("alarm-event-unsuppressed"),
        Event::OutOfService => say!("alarm-event-out-of-service"),
        Event::InService => say!("alarm-event-in-service"),
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

/// `a, b, c`.
pub fn listed(parts: impl IntoIterator<Item = String>) -> String {
    list_comma(&parts.into_iter().collect::<Vec<_>>())
}

/// `a; b; c`.
pub fn clauses(parts: impl IntoIterator<Item = String>) -> String {
    list_semicolon(&parts.into_iter().collect::<Vec<_>>())
}

/// A note's kind as a page says it; one that is none stays as it is.
pub fn note_kind(kind: &str) -> String {
    match kind {
        "brood" => say!("note-kind-brood"),
        "fed" => say!("note-kind-fed"),
        "water" => say!("note-kind-water"),
        "refilled" => say!("note-kind-refilled"),
        "opened" => say!("note-kind-opened"),
        "moved" => say!("note-kind-moved"),
        "eggs" => say!("note-kind-eggs"),
        "other" => say!("note-kind-other"),
        none => none.to_owned(),
    }
}

/// What a form sends for each kind of note, and what it says.
pub fn note_kinds() -> Vec<(String, String)> {
    NOTE_KINDS.map(|kind| (kind.to_owned(), note_kind(kind))).into()
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
            assert_eq!(alarm(a).steps[0], unplug(), "{a}");
        }
        assert!(alarm(Alarm::ProbeHot).steps.contains(&unplug()));
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
