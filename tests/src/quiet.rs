//! Quiet shelves: any nest a keeper might build, any ordinary life, and nothing wrong. Whatever is raised there without
//! a truth behind it is a false alarm.
use crate::watched::{Raised, Watched};
use enclosure::{Alarm, Priority};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;
use world::{
    Control, Cover, Event, EventKind, Material, NestSpec, PadSpec, ProbeSpec, Report, Rng, Thermostat, WorldSpec,
};

/// First moment of every run: 2026-03-01T00:00:00Z.
pub const EPOCH_S: f64 = 1_772_323_200.0;
const DAY_S: f64 = 86_400.0;
/// See [`from_season`].
const SEASON_S: f64 = 91.0 * DAY_S;
/// Alarms that are counted, whether they come or not.
pub const COUNTED: [Alarm; 10] = [
    Alarm::HeaterStuckOn,
    Alarm::BroodLimit,
    Alarm::ProbeHot,
    Alarm::HeaterNoHeat,
    Alarm::ProbeImplausible,
    Alarm::ProbeSilent,
    Alarm::BroodHot,
    Alarm::BroodCold,
    Alarm::ForecastHot,
    Alarm::ForecastCold,
];

fn pick<T: Copy>(rng: &mut Rng, of: &[T]) -> T {
    of[((rng.uniform() * of.len() as f64) as usize).min(of.len() - 1)]
}

fn between(rng: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.uniform()
}

/// Watts that hold the warm end some 8 K over the room (from runs of the simulated shelf itself; no source).
fn hold_w(material: Material) -> f64 {
    match material {
        Material::Cork => 0.85,
        Material::Acrylic | Material::Printed | Material::Pine => 1.25,
        Material::Oak | Material::Beech => 1.35,
        Material::Glass => 1.5,
        Material::Plaster | Material::Aac => 1.9,
        Material::Clay => 2.2,
    }
}

/// Any nest.
fn any_nest(rng: &mut Rng) -> NestSpec {
    let material = pick(rng, &Material::ALL);
    let length_mm = (between(rng, 18.0, 30.0)).round() * 10.0;
    let middle = rng.uniform() < 0.2;
    let pad_mm = between(rng, 6.0, 10.0).round() * 10.0;
    let from_mm = if middle { (0.5 * (length_mm - pad_mm) / 10.0).round() * 10.0 } else { 0.0 };
    let hold_w = hold_w(material) * pad_mm / 80.0;
    let thermostat = rng.uniform() < 0.65;
    // A thermostat's mat is stronger than it must be, up to 1,000 W/m² of its 100 mm width.
    let spare = if thermostat { between(rng, 1.4, 4.5) } else { between(rng, 1.2, 2.0) };
    let watts = (hold_w * spare).min(pad_mm / 10.0).max(0.8);
    let mut pad = PadSpec::new(from_mm, from_mm + pad_mm, (10.0 * watts).round() / 10.0);
    pad.label_share = between(rng, 0.85, 1.02);
    pad.contact_m2k_w = pick(rng, &[0.005, 0.02, 0.04]);
    pad.limiting_per_k = if rng.uniform() < 0.2 { 0.005 } else { 0.0 };
    let mut nest = NestSpec::new(material.name(), material, length_mm).pad(pad, Control::Off);
    nest.control = if thermostat {
        let day_c = between(rng, 26.5, 29.5);
        let night_c = day_c - pick(rng, &[0.0, 0.0, 1.5, 3.0]);
        let at_mm = from_mm + pad_mm * between(rng, 0.35, 0.75);
        Control::Thermostat(Thermostat { at_mm: at_mm.round(), day_c, night_c, band_k: pick(rng, &[0.3, 0.5, 1.0]) })
    } else if rng.uniform() < 0.6 {
        Control::Dimmer((between(rng, 0.6, 1.05) * hold_w / watts).clamp(0.1, 1.0))
    } else {
        let from_h = between(rng, 5.0, 9.0);
        Control::Timer(vec![
            (from_h, from_h + between(rng, 3.0, 6.0)),
            (from_h + 7.0, from_h + between(rng, 9.0, 14.0)),
        ])
    };
    // A dimmer is never just on or off.
    let switched = if matches!(nest.control, Control::Dimmer(_)) { Report::Watts } else { Report::OnOff };
    nest.report = pick(rng, &[Report::Nothing, Report::Duty, Report::Duty, switched, Report::Watts]);
    nest.cover = pick(rng, &[Cover::Glass, Cover::Acrylic, Cover::Acrylic, Cover::Cork]);
    nest.colony_w = pick(rng, &[0.0, 0.02, 0.1]);
    nest.brood_mm = if middle { (from_mm + 10.0, from_mm + pad_mm - 10.0) } else { (pad_mm - 25.0, pad_mm + 8.0) };
    nest.water_mm = Some((0.7 * length_mm).round());
    nest.probes = any_probes(rng, &nest);
    nest
}

