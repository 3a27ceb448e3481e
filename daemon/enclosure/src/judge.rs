//! What the rules say about one nest at one moment: a verdict for every alarm, and the evidence for it.
mod damp;
mod slow;
pub mod water;

use crate::alarm::Alarm;
use crate::evidence::{Evidence, Eyes, Pad, Warmth};
use crate::forecast::{Foresight, Outlook};
use crate::habits::Beyond;
use crate::lifecycle::Verdict;
use crate::nest::{Ear, GUARD_C, Heating, Watch};
use crate::shelf::{AlarmSettings, Band, Season, SeasonKind};
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// The brood area's mean is judged over this long: a thermostat swings it every 20 minutes.
const MEAN_OVER: Span = Span::from_h(1);
/// Samples kept for it.
const SAMPLES: usize = 61;
/// An estimate older than this judges nothing.
const STALE: Span = Span::from_min(12);
/// And one that may be off by so much (one standard deviation) is none, K; the raw guard watches on.
const VAGUE_K: f64 = 2.5;
/// An estimate speaks where it is beyond by so many of its deviations: 69 in 100 of a normal error.
const DOUBT: f64 = 0.5;
/// Of a danger where nobody tells what the mat does.
const DOUBT_UNTOLD: f64 = 2.0;

/// One condition at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finding {
    /// Which alarm.
    pub alarm: Alarm,
    /// The probe it is about, by its place in the nest's list.
    pub probe: Option<usize>,
    /// What is the case.
    pub verdict: Verdict,
    /// How long it must hold.
    pub on_delay: Span,
}

/// The judge of one nest: its memory is the last hour of the brood area.
#[derive(Clone, Debug, Default)]
pub struct Judge {
    hour: VecDeque<(Timestamp, f64)>,
    mean_c: Option<f64>,
    slow: slow::Slow,
    foresight: Foresight,
}

impl Judge {
    /// From `now` on the nest is watched.
    pub const fn begin(&mut self, now: Timestamp) {
        self.slow.begin(now);
    }

    /// Every verdict about `watch` at `now`.
    pub fn findings(&mut self, now: Timestamp, watch: &Watch, settings: &AlarmSettings) -> Vec<Finding> {
        let mut out = Vec::with_capacity(8 + 2 * watch.ears.len());
        let season = season(watch, now, settings);
        let band = season.map_or(watch.nest.band, |s| s.band);
        self.brood(now, watch, band, settings, &mut out);
        self.foresee(now, watch, band, settings, &mut out);
        if !watch.nest.pads.is_empty() {
            heater(watch, season, band, settings, &mut out);
        }
        probes(now, watch, settings, &mut out);
        self.slow.findings(now, watch, season, settings, &mut out);
        if season.is_some_and(|s| s.kind == SeasonKind::Rest) {
            rests(&mut out);
        }
        out
    }

    fn brood(&mut self, now: Timestamp, watch: &Watch, band: Option<Band>, s: &AlarmSettings, out: &mut Vec<Finding>) {
        let brood = watch.brood().filter(|(_, sd_k, _, at)| now.since(*at) < STALE && *sd_k < VAGUE_K);
        if let Some((mean, ..)) = brood {
            if self.hour.len() == SAMPLES {
                self.hour.pop_front();
            }
            self.hour.push_back((now, mean));
        }
        while self.hour.front().is_some_and(|(t, _)| now.since(*t) > MEAN_OVER) {
            self.hour.pop_front();
        }
        // Half an hour of samples is the least that says anything about an hour.
        self.mean_c = (self.hour.len() >= 30 && brood.is_some())
            .then(|| self.hour.iter().map(|(_, v)| v).sum::<f64>() / self.hour.len() as f64);
        let left = |by: Option<f64>, alarm| by.map_or(Verdict::Unknown, |by| beyond(by, s.deadband(alarm)));
        let doubt_k = DOUBT * brood.map_or(0.0, |b| b.1);
        if let Some(b) = band {
            for (alarm, by) in [
                (Alarm::BroodCold, self.mean_c.map(|v| b.low_c - v - doubt_k)),
                (Alarm::BroodHot, self.mean_c.map(|v| v - b.high_c - doubt_k)),
            ] {
                out.push(Finding { alarm, probe: None, verdict: left(by, alarm), on_delay: s.on_delay(alarm) });
            }
        }
        let limit_c = band.map_or(GUARD_C, |b| b.limit_c);
        let (by_guard, hot_probe) = watch.guard();
        // The raw guard needs no model: it raises at once.
        let (verdict, on_delay) = if by_guard.is_some() {
            (Verdict::Ill, Span::ZERO)
        } else if watch.nest.brood.is_none() {
            // Only the guard watches, and that has just been asked.
            let is_heard = watch.newest.is_some_and(|at| now.since(at) < STALE);
            (if is_heard { Verdict::Well } else { Verdict::Unknown }, s.limit_on_delay)
        } else if watch.guess_is_contradicted(limit_c) {
            (Verdict::Well, s.on_delay(Alarm::BroodLimit))
        } else {
            // Some deviations below what is believed: a wide guess is no danger, and the raw guard needs no guess.
            let doubt = if watch.drives_known() { DOUBT } else { DOUBT_UNTOLD };
            let by = brood.map(|b| b.2 - doubt * b.1 - limit_c);
            (left(by, Alarm::BroodLimit), s.on_delay(Alarm::BroodLimit))
        };
        out.push(Finding { alarm: Alarm::BroodLimit, probe: None, verdict, on_delay });
        if band.is_some() {
            let verdict = if hot_probe.is_some() { Verdict::Ill } else { Verdict::Well };
            out.push(Finding { alarm: Alarm::ProbeHot, probe: None, verdict, on_delay: Span::ZERO });
        }
    }

