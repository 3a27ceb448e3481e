//! The harder stories: what the first leave out, each with one thing that makes it hard.
use crate::list::{AAC, ACRYLIC, BEECH, CLAY, CORK, GLASS, OAK, PINE, PLASTER, PRINTED, Scenario, duty, held, story};
use world::{Control, EventKind, FaultKind, NestSpec, ProbeSpec, Report};

/// An open window in winter.
const WINDOW: EventKind = EventKind::Air { delta_k: -7.0, tau_s: 900.0 };
/// A stove that is lit.
const STOVE: EventKind = EventKind::Air { delta_k: 5.0, tau_s: 2400.0 };

/// Every harder story.
pub(crate) fn all() -> Vec<Scenario> {
    let mut all = quiet();
    all.extend(stuck());
    all.extend(stuck_unsaid());
    all.extend(dead());
    all.extend(outside());
    all
}

/// Half-kelvin steps.
fn coarse(_: usize, probe: &mut ProbeSpec) {
    probe.step_k = 0.5;
}

/// Each probe sits 1.5 mm off, give or take, and says half a kelvin too much or too little.
fn askew(i: usize, probe: &mut ProbeSpec) {
    probe.place_sd_mm = 1.5;
    probe.bias_k = [0.5, -0.4, 0.4, -0.5][i.min(3)];
}

fn clock(spans: &[(f64, f64)]) -> impl Fn(&mut NestSpec) {
    let spans = spans.to_vec();
    move |n| n.control = Control::Timer(spans.clone())
}

/// A cable lies in a groove: long, weak, and well joined.
fn cable(nest: &mut NestSpec) {
    if let Some(pad) = &mut nest.pad {
        pad.contact_m2k_w = 0.005;
    }
}

/// Nothing is wrong, but nothing is easy.
fn quiet() -> Vec<Scenario> {
    let mut weeks = held("quiet-weeks-pine-dumb", 21, PINE, (0.0, 80.0, 4.0), &[8.0, 70.0, 210.0], 29.0)
        .report(Report::Nothing)
        .probes(askew);
    for week in 0..3 {
        let day = f64::from(week) * 7.0;
        weeks = weeks
            .event(WINDOW, day + 2.4, 0.6)
            .event(EventKind::Lid, day + 4.75, 0.25)
            .event(STOVE, day + 5.7, 4.0)
            .event(EventKind::Sun(70.0), day + 6.45, 1.5);
    }
    vec![
        weeks,
        held("quiet-beech-askew", 6, BEECH, (0.0, 85.0, 4.5), &[10.0, 75.0, 220.0], 29.0).probes(askew),
        held("quiet-glass-strong", 6, GLASS, (0.0, 70.0, 7.0), &[8.0, 62.0, 190.0], 28.0).report(Report::OnOff),
        duty("quiet-printed-dimmer-dumb", PRINTED, (0.0, 70.0, 2.5), &[8.0, 62.0, 170.0], 0.5).report(Report::Nothing),
        story("quiet-timer-oak-dumb", 7, OAK, (0.0, 80.0, 1.8), &[10.0, 70.0, 230.0])
            .nest(clock(&[(5.5, 10.0), (12.0, 21.5)]))
            .report(Report::Nothing),
        held("quiet-ends-pine", 6, PINE, (0.0, 80.0, 4.0), &[8.0, 210.0], 29.0).event(STOVE, 3.3, 5.0),
        held("quiet-coarse-slow-oak", 7, OAK, (0.0, 80.0, 4.5), &[10.0, 70.0, 230.0], 29.0)
            .probes(coarse)
            .cadence(300.0),
        held("quiet-lossy-beech", 6, BEECH, (80.0, 150.0, 4.0), &[12.0, 115.0, 220.0], 28.3).probes(|_, p| {
            p.loss = 0.25;
            p.noise_k = 0.15;
        }),
        story("quiet-cable-watts-aac", 7, AAC, (0.0, 150.0, 4.0), &[12.0, 110.0, 248.0])
            .nest(|n| n.control = Control::Dimmer(0.6))
            .nest(cable)
            .report(Report::Watts),
        held("quiet-cable-onoff-clay", 6, CLAY, (0.0, 140.0, 7.0), &[10.0, 100.0, 210.0], 28.0)
            .nest(cable)
            .report(Report::OnOff),
    ]
}

