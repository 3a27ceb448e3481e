//! How a story is told, and the first of them: materials, pads, controls, probes, weather and faults.
use crate::{harder, water};
use world::{
    Control, Cover, Event, EventKind, Fault, FaultKind, Material, NestSpec, PadSpec, ProbeSpec, Report, Thermostat,
    WorldSpec,
};

/// First moment of every scenario: 2026-03-01T00:00:00Z.
pub(crate) const EPOCH_S: f64 = 1_772_323_200.0;
pub(crate) const DAY_S: f64 = 86_400.0;

/// One story.
pub(crate) struct Scenario {
    pub(crate) name: String,
    pub(crate) seed: u64,
    pub(crate) days: u32,
    pub(crate) spec: WorldSpec,
}

impl Scenario {
    pub(crate) fn room(mut self, mean_c: f64) -> Self {
        self.spec.room.mean_c = mean_c;
        self
    }

    pub(crate) fn fault(mut self, kind: FaultKind, day: f64) -> Self {
        self.spec.faults.push(Fault::new(kind, 0, EPOCH_S + day * DAY_S));
        self
    }

    pub(crate) fn fault_until(mut self, kind: FaultKind, day: f64, until: f64) -> Self {
        self.spec.faults.push(Fault::new(kind, 0, EPOCH_S + day * DAY_S).until(EPOCH_S + until * DAY_S));
        self
    }

    pub(crate) fn probe_fault(mut self, kind: FaultKind, probe: &str, day: f64, until: f64) -> Self {
        let fault = Fault::new(kind, 0, EPOCH_S + day * DAY_S).probe(probe).until(EPOCH_S + until * DAY_S);
        self.spec.faults.push(fault);
        self
    }

    pub(crate) fn event(mut self, kind: EventKind, day: f64, hours: f64) -> Self {
        let from_s = EPOCH_S + day * DAY_S;
        self.spec.events.push(Event { kind, nest: 0, from_s, to_s: from_s + hours * 3600.0 });
        self
    }

    pub(crate) fn report(mut self, report: Report) -> Self {
        self.spec.nests[0].report = report;
        self
    }

    pub(crate) fn roomless(mut self) -> Self {
        self.spec.room.probe = None;
        self
    }

    pub(crate) fn cadence(mut self, every_s: f64) -> Self {
        let nest = &mut self.spec.nests[0];
        nest.report_s = every_s.max(30.0);
        let room = self.spec.room.probe.iter_mut();
        nest.probes.iter_mut().chain(room).for_each(|p| p.cadence_s = every_s);
        self
    }

    pub(crate) fn probes(mut self, change: impl Fn(usize, &mut ProbeSpec)) -> Self {
        self.spec.nests[0].probes.iter_mut().enumerate().for_each(|(i, p)| change(i, p));
        self
    }

    pub(crate) fn nest(mut self, change: impl Fn(&mut NestSpec)) -> Self {
        change(&mut self.spec.nests[0]);
        self
    }
}

/// A story about one nest with a pad; probes at `places`, named from the warm end.
pub(crate) fn story(name: &str, days: u32, nest: (Material, f64), pad: (f64, f64, f64), places: &[f64]) -> Scenario {
    let names: &[&str] = match places.len() {
        2 => &["warm", "cool"],
        3 => &["warm", "brood", "cool"],
        _ => &["warm", "brood", "mid", "cool"],
    };
    let (material, length_mm) = nest;
    let (from, to, watts) = pad;
    let mut spec = NestSpec::new(material.name(), material, length_mm).pad(PadSpec::new(from, to, watts), Control::Off);
    spec.node = material.name().into();
    spec.brood_mm = if from > 0.0 { (from + 10.0, to - 10.0) } else { (to - 25.0, to + 8.0) };
    spec.water_mm = Some((0.7 * length_mm).round());
    for (place, name) in places.iter().zip(names) {
        spec = spec.probe(ProbeSpec::new(name, *place));
    }
    // The seed is the story's name, so that adding a story changes no other.
    let seed = name.bytes().fold(17_u64, |s, b| s.wrapping_mul(31).wrapping_add(u64::from(b)));
    // No two bodies are built alike.
    let built = |of: u64, low: f64, high: f64| low + (high - low) * (seed / of % 7) as f64 / 6.0;
    spec.wall_mm = built(1, 5.0, 12.0);
    spec.base_mm = built(7, 7.0, 15.0);
    spec.gallery_mm = built(49, 8.0, 14.0);
    spec.air_share = built(343, 0.3, 0.6);
    if let Some(pad) = &mut spec.pad {
        pad.contact_m2k_w = built(2401, 0.006, 0.025);
        pad.label_share = built(16_807, 0.9, 1.0);
    }
    Scenario { name: name.into(), seed, days, spec: WorldSpec::new(EPOCH_S, vec![spec]) }
}

