//! Humidity at the brood place, dew, and water that runs out.
use super::slow::{Mean, finding};
use super::water::{Course, Water};
use super::{Finding, beyond};
use crate::alarm::Alarm;
use crate::evidence::{Evidence, Moisture, Place};
use crate::lifecycle::Verdict;
use crate::nest::{Along, Watch};
use crate::psychro::dew_point_c;
use crate::shelf::{AlarmSettings, NestKind, Season, SeasonKind};
use crate::time::{Span, Timestamp};
use crate::vapour::Between;
use alloc::vec::Vec;

/// A humidity less certain than this judges nothing, %RH.
const VAGUE_PCT: f64 = 12.0;

/// A room of which nothing is known yet, °C.
const USUAL_ROOM_C: f64 = 20.0;
/// Dew is told from here on, %RH at the surface: a probe that is wet says 100 at the most and often a little less.
const DEW_PCT: f64 = 98.0;
/// A share of the usual water beyond this tells no more than this.
const SHARE_TOLD: f64 = 9.99;
/// What is left of the water for longer is not told, h.
const LEFT_TOLD_H: f64 = 500.0;

/// What is remembered of one nest's damp.
#[derive(Clone, Debug, Default)]
pub(super) struct Damp {
    course: Course,
    /// Humidity that is judged against the lower and against the upper bound, %RH.
    low: Mean,
    high: Mean,
    /// Humidity at the surface that is nearest to dew, %RH, capped above what can be.
    surface: Mean,
    /// That surface: place, mm, its warmth and the dew point there, °C.
    dew: Option<(f64, f64, f64)>,
}

impl Damp {
    /// The course alone: without an estimate the coolest probe stands for a room that tells nothing.
    pub(super) fn recall(&mut self, at: Timestamp, watch: &Watch) {
        self.course.hear(at, &watch.vapour, watch.vapour.coolest_c().unwrap_or(USUAL_ROOM_C), |_| true);
    }

    pub(super) fn findings(
        &mut self,
        now: Timestamp,
        watch: &Watch,
        along: Option<&Along>,
        season: Option<&Season>,
        s: &AlarmSettings,
        out: &mut Vec<Finding>,
    ) {
        let room_c = along.map_or(USUAL_ROOM_C, |a| a.room_c);
        self.course.hear(now, &watch.vapour, room_c, |p| watch.fault(p).is_none());
        // Nobody lives there, or it rests without being watered: only dew is told.
        let is_lived_in = !season.is_some_and(|s| s.kind == SeasonKind::Empty);
        let vapour = watch.vapour(now);
        let seen = along.zip(vapour.as_ref());
        if let Some((low, high)) = watch.nest.humidity_pct {
            let (dry, wet) = match seen.filter(|_| is_lived_in) {
                Some((a, v)) => self.band(now, watch, (a, v), (low, high), s),
                None if is_lived_in => (Verdict::Unknown, Verdict::Unknown),
                None => (Verdict::Well, Verdict::Well),
            };
            out.push(finding(Alarm::HumidityLow, dry, s.on_delay(Alarm::HumidityLow)));
            out.push(finding(Alarm::HumidityHigh, wet, s.on_delay(Alarm::HumidityHigh)));
        }
        if vapour.is_some() {
            let verdict = seen.map_or(Verdict::Unknown, |seen| self.condensation(now, watch, seen, s));
            out.push(finding(Alarm::Condensation, verdict, s.on_delay(Alarm::Condensation)));
        }
        if watch.nest.kind == NestKind::Nest || watch.nest.kind == NestKind::Tube {
            let verdict = match self.course.seen().map(Water::runs_out) {
                _ if !is_lived_in => Verdict::Well,
                None => return,
                Some(Some(true)) => Verdict::Ill,
                Some(Some(false)) => Verdict::Well,
                Some(None) => Verdict::Between,
            };
            out.push(finding(Alarm::WaterLow, verdict, s.on_delay(Alarm::WaterLow)));
        }
    }

