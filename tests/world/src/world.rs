//! The shelf as a whole: a clock that is told how far to go.
use crate::fault::{Fault, FaultKind, FaultRecord, Holding};
use crate::nest::{Around, Did, Nest, push_reading, value_at};
use crate::probe::{Faulty, Felt, Probe, Reading};
use crate::rng::Rng;
use crate::room::{Pull, Room};
use crate::spec::{Event, EventKind, WorldSpec};
use crate::vapour::saturation_pa;
use std::sync::Arc;

/// One step of the simulation, s.
pub const STEP_S: f64 = 5.0;
/// Time constant with which a heatwave comes and goes, s.
const HEATWAVE_TAU_S: f64 = 4.0 * 3600.0;

/// What a node tells once.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// When, s since 1970.
    pub t: f64,
    /// The node.
    pub node: Arc<str>,
    /// The sensor on it; `pad` for the drive.
    pub name: Arc<str>,
    /// SenML unit: `Cel`, `%RH`, `/`, `W`; empty with a state.
    pub unit: &'static str,
    /// What it says.
    pub value: Value,
}

impl Sample {
    /// Full SenML name, `node:sensor`.
    pub fn source(&self) -> String {
        format!("{}:{}", self.node, self.name)
    }
}

/// A sample's value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A number in the sample's unit.
    Number(f64),
    /// On or off.
    Bool(bool),
}

/// How one nest truly is.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// When, s since 1970.
    pub t_s: f64,
    /// Length of one cell, mm; cell i's middle lies at (i + ½) times that.
    pub cell_mm: f64,
    /// Gallery temperature of each cell, °C.
    pub gallery_c: Vec<f64>,
    /// Relative humidity of each cell, %RH.
    pub rh_pct: Vec<f64>,
    /// What the pad takes now, W.
    pub pad_w: f64,
    /// Its temperature, °C.
    pub pad_c: f64,
    /// The room's air, °C.
    pub room_c: f64,
    /// The brood's stretch, mm.
    pub brood_mm: (f64, f64),
}

impl Truth {
    /// Gallery temperature at a place, °C.
    pub fn temp_at(&self, at_mm: f64) -> f64 {
        value_at(&self.gallery_c, self.cell_mm, at_mm)
    }

    /// Relative humidity at a place, %RH.
    pub fn rh_at(&self, at_mm: f64) -> f64 {
        value_at(&self.rh_pct, self.cell_mm, at_mm)
    }

    /// Mean, highest and lowest temperature over the brood's stretch, °C.
    pub fn brood_c(&self) -> (f64, f64, f64) {
        let (from, to) = self.brood_mm;
        let spots: Vec<f64> = (0..=40).map(|i| self.temp_at(from + (to - from) * f64::from(i) / 40.0)).collect();
        let mean = spots.iter().sum::<f64>() / spots.len() as f64;
        let high = spots.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (mean, high, spots.iter().copied().fold(f64::INFINITY, f64::min))
    }
}

/// A simulated shelf.
#[derive(Clone, Debug)]
pub struct World {
    now_s: f64,
    epoch_s: f64,
    steps: u64,
    start_s: f64,
    room: Room,
    room_probe: Option<(Arc<str>, Arc<str>, Probe)>,
    nests: Vec<Nest>,
    events: Vec<Event>,
    pulls: Vec<Pull>,
    records: Vec<FaultRecord>,
    waiting: Vec<Sample>,
}

