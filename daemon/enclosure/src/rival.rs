//! Rivals of what is believed about a pad: full on, off, or as told. Each predicts what the probes will show from the
//! moment it parts from the belief, without learning from them on the way; the logarithm of the likelihood ratio
//! accumulates and restarts at zero (CUSUM: Page, Biometrika 41, 1954; optimal in Lorden's sense: Moustakides, Ann.
//! Stat. 14, 1986), so a rival's history always begins where it last made no sense.
//!
//! Errors of such long predictions are heavy in the tails (a lid, a drop of water, a probe that slips), so their
//! likelihood is Cauchy's: no single reading says much, and what neither side explains says nothing.
use crate::body::{Body, Heat};
use crate::cusum::accumulate;
use crate::estimate::alone;
use crate::models::{Models, Seen, dot};
use crate::sudden::{FromAbove, Record, Word};
use alloc::vec::Vec;

/// Its heat may have begun so many steps after it parted: a fault's first moment is not known to the second, and heat
/// finds its way through a real body later than through two layers.
const LATE_STEPS: [usize; LATE] = [0, 2, 4, 6, 9];
/// How many such beginnings are weighed.
const LATE: usize = 5;
/// Of two rivals that hold the same the second parts so many steps after the first: when that runs out, what began
/// lately is not lost.
pub const STAGGER_STEPS: usize = LATE_STEPS[LATE - 1];
/// Steps of expectations kept for that.
const TRAIL: usize = STAGGER_STEPS + 2;
/// And what it cannot tell of a rival's heat, as a share of it.
const SHARE: f64 = 0.2;
/// Readings of one long prediction go astray together: each counts for this much.
pub(crate) const EACH_COUNTS: f64 = 0.8;
/// From this evidence on a rival's heat must keep coming, nats.
const GROWTH_FROM_NATS: f64 = 3.0;
/// By at least this much, K, and by this share of what it expects.
const GROWTH_K: f64 = 0.25;
/// See [`GROWTH_K`].
const GROWTH_SHARE: f64 = 0.4;
/// A rival begins anew when this much speaks against it, nats: a heat that is only beginning is hidden by noise.
const PATIENCE_NATS: f64 = 0.75;
/// A probe that shows more than this many times what a pad's heat could have brought by now shows something else.
const OUTRUN: f64 = 1.6;
/// Beyond so many deviations of its noise.
const OUTRUN_SIGMA: f64 = 4.0;
/// A probe that should feel less than this share of another's heat is far from the pad.
const FAR_SHARE: f64 = 0.15;
/// What a far probe shows is taken for shared by all up to this, K.
const SHARED_MOST_K: f64 = 2.0;
/// And what may pass by itself counts up to this, K.
const PASSING_MOST_K: f64 = 2.0;
/// Drives that differ by less are the same.
const SAME_DRIVE: f64 = 1e-6;
/// What a probe would show of a difference less than this is hidden by anything, K.
const FAINT_K: f64 = 0.05;
/// A rival's fruitless peaks are forgotten over about this long, s.
const PEAK_FADES_S: f64 = 86_400.0;
/// And count for no more than this, nats.
const PEAK_MOST: f64 = 20.0;

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
    /// Logarithm of the likelihood ratio against the belief since it restarted, nats, for the best beginning.
    pub evidence: f64,
    /// The same for each of [`LATE_STEPS`].
    sums: [f64; LATE],
    /// What each probe was expected to show at the end of the last steps, newest first.
    trail: Vec<f64>,
    /// Steps since it restarted.
    pub steps: usize,
    /// Highest evidence of late that came to nothing, nats: what this nest's own physics feigns at every switching.
    pub usual_peak: f64,
    /// What was believed when it parted; it fades, but learns nothing.
    pub origin: Vec<f64>,
    /// What each probe was expected to show and showed over the belief when the evidence first meant something, and now.
    since_then: Vec<Option<[(f64, f64); 2]>>,
    /// From where each probe is weighed: what it had been expected to show, and showed, when it last outran the pad.
    base: Vec<Told>,
    /// What each probe last showed over the belief, with its share of the greatest expectation; for what all share.
    last: Vec<Option<Told>>,
    /// How much warmer than usual each probe's place was when it parted, by what may end at any moment, K.
    passing_k: Vec<f64>,
    /// What was said meanwhile.
    record: Record,
    peak: f64,
    heat: Heat,
    amplitudes: Vec<f64>,
    seen: Seen,
}

