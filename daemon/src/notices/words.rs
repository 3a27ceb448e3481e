//! Every sentence that a message can say. Nothing here calls a state safe, protected or guaranteed: warmend sees
//! probes, not the room (a test reads the whole table).
//!
//! What is said of ants and brood is common practice among keepers, without a published source; the cautions follow
//! usual fire and electrical practice and defer to local codes and licensed people.
mod watch;

use enclosure::{Alarm, Event, Priority};
pub(super) use watch::{ALL_SILENT, ELSEWHERE};

/// What is said about one alarm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Words {
    /// What is the matter, for the first line: `the heating mat will not switch off`.
    pub(super) what: &'static str,
    /// The same for nests with long names; together with `first` at most [`SHORT_MAX`] letters.
    pub(super) short: &'static str,
    /// The first thing to do.
    pub(super) first: &'static str,
    /// What to do, in order.
    pub(super) steps: &'static [&'static str],
    /// How sure it is, and what else looks like it.
    pub(super) sure: &'static str,
    /// What it means for the brood.
    pub(super) brood: &'static str,
}

/// Most letters of `short` and `first`: a lock screen's 80, less the rank, a name of 32 letters and the stops.
#[cfg(test)]
pub(super) const SHORT_MAX: usize = 34;

/// Stands first in every message about danger.
pub(super) const FIRE: &str = "Smoke, flame or a burning smell: do not touch it, get everyone out, close the door, call \
the fire service from outside.";
pub(super) const UNPLUG: &str = "Otherwise unplug the heating mat at the wall.";
/// What may be wrong with that plug.
pub(super) const HOT_PLUG: &str = "If plug, socket or cable is hot, discoloured or wet, do not touch it; switch off that \
circuit if you can reach it safely.";
/// What makes it worse.
pub(super) const NO_WATER: &str = "No water, no ice.";
pub(super) const LEAVE: &str = "Leave it unplugged until you know why.";
/// What warmend is not.
pub(super) const NOT_A_DEVICE: &str = "This is not a protective device and not a smoke alarm. Local codes come first; work \
on mains wiring is for licensed people.";
/// Begins what a message about water tells to do.
pub(super) const WATER_FIRST: &str = "Unplug the heating mat before you add or wipe water.";
/// What takes heat from the ants, not only from the nest ...
const COOLER_PLACE: &str =
    "Give the ants a cooler place: open the way to the arena, lift a cover. Do not cool them suddenly.";
/// ... what else may warm it ...
const OUT_OF_SUN: &str = "Take the nest out of the sun and away from anything else that warms it.";
/// ... and what they need while there is time.
const A_WAY_OUT: &str = "See that the ants can reach a cooler place.";
/// How sure a mean is ...
const BY_MEAN: &str = "Worked out from the probes, as a mean over the last hour; the doubt in it is counted in.";
/// ... and a forecast, and what it means for the brood.
const A_FORECAST: &str = "A forecast: what follows if room and heating go on as they do. It can be wrong.";
const NOT_YET: &str = "Nothing has happened to the brood yet.";
/// Ends the messages that lead a hand to a heater, a plug or a cable.
pub(super) const CARE: &str = "Look before you touch: no plug, socket or cable that is hot, discoloured or wet. Work on \
mains wiring is for licensed people; local codes come first.";

/// Comes before the number that the keeper wrote down; none is shipped.
pub(super) const EMERGENCY: &str = "The keeper wrote down whom to call: ";
/// Begins a message about a danger that was answered and goes on.
pub(super) const REMINDER: &str = "Somebody answered this, and it still holds. You are reminded until it is over.";
/// Begins a message to those who are told second.
pub(super) const SECOND: &str = "You are told because whoever was told before has not answered, or could not end it.";
/// How often.
pub(super) const REPEATED: &str = "It is repeated until somebody answers. An answer does not end it: go and look.";
/// Where no link can be given.
pub(super) const NO_LINK: &str = "act at the shelf first, as above. This message carries no link: the pages are open on \
one machine only.";
/// What a test message says.
pub(super) const TEST: &str = "Somebody asked warmend to try this way out. That it got here says nothing about the shelf. \
It counts as proved only once a person says that they saw it.";
/// What a day's report says where no alarm stands; followed by the moment and by how many probes are believed.
pub(super) const NOTHING_FOUND: &str = "nothing found";
pub(super) const WEEKLY: &str = "This looks back, once a week. What stands now is on the pages.";
pub(super) const DAILY: &str = "This comes once a day, so that its absence tells you something: if it fails to come, look \
at the shelf and at the machine that watches it. Nothing found means that no alarm stands; it is no verdict on what \
probes cannot see.";
/// What a day's report says where alarms stand.
pub(super) const STANDING: &str = "What stands, the gravest first:";

