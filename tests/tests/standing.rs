//! A fault of the heating that nobody mends for days: it stands over nights, lifted lids and restarts until it is mended,
//! and then it is over.
use enclosure::{Alarm, Event};
use tests::quiet::EPOCH_S;
use tests::watched::Watched;
use warmend::history::AlarmRecord;
use world::{Control, EventKind, Fault, FaultKind, Material, NestSpec, PadSpec, ProbeSpec, Report, WorldSpec};

const HOUR_S: f64 = 3600.0;
/// The fault begins, h; a day and more is known by then, or two of a timer.
const BEGINS_H: f64 = 34.0;
/// See [`BEGINS_H`]: a timer's nest begins so much earlier, h.
const EARLIER_H: f64 = 24.0;
/// It is mended, h.
const MENDED_H: f64 = 130.0;
/// The story ends, h.
const ENDS_H: f64 = 140.0;
/// Restarts, h: before it was found or just after, within the hours that are read again, and long past them.
const RESTARTS_H: [f64; 6] = [34.1, 36.0, 52.0, 58.5, 66.0, 110.0];
/// The same of a timer, whose days are not known so soon after a start.
const LATE_RESTARTS_H: [f64; 3] = [58.5, 66.0, 110.0];
/// Lids are lifted, h, for twenty minutes.
const LIDS_H: [f64; 3] = [45.0, 60.0, 95.0];

/// Under a thermostat that tells nobody, or whose reports tell what it does.
fn nest(material: Material, (pad_mm, watts): (f64, f64), report: Report) -> NestSpec {
    let pad = PadSpec::new(0.0, pad_mm, watts);
    let mut nest =
        NestSpec::new(material.name(), material, 230.0).pad(pad, Control::Off).thermostat(0.5 * pad_mm, 29.0);
    nest.report = report;
    nest.brood_mm = (pad_mm - 25.0, pad_mm + 8.0);
    for (name, at_mm) in [("warm", 10.0), ("brood", pad_mm - 8.0), ("cool", 218.0)] {
        nest = nest.probe(ProbeSpec::new(name, at_mm));
    }
    nest
}

/// The changes of `alarm`, with their hours.
fn told(changes: &[AlarmRecord], alarm: Alarm) -> Vec<(Event, f64)> {
    let of = |c: &&AlarmRecord| c.alarm == alarm;
    changes.iter().filter(of).map(|c| (c.event, (c.at.unix_s() - EPOCH_S) / HOUR_S)).collect()
}

fn lives_through(nest: NestSpec, kind: FaultKind, alarm: Alarm) {
    let name = format!("{} {kind:?} {:?}", nest.id, nest.report);
    let is_timer = matches!(nest.control, Control::Timer(_));
    let (begin_s, restarts_h): (_, &[f64]) =
        if is_timer { (EPOCH_S - EARLIER_H * HOUR_S, &LATE_RESTARTS_H) } else { (EPOCH_S, &RESTARTS_H) };
    let mut spec = WorldSpec::new(begin_s, vec![nest]);
    let at_s = |h: f64| EPOCH_S + h * HOUR_S;
    spec.faults.push(Fault::new(kind, 0, at_s(BEGINS_H)).until(at_s(MENDED_H)));
    for h in LIDS_H {
        spec.events.push(world::Event { kind: EventKind::Lid, nest: 0, from_s: at_s(h), to_s: at_s(h + 0.33) });
    }
    let mut watched = Watched::new(&spec, 7);
    for h in restarts_h {
        watched.advance(at_s(*h));
        watched.restart();
    }
    watched.advance(at_s(MENDED_H));
    let standing = told(&watched.changes, alarm);
    let [(Event::Raised, raised_h)] = standing[..] else { panic!("{name}: told once, and it stands: {standing:?}") };
    // A timer's mat is missed once it should be on, and stands out once it should be off.
    let within_h = if is_timer { 24.0 } else { 2.5 };
    assert!((BEGINS_H..BEGINS_H + within_h).contains(&raised_h), "{name}: {raised_h}");
    watched.advance(at_s(ENDS_H));
    let after = told(&watched.changes, alarm);
    assert!(
        matches!(after[1..], [(Event::Returned | Event::Cleared, over_h)] if over_h < MENDED_H + 6.0),
        "{name}: over once mended: {after:?}"
    );
}

#[test]
fn a_stuck_mat_that_tells_nobody_stands_until_it_lets_go() {
    lives_through(nest(Material::Plaster, (90.0, 6.0), Report::Nothing), FaultKind::StuckOn, Alarm::HeaterStuckOn);
    lives_through(nest(Material::Oak, (80.0, 2.4), Report::Nothing), FaultKind::StuckOn, Alarm::HeaterStuckOn);
}

#[test]
fn a_dead_mat_that_tells_nobody_stands_until_it_heats() {
    lives_through(nest(Material::Oak, (80.0, 5.0), Report::Nothing), FaultKind::PadDead, Alarm::HeaterNoHeat);
}

#[test]
fn a_mat_under_a_timer_that_tells_nobody_stands_until_it_keeps_its_hours() {
    let timer = |material, pad| {
        let mut nest = nest(material, pad, Report::Nothing);
        nest.control = Control::Timer(vec![(6.0, 11.0), (13.0, 22.0)]);
        nest
    };
    lives_through(timer(Material::Clay, (90.0, 3.6)), FaultKind::StuckOn, Alarm::HeaterStuckOn);
    lives_through(timer(Material::Pine, (80.0, 3.0)), FaultKind::PadDead, Alarm::HeaterNoHeat);
}

#[test]
fn a_thermostat_whose_own_sensor_fell_off_stands_until_it_lets_go() {
    let nest = nest(Material::Pine, (80.0, 3.5), Report::OnOff);
    lives_through(nest, FaultKind::ThermostatProbeOff, Alarm::HeaterStuckOn);
}

#[test]
fn what_the_heat_itself_shows_stands_until_the_heat_shows_otherwise() {
    lives_through(nest(Material::Oak, (80.0, 5.0), Report::Duty), FaultKind::StuckOn, Alarm::HeaterStuckOn);
    lives_through(nest(Material::Clay, (90.0, 3.6), Report::OnOff), FaultKind::PadDead, Alarm::HeaterNoHeat);
}