/// Pads that stick while somebody says what they are told.
fn stuck() -> Vec<Scenario> {
    let sticks = |s: Scenario, day: f64| s.fault(FaultKind::StuckOn, day);
    vec![
        sticks(held("stuck-fast-pine", 5, PINE, (0.0, 80.0, 5.0), &[8.0, 70.0, 210.0], 29.0).cadence(10.0), 4.3),
        sticks(held("stuck-slow-oak", 6, OAK, (0.0, 80.0, 6.0), &[10.0, 75.0, 230.0], 29.0).cadence(300.0), 4.6),
        sticks(
            held("stuck-coarse-plaster", 6, PLASTER, (0.0, 90.0, 8.0), &[10.0, 80.0, 230.0], 29.0).probes(coarse),
            4.4,
        ),
        sticks(held("stuck-beech-askew", 6, BEECH, (0.0, 85.0, 6.0), &[10.0, 75.0, 220.0], 29.0).probes(askew), 4.7),
        sticks(held("stuck-glass-strong", 6, GLASS, (0.0, 70.0, 7.0), &[8.0, 62.0, 190.0], 28.0), 4.35),
        sticks(held("stuck-beech-middle", 6, BEECH, (80.0, 150.0, 6.0), &[12.0, 115.0, 220.0], 28.3), 4.8),
        sticks(duty("stuck-weak-pine-dimmer", PINE, (0.0, 80.0, 1.6), &[8.0, 70.0, 210.0], 0.5), 5.4),
        sticks(
            story("stuck-timer-acrylic", 6, ACRYLIC, (0.0, 70.0, 2.4), &[10.0, 60.0, 190.0])
                .nest(clock(&[(6.0, 12.0), (14.0, 20.0)]))
                .report(Report::OnOff),
            4.5,
        ),
        sticks(
            held("stuck-cable-onoff-plaster", 6, PLASTER, (0.0, 140.0, 9.0), &[10.0, 100.0, 230.0], 28.5)
                .nest(cable)
                .report(Report::OnOff),
            4.25,
        ),
        sticks(held("stuck-ends-pine", 6, PINE, (0.0, 80.0, 5.0), &[8.0, 210.0], 29.0), 4.55),
        sticks(held("stuck-stove-clay", 6, CLAY, (0.0, 90.0, 8.0), &[10.0, 85.0, 210.0], 29.0), 4.72)
            .event(STOVE, 4.7, 4.0),
        sticks(held("stuck-fallen-probe-oak", 6, OAK, (0.0, 80.0, 6.0), &[10.0, 70.0, 120.0, 230.0], 29.0), 4.6)
            .probe_fault(FaultKind::ProbeOff, "warm", 4.2, 6.0),
        held("stuck-hour-glass", 6, GLASS, (0.0, 70.0, 5.0), &[8.0, 62.0, 190.0], 28.0).fault_until(
            FaultKind::StuckOn,
            4.4,
            4.45,
        ),
    ]
}

/// Pads that stick, and nobody says what they are told; or they are told to heat on and on.
fn stuck_unsaid() -> Vec<Scenario> {
    let unsaid = |s: Scenario, day: f64| s.report(Report::Nothing).fault(FaultKind::StuckOn, day);
    vec![
        unsaid(held("stuck-pine-dumb-askew", 6, PINE, (0.0, 80.0, 4.5), &[8.0, 70.0, 210.0], 29.0).probes(askew), 4.6),
        unsaid(
            held("stuck-plaster-dumb-slow", 6, PLASTER, (0.0, 90.0, 7.0), &[10.0, 80.0, 230.0], 29.0).cadence(300.0),
            4.3,
        ),
        unsaid(held("stuck-ends-beech-dumb", 6, BEECH, (0.0, 85.0, 5.5), &[10.0, 220.0], 29.0), 4.7),
        unsaid(held("stuck-cork-dumb-weak", 6, CORK, (0.0, 80.0, 1.8), &[10.0, 75.0, 210.0], 28.0), 4.5),
        unsaid(held("stuck-window-oak-dumb", 6, OAK, (0.0, 80.0, 5.0), &[10.0, 75.0, 230.0], 29.0), 4.45)
            .event(WINDOW, 4.4, 0.7),
        held("stuck-hour-oak-dumb", 6, OAK, (0.0, 80.0, 5.5), &[10.0, 75.0, 230.0], 29.0)
            .report(Report::Nothing)
            .fault_until(FaultKind::StuckOn, 4.6, 4.65),
        held("sensor-off-glass-watts", 6, GLASS, (0.0, 70.0, 7.0), &[8.0, 62.0, 190.0], 28.0)
            .report(Report::Watts)
            .fault(FaultKind::ThermostatProbeOff, 4.4),
        held("sensor-off-beech-middle-onoff", 6, BEECH, (80.0, 150.0, 5.0), &[12.0, 115.0, 220.0], 28.3)
            .report(Report::OnOff)
            .fault(FaultKind::ThermostatProbeOff, 4.7),
        held("sensor-off-ends-plaster-dumb", 6, PLASTER, (0.0, 90.0, 7.0), &[10.0, 230.0], 29.0)
            .report(Report::Nothing)
            .fault(FaultKind::ThermostatProbeOff, 4.3),
    ]
}

