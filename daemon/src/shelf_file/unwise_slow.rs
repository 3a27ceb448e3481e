//! What is unwise about humidity, winter rest and the alarms that take hours.
use super::findings::Findings;
use crate::times::length;
use dashboards::say;
use enclosure::Alarm;
use enclosure::shelf::{AlarmSettings, Nest, SeasonKind};
use enclosure::time::Span;

/// Cheap humidity probes are off by 2 to 5 %RH (makers' data sheets), so a narrower band is told for nothing.
const NARROW_PCT: f64 = 10.0;
/// Above this mould grows on wood (critical humidity above 20 °C by Hukka & Viitanen 1999, Wood Sci. Technol. 33: 80).
const MOULD_PCT: f64 = 80.0;
/// A gradient of so many kelvin is one that many nests never have.
const WIDE_SPAN_K: f64 = 4.0;
/// A mat that sticks on can kill within the hour.
const BLIND_LONG: Span = Span::from_min(30);
/// An aired or opened nest may be dry for so long.
const WATER_SOON: Span = Span::from_h(6);

pub(super) fn advise_nest(at: &str, nest: &Nest, f: &mut Findings) {
    if let Some((low, high)) = nest.humidity_pct {
        if high - low < NARROW_PCT {
            let why = say!("unwise-humidity-narrow", value = format!("{:.0}", high - low));
            f.advise(&format!("{at}.humidity"), why, say!("unwise-humidity-narrow-do"));
        }
        if high > MOULD_PCT {
            let why = say!("unwise-humidity-high", value = high.to_string(), most = MOULD_PCT.to_string());
            f.advise(&format!("{at}.humidity.high_pct"), why, say!("unwise-humidity-high-do"));
        }
    }
    for (i, season) in nest.seasons.iter().enumerate().filter(|(_, s)| s.kind == SeasonKind::Rest) {
        let here = format!("{at}.season[{i}]");
        if season.band.is_none() {
            f.advise(&here, say!("unwise-rest-band"), say!("unwise-rest-band-do"));
        }
        if !season.pad_off && !nest.pads.is_empty() {
            f.advise(&format!("{here}.pad"), say!("unwise-rest-pad"), say!("unwise-rest-pad-do"));
        }
    }
}

pub(super) fn advise_alarms(s: &AlarmSettings, f: &mut Findings) {
    if s.flat_span_k > WIDE_SPAN_K {
        f.advise("alarm.flat_span_k", say!("unwise-flat", value = s.flat_span_k.to_string()), say!("unwise-flat-do"));
    }
    if s.unwatched_after > BLIND_LONG {
        let why = say!("unwise-unwatched", length = length(s.unwatched_after));
        f.advise("alarm.unwatched_after_min", why, say!("unwise-unwatched-do"));
    }
    if s.on_delay(Alarm::WaterLow) < WATER_SOON {
        f.advise("alarm.water_on_delay_min", say!("unwise-water"), say!("unwise-water-do"));
    }
    let stuck = s.on_delay(Alarm::HeaterStuckOn);
    if stuck > Span::ZERO {
        let why = say!("unwise-stuck", length = length(stuck));
        f.advise("alarm.heater-stuck-on.on_delay_min", why, say!("unwise-stuck-do"));
    }
}
