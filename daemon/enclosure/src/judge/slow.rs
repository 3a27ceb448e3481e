//! Rules that take hours: no refuge from the warmth, winter rest disturbed; and the one for a nest that nobody sees.
use super::{Finding, beyond, damp};
use crate::alarm::Alarm;
use crate::evidence::{Evidence, Eyes, Warmth};
use crate::lifecycle::Verdict;
use crate::nest::{Along, Watch};
use crate::shelf::{AlarmSettings, Season, SeasonKind};
use crate::time::{Span, Timestamp};
use alloc::collections::BTreeMap;
use alloc::vec::Vec;

/// How often what takes hours is judged.
const EVERY: Span = Span::from_min(10);
/// Means are taken over about this long, s: a thermostat swings everything every 20 minutes.
const MEAN_OVER_S: f64 = 3600.0;
/// A pad works if at least this share of its heat arrives.
const WORKS_SHARE: f64 = 0.05;
/// Where a season of rest has no band, only frost is told, °C.
const FROST_C: f64 = 0.0;
/// A nest whose probes speak rarely is seen for so many of their usual times.
const USUAL_TIMES: f64 = 2.5;

/// What the slow rules remember of one nest.
#[derive(Clone, Debug, Default)]
pub(super) struct Slow {
    began: Option<Timestamp>,
    judged: Option<Timestamp>,
    heat: Mean,
    span_k: Mean,
    warmth_c: Mean,
    /// Since when each of these holds.
    held: BTreeMap<Alarm, Timestamp>,
    damp: damp::Damp,
}

/// A mean that forgets.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Mean(Option<(f64, Timestamp)>);

impl Mean {
    /// Takes in `value`; after a gap it begins anew.
    pub(super) fn hear(&mut self, at: Timestamp, value: f64) -> f64 {
        let new = match self.0 {
            Some((old, when)) if at.since(when).s() < 2.0 * MEAN_OVER_S => {
                old + (value - old) * (1.0 - libm::exp(-at.since(when).s().max(0.0) / MEAN_OVER_S))
            }
            _ => value,
        };
        self.0 = Some((new, at));
        new
    }

    pub(super) fn value(&self) -> Option<f64> {
        self.0.map(|(v, _)| v)
    }
}

impl Slow {
    /// Every slow verdict about `watch` at `now`; most come every ten minutes only.
    pub(super) const fn begin(&mut self, now: Timestamp) {
        self.began = Some(now);
    }

    pub(super) fn findings(
        &mut self,
        now: Timestamp,
        watch: &Watch,
        season: Option<&Season>,
        s: &AlarmSettings,
        out: &mut Vec<Finding>,
    ) {
        let from = out.len();
        let began = *self.began.get_or_insert(now);
        let is_heated = !watch.nest.pads.is_empty() && !season.is_some_and(|s| s.pad_off);
        if let Some(share) = watch.heat_share() {
            self.heat.hear(now, share);
        }
        if !watch.nest.pads.is_empty() {
            let seen = watch.believed.map_or(began, |b| b.max(began));
            let unseen = is_heated && now.since(seen) >= patience(watch, s);
            out.push(finding(Alarm::NestUnwatched, if unseen { Verdict::Ill } else { Verdict::Well }, Span::ZERO));
        }
        if self.judged.is_none_or(|j| now.since(j) >= EVERY) {
            self.judged = Some(now);
            let along = watch.along().filter(|a| now.since(a.at) < super::STALE);
            self.refuge(now, along.as_ref(), is_heated, s, out);
            self.rest(now, watch, along.as_ref(), season, s, out);
            self.damp.findings(now, watch, along.as_ref(), season, s, out);
        }
        for f in &out[from..] {
            match f.verdict {
                Verdict::Ill => drop(self.held.entry(f.alarm).or_insert(now)),
                Verdict::Well => drop(self.held.remove(&f.alarm)),
                Verdict::Between | Verdict::Unknown => {}
            }
        }
    }