/// The same with a thermostat near the middle of the pad.
pub(crate) fn held(
    name: &str,
    days: u32,
    nest: (Material, f64),
    pad: (f64, f64, f64),
    places: &[f64],
    set_c: f64,
) -> Scenario {
    let at_mm = (0.5 * (pad.0 + pad.1)).round();
    story(name, days, nest, pad, places).nest(|n| *n = n.clone().thermostat(at_mm, set_c))
}

pub(crate) fn duty(name: &str, nest: (Material, f64), pad: (f64, f64, f64), places: &[f64], share: f64) -> Scenario {
    story(name, 8, nest, pad, places).nest(|n| n.control = Control::Dimmer(share))
}

pub(crate) const PINE: (Material, f64) = (Material::Pine, 220.0);
pub(crate) const OAK: (Material, f64) = (Material::Oak, 240.0);
pub(crate) const PLASTER: (Material, f64) = (Material::Plaster, 240.0);
pub(crate) const AAC: (Material, f64) = (Material::Aac, 260.0);
pub(crate) const CLAY: (Material, f64) = (Material::Clay, 220.0);
pub(crate) const ACRYLIC: (Material, f64) = (Material::Acrylic, 200.0);
pub(crate) const CORK: (Material, f64) = (Material::Cork, 220.0);
pub(crate) const BEECH: (Material, f64) = (Material::Beech, 230.0);
pub(crate) const GLASS: (Material, f64) = (Material::Glass, 200.0);
pub(crate) const PRINTED: (Material, f64) = (Material::Printed, 180.0);

/// Every scenario.
pub(crate) fn all() -> Vec<Scenario> {
    let mut all = quiet();
    all.extend(probes());
    all.extend(weather());
    all.extend(ahead());
    all.extend(pads());
    all.extend(mishaps());
    all.extend(harder::all());
    all.extend(water::all());
    all
}

/// Weeks in which nothing is wrong.
fn quiet() -> Vec<Scenario> {
    let night = |t: &mut NestSpec| {
        t.control = Control::Thermostat(Thermostat { at_mm: 40.0, day_c: 29.5, night_c: 28.0, band_k: 0.6 });
    };
    let mut three_weeks = held("quiet-three-weeks-oak", 21, OAK, (0.0, 80.0, 4.0), &[10.0, 70.0, 120.0, 230.0], 30.0)
        .nest(night)
        .nest(|n| n.colony_w = 0.08);
    for week in 0..3 {
        let day = f64::from(week) * 7.0;
        three_weeks = three_weeks
            .event(EventKind::Lid, day + 2.6, 0.08)
            .event(EventKind::Refill { ml: 15.0, water_c: 17.0 }, day + 3.7, 0.03)
            .event(EventKind::Sun(60.0), day + 5.4, 1.0);
    }
    vec![
        three_weeks,
        held("quiet-pine", 7, PINE, (0.0, 80.0, 3.5), &[8.0, 70.0, 210.0], 29.5).nest(night),
        held("quiet-oak-middle", 7, OAK, (90.0, 160.0, 4.0), &[12.0, 130.0, 228.0], 28.3),
        held("quiet-plaster-strong", 6, PLASTER, (0.0, 90.0, 9.0), &[10.0, 80.0, 230.0], 30.0).report(Report::OnOff),
        held("quiet-cork-weak", 7, CORK, (0.0, 80.0, 1.6), &[10.0, 75.0, 210.0], 28.5).nest(|n| n.cover = Cover::Cork),
        duty("quiet-clay-watts", CLAY, (0.0, 90.0, 3.6), &[10.0, 85.0, 210.0], 0.6).report(Report::Watts),
        story("timer-acrylic", 7, ACRYLIC, (0.0, 70.0, 1.6), &[10.0, 60.0, 190.0])
            .nest(|n| n.control = Control::Timer(vec![(6.0, 12.0), (14.0, 23.0)]))
            .report(Report::OnOff),
        held("quiet-plaster-roomless", 7, PLASTER, (0.0, 90.0, 5.0), &[10.0, 80.0, 230.0], 29.0)
            .nest(|n| n.cover = Cover::Glass)
            .roomless(),
        duty("quiet-aac-ends", AAC, (0.0, 100.0, 4.5), &[12.0, 248.0], 0.45),
    ]
}

