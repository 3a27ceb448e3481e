//! The watch over one nest: readings in, estimate on, probes weighed, the pad's behaviour judged.
mod ear;
mod fitting;
mod forecast;
mod held;
mod hindsight;
mod humidity;
mod pads;
mod show;
mod weighing;

pub use ear::Ear;
pub(crate) use ear::GUARD_C;
pub(crate) use fitting::estimator_of;
pub use held::{Held, HeldBy};
pub use hindsight::Found;
pub use humidity::Along;
pub use pads::Heating;

use crate::draught::Draught;
use crate::drive::Drive;
use crate::drive_habit::DriveHabit;
use crate::estimate::{Estimator, Fit, PADS_MAX, STEP};
use crate::habits::{Beyond, Habits};
use crate::reading::{Measured, Rejection, SourceId};
use crate::rival::Mode;
use crate::room::Room;
use crate::room_course::RoomCourse;
use crate::shelf::{Band, Nest};
use crate::time::{Span, Timestamp};
use crate::trust::Fault;
use crate::vapour::{Hygrometer, Vapour};
use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::vec::Vec;
use hindsight::Retrospect;

/// Readings that wait for the drive's report at most; beyond that the oldest are weighed without it.
const PENDING_MAX: usize = 512;
/// A gap longer than this leaves the nest's warmth unknown.
const GAP: Span = Span::from_min(10);
/// A gap longer than this is not run through.
const GAP_TOO_LONG: Span = Span::from_min(40);
/// Evidence at which what a pad does is in dispute, nats: nobody blames a probe meanwhile.
const DISPUTED_NATS: f64 = 3.0;

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
    /// What its humidity probes say, and the room's.
    pub vapour: Vapour,
    /// The band in force: the nest's own, or its season's.
    pub band: Option<Band>,
    /// So far below its bound the raw guard lets go: of the limit, and of the hot mark, K.
    pub guard_deadband_k: (f64, f64),
    drives: Vec<(Option<SourceId>, Drive)>,
    room_source: Option<SourceId>,
    room: Room,
    estimator: Option<Estimator>,
    pending: VecDeque<(Timestamp, usize, f64)>,
    habits: Habits,
    draught: Draught,
    course: RoomCourse,
    drive_habits: Vec<DriveHabit>,
    /// End of a stretch without readings that is being run through.
    blind_until: Option<Timestamp>,
    /// What the heat shows of the pads.
    by_heat: Heating,
    /// What their habits do: on past them, off past them.
    by_habit: (Option<Beyond>, Option<Beyond>),
    /// A fault that stood before a restart, and waits for the moment at which it began.
    waiting: Option<Held>,
    /// What a lid or the sun was last taken from: the rival it looked like, and when.
    above: Option<(Mode, Timestamp)>,
    /// The brood area as last looked at, and of when.
    looked: Option<(f64, f64, f64, Timestamp)>,
    fits: bool,
    /// A kept fit that waits for the first reading, and since when it is in force.
    given: Option<(Fit, Timestamp)>,
    /// What is kept of the past where moments are wanted with hindsight.
    retrospect: Option<Box<Retrospect>>,
    /// What was found of the pads later than it began, in the order of its finding; empty without hindsight.
    found: Vec<Found>,
    /// A rival that has just won, where moments are wanted with hindsight.
    accepted: Option<Found>,
}

impl Watch {
    /// A watch that has heard nothing; `id` finds a source's id.
    pub fn new(nest: &Nest, id: impl Fn(&str) -> Option<SourceId>) -> Self {
        let ears = nest.probes.iter().filter_map(|p| Some(Ear::new(id(&p.source)?, p, nest)));
        let drives = nest.pads.iter().take(PADS_MAX).map(|p| (p.drive.as_deref().and_then(&id), Drive::default()));
        Self {
            vapour: Vapour::new(nest.probes.len()),
            ears: ears.collect(),
            first: None,
            newest: None,
            believed: None,
            band: nest.band,
            guard_deadband_k: (0.0, 0.0),
            drives: drives.collect(),
            room_source: nest.room.as_deref().and_then(&id),
            room: Room::default(),
            estimator: None,
            pending: VecDeque::new(),
            habits: Habits::default(),
            draught: Draught::new(nest.probes.len()),
            course: RoomCourse::default(),
            drive_habits: nest.pads.iter().take(PADS_MAX).map(|_| DriveHabit::default()).collect(),
            blind_until: None,
            by_heat: Heating::Plausible,
            by_habit: (None, None),
            waiting: None,
            above: None,
            looked: None,
            fits: true,
            given: None,
            retrospect: None,
            found: Vec::new(),
            accepted: None,
            nest: nest.clone(),
        }
    }