    pub(super) fn recall(&mut self, at: Timestamp, watch: &Watch) {
        self.damp.recall(at, watch);
    }

    fn refuge(
        &mut self,
        now: Timestamp,
        along: Option<&Along>,
        is_heated: bool,
        s: &AlarmSettings,
        out: &mut Vec<Finding>,
    ) {
        let Some(heat) = self.heat.value() else { return };
        let verdict = match along {
            _ if !is_heated => Verdict::Well,
            Some(a) => {
                let ends = a.mean_c.iter().fold((f64::MAX, f64::MIN), |(l, h), c| (l.min(*c), h.max(*c)));
                let span_k = self.span_k.hear(now, ends.1 - ends.0);
                if heat < WORKS_SHARE {
                    Verdict::Well
                } else {
                    beyond(s.flat_span_k - span_k, s.deadband(Alarm::GradientFlat))
                }
            }
            None => Verdict::Unknown,
        };
        out.push(finding(Alarm::GradientFlat, verdict, s.on_delay(Alarm::GradientFlat)));
    }

    fn rest(
        &mut self,
        now: Timestamp,
        watch: &Watch,
        along: Option<&Along>,
        season: Option<&Season>,
        s: &AlarmSettings,
        out: &mut Vec<Finding>,
    ) {
        if watch.nest.seasons.iter().all(|s| s.kind != SeasonKind::Rest) {
            return;
        }
        let verdict = match (season.filter(|s| s.kind == SeasonKind::Rest), along) {
            (None, _) => Verdict::Well,
            (Some(_), None) => Verdict::Unknown,
            (Some(rest), Some(a)) => {
                let mean = a.mean_c.iter().sum::<f64>() / a.mean_c.len().max(1) as f64;
                let c = self.warmth_c.hear(now, watch.brood().map_or(mean, |b| b.0));
                let past = rest.band.map_or(FROST_C - c, |b| (c - b.high_c).max(b.low_c - c));
                beyond(past, s.deadband(Alarm::RestWarm))
            }
        };
        out.push(finding(Alarm::RestWarm, verdict, s.on_delay(Alarm::RestWarm)));
    }

    /// What was expected, what is seen, since when, how sure.
    pub(super) fn evidence(&self, alarm: Alarm, watch: &Watch, season: Option<&Season>, now: Timestamp) -> Evidence {
        let lasts = self.held.get(&alarm).map(|since| now.since(*since));
        match alarm {
            Alarm::NestUnwatched if lasts.is_none() => Evidence::of(Eyes::SeenAgain),
            Alarm::NestUnwatched => Evidence::of(Eyes::Unseen { last: watch.believed.map(|at| now.since(at)) }),
            Alarm::GradientFlat => {
                let heat = self.heat.value().unwrap_or(0.0);
                self.span_k.value().map(|apart_k| Warmth::Apart { apart_k, heat, lasts }).into_iter().collect()
            }
            Alarm::RestWarm => {
                let band_c = season.and_then(|s| s.band).map(|b| (b.low_c, b.high_c));
                self.warmth_c.value().map(|nest_c| Warmth::AtRest { nest_c, band_c, lasts }).into_iter().collect()
            }
            _ => self.damp.evidence(alarm, watch, lasts),
        }
    }
}

pub(super) fn finding(alarm: Alarm, verdict: Verdict, on_delay: Span) -> Finding {
    Finding { alarm, probe: None, verdict, on_delay }
}

/// How long a heated nest may be without a believable reading.
fn patience(watch: &Watch, s: &AlarmSettings) -> Span {
    let usual_ms = watch.ears.iter().map(|e| e.usual_ms).filter(|ms| *ms > 0.0).fold(f64::INFINITY, f64::min);
    let usual = if usual_ms.is_finite() { Span::from_ms((USUAL_TIMES * usual_ms) as i64) } else { Span::ZERO };
    usual.max(s.unwatched_after)
}
