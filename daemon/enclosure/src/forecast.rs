//! What the brood area will do: the believed body run ahead under the room's course and the drive's habit, in three
//! lanes (the room as expected, and a deviation cooler and warmer), and when that leaves the keeper's band.
//!
//! A thermostat holds its place while it has heat to give and to take away: a warmer room costs it duty until none is
//! left, and from there on the nest follows the room. So the daily cycle of a room raises nothing, and a heatwave does.
use crate::alarm::Alarm;
use crate::day_shape::bin;
use crate::drive_habit::Control;
use crate::estimate::{PADS_MAX, Seed};
use crate::evidence::{Ahead, Evidence};
use crate::lifecycle::Verdict;
use crate::models::dot;
use crate::shelf::{AlarmSettings, Band};
use crate::time::{Span, Timestamp};
use alloc::vec::Vec;

/// Time between two points of an outlook.
pub const EVERY: Span = crate::room_course::EVERY;
/// Step of the body in a prediction.
pub const STEP: Span = Span::from_min(2);
/// Points of a mean over an hour.
const HOUR: usize = 6;
/// What a prediction may be off by at once besides the belief (switching, habits), K.
const HABIT_SD_K: f64 = 0.15;
/// Probability at which leaving the band is announced, and below which that is taken back.
const ANNOUNCED: f64 = 0.75;
/// See [`ANNOUNCED`].
const TAKEN_BACK: f64 = 0.3;
/// It must lie below that for so long.
const TAKEN_BACK_AFTER: Span = Span::from_min(60);
/// An outlook older than this says nothing.
const STALE: Span = Span::from_min(30);
/// A departure likelier than this is shown.
const SHOWN: f64 = 0.5;
/// Deviations of the first and last moment that is told: 80 % lies between.
const BETWEEN_SIGMA: f64 = 1.28;

/// The hours ahead.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// From when it looks ahead; its points follow every [`EVERY`].
    pub at: Timestamp,
    /// Mean of the brood area over the hour before each point, °C.
    pub brood_c: Vec<f64>,
    /// Standard deviation of that towards cold, and towards warm, K.
    pub brood_sd_k: Vec<(f64, f64)>,
    /// The room, °C, and its standard deviation, K.
    pub room_c: Vec<(f64, f64)>,
    /// When it leaves the band in force, if that is likely.
    pub leaves: Option<Departure>,
}

/// Leaving the band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// Above its upper bound, else below its lower one.
    pub hot: bool,
    /// That bound, °C.
    pub bound_c: f64,
    /// How likely within the horizon, 0 to 1.
    pub probability: f64,
    /// When, as far as can be told.
    pub about: Timestamp,
    /// Hardly sooner.
    pub from: Timestamp,
    /// Hardly later; none: perhaps not within the horizon.
    pub to: Option<Timestamp>,
    /// The farthest beyond the bound within the horizon, °C, and its standard deviation, K.
    pub extreme_c: (f64, f64),
}

/// Runs `seed` ahead from `at` for `room.len()` points. `hour_c` is the brood area's mean over the hour before.
pub fn look_ahead(
    at: Timestamp,
    seed: &Seed,
    controls: &[Control],
    on: bool,
    room: (f64, &[(f64, f64)]),
    hour_c: f64,
) -> Outlook {
    let (now_c, course) = room;
    let lane = |sigma: f64| {
        let c: Vec<f64> = course.iter().map(|(mean, sd)| mean + sigma * sd).collect();
        over_an_hour(hour_c, &run(at, seed, controls, on, now_c, &c))
    };
    let (cool, mid, warm) = (lane(-1.0), lane(0.0), lane(1.0));
    let own = seed.brood_sd_k * seed.brood_sd_k + HABIT_SD_K * HABIT_SD_K;
    let sd = |a: f64, b: f64| libm::sqrt((b - a).max(0.0) * (b - a).max(0.0) + own);
    let brood_sd_k = (0..mid.len()).map(|i| (sd(cool[i], mid[i]), sd(mid[i], warm[i]))).collect();
    Outlook { at, brood_c: mid, brood_sd_k, room_c: course.to_vec(), leaves: None }
}

