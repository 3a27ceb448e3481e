//! Rivals of what is believed about a pad: full on, off, or as told. Each predicts what the probes will show from the
//! moment it parts from the belief, without learning from them on the way; the logarithm of the likelihood ratio
//! accumulates and restarts at zero (CUSUM: Page, Biometrika 41, 1954; optimal in Lorden's sense: Moustakides, Ann.
//! Stat. 14, 1986), so a rival's history always begins where it last made no sense.
//!
//! Errors of such long predictions are heavy in the tails (a lid, a drop of water, a probe that slips), so their
//! likelihood is Cauchy's: no single reading says much, and what neither side explains says nothing.
use crate::body::{Body, Heat};
use crate::cusum::accumulate;
use crate::models::{Models, Seen, dot};
use alloc::vec::Vec;

/// What the body cannot tell over some minutes, K.
const FLOOR_K: f64 = 0.12;
/// And what it cannot tell of a rival's heat, as a share of it.
const SHARE: f64 = 0.2;
/// Readings of one long prediction go astray together: each counts for this much.
const EACH_COUNTS: f64 = 0.8;
/// From this evidence on a rival's heat must keep coming, nats.
const GROWTH_FROM_NATS: f64 = 3.0;
/// By at least this much, K, and by this share of what it expects.
const GROWTH_K: f64 = 0.4;
/// See [`GROWTH_K`].
const GROWTH_SHARE: f64 = 0.4;
/// A rival's fruitless peaks are forgotten over about this long, s.
const PEAK_FADES_S: f64 = 86_400.0;
/// And count for no more than this, nats.
const PEAK_MOST: f64 = 12.0;

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

/// One rival of the belief about one pad. Linear physics: of its body only the difference from the nominal is kept.
#[derive(Clone, Debug)]
pub struct Rival {
    /// Which pad.
    pub pad: usize,
    /// What it holds the pad to do.
    pub mode: Mode,
    /// Logarithm of the likelihood ratio against the belief since it restarted, nats.
    pub evidence: f64,
    /// Steps since it restarted.
    pub steps: usize,
    /// Highest evidence of late that came to nothing, nats: what this nest's own physics feigns at every switching.
    pub usual_peak: f64,
    /// What was believed when it parted; it fades, but learns nothing.
    pub origin: Vec<f64>,
    /// What each probe was expected to show and showed over the belief when the evidence first meant something, and now.
    since_then: Vec<Option<[Told; 2]>>,
    peak: f64,
    heat: Heat,
    amplitudes: Vec<f64>,
    seen: Seen,
}

/// What a rival expected of a probe over the belief, and what it showed, K.
#[derive(Clone, Copy, Debug)]
struct Told {
    expected_k: f64,
    seen_k: f64,
}

/// One reading, as rivals weigh it.
#[derive(Clone, Copy, Debug)]
pub struct Said<'a> {
    /// Whose.
    pub probe: usize,
    /// At which part of the last step.
    pub part: f64,
    /// What it said over the nominal body, K.
    pub beyond_nominal: f64,
    /// Its row over the states.
    pub row: &'a [f64],
    /// Variance of its noise, K².
    pub noise: f64,
    /// How much it counts: under 1 where readings come faster than they are independent.
    pub weight: f64,
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
    pub fn new(body: &Body, pad: usize, mode: Mode, probes: usize) -> Self {
        Self {
            pad,
            mode,
            evidence: 0.0,
            steps: 0,
            usual_peak: 0.0,
            origin: Vec::new(),
            since_then: alloc::vec![None; probes],
            peak: 0.0,
            heat: body.cold(),
            amplitudes: alloc::vec![0.0; body.modes.len()],
            seen: Seen::at_rest(probes, 0.0),
        }
    }

    /// Begins anew: so far it made no sense.
    pub fn restart(&mut self) {
        self.usual_peak = self.usual_peak.max(self.peak.min(PEAK_MOST));
        self.peak = 0.0;
        self.evidence = 0.0;
        self.steps = 0;
        self.origin.clear();
        self.since_then.fill(None);
        self.seen = Seen::at_rest(self.seen.shown.len(), 0.0);
        self.heat.clear();
    }

    /// One step in which its drive differs by `apart` from the belief's, which is `mean` at its beginning.
    pub fn advance(&mut self, models: &Models, lags: &[(f64, f64)], apart: f64, (mean, step_s): (&[f64], f64)) {
        self.usual_peak *= 1.0 - step_s / PEAK_FADES_S;
        if self.steps == 0 {
            if apart.abs() < 1e-6 {
                return;
            }
            self.origin = mean.to_vec();
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

    /// Weighs a reading; true if the rival expected it.
    pub fn hear(&mut self, said: &Said<'_>) -> bool {
        if self.steps == 0 {
            return false;
        }
        let expected_k = self.seen.at(said.probe, said.part);
        let seen_k = said.beyond_nominal - dot(said.row, &self.origin);
        let variance = said.noise + FLOOR_K * FLOOR_K + (SHARE * expected_k) * (SHARE * expected_k);
        let off = |k: f64| libm::log(1.0 + k * k / variance);
        let missed_k = seen_k - expected_k;
        let ran_out = accumulate(&mut self.evidence, EACH_COUNTS * said.weight * (off(seen_k) - off(missed_k)));
        self.peak = self.peak.max(self.evidence);
        if ran_out {
            self.restart();
            return false;
        }
        self.follow(said.probe, Told { expected_k, seen_k });
        self.evidence > 1.0 && missed_k * missed_k < 25.0 * variance
    }

    fn follow(&mut self, probe: usize, told: Told) {
        if self.evidence < GROWTH_FROM_NATS {
            return;
        }
        match &mut self.since_then[probe] {
            // Smoothed, so that one reading's noise is not taken for growth.
            Some([_, now]) => {
                now.expected_k += 0.5 * (told.expected_k - now.expected_k);
                now.seen_k += 0.5 * (told.seen_k - now.seen_k);
            }
            none => *none = Some([told, told]),
        }
    }

    /// Whether the heat it expects keeps coming (or going): a lid that was opened or water poured in looks the same at
    /// first, but then it fades.
    pub fn keeps_growing(&self) -> bool {
        let grown = self
            .since_then
            .iter()
            .flatten()
            .map(|[then, now]| (now.expected_k - then.expected_k, now.seen_k - then.seen_k));
        let (mut expected, mut agrees) = (0.0, 0.0);
        for (x, y) in grown {
            expected += x * x;
            agrees += x * y;
        }
        expected > GROWTH_K * GROWTH_K && agrees > GROWTH_SHARE * expected
    }
}
