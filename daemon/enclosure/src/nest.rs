//! The watch over one nest: readings in, estimate on, probes weighed, the pad's behaviour judged.
use crate::body::Axis;
use crate::core::{NestNow, ProbeNow, Profile};
use crate::drive::Drive;
use crate::estimate::{Estimator, Hearing, PADS_MAX, STEP};
use crate::habits::{Beyond, Habits};
use crate::prior::prior;
use crate::psychro;
use crate::reading::{Measured, Rejection, SourceId};
use crate::rival::Mode;
use crate::room::Room;
use crate::shelf::{Nest, Stretch};
use crate::time::{Span, Timestamp};
use crate::trust::{Apart, Fault, Glance, Trust};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// Readings that wait for the drive's report at most; beyond that the oldest are weighed without it.
const PENDING_MAX: usize = 512;
/// A gap longer than this leaves the nest's warmth unknown.
const GAP: Span = Span::from_min(10);
/// A gap longer than this is not run through.
const GAP_TOO_LONG: Span = Span::from_min(40);
/// Evidence at which a pad that reports is held for faulty, nats.
const FAULT_NATS: f64 = 16.0;
/// Evidence at which it is believed again, nats.
const RETURN_NATS: f64 = 5.0;
/// Evidence at which what a pad does is in dispute, nats: nobody blames a probe meanwhile.
const DISPUTED_NATS: f64 = 3.0;
/// What a fault must have over a mere jolt of the nest, nats.
const OUTLASTS_NATS: f64 = 5.0;
/// Evidence at which a pad that does not report is held to have switched, nats.
const SWITCH_NATS: f64 = 4.0;
/// Past its habits by this much a pad is held for faulty, K.
const HABIT_MARGIN_K: f64 = 1.0;
/// Readings of the raw guard, and how far they must be apart.
const GUARD_READINGS: u32 = 3;
/// See [`GUARD_READINGS`].
const GUARD_APART: Span = Span::from_s(20);
/// A probe this near the brood area speaks for it, mm.
const BESIDE_MM: f64 = 15.0;

/// One probe's part of the watch.
#[derive(Clone, Debug)]
pub struct Ear {
    /// Its source.
    pub source: SourceId,
    /// Its place, mm.
    pub at_mm: f64,
    /// Whether it lies in or beside the brood area.
    pub by_brood: bool,
    /// Last temperature and when.
    pub temperature: Option<(f64, Timestamp)>,
    /// Last humidity and when.
    pub humidity: Option<(f64, Timestamp)>,
    /// Usual time between readings, ms; 0 before two were heard.
    pub usual_ms: f64,
    /// Its record.
    pub trust: Trust,
    /// Why the last reading was not believed.
    pub rejected: Option<Rejection>,
    limit_run: Run,
    hot_run: Run,
}

/// Readings in a row above a threshold.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    count: u32,
    began: Option<Timestamp>,
    /// Readings in a row well below.
    below: u32,
    tripped: bool,
}

impl Run {
    /// Three readings in a row above `limit`, 20 s or more from first to last, trip it; three below `clear` reset it.
    fn hear(&mut self, at: Timestamp, value: f64, limit: f64, clear: f64) {
        if value > limit {
            let began = *self.began.get_or_insert(at);
            self.count += 1;
            self.below = 0;
            self.tripped |= self.count >= GUARD_READINGS && at.since(began) >= GUARD_APART;
            return;
        }
        self.count = 0;
        self.began = None;
        if value < clear {
            self.below += 1;
            self.tripped &= self.below < GUARD_READINGS;
        }
    }
}

/// What the pad is held to do against what it should.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heating {
    /// Nothing odd.
    Plausible,
    /// Heat that was not told, since then, with that evidence in nats.
    Untold(Timestamp, f64),
    /// No heat though told, since then, with that evidence.
    Missing(Timestamp, f64),
    /// Told or untold, on past every habit.
    NeverLetsGo(Beyond),
    /// Off past every habit.
    NeverComesOn(Beyond),
}

/// A rejection found while weighing: whose, of when, why.
pub type Rejected = (SourceId, Timestamp, Rejection);

