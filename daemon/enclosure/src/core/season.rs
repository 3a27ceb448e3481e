//! What a season changes: which alarms make no sense in it.
use crate::alarm::Alarm;
use crate::shelf::{Season, SeasonKind};

/// Whether the season expects what the alarm is about, so that it is not judged.
pub(super) const fn expects(season: &Season, alarm: Alarm) -> bool {
    let resting = !matches!(season.kind, SeasonKind::Active);
    match alarm {
        // A pad that is off on purpose gives no heat, and no gradient.
        Alarm::HeaterNoHeat | Alarm::GradientFlat => season.pad_off || resting,
        // No brood lies there; what rest must not be, rest-warm watches.
        Alarm::BroodCold | Alarm::BroodHot | Alarm::ForecastCold | Alarm::ForecastHot => {
            resting || season.band.is_none()
        }
        Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation | Alarm::WaterLow => {
            matches!(season.kind, SeasonKind::Empty)
        }
        Alarm::RestWarm => !matches!(season.kind, SeasonKind::Rest),
        Alarm::BroodLimit
        | Alarm::ProbeHot
        | Alarm::HeaterStuckOn
        | Alarm::ProbeSilent
        | Alarm::ProbeImplausible
        | Alarm::NestUnwatched
        | Alarm::WatchGap
        | Alarm::NodeSilent
        | Alarm::BrokerLost
        | Alarm::HistoryFailing
        | Alarm::NoticeFailing
        | Alarm::ClockJumped => false,
    }
}
