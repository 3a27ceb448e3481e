//! What stands where on the shelf, as the keeper's `shelf.toml` says. Built by the shell, checked before it arrives.
use crate::alarm::Alarm;
use crate::time::{Span, Timestamp};
use alloc::{string::String, vec::Vec};

/// How long the broker may be out of reach before that is an alarm, unless set.
const BROKER_PATIENCE: Span = Span::from_min(1);
/// Deadband of gradient-flat unless set, K.
const SPAN_DEADBAND_K: f64 = 0.5;

/// Everything one daemon watches.
#[derive(Clone, Debug, PartialEq)]
pub struct Shelf {
    /// The shelf's name.
    pub name: String,
    /// The nests, in the order of the file.
    pub nests: Vec<Nest>,
    /// Settings of the alarms.
    pub alarms: AlarmSettings,
}

/// One enclosure with galleries along one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Nest {
    /// `[a-z0-9-]{1,32}`, unique on the shelf.
    pub id: String,
    /// Nest, arena or tube.
    pub kind: NestKind,
    /// The nest an arena or a tube is joined to.
    pub joined_to: Option<String>,
    /// Length of the gallery axis, mm.
    pub length_mm: f64,
    /// Width of the body across the axis, mm.
    pub width_mm: Option<f64>,
    /// Height of the body, mm.
    pub height_mm: Option<f64>,
    /// What the body is made of: a prior for the model.
    pub material: Material,
    /// What lies over the galleries.
    pub cover: Option<Cover>,
    /// The hottest that its material and what lies under the pad may get, as the keeper says, °C.
    pub material_limit_c: Option<f64>,
    /// The pads that warm this nest.
    pub pads: Vec<Pad>,
    /// Where the brood lies.
    pub brood: Option<Stretch>,
    /// The band the keeper set.
    pub band: Option<Band>,
    /// Humidity the keeper wants, %RH (low, high).
    pub humidity_pct: Option<(f64, f64)>,
    /// The probes in this nest.
    pub probes: Vec<Probe>,
    /// Source of the room's temperature.
    pub room: Option<String>,
    /// Seasons that change what is expected.
    pub seasons: Vec<Season>,
    /// Moment from which this geometry holds (`since`); readings before it had another.
    pub since: Option<Timestamp>,
    /// Above which warmth the keeper counts degree-days of the brood, °C: the species' lower threshold. Nothing is judged
    /// by it.
    pub degree_days_above_c: Option<f64>,
}

/// What a box on the shelf is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NestKind {
    /// Galleries with brood.
    Nest,
    /// A foraging arena.
    Arena,
    /// A founding tube.
    Tube,
}

/// A stretch of the axis, mm from the zero end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Nearer the zero end, mm.
    pub from_mm: f64,
    /// Farther from it, mm.
    pub to_mm: f64,
}

/// The band of temperature the keeper set, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// The brood area's mean should stay above, °C.
    pub low_c: f64,
    /// The brood area's mean should stay below, °C.
    pub high_c: f64,
    /// The brood area's hottest point must stay below, °C.
    pub limit_c: f64,
    /// No probe may say more, °C (`limit_c` + 5 unless set).
    pub hot_c: f64,
}

/// A heater under or beside part of a nest.
#[derive(Clone, Debug, PartialEq)]
pub struct Pad {
    /// Set where a pad is shared between nests.
    pub id: Option<String>,
    /// The stretch it warms.
    pub span: Stretch,
    /// Rated power that reaches this nest, W.
    pub rated_w: f64,
    /// Source that reports its drive.
    pub drive: Option<String>,
    /// Set point of a thermostat that does not report, °C.
    pub thermostat_c: Option<f64>,
    /// Where that thermostat's sensor sits, mm.
    pub thermostat_at_mm: Option<f64>,
    /// Which side of the nest it lies on.
    pub place: PadPlace,
}

/// Where a pad lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PadPlace {
    /// Under the nest.
    Under,
    /// At its side.
    Beside,
    /// On its lid.
    Lid,
    /// Inside it.
    Inside,
}

/// A probe's place.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// Full SenML name, `node:sensor`.
    pub source: String,
    /// Place on the axis, mm.
    pub at_mm: f64,
    /// By how much its temperature says too much, K.
    pub offset_k: f64,
    /// By how much its humidity says too much, %RH.
    pub offset_pct: f64,
}

/// What lies over the galleries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cover {
    /// Nothing.
    Open,
    /// A sheet of glass.
    Glass,
    /// A sheet of acrylic.
    Acrylic,
    /// A lid that keeps warmth in (wood, cork, cardboard).
    Lid,
}

/// Handbook numbers of a body's material: priors, not truths.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Material {
    /// Thermal conductivity, W m⁻¹ K⁻¹.
    pub conductivity_w_mk: f64,
    /// Density, kg m⁻³.
    pub density_kg_m3: f64,
    /// Specific heat capacity, J kg⁻¹ K⁻¹.
    pub heat_capacity_j_kgk: f64,
}

