//! One scenario's folder.
use crate::list::Scenario;
use flate2::{Compression, GzBuilder, write::GzEncoder};
use std::fmt;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::Path;
use world::{Band, EventKind, FaultKind, Sample, Truth, Value, World, shelf_toml};

/// Seconds between two rows of truth.
const ROW_S: f64 = 300.0;
/// Places told along the axis, less one.
const PLACES: u32 = 40;

/// What a scenario turned out to be, for a look at its sanity.
pub(crate) struct Seen {
    duty: f64,
    brood: (f64, f64),
    hot: f64,
    pad: f64,
    rh: f64,
}

impl fmt::Display for Seen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.brood;
        write!(f, "{:7.2}{low:8.1}{high:7.1}{:7.1}{:7.1}{:7.1}", self.duty, self.hot, self.pad, self.rh)
    }
}

type Gz = GzEncoder<BufWriter<File>>;

fn gz(path: &Path) -> io::Result<Gz> {
    // No time inside: the same seed writes the same bytes.
    Ok(GzBuilder::new().mtime(0).write(BufWriter::new(File::create(path)?), Compression::default()))
}

/// Runs a scenario and writes its folder under `out`.
pub(crate) fn folder(out: &Path, scenario: &Scenario) -> io::Result<Seen> {
    let dir = out.join(&scenario.name);
    fs::create_dir_all(&dir)?;
    fs::write(dir.join("shelf.toml"), shelf_toml(&scenario.name, &scenario.spec, Band::default()))?;
    let mut world = World::new(&scenario.spec, scenario.seed);
    let nest = &scenario.spec.nests[0];
    let places: Vec<f64> = (0..=PLACES).map(|i| (nest.length_mm * f64::from(i) / f64::from(PLACES)).round()).collect();
    let mut readings = gz(&dir.join("readings.sensml.gz"))?;
    let mut truth = gz(&dir.join("truth.csv.gz"))?;
    write_head(&mut truth, &places)?;
    let rows = (f64::from(scenario.days) * 86_400.0 / ROW_S) as u32;
    let watts = nest.pad.map_or(1.0, |p| p.watts * p.label_share);
    let mut seen = Seen { duty: 0.0, brood: (f64::MAX, f64::MIN), hot: f64::MIN, pad: f64::MIN, rh: 0.0 };
    for row in 0..rows {
        let t = scenario.spec.epoch_s + f64::from(row) * ROW_S;
        for sample in world.advance(t) {
            write_sample(&mut readings, &sample)?;
        }
        let Some(now) = world.truth(&nest.id) else { return Err(io::Error::other("the nest is not on its own shelf")) };
        write_row(&mut truth, t, &now, &places)?;
        if row >= 288 {
            let (mean, high, _) = now.brood_c();
            seen.duty += now.pad_w / watts / f64::from(rows - 288);
            seen.brood = (seen.brood.0.min(mean), seen.brood.1.max(mean));
            seen.hot = seen.hot.max(high);
            seen.pad = seen.pad.max(now.pad_c);
            seen.rh = now.rh_at(nest.length_mm);
        }
    }
    readings.finish()?.flush()?;
    truth.finish()?.flush()?;
    fs::write(dir.join("faults.json"), faults_json(scenario, &world))?;
    fs::write(dir.join("scenario.json"), scenario_json(scenario))?;
    Ok(seen)
}

fn write_sample(out: &mut Gz, sample: &Sample) -> io::Result<()> {
    let (n, u, t) = (sample.source(), sample.unit, sample.t);
    match sample.value {
        // A unit in every record: whoever judges the recording looks for one.
        Value::Bool(on) => writeln!(out, "{{\"n\":\"{n}\",\"u\":\"/\",\"vb\":{on},\"t\":{t:.3}}}"),
        Value::Number(v) if u == "Cel" => writeln!(out, "{{\"n\":\"{n}\",\"u\":\"{u}\",\"v\":{v:.4},\"t\":{t:.3}}}"),
        Value::Number(v) => writeln!(out, "{{\"n\":\"{n}\",\"u\":\"{u}\",\"v\":{v:.3},\"t\":{t:.3}}}"),
    }
}