fn any_probes(rng: &mut Rng, nest: &NestSpec) -> Vec<ProbeSpec> {
    let brood_mm = (0.5 * (nest.brood_mm.0 + nest.brood_mm.1)).round();
    let places = match pick(rng, &[2, 3, 3, 3, 4]) {
        2 => vec![("warm", 10.0), ("cool", nest.length_mm - 12.0)],
        3 => vec![("warm", 10.0), ("brood", brood_mm), ("cool", nest.length_mm - 12.0)],
        _ => vec![("warm", 10.0), ("brood", brood_mm), ("mid", brood_mm + 45.0), ("cool", nest.length_mm - 12.0)],
    };
    let cadence_s = pick(rng, &[30.0, 60.0, 60.0, 60.0, 120.0, 300.0]);
    let step_k = pick(rng, &[0.01, 0.01, 0.0625, 0.1, 0.5]);
    let lag_s = between(rng, 20.0, 150.0);
    let noise_k = pick(rng, &[0.02, 0.05, 0.05, 0.12]);
    let loss = pick(rng, &[0.0, 0.003, 0.03, 0.15]);
    let place_sd_mm = pick(rng, &[0.5, 1.0, 1.5]);
    let probe = |(name, at_mm): (&str, f64)| ProbeSpec {
        cadence_s,
        step_k,
        lag_s,
        noise_k,
        loss,
        place_sd_mm,
        humidity: step_k < 0.1,
        ..ProbeSpec::new(name, at_mm)
    };
    places.into_iter().map(probe).collect()
}

/// What happens in an ordinary month: lids, water, sun, windows, a stove.
fn any_life(rng: &mut Rng, days: f64) -> Vec<Event> {
    let sunny = rng.uniform() < 0.3;
    let (delta_k, tau_s) = (between(rng, -9.0, -2.0), between(rng, 600.0, 2400.0));
    let stove_k = between(rng, 1.5, 5.0);
    // Kind, times a day, hours (from, to).
    let ordinary = [
        (EventKind::Lid, 0.3, (0.05, 0.35)),
        (EventKind::Refill { ml: between(rng, 5.0, 20.0), water_c: between(rng, 14.0, 22.0) }, 0.15, (0.02, 0.05)),
        (EventKind::Sun(between(rng, 20.0, 90.0)), if sunny { 0.5 } else { 0.0 }, (0.5, 2.0)),
        (EventKind::Air { delta_k, tau_s }, 0.25, (0.1, 1.2)),
        (EventKind::Air { delta_k: stove_k, tau_s: 2400.0 }, 0.1, (1.5, 6.0)),
    ];
    let mut life = Vec::new();
    for (kind, a_day, (shortest_h, longest_h)) in ordinary.into_iter().filter(|o| o.1 > 0.0) {
        let mut day = 0.0;
        loop {
            day -= rng.uniform().max(1e-9).ln() / a_day;
            if day > days {
                break;
            }
            // People are awake from 7 to 23 h.
            let from_s = EPOCH_S + day.floor() * DAY_S + between(rng, 7.0, 23.0) * 3600.0;
            let to_s = from_s + 3600.0 * between(rng, shortest_h, longest_h);
            life.push(Event { kind, nest: 0, from_s, to_s });
        }
    }
    life
}

/// One quiet nest for `days`; with `course` (s since the first moment, °C) as its room's temperature.
pub fn any_shelf(run: u32, days: f64, course: &[(f64, f64)]) -> WorldSpec {
    let mut rng = Rng::new(0x9e37 + u64::from(run)).fork("quiet");
    let nest = any_nest(&mut rng);
    let mut spec = WorldSpec::new(EPOCH_S, vec![nest]);
    spec.room.mean_c = between(&mut rng, 18.0, 23.5);
    spec.room.daily_k = between(&mut rng, 0.3, 2.5);
    spec.room.weather_sd_k = between(&mut rng, 0.2, 1.0);
    spec.events = any_life(&mut rng, days);
    let (cadence_s, heard) = (spec.nests[0].probes[0].cadence_s, rng.uniform() < 0.8);
    spec.room.probe = spec.room.probe.take().filter(|_| heard).map(|p| ProbeSpec { cadence_s, ..p });
    spec.room.course = from_season(run, course);
    spec
}

/// The course begun a season later in each run, and begun anew at its end: few runs see all of a year.
fn from_season(run: u32, course: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let Some((last_s, _)) = course.last() else { return Vec::new() };
    let begin_s = (f64::from(run) * SEASON_S) % last_s;
    let begin = course.partition_point(|(s, _)| *s < begin_s).min(course.len() - 1);
    let (late, early) = (&course[begin..], &course[..begin]);
    let at = |s: f64| EPOCH_S + (s - course[begin].0).rem_euclid(last_s + 3600.0);
    late.iter().chain(early).map(|(s, c)| (at(*s), *c)).collect()
}