    /// At the brood place; without one, the dampest probe against the lower bound and the driest against the upper:
    /// then no place is within.
    fn band(
        &mut self,
        now: Timestamp,
        watch: &Watch,
        (along, vapour): (&Along, &Between),
        (low, high): (f64, f64),
        s: &AlarmSettings,
    ) -> (Verdict, Verdict) {
        let at = |x: f64| {
            let i = along.at_mm.partition_point(|m| *m < x).min(along.at_mm.len().saturating_sub(1));
            vapour.rh_pct(x, along.mean_c[i], along.sd_k[i])
        };
        let places: Vec<(f64, f64)> = match watch.nest.brood {
            Some(b) => alloc::vec![at(0.5 * (b.from_mm + b.to_mm))],
            None => watch.ears.iter().map(|e| at(e.at_mm)).collect(),
        };
        let known = places.iter().filter(|(_, sd)| *sd < VAGUE_PCT).map(|(rh, _)| *rh);
        let Some((driest, dampest)) =
            known.fold(None, |m: Option<(f64, f64)>, rh| Some(m.map_or((rh, rh), |(l, h)| (l.min(rh), h.max(rh)))))
        else {
            return (Verdict::Unknown, Verdict::Unknown);
        };
        let (for_low, for_high) = (self.low.hear(now, dampest), self.high.hear(now, driest));
        let (dry, wet) = (s.deadband(Alarm::HumidityLow), s.deadband(Alarm::HumidityHigh));
        (beyond(low - for_low, dry), beyond(for_high - high, wet))
    }

    fn condensation(
        &mut self,
        now: Timestamp,
        watch: &Watch,
        (along, vapour): (&Along, &Between),
        s: &AlarmSettings,
    ) -> Verdict {
        let surfaces = along.at_mm.iter().zip(along.mean_c.iter().zip(&along.sd_k)).filter_map(|(x, (c, sd_k))| {
            let wall_c = watch.coldest_wall_c(*c, along.room_c);
            let (e, sd_pa) = vapour.vapour_pa(*x);
            let saturation = crate::psychro::saturation_pa(wall_c);
            let (_, vague) = vapour.rh_pct(*x, wall_c, *sd_k);
            (vague < VAGUE_PCT && sd_pa.is_finite()).then(|| (100.0 * e / saturation, *x, wall_c, e))
        });
        let Some((rh, x, wall_c, e)) = surfaces.max_by(|a, b| a.0.total_cmp(&b.0)) else { return Verdict::Unknown };
        self.dew = dew_point_c(e).map(|dew| (x, wall_c, dew));
        // Past saturation vapour becomes water: more than a little over tells nothing, and must not linger in the mean.
        let rh = self.surface.hear(now, rh.min(105.0));
        beyond(rh - DEW_PCT, s.deadband(Alarm::Condensation))
    }

    /// What was expected, what is seen, since when, how sure.
    pub(super) fn evidence(&self, alarm: Alarm, watch: &Watch, lasts: Option<Span>) -> Evidence {
        let humidity = |rh: &Mean, probe: Place| {
            let place = if watch.nest.brood.is_some() { Place::Brood } else { probe };
            let wanted_pct = watch.nest.humidity_pct?;
            Some(Moisture::Humidity { place, rh_pct: rh.value()?, wanted_pct, lasts })
        };
        match alarm {
            Alarm::HumidityLow => humidity(&self.low, Place::DampestProbe).into_iter().collect(),
            Alarm::HumidityHigh => humidity(&self.high, Place::DriestProbe).into_iter().collect(),
            Alarm::Condensation => {
                // Where a thin sheet covers the galleries, it is colder than they.
                let sheet = watch.coldest_wall_c(30.0, 20.0) < 30.0;
                let dew = |(at_mm, surface_c, dew_c)| Moisture::Dew { dew_c, surface_c, at_mm, sheet, lasts };
                self.dew.map(dew).into_iter().collect()
            }
            Alarm::WaterLow => self.water(lasts),
            _ => Evidence::default(),
        }
    }

    fn water(&self, lasts: Option<Span>) -> Evidence {
        let Some(w) = self.course.seen() else { return Evidence::of(Moisture::WaterUntold) };
        let share = w.share_of_usual().min(SHARE_TOLD);
        let Some(lasts) = lasts else { return Evidence::of(Moisture::Water { share }) };
        let (tell, fallen) = w.probes;
        let mut out = Evidence::of(Moisture::WaterLow { share, strays_to: libm::exp(w.limit), lasts, fallen, tell });
        if let Some(hours) = w.hours_left().filter(|h| *h < LEFT_TOLD_H) {
            out.push(Moisture::WaterLeft { hours });
        }
        if !w.room_known {
            out.push(Moisture::RoomHumidityAssumed);
        }
        out
    }
}