    fn foresee(
        &mut self,
        now: Timestamp,
        watch: &Watch,
        band: Option<Band>,
        s: &AlarmSettings,
        out: &mut Vec<Finding>,
    ) {
        let (Some(band), true) = (band, watch.is_learned(s.learning)) else { return };
        if let (Some(mean_c), true) = (self.mean_c, self.foresight.is_due(now)) {
            let outlook = watch.outlook(mean_c, s.forecast_hot.max(s.forecast_cold));
            self.foresight.renew(outlook, band, s);
        }
        for (alarm, verdict) in self.foresight.verdicts(now, band, self.mean_c, s) {
            // It has been sustained already, and an alarm that returned would be raised anew without any delay.
            out.push(Finding { alarm, probe: None, verdict, on_delay: Span::ZERO });
        }
    }

    /// The hours ahead, as last looked at.
    pub fn outlook(&self) -> Option<&Outlook> {
        self.foresight.outlook()
    }

    /// Learns from a past that is not judged.
    pub fn recall(&mut self, at: Timestamp, watch: &Watch) {
        self.slow.recall(at, watch);
    }

    /// What was expected, what is seen, since when, how sure.
    pub fn evidence(
        &self,
        alarm: Alarm,
        probe: Option<usize>,
        watch: &Watch,
        now: Timestamp,
        settings: &AlarmSettings,
    ) -> Evidence {
        let band = watch.nest.band;
        match alarm {
            Alarm::BroodHot | Alarm::BroodCold => {
                self.brood_mean(alarm == Alarm::BroodHot, watch).into_iter().collect()
            }
            Alarm::ForecastHot | Alarm::ForecastCold => self.foresight.evidence(alarm, now),
            Alarm::BroodLimit => brood_limit(watch, band).into_iter().collect(),
            Alarm::ProbeHot => {
                let limit_c = band.map_or(GUARD_C, |b| b.hot_c);
                let hot = watch.guard().1.and_then(|p| watch.ears.get(p)).and_then(|e| e.temperature);
                hot.map(|(probe_c, _)| Warmth::ProbeHot { probe_c, limit_c }).into_iter().collect()
            }
            Alarm::HeaterStuckOn | Alarm::HeaterNoHeat => Evidence::of(heating(watch, now)),
            Alarm::ProbeSilent => {
                let ear = probe.and_then(|p| watch.ears.get(p));
                ear.map(|ear| silence(ear, now, settings)).into_iter().collect()
            }
            Alarm::ProbeImplausible => {
                let fault = probe.and_then(|p| watch.fault(p));
                Evidence::of(fault.map_or(Eyes::ProbeFits, |(fault, _)| Eyes::ProbeDoubted(fault)))
            }
            _ => self.slow.evidence(alarm, watch, season(watch, now, settings), now),
        }
    }

    fn brood_mean(&self, hot: bool, watch: &Watch) -> Option<Warmth> {
        let band = watch.nest.band?;
        let bound_c = if hot { band.high_c } else { band.low_c };
        let off_k = 2.0 * watch.brood().map_or(0.5, |b| b.1);
        Some(Warmth::BroodMean { hot, mean_c: self.mean_c?, off_k, bound_c })
    }
}