/// Probes of every sort.
fn probes() -> Vec<Scenario> {
    vec![
        held("fast-pine", 5, PINE, (0.0, 80.0, 4.0), &[8.0, 70.0, 210.0], 29.0).cadence(10.0),
        held("slow-oak", 8, OAK, (0.0, 80.0, 4.0), &[10.0, 75.0, 230.0], 29.0).cadence(300.0),
        held("coarse-plaster", 7, PLASTER, (0.0, 90.0, 5.0), &[10.0, 80.0, 230.0], 29.5).probes(|_, p| {
            p.step_k = 0.5;
            p.humidity = false;
            p.lag_s = 120.0;
        }),
        held("sixteenth-acrylic", 6, ACRYLIC, (0.0, 70.0, 3.0), &[8.0, 62.0, 110.0, 190.0], 29.0).probes(|_, p| {
            p.step_k = 0.0625;
            p.lag_s = 30.0;
            p.noise_k = 0.03;
        }),
        held("biased-pine", 7, PINE, (0.0, 80.0, 4.0), &[8.0, 70.0, 210.0], 29.5).probes(|i, p| {
            p.bias_k = [0.6, -0.5, 0.3][i.min(2)];
            p.loss = 0.04;
        }),
        held("bad-probes-oak", 8, OAK, (0.0, 80.0, 5.0), &[10.0, 70.0, 120.0, 230.0], 29.0)
            .probe_fault(FaultKind::Spike, "brood", 2.4, 3.4)
            .probe_fault(FaultKind::Freeze, "warm", 4.1, 4.9)
            .probe_fault(FaultKind::Silent, "cool", 5.3, 5.6)
            .probe_fault(FaultKind::ProbeOff, "brood", 6.6, 8.0),
        held("fallen-probe-plaster", 7, PLASTER, (0.0, 90.0, 5.0), &[10.0, 80.0, 230.0], 29.0)
            .probe_fault(FaultKind::ProbeOff, "warm", 4.3, 7.0)
            .report(Report::Nothing),
    ]
}

/// Weather and ordinary life.
fn weather() -> Vec<Scenario> {
    let window = EventKind::Air { delta_k: -6.0, tau_s: 1200.0 };
    vec![
        held("windows-plaster", 7, PLASTER, (0.0, 90.0, 6.0), &[10.0, 80.0, 230.0], 29.0)
            .event(window, 2.33, 0.7)
            .event(window, 4.35, 1.5)
            .event(window, 5.8, 0.5),
        held("heatwave-pine-dumb", 8, PINE, (0.0, 80.0, 3.5), &[8.0, 70.0, 210.0], 29.0)
            .room(23.0)
            .report(Report::Nothing)
            .fault_until(FaultKind::Heatwave, 4.2, 6.2),
        duty("heatwave-clay-dimmer", CLAY, (0.0, 90.0, 3.6), &[10.0, 85.0, 210.0], 0.5).fault_until(
            FaultKind::Heatwave,
            5.1,
            7.0,
        ),
        held("power-cut-oak", 7, OAK, (0.0, 80.0, 5.0), &[10.0, 75.0, 230.0], 29.5).fault_until(
            FaultKind::PowerCut,
            4.4,
            4.525,
        ),
        held("busy-oak", 8, OAK, (0.0, 80.0, 4.5), &[10.0, 75.0, 230.0], 29.0)
            .nest(|n| n.colony_w = 0.1)
            .event(EventKind::Lid, 2.7, 0.1)
            .event(EventKind::Sun(80.0), 3.45, 1.0)
            .event(EventKind::Refill { ml: 15.0, water_c: 16.0 }, 4.75, 0.03)
            .event(EventKind::Lid, 5.5, 0.3)
            .event(EventKind::Sun(50.0), 6.45, 1.5),
    ]
}