/// What came of quiet runs.
#[derive(Debug, Default)]
pub struct Tally {
    /// Simulated days.
    pub days: f64,
    /// How often each alarm was raised without a truth, and in how many runs.
    pub counts: BTreeMap<Alarm, (u32, u32)>,
    /// One line for each run with a false alarm.
    pub stories: BTreeMap<u32, String>,
    /// Every false alarm of the last run, in words.
    pub told: Vec<String>,
    /// Readings taken in.
    pub readings: u64,
    /// Time in the world and in the core, all threads together.
    pub spent: (Duration, Duration),
}

impl Tally {
    fn add(&mut self, run: u32, days: f64, watched: &Watched, spec: &WorldSpec) {
        self.days += days;
        self.readings += watched.readings;
        self.spent.0 += watched.spent.0;
        self.spent.1 += watched.spent.1;
        let unfounded = watched.unfounded();
        for alarm in COUNTED {
            let count = unfounded.iter().filter(|r| r.alarm == alarm).count() as u32;
            let all = self.counts.entry(alarm).or_default();
            all.0 += count;
            all.1 += u32::from(count > 0);
        }
        let line = |r: &&Raised| format!("day {:.3} {}: {}", (r.t_s - EPOCH_S) / DAY_S, r.alarm.name(), r.detail);
        self.told = unfounded.iter().map(line).collect();
        if let Some(first) = unfounded.first() {
            let nest = &spec.nests[0];
            let day = (first.t_s - EPOCH_S) / DAY_S;
            let control = format!("{:?}", nest.control);
            let control = control.split([' ', '(']).next().unwrap_or("");
            let story = format!(
                "run {run}: {} false, first {} on day {day:.3}; {}, {control}, tells {:?}, {} probes every {} s in steps of {} K",
                unfounded.len(),
                first.alarm.name(),
                nest.id,
                nest.report,
                nest.probes.len(),
                nest.probes[0].cadence_s,
                nest.probes[0].step_k,
            );
            self.stories.insert(run, story);
        }
    }

    /// How often an alarm came.
    pub fn count(&self, alarm: Alarm) -> u32 {
        self.counts.get(&alarm).map_or(0, |c| c.0)
    }

    /// How many dangers came.
    pub fn dangers(&self) -> u32 {
        COUNTED.iter().filter(|a| a.priority() == Priority::Danger).map(|a| self.count(*a)).sum()
    }

    /// How many other alarms came.
    pub fn others(&self) -> u32 {
        COUNTED.iter().map(|a| self.count(*a)).sum::<u32>() - self.dangers()
    }

    /// Simulated years.
    pub fn years(&self) -> f64 {
        self.days / 365.25
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{:20}{:>8}{:>8}{:>16}  mean time between them, by 95 %",
            "false alarms", "times", "nests", "a nest-year"
        )?;
        for (alarm, (times, nests)) in &self.counts {
            let a_year = f64::from(*times) / self.years();
            let (least, most) = (self.years() / most_behind(*times), self.years() / least_behind(*times));
            let most = if *times == 0 { "unknown".to_owned() } else { format!("{most:.2}") };
            writeln!(f, "{:20}{times:8}{nests:8}{a_year:16.2}  {least:.2} to {most} nest-years", alarm.name())?;
        }
        let (world, core) = (self.spent.0.as_secs_f64(), self.spent.1.as_secs_f64());
        writeln!(
            f,
            "{:.2} nest-years, {} readings; a core lives {:.0} simulated days a second: {:.0} % world, {:.0} % watch",
            self.years(),
            self.readings,
            self.days / (world + core),
            100.0 * world / (world + core),
            100.0 * core / (world + core)
        )
    }
}

/// The most that may lie behind so many counted: upper 97.5 % bound of a Poisson mean (Garwood, Biometrika 28, 1936).
pub fn most_behind(count: u32) -> f64 {
    bound(count, 0.025)
}

/// The least: the lower bound, 0 behind none.
pub fn least_behind(count: u32) -> f64 {
    if count == 0 { 0.0 } else { bound(count - 1, 0.975) }
}

/// The mean at which at most `count` come with probability `share`.
fn bound(count: u32, share: f64) -> f64 {
    let at_most = |mean: f64| {
        let (mut term, mut sum) = ((-mean).exp(), (-mean).exp());
        for n in 1..=count {
            term *= mean / f64::from(n);
            sum += term;
        }
        sum
    };
    let (mut low, mut high) = (0.0, 700.0);
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if at_most(middle) > share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Lives through runs `from` to `to` (not included), each of `days`, on so many threads.
///
/// # Panics
/// If a run does.
pub fn live(from: u32, to: u32, days: f64, threads: u32, course: &[(f64, f64)]) -> Tally {
    let next = AtomicU32::new(from);
    let tally = Mutex::new(Tally::default());
    std::thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                loop {
                    let run = next.fetch_add(1, Ordering::Relaxed);
                    if run >= to {
                        break;
                    }
                    let spec = any_shelf(run, days, course);
                    let mut watched = Watched::new(&spec, u64::from(run));
                    watched.advance(EPOCH_S + days * DAY_S);
                    tally.lock().expect("no thread panicked").add(run, days, &watched, &spec);
                }
            });
        }
    });
    tally.into_inner().expect("no thread panicked")
}