/// Pads that die.
fn dead() -> Vec<Scenario> {
    let dies = |s: Scenario, day: f64| s.fault(FaultKind::PadDead, day);
    vec![
        dies(held("dead-oak-dumb", 6, OAK, (0.0, 80.0, 5.0), &[10.0, 75.0, 230.0], 29.0).report(Report::Nothing), 4.4),
        dies(held("dead-clay-dumb-askew", 6, CLAY, (0.0, 90.0, 8.0), &[10.0, 85.0, 210.0], 28.5).probes(askew), 4.7)
            .report(Report::Nothing),
        dies(duty("dead-dimmer-printed-dumb", PRINTED, (0.0, 70.0, 2.5), &[8.0, 62.0, 170.0], 0.6), 5.3)
            .report(Report::Nothing),
        dies(held("dead-ends-aac", 6, AAC, (0.0, 100.0, 6.0), &[12.0, 248.0], 29.0), 4.6),
        dies(
            held("dead-beech-middle-slow", 6, BEECH, (80.0, 150.0, 5.0), &[12.0, 115.0, 220.0], 28.3).cadence(300.0),
            4.3,
        ),
        dies(held("dead-glass-coarse", 6, GLASS, (0.0, 70.0, 7.0), &[8.0, 62.0, 190.0], 28.0).probes(coarse), 4.8),
        dies(
            story("dead-timer-pine-onoff", 6, PINE, (0.0, 80.0, 2.4), &[8.0, 70.0, 210.0])
                .nest(clock(&[(6.0, 22.0)]))
                .report(Report::OnOff),
            4.5,
        ),
        dies(held("dead-cable-plaster", 6, PLASTER, (0.0, 140.0, 9.0), &[10.0, 100.0, 230.0], 28.5).nest(cable), 4.4),
    ]
}

/// What comes from outside the nest.
fn outside() -> Vec<Scenario> {
    vec![
        held("power-cut-night-beech-dumb", 6, BEECH, (0.0, 85.0, 5.0), &[10.0, 75.0, 220.0], 29.0)
            .report(Report::Nothing)
            .fault_until(FaultKind::PowerCut, 4.1, 4.4),
        duty("power-cuts-clay-dimmer", CLAY, (0.0, 90.0, 3.6), &[10.0, 85.0, 210.0], 0.6)
            .fault_until(FaultKind::PowerCut, 3.5, 3.514)
            .fault_until(FaultKind::PowerCut, 5.7, 5.73),
        held("windows-glass-dumb", 6, GLASS, (0.0, 70.0, 7.0), &[8.0, 62.0, 190.0], 28.0)
            .report(Report::Nothing)
            .event(WINDOW, 2.35, 0.5)
            .event(WINDOW, 3.3, 1.0)
            .event(WINDOW, 4.8, 0.4),
        held("stoves-oak-roomless", 7, OAK, (0.0, 80.0, 4.5), &[10.0, 75.0, 230.0], 29.0)
            .roomless()
            .event(STOVE, 2.75, 4.0)
            .event(STOVE, 3.75, 4.0)
            .event(WINDOW, 5.3, 1.0),
        held("heatwave-ends-plaster", 7, PLASTER, (0.0, 90.0, 6.0), &[10.0, 230.0], 28.5).room(23.0).fault_until(
            FaultKind::Heatwave,
            4.3,
            6.0,
        ),
    ]
}
