//! Whether a new fit takes the place of the one in force. From the second day on it must foretell hours that it did not
//! learn from, those before its own, as well as the one in force does: an odd night fails at the nights before it, a
//! lasting change has two days of its kind by the second night. Hours that a refused fit learned from teach nothing.
use super::fit::{FIRST_DAY_MIN, RERUN};
use super::kept::{FitNews, FitSeen};
use super::{Estimator, Heard, PADS_MAX, STEP};
use crate::body::{Body, Heat, MODES};
use crate::filter::Gaussian;
use crate::models::{Seen, dot};
use crate::prior::from_log;
use alloc::vec::Vec;

/// Least steps that are kept back from a lesson for its trial, once a fit is in force: the first six hours of them only
/// warm the body up.
const KEPT_BACK: usize = 2 * RERUN;
/// A new fit may be off by this share more than the one in force,
const WORSE_SHARE: f64 = 0.15;
/// and by this much, K: the one in force has learned from the hours of the trial, the new one has not.
const WORSE_K: f64 = 0.03;
/// More than this is a wild reading, not a wrong body, K.
const CLIP_K: f64 = 3.0;

/// How well hours that neither, or only the older one, learned from are foretold by two fits: mean absolute error, K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// By the new one.
    pub new_k: f64,
    /// By the one in force.
    pub in_force_k: f64,
    /// Over how many readings.
    pub readings: u32,
}

/// Why a fit was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotTaken {
    /// Its passes did not come to rest.
    Unsettled,
    /// It explains its own hours worse than the one in force.
    ExplainsWorse,
    /// It foretells the hours before its own worse than the one in force.
    ForetellsWorse,
    /// There are too few hours before its own to try it on.
    Untried,
}

impl NotTaken {
    /// Every reason.
    pub const ALL: [Self; 4] = [Self::Unsettled, Self::ExplainsWorse, Self::ForetellsWorse, Self::Untried];

    /// A short name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unsettled => "unsettled",
            Self::ExplainsWorse => "explains-worse",
            Self::ForetellsWorse => "foretells-worse",
            Self::Untried => "untried",
        }
    }
}

/// Physics and probes as something predicts with them.
#[derive(Clone, Copy)]
pub(super) struct Known<'a> {
    pub(super) log: &'a [f64],
    pub(super) lag_s: &'a [f64],
    pub(super) belief: &'a Gaussian,
}

impl Trial {
    /// Whether the new fit foretells well enough to be taken.
    pub fn is_passed(&self) -> bool {
        self.new_k <= self.in_force_k * (1.0 + WORSE_SHARE) + WORSE_K
    }
}

impl Estimator {
    /// From where a fit learns: as a step, and as a place in the memory. Once one is in force some hours before are kept
    /// back.
    pub(super) fn lesson(&self) -> (i64, usize) {
        let oldest = self.step - self.memory.len() as i64;
        let begin = self.learned.as_ref().map_or(oldest, |k| k.until.max(oldest + KEPT_BACK as i64).min(self.step));
        (begin, (begin - oldest).max(0) as usize)
    }

    /// Takes the fit that `pass` settled at, or refuses it.
    pub(super) fn decide(&mut self, pass: Self, explains_worse: bool) {
        let trial = self.trial(&pass);
        let refused = match (&self.learned, trial) {
            _ if explains_worse => Some(NotTaken::ExplainsWorse),
            (None, _) => None,
            (Some(_), None) => Some(NotTaken::Untried),
            (Some(_), Some(t)) => (!t.is_passed()).then_some(NotTaken::ForetellsWorse),
        };
        let fit = self.fit_of(&pass, trial);
        self.note_fit(refused);
        match (refused, &mut self.learned) {
            (None, _) => self.adopt(pass),
            (Some(NotTaken::Untried), _) | (Some(_), None) => {}
            (Some(_), Some(known)) => known.until = self.step,
        }
        self.news = Some(FitNews { at: self.at(), fit: Some(fit), refused });
    }

    fn note_fit(&mut self, refused: Option<NotTaken>) {
        match refused {
            Some(why) => self.seen.refused = Some((self.at(), why)),
            None => self.seen = FitSeen { learned: Some(self.at()), refused: None },
        }
    }

    /// No pass came to rest.
    pub(super) fn decline(&mut self) {
        if let Some(known) = &mut self.learned {
            known.until = self.step;
        }
        self.note_fit(Some(NotTaken::Unsettled));
        self.news = Some(FitNews { at: self.at(), fit: None, refused: Some(NotTaken::Unsettled) });
    }

