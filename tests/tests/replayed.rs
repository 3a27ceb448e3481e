//! `replay` against the truth of the simulated shelf.
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use tests::{program, seed, shelf, story};
use world::{Event, EventKind, Fault, FaultKind, Material, World, WorldSpec};

/// 2026-03-01T00:00:00Z.
const EPOCH_S: f64 = 1_772_323_200.0;
const DAY_S: f64 = 86_400.0;
/// After this a profile is judged: a night's fit lies behind it.
const SETTLED_S: f64 = 1.25 * DAY_S;

/// What `replay` says of the first `days` of a story.
fn replayed(dir: &Path, spec: &WorldSpec, seed: u64, days: f64) -> (String, Vec<Value>) {
    shelf::write(dir, &[&shelf::of(spec)]);
    let recording = story::recording(spec, seed, days * 24.0);
    std::fs::write(dir.join("readings.sensml"), &recording).unwrap();
    let at = |name: &str| dir.join(name).into_os_string();
    let args = ["replay".into(), "--shelf".into(), at("shelf.toml"), "--every".into(), "30m".into()];
    let ended = program::run(args.into_iter().chain([at("readings.sensml")]));
    assert_eq!(ended.code, 0, "{}", ended.err);
    (recording, ended.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

fn raised(lines: &[Value], alarms: &[&str]) -> Vec<(f64, String)> {
    let events = lines.iter().filter(|l| l["kind"] == "alarm" && l["event"] == "raised");
    let named = events.map(|l| (l["t"].as_f64().unwrap(), l["alarm"].as_str().unwrap().to_owned()));
    named.filter(|(_, alarm)| alarms.is_empty() || alarms.contains(&alarm.as_str())).collect()
}

/// The last temperature of each probe of nest 0 at each half hour: place and °C, by the shelf file's places.
fn heard(recording: &str, spec: &WorldSpec) -> BTreeMap<i64, Vec<(f64, f64)>> {
    let nest = &spec.nests[0];
    let places: BTreeMap<String, f64> =
        nest.probes.iter().map(|p| (format!("{}:{}", nest.node, p.name), p.at_mm)).collect();
    let (mut last, mut at): (BTreeMap<String, f64>, _) = (BTreeMap::new(), BTreeMap::new());
    for line in recording.lines() {
        let record: Value = serde_json::from_str(line).unwrap();
        let (name, t) = (record["n"].as_str().unwrap(), record["t"].as_f64().unwrap());
        if record["u"] == "Cel" && places.contains_key(name) {
            last.insert(name.to_owned(), record["v"].as_f64().unwrap());
        }
        let mut points: Vec<(f64, f64)> = last.iter().map(|(name, c)| (places[name], *c)).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        at.insert((t / 1800.0).ceil() as i64 * 1800, points);
    }
    at
}

/// Straight lines between the probes, level beyond them.
fn straight(points: &[(f64, f64)], x: f64) -> f64 {
    let after = points.partition_point(|(at, _)| *at <= x);
    match (points.get(after.wrapping_sub(1)), points.get(after)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0),
        (Some(only), None) | (None, Some(only)) => only.1,
        (None, None) => f64::NAN,
    }
}

/// Root mean square errors over all settled profiles before `until_s`: the estimate's, and the straight lines'; and
/// the share of truth within the 90 % interval.
fn errors(lines: &[Value], recording: &str, spec: &WorldSpec, seed: u64, until_s: f64) -> (f64, f64, f64) {
    let mut world = World::new(spec, seed);
    let heard = heard(recording, spec);
    let (mut ours, mut lines_own, mut within, mut n) = (0.0, 0.0, 0.0, 0.0);
    for profile in lines.iter().filter(|l| l["kind"] == "profile") {
        let t = profile["t"].as_f64().unwrap();
        if t < spec.epoch_s + SETTLED_S || t > until_s {
            continue;
        }
        world.advance(t);
        let truth = world.truth(&spec.nests[0].id).unwrap();
        let list = |key: &str| profile[key].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect::<Vec<_>>();
        for ((x, mean), sd) in list("at_mm").into_iter().zip(list("mean_c")).zip(list("sd_c")) {
            let true_c = truth.temp_at(x);
            ours += (mean - true_c).powi(2);
            lines_own += (straight(&heard[&(t as i64)], x) - true_c).powi(2);
            // Normal distribution: 90 % lie within 1.645 standard deviations.
            within += f64::from(u8::from((mean - true_c).abs() <= 1.645 * sd));
            n += 1.0;
        }
    }
    assert!(n > 1_000.0, "{n} places were judged");
    ((ours / n).sqrt(), (lines_own / n).sqrt(), within / n)
}

/// Oak with three probes and plaster with a dimmer, two days each; nowhere near a limit.
fn quiet() -> Vec<(WorldSpec, u64)> {
    let mut plaster = story::oak(EPOCH_S);
    let nest = &mut plaster.nests[0];
    nest.id = "plaster".to_owned();
    nest.material = Material::Plaster;
    nest.control = world::Control::Dimmer(0.35);
    (3..6).flat_map(|n| [(story::oak(EPOCH_S), seed(n)), (plaster.clone(), seed(n + 100))]).collect()
}

#[test]
fn a_quiet_time_raises_nothing_and_the_profile_beats_straight_lines() {
    // An interval's share of the truth says little about one week of one nest: its errors last as long as it does.
    let mut shares = Vec::new();
    for (spec, seed) in quiet() {
        let id = &spec.nests[0].id;
        let dir = tempfile::tempdir().unwrap();
        let (recording, lines) = replayed(dir.path(), &spec, seed, 2.5);
        let loud =
            ["heater-stuck-on", "heater-no-heat", "brood-limit", "probe-hot", "probe-implausible", "probe-silent"];
        assert_eq!(raised(&lines, &loud), [], "{id}");
        let (ours, straight, within) = errors(&lines, &recording, &spec, seed, f64::INFINITY);
        println!("{id}: {ours:.2} K, straight lines {straight:.2} K, {:.0} % within", 100.0 * within);
        assert!(ours < 0.6 * straight, "{id}: {ours:.2} K is not better than {straight:.2} K");
        shares.push(within);
    }
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    // Nothing happens in these weeks: intervals that also hold lids and the sun are wide here.
    assert!((0.8..0.995).contains(&mean), "{mean:.2} of the truth lies within the 90 % intervals: {shares:.2?}");
}

#[test]
fn a_pad_that_sticks_is_found_in_minutes_and_nothing_is_raised_before() {
    let mut spec = story::oak(EPOCH_S);
    let fault_s = EPOCH_S + 1.6 * DAY_S;
    spec.faults.push(Fault::new(FaultKind::StuckOn, 0, fault_s));
    let seed = seed(8);
    let mut world = World::new(&spec, seed);
    world.advance(EPOCH_S + 1.75 * DAY_S);
    let bites_s = world.faults()[0].bites_s.expect("the pad stuck");
    let dir = tempfile::tempdir().unwrap();
    let (_, lines) = replayed(dir.path(), &spec, seed, 1.75);
    let found = raised(&lines, &[]);
    let (t, _) = found.iter().find(|(_, alarm)| alarm == "heater-stuck-on").expect("it is found");
    let delay_min = (t - bites_s) / 60.0;
    println!("found after {delay_min:.1} min");
    assert!((0.0..25.0).contains(&delay_min), "found {delay_min:.1} min after it stuck");
    assert!(found.iter().all(|(t, _)| *t >= bites_s), "{found:?}");
}

/// The sun warms all of a nest, the far end too, and faster than any pad can; an open lid and cool water cool faster
/// than a pad that is off.
#[test]
fn ordinary_life_is_not_taken_for_a_pad_that_sticks_or_dies() {
    let mut spec = story::oak(EPOCH_S);
    let life = [
        (EventKind::Sun(70.0), 1.55, 1.0),
        (EventKind::Refill { ml: 15.0, water_c: 17.0 }, 1.75, 0.03),
        (EventKind::Lid, 1.9, 0.08),
        (EventKind::Air { delta_k: -6.0, tau_s: 1200.0 }, 2.1, 0.5),
        (EventKind::Sun(40.0), 2.3, 1.5),
    ];
    for (kind, day, hours) in life {
        let from_s = EPOCH_S + day * DAY_S;
        spec.events.push(Event { kind, nest: 0, from_s, to_s: from_s + hours * 3600.0 });
    }
    for n in 0..3 {
        let dir = tempfile::tempdir().unwrap();
        let (_, lines) = replayed(dir.path(), &spec, seed(20 + n), 2.5);
        assert_eq!(raised(&lines, &["heater-stuck-on", "heater-no-heat", "brood-limit", "probe-hot"]), [], "{n}");
    }
}

#[test]
fn a_pad_that_dies_is_found() {
    let mut spec = story::oak(EPOCH_S);
    let fault_s = EPOCH_S + 1.6 * DAY_S;
    spec.faults.push(Fault::new(FaultKind::PadDead, 0, fault_s));
    let dir = tempfile::tempdir().unwrap();
    let (_, lines) = replayed(dir.path(), &spec, seed(9), 1.85);
    let found = raised(&lines, &["heater-no-heat", "heater-stuck-on"]);
    assert!(found.iter().any(|(t, alarm)| alarm == "heater-no-heat" && *t > fault_s), "{found:?}");
    assert!(found.iter().all(|(_, alarm)| alarm != "heater-stuck-on"), "{found:?}");
}

/// When the brood area's mean over an hour first truly passes the shelf's upper bound, s since 1970.
fn passes_high(spec: &WorldSpec, seed: u64, hours: i32) -> f64 {
    let mut world = World::new(spec, seed);
    let mut hour = std::collections::VecDeque::new();
    for five_minutes in 0..hours * 12 {
        let t = spec.epoch_s + f64::from(five_minutes) * 300.0;
        world.advance(t);
        hour.push_back(world.truth(&spec.nests[0].id).unwrap().brood_c().0);
        if hour.len() > 12 {
            hour.pop_front();
        }
        if hour.len() == 12 && hour.iter().sum::<f64>() / 12.0 > world::Band::default().high_c {
            return t;
        }
    }
    panic!("it never gets too warm in this story");
}

#[test]
fn a_heatwave_is_announced_before_the_brood_place_leaves_its_band() {
    let mut spec = story::oak(EPOCH_S);
    // Well beyond the bound: where it is barely passed, nobody can tell hours before whether it will be.
    spec.room.mean_c = 23.0;
    spec.faults.push(Fault::new(FaultKind::Heatwave, 0, EPOCH_S + 2.3 * DAY_S));
    let seed = seed(31);
    let truly = passes_high(&spec, seed, 72);
    let dir = tempfile::tempdir().unwrap();
    let (_, lines) = replayed(dir.path(), &spec, seed, 3.0);
    let told = raised(&lines, &["forecast-hot", "forecast-cold", "brood-hot"]);
    let (t, alarm) = told.first().expect("something is told");
    let lead_min = (truly - t) / 60.0;
    println!("{alarm} {lead_min:.0} min before it is true");
    assert!(alarm == "forecast-hot" && (30.0..720.0).contains(&lead_min), "{alarm} {lead_min:.0} min before");
    assert!(told.iter().all(|(_, alarm)| alarm != "forecast-cold"), "{told:?}");
    // A message of its own, hours later: that it has come is no consequence of its having been foretold.
    let come = lines.iter().find(|l| l["alarm"] == "brood-hot" && l["event"] == "raised").expect("it comes");
    assert!(come["t"].as_f64().is_some_and(|came| came > *t) && come.get("cause").is_none(), "{come}");
}

/// Days that only look so: a room's own swing, open windows, a stove, four warm days that a thermostat takes back.
#[test]
fn ordinary_rooms_raise_no_forecast() {
    let air = |delta_k: f64, tau_s: f64, day: f64, hours: f64| {
        let from_s = EPOCH_S + day * DAY_S;
        let kind = EventKind::Air { delta_k, tau_s };
        Event { kind, nest: 0, from_s, to_s: from_s + hours * 3600.0 }
    };
    let stories = [
        vec![],
        vec![air(-6.0, 1200.0, 1.35, 0.7), air(-6.0, 1200.0, 2.3, 1.0)],
        vec![air(4.0, 900.0, 1.7, 3.0), air(3.0, 10_800.0, 2.2, 20.0)],
    ];
    for (n, events) in stories.into_iter().enumerate() {
        let mut spec = story::oak(EPOCH_S);
        spec.events = events;
        let dir = tempfile::tempdir().unwrap();
        let (_, lines) = replayed(dir.path(), &spec, seed(40 + n as u64), 3.0);
        assert_eq!(raised(&lines, &["forecast-hot", "forecast-cold"]), [], "story {n}");
    }
}