impl World {
    /// Builds the shelf and lets it settle. The same spec and seed tell the same story.
    pub fn new(spec: &WorldSpec, seed: u64) -> Self {
        let seed = Rng::new(seed);
        let start_s = spec.epoch_s - spec.settle_s.max(0.0);
        let room = Room::new(&spec.room, &seed, start_s);
        let felt = Felt { temp_c: room.temp_c, rh_pct: 100.0 * room.vapour_pa / saturation_pa(room.temp_c) };
        let room_probe = spec.room.probe.as_ref().map(|p| {
            let probe = Probe::new(p, 0.0, &seed.fork("room"), (start_s, felt));
            (Arc::from(spec.room.node.as_str()), Arc::from(p.name.as_str()), probe)
        });
        let nests = spec.nests.iter().map(|n| Nest::new(n, &seed, start_s, (room.temp_c, room.vapour_pa))).collect();
        let mut world = Self {
            now_s: start_s,
            epoch_s: spec.epoch_s,
            steps: 0,
            start_s,
            room,
            room_probe,
            nests,
            events: spec.events.clone(),
            pulls: spec.events.iter().filter_map(pull_of).collect(),
            records: Vec::new(),
            waiting: Vec::new(),
        };
        for fault in &spec.faults {
            world.inject(fault.clone());
        }
        world.run_to(spec.epoch_s);
        world.waiting.retain(|s| s.t >= spec.epoch_s);
        world
    }

    /// The shelf's clock, s since 1970.
    pub fn now_s(&self) -> f64 {
        self.now_s
    }

    /// Lets the shelf live until `to_s` (in whole steps) and gives what its nodes told, in order of time.
    pub fn advance(&mut self, to_s: f64) -> Vec<Sample> {
        self.run_to(to_s);
        let mut told = core::mem::take(&mut self.waiting);
        told.sort_by(|a, b| {
            a.t.total_cmp(&b.t)
                .then_with(|| a.node.cmp(&b.node))
                .then_with(|| a.name.cmp(&b.name))
                .then_with(|| a.unit.cmp(b.unit))
        });
        told
    }

    /// How a nest truly is now; `None` without such a nest.
    pub fn truth(&self, nest: &str) -> Option<Truth> {
        let i = self.nest_index(nest)?;
        Some(self.nests[i].truth(&self.around(i)))
    }

    /// The place of a nest in the list.
    pub fn nest_index(&self, nest: &str) -> Option<usize> {
        self.nests.iter().position(|n| n.spec.id == nest)
    }

    /// Lets something go wrong, from `fault.from_s` on.
    pub fn inject(&mut self, fault: Fault) {
        if fault.kind == FaultKind::Heatwave {
            let to_s = fault.to_s.unwrap_or(f64::INFINITY);
            let pull = Pull { delta_k: fault.size, tau_s: HEATWAVE_TAU_S, from_s: fault.from_s, to_s, level_k: 0.0 };
            self.pulls.push(pull);
        }
        self.records.push(FaultRecord::new(fault));
    }

    /// What became of the faults, in the order they were asked for.
    pub fn faults(&self) -> &[FaultRecord] {
        &self.records
    }

    /// Heat released in a nest, lost to the room, and held above 0 °C, J.
    pub fn balance_j(&self, nest: &str) -> Option<(f64, f64, f64)> {
        Some(self.nests[self.nest_index(nest)?].balance_j())
    }

    fn run_to(&mut self, to_s: f64) {
        while self.start_s + (self.steps + 1) as f64 * STEP_S <= to_s {
            self.steps += 1;
            self.now_s = self.start_s + self.steps as f64 * STEP_S;
            self.step();
        }
    }

    fn around(&self, nest: usize) -> Around {
        Around {
            now_s: self.now_s,
            dt_s: STEP_S,
            room_c: self.room.temp_c,
            room_pa: self.room.vapour_pa,
            holding: self.holding(nest),
        }
    }

    fn holding(&self, nest: usize) -> Holding {
        let mut all = Holding::default();
        for record in self.records.iter().filter(|r| r.active(self.now_s)) {
            let here = record.fault.nest == nest;
            match record.fault.kind {
                FaultKind::StuckOn => all.stuck |= here,
                FaultKind::PadDead => all.dead |= here,
                FaultKind::ThermostatProbeOff => all.sensor_off |= here,
                FaultKind::WaterDry => all.dry |= here,
                FaultKind::PowerCut => all.dark = true,
                _ => {}
            }
        }
        all
    }