/// The watch over one nest.
#[derive(Clone, Debug)]
pub struct Watch {
    /// Its description.
    pub nest: Nest,
    /// Its probes.
    pub ears: Vec<Ear>,
    /// First reading of the present learning period.
    pub first: Option<Timestamp>,
    /// Newest reading of any probe of the nest.
    pub newest: Option<Timestamp>,
    /// Newest believed temperature.
    pub believed: Option<Timestamp>,
    drives: Vec<(Option<SourceId>, Drive)>,
    room_source: Option<SourceId>,
    room: Room,
    estimator: Option<Estimator>,
    pending: VecDeque<(Timestamp, usize, f64)>,
    habits: Habits,
    /// End of a stretch without readings that is being run through.
    blind_until: Option<Timestamp>,
    heating: Heating,
    fits: bool,
}

impl Watch {
    /// A watch that has heard nothing; `id` finds a source's id.
    pub fn new(nest: &Nest, id: impl Fn(&str) -> Option<SourceId>) -> Self {
        let ears = nest.probes.iter().filter_map(|p| {
            Some(Ear {
                source: id(&p.source)?,
                at_mm: p.at_mm,
                by_brood: nest.brood.is_some_and(|b| b.holds(p.at_mm, BESIDE_MM)),
                temperature: None,
                humidity: None,
                usual_ms: 0.0,
                trust: Trust::default(),
                rejected: None,
                limit_run: Run::default(),
                hot_run: Run::default(),
            })
        });
        let drives = nest.pads.iter().take(PADS_MAX).map(|p| (p.drive.as_deref().and_then(&id), Drive::default()));
        Self {
            ears: ears.collect(),
            first: None,
            newest: None,
            believed: None,
            drives: drives.collect(),
            room_source: nest.room.as_deref().and_then(&id),
            room: Room::default(),
            estimator: None,
            pending: VecDeque::new(),
            habits: Habits::default(),
            blind_until: None,
            heating: Heating::Plausible,
            fits: true,
            nest: nest.clone(),
        }
    }

    /// Leaves the physics at its prior.
    pub fn without_fits(&mut self) {
        self.fits = false;
    }

    /// Whether this nest lists the source.
    pub fn lists(&self, source: SourceId) -> bool {
        self.room_source == Some(source)
            || self.ears.iter().any(|e| e.source == source)
            || self.drives.iter().any(|(s, _)| *s == Some(source))
    }

    /// Takes in what a listed source said; rejections may concern earlier readings that waited.
    pub fn hear(&mut self, source: SourceId, at: Timestamp, measured: Measured, out: &mut Vec<Rejected>) {
        for ((s, drive), pad) in self.drives.iter_mut().zip(&self.nest.pads) {
            if *s == Some(source) {
                drive.report(at, measured, pad.rated_w);
            }
        }
        if let (true, Measured::Temperature(c)) = (self.room_source == Some(source), measured) {
            self.room.measure(at, c);
        }
        if let Some(p) = self.ears.iter().position(|e| e.source == source) {
            match measured {
                Measured::Humidity(rh) => self.ears[p].humidity = Some((rh, at)),
                Measured::Temperature(c) => self.hear_probe(p, at, c, out),
                Measured::Duty(_) | Measured::On(_) | Measured::Power(_) => {}
            }
        }
        self.advance(out);
    }

    fn hear_probe(&mut self, p: usize, at: Timestamp, value_c: f64, out: &mut Vec<Rejected>) {
        let band = self.nest.band;
        let ear = &mut self.ears[p];
        if let Some((_, last)) = ear.temperature {
            if at <= last {
                let why = if at == last { Rejection::Duplicate } else { Rejection::Late };
                out.push((ear.source, at, why));
                return;
            }
            let gap_ms = at.since(last).ms().min(1_200_000) as f64;
            ear.usual_ms = if ear.usual_ms > 0.0 { ear.usual_ms + 0.1 * (gap_ms - ear.usual_ms) } else { gap_ms };
        }
        ear.temperature = Some((value_c, at));
        if let Some(b) = band {
            ear.limit_run.hear(at, value_c, b.limit_c, b.limit_c - 0.5);
            ear.hot_run.hear(at, value_c, b.hot_c, b.hot_c - 0.5);
        } else {
            // Without a band the guard alone watches, at 40 °C.
            ear.limit_run.hear(at, value_c, 40.0, 39.5);
        }
        self.newest = Some(self.newest.map_or(at, |n| n.max(at)));
        if self.first.is_none() {
            self.first = Some(at);
        }
        if self.pending.len() == PENDING_MAX {
            self.pending.pop_front();
        }
        let place = self.pending.iter().rposition(|(t, ..)| *t <= at).map_or(0, |i| i + 1);
        self.pending.insert(place, (at, p, value_c));
    }