/// What a card says never to do.
pub(super) const NEVER: [&str; 5] = [
    HOT_PLUG,
    NO_WATER,
    "Do not bridge or reset a thermal cut-off: something was too hot.",
    "Do not put the thermostat's sensor back while the mat is plugged in.",
    "Do not cover the mat, and do not cool the ants suddenly.",
];
/// What follows about water.
pub(super) const WATER_AFTER: &str = "Let plug and socket be dry before you plug in again.";

/// What stands before the name of a place.
pub(super) const fn rank(priority: Priority) -> &'static str {
    match priority {
        Priority::Danger => "DANGER",
        Priority::Warning => "Warning",
        Priority::Advice => "Advice",
    }
}

/// What stands in its place where nothing begins.
pub(super) const fn news(event: Event) -> Option<&'static str> {
    match event {
        Event::Raised | Event::Unacknowledged | Event::Unshelved | Event::Unsuppressed | Event::InService => None,
        Event::Acknowledged => Some("Answered"),
        Event::Returned => Some("Over for now"),
        Event::Cleared => Some("Over"),
        Event::Reset => Some("Reset"),
        Event::Shelved => Some("Silent for a time"),
        Event::Suppressed => Some("Silent by design"),
        Event::OutOfService => Some("Out of service"),
    }
}

/// What a keeper is told to do when nothing begins.
pub(super) const fn afterwards(event: Event, priority: Priority) -> &'static str {
    match (event, priority) {
        (Event::Returned | Event::Cleared, Priority::Danger) => {
            "By the readings the condition has ended; what brought it about may still be there. Go and look. What you \
             unplugged stays unplugged until you know why."
        }
        (Event::Returned | Event::Cleared, _) => {
            "By the readings the condition has ended. Look at the nest when you can, and at what brought it about."
        }
        (Event::Acknowledged, Priority::Danger) => "Somebody answered. While it goes on, they are reminded.",
        (Event::Acknowledged, _) => "Somebody answered; messages about it stop. The condition itself may go on.",
        (Event::Reset, _) => "Somebody reset it. If the cause is still there, it will be raised again.",
        (Event::Shelved, _) => "Somebody silenced it for a time. Nobody is told of it meanwhile.",
        (Event::Suppressed, _) => "It is a consequence of something that was told already.",
        (Event::OutOfService, _) => "Somebody took it out of service. Nobody is told of it until it is put back.",
        _ => "",
    }
}