/// Hours that a forecast should see coming, and some that only look so.
fn ahead() -> Vec<Scenario> {
    let air = |delta_k: f64, hours: f64| EventKind::Air { delta_k, tau_s: hours * 3600.0 };
    let timer = |n: &mut NestSpec| n.control = Control::Timer(vec![(7.0, 13.0), (16.0, 22.0)]);
    vec![
        held("ahead-hot-oak-onoff", 7, OAK, (0.0, 80.0, 5.0), &[10.0, 75.0, 230.0], 29.0)
            .report(Report::OnOff)
            .room(23.5)
            .event(air(9.0, 2.0), 4.45, 30.0),
        held("ahead-hot-acrylic-slow", 7, ACRYLIC, (60.0, 130.0, 3.5), &[10.0, 95.0, 190.0], 28.5).room(23.0).event(
            air(10.0, 8.0),
            3.6,
            40.0,
        ),
        story("ahead-hot-cork-timer", 7, CORK, (0.0, 80.0, 1.6), &[10.0, 75.0, 210.0]).nest(timer).event(
            air(8.0, 4.0),
            4.2,
            36.0,
        ),
        held("ahead-warm-days-pine", 7, PINE, (0.0, 80.0, 4.0), &[8.0, 70.0, 210.0], 29.0)
            .event(air(4.0, 3.0), 3.3, 40.0)
            .event(air(3.0, 0.25), 5.7, 3.0),
        held("ahead-cold-plaster-weak", 7, PLASTER, (0.0, 90.0, 3.6), &[10.0, 80.0, 230.0], 28.0).event(
            air(-9.0, 4.0),
            4.6,
            40.0,
        ),
        duty("ahead-cold-clay-dimmer", CLAY, (0.0, 90.0, 3.6), &[10.0, 85.0, 210.0], 0.55).event(
            air(-7.0, 3.0),
            4.8,
            40.0,
        ),
        held("ahead-cool-oak-strong", 7, OAK, (0.0, 80.0, 6.0), &[10.0, 75.0, 230.0], 30.0).room(22.0).event(
            air(-4.0, 3.0),
            4.4,
            40.0,
        ),
        duty("ahead-windows-clay-dimmer", CLAY, (0.0, 90.0, 3.6), &[10.0, 85.0, 210.0], 0.6)
            .room(22.0)
            .event(air(-5.0, 0.33), 2.4, 0.5)
            .event(air(-5.0, 0.33), 4.35, 0.7)
            .event(air(4.0, 0.25), 5.7, 1.5),
    ]
}

/// Pads that stick or die.
fn pads() -> Vec<Scenario> {
    let limiting = |n: &mut NestSpec| {
        if let Some(pad) = &mut n.pad {
            pad.limiting_per_k = 0.006;
        }
    };
    vec![
        held("stuck-oak", 7, OAK, (0.0, 80.0, 5.0), &[10.0, 75.0, 230.0], 29.0).fault(FaultKind::StuckOn, 5.3),
        held("stuck-hour-clay", 7, CLAY, (0.0, 90.0, 9.0), &[10.0, 85.0, 210.0], 29.0)
            .report(Report::OnOff)
            .fault_until(FaultKind::StuckOn, 5.5, 5.55),
        held("stuck-acrylic-dumb", 7, ACRYLIC, (0.0, 70.0, 4.0), &[10.0, 60.0, 190.0], 29.0)
            .report(Report::Nothing)
            .fault(FaultKind::StuckOn, 5.7),
        duty("stuck-weak-dimmer-oak", OAK, (90.0, 160.0, 2.2), &[12.0, 130.0, 228.0], 0.6)
            .nest(limiting)
            .fault(FaultKind::StuckOn, 5.2),
        held("stuck-ends-aac-coarse", 7, AAC, (0.0, 100.0, 5.0), &[12.0, 248.0], 29.0)
            .probes(|_, p| p.step_k = 0.5)
            .fault(FaultKind::StuckOn, 4.9),
        held("dead-plaster-onoff", 7, PLASTER, (0.0, 90.0, 6.0), &[10.0, 80.0, 230.0], 29.5)
            .report(Report::OnOff)
            .fault(FaultKind::PadDead, 5.2),
        duty("dead-cork-watts", CORK, (0.0, 80.0, 1.8), &[10.0, 75.0, 210.0], 0.55)
            .report(Report::Watts)
            .fault(FaultKind::PadDead, 5.4),
        held("sensor-off-pine", 7, PINE, (0.0, 80.0, 4.0), &[8.0, 70.0, 210.0], 29.0)
            .fault(FaultKind::ThermostatProbeOff, 5.1),
        held("sensor-off-aac-dumb", 7, AAC, (0.0, 100.0, 5.0), &[12.0, 95.0, 248.0], 29.0)
            .report(Report::Nothing)
            .fault(FaultKind::ThermostatProbeOff, 5.6),
    ]
}

/// Water.
fn mishaps() -> Vec<Scenario> {
    vec![
        held("water-dry-pine", 9, PINE, (0.0, 80.0, 4.0), &[8.0, 70.0, 210.0], 29.0).fault(FaultKind::WaterDry, 5.0),
        held("water-dry-plaster-middle", 9, PLASTER, (90.0, 170.0, 5.0), &[12.0, 130.0, 228.0], 28.5)
            .fault(FaultKind::WaterDry, 5.3),
    ]
}
