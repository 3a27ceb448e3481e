//! One nest at work: its body, its pad's control, its vapour and its probes.
use crate::body::{Body, Heat, at_place};
use crate::control::{Controller, Reporter, Told};
use crate::fault::{FaultRecord, Holding};
use crate::probe::{Faulty, Felt, Probe, Reading};
use crate::rng::Rng;
use crate::spec::{EventKind, NestSpec};
use crate::vapour::{Air, Galleries, Vapour, saturation_pa};
use crate::world::{Sample, Truth, Value};
use std::sync::Arc;

/// Films follow the temperatures this often, s.
const REFILM_S: f64 = 60.0;
/// Vapour moves in steps of, s.
const VAPOUR_S: f64 = 20.0;
/// Mains voltage: standard deviation and correlation time (no source).
const MAINS_SD: f64 = 0.012;
const MAINS_TAU_S: f64 = 3600.0;

/// What surrounds a nest during one step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Around {
    pub(crate) now_s: f64,
    pub(crate) dt_s: f64,
    pub(crate) room_c: f64,
    pub(crate) room_pa: f64,
    pub(crate) holding: Holding,
}

/// What the pad was told and did in one step.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Did {
    /// What the control says, 0 to 1.
    pub(crate) told: f64,
    /// What it would say with its sensor in place.
    pub(crate) due: f64,
    /// What the pad gave, 0 to 1.
    pub(crate) gave: f64,
}

/// A nest.
#[derive(Clone, Debug)]
pub(crate) struct Nest {
    pub(crate) spec: NestSpec,
    body: Body,
    vapour: Vapour,
    controller: Controller,
    reporter: Reporter,
    probes: Vec<(Arc<str>, Probe)>,
    node: Arc<str>,
    pad_name: Arc<str>,
    mains: f64,
    rng: Rng,
    pad_w: f64,
    dark: bool,
    since_film_s: f64,
    since_vapour_s: f64,
    was_open: bool,
    heard: Vec<Reading>,
}

impl Nest {
    pub(crate) fn new(spec: &NestSpec, seed: &Rng, now_s: f64, room: (f64, f64)) -> Self {
        let seed = seed.fork(&spec.id);
        // A length that is none would have no cells.
        let spec = &NestSpec { length_mm: spec.length_mm.max(40.0), ..spec.clone() };
        let (room_c, room_pa) = room;
        let body = Body::new(spec, &seed, room_c);
        let numbers = spec.material.numbers();
        let vapour = Vapour::new(
            &Galleries {
                cells: body.cells,
                cell_mm: body.cell_mm,
                air_m2: body.air_m2,
                wall_m: (spec.width_mm + 2.0 * spec.gallery_mm) / 1000.0,
                moisture_kg_m3: numbers.moisture_kg_m3,
                water_mm: spec.water_mm,
                dry_tau_s: spec.dry_tau_s,
            },
            room_pa,
            room_c,
        );
        let felt = Felt { temp_c: room_c, rh_pct: 100.0 * room_pa / saturation_pa(room_c) };
        let probes = spec
            .probes
            .iter()
            .map(|p| (Arc::from(p.name.as_str()), Probe::new(p, spec.length_mm, &seed, (now_s, felt))))
            .collect();
        Self {
            spec: spec.clone(),
            body,
            vapour,
            controller: Controller::new(&spec.control, &seed, room_c),
            reporter: Reporter::new(spec.report, spec.report_s, &seed, now_s),
            probes,
            node: Arc::from(spec.node.as_str()),
            pad_name: Arc::from("pad"),
            mains: 0.0,
            rng: seed.fork("mains"),
            pad_w: 0.0,
            dark: false,
            since_film_s: f64::INFINITY,
            since_vapour_s: 0.0,
            was_open: false,
            heard: Vec::new(),
        }
    }

    /// What the pad will be told in the step that begins at `around.now_s - dt_s`.
    pub(crate) fn decide(&mut self, around: &Around) -> Did {
        let holding = around.holding;
        if holding.dark {
            self.dark = true;
            return Did::default();
        }
        if self.dark {
            self.dark = false;
            self.controller.restart();
            self.reporter.reboot(around.now_s);
        }
        let feels = self.controller.sensor_mm().map_or(around.room_c, |at| self.body.gallery_at(at));
        let fallen = holding.sensor_off.then_some(around.room_c);
        let (told, due) = self.controller.decide(around.now_s, around.dt_s, feels, fallen);
        Did { told, due, gave: told }
    }

    /// One step: heat, vapour, probes. `life`: what happens in it, each with its length in s.
    pub(crate) fn advance(
        &mut self,
        around: &Around,
        did: Did,
        life: &[(EventKind, f64)],
        faults: (usize, &[FaultRecord]),
        out: &mut Vec<Sample>,
    ) {
        self.warm(around, did, life);
        self.since_vapour_s += around.dt_s;
        if self.since_vapour_s >= VAPOUR_S {
            let room = (around.room_pa, around.room_c);
            if life.iter().any(|(kind, _)| matches!(kind, EventKind::Refill { .. })) {
                self.vapour.spill();
            }
            let air = Air { room, dry: around.holding.dry, open: self.was_open };
            self.vapour.advance(self.since_vapour_s, &self.body.gallery_c, air);
            self.since_vapour_s = 0.0;
        }
        // Without power nothing is told; the probes go on feeling.
        if !around.holding.dark && self.spec.pad.is_some() {
            self.tell(around, did.told, out);
        }
        self.listen(around, faults, out);
    }