/// Mean of the brood area over every interval between two points.
fn run(at: Timestamp, seed: &Seed, controls: &[Control], mut on: bool, now_c: f64, course: &[f64]) -> Vec<f64> {
    let steps = (EVERY.ms() / STEP.ms()) as usize;
    let mut heat = seed.heat.clone();
    let mut amplitudes = alloc::vec![0.0; seed.body.modes.len()];
    seed.body.gallery(&heat, &mut amplitudes);
    let mut over_pad_c = now_c + seed.over_pad.now_k(&amplitudes);
    let (mut by_pad, mut by_brood) = (seed.over_pad.beside_k(STEP.s()), seed.brood.beside_k(STEP.s()));
    let (mut room_c, mut passed_s) = (now_c, 0.0);
    let mut out = Vec::with_capacity(course.len());
    for to_c in course {
        let change_k = (to_c - room_c) / steps as f64;
        let mut sum = 0.0;
        for _ in 0..steps {
            let half_hour = bin(at.plus(Span::from_ms((passed_s * 1000.0) as i64)));
            let mut drive = [0.0; PADS_MAX];
            for (d, control) in drive.iter_mut().zip(controls) {
                *d = match control {
                    Control::Held(share) => *share,
                    Control::Daily(shares) => shares[half_hour],
                    Control::Thermostat(marks, full) => {
                        let (comes_on_c, lets_go_c) = marks[half_hour];
                        on = if on { over_pad_c < lets_go_c } else { over_pad_c < comes_on_c };
                        if on { *full } else { 0.0 }
                    }
                };
            }
            seed.body.advance(&mut heat, &drive[..controls.len().min(PADS_MAX)], change_k);
            seed.body.gallery(&heat, &mut amplitudes);
            room_c += change_k;
            passed_s += STEP.s();
            over_pad_c = room_c + dot(&seed.over_pad.row, &amplitudes) + by_pad.next().unwrap_or(0.0);
            sum += room_c + dot(&seed.brood.row, &amplitudes) + by_brood.next().unwrap_or(0.0);
        }
        out.push(sum / steps as f64);
    }
    out
}

/// Means over the hour before each point; what lies before the first is `hour_c`.
fn over_an_hour(hour_c: f64, course: &[f64]) -> Vec<f64> {
    let mean = |i: usize| {
        let from = (i + 1).saturating_sub(HOUR);
        let ahead = &course[from..=i];
        (ahead.iter().sum::<f64>() + (HOUR - ahead.len()) as f64 * hour_c) / HOUR as f64
    };
    (0..course.len()).map(mean).collect()
}

/// Probability that a standard normal lies below `z`.
fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z / core::f64::consts::SQRT_2)
}

impl Outlook {
    /// Whether, and when, the brood area's mean leaves the band by `bound_c` within `horizon`, for `lasting` at least.
    pub fn leaving(&self, hot: bool, bound_c: f64, horizon: Span, lasting: Span) -> Departure {
        let points = ((horizon.ms() / EVERY.ms()).max(1) as usize).min(self.brood_c.len());
        let runs = (lasting.ms() / EVERY.ms()).max(0) as usize + 1;
        // Kelvins beyond the bound, and the deviation of that side.
        let beyond = |i: usize| {
            let k = if hot { self.brood_c[i] - bound_c } else { bound_c - self.brood_c[i] };
            let (cold, warm) = self.brood_sd_k[i];
            (k, if (k > 0.0) == hot { cold } else { warm })
        };
        let moment = |i: usize| self.at.plus(Span::from_ms(EVERY.ms() * (i as i64 + 1)));
        let first = |sigma: f64| {
            (0..points).find(|i| {
                let (k, sd) = beyond(*i);
                k + sigma * sd > 0.0
            })
        };
        let sigmas = |i: usize| beyond(i).0 / beyond(i).1;
        let least = |from: usize| (from..from + runs).map(sigmas).fold(f64::INFINITY, f64::min);
        let probability = below((0..points.saturating_sub(runs - 1)).map(least).fold(f64::NEG_INFINITY, f64::max));
        let extreme = (0..points).max_by(|a, b| beyond(*a).0.total_cmp(&beyond(*b).0)).unwrap_or(0);
        let extreme_c = (
            self.brood_c.get(extreme).copied().unwrap_or(bound_c),
            self.brood_sd_k.get(extreme).map_or(1.0, |sd| 0.5 * (sd.0 + sd.1)),
        );
        let about = moment(first(0.0).unwrap_or(extreme));
        let from = first(BETWEEN_SIGMA).map_or(about, moment);
        Departure { hot, bound_c, probability, about, from, to: first(-BETWEEN_SIGMA).map(moment), extreme_c }
    }
}

/// What one side's forecast says, over time.
#[derive(Clone, Copy, Debug, Default)]
struct Side {
    likely_since: Option<Timestamp>,
    unlikely_since: Option<Timestamp>,
    stands: bool,
    departure: Option<Departure>,
}

