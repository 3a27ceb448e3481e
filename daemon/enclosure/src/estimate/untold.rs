//! The drive of pads that do not report, worked out from the heat itself.
//!
//! The last hour is cut into pieces of some minutes, and the drive in each of them is one unknown of the filter beside
//! all the others (input estimation; Gillijns & De Moor, Automatica 43, 2007, in the form of augmented states). What a
//! piece does to the nest is the body's answer to a pulse, so every reading tells of the pieces before it by the heat's
//! way through the body, and what is not told stays open in the covariance. After its hour a piece is settled: the
//! nominal body has been driven by what was found.
use super::{Estimator, LEAN_S, Past, SHAPE_SHARES, STEP, alone};
use crate::body::Body;
use crate::models::{Course, Models, Seen, dot};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// Steps of one piece: five minutes, about a body's lag behind its pad.
const PIECE: usize = 15;
/// Pieces that are open at a time: an hour.
const PIECES: usize = 12;
/// Steps of all of them.
const WINDOW: usize = PIECE * PIECES;
/// A pad under a thermostat is on or off: about √(u(1 − u)) of full drive.
const SD: f64 = 0.45;
/// What a piece has in common with the one before, correlation: a thermostat's spells last some minutes.
const KEEP: f64 = 0.5;
/// Mean drive before anything was seen.
const USUAL: f64 = 0.4;
/// That counts for so many pieces, and none is remembered longer than over so many: a day.
const USUAL_PIECES: (f64, f64) = (12.0, 288.0);
/// Drive is between off and full: what lies beyond is drawn back to this deviation.
const BOUND_SD: f64 = 0.05;
/// A piece is told of when less deviation than this is left.
const TOLD_SD: f64 = 0.25;

/// See [`Estimator::infer_drives`]: share of the prior's deviation that is left to the running filter.
const UNKNOWN_DRIVE_SHARE: f64 = 0.3;
/// And what quick disturbances may take instead, K for each shape.
const UNKNOWN_DRIVE_QUICK_K: f64 = 0.25;

/// Everything about pads that do not report.
#[derive(Clone, Debug, Default)]
pub(super) struct Untold {
    pads: Vec<Pad>,
    /// Steps into the newest piece.
    into: usize,
    /// Steps since `base`.
    window: usize,
    /// The bodies at the beginning of the oldest piece.
    base: Option<Base>,
}

/// One of them.
#[derive(Clone, Debug)]
struct Pad {
    /// Which pad of the nest.
    pad: usize,
    /// What the nominal body is driven at in each piece, newest first.
    held: [f64; PIECES],
    /// Mean over the settled pieces, and how many.
    usual: (f64, f64),
    /// What it is held to do now.
    now: f64,
    /// Answer to full drive from step 0 on, after each step: amplitudes of the galleries' modes, then what each probe
    /// shows.
    answer: Vec<f32>,
    /// Numbers of one step of it, and how many of them are amplitudes.
    width: (usize, usize),
}

#[derive(Clone, Debug)]
struct Base {
    courses: Vec<Course>,
    laggards: Seen,
    room_c: f64,
}

impl Pad {
    fn new(pad: usize) -> Self {
        Self { pad, held: [USUAL; PIECES], usual: (USUAL, USUAL_PIECES.0), now: 0.0, answer: Vec::new(), width: (0, 0) }
    }

    /// The body's answer to this pad alone.
    fn prepare(&mut self, models: &Models, lags: &[(f64, f64)]) {
        let body: &Body = &models.bodies[0];
        let mut heat = body.cold();
        let mut amplitudes = alloc::vec![0.0; body.modes.len()];
        let mut seen = Seen::at_rest(lags.len(), 0.0);
        let drive = alone(self.pad, 1.0);
        self.width = (amplitudes.len() + lags.len(), amplitudes.len());
        self.answer.clear();
        self.answer.extend(core::iter::repeat_n(0.0, self.width.0));
        for _ in 0..WINDOW {
            body.advance(&mut heat, &drive, 0.0);
            body.gallery(&heat, &mut amplitudes);
            for (p, row) in models.rows(0).probes.iter().enumerate() {
                seen.see(p, dot(row, &amplitudes), lags[p], STEP.s());
            }
            self.answer.extend(amplitudes.iter().chain(&seen.shown).map(|v| *v as f32));
        }
    }

    /// Place `i` of the answer to a pulse of one piece that began `age` steps ago.
    fn pulse(&self, i: usize, age: usize) -> f64 {
        let at = |steps: usize| self.answer.get(steps * self.width.0 + i).map_or(0.0, |v| f64::from(*v));
        at(age) - at(age.saturating_sub(PIECE))
    }
}

