//! Probes: where they truly sit, how late and how wrong they are.
use crate::fault::{FaultKind, FaultRecord};
use crate::rng::Rng;
use crate::spec::ProbeSpec;

/// Standard deviation of a humidity probe's offset and noise, %RH (makers' data sheets: 2 to 3 % accuracy).
const RH_OFFSET_SD: f64 = 1.2;
const RH_NOISE: f64 = 0.5;
/// What broken one-wire sensors say, °C (makers' data sheets: power-on value and a failed read).
const NONSENSE_C: [f64; 2] = [85.0, -127.0];

/// One probe at work.
#[derive(Clone, Debug)]
pub(crate) struct Probe {
    pub(crate) spec: ProbeSpec,
    /// Where it truly sits, mm.
    pub(crate) true_mm: f64,
    offset_k: f64,
    rh_offset: f64,
    temp_c: f64,
    rh_pct: f64,
    last: Option<(f64, f64)>,
    base_s: f64,
    next_s: f64,
    rng: Rng,
}

/// One reading: when, °C, and %RH where the probe tells it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reading {
    pub(crate) t_s: f64,
    pub(crate) temp_c: f64,
    pub(crate) rh_pct: Option<f64>,
}

/// What a probe feels during a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Felt {
    pub(crate) temp_c: f64,
    pub(crate) rh_pct: f64,
}

impl Probe {
    pub(crate) fn new(spec: &ProbeSpec, length_mm: f64, seed: &Rng, start: (f64, Felt)) -> Self {
        let mut rng = seed.fork(&spec.name);
        let (now_s, felt) = start;
        let true_mm = (spec.at_mm + spec.place_sd_mm * rng.normal()).clamp(0.0, length_mm);
        let offset_k = spec.bias_k + spec.offset_sd_k * rng.normal();
        let rh_offset = RH_OFFSET_SD * rng.normal();
        let base_s = now_s + spec.cadence_s * rng.uniform();
        let next_s = base_s + spec.jitter_s * rng.uniform();
        Self {
            spec: spec.clone(),
            true_mm,
            offset_k,
            rh_offset,
            temp_c: felt.temp_c,
            rh_pct: felt.rh_pct,
            last: None,
            base_s,
            next_s,
            rng,
        }
    }

    /// Takes in one step that ends at `now_s`; pushes the readings that fall due in it.
    pub(crate) fn advance(&mut self, step: (f64, f64), felt: Felt, faults: &Faulty, out: &mut Vec<Reading>) {
        let (now_s, dt_s) = step;
        let felt = faults.off.unwrap_or(felt);
        let before = (self.temp_c, self.rh_pct);
        let gain = 1.0 - (-dt_s / self.spec.lag_s.max(0.1)).exp();
        self.temp_c += gain * (felt.temp_c - self.temp_c);
        self.rh_pct += gain * (felt.rh_pct - self.rh_pct);
        while self.next_s <= now_s {
            let t_s = self.next_s;
            self.base_s += self.spec.cadence_s.max(1.0);
            // Every draw is made whatever befalls the probe, so that a fault changes nothing but itself.
            let draws = [self.rng.normal(), self.rng.normal()];
            let chances = [self.rng.uniform(), self.rng.uniform(), self.rng.uniform(), self.rng.uniform()];
            self.next_s = (self.base_s + self.spec.jitter_s * chances[3]).max(t_s + 0.001);
            let part = 1.0 - ((now_s - t_s) / dt_s).clamp(0.0, 1.0);
            let temp = before.0 + part * (self.temp_c - before.0);
            let rh = before.1 + part * (self.rh_pct - before.1);
            let mut said = (
                quantise(temp + self.offset_k + self.spec.noise_k * draws[0], self.spec.step_k),
                quantise((rh + self.rh_offset + RH_NOISE * draws[1]).clamp(0.0, 100.0), 0.01),
            );
            match (faults.frozen, self.last) {
                (true, Some(last)) => said = last,
                _ => self.last = Some(said),
            }
            if chances[1] < faults.spike {
                said.0 = nonsense(said.0, chances[2]);
            }
            if faults.silent || chances[0] < self.spec.loss {
                continue;
            }
            out.push(Reading { t_s, temp_c: said.0, rh_pct: self.spec.humidity.then_some(said.1) });
        }
    }
}

/// Half of the nonsense is a sensor's own sign of failure, half a wild jump.
fn nonsense(said_c: f64, chance: f64) -> f64 {
    match chance {
        c if c < 0.25 => NONSENSE_C[0],
        c if c < 0.5 => NONSENSE_C[1],
        c if c < 0.75 => quantise(said_c + 5.0 + 40.0 * (c - 0.5), 0.01),
        c => quantise(said_c - 5.0 - 40.0 * (c - 0.75), 0.01),
    }
}

fn quantise(value: f64, step: f64) -> f64 {
    if step > 0.0 { (value / step).round() * step } else { value }
}

/// The faults that hold for one probe.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Faulty {
    pub(crate) frozen: bool,
    pub(crate) silent: bool,
    pub(crate) spike: f64,
    /// What it feels where it fell to.
    pub(crate) off: Option<Felt>,
}

impl Faulty {
    /// Gathers what holds at `now_s` for a probe: its nest, its name, whether it is the nest's first.
    pub(crate) fn gather(records: &[FaultRecord], now_s: f64, probe: (usize, &str, bool), room: Felt) -> Self {
        let (nest, name, first) = probe;
        let mut all = Self::default();
        for record in records.iter().filter(|r| r.fault.nest == nest && r.active(now_s)) {
            if !record.fault.probe.as_deref().map_or(first, |p| p == name) {
                continue;
            }
            match record.fault.kind {
                FaultKind::Freeze => all.frozen = true,
                FaultKind::Silent => all.silent = true,
                FaultKind::Spike => all.spike = record.fault.size,
                FaultKind::ProbeOff => all.off = Some(room),
                _ => {}
            }
        }
        all
    }
}