/// A nest at rest is cold on purpose; that it leaves its season's band is one alarm, rest-warm.
fn rests(findings: &mut [Finding]) {
    let of_brood = [Alarm::BroodCold, Alarm::BroodHot, Alarm::ForecastCold, Alarm::ForecastHot];
    for f in findings.iter_mut().filter(|f| of_brood.contains(&f.alarm)) {
        f.verdict = Verdict::Well;
    }
}

fn beyond(by: f64, deadband_k: f64) -> Verdict {
    if by > 0.0 {
        Verdict::Ill
    } else if by > -deadband_k {
        Verdict::Between
    } else {
        Verdict::Well
    }
}

fn heater(
    watch: &Watch,
    season: Option<&Season>,
    band: Option<Band>,
    settings: &AlarmSettings,
    out: &mut Vec<Finding>,
) {
    let learning = !watch.is_learned(settings.learning);
    let limit_c = band.map_or(GUARD_C, |b| b.limit_c);
    let past_limit = watch.brood().is_some_and(|b| b.2 > limit_c);
    let (stuck, missing) = match watch.heating() {
        Heating::Plausible => (Verdict::Well, Verdict::Well),
        // A first warm-up alone is no evidence of a stuck heater.
        Heating::NeverLetsGo(_) if learning && !past_limit => (Verdict::Unknown, Verdict::Well),
        Heating::Untold(..) | Heating::NeverLetsGo(_) => (Verdict::Ill, Verdict::Well),
        Heating::Missing(..) | Heating::NeverComesOn(_) => (Verdict::Well, Verdict::Ill),
    };
    // A pad the keeper switched off for the season gives no heat on purpose.
    let missing = if season.is_some_and(|s| s.pad_off) { Verdict::Well } else { missing };
    for (alarm, verdict) in [(Alarm::HeaterStuckOn, stuck), (Alarm::HeaterNoHeat, missing)] {
        out.push(Finding { alarm, probe: None, verdict, on_delay: settings.on_delay(alarm) });
    }
}

fn probes(now: Timestamp, watch: &Watch, s: &AlarmSettings, out: &mut Vec<Finding>) {
    let Some(first) = watch.first else { return };
    for (p, ear) in watch.ears.iter().enumerate() {
        let patience = silence_after(ear.usual_ms, s);
        let last = ear.temperature.map_or(first, |(_, at)| at);
        let silent = if now.since(last) > patience { Verdict::Ill } else { Verdict::Well };
        out.push(Finding { alarm: Alarm::ProbeSilent, probe: Some(p), verdict: silent, on_delay: Span::ZERO });
        let odd = if watch.fault(p).is_some() { Verdict::Ill } else { Verdict::Well };
        let on_delay = s.on_delay(Alarm::ProbeImplausible);
        out.push(Finding { alarm: Alarm::ProbeImplausible, probe: Some(p), verdict: odd, on_delay });
    }
}

/// How long a probe may be quiet.
pub fn silence_after(usual_ms: f64, s: &AlarmSettings) -> Span {
    Span::from_ms((usual_ms * f64::from(s.silent_missed)) as i64).max(s.silent_at_least)
}

fn brood_limit(watch: &Watch, band: Option<Band>) -> Option<Warmth> {
    let limit_c = band.map_or(GUARD_C, |b| b.limit_c);
    match watch.guard().0.and_then(|p| watch.ears.get(p)).and_then(|e| e.temperature) {
        Some((probe_c, _)) => Some(Warmth::BroodProbeHot { probe_c, limit_c }),
        None => {
            let limit = |(_, sd_k, hottest_c, _)| Warmth::BroodLimit { hottest_c, off_k: 2.0 * sd_k, limit_c };
            watch.brood().map(limit)
        }
    }
}

fn silence(ear: &Ear, now: Timestamp, s: &AlarmSettings) -> Eyes {
    match ear.temperature {
        Some((probe_c, at)) if now.since(at) <= silence_after(ear.usual_ms, s) => Eyes::ProbeHeard { probe_c },
        last => Eyes::ProbeSilent { last: last.map(|(c, at)| (now.since(at), c)) },
    }
}