impl Untold {
    /// How many states it has.
    pub(super) fn len(&self) -> usize {
        self.pads.len() * PIECES
    }

    fn find(&self, pad: usize) -> Option<&Pad> {
        self.pads.iter().find(|p| p.pad == pad)
    }

    /// Whether this pad's drive is worked out.
    pub(super) fn holds(&self, pad: usize) -> bool {
        self.find(pad).is_some()
    }

    /// What the nominal body is driven at now.
    pub(super) fn drive(&self, pad: usize) -> Option<f64> {
        self.find(pad).map(|p| p.held[0])
    }

    /// Each piece that lies behind the base: its state, its pad, the steps since it began.
    fn pieces(&self) -> impl Iterator<Item = (usize, &Pad, usize)> {
        let (into, window) = (self.into, self.window);
        let of = move |(i, pad)| (0..PIECES).map(move |j| (i * PIECES + j, pad, into + j * PIECE));
        self.pads.iter().enumerate().flat_map(of).filter(move |(.., age)| *age <= window)
    }
}

impl Estimator {
    /// What pad `pad` is held to be driven at when it is told `told`; some minutes late where nobody tells.
    pub fn drive(&self, pad: usize, told: f64) -> f64 {
        let told = || self.modes.get(pad).map_or(0.0, |mode| mode.drive(told));
        self.untold.find(pad).map_or_else(told, |p| p.now)
    }

    /// Says which pads do not report. If none does, gain and drive are one product: the physics must not bend to explain
    /// what a pad does; quick disturbances take what is left.
    pub fn infer_drives(&mut self, pads: &[usize]) {
        pads.iter().for_each(|pad| self.work_out(*pad));
        if pads.len() < self.axis.pads.len() || pads.is_empty() {
            return;
        }
        self.drives_known = false;
        let l = self.layout();
        self.belief.narrow(l.params, UNKNOWN_DRIVE_SHARE);
        for (k, share) in SHAPE_SHARES.iter().enumerate() {
            self.belief.set_standing(l.quick() + k, share * UNKNOWN_DRIVE_QUICK_K);
        }
        self.belief.tie(l.slow(), LEAN_S);
    }

    /// Says that pad `pad` does not report: what it does is worked out.
    fn work_out(&mut self, pad: usize) {
        self.untold.pads.push(Pad::new(pad));
        self.belief.append(&[SD; PIECES]);
        self.prepare_untold();
        self.untold.base = Some(self.stand());
    }

    fn stand(&self) -> Base {
        Base { courses: self.courses.clone(), laggards: self.laggards.clone(), room_c: self.room_c }
    }

    /// The physics moved.
    pub(super) fn prepare_untold(&mut self) {
        for pad in &mut self.untold.pads {
            pad.prepare(&self.models, &self.lags);
        }
    }

    /// How what probe `p` shows depends on the open pieces.
    pub(super) fn untold_at_probe(&self, h: &mut [f64], p: usize, part: f64) {
        let first = self.layout().untold();
        for (k, pad, age) in self.untold.pieces() {
            let at = |age: usize| pad.pulse(pad.width.1 + p, age);
            let (before, after) = (at(age.saturating_sub(1)), at(age));
            h[first + k] = before + (after - before) * part;
        }
    }

    /// The same of a temperature read off the galleries by `row`.
    pub(super) fn untold_by(&self, h: &mut [f64], row: &[f64]) {
        let first = self.layout().untold();
        for (k, pad, age) in self.untold.pieces() {
            h[first + k] = row.iter().enumerate().map(|(i, r)| r * pad.pulse(i, age)).sum();
        }
    }

    /// What the open pieces add to the nominal amplitudes, K.
    pub(super) fn add_untold(&self, amplitudes: &mut [f64]) {
        let first = self.layout().untold();
        for (k, pad, age) in self.untold.pieces() {
            let mean = self.belief.mean[first + k];
            for (i, a) in amplitudes.iter_mut().enumerate() {
                *a += mean * pad.pulse(i, age);
            }
        }
    }

    /// One step was made.
    pub(super) fn pass_untold(&mut self) {
        if self.untold.pads.is_empty() {
            return;
        }
        self.untold.into += 1;
        self.untold.window += 1;
    }