/// A part of the year in which something else is expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Season {
    /// First day, (month, day).
    pub from: (u8, u8),
    /// Last day, (month, day); may lie before `from`: over New Year.
    pub to: (u8, u8),
    /// What is expected.
    pub kind: SeasonKind,
    /// The band in force; none: no band alarm.
    pub band: Option<Band>,
    /// The pad is off on purpose.
    pub pad_off: bool,
}

/// What a season means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeasonKind {
    /// The usual, with another band.
    Active,
    /// Winter rest.
    Rest,
    /// Nobody lives there.
    Empty,
}

/// Delays and deadbands of the alarms. Defaults are the contract's.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmSettings {
    /// Deadband of the temperature alarms, K.
    pub deadband_k: f64,
    /// brood-hot must hold this long.
    pub hot_on_delay: Span,
    /// brood-cold must hold this long.
    pub cold_on_delay: Span,
    /// brood-limit must hold this long, by the estimate.
    pub limit_on_delay: Span,
    /// brood-hot must be over this long before it returns.
    pub hot_off_delay: Span,
    /// brood-cold must be over this long before it returns.
    pub cold_off_delay: Span,
    /// brood-limit and probe-hot must be over this long before they return.
    pub limit_off_delay: Span,
    /// heater-stuck-on and heater-no-heat must be over this long before they return.
    pub heater_off_delay: Span,
    /// Every other alarm of a nest must be over this long before it returns.
    pub other_off_delay: Span,
    /// An alarm that is raised so often within [`Self::chatter_within`] chatters.
    pub chatter_raised: u32,
    /// See [`Self::chatter_raised`].
    pub chatter_within: Span,
    /// An answered danger that is worse by so much is raised anew, K.
    pub worse_k: f64,
    /// A note that a nest was opened, refilled or moved excuses its temperature steps for this long.
    pub excused: Span,
    /// forecast-hot looks this far ahead.
    pub forecast_hot: Span,
    /// forecast-cold looks this far ahead.
    pub forecast_cold: Span,
    /// A forecast must hold this long.
    pub forecast_sustained: Span,
    /// A probe is silent after so many missed readings, and never before [`Self::silent_at_least`].
    pub silent_missed: u32,
    /// No probe is silent sooner than this.
    pub silent_at_least: Span,
    /// No heated nest is unwatched sooner than this after its last believable reading.
    pub unwatched_after: Span,
    /// The axis is flat within this span, K.
    pub flat_span_k: f64,
    /// gradient-flat must hold this long.
    pub flat_on_delay: Span,
    /// rest-warm must hold this long.
    pub rest_on_delay: Span,
    /// Deadband of the humidity alarms, %RH.
    pub humidity_deadband_pct: f64,
    /// humidity-low, humidity-high and condensation must hold this long.
    pub humidity_on_delay: Span,
    /// water-low must hold this long.
    pub water_on_delay: Span,
    /// Nothing but danger, silence and faults of the watch is raised for this long after a nest's first reading.
    pub learning: Span,
    /// Offset of the keeper's time zone at winter, for seasons' days.
    pub season_utc_offset: Span,
    /// What single alarms have of their own, in the order of [`Alarm::ALL`]; see [`Self::own_mut`].
    pub own: [OwnManner; Alarm::ALL.len()],
}

/// Delays and deadband that one alarm has of its own; what is left out is as its kind has it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OwnManner {
    /// Its condition must hold this long.
    pub on_delay: Option<Span>,
    /// Its condition must be over this long.
    pub off_delay: Option<Span>,
    /// So far within its bound it counts as over, K or %RH.
    pub deadband: Option<f64>,
}

impl AlarmSettings {
    /// What `alarm` has of its own.
    pub fn own_mut(&mut self, alarm: Alarm) -> &mut OwnManner {
        &mut self.own[alarm as usize]
    }

    fn own(&self, alarm: Alarm) -> OwnManner {
        self.own[alarm as usize]
    }

    /// How long an alarm's condition must hold before it is raised. Alarms of silence wait for what is missing instead
    /// ([`Self::silent_at_least`], [`Self::unwatched_after`]), and the raw guard for its three readings.
    pub fn on_delay(&self, alarm: Alarm) -> Span {
        self.own(alarm).on_delay.unwrap_or(match alarm {
            Alarm::BroodHot => self.hot_on_delay,
            Alarm::BroodCold => self.cold_on_delay,
            Alarm::BroodLimit => self.limit_on_delay,
            Alarm::ForecastHot | Alarm::ForecastCold => self.forecast_sustained,
            Alarm::GradientFlat => self.flat_on_delay,
            Alarm::RestWarm => self.rest_on_delay,
            Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation => self.humidity_on_delay,
            Alarm::WaterLow => self.water_on_delay,
            Alarm::BrokerLost => BROKER_PATIENCE,
            _ => Span::ZERO,
        })
    }

