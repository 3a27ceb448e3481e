//! What an alarm's change rests on: what was expected, what is seen, since when, how sure. The core says it in figures;
//! whoever tells a keeper of it words it.
use crate::alarm::Alarm;
use crate::time::Span;
use crate::trust::Fault;
use alloc::string::String;
use alloc::vec::Vec;

/// Sayings of one change at most: a gap, a nest each for [`NESTS_MAX`], and what the board remarks.
pub const SAYINGS_MAX: usize = NESTS_MAX + 2;
/// Nests that the evidence of a gap speaks of at most.
pub const NESTS_MAX: usize = 8;

/// What one change of an alarm rests on, in the order in which it is said; [`SAYINGS_MAX`] sayings at most. Nothing: the
/// change says nothing of the condition (a keeper's answer), and what was said of it before still holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence(Vec<Saying>);

/// One sentence, by what it says. `lasts` is how long it has been so; where that may be none, none: it is no longer so.
#[derive(Clone, Debug, PartialEq)]
pub enum Saying {
    /// What whoever handed it in worded already: what was attempted, why it failed.
    Told(String),
    /// How warm a nest is or was.
    Warmth(Warmth),
    /// What a nest will do.
    Ahead(Ahead),
    /// What a pad does.
    Pad(Pad),
    /// Who is heard and believed.
    Eyes(Eyes),
    /// How damp a nest is, and what its water gives.
    Moisture(Moisture),
    /// What the board and the season say beside it.
    Aside(Aside),
}

/// How warm a nest is or was. What it may be off by is two standard deviations either way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warmth {
    /// The brood area's mean over the last hour, against a bound of the band in the shelf file.
    BroodMean {
        /// Its upper bound is meant, else its lower one.
        hot: bool,
        /// That mean, as believed, °C.
        mean_c: f64,
        /// How far it may be off, K.
        off_k: f64,
        /// That bound, °C.
        bound_c: f64,
    },
    /// A probe at the brood passed the brood's limit, three readings in a row.
    BroodProbeHot {
        /// Its last reading, °C.
        probe_c: f64,
        /// The limit, °C.
        limit_c: f64,
    },
    /// The brood area's hottest point, against its limit.
    BroodLimit {
        /// That point, as believed, °C.
        hottest_c: f64,
        /// How far it may be off, K.
        off_k: f64,
        /// The limit, °C.
        limit_c: f64,
    },
    /// Any probe passed the warmth that none should reach, three readings in a row.
    ProbeHot {
        /// Its last reading, °C.
        probe_c: f64,
        /// What it passed, °C.
        limit_c: f64,
    },
    /// The room itself fell or rose: the likely cause.
    RoomMoved {
        /// From, °C.
        from_c: f64,
        /// To, °C.
        to_c: f64,
        /// Within so long.
        within: Span,
    },
    /// How far the warmest and the coolest place of a nest are apart, as a mean over the last hour.
    Apart {
        /// K.
        apart_k: f64,
        /// What the pad gives meanwhile, 0 to 1 of its heat.
        heat: f64,
        /// How long they have been too near to each other.
        lasts: Option<Span>,
    },
    /// How warm a nest at rest is, as a mean over the last hour.
    AtRest {
        /// °C.
        nest_c: f64,
        /// The bounds of the season's band, °C; none: only frost is told.
        band_c: Option<(f64, f64)>,
        /// How long it has been outside them.
        lasts: Option<Span>,
    },
}

/// What a nest will do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ahead {
    /// The brood area's mean will leave its band.
    Leaving {
        /// Upwards, else downwards.
        hot: bool,
        /// The bound it will pass, °C.
        bound_c: f64,
        /// In how long, about.
        about: Span,
        /// Hardly sooner: one time in ten.
        from: Span,
        /// Hardly later: one time in ten; none: perhaps not at all.
        to: Option<Span>,
        /// The farthest beyond the bound, °C.
        extreme_c: f64,
        /// How far that may be off, 4 times in 5, K.
        off_k: f64,
        /// How likely it leaves the band at all, 0 to 1.
        probability: f64,
    },
    /// What the room is expected to be by then.
    RoomByThen {
        /// °C.
        room_c: f64,
        /// How far it may be off, 4 times in 5, K.
        off_k: f64,
    },
    /// The brood area's mean is expected to stay within this bound again.
    Staying {
        /// °C.
        bound_c: f64,
    },
}