/// The words for an alarm.
pub(super) const fn of(alarm: Alarm) -> Words {
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

const fn danger(alarm: Alarm) -> Words {
    match alarm {
        Alarm::HeaterStuckOn => Words {
            what: "the heating mat will not switch off",
            short: "mat stuck on",
            first: "Unplug it now",
            steps: &[
                "See whether the thermostat's sensor still sits in the nest: one that slipped out drives the mat on. \
                 Put it back only with the mat unplugged.",
                COOLER_PLACE,
                "When you know why, and the mat lets go again, reset the alarm.",
            ],
            sure: "Worked out from how the nest warmed against what the mat was told. A relay that sticks, a \
                   thermostat's sensor that slipped out and a mat that was plugged in by hand look alike.",
            brood: "The brood can be lost within a quarter of an hour to an hour; nobody can say the minute.",
        },
        Alarm::BroodLimit => Words {
            what: "the brood place is hotter than its limit",
            short: "brood place too hot",
            first: "Unplug the mat",
            steps: &[OUT_OF_SUN, COOLER_PLACE],
            sure: "Either three readings in a row of a probe by the brood, or what is worked out between the probes; \
                   the evidence below says which.",
            brood: "Beyond the limit that you set, brood can be lost within the hour.",
        },
        _ => Words {
            what: "a probe is far too hot",
            short: "a probe is too hot",
            first: "Unplug the mat",
            steps: &[
                "The nest or the probe: look now. A probe that lies on the heating mat says the same.",
                OUT_OF_SUN,
            ],
            sure: "Three readings in a row of one probe; no model stands between. The probe itself may be at fault: \
                   find out by looking, not by waiting.",
            brood: "Where it is so hot, brood can be lost within minutes to an hour.",
        },
    }
}

const fn warmth(alarm: Alarm) -> Words {
    match alarm {
        Alarm::HeaterNoHeat => Words {
            what: "the heating mat gives no heat",
            short: "mat gives no heat",
            first: "Is the plug in?",
            steps: &[
                "See whether the plug is in, and the socket or strip switched on.",
                "See whether a thermal cut-off has opened. If it has, something was too hot: do not bridge it, do \
                 not reset it before you know why.",
                "See whether the mat still lies at the nest, and the probes sit where they should.",
                "Do not warm the nest with anything that nobody watches.",
            ],
            sure: "Worked out from how the nest cooled against what the mat was told. A probe that fell off, or a mat \
                   that slipped, can look like it.",
            brood: "Brood grows slowly or not at all while it is cold; most colonies bear some hours of it.",
        },
        Alarm::BroodCold => Words {
            what: "the brood place is too cold",
            short: "brood place too cold",
            first: "Is the mat on?",
            steps: &[
                "See whether the plug is in, and the thermostat set as you want it.",
                "See whether a window is open, or the nest stands in a draught.",
            ],
            sure: BY_MEAN,
            brood: "Brood grows slowly while it is cold; most colonies bear some hours of it.",
        },
        Alarm::BroodHot => Words {
            what: "the brood place is too warm",
            short: "brood too warm",
            first: "Look at mat and sun",
            steps: &[
                "See whether the sun falls on the nest, and whether the room itself has grown warm.",
                "Turn the heating down, or unplug the heating mat until you know why.",
                A_WAY_OUT,
            ],
            sure: BY_MEAN,
            brood: "The ants will carry the brood away if there is a cooler place to carry it to.",
        },
        Alarm::ForecastHot | Alarm::ForecastCold => forecast(alarm),
        Alarm::GradientFlat => Words {
            what: "the whole nest is equally warm",
            short: "no cooler place",
            first: "Make a cool end",
            steps: &["See whether the heating mat reaches too far, or a cover keeps the cool end warm."],
            sure: "Worked out for the whole nest from its probes, and so for hours.",
            brood: "The ants cannot choose: warmth along the nest is how they place their brood.",
        },
        _ => Words {
            what: "its winter rest is disturbed",
            short: "rest disturbed",
            first: "Look at the room",
            steps: &[
                "See whether the room or cupboard has warmed or frozen, and whether the heating mat is unplugged.",
            ],
            sure: "From the probes of the nest, against the band of the season in force.",
            brood: "A colony that wakes in winter eats what it needs for spring; frost can kill it.",
        },
    }
}

const fn forecast(alarm: Alarm) -> Words {
    match alarm {
        Alarm::ForecastHot => Words {
            what: "the brood place will get too warm",
            short: "will get too warm",
            first: "Turn heating down",
            steps: &["Turn the heating down before it happens, shade the nest, air the room.", A_WAY_OUT],
            sure: A_FORECAST,
            brood: NOT_YET,
        },
        _ => Words {
            what: "the brood place will get too cold",
            short: "cold is coming",
            first: "Look at the heating",
            steps: &["See whether the heating can keep up with the night, and whether a window is open."],
            sure: A_FORECAST,
            brood: NOT_YET,
        },
    }
}

const fn water(alarm: Alarm) -> Words {
    match alarm {
        Alarm::WaterLow => Words {
            what: "the nest dries as if its water ran out",
            short: "water ran out",
            first: "Unplug, then refill",
            steps: &[
                WATER_FIRST,
                "Refill the water, and see whether the wick or the tube still reaches it.",
                "Wipe up what was spilled; let plug and socket be dry before you plug in again.",
            ],
            sure: "Worked out from how the humidity falls; a probe of humidity that ages can look like it.",
            brood: "A dry nest costs brood first, then the colony; there are usually days to act.",
        },
        Alarm::HumidityLow => Words {
            what: "the nest is drier than you want",
            short: "nest too dry",
            first: "Unplug, then water",
            steps: &[WATER_FIRST, "Give water at the damp end, a little at a time."],
            sure: "From the probes' humidity, held for hours. Cheap probes err by 2 to 5 %RH and more with age.",
            brood: "Brood dries out more quickly than workers do.",
        },
        Alarm::HumidityHigh => Words {
            what: "the nest is damper than you want",
            short: "nest too damp",
            first: "Unplug, then air it",
            steps: &[WATER_FIRST, "Air the nest, and give less water for some days."],
            sure: "From the probes' humidity, held for hours. Cheap probes err by 2 to 5 %RH and more with age.",
            brood: "Mould is the risk, not the damp itself.",
        },
        _ => Words {
            what: "water condenses in the nest",
            short: "water condenses",
            first: "Unplug, then wipe",
            steps: &[
                WATER_FIRST,
                "Wipe the glass dry; see that no drop runs along a cable towards a socket.",
                "A smaller difference between warm and cool end, or more air, makes it stop.",
            ],
            sure: "From warmth and humidity along the nest: the coldest surface has reached the dew point.",
            brood: "Drops can drown eggs and small larvae.",
        },
    }
}
