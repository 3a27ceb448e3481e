//! Alarm names, priorities, states and events, in the words of ISA-18.2 / IEC 62682.
use crate::evidence::Evidence;
use crate::reading::SourceId;
use crate::time::Timestamp;
use alloc::string::String;
use core::fmt;

/// Every alarm there is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Alarm {
    /// The brood area's mean is under the band.
    BroodCold,
    /// The brood area's mean is over the band.
    BroodHot,
    /// The brood area's hottest point passes its limit.
    BroodLimit,
    /// Any probe says more than `hot_c`.
    ProbeHot,
    /// The brood area will leave its band upwards.
    ForecastHot,
    /// The brood area will leave its band downwards.
    ForecastCold,
    /// The pad gives heat it was not told to give.
    HeaterStuckOn,
    /// The pad gives no heat though it is told to.
    HeaterNoHeat,
    /// No refuge from the warmth.
    GradientFlat,
    /// A probe stopped.
    ProbeSilent,
    /// A probe says what its nest cannot do.
    ProbeImplausible,
    /// Humidity under its band.
    HumidityLow,
    /// Humidity over its band.
    HumidityHigh,
    /// Dew point reached at a surface.
    Condensation,
    /// The nest dries as if its water ran out.
    WaterLow,
    /// A heated nest without a believable reading.
    NestUnwatched,
    /// A nest in winter rest warms, or freezes.
    RestWarm,
    /// Nothing was watched for a while.
    WatchGap,
    /// All sources of a node stopped.
    NodeSilent,
    /// The broker is out of reach.
    BrokerLost,
    /// History cannot be written.
    HistoryFailing,
    /// A way of sending notices fails.
    NoticeFailing,
    /// The clock jumped.
    ClockJumped,
}

/// How urgent an alarm is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Priority {
    /// Waits for morning.
    Advice,
    /// Sent at once, once.
    Warning,
    /// Wakes, repeats, escalates.
    Danger,
}

/// One alarm of one nest (and probe or node where it has one).
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AlarmKey {
    /// Which.
    pub alarm: Alarm,
    /// Index of the nest in the shelf; none for alarms of the watch itself.
    pub nest: Option<u16>,
    /// The probe it is about.
    pub probe: Option<SourceId>,
    /// The node it is about.
    pub node: Option<String>,
}

/// Where an alarm stands. Letters are those of the ISA-18.2 state diagram.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Not judged since the start: not the same as well.
    NotJudged,
    /// A: nothing the matter.
    Normal,
    /// B: in alarm, nobody has answered.
    Unacknowledged,
    /// C: in alarm, somebody has answered.
    Acknowledged,
    /// D: over, but nobody has answered.
    Returned,
    /// E, F: over, held until a keeper resets it.
    Latched,
    /// G: silenced by a keeper for a time.
    Shelved,
    /// H: silenced by design.
    Suppressed,
    /// I: taken out of service by a keeper.
    OutOfService,
}

/// What happened to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Event {
    /// The condition held for its on-delay.
    Raised,
    /// A keeper answered.
    Acknowledged,
    /// Worse than when it was answered.
    Unacknowledged,
    /// The condition is over, nobody has answered.
    Returned,
    /// The condition is over and settled.
    Cleared,
    /// A keeper reset a latched alarm.
    Reset,
    /// A keeper silenced it for a time.
    Shelved,
    /// That time is over.
    Unshelved,
    /// Silenced by design.
    Suppressed,
    /// No longer silenced by design.
    Unsuppressed,
    /// Taken out of service.
    OutOfService,
    /// Back in service.
    InService,
}

/// One change of one alarm: what is stored, shown and, where `told`, sent.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmChange {
    /// When.
    pub at: Timestamp,
    /// Which alarm.
    pub key: AlarmKey,
    /// What happened.
    pub event: Event,
    /// Where it stands now.
    pub state: State,
    /// What was expected, what was seen, since when, how sure.
    pub evidence: Evidence,
    /// The alarm of which this one is a consequence.
    pub cause: Option<Alarm>,
    /// Whether a notice is due (a consequence is withheld under its cause, but never the event).
    pub told: bool,
}