/// What a pad does. What counts as its place is the nest above it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pad {
    /// The pad gives heat that it was not told to give.
    HeatsUntold {
        /// What it is told, 0 to 1 of its heat; none: not known.
        told: Option<f64>,
        /// How long.
        lasts: Span,
        /// Logarithm of the odds for it, nats.
        nats: f64,
    },
    /// The pad gives no heat though it is told to.
    HeatMissing {
        /// What it is told, 0 to 1 of its heat; none: not known.
        told: Option<f64>,
        /// How long.
        lasts: Span,
        /// Logarithm of the odds for it, nats.
        nats: f64,
    },
    /// The pad heats where its thermostat always let go.
    NeverLetsGo {
        /// How long.
        lasts: Span,
        /// Its place as believed, °C.
        now_c: f64,
        /// The warmest at which it heated in the two days before, °C.
        warmest_c: f64,
    },
    /// The pad gives no heat where its thermostat always came on.
    NeverComesOn {
        /// How long.
        lasts: Span,
        /// Its place as believed, °C.
        now_c: f64,
        /// The coolest at which it gave none in the two days before, °C.
        coolest_c: f64,
    },
    /// The pad gives no heat at a time of day at which it always did.
    Stopped {
        /// How long.
        lasts: Span,
    },
    /// It heats at a time of day at which it never did.
    OutOfHours {
        /// How long.
        lasts: Span,
    },
    /// The pad behaves as it is told.
    HeatsAsTold,
}

/// Who is heard and believed.
#[derive(Clone, Debug, PartialEq)]
pub enum Eyes {
    /// A probe is silent.
    ProbeSilent {
        /// How long ago it was heard, and its last reading, °C; none: never.
        last: Option<(Span, f64)>,
    },
    /// A probe is heard again.
    ProbeHeard {
        /// Its last reading, °C.
        probe_c: f64,
    },
    /// What a probe says cannot be.
    ProbeDoubted(Fault),
    /// What a probe says can be.
    ProbeFits,
    /// No reading of a heated nest can be believed.
    Unseen {
        /// How old the last one that could is; none: none came.
        last: Option<Span>,
    },
    /// A heated nest is seen again.
    SeenAgain,
    /// All nodes stopped within a minute of each other.
    AllSilent,
    /// Nodes are heard again.
    NodesHeard,
    /// None of a node's sensors is heard.
    NodeSilent {
        /// How long ago one was; none: never.
        last: Option<Span>,
    },
    /// A node's sensors are heard again.
    NodeHeard,
    /// Nothing was watched.
    Unwatched {
        /// How long.
        lasts: Span,
        /// Why, worded already; none: no probe was heard.
        why: Option<String>,
    },
    /// What a brood area did while nothing was watched, probably.
    Meanwhile {
        /// The nest's id.
        nest: String,
        /// Its mean before, as believed, °C.
        before_c: f64,
        /// Its mean now, as believed, °C.
        after_c: f64,
        /// The lower bound that it is below, °C.
        below_c: Option<f64>,
    },
    /// Readings are watched again.
    WatchedAgain,
}