    /// Whether readings of so long are known, by their own time: a backlog that arrives at once is not a day of watching,
    /// but it is a day of learning.
    pub fn is_learned(&self, learning: Span) -> bool {
        self.first.zip(self.newest).is_some_and(|(first, newest)| newest.since(first) >= learning)
    }

    /// Whether the estimate still rests on guessed physics while a probe by the brood says less than `limit_c`: then the
    /// raw guard watches, and the guess raises no danger.
    pub fn guess_is_contradicted(&self, limit_c: f64) -> bool {
        let guessed = self.estimator.as_ref().is_some_and(|e| !e.is_fitted());
        let newest = self.newest;
        guessed
            && self.ears.iter().filter(|e| e.by_brood && e.trust.fault().is_none()).any(|e| {
                e.temperature.zip(newest).is_some_and(|((c, at), newest)| c < limit_c && newest.since(at) < GAP)
            })
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

    /// What a probe of this nest measured, without what it is known to be off by.
    fn trimmed(&self, source: SourceId, measured: Measured) -> Measured {
        let Some(p) = self.ears.iter().position(|e| e.source == source) else { return measured };
        let Some(probe) = self.nest.probes.get(p) else { return measured };
        match measured {
            Measured::Temperature(c) => Measured::Temperature(c - probe.offset_k),
            Measured::Humidity(rh) if probe.offset_pct != 0.0 => {
                Measured::Humidity((rh - probe.offset_pct).clamp(0.0, 100.0))
            }
            Measured::Humidity(_) | Measured::Duty(_) | Measured::On(_) | Measured::Power(_) => measured,
        }
    }

    /// Takes in the vapour of a past that is not judged; tells whether there was any.
    pub fn recall(&mut self, source: SourceId, at: Timestamp, measured: Measured) -> bool {
        let measured = self.trimmed(source, measured);
        self.note_vapour(source, at, measured)
    }

    fn note_vapour(&mut self, source: SourceId, at: Timestamp, measured: Measured) -> bool {
        let room = (self.room_source == Some(source)).then_some(&mut self.vapour.room);
        let place = self.ears.iter().position(|e| e.source == source).and_then(|p| self.vapour.places.get_mut(p));
        let mut heard = false;
        for hygrometer in room.into_iter().chain(place) {
            heard |= hygrometer.hear(at, measured);
        }
        heard
    }

    /// Takes in what a listed source said; rejections may concern earlier readings that waited.
    pub fn hear(&mut self, source: SourceId, at: Timestamp, measured: Measured, out: &mut Vec<Rejected>) {
        let measured = self.trimmed(source, measured);
        if self.retrospect.is_some() {
            self.hear_and_keep((source, at, measured), out);
        } else {
            self.take_in((source, at, measured), out);
        }
    }

    fn take_in(&mut self, (source, at, measured): (SourceId, Timestamp, Measured), out: &mut Vec<Rejected>) {
        for ((s, drive), pad) in self.drives.iter_mut().zip(&self.nest.pads) {
            if *s == Some(source) {
                drive.report(at, measured, pad.rated_w);
            }
        }
        self.note_vapour(source, at, measured);
        if let (true, Measured::Temperature(c)) = (self.room_source == Some(source), measured) {
            self.room.measure(at, c);
        }
        if let Some(p) = self.ears.iter().position(|e| e.source == source) {
            self.sniff(p, at);
            match measured {
                Measured::Humidity(rh) => self.ears[p].humidity = Some((rh, at)),
                Measured::Temperature(c) => self.hear_probe(p, at, c, out),
                Measured::Duty(_) | Measured::On(_) | Measured::Power(_) => {}
            }
        }
        self.advance(out);
    }

    /// Whether the nest stands open shows in its vapour first.
    fn sniff(&mut self, p: usize, at: Timestamp) {
        if let Some(damp) = self.vapour.places.get(p).and_then(Hygrometer::newest).filter(|d| d.at == at) {
            self.draught.hear(p, &damp);
        }
    }

    fn hear_probe(&mut self, p: usize, at: Timestamp, value_c: f64, out: &mut Vec<Rejected>) {
        let (band, (limit_k, hot_k)) = (self.band, self.guard_deadband_k);
        let ear = &mut self.ears[p];
        let mut gap_s = 0.0;
        if let Some((_, last)) = ear.temperature {
            if at <= last {
                let why = if at == last { Rejection::Duplicate } else { Rejection::Late };
                out.push((ear.source, at, why));
                return;
            }
            let gap_ms = at.since(last).ms().min(1_200_000) as f64;
            gap_s = gap_ms / 1000.0;
            ear.usual_ms = if ear.usual_ms > 0.0 { ear.usual_ms + 0.1 * (gap_ms - ear.usual_ms) } else { gap_ms };
        }
        ear.temperature = Some((value_c, at));
        ear.calm(value_c, gap_s);
        if let Some(b) = band {
            ear.limit_run.hear(at, value_c, b.limit_c, b.limit_c - limit_k);
            ear.hot_run.hear(at, value_c, b.hot_c, b.hot_c - hot_k);
        } else {
            ear.limit_run.hear(at, value_c, GUARD_C, GUARD_C - limit_k);
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
        self.looked = None;
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
            let told = self.step(&mut est, out);
            self.note_moment(&mut est);
            self.conclude(&mut est, told);
        }
        self.estimator = Some(est);
    }

    fn begin(&mut self) -> bool {
        let Some((at, _, _)) = self.pending.front().copied() else { return false };
        // The coolest first word stands for the room until its probe speaks.
        let coolest = self.pending.iter().map(|(_, _, v)| *v).fold(f64::INFINITY, f64::min);
        let room_c = self.room.value_c().unwrap_or(coolest);
        self.room.infer(at, room_c);
        let mut est = estimator_of(&self.nest, (at, room_c));
        if let Some((fit, since)) = self.given.take() {
            est.take_up(&fit, since);
        }
        if self.retrospect.is_some() {
            est.record();
        }
        self.estimator = Some(est);
        true
    }

    /// One step of the estimate, with the readings that fall into it; gives what each pad was told meanwhile.
    fn step(&mut self, est: &mut Estimator, out: &mut Vec<Rejected>) -> [f64; PADS_MAX] {
        let from = est.at();
        let to = from.plus(STEP);
        self.hold_as_found(est);
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
        told
    }

    /// What a step teaches beyond the warmth itself: what the pads do, what is usual, and the physics.
    fn conclude(&mut self, est: &mut Estimator, told: [f64; PADS_MAX]) {
        let to = est.at();
        self.put_back_waiting(est);
        if !self.drives.is_empty() {
            self.watch_pads(est, to, told[0]);
        }
        self.learn_habits(est, to, &told[..self.drives.len()]);
        if self.fits {
            est.settle();
        }
    }

    /// Whether some pad's drive reports.
    pub fn drives_known(&self) -> bool {
        self.drives.iter().any(|(source, _)| source.is_some())
    }

    /// Whether the raw guard has tripped: (brood limit, hot probe), each with its probe.
    pub fn guard(&self) -> (Option<usize>, Option<usize>) {
        let limit = self.ears.iter().position(|e| e.limit_run.tripped && (e.by_brood || self.band.is_none()));
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
        if let Some(looked) = self.looked {
            return Some(looked);
        }
        let (mean, sd, hottest) = est.brood();
        Some((mean, sd, hottest, est.at()))
    }

    /// Looks at the brood area once for all rules of a moment.
    pub fn look(&mut self) {
        if self.looked.is_none() {
            self.looked = self.brood();
        }
    }

    /// The room, °C, as far as it is known.
    pub fn room_c(&self) -> Option<f64> {
        self.room.value_c()
    }

    /// The pad's last report.
    pub fn told(&self) -> Option<f64> {
        self.drives.iter().find_map(|(_, d)| d.last_duty())
    }
}
