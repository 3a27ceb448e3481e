//! Rivals of what is believed about a pad: full on, off, or as told. Each predicts the next readings; the logarithm of
//! the likelihood ratio accumulates and restarts at zero (CUSUM: Page, Biometrika 41, 1954; optimal in Lorden's sense:
//! Moustakides, Ann. Stat. 14, 1986), so a rival's history always begins where it last made no sense.
use crate::body::{Body, Heat};
use crate::filter::Expected;
use crate::models::{Models, dot};
use alloc::vec::Vec;

/// The most one reading may add or take, nats: no single probe or moment decides.
const STEP_NATS: f64 = 3.0;

/// What a pad is held to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// What it is told.
    Follow,
    /// Full heat, whatever it is told.
    On,
    /// No heat, whatever it is told.
    Off,
}

/// One rival of the belief about one pad. Linear physics: only its difference from the belief is kept.
#[derive(Clone, Debug)]
pub struct Rival {
    /// Which pad.
    pub pad: usize,
    /// What it holds the pad to do.
    pub mode: Mode,
    /// Logarithm of the likelihood ratio against the belief since it restarted, nats.
    pub evidence: f64,
    /// The same, by probe.
    pub by_probe: Vec<f64>,
    /// Steps since it restarted.
    pub steps: usize,
    /// How far its filter's mean is from the belief's.
    pub means_apart: Vec<f64>,
    heat: Heat,
    amplitudes: Vec<f64>,
    surface_k: Vec<f64>,
    shown_k: Vec<f64>,
    shown_before_k: Vec<f64>,
}

impl Mode {
    /// The drive under this mode when the pad is told `told`.
    pub fn drive(self, told: f64) -> f64 {
        match self {
            Self::Follow => told,
            Self::On => 1.0,
            Self::Off => 0.0,
        }
    }

    /// The modes that compete with this one.
    pub fn rivals(self) -> &'static [Self] {
        match self {
            Self::Follow => &[Self::On, Self::Off],
            Self::On => &[Self::Follow, Self::Off],
            Self::Off => &[Self::Follow, Self::On],
        }
    }
}

impl Rival {
    /// A rival that has not parted from the belief yet.
    pub fn new(body: &Body, pad: usize, mode: Mode, probes: usize, states: usize) -> Self {
        Self {
            pad,
            mode,
            evidence: 0.0,
            by_probe: alloc::vec![0.0; probes],
            steps: 0,
            means_apart: alloc::vec![0.0; states],
            heat: body.cold(),
            amplitudes: alloc::vec![0.0; body.modes.len()],
            surface_k: alloc::vec![0.0; probes],
            shown_k: alloc::vec![0.0; probes],
            shown_before_k: alloc::vec![0.0; probes],
        }
    }

    fn restart(&mut self) {
        self.evidence = 0.0;
        self.steps = 0;
        for v in [&mut self.by_probe, &mut self.means_apart, &mut self.surface_k, &mut self.shown_k, &mut self.shown_before_k]
        {
            v.fill(0.0);
        }
        self.heat.clear();
    }

    /// One step in which its drive differs by `apart` from the belief's.
    pub fn advance(&mut self, models: &Models, lags: &[(f64, f64)], apart: f64, step_s: f64) {
        if self.steps == 0 && apart.abs() < 1e-6 {
            return;
        }
        let body = &models.bodies[0];
        let mut drive = [0.0; crate::estimate::PADS_MAX];
        if let Some(d) = drive.get_mut(self.pad) {
            *d = apart;
        }
        body.advance(&mut self.heat, &drive, 0.0);
        body.gallery(&self.heat, &mut self.amplitudes);
        for (p, row) in models.rows(0).probes.iter().enumerate() {
            let new = dot(row, &self.amplitudes);
            let (lag_s, keep) = lags[p];
            let trail = (new - self.surface_k[p]) * lag_s / step_s;
            self.shown_before_k[p] = self.shown_k[p];
            self.shown_k[p] = new - trail + (self.shown_k[p] - self.surface_k[p] + trail) * keep;
            self.surface_k[p] = new;
        }
        self.steps += 1;
    }

    /// How much more than the belief it expects of probe `p`, K.
    pub fn apart(&self, p: usize, part: f64, h: &[f64]) -> f64 {
        self.shown_before_k[p] + (self.shown_k[p] - self.shown_before_k[p]) * part + dot(h, &self.means_apart)
    }

    /// Weighs an innovation against its own.
    pub fn hear(&mut self, p: usize, surprise: f64, apart: f64, expected: &Expected) {
        if self.steps == 0 {
            return;
        }
        let rival = surprise - apart;
        let nats = 0.5 * (surprise * surprise - rival * rival) / expected.variance;
        let nats = nats.clamp(-STEP_NATS, STEP_NATS);
        self.by_probe[p] += nats;
        self.evidence += nats;
        if self.evidence < 0.0 {
            self.restart();
        }
    }

    /// What it expects of the galleries over the belief at a probe, K (without lag).
    pub fn surface_k(&self, p: usize) -> f64 {
        self.surface_k[p]
    }
}