impl Side {
    /// A forecast must hold before it stands, and be gone for an hour before it does no more. `left`: the band is left
    /// already, which others tell.
    fn judge(&mut self, now: Timestamp, departure: Departure, left: bool, sustained: Span) -> Verdict {
        let p = departure.probability;
        self.likely_since = (p >= ANNOUNCED).then(|| self.likely_since.unwrap_or(now));
        self.unlikely_since = (p < TAKEN_BACK).then(|| self.unlikely_since.unwrap_or(now));
        if !self.stands || p >= TAKEN_BACK {
            self.departure = Some(departure);
        }
        if self.stands {
            self.stands = self.unlikely_since.is_none_or(|since| now.since(since) < TAKEN_BACK_AFTER);
        } else if !left {
            self.stands = self.likely_since.is_some_and(|since| now.since(since) >= sustained);
        }
        if self.stands { Verdict::Ill } else { Verdict::Well }
    }
}

/// The forecasts of one nest.
#[derive(Clone, Debug, Default)]
pub struct Foresight {
    outlook: Option<Outlook>,
    /// What the newest outlook says of the band's upper and lower bound.
    departures: Option<(Departure, Departure)>,
    hot: Side,
    cold: Side,
}

impl Foresight {
    /// The newest outlook.
    pub fn outlook(&self) -> Option<&Outlook> {
        self.outlook.as_ref()
    }

    /// Whether a new look ahead is due.
    pub fn is_due(&self, now: Timestamp) -> bool {
        self.outlook.as_ref().is_none_or(|o| now.since(o.at) >= EVERY)
    }

    /// Takes in a new look ahead, or that none can be had, with the band in force.
    pub fn renew(&mut self, outlook: Option<Outlook>, band: Band, s: &AlarmSettings) {
        self.outlook = outlook;
        self.departures = self.outlook.as_mut().map(|o| {
            let hot = o.leaving(true, band.high_c, s.forecast_hot, s.on_delay(Alarm::BroodHot));
            let cold = o.leaving(false, band.low_c, s.forecast_cold, s.on_delay(Alarm::BroodCold));
            let likelier = if hot.probability >= cold.probability { hot } else { cold };
            o.leaves = (likelier.probability >= SHOWN).then_some(likelier);
            (hot, cold)
        });
    }

    /// Verdicts on forecast-hot and forecast-cold. `mean_c` is the brood area's mean over the last hour.
    pub fn verdicts(
        &mut self,
        now: Timestamp,
        band: Band,
        mean_c: Option<f64>,
        s: &AlarmSettings,
    ) -> [(Alarm, Verdict); 2] {
        if self.outlook.as_ref().is_some_and(|o| now.since(o.at) >= STALE) {
            (self.outlook, self.departures) = (None, None);
        }
        let (Some((hot, cold)), Some(mean_c)) = (self.departures, mean_c) else {
            return [(Alarm::ForecastHot, Verdict::Unknown), (Alarm::ForecastCold, Verdict::Unknown)];
        };
        [
            (Alarm::ForecastHot, self.hot.judge(now, hot, mean_c > band.high_c, s.on_delay(Alarm::ForecastHot))),
            (Alarm::ForecastCold, self.cold.judge(now, cold, mean_c < band.low_c, s.on_delay(Alarm::ForecastCold))),
        ]
    }

    /// When, how far, how sure, and what the room does meanwhile.
    pub fn evidence(&self, alarm: Alarm, now: Timestamp) -> Evidence {
        let side = if alarm == Alarm::ForecastHot { &self.hot } else { &self.cold };
        let Some(d) = side.departure else { return Evidence::default() };
        let bound_c = d.bound_c;
        if side.likely_since.is_none() && !side.stands {
            return Evidence::of(Ahead::Staying { bound_c });
        }
        let about = d.about.since(now);
        let (extreme_c, sd_k) = d.extreme_c;
        let mut out = Evidence::of(Ahead::Leaving {
            hot: alarm == Alarm::ForecastHot,
            bound_c,
            about,
            from: d.from.since(now),
            to: d.to.map(|to| to.since(now)),
            extreme_c,
            off_k: BETWEEN_SIGMA * sd_k,
            probability: d.probability,
        });
        let then = (about.ms() / EVERY.ms()).max(0) as usize;
        if let Some((room_c, sd_k)) = self.outlook.as_ref().and_then(|o| o.room_c.get(then)) {
            out.push(Ahead::RoomByThen { room_c: *room_c, off_k: BETWEEN_SIGMA * sd_k });
        }
        out
    }
}

#[cfg(test)]
mod tests;