    /// Up to when everything that is needed was heard.
    fn horizon(&self) -> Option<Timestamp> {
        let newest = self.newest?;
        let known = self.drives.iter().filter_map(|(_, d)| d.known_until(newest)).min();
        Some(known.map_or(newest, |k| k.min(newest)))
    }

    fn advance(&mut self, out: &mut Vec<Rejected>) {
        let Some(horizon) = self.horizon() else { return };
        if self.estimator.is_none() && !self.begin() {
            return;
        }
        let Some(mut est) = self.estimator.take() else { return };
        if let Some((first, ..)) = self.pending.front() {
            let gap = first.since(est.at());
            if gap > GAP_TOO_LONG {
                est.skip_to(first.minus(STEP), self.room.value_c().unwrap_or(est.room_c()));
                self.habits.interrupt();
            } else if gap > GAP {
                est.widen(1.0);
                self.blind_until = Some(*first);
                self.habits.interrupt();
            }
        }
        while est.at().plus(STEP) <= horizon {
            self.step(&mut est, out);
        }
        self.estimator = Some(est);
    }

    fn begin(&mut self) -> bool {
        let Some((at, _, _)) = self.pending.front().copied() else { return false };
        // The coolest first word stands for the room until its probe speaks.
        let coolest = self.pending.iter().map(|(_, _, v)| *v).fold(f64::INFINITY, f64::min);
        let room_c = self.room.value_c().unwrap_or(coolest);
        self.room.infer(at, room_c);
        let pads: Vec<Stretch> = self.nest.pads.iter().take(PADS_MAX).map(|p| p.span).collect();
        let axis = Axis { length_mm: self.nest.length_mm, pads };
        let mut nest = self.nest.clone();
        nest.pads.truncate(PADS_MAX);
        let brood = self.nest.brood.unwrap_or(Stretch { from_mm: 0.0, to_mm: self.nest.length_mm });
        let places = self.ears.iter().map(|e| e.at_mm).collect();
        let mut est = Estimator::new(axis, &prior(&nest), places, brood, (at, room_c));
        for (i, (source, _)) in self.drives.iter().enumerate() {
            if source.is_none() {
                est.set_mode(i, Mode::Off);
            }
        }
        if !self.drives.is_empty() && self.drives.iter().all(|(source, _)| source.is_none()) {
            est.infer_drive();
        }
        self.estimator = Some(est);
        true
    }

    fn step(&mut self, est: &mut Estimator, out: &mut Vec<Rejected>) {
        let from = est.at();
        let to = from.plus(STEP);
        let mut told = [0.0; PADS_MAX];
        for (t, (_, drive)) in told.iter_mut().zip(&self.drives) {
            *t = drive.mean(from, to);
        }
        let pads = self.drives.len();
        let room_c = self.room.value_c().unwrap_or_else(|| est.room_c());
        est.advance(&told[..pads], room_c);
        while let Some((at, p, value_c)) = self.pending.front().copied() {
            if at > to {
                break;
            }
            self.pending.pop_front();
            self.weigh(est, p, at, value_c, out);
        }
        if pads > 0 {
            self.watch_pads(est, to, told[0]);
        }
        if self.fits {
            est.settle();
        }
    }