    fn tell(&mut self, around: &Around, told: f64, out: &mut Vec<Sample>) {
        let Some((t, told)) = self.reporter.advance(around.now_s, around.dt_s, told, self.pad_w) else { return };
        let fine = |v: f64| Value::Number((v * 1000.0).round() / 1000.0);
        let (unit, value) = match told {
            Told::Duty(d) => ("/", fine(d)),
            Told::Watts(w) => ("W", fine(w)),
            Told::On(on) => ("", Value::Bool(on)),
        };
        out.push(Sample { t, node: self.node.clone(), name: self.pad_name.clone(), unit, value });
    }

    fn warm(&mut self, around: &Around, did: Did, life: &[(EventKind, f64)]) {
        let keep = (-around.dt_s / MAINS_TAU_S).exp();
        self.mains = keep * self.mains + (1.0 - keep * keep).sqrt() * MAINS_SD * self.rng.normal();
        self.pad_w = self.spec.pad.map_or(0.0, |p| {
            let limited = (1.0 - p.limiting_per_k * (self.body.pad_c() - 25.0)).clamp(0.05, 1.5);
            did.gave * p.watts * p.label_share * (1.0 + self.mains).powi(2) * limited
        });
        let mut heat = Heat { pad_w: self.pad_w, ..Heat::default() };
        let mut open = false;
        for (kind, length_s) in life {
            match kind {
                EventKind::Air { .. } | EventKind::Dry(_) => {}
                EventKind::Lid => open = true,
                EventKind::Sun(w) => heat.sun_w_m2 += w,
                EventKind::Refill { ml, water_c } => {
                    let at = self.spec.water_mm.unwrap_or(0.5 * self.spec.length_mm);
                    heat.pour = Some((at, ml / length_s.max(around.dt_s), *water_c));
                }
            }
        }
        self.since_film_s += around.dt_s;
        if self.since_film_s >= REFILM_S || open != self.was_open {
            self.body.refilm(around.room_c, open, around.dt_s);
            self.since_film_s = 0.0;
            self.was_open = open;
        }
        self.body.step(around.room_c, heat);
    }

    fn listen(&mut self, around: &Around, faults: (usize, &[FaultRecord]), out: &mut Vec<Sample>) {
        let room_rh = 100.0 * around.room_pa / saturation_pa(around.room_c);
        let room = Felt { temp_c: around.room_c, rh_pct: room_rh };
        for (i, (name, probe)) in self.probes.iter_mut().enumerate() {
            let temp_c = self.body.gallery_at(probe.true_mm);
            let cell = ((probe.true_mm / self.body.cell_mm) as usize).min(self.body.cells - 1);
            let pressure = self.vapour.pressure_pa(cell, temp_c);
            let felt = Felt { temp_c, rh_pct: (100.0 * pressure / saturation_pa(temp_c)).min(100.0) };
            let mut faulty = Faulty::gather(faults.1, around.now_s, (faults.0, name, i == 0), room);
            faulty.silent |= around.holding.dark;
            probe.advance((around.now_s, around.dt_s), felt, &faulty, &mut self.heard);
            for reading in self.heard.drain(..) {
                push_reading(reading, &self.node, name, out);
            }
        }
    }

    /// The truth now.
    pub(crate) fn truth(&self, around: &Around) -> Truth {
        let cells = self.body.cells;
        let rh: Vec<f64> = (0..cells)
            .map(|i| {
                let t = self.body.gallery_c[i];
                (100.0 * self.vapour.pressure_pa(i, t) / saturation_pa(t)).min(100.0)
            })
            .collect();
        Truth {
            t_s: around.now_s,
            cell_mm: self.body.cell_mm,
            gallery_c: self.body.gallery_c.clone(),
            rh_pct: rh,
            pad_w: self.pad_w,
            pad_c: self.body.pad_c(),
            room_c: around.room_c,
            brood_mm: self.spec.brood_mm,
        }
    }

    /// Heat released, lost and held, J.
    pub(crate) fn balance_j(&self) -> (f64, f64, f64) {
        (self.body.slab.released_j, self.body.slab.lost_j, self.body.slab.held_j())
    }
}

/// Writes one reading as samples.
pub(crate) fn push_reading(reading: Reading, node: &Arc<str>, name: &Arc<str>, out: &mut Vec<Sample>) {
    let Reading { t_s: t, temp_c, rh_pct } = reading;
    let sample = |unit, v| Sample { t, node: node.clone(), name: name.clone(), unit, value: Value::Number(v) };
    if let Some(rh) = rh_pct {
        out.push(sample("%RH", rh));
    }
    out.push(sample("Cel", temp_c));
}

/// A truth's values at a place, for all who ask.
pub(crate) fn value_at(values: &[f64], cell_mm: f64, at_mm: f64) -> f64 {
    at_place(values, cell_mm, at_mm)
}
