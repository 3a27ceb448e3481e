//! The invented shelf.
use super::FaultWish;
use enclosure::Timestamp;
use std::fmt::Write as _;
use std::net::SocketAddr;
use world::{Band, Control, Cover, Fault, Material, NestSpec, PadSpec, ProbeSpec, Report, Thermostat, WorldSpec};

/// The nests, in the order of the shelf.
pub(super) const NESTS: [&str; 4] = ["oak", "plaster", "pine", "aac"];
/// The shelf lives so long before anything is told of it.
const SETTLE_S: f64 = 86_400.0;

/// Four colonies; all numbers are invented. The faults begin after `until`.
pub(super) fn spec(begin: Timestamp, faults: &[FaultWish], until: Timestamp) -> WorldSpec {
    let mut spec = WorldSpec::demo(begin.unix_s());
    spec.settle_s = SETTLE_S;
    // Some two watts in plaster: warm enough for brood, and far from any limit.
    if let Some(plaster) = spec.nests.get_mut(1) {
        plaster.control = Control::Dimmer(0.36);
    }
    let mut pine = NestSpec::new("pine", Material::Pine, 220.0)
        .pad(PadSpec::new(0.0, 70.0, 5.0), Control::Off)
        .probe(ProbeSpec::new("warm", 15.0))
        .probe(ProbeSpec::new("cool", 205.0));
    let band_k = 0.5;
    pine.control = Control::Thermostat(Thermostat { at_mm: 40.0, day_c: 29.0, night_c: 28.0, band_k });
    pine.report = Report::OnOff;
    pine.brood_mm = (40.0, 80.0);
    pine.water_mm = Some(150.0);
    pine.colony_w = 0.01;
    let mut aac = NestSpec::new("aac", Material::Aac, 260.0)
        .pad(PadSpec::new(10.0, 100.0, 9.0), Control::Off)
        .thermostat(55.0, 28.5)
        .probe(ProbeSpec::new("warm", 30.0))
        .probe(ProbeSpec::new("mid", 120.0))
        .probe(ProbeSpec::new("cool", 240.0));
    aac.cover = Cover::Glass;
    aac.report = Report::Watts;
    aac.brood_mm = (40.0, 90.0);
    aac.water_mm = Some(190.0);
    spec.nests.extend([pine, aac]);
    spec.place = Some("study, long wall".to_owned());
    for (socket, nest) in (1..).zip(&mut spec.nests) {
        nest.plug = Some(format!("grey strip, socket {socket}"));
    }
    let begin_s = until.unix_s();
    spec.faults = faults.iter().map(|wish| Fault::new(wish.kind, wish.nest, begin_s + wish.after.s())).collect();
    spec
}

/// The shelf file that a keeper of it would have written.
pub(super) fn text(spec: &WorldSpec, listen: SocketAddr) -> String {
    let mut text = world::shelf_toml("demonstration", spec, Band::default());
    // Writing to a string cannot fail.
    let _ = write!(
        text,
        "\n[broker]\nembedded = \"127.0.0.1:0\"\n\n[history]\npath = \"warmend.db\"\n\n[web]\nlisten = \"{listen}\"\n"
    );
    text
}