impl Alarm {
    /// Every alarm, in the contract's order.
    pub const ALL: [Self; 23] = [
        Self::BroodCold,
        Self::BroodHot,
        Self::BroodLimit,
        Self::ProbeHot,
        Self::ForecastHot,
        Self::ForecastCold,
        Self::HeaterStuckOn,
        Self::HeaterNoHeat,
        Self::GradientFlat,
        Self::ProbeSilent,
        Self::ProbeImplausible,
        Self::HumidityLow,
        Self::HumidityHigh,
        Self::Condensation,
        Self::WaterLow,
        Self::NestUnwatched,
        Self::RestWarm,
        Self::WatchGap,
        Self::NodeSilent,
        Self::BrokerLost,
        Self::HistoryFailing,
        Self::NoticeFailing,
        Self::ClockJumped,
    ];

    /// The contract's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::BroodCold => "brood-cold",
            Self::BroodHot => "brood-hot",
            Self::BroodLimit => "brood-limit",
            Self::ProbeHot => "probe-hot",
            Self::ForecastHot => "forecast-hot",
            Self::ForecastCold => "forecast-cold",
            Self::HeaterStuckOn => "heater-stuck-on",
            Self::HeaterNoHeat => "heater-no-heat",
            Self::GradientFlat => "gradient-flat",
            Self::ProbeSilent => "probe-silent",
            Self::ProbeImplausible => "probe-implausible",
            Self::HumidityLow => "humidity-low",
            Self::HumidityHigh => "humidity-high",
            Self::Condensation => "condensation",
            Self::WaterLow => "water-low",
            Self::NestUnwatched => "nest-unwatched",
            Self::RestWarm => "rest-warm",
            Self::WatchGap => "watch-gap",
            Self::NodeSilent => "node-silent",
            Self::BrokerLost => "broker-lost",
            Self::HistoryFailing => "history-failing",
            Self::NoticeFailing => "notice-failing",
            Self::ClockJumped => "clock-jumped",
        }
    }

    /// The alarm of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|a| a.name() == name)
    }

    /// How urgent it is.
    pub const fn priority(self) -> Priority {
        match self {
            Self::BroodLimit | Self::ProbeHot | Self::HeaterStuckOn => Priority::Danger,
            Self::BroodHot
            | Self::BroodCold
            | Self::HeaterNoHeat
            | Self::ForecastHot
            | Self::RestWarm
            | Self::WaterLow
            | Self::NestUnwatched
            | Self::ProbeSilent
            | Self::NodeSilent
            | Self::WatchGap
            | Self::BrokerLost
            | Self::HistoryFailing
            | Self::NoticeFailing
            | Self::ClockJumped => Priority::Warning,
            Self::ForecastCold
            | Self::GradientFlat
            | Self::ProbeImplausible
            | Self::HumidityLow
            | Self::HumidityHigh
            | Self::Condensation => Priority::Advice,
        }
    }
}

impl Priority {
    /// The contract's word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Advice => "advice",
            Self::Warning => "warning",
            Self::Danger => "danger",
        }
    }
}

impl State {
    /// Every state.
    pub const ALL: [Self; 9] = [
        Self::NotJudged,
        Self::Normal,
        Self::Unacknowledged,
        Self::Acknowledged,
        Self::Returned,
        Self::Latched,
        Self::Shelved,
        Self::Suppressed,
        Self::OutOfService,
    ];

    /// The contract's word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotJudged => "not-judged",
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::Returned => "returned",
            Self::Latched => "latched",
            Self::Shelved => "shelved",
            Self::Suppressed => "suppressed",
            Self::OutOfService => "out-of-service",
        }
    }

    /// The state of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.name() == name)
    }
}

impl Event {
    /// Every event.
    pub const ALL: [Self; 12] = [
        Self::Raised,
        Self::Acknowledged,
        Self::Unacknowledged,
        Self::Returned,
        Self::Cleared,
        Self::Reset,
        Self::Shelved,
        Self::Unshelved,
        Self::Suppressed,
        Self::Unsuppressed,
        Self::OutOfService,
        Self::InService,
    ];

    /// The contract's word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Acknowledged => "acknowledged",
            Self::Unacknowledged => "unacknowledged",
            Self::Returned => "returned",
            Self::Cleared => "cleared",
            Self::Reset => "reset",
            Self::Shelved => "shelved",
            Self::Unshelved => "unshelved",
            Self::Suppressed => "suppressed",
            Self::Unsuppressed => "unsuppressed",
            Self::OutOfService => "out-of-service",
            Self::InService => "in-service",
        }
    }

    /// The event of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|e| e.name() == name)
    }
}

impl fmt::Display for Alarm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
