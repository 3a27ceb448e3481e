//! The shelf file a keeper would have written for a simulated shelf: what they know, not what is true.
use crate::spec::{Control, NestSpec, Report, WorldSpec};
use core::fmt::Write;

/// The band a keeper sets, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// The brood should stay above.
    pub low_c: f64,
    /// The brood should stay below.
    pub high_c: f64,
    /// Its hottest point must stay below.
    pub limit_c: f64,
}

impl Default for Band {
    fn default() -> Self {
        Self { low_c: 24.0, high_c: 31.0, limit_c: 35.0 }
    }
}

/// Writes `[shelf]` and every `[[nest]]`; a caller adds the broker and the rest behind it.
pub fn shelf_toml(name: &str, spec: &WorldSpec, band: Band) -> String {
    let mut text = format!("[shelf]\nname = \"{name}\"\n");
    if let Some(place) = &spec.place {
        text += &format!("where = \"{place}\"\n");
    }
    for nest in &spec.nests {
        // Writing to a string cannot fail.
        let _ = write_nest(&mut text, spec, nest, band);
    }
    text
}

fn write_nest(text: &mut String, spec: &WorldSpec, nest: &NestSpec, band: Band) -> core::fmt::Result {
    let NestSpec { id, length_mm, node, .. } = nest;
    writeln!(text, "\n[[nest]]\nid = \"{id}\"\nlength_mm = {length_mm}\nmaterial = \"{}\"", nest.material.name())?;
    if let Some(pad) = nest.pad {
        writeln!(text, "\n[nest.pad]\nfrom_mm = {}\nto_mm = {}\nwatts = {:.2}", pad.from_mm, pad.to_mm, pad.watts)?;
        if let Some(plug) = &nest.plug {
            writeln!(text, "plug = \"{plug}\"")?;
        }
        if nest.report != Report::Nothing {
            writeln!(text, "drive = \"{node}:pad\"")?;
        }
        if let Control::Thermostat(t) = &nest.control {
            writeln!(text, "thermostat_c = {:.1}", t.day_c)?;
        }
    }
    writeln!(text, "\n[nest.brood]\nfrom_mm = {}\nto_mm = {}", nest.brood_mm.0, nest.brood_mm.1)?;
    let Band { low_c, high_c, limit_c } = band;
    writeln!(text, "\n[nest.band]\nlow_c = {low_c:.1}\nhigh_c = {high_c:.1}\nlimit_c = {limit_c:.1}")?;
    for probe in &nest.probes {
        writeln!(text, "\n[[nest.probe]]\nsource = \"{node}:{}\"\nat_mm = {}", probe.name, probe.at_mm)?;
    }
    if let Some(probe) = &spec.room.probe {
        writeln!(text, "\n[nest.room]\nsource = \"{}:{}\"", spec.room.node, probe.name)?;
    }
    Ok(())
}
