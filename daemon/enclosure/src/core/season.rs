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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shelf::Band;

    #[test]
    fn a_season_expects_what_it_brings_and_never_a_danger() {
        let band = Some(Band { low_c: 5.0, high_c: 10.0, limit_c: 15.0, hot_c: 20.0 });
        let season = |kind, band, pad_off| Season { from: (11, 1), to: (3, 15), kind, band, pad_off };
        let active = |band, pad_off| season(SeasonKind::Active, band, pad_off);
        assert!(
            expects(&active(band, true), Alarm::HeaterNoHeat) && !expects(&active(band, false), Alarm::HeaterNoHeat)
        );
        assert!(expects(&season(SeasonKind::Rest, band, false), Alarm::HeaterNoHeat));
        assert!(expects(&active(None, false), Alarm::BroodCold) && !expects(&active(band, false), Alarm::BroodCold));
        for kind in [SeasonKind::Active, SeasonKind::Rest, SeasonKind::Empty] {
            for danger in [Alarm::BroodLimit, Alarm::ProbeHot, Alarm::HeaterStuckOn] {
                assert!(!expects(&season(kind, None, true), danger));
            }
        }
    }
}