fn write_head(out: &mut Gz, places: &[f64]) -> io::Result<()> {
    write!(out, "t,room_c,pad_w,pad_c,brood_mean_c,brood_max_c,brood_min_c")?;
    for x in places {
        write!(out, ",x{x:.0}")?;
    }
    for x in places {
        write!(out, ",rh{x:.0}")?;
    }
    writeln!(out)
}

fn write_row(out: &mut Gz, t: f64, now: &Truth, places: &[f64]) -> io::Result<()> {
    let (mean, high, low) = now.brood_c();
    write!(out, "{t:.0},{:.3},{:.3},{:.3},{mean:.3},{high:.3},{low:.3}", now.room_c, now.pad_w, now.pad_c)?;
    for x in places {
        write!(out, ",{:.3}", now.temp_at(*x))?;
    }
    for x in places {
        write!(out, ",{:.2}", now.rh_at(*x))?;
    }
    writeln!(out)
}

fn faults_json(scenario: &Scenario, world: &World) -> String {
    let end_s = scenario.spec.epoch_s + f64::from(scenario.days) * 86_400.0;
    let first = scenario.spec.nests[0].probes.first().map_or("", |p| p.name.as_str());
    // A heatwave is weather: it stands among the events, and no alarm of its own is expected.
    let faults: Vec<String> = world
        .faults()
        .iter()
        .filter(|r| r.fault.kind != FaultKind::Heatwave)
        .filter_map(|r| {
            let from = r.began_s?;
            let mut text = format!("  {{\"kind\": \"{}\", \"from_t\": {from:.1}", r.fault.kind.name());
            text += &format!(", \"to_t\": {:.1}", r.fault.to_s.unwrap_or(end_s));
            if r.fault.kind.of_probe() {
                text += &format!(", \"probe\": \"{}\"", r.fault.probe.as_deref().unwrap_or(first));
            }
            if let Some(bites) = r.bites_s {
                text += &format!(", \"bites_t\": {bites:.1}");
            }
            Some(text + "}")
        })
        .collect();
    let events: Vec<String> = events(scenario);
    format!(
        "{{\n \"faults\": [\n{}\n ],\n \"epoch\": {:.0},\n \"days\": {},\n \"events\": [\n{}\n ]\n}}\n",
        faults.join(",\n"),
        scenario.spec.epoch_s,
        scenario.days,
        events.join(",\n")
    )
}

fn events(scenario: &Scenario) -> Vec<String> {
    let line = |kind: &str, from_s: f64, to_s: f64, size: f64| {
        let day = (from_s - scenario.spec.epoch_s) / 86_400.0;
        let hours = (to_s - from_s) / 3600.0;
        format!("  {{\"kind\": \"{kind}\", \"day\": {day:.3}, \"hours\": {hours:.2}, \"size\": {size}}}")
    };
    let life = scenario.spec.events.iter().map(|e| match e.kind {
        EventKind::Air { delta_k, .. } => line("air", e.from_s, e.to_s, delta_k),
        EventKind::Dry(share) => line("dry-air", e.from_s, e.to_s, share),
        EventKind::Lid => line("lid", e.from_s, e.to_s, 0.0),
        EventKind::Sun(w) => line("sun", e.from_s, e.to_s, w),
        EventKind::Refill { ml, .. } => line("refill", e.from_s, e.to_s, ml),
    });
    let end_s = scenario.spec.epoch_s + f64::from(scenario.days) * 86_400.0;
    let waves = scenario
        .spec
        .faults
        .iter()
        .filter(|f| f.kind == FaultKind::Heatwave)
        .map(|f| line("heatwave", f.from_s, f.to_s.unwrap_or(end_s), f.size));
    life.chain(waves).collect()
}

fn scenario_json(scenario: &Scenario) -> String {
    let nest = &scenario.spec.nests[0];
    let quoted = |what: &dyn fmt::Debug| format!("{what:?}").replace('\\', "\\\\").replace('"', "'");
    format!(
        "{{\n \"name\": \"{}\",\n \"seed\": {},\n \"days\": {},\n \"material\": \"{}\",\n \"control\": \"{}\",\n \
         \"report\": \"{:?}\",\n \"room\": \"{}\",\n \"nest\": \"{}\"\n}}\n",
        scenario.name,
        scenario.seed,
        scenario.days,
        nest.material.name(),
        quoted(&nest.control),
        nest.report,
        quoted(&scenario.spec.room),
        quoted(nest),
    )
}