    /// Begins a new piece where one is due: what was found of the open ones drives the nominal body from here on.
    pub(super) fn turn_untold(&mut self) {
        if self.untold.pads.is_empty() || self.untold.into < PIECE {
            return;
        }
        self.bound_untold();
        let first = self.layout().untold();
        let len = self.memory.len();
        for i in 0..self.untold.pads.len() {
            for j in 0..PIECES {
                let state = first + i * PIECES + j;
                let found = core::mem::take(&mut self.belief.mean[state]);
                for r in &mut self.rivals {
                    if let Some(m) = r.origin.get_mut(state) {
                        *m -= found;
                    }
                }
                let pad = &mut self.untold.pads[i];
                pad.held[j] += found;
                let end = len.saturating_sub(j * PIECE);
                let from = len.saturating_sub((j + 1) * PIECE);
                for past in self.memory.iter_mut().take(end).skip(from) {
                    past.drive[pad.pad] = pad.held[j] as f32;
                }
            }
        }
        self.relive_untold();
        for i in 0..self.untold.pads.len() {
            let at = first + i * PIECES;
            self.belief.shift(at, PIECES, KEEP, SD * SD * (1.0 - KEEP * KEEP));
            for r in &mut self.rivals {
                if r.origin.len() > at {
                    r.origin[at..at + PIECES].rotate_right(1);
                    r.origin[at] = KEEP * r.origin[at + 1];
                }
            }
            self.untold.pads[i].turn();
        }
        self.untold.into = 0;
    }

    /// A drive is between off and full.
    fn bound_untold(&mut self) {
        let first = self.layout().untold();
        for k in 0..self.untold.len() {
            let held = self.untold.pads[k / PIECES].held[k % PIECES];
            let drive = held + self.belief.mean[first + k];
            let bound = drive.clamp(0.0, 1.0);
            if (drive - bound).abs() < 1e-9 {
                continue;
            }
            let mut h = alloc::vec![0.0; self.belief.len()];
            h[first + k] = 1.0;
            let expected = self.belief.expect(&h, BOUND_SD * BOUND_SD);
            self.belief.absorb_row(&h, &expected, bound - drive);
        }
    }

    /// Runs the nominal bodies through the open pieces again; the base moves on by one of them when all are open.
    fn relive_untold(&mut self) {
        let Some(base) = self.untold.base.take() else { return };
        let (now, now_c) = (self.step, self.room_c);
        (self.courses, self.laggards, self.room_c) = (base.courses.clone(), base.laggards.clone(), base.room_c);
        let memory = core::mem::take(&mut self.memory);
        let from = memory.len().saturating_sub(self.untold.window);
        let moves = self.untold.window >= WINDOW;
        let mut base = Some(base);
        for (k, past) in memory.iter().skip(from).enumerate() {
            if moves && k == PIECE {
                base = Some(self.stand());
            }
            self.relive(past);
        }
        if moves {
            self.untold.window -= PIECE;
        }
        self.memory = memory;
        self.untold.base = base;
        (self.step, self.room_c) = (now, now_c);
    }

    /// The part of the memory that open pieces still need.
    pub(super) fn open_memory(&self) -> VecDeque<Past> {
        let open = if self.untold.pads.is_empty() { 0 } else { self.untold.window };
        self.memory.iter().skip(self.memory.len().saturating_sub(open)).copied().collect()
    }

    /// While everything is run again: the base lies as far back as the open pieces reach.
    pub(super) fn note_base(&mut self, left: usize) {
        if !self.untold.pads.is_empty() && left == self.untold.window {
            self.untold.base = Some(self.stand());
        }
    }

    /// The past is lost.
    pub(super) fn forget_untold(&mut self) {
        let first = self.layout().untold();
        for k in 0..self.untold.len() {
            self.belief.renew(first + k, SD * SD);
        }
        for pad in &mut self.untold.pads {
            pad.held = [pad.usual.0; PIECES];
        }
        (self.untold.into, self.untold.window) = (0, 0);
    }

    /// What each pad does now is what it did in the newest piece that is told of.
    pub(super) fn judge_untold(&mut self) {
        let first = self.layout().untold();
        for i in 0..self.untold.pads.len() {
            let told = |j: &usize| self.belief.variance(first + i * PIECES + j) < TOLD_SD * TOLD_SD;
            let j = (0..2).find(told).unwrap_or(1);
            let mean = self.belief.mean[first + i * PIECES + j];
            let pad = &mut self.untold.pads[i];
            pad.now = (pad.held[j] + mean).clamp(0.0, 1.0);
        }
    }
}

impl Pad {
    /// A new piece begins: it goes on a little like the last, else as usual.
    fn turn(&mut self) {
        let settled = self.held[PIECES - 1];
        let (usual, count) = self.usual;
        let count = (count + 1.0).min(USUAL_PIECES.1);
        let usual = usual + (settled - usual) / count;
        self.usual = (usual, count);
        self.held.rotate_right(1);
        self.held[0] = (usual + KEEP * (self.held[1] - usual)).clamp(0.0, 1.0);
    }
}

#[cfg(test)]
#[path = "untold_tests.rs"]
mod tests;