    fn weigh(&mut self, est: &mut Estimator, p: usize, at: Timestamp, value_c: f64, out: &mut Vec<Rejected>) {
        let deaf = self.ears[p].trust.is_deaf();
        let trusted = self.ears[p].trust.fault().is_none();
        let hearing = if deaf {
            Hearing::Nobody
        } else if trusted {
            Hearing::All
        } else {
            Hearing::Rivals
        };
        let w = est.absorb(p, at, value_c, hearing);
        let glance =
            Glance { at, value_c, expected_c: w.expected_c, sd_k: w.sd_k, within: w.within, room_c: est.room_c() };
        let apart = self.ears[p].trust.glance(glance);
        let disputed = est.rivals().iter().any(|r| r.evidence > DISPUTED_NATS);
        if apart == Apart::Long && trusted && !(disputed && w.explained) {
            if self.others_agree(est, p, at) {
                let fault = self.ears[p].trust.apart_fault();
                self.ears[p].trust.accuse(fault, at);
            } else {
                est.widen(w.surprise_k.abs());
                self.ears[p].trust.forgive();
            }
        }
        let why = if !trusted {
            Some(Rejection::Distrusted)
        } else if !w.explained {
            Some(Rejection::Wild)
        } else {
            None
        };
        self.ears[p].rejected = why;
        if let Some(why) = why {
            out.push((self.ears[p].source, at, why));
            return;
        }
        self.believed = Some(at);
        // The coolest place tells the room, less what the pads bring there.
        let coolest = (0..self.ears.len()).min_by(|a, b| est.excess_at_probe(*a).total_cmp(&est.excess_at_probe(*b)));
        if coolest == Some(p) {
            self.room.infer(at, value_c - est.excess_at_probe(p));
        }
    }

    /// Whether another probe that feels what this one should speaks and agrees with the estimate.
    fn others_agree(&self, est: &Estimator, p: usize, at: Timestamp) -> bool {
        let feels = est.excess_at_probe(p).abs();
        self.ears.iter().enumerate().any(|(i, e)| {
            i != p
                && e.trust.fault().is_none()
                && e.trust.apart_since().is_none()
                && e.temperature.is_some_and(|(_, t)| at.since(t) < GAP)
                && est.excess_at_probe(i).abs() > 0.3 * feels
        })
    }

    fn watch_pads(&mut self, est: &mut Estimator, at: Timestamp, told: f64) {
        est.weigh_jolts();
        let settled = est.rivals().iter().enumerate().find(|(_, r)| {
            let reports = self.drives.get(r.pad).is_some_and(|(_, d)| d.reports());
            let needed = match (reports, est.modes()[r.pad]) {
                (false, _) => SWITCH_NATS,
                (true, Mode::Follow) => FAULT_NATS + 1.5 * r.usual_peak,
                (true, Mode::On | Mode::Off) => RETURN_NATS,
            };
            let outlasts = !reports
                || est.modes()[r.pad] != Mode::Follow
                || r.jolt.as_ref().is_some_and(|j| j.against > OUTLASTS_NATS);
            r.evidence > needed && outlasts
        });
        let reports = self.drives.first().is_some_and(|(_, d)| d.reports());
        if let Some((i, r)) = settled {
            let since = at.minus(Span::from_ms(STEP.ms() * r.steps as i64));
            let (mode, evidence) = (r.mode, r.evidence);
            est.accept(i);
            if reports {
                self.heating = match mode {
                    Mode::Follow => Heating::Plausible,
                    Mode::On => Heating::Untold(since, evidence),
                    Mode::Off => Heating::Missing(since, evidence),
                };
            }
        }
        let on = if reports { told > 0.5 } else { est.modes().first() == Some(&Mode::On) };
        // What a pad did while nobody looked is no habit.
        if self.blind_until.is_some_and(|b| at < b) {
            return;
        }
        let over_pad_c = est.over_pad_c();
        self.habits.note(at, on, over_pad_c);
        self.watch_habits(at, over_pad_c);
    }

    fn watch_habits(&mut self, at: Timestamp, over_pad_c: f64) {
        let on = self.habits.stays_on(at, over_pad_c, HABIT_MARGIN_K);
        let off = self.habits.stays_off(at, over_pad_c, HABIT_MARGIN_K);
        self.heating = match self.heating {
            Heating::Untold(..) | Heating::Missing(..) => self.heating,
            Heating::Plausible | Heating::NeverLetsGo(_) | Heating::NeverComesOn(_) => match (on, off) {
                (Some(b), _) => Heating::NeverLetsGo(b),
                (None, Some(b)) => Heating::NeverComesOn(b),
                (None, None) => Heating::Plausible,
            },
        };
    }

