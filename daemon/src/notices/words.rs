//! Which sentences a message says of what; they stand in `told.ftl`. Nothing here calls a state safe, protected or guaranteed: warmend sees
//! probes, not the room (a test reads the whole table).
//!
//! What is said of ants and brood is common practice among keepers, without a published source; the cautions follow
//! usual fire and electrical practice and defer to local codes and licensed people.
mod watch;

use dashboards::say;
use enclosure::{Alarm, Event, Priority};
pub(super) use watch::{all_silent, elsewhere};

/// What is said about one alarm.
#[derive(Clone, Debug)]
pub(super) struct Words {
    /// What is the matter, for the first line: `the heating mat will not switch off`.
    pub(super) what: String,
    /// The same for nests with long names; together with `first` at most [`SHORT_MAX`] letters.
    pub(super) short: String,
    /// The first thing to do, with its stop.
    pub(super) first: String,
    /// What to do, in order.
    pub(super) steps: Vec<String>,
    /// How sure it is, and what else looks like it.
    pub(super) sure: String,
    /// What it means for the brood.
    pub(super) brood: String,
}

/// Most letters of `short` and `first`: a lock screen's 80, less the rank, a name of 32 letters and what stands between.
#[cfg(test)]
pub(super) const SHORT_MAX: usize = 35;

/// Stands first in every message about danger.
pub(super) fn fire() -> String {
    say!("told-fire")
}

/// The heating mats of a nest that has so many.
pub(super) fn unplug(mats: usize) -> String {
    say!("told-unplug", mats = mats)
}

/// What may be wrong with its plug.
pub(super) fn hot_plug() -> String {
    say!("told-hot-plug")
}

/// What makes it worse.
pub(super) fn no_water() -> String {
    say!("told-no-water")
}

/// Until when.
pub(super) fn leave() -> String {
    say!("told-leave")
}

/// What warmend is not.
pub(super) fn not_a_device() -> String {
    say!("told-not-a-device")
}

/// Begins what a message about water tells to do.
pub(super) fn water_first() -> String {
    say!("told-water-first")
}

/// Ends the messages that lead a hand to a heater, a plug or a cable.
pub(super) fn care() -> String {
    say!("told-care")
}

/// What a card says never to do.
pub(super) fn never() -> Vec<String> {
    vec![hot_plug(), no_water(), say!("card-never-bridge"), say!("card-never-sensor"), say!("card-never-cover")]
}

/// What stands before the name of a place.
pub(super) fn rank(priority: Priority) -> String {
    match priority {
        Priority::Danger => say!("told-danger"),
        Priority::Warning => say!("tone-warning"),
        Priority::Advice => say!("tone-advice"),
    }
}

/// What stands in its place where nothing begins.
pub(super) fn news(event: Event, priority: Priority) -> Option<String> {
    match event {
        Event::OutOfService if priority == Priority::Danger => Some(say!("told-news-left")),
        Event::Raised | Event::Unacknowledged | Event::Unshelved | Event::Unsuppressed | Event::InService => None,
        Event::Acknowledged => Some(say!("told-news-answered")),
        Event::Returned => Some(say!("told-news-over-for-now")),
        Event::Cleared => Some(say!("told-news-over")),
        Event::Reset => Some(say!("told-news-reset")),
        Event::Shelved => Some(say!("told-news-shelved")),
        Event::Suppressed => Some(say!("told-news-suppressed")),
        Event::OutOfService => Some(say!("told-news-out-of-service")),
    }
}

/// What a keeper is told to do when nothing begins.
pub(super) fn afterwards(event: Event, priority: Priority) -> String {
    match (event, priority) {
        (Event::Returned | Event::Cleared, Priority::Danger) => say!("told-after-danger"),
        (Event::Returned | Event::Cleared, _) => say!("told-after-over"),
        (Event::Acknowledged, Priority::Danger) => say!("told-after-answered-danger"),
        (Event::Acknowledged, _) => say!("told-after-answered"),
        (Event::Reset, _) => say!("told-after-reset"),
        (Event::Shelved, _) => say!("told-after-shelved"),
        (Event::Suppressed, _) => say!("told-after-suppressed"),
        (Event::OutOfService, Priority::Danger) => say!("told-after-left"),
        (Event::OutOfService, _) => say!("told-after-out-of-service"),
        _ => String::new(),
    }
}

/// How sure an alarm is and what else looks like it, and what it means for the brood: for pages, as its message says it.
/// None of a silent node: a message says more of that, by whose silence it is.
pub fn how_sure(alarm: Alarm) -> Vec<String> {
    if alarm == Alarm::NodeSilent {
        return Vec::new();
    }
    let words = of(alarm);
    vec![say!("told-sure", sure = words.sure), say!("told-brood", brood = words.brood)]
}

/// The words for an alarm.
pub(super) fn of(alarm: Alarm) -> Words {
    match alarm {
        Alarm::HeaterStuckOn | Alarm::BroodLimit | Alarm::ProbeHot => danger(alarm),
        Alarm::BroodCold
        | Alarm::BroodHot
        | Alarm::ForecastHot
        | Alarm::ForecastCold
        | Alarm::HeaterNoHeat
        | Alarm::GradientFlat
        | Alarm::RestWarm => warmth(alarm),
        Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation | Alarm::WaterLow => water(alarm),
        Alarm::ProbeSilent | Alarm::ProbeImplausible | Alarm::NestUnwatched | Alarm::NodeSilent => watch::eyes(alarm),
        Alarm::WatchGap | Alarm::BrokerLost | Alarm::HistoryFailing | Alarm::NoticeFailing | Alarm::ClockJumped => {
            watch::own(alarm)
        }
    }
}