/// How damp a nest is, and what its water gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Moisture {
    /// How damp it is at a place, as a mean over the last hour; it may be off by 5 %RH.
    Humidity {
        /// Which place.
        place: Place,
        /// %RH.
        rh_pct: f64,
        /// The bounds in the shelf file, %RH.
        wanted_pct: (f64, f64),
        /// How long it has been outside them.
        lasts: Option<Span>,
    },
    /// The surface that is nearest to dew.
    Dew {
        /// Dew point of the air there, °C.
        dew_c: f64,
        /// The surface as believed, °C.
        surface_c: f64,
        /// Its place on the nest's axis, mm.
        at_mm: f64,
        /// It is the sheet over the galleries, else a gallery's wall.
        sheet: bool,
        /// How long dew has been as near as probes tell.
        lasts: Option<Span>,
    },
    /// What the water gives cannot be told.
    WaterUntold,
    /// What the water gives.
    Water {
        /// A share of what it usually gives; 9.99 at most.
        share: f64,
    },
    /// The water gives less than it ever strays to.
    WaterLow {
        /// A share of what it usually gives; 9.99 at most.
        share: f64,
        /// The share to which it strays.
        strays_to: f64,
        /// How long.
        lasts: Span,
        /// Probes that show it ...
        fallen: usize,
        /// ... of those that can.
        tell: usize,
    },
    /// When almost nothing of the water is left at this pace.
    WaterLeft {
        /// Hours.
        hours: f64,
    },
    /// The room's humidity is not measured, and a very dry one is assumed.
    RoomHumidityAssumed,
}

/// What the board and the season say beside it.
#[derive(Clone, Debug, PartialEq)]
pub enum Aside {
    /// The season that the shelf file names expects it.
    InSeason,
    /// It came and went so often of late, and is held back until it stays one way.
    Chatters {
        /// Raisings.
        times: u32,
    },
    /// Many alarms at once: one message stands for all.
    Flood {
        /// How many came within ten minutes.
        came: usize,
        /// What stands, by name, and how often.
        standing: Vec<(Alarm, usize)>,
    },
    /// The flood is over.
    FloodOver {
        /// How many that were held back still stand.
        held: usize,
        /// What stands, by name, and how often.
        standing: Vec<(Alarm, usize)>,
    },
    /// It is worse than when it was answered, for this came as well.
    WorseBy(Alarm),
}

macro_rules! sayings {
    ($($kind:ident),*) => {
        $(impl From<$kind> for Saying {
            fn from(saying: $kind) -> Self {
                Self::$kind(saying)
            }
        })*
    };
}

sayings!(Warmth, Ahead, Pad, Eyes, Moisture, Aside);

/// Where a nest's humidity is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// In the midst of the brood area.
    Brood,
    /// The dampest probe: even that is too dry.
    DampestProbe,
    /// The driest probe: even that is too damp.
    DriestProbe,
}

impl Evidence {
    /// One saying.
    pub fn of(saying: impl Into<Saying>) -> Self {
        Self(alloc::vec![saying.into()])
    }

    /// What whoever handed it in worded already; nothing where that is empty.
    pub fn told(text: String) -> Self {
        if text.is_empty() { Self::default() } else { Self::of(Saying::Told(text)) }
    }

    /// Says one thing more; where there is no room for it, it is not said.
    pub fn push(&mut self, saying: impl Into<Saying>) {
        if self.0.len() < SAYINGS_MAX {
            self.0.push(saying.into());
        }
    }

    /// What it says, in order.
    pub fn sayings(&self) -> &[Saying] {
        &self.0
    }

    /// Whether it says nothing.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl<S: Into<Saying>> FromIterator<S> for Evidence {
    /// The first [`SAYINGS_MAX`] of them.
    fn from_iter<I: IntoIterator<Item = S>>(sayings: I) -> Self {
        Self(sayings.into_iter().take(SAYINGS_MAX).map(Into::into).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_change_says_more_than_its_bound() {
        let mut evidence: Evidence = (0..1000).map(|_| Eyes::SeenAgain).collect();
        assert_eq!(evidence.sayings().len(), SAYINGS_MAX);
        evidence.push(Eyes::WatchedAgain);
        assert_eq!(evidence.sayings().len(), SAYINGS_MAX);
    }

    #[test]
    fn an_empty_text_says_nothing() {
        assert!(Evidence::told(String::new()).is_empty());
        assert_eq!(Evidence::told(String::from("x")), Evidence::of(Saying::Told(String::from("x"))));
    }
}
