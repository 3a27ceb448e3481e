//! Delays and deadband that single alarms have of their own, under `[alarm.<name>]`; and how `check` says them all.
use super::raw::{RawAlarm, RawManner};
use super::services::span;
use crate::times;
use dashboards::say;
use enclosure::shelf::{AlarmSettings, OwnManner};
use enclosure::{Alarm, Span};
use std::fmt::Write as _;

/// Every alarm that may have delays or a deadband of its own.
fn of(raw: &RawAlarm) -> [(Alarm, RawManner); 18] {
    [
        (Alarm::BroodCold, raw.brood_cold),
        (Alarm::BroodHot, raw.brood_hot),
        (Alarm::BroodLimit, raw.brood_limit),
        (Alarm::ProbeHot, raw.probe_hot),
        (Alarm::ForecastHot, raw.forecast_hot),
        (Alarm::ForecastCold, raw.forecast_cold),
        (Alarm::HeaterStuckOn, raw.heater_stuck_on),
        (Alarm::HeaterNoHeat, raw.heater_no_heat),
        (Alarm::GradientFlat, raw.gradient_flat),
        (Alarm::ProbeSilent, raw.probe_silent),
        (Alarm::ProbeImplausible, raw.probe_implausible),
        (Alarm::HumidityLow, raw.humidity_low),
        (Alarm::HumidityHigh, raw.humidity_high),
        (Alarm::Condensation, raw.condensation),
        (Alarm::WaterLow, raw.water_low),
        (Alarm::NestUnwatched, raw.nest_unwatched),
        (Alarm::RestWarm, raw.rest_warm),
        (Alarm::BrokerLost, raw.broker_lost),
    ]
}

/// Lays what is written of single alarms over what their kinds have.
pub(super) fn lay_over(raw: &RawAlarm, settings: &mut AlarmSettings) {
    let minutes = |m: Option<f64>| m.map(|m| span(m, 60_000.0));
    for (alarm, own) in of(raw) {
        *settings.own_mut(alarm) = OwnManner {
            on_delay: minutes(own.on_delay_min),
            off_delay: minutes(own.off_delay_min),
            deadband: own.deadband_k.or(own.deadband_pct),
        };
    }
}

/// How each alarm waits before it is raised and before it is over, in lines.
pub(super) fn lines(s: &AlarmSettings) -> String {
    let mut out = say!("check-waits") + "\n";
    for (alarm, _) in of(&RawAlarm::default()) {
        let on = match alarm {
            Alarm::ProbeHot => say!("check-waits-three"),
            Alarm::ProbeSilent => {
                say!("check-waits-missed", n = s.silent_missed, waits = waits(s.silent_at_least))
            }
            Alarm::NestUnwatched => waits(s.unwatched_after),
            _ => waits(s.on_delay(alarm)),
        };
        let off = if alarm == Alarm::BrokerLost { waits(Span::ZERO) } else { waits(s.off_delay(alarm)) };
        let by = s.deadband(alarm).to_string();
        let line = match alarm {
            _ if s.deadband(alarm) == 0.0 => say!("check-waits-line", on = on, off = off),
            Alarm::HumidityLow | Alarm::HumidityHigh | Alarm::Condensation => {
                say!("check-waits-line-rh", on = on, off = off, by = by)
            }
            _ => say!("check-waits-line-k", on = on, off = off, by = by),
        };
        let _ = writeln!(out, "  {:18}{line}", alarm.name());
    }
    out
}

fn waits(length: Span) -> String {
    if length == Span::ZERO {
        say!("check-waits-at-once")
    } else {
        say!("check-waits-after", length = times::length(length))
    }
}