    /// How the hours kept back are foretold; `None` before a fit is in force, or if they are too few.
    fn trial(&self, pass: &Self) -> Option<Trial> {
        let (begin, skip) = self.lesson();
        let from = begin - skip as i64 + RERUN as i64;
        let known = self.learned.as_ref().filter(|_| begin - from >= RERUN as i64)?;
        let lag_s: Vec<f64> = pass.lags.iter().map(|l| l.0).collect();
        let (new_k, readings) =
            self.error_k(Known { log: &pass.log, lag_s: &lag_s, belief: &pass.belief }, from, begin)?;
        let (in_force_k, _) =
            self.error_k(Known { log: &known.log, lag_s: &known.lag_s, belief: &known.belief }, from, begin)?;
        Some(Trial { new_k, in_force_k, readings })
    }

    /// Mean absolute error with which a body runs through the remembered readings of the steps from `from` to `to`, from
    /// the drive and the room alone, K, and over how many readings.
    pub(super) fn error_k(&self, known: Known<'_>, from: i64, to: i64) -> Option<(f64, u32)> {
        let mut run = Run::new(self, known);
        let pads = self.axis.pads.len().min(PADS_MAX);
        let oldest = self.step - self.memory.len() as i64;
        let mut heard = self.heard.iter().skip_while(|h| h.step <= from).peekable();
        let (mut sum_k, mut count) = (0.0, 0_u32);
        for (past, step) in self.memory.iter().zip(oldest + 1..=to) {
            let drive = past.drive.map(f64::from);
            run.advance(&drive[..pads], f64::from(past.room_c));
            while let Some(h) = heard.next_if(|h| h.step <= step) {
                sum_k += (f64::from(h.value_c) - run.told(h)).abs().min(CLIP_K);
                count += 1;
            }
        }
        (count > 0).then(|| (sum_k / f64::from(count), count))
    }
}

/// One body that runs through the memory.
struct Run {
    body: Body,
    heat: Heat,
    amplitudes: Vec<f64>,
    seen: Seen,
    probes: Vec<Look>,
    room_c: f64,
}

/// How one probe sees the body.
struct Look {
    row: Vec<f64>,
    slope: Vec<f64>,
    lag: (f64, f64),
    /// Offset, air and colony, K.
    beside_k: f64,
    /// How far its place is off, mm.
    off_mm: f64,
}

impl Run {
    fn new(e: &Estimator, known: Known<'_>) -> Self {
        let l = e.layout();
        let mean = |i: usize| known.belief.mean.get(i).copied().unwrap_or(0.0);
        let log: Vec<f64> = known.log.iter().enumerate().map(|(i, x)| x + mean(i)).collect();
        let physics = from_log(&log);
        let body = Body::new(&e.axis, &physics, STEP.s(), MODES);
        let colony = body.steady_within(e.brood);
        let look = |(p, (x_mm, lag_s)): (usize, (&f64, &f64))| {
            let row: Vec<f64> = body.modes.at(*x_mm).collect();
            let lag_s = (lag_s * libm::exp(mean(l.lag(p)).clamp(-1.0, 1.0))).max(1.0);
            let colony_k = mean(l.colony()) * e.colony_k_s_w * dot(&row, &colony);
            Look {
                slope: body.modes.slope_at(*x_mm).collect(),
                row,
                lag: (lag_s, libm::exp(-STEP.s() / lag_s)),
                beside_k: mean(l.offset(p)) + mean(l.air()) + colony_k,
                off_mm: mean(l.place(p)),
            }
        };
        let room_c = e.memory.front().map_or(e.room_c, |p| f64::from(p.room_c));
        Self {
            probes: e.places_mm.iter().zip(known.lag_s).enumerate().map(look).collect(),
            heat: body.cold(),
            amplitudes: alloc::vec![0.0; body.modes.len()],
            seen: Seen::at_rest(l.probes, room_c),
            body,
            room_c,
        }
    }

    fn advance(&mut self, drive: &[f64], room_c: f64) {
        self.body.advance(&mut self.heat, drive, room_c - self.room_c);
        self.body.gallery(&self.heat, &mut self.amplitudes);
        self.room_c = room_c;
        for (p, look) in self.probes.iter().enumerate() {
            self.seen.see(p, room_c + dot(&look.row, &self.amplitudes), look.lag, STEP.s());
        }
    }

    /// What the probe of a remembered reading should have said.
    fn told(&self, h: &Heard) -> f64 {
        let p = usize::from(h.probe);
        let beside = self.probes.get(p).map_or(0.0, |l| l.beside_k + l.off_mm * dot(&l.slope, &self.amplitudes));
        self.seen.at(p, f64::from(h.part)) + beside
    }
}

/// A whole day, in steps.
pub(super) const DAY_STEPS: i64 = FIRST_DAY_MIN * 60_000 / STEP.ms();