    fn step(&mut self) {
        let now_s = self.now_s;
        let dry = self.events.iter().filter(|e| (e.from_s..e.to_s).contains(&now_s));
        let dry = dry.map(|e| if let EventKind::Dry(share) = e.kind { share } else { 0.0 }).sum();
        self.room.advance(now_s, STEP_S, &mut self.pulls, dry);
        for record in self.records.iter_mut().filter(|r| r.due(now_s) && r.fault.kind != FaultKind::StuckOn) {
            record.began_s = Some(now_s.max(record.fault.from_s));
        }
        let mut out = core::mem::take(&mut self.waiting);
        for i in 0..self.nests.len() {
            let mut around = self.around(i);
            let mut did = self.nests[i].decide(&around);
            self.stick(i, did);
            around.holding = self.holding(i);
            did.gave = deliver(did, around.holding);
            self.book(i, did);
            let life: Vec<(EventKind, f64)> = self
                .events
                .iter()
                .filter(|e| e.nest == i && (e.from_s..e.to_s).contains(&now_s))
                .map(|e| (e.kind, e.to_s - e.from_s))
                .collect();
            self.nests[i].advance(&around, did, &life, (i, &self.records), &mut out);
        }
        self.listen_to_room(&mut out);
        if now_s < self.epoch_s {
            out.clear();
        }
        self.waiting = out;
    }

    /// A relay sticks only once it is told to be off (or less than full).
    fn stick(&mut self, nest: usize, did: Did) {
        let now_s = self.now_s;
        for record in &mut self.records {
            if record.fault.kind == FaultKind::StuckOn
                && record.fault.nest == nest
                && did.told < 1.0
                && record.due(now_s)
            {
                record.began_s = Some((now_s - STEP_S).max(record.fault.from_s));
            }
        }
    }

    /// Books the first moment at which a pad's fault changed the heat.
    fn book(&mut self, nest: usize, did: Did) {
        let now_s = self.now_s;
        for record in self.records.iter_mut().filter(|r| r.fault.nest == nest && r.active(now_s)) {
            let changed = match record.fault.kind {
                FaultKind::StuckOn => did.gave > did.told,
                FaultKind::PadDead => did.gave < did.told,
                FaultKind::ThermostatProbeOff => (did.gave - did.due).abs() > 0.0,
                _ => false,
            };
            if changed && record.bites_s.is_none() {
                // The step's heat flows from its beginning on.
                record.bites_s = Some((now_s - STEP_S).max(record.fault.from_s));
            }
        }
    }

    fn listen_to_room(&mut self, out: &mut Vec<Sample>) {
        let dark = self.records.iter().any(|r| r.fault.kind == FaultKind::PowerCut && r.active(self.now_s));
        let rh_pct = 100.0 * self.room.vapour_pa / saturation_pa(self.room.temp_c);
        let felt = Felt { temp_c: self.room.temp_c, rh_pct };
        if let Some((node, name, probe)) = &mut self.room_probe {
            let faulty = Faulty { silent: dark, ..Faulty::default() };
            let mut heard: Vec<Reading> = Vec::new();
            probe.advance((self.now_s, STEP_S), felt, &faulty, &mut heard);
            for reading in heard {
                push_reading(reading, node, name, out);
            }
        }
    }
}

fn deliver(did: Did, holding: Holding) -> f64 {
    match holding {
        Holding { dark: true, .. } | Holding { dead: true, .. } => 0.0,
        Holding { stuck: true, .. } => 1.0,
        _ => did.told,
    }
}

fn pull_of(event: &Event) -> Option<Pull> {
    match event.kind {
        EventKind::Air { delta_k, tau_s } => {
            Some(Pull { delta_k, tau_s, from_s: event.from_s, to_s: event.to_s, level_k: 0.0 })
        }
        _ => None,
    }
}
