//! Contacts that weld: the node opens its switch, and its probes say that heat goes on.
use super::*;
use std::fmt::Write as _;
use tests::{minute_now_s, program, story};
use world::{Control, Fault, FaultKind, Material, NestSpec, PadSpec, ProbeSpec, World, WorldSpec};

/// Places of the probes, as in the shelf file, mm.
const PLACES_MM: (f64, f64) = (70.0, 230.0);
/// How long it was sound before, h: past the first twelve, in which little is concluded.
const SOUND_H: f64 = 14.0;
/// How long the contacts hold, s.
const WELDED_S: u64 = 2400;
/// The nest's temperatures are known so often, s.
const STEP_S: u64 = 10;

/// A nest as the shelf file describes it, on a thermostat that reports.
fn nest() -> WorldSpec {
    let probe = |name, at_mm| ProbeSpec { offset_sd_k: 0.0, place_sd_mm: 0.0, ..ProbeSpec::new(name, at_mm) };
    let mut nest = NestSpec::new("oak", Material::Oak, 240.0)
        .pad(PadSpec::new(0.0, 80.0, 5.0), Control::Off)
        .thermostat(45.0, 28.0)
        .probe(probe("warm", PLACES_MM.0))
        .probe(probe("cool", PLACES_MM.1));
    nest.brood_mm = (50.0, 90.0);
    let mut spec = WorldSpec::new(0.0, vec![nest]);
    spec.settle_s = 43_200.0;
    spec
}

/// What was told of the sound hours, with times that end at 0, and both probes' places from then on.
fn story() -> (Vec<world::Sample>, Vec<(f64, f64)>) {
    let mut world = World::new(&nest(), 3);
    let mut told = world.advance(SOUND_H * 3600.0);
    world.inject(Fault::new(FaultKind::StuckOn, 0, world.now_s()));
    while world.faults()[0].bites_s.is_none() {
        told.extend(world.advance(world.now_s() + STEP_S as f64));
    }
    let (welds_s, truth) = (world.now_s(), |world: &World| world.truth("oak").unwrap());
    let mut course = vec![];
    for _ in 0..=WELDED_S / STEP_S {
        course.push((truth(&world).temp_at(PLACES_MM.0), truth(&world).temp_at(PLACES_MM.1)));
        world.advance(world.now_s() + STEP_S as f64);
    }
    told.iter_mut().for_each(|sample| sample.t -= welds_s);
    (told, course)
}

#[test]
fn a_relay_that_welds_is_told_off_by_its_node_and_found_by_its_heat() {
    let (told, course) = story();
    let dir = tempfile::tempdir().unwrap();
    lay_out(dir.path(), &on_leave());
    let daemon = Daemon::run(dir.path());
    let mut bench = Bench::new(dir.path(), 0x57, &settings("oak-node", STEP_S as u16), PUMP);
    bench.hurried = true;
    bench.lead_to(daemon.broker);
    let mut board = bench.power(course[0].0, course[0].1);
    pad_becomes(&mut board, true, SOON);
    // The daemon is away: the lease ends, the node opens its switch, and the contacts hold. The board's time runs faster
    // than the wall's, so that its readings come later, with their own times.
    daemon.kill();
    let welds_ms = board.time_ms();
    let mut passed_s = 0;
    while passed_s < WELDED_S {
        let (warm_c, cool_c) = course[(passed_s / STEP_S) as usize];
        board.warm(warm_c);
        board.cool(cool_c);
        passed_s = (board.time_ms() - welds_ms) / 1000;
    }
    board.freeze();
    assert!(!board.pad(), "no leave, and driven");
    let (from, to) = (course[0].0, course.last().unwrap().0);
    println!("told off, and from {from:.1} to {to:.1} °C in {passed_s} s");
    // A daemon whose history ends with the sound hours.
    std::fs::remove_file(dir.path().join("warmend.db")).unwrap();
    let begins_s = minute_now_s() - passed_s as f64;
    let lines = told.into_iter().fold(String::new(), |mut text, mut sample| {
        sample.t += begins_s;
        let _ = writeln!(text, "{}", story::line(&sample));
        text
    });
    let at = |name: &str| dir.path().join(name).to_string_lossy().into_owned();
    std::fs::write(at("sound.sensml"), lines).unwrap();
    let taken = program::run(["import", "--format", "sensml", &at("sound.sensml"), "--shelf", &at("shelf.toml")]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    let daemon = Daemon::run(dir.path());
    assert!(daemon.alarm("oak", "heater-stuck-on").is_none(), "the sound hours are no fault");
    bench.lead_to(daemon.broker);
    board.go_on();
    let found = wait("its heat is found", A_WHILE, || daemon.alarm("oak", "heater-stuck-on"));
    println!("found: {found}");
    assert!(!found["detail"].to_string().contains("for -"), "for less than no time: {found}");
    // Leave is withdrawn: nothing but a person brings heat back.
    board.logs("latch: Some(Withdrawn)");
    wait("a person is waited for", SOON, || waits(&daemon).then_some(()));
    assert!(!board.pad());
    assert_eq!(daemon.stop(), 0);
}