    /// What the pad is held to do.
    pub fn heating(&self) -> Heating {
        self.heating
    }

    /// Whether the raw guard has tripped: (brood limit, hot probe), each with its probe.
    pub fn guard(&self) -> (Option<usize>, Option<usize>) {
        let limit = self.ears.iter().position(|e| e.limit_run.tripped && (e.by_brood || self.nest.band.is_none()));
        (limit, self.ears.iter().position(|e| e.hot_run.tripped))
    }

    /// Why a probe is held for faulty.
    pub fn fault(&self, p: usize) -> Option<(Fault, Timestamp)> {
        self.ears.get(p).and_then(|e| e.trust.fault())
    }

    /// Brood area at the estimate's own moment: mean, its standard deviation, hottest point, and that moment.
    pub fn brood(&self) -> Option<(f64, f64, f64, Timestamp)> {
        self.nest.brood?;
        let est = self.estimator.as_ref()?;
        let (mean, sd, hottest) = est.brood();
        Some((mean, sd, hottest, est.at()))
    }

    /// The pad's last report.
    pub fn told(&self) -> Option<f64> {
        self.drives.iter().find_map(|(_, d)| d.last_duty())
    }

    /// A copy of the estimate run on to `at` with what waits, the drive held.
    fn ahead(&self, at: Timestamp) -> Option<Estimator> {
        let mut copy = Self { estimator: None, ..self.clone() };
        let mut est = self.estimator.clone()?;
        let most = est.at().plus(GAP_TOO_LONG);
        let mut dropped = Vec::new();
        while est.at().plus(STEP) <= at.min(most) {
            copy.step(&mut est, &mut dropped);
        }
        Some(est)
    }

    /// Everything a page shows, as believed at `at`.
    pub fn now(&self, at: Timestamp, learning: Span) -> NestNow {
        let probes = self.ears.iter().map(|e| ProbeNow {
            source: e.source,
            temperature: e.temperature,
            humidity: e.humidity,
            rejected: e.rejected,
        });
        let mut now = NestNow {
            heard: self.believed.or(self.newest),
            profile: Profile::default(),
            brood_c: None,
            room_c: None,
            rh_pct: Vec::new(),
            learning_until: self.first.map(|f| f.plus(learning)),
            probes: probes.collect(),
            told_duty: self.told(),
        };
        let Some(est) = self.ahead(at) else { return now };
        let (at_mm, mean_c, sd_c) = est.profile();
        now.rh_pct = self.humidity(&at_mm, &mean_c, at);
        let pad_w = est.arriving().zip(&self.nest.pads).map(|(s, p)| s * p.rated_w).sum::<f64>();
        now.profile = Profile { at_mm, mean_c, sd_c, pad_w, pad_w_sd: 0.15 * pad_w + 0.05 };
        now.brood_c = self.nest.brood.map(|_| est.brood());
        now.room_c = Some((est.room_c(), if self.room.is_measured(at) { 0.2 } else { 0.6 }));
        now
    }

    /// Relative humidity along the axis: vapour pressure between probes by place, saturation from the estimate.
    fn humidity(&self, at_mm: &[f64], mean_c: &[f64], at: Timestamp) -> Vec<Option<f64>> {
        let mut known: Vec<(f64, f64)> = self
            .ears
            .iter()
            .filter_map(|e| {
                let (rh, when) = e.humidity?;
                let (c, _) = e.temperature?;
                (at.since(when) < Span::from_min(30)).then(|| (e.at_mm, psychro::vapour_pa(c, rh)))
            })
            .collect();
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        let vapour = |x: f64| -> Option<f64> {
            let after = known.iter().position(|(m, _)| *m >= x);
            match after {
                None => known.last().map(|k| k.1),
                Some(0) => known.first().map(|k| k.1),
                Some(i) => {
                    let ((x0, e0), (x1, e1)) = (known[i - 1], known[i]);
                    Some(e0 + (e1 - e0) * (x - x0) / (x1 - x0).max(1e-6))
                }
            }
        };
        let rh = |(x, c): (&f64, &f64)| vapour(*x).map(|e| (100.0 * e / psychro::saturation_pa(*c)).clamp(0.0, 100.0));
        at_mm.iter().zip(mean_c).map(rh).collect()
    }
}