fn heating(watch: &Watch, now: Timestamp) -> Pad {
    let told = watch.told();
    // While a restart waits for its nodes the time stands still, and what they had kept is ahead of it.
    let now = watch.ears.iter().filter_map(|ear| ear.temperature.map(|(_, at)| at)).fold(now, Timestamp::max);
    match watch.heating() {
        Heating::Untold(since, nats) => Pad::HeatsUntold { told, lasts: now.since(since), nats },
        Heating::Missing(since, nats) => Pad::HeatMissing { told, lasts: now.since(since), nats },
        Heating::NeverLetsGo(Beyond { since, extreme_c: None, .. }) => Pad::OutOfHours { lasts: now.since(since) },
        Heating::NeverLetsGo(Beyond { since, now_c, extreme_c: Some(warmest_c) }) => {
            Pad::NeverLetsGo { lasts: now.since(since), now_c, warmest_c }
        }
        Heating::NeverComesOn(Beyond { since, extreme_c: None, .. }) => Pad::Stopped { lasts: now.since(since) },
        Heating::NeverComesOn(Beyond { since, now_c, extreme_c: Some(coolest_c) }) => {
            Pad::NeverComesOn { lasts: now.since(since), now_c, coolest_c }
        }
        Heating::Plausible => Pad::HeatsAsTold,
    }
}

/// The season in force, if any.
pub fn season<'a>(watch: &'a Watch, now: Timestamp, s: &AlarmSettings) -> Option<&'a Season> {
    let day = month_day(now.plus(s.season_utc_offset));
    watch.nest.seasons.iter().find(|season| {
        if season.from <= season.to {
            day >= season.from && day <= season.to
        } else {
            day >= season.from || day <= season.to
        }
    })
}

/// Month and day of the proleptic Gregorian calendar.
///
/// Days to civil date by counting 400-year cycles from 1 March 0000 (Richards, in *Explanatory Supplement to the
/// Astronomical Almanac*, 3rd ed., ch. 15; from memory).
fn month_day(at: Timestamp) -> (u8, u8) {
    let days = at.unix_ms().div_euclid(86_400_000) + 719_468;
    let of_cycle = days.rem_euclid(146_097);
    let year = (of_cycle - of_cycle / 1_460 + of_cycle / 36_524 - of_cycle / 146_096) / 365;
    let of_year = of_cycle - (365 * year + year / 4 - year / 100);
    let shifted = (5 * of_year + 2) / 153;
    let day = of_year - (153 * shifted + 2) / 5 + 1;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    (u8::try_from(month).unwrap_or(1), u8::try_from(day).unwrap_or(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Unix times of civil dates, by the definition of POSIX time.
    #[test]
    fn days_become_dates() {
        for (s, want) in [
            (0, (1, 1)),
            (951_782_400, (2, 29)),
            (1_772_323_200, (3, 1)),
            (1_798_675_200, (12, 31)),
            (4_107_456_000, (2, 28)),
            (4_107_542_400, (3, 1)),
        ] {
            assert_eq!(month_day(Timestamp::from_unix_ms(s * 1000)), want);
        }
    }

    /// Its first and its last day belong to a season, over the turn of the year as within it.
    #[test]
    fn a_season_holds_from_its_first_day_to_the_end_of_its_last() {
        const FIRST_OF_MARCH_S: i64 = 1_772_323_200;
        // Days after 1 March 2026, of a year: 1 November to 15 March, and 1 April to 30 June.
        for (from, to, held) in [((11, 1), (3, 15), [(0, 14), (245, 364)]), ((4, 1), (6, 30), [(31, 121), (31, 121)])] {
            let mut shelf = crate::core::tests::shelf_of(&["oak"]);
            shelf.nests[0].seasons =
                alloc::vec![Season { from, to, kind: SeasonKind::Rest, band: None, pad_off: false }];
            let core = crate::Core::new(shelf);
            for hour in 0..365 * 24 {
                let now = Timestamp::from_unix_ms((FIRST_OF_MARCH_S + hour * 3600) * 1000);
                let is_in = season(core.watch_of(0).unwrap(), now, &AlarmSettings::default()).is_some();
                let day = hour / 24;
                assert_eq!(is_in, held.iter().any(|(from, to)| (*from..=*to).contains(&day)), "day {day}");
            }
        }
    }

    /// What is told beside an alarm names the bound that was passed, and not the other one.
    #[test]
    fn a_mean_is_told_beside_the_bound_it_is_held_against() {
        let core = crate::Core::new(crate::core::tests::shelf_of(&["oak"]));
        let judge = Judge { mean_c: Some(32.0), ..Judge::default() };
        let bound_c = |hot| match judge.brood_mean(hot, core.watch_of(0).unwrap()) {
            Some(Warmth::BroodMean { mean_c: 32.0, bound_c, .. }) => bound_c,
            other => unreachable!("{other:?}"),
        };
        assert_eq!((bound_c(true), bound_c(false)), (31.0, 20.0));
    }
}
