//! Rivals of what is believed about a pad: full on, off, or as told. Each predicts the next readings; the logarithm of
//! the likelihood ratio accumulates and restarts at zero (CUSUM: Page, Biometrika 41, 1954; optimal in Lorden's sense:
//! Moustakides, Ann. Stat. 14, 1986), so a rival's history always begins where it last made no sense.
use crate::body::{Body, Heat};
use crate::filter::{Expected, Gaussian};
use crate::models::{Models, Seen, dot};
use alloc::vec::Vec;

/// The most one reading may add or take, nats: no single probe or moment decides.
const STEP_NATS: f64 = 3.0;

/// A rival's fruitless peaks are forgotten over about this long, s.
const PEAK_FADES_S: f64 = 86_400.0;
/// And count for no more than this, nats.
const PEAK_MOST: f64 = 20.0;

/// A lid opened, water poured in, a nest moved: the belief, free to shift at once, against which a rival that has
/// something to say for itself must hold out as well. A jolt explains any step, but not heat that keeps coming.
#[derive(Clone, Debug)]
pub struct Jolt {
    /// The belief with its disturbances set free.
    pub belief: Gaussian,
    /// Logarithm of the likelihood ratio of the rival against it, nats.
    pub against: f64,
}

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
    /// Highest evidence of late that came to nothing, nats: what this nest's own physics feigns at every switching.
    pub usual_peak: f64,
    peak: f64,
    /// The other explanation: something jolted the nest.
    pub jolt: Option<Jolt>,
    heat: Heat,
    amplitudes: Vec<f64>,
    seen: Seen,
}

/// One reading, as rivals weigh it.
#[derive(Clone, Copy, Debug)]
pub struct Said<'a> {
    /// Whose.
    pub probe: usize,
    /// What it said over the belief, K.
    pub surprise: f64,
    /// What it said over the nominal body, K.
    pub beyond_nominal: f64,
    /// Its row over the states.
    pub row: &'a [f64],
    /// Variance of its noise, K².
    pub noise: f64,
    /// How much it counts: under 1 where readings come faster than they are independent.
    pub weight: f64,
    /// Share of the rival's heat that must be seen before it speaks for the rival: one half is the plain likelihood
    /// ratio, more of it forgives a body that is not quite as modelled.
    pub doubt: f64,
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
            usual_peak: 0.0,
            peak: 0.0,
            jolt: None,
            heat: body.cold(),
            amplitudes: alloc::vec![0.0; body.modes.len()],
            seen: Seen::at_rest(probes, 0.0),
        }
    }

    /// Begins anew: so far it made no sense.
    pub fn restart(&mut self) {
        self.jolt = None;
        self.usual_peak = self.usual_peak.max(self.peak.min(PEAK_MOST));
        self.peak = 0.0;
        self.evidence = 0.0;
        self.steps = 0;
        self.by_probe.fill(0.0);
        self.means_apart.fill(0.0);
        self.seen = Seen::at_rest(self.by_probe.len(), 0.0);
        self.heat.clear();
    }

    /// One step in which its drive differs by `apart` from the belief's.
    pub fn advance(&mut self, models: &Models, lags: &[(f64, f64)], apart: f64, step_s: f64) {
        self.usual_peak *= 1.0 - step_s / PEAK_FADES_S;
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
            self.seen.see(p, dot(row, &self.amplitudes), lags[p], step_s);
        }
        self.steps += 1;
    }

    /// How much more than the belief it expects of probe `p`, K.
    pub fn apart(&self, p: usize, part: f64, h: &[f64]) -> f64 {
        self.seen.at(p, part) + dot(h, &self.means_apart)
    }

    /// Weighs an innovation against its own; `weight` is under 1 where readings come faster than they are independent.
    pub fn hear(&mut self, said: &Said<'_>, apart: f64, expected: &Expected) {
        if self.steps == 0 {
            return;
        }
        let rival = said.surprise - apart;
        let nats = apart * (said.surprise - said.doubt * apart) / expected.variance;
        let nats = said.weight * nats.clamp(-STEP_NATS, STEP_NATS);
        self.by_probe[said.probe] += nats;
        self.evidence += nats;
        self.peak = self.peak.max(self.evidence);
        if let Some(jolt) = &mut self.jolt {
            let free = jolt.belief.expect(said.row, said.noise);
            let off = said.beyond_nominal - free.value;
            let log_odds = 0.5 * (off * off / free.variance - rival * rival / expected.variance)
                + 0.5 * libm::log(free.variance / expected.variance);
            jolt.against += said.weight * log_odds.clamp(-STEP_NATS, STEP_NATS);
            jolt.belief.absorb(&free, off);
        }
        if self.evidence < 0.0 {
            self.restart();
        }
    }
}