/// What a rival expected of a probe over the belief, and what it showed, K.
#[derive(Clone, Copy, Debug, Default)]
struct Told {
    /// For each of [`LATE_STEPS`].
    expected_k: [f64; LATE],
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
    /// Variance of what is not the pad's: the probe's noise, and how far the nest strays by itself, K².
    pub noise: f64,
    /// How much warmer than usual the place was by disturbances that may end at any moment, K.
    pub passing_k: f64,
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
            sums: [0.0; LATE],
            trail: alloc::vec![0.0; TRAIL * probes],
            steps: 0,
            usual_peak: 0.0,
            origin: Vec::new(),
            since_then: alloc::vec![None; probes],
            base: alloc::vec![Told::default(); probes],
            last: alloc::vec![None; probes],
            passing_k: alloc::vec![0.0; probes],
            record: Record::default(),
            peak: 0.0,
            heat: body.cold(),
            amplitudes: alloc::vec![0.0; body.modes.len()],
            seen: Seen::at_rest(probes, 0.0),
        }
    }

    /// Begins anew: so far it made no sense.
    pub fn restart(&mut self) {
        self.usual_peak = self.usual_peak.max(self.peak.min(PEAK_MOST));
        self.forget();
    }

    /// What it saw so far has another reason.
    pub fn explain(&mut self) {
        self.peak = 0.0;
    }

    /// The same, and what it saw teaches nothing either.
    pub fn forget(&mut self) {
        self.peak = 0.0;
        self.evidence = 0.0;
        self.sums = [0.0; LATE];
        self.trail.fill(0.0);
        self.steps = 0;
        self.origin.clear();
        self.since_then.fill(None);
        self.base.fill(Told::default());
        self.last.fill(None);
        self.record.clear();
        self.seen = Seen::at_rest(self.seen.shown.len(), 0.0);
        self.heat.clear();
    }

    /// One step in which its drive differs by `apart` from the belief's, which is `mean` at its beginning.
    pub fn advance(&mut self, models: &Models, lags: &[(f64, f64)], apart: f64, (mean, step_s): (&[f64], f64)) {
        self.usual_peak *= 1.0 - step_s / PEAK_FADES_S;
        if self.steps == 0 {
            if is_same_drive(apart) {
                return;
            }
            self.origin = mean.to_vec();
        }
        let body = &models.bodies[0];
        body.advance(&mut self.heat, &alone(self.pad, apart), 0.0);
        body.gallery(&self.heat, &mut self.amplitudes);
        for (p, row) in models.rows(0).probes.iter().enumerate() {
            self.seen.see(p, dot(row, &self.amplitudes), lags[p], step_s);
        }
        let probes = self.last.len();
        self.trail.copy_within(..(TRAIL - 1) * probes, probes);
        self.trail[..probes].copy_from_slice(&self.seen.shown);
        self.steps += 1;
    }

    /// Weighs a reading; true if the rival expected it.
    pub fn hear(&mut self, said: &Said<'_>) -> bool {
        if self.steps == 0 {
            return false;
        }
        let p = said.probe;
        if self.last[p].is_none() {
            self.passing_k[p] = said.passing_k;
        }
        let expected_k = LATE_STEPS.map(|late| self.expected_k(p, said.part, late));
        let now = Told { expected_k, seen_k: said.beyond_nominal - dot(said.row, &self.origin) };
        self.last[p] = Some(now);
        let shared_k = self.shared_k(p);
        let base = self.base[p];
        let alone_k = now.seen_k - base.seen_k;
        let expected_k: [f64; LATE] = core::array::from_fn(|i| now.expected_k[i] - base.expected_k[i]);
        // What all share is never more than what is seen here.
        let seen_k = alone_k - shared_k.clamp(alone_k.min(0.0), alone_k.max(0.0));
        // What came by itself may go by itself: the sun, a lid, cold water. A rival must show more than that.
        let own_k = excused(seen_k, self.passing_k[p]);
        let noise = said.noise;
        self.record.keep(Word {
            step: self.steps,
            probe: p,
            seen_k: seen_k as f32,
            own_k: own_k as f32,
            noise_k2: noise as f32,
            weight: said.weight as f32,
        });
        // Nothing that a pad does outruns the heat's way through the body: the sun, a lid or water do.
        let soonest_k = expected_k[0];
        if seen_k * soonest_k.signum() > OUTRUN * soonest_k.abs() + OUTRUN_SIGMA * libm::sqrt(noise) {
            self.rebase();
            return false;
        }
        for (sum, expected_k) in self.sums.iter_mut().zip(expected_k) {
            let variance = noise + straying_k2(expected_k);
            let off = |k: f64| libm::log(1.0 + k * k / variance);
            *sum += EACH_COUNTS * said.weight * (off(own_k) - off(seen_k - expected_k).min(off(own_k - expected_k)));
        }
        // The best beginning speaks for all of them; when even that makes no sense, the rival begins anew.
        let best = self.best();
        let gain = self.sums[best] - self.evidence;
        let ran_out = accumulate(&mut self.evidence, gain, PATIENCE_NATS);
        self.peak = self.peak.max(self.evidence);
        if ran_out {
            self.restart();
            return false;
        }
        let expected_k = expected_k[best];
        self.follow(p, (expected_k, seen_k));
        let variance = noise + straying_k2(expected_k);
        let missed_k = seen_k - expected_k;
        self.evidence > 1.0 && missed_k * missed_k < 25.0 * variance
    }

    /// Whether it has made its point or never will: its drive, `apart` from the belief's, is the belief's again, and
    /// nothing that it holds would show any more.
    pub fn is_spent(&self, apart: f64) -> bool {
        self.steps > STAGGER_STEPS && is_same_drive(apart) && self.seen.shown.iter().all(|k| k.abs() < FAINT_K)
    }

    /// What probe `p` last showed over what was believed when it parted, K.
    pub fn seen_k(&self, p: usize) -> Option<f64> {
        self.last.get(p).copied().flatten().map(|t| t.seen_k)
    }

    fn best(&self) -> usize {
        (1..LATE).fold(0, |best, i| if self.sums[i] > self.sums[best] { i } else { best })
    }

    /// How many steps after it parted its heat most likely began.
    pub fn late_steps(&self) -> usize {
        LATE_STEPS[self.best()]
    }

    /// What probe `p` should show over the belief at `part` of the last step, K, had its heat begun `late` steps after it
    /// parted.
    fn expected_k(&self, p: usize, part: f64, late: usize) -> f64 {
        let at = |ago: usize| self.trail[ago * self.last.len() + p];
        at(late + 1) + (at(late) - at(late + 1)) * part
    }

    /// What probe `p` shows because all of the nest does: the sun warms the far end too, the pad does not. Believed up
    /// to [`SHARED_MOST_K`], so that no single probe gone astray can hide a pad's heat.
    fn shared_k(&self, p: usize) -> f64 {
        let of = |t: &Told| t.expected_k[0].abs();
        let here = self.last[p].as_ref().map_or(0.0, of);
        let (mut sum, mut count) = (0.0, 0.0);
        for (i, t) in self.last.iter().enumerate() {
            if let Some(t) = t
                && i != p
                && of(t) < FAR_SHARE * here
            {
                sum += t.seen_k - t.expected_k[0];
                count += 1.0;
            }
        }
        if count > 0.0 { (sum / count).clamp(-SHARED_MOST_K, SHARED_MOST_K) } else { 0.0 }
    }

    /// Whatever came so far was not the pad's; from here on it must go on as the pad would.
    fn rebase(&mut self) {
        for (base, last) in self.base.iter_mut().zip(&self.last) {
            if let Some(last) = last {
                *base = *last;
            }
        }
        self.evidence = 0.0;
        self.sums = [0.0; LATE];
        self.since_then.fill(None);
        self.record.clear();
    }

    fn follow(&mut self, probe: usize, told: (f64, f64)) {
        if self.evidence < GROWTH_FROM_NATS {
            return;
        }
        match &mut self.since_then[probe] {
            // Smoothed, so that one reading's noise is not taken for growth.
            Some([_, now]) => {
                now.0 += 0.5 * (told.0 - now.0);
                now.1 += 0.5 * (told.1 - now.1);
            }
            none => *none = Some([told, told]),
        }
    }

    /// How much better it explains what was said than something that came from above on the same side, nats.
    pub fn over_sudden(&self, courses: &[FromAbove]) -> f64 {
        let side = self
            .last
            .iter()
            .flatten()
            .map(|t| t.expected_k[0])
            .fold(0.0, |m: f64, k| if k.abs() > m.abs() { k } else { m })
            .signum();
        self.evidence - courses.iter().map(|c| self.record.evidence(c, side)).fold(0.0, f64::max)
    }

    /// Whether the heat it expects keeps coming (or going): a lid that was opened or water poured in looks the same at
    /// first, but then it fades.
    pub fn keeps_growing(&self) -> bool {
        let grown = self.since_then.iter().flatten().map(|[then, now]| (now.0 - then.0, now.1 - then.1));
        let (mut expected, mut agrees) = (0.0, 0.0);
        for (x, y) in grown {
            expected += x * x;
            agrees += x * y;
        }
        expected > GROWTH_K * GROWTH_K && agrees > GROWTH_SHARE * expected
    }
}

/// Whether drives so far apart are the same.
fn is_same_drive(apart: f64) -> bool {
    apart.abs() < SAME_DRIVE
}

/// Variance of a prediction of `expected_k`, K²: see [`SHARE`].
pub(crate) fn straying_k2(expected_k: f64) -> f64 {
    (SHARE * expected_k) * (SHARE * expected_k)
}

/// What is left of `seen_k` when `passing_k`, or any part of it, has ended.
fn excused(seen_k: f64, passing_k: f64) -> f64 {
    if seen_k * passing_k >= 0.0 {
        return seen_k;
    }
    let left = (seen_k.abs() - passing_k.abs().min(PASSING_MOST_K)).max(0.0);
    left.copysign(seen_k)
}