fn danger(alarm: Alarm) -> Words {
    match alarm {
        Alarm::HeaterStuckOn => Words {
            what: say!("alarm-heater-stuck-on"),
            short: say!("told-heater-stuck-on-short"),
            first: say!("told-heater-stuck-on-first"),
            steps: vec![
                say!("told-heater-stuck-on-step-1"),
                say!("told-cooler-place"),
                say!("told-heater-stuck-on-step-3"),
            ],
            sure: say!("told-heater-stuck-on-sure"),
            brood: say!("told-heater-stuck-on-brood"),
        },
        Alarm::BroodLimit => Words {
            what: say!("alarm-brood-limit"),
            short: say!("told-brood-limit-short"),
            first: say!("told-unplug-mat"),
            steps: vec![say!("told-out-of-sun"), say!("told-cooler-place")],
            sure: say!("told-brood-limit-sure"),
            brood: say!("told-brood-limit-brood"),
        },
        _ => Words {
            what: say!("alarm-probe-hot"),
            short: say!("told-probe-hot-short"),
            first: say!("told-unplug-mat"),
            steps: vec![say!("told-probe-hot-step-1"), say!("told-out-of-sun")],
            sure: say!("told-probe-hot-sure"),
            brood: say!("told-probe-hot-brood"),
        },
    }
}

fn warmth(alarm: Alarm) -> Words {
    match alarm {
        Alarm::HeaterNoHeat => Words {
            what: say!("alarm-heater-no-heat"),
            short: say!("told-heater-no-heat-short"),
            first: say!("told-heater-no-heat-first"),
            steps: vec![
                say!("told-heater-no-heat-step-1"),
                say!("told-heater-no-heat-step-2"),
                say!("told-heater-no-heat-step-3"),
                say!("told-heater-no-heat-step-4"),
            ],
            sure: say!("told-heater-no-heat-sure"),
            brood: say!("told-heater-no-heat-brood"),
        },
        Alarm::BroodCold => Words {
            what: say!("alarm-brood-cold"),
            short: say!("told-brood-cold-short"),
            first: say!("told-brood-cold-first"),
            steps: vec![say!("told-brood-cold-step-1"), say!("told-brood-cold-step-2")],
            sure: say!("told-by-mean"),
            brood: say!("told-brood-cold-brood"),
        },
        Alarm::BroodHot => Words {
            what: say!("alarm-brood-hot"),
            short: say!("told-brood-hot-short"),
            first: say!("told-brood-hot-first"),
            steps: vec![say!("told-brood-hot-step-1"), say!("told-brood-hot-step-2"), say!("told-a-way-out")],
            sure: say!("told-by-mean"),
            brood: say!("told-brood-hot-brood"),
        },
        Alarm::ForecastHot | Alarm::ForecastCold => forecast(alarm),
        Alarm::GradientFlat => Words {
            what: say!("alarm-gradient-flat"),
            short: say!("told-gradient-flat-short"),
            first: say!("told-gradient-flat-first"),
            steps: vec![say!("told-gradient-flat-step-1")],
            sure: say!("told-gradient-flat-sure"),
            brood: say!("told-gradient-flat-brood"),
        },
        _ => Words {
            what: say!("alarm-rest-warm"),
            short: say!("told-rest-warm-short"),
            first: say!("told-rest-warm-first"),
            steps: vec![say!("told-rest-warm-step-1")],
            sure: say!("told-rest-warm-sure"),
            brood: say!("told-rest-warm-brood"),
        },
    }
}

fn forecast(alarm: Alarm) -> Words {
    match alarm {
        Alarm::ForecastHot => Words {
            what: say!("alarm-forecast-hot"),
            short: say!("told-forecast-hot-short"),
            first: say!("told-forecast-hot-first"),
            steps: vec![say!("told-forecast-hot-step-1"), say!("told-a-way-out")],
            sure: say!("told-a-forecast"),
            brood: say!("told-not-yet"),
        },
        _ => Words {
            what: say!("alarm-forecast-cold"),
            short: say!("told-forecast-cold-short"),
            first: say!("told-forecast-cold-first"),
            steps: vec![say!("told-forecast-cold-step-1")],
            sure: say!("told-a-forecast"),
            brood: say!("told-not-yet"),
        },
    }
}

fn water(alarm: Alarm) -> Words {
    match alarm {
        Alarm::WaterLow => Words {
            what: say!("alarm-water-low"),
            short: say!("told-water-low-short"),
            first: say!("told-water-low-first"),
            steps: vec![say!("told-water-first"), say!("told-water-low-step-2"), say!("told-water-low-step-3")],
            sure: say!("told-water-low-sure"),
            brood: say!("told-water-low-brood"),
        },
        Alarm::HumidityLow => Words {
            what: say!("told-humidity-low-what"),
            short: say!("told-humidity-low-short"),
            first: say!("told-humidity-low-first"),
            steps: vec![say!("told-water-first"), say!("told-humidity-low-step-2")],
            sure: say!("told-humidity-sure"),
            brood: say!("told-humidity-low-brood"),
        },
        Alarm::HumidityHigh => Words {
            what: say!("told-humidity-high-what"),
            short: say!("told-humidity-high-short"),
            first: say!("told-humidity-high-first"),
            steps: vec![say!("told-water-first"), say!("told-humidity-high-step-2")],
            sure: say!("told-humidity-sure"),
            brood: say!("told-humidity-high-brood"),
        },
        _ => Words {
            what: say!("told-condensation-what"),
            short: say!("told-condensation-short"),
            first: say!("told-condensation-first"),
            steps: vec![say!("told-water-first"), say!("told-condensation-step-2"), say!("told-condensation-step-3")],
            sure: say!("told-condensation-sure"),
            brood: say!("told-condensation-brood"),
        },
    }
}