    /// How far within its bound an alarm's value must come before its condition is over, K (%RH for humidity and dew).
    /// 0 for alarms that weigh evidence: those end by their evidence, and wait for their off-delay.
    pub fn deadband(&self, alarm: Alarm) -> f64 {
        self.own(alarm).deadband.unwrap_or(match alarm {
            Alarm::BroodHot | Alarm::BroodCold | Alarm::BroodLimit | Alarm::ProbeHot | Alarm::RestWarm => {
                self.deadband_k
            }
            Alarm::GradientFlat => SPAN_DEADBAND_K,
            Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation => self.humidity_deadband_pct,
            _ => 0.0,
        })
    }

    /// How long an alarm's condition must be over before it returns.
    pub fn off_delay(&self, alarm: Alarm) -> Span {
        self.own(alarm).off_delay.unwrap_or(match alarm {
            Alarm::BroodHot => self.hot_off_delay,
            Alarm::BroodCold => self.cold_off_delay,
            Alarm::BroodLimit | Alarm::ProbeHot => self.limit_off_delay,
            Alarm::HeaterStuckOn | Alarm::HeaterNoHeat => self.heater_off_delay,
            Alarm::ProbeSilent | Alarm::NodeSilent | Alarm::NestUnwatched => Span::ZERO,
            _ => self.other_off_delay,
        })
    }
}

impl Default for AlarmSettings {
    fn default() -> Self {
        Self {
            deadband_k: 0.5,
            hot_on_delay: Span::from_min(15),
            cold_on_delay: Span::from_min(60),
            limit_on_delay: Span::from_min(2),
            hot_off_delay: Span::from_min(5),
            cold_off_delay: Span::from_min(5),
            limit_off_delay: Span::from_min(2),
            heater_off_delay: Span::from_min(2),
            other_off_delay: Span::from_min(2),
            chatter_raised: 3,
            chatter_within: Span::from_min(60),
            worse_k: 1.0,
            excused: Span::from_h(1),
            forecast_hot: Span::from_h(6),
            forecast_cold: Span::from_h(12),
            forecast_sustained: Span::from_min(30),
            silent_missed: 5,
            silent_at_least: Span::from_min(10),
            unwatched_after: Span::from_min(10),
            flat_span_k: 1.5,
            flat_on_delay: Span::from_h(6),
            rest_on_delay: Span::from_h(1),
            humidity_deadband_pct: 3.0,
            humidity_on_delay: Span::from_h(6),
            water_on_delay: Span::from_h(24),
            learning: Span::from_h(12),
            season_utc_offset: Span::ZERO,
            own: [OwnManner::default(); Alarm::ALL.len()],
        }
    }
}

impl Stretch {
    /// Length, mm.
    pub fn length_mm(self) -> f64 {
        self.to_mm - self.from_mm
    }

    /// Whether `at_mm` lies within, widened by `by_mm` on both sides.
    pub fn holds(self, at_mm: f64, by_mm: f64) -> bool {
        at_mm >= self.from_mm - by_mm && at_mm <= self.to_mm + by_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_alarm_has_its_own_manner_and_else_that_of_its_kind() {
        let usual = AlarmSettings::default();
        for (place, alarm) in Alarm::ALL.into_iter().enumerate() {
            assert_eq!(place, alarm as usize, "{alarm}: its place in what is its own");
            let mut s = AlarmSettings::default();
            *s.own_mut(alarm) = OwnManner {
                on_delay: Some(Span::from_min(17)),
                off_delay: Some(Span::from_min(19)),
                deadband: Some(2.25),
            };
            for other in Alarm::ALL {
                let got = (s.on_delay(other), s.off_delay(other), s.deadband(other));
                let kind = (usual.on_delay(other), usual.off_delay(other), usual.deadband(other));
                let own = (Span::from_min(17), Span::from_min(19), 2.25);
                assert_eq!(got, if other == alarm { own } else { kind }, "{other} beside {alarm}");
            }
        }
    }

    /// The contract's defaults, as far as it names them.
    #[test]
    fn the_defaults_are_the_contracts() {
        let s = AlarmSettings::default();
        for (alarm, on_min) in [
            (Alarm::BroodHot, 15),
            (Alarm::BroodCold, 60),
            (Alarm::BroodLimit, 2),
            (Alarm::ForecastHot, 30),
            (Alarm::ForecastCold, 30),
            (Alarm::GradientFlat, 360),
            (Alarm::HumidityLow, 360),
            (Alarm::HumidityHigh, 360),
            (Alarm::WaterLow, 1440),
            (Alarm::ProbeHot, 0),
            (Alarm::HeaterStuckOn, 0),
        ] {
            assert_eq!(s.on_delay(alarm), Span::from_min(on_min), "{alarm}");
        }
        for alarm in [Alarm::BroodHot, Alarm::BroodCold] {
            assert!((s.deadband(alarm) - 0.5).abs() < 1e-12, "{alarm}");
        }
    }
}
