//! What is unwise about humidity, winter rest and the alarms that take hours.
use super::findings::Findings;
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
            let why =
                format!("a band of {:.0} %RH is narrower than what a cheap probe may be off, 2 to 5 %RH", high - low);
            f.advise(&format!("{at}.humidity"), why, "widen it, or calibrate the probes with a saturated salt");
        }
        if high > MOULD_PCT {
            let why = format!(
                "{high} %RH lies above {MOULD_PCT} %RH, where mould begins to grow on wood (Hukka & Viitanen 1999, \
                 Wood Sci. Technol. 33)"
            );
            f.advise(&format!("{at}.humidity.high_pct"), why, "lower it, unless the body is none that moulds");
        }
    }
    for (i, season) in nest.seasons.iter().enumerate().filter(|(_, s)| s.kind == SeasonKind::Rest) {
        let here = format!("{at}.season[{i}]");
        if season.band.is_none() {
            let why = "has no band: rest-warm is raised for frost only";
            f.advise(&here, why, "write low_c, high_c and limit_c of the rest");
        }
        if !season.pad_off && !nest.pads.is_empty() {
            let why = "is a rest with the heating mat on";
            f.advise(&format!("{here}.pad"), why, "write pad = \"off\" and unplug the mat, if that is meant");
        }
    }
}

pub(super) fn advise_alarms(s: &AlarmSettings, f: &mut Findings) {
    if s.flat_span_k > WIDE_SPAN_K {
        let why = format!("a nest whose ends are {} K apart has a refuge; many never come so far", s.flat_span_k);
        f.advise("alarm.flat_span_k", why, "leave it out: 1.5 K is taken");
    }
    if s.unwatched_after > BLIND_LONG {
        let why = format!("a mat may stick on unseen for {}; that can kill a colony", s.unwatched_after);
        f.advise("alarm.unwatched_after_min", why, "leave it out: 10 minutes are taken");
    }
    if s.on_delay(Alarm::WaterLow) < WATER_SOON {
        let why = "a nest that was opened or aired looks dry for some hours";
        f.advise("alarm.water_on_delay_min", why, "leave it out: a day is taken, and a nest dries over days");
    }
    let stuck = s.on_delay(Alarm::HeaterStuckOn);
    if stuck > Span::ZERO {
        let why = format!("a mat that sticks on heats for {stuck} more before anybody is told");
        f.advise("alarm.heater-stuck-on.on_delay_min", why, "leave it out: its evidence is its delay");
    }
}
