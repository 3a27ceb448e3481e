//! The words for damp, dew and water.
use super::{figure, percent};
use crate::times::length;
use dashboards::say;
use enclosure::Span;
use enclosure::evidence::{Moisture, Place};

/// From here on what is left of the water is told in days, h.
const IN_DAYS_H: f64 = 48.0;

pub(super) fn moisture(said: Moisture) -> String {
    match said {
        Moisture::Humidity { place, rh_pct, wanted_pct, lasts } => humidity(place, rh_pct, wanted_pct, lasts),
        Moisture::Dew { dew_c, surface_c, at_mm, sheet, lasts } => {
            let (dew, at, surface) = (figure(dew_c, 1), figure(at_mm, 0), figure(surface_c, 1));
            match (sheet, lasts.map(length)) {
                (false, None) => say!("evidence-dew-wall", dew = dew, at = at, surface = surface),
                (false, Some(lasts)) => {
                    say!("evidence-dew-wall-lasts", dew = dew, at = at, surface = surface, lasts = lasts)
                }
                (true, None) => say!("evidence-dew-sheet", dew = dew, at = at, surface = surface),
                (true, Some(lasts)) => {
                    say!("evidence-dew-sheet-lasts", dew = dew, at = at, surface = surface, lasts = lasts)
                }
            }
        }
        Moisture::WaterUntold => say!("evidence-water-untold"),
        Moisture::Water { share } => say!("evidence-water", share = percent(share)),
        Moisture::WaterLow { share, strays_to, lasts, fallen, tell } => say!(
            "evidence-water-low",
            share = percent(share),
            lasts = length(lasts),
            strays = percent(strays_to),
            fallen = fallen,
            tell = tell
        ),
        Moisture::WaterLeft { hours } if hours < IN_DAYS_H => {
            say!("evidence-water-left-hours", hours = figure(hours, 0))
        }
        // At most some hundreds.
        Moisture::WaterLeft { hours } => say!("evidence-water-left-days", days = (hours / 24.0).round() as i64),
        Moisture::RoomHumidityAssumed => say!("evidence-room-humidity-assumed"),
    }
}

fn humidity(place: Place, rh_pct: f64, (low_pct, high_pct): (f64, f64), lasts: Option<Span>) -> String {
    let (humidity, low, high) = (figure(rh_pct, 0), figure(low_pct, 0), figure(high_pct, 0));
    match (place, lasts.map(length)) {
        (Place::Brood, None) => say!("evidence-humidity-brood", humidity = humidity, low = low, high = high),
        (Place::Brood, Some(lasts)) => {
            say!("evidence-humidity-brood-lasts", humidity = humidity, lasts = lasts, low = low, high = high)
        }
        (Place::DampestProbe, None) => {
            say!("evidence-humidity-dampest", humidity = humidity, low = low, high = high)
        }
        (Place::DampestProbe, Some(lasts)) => {
            say!("evidence-humidity-dampest-lasts", humidity = humidity, lasts = lasts, low = low, high = high)
        }
        (Place::DriestProbe, None) => say!("evidence-humidity-driest", humidity = humidity, low = low, high = high),
        (Place::DriestProbe, Some(lasts)) => {
            say!("evidence-humidity-driest-lasts", humidity = humidity, lasts = lasts, low = low, high = high)
        }
    }
}
