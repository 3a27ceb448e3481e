//! Stories from the simulated shelf: as recordings for `replay`, or told by nodes.
use crate::node::Node;
use std::fmt::Write as _;
use std::net::SocketAddr;
use std::sync::Arc;
use world::{Control, Material, NestSpec, PadSpec, ProbeSpec, Sample, Value, World, WorldSpec};

/// Packs that a node keeps before it waits for receipts.
const AHEAD: usize = 40;

/// An oak nest on a thermostat, three probes, a room probe; nothing amiss.
pub fn oak(epoch_s: f64) -> WorldSpec {
    let mut nest = NestSpec::new("oak", Material::Oak, 240.0)
        .pad(PadSpec::new(0.0, 80.0, 5.0), Control::Off)
        .thermostat(45.0, 29.0)
        .probe(ProbeSpec::new("warm", 10.0))
        .probe(ProbeSpec::new("brood", 75.0))
        .probe(ProbeSpec::new("cool", 230.0));
    nest.brood_mm = (55.0, 88.0);
    nest.water_mm = Some(170.0);
    let mut spec = WorldSpec::new(epoch_s, vec![nest]);
    spec.settle_s = 43_200.0;
    spec
}

/// A temperature of `node`'s sensor `name`.
pub fn warmth(node: &str, name: &str, t: f64, c: f64) -> Sample {
    Sample { t, node: Arc::from(node), name: Arc::from(name), unit: "Cel", value: Value::Number(c) }
}

/// A sample as one line of SensML.
pub fn line(sample: &Sample) -> String {
    let (n, u, t) = (sample.source(), sample.unit, sample.t);
    match sample.value {
        Value::Bool(on) => format!("{{\"n\":\"{n}\",\"vb\":{on},\"t\":{t:.3}}}"),
        Value::Number(v) => format!("{{\"n\":\"{n}\",\"u\":\"{u}\",\"v\":{v:.4},\"t\":{t:.3}}}"),
    }
}

/// `hours` of a story as SensML lines.
pub fn recording(spec: &WorldSpec, seed: u64, hours: f64) -> String {
    let samples = World::new(spec, seed).advance(spec.epoch_s + hours * 3600.0);
    samples.iter().fold(String::new(), |mut text, sample| {
        let _ = writeln!(text, "{}", line(sample));
        text
    })
}

/// Nodes that tell what a world lives through.
pub struct Teller {
    nodes: Vec<Node>,
}

impl Teller {
    /// The nodes of these names, connected.
    pub fn new(names: &[&str], at: SocketAddr) -> Self {
        let node = |name: &&str| {
            let mut node = Node::new(name, 1);
            node.connect(at);
            node
        };
        Self { nodes: names.iter().map(node).collect() }
    }

    /// Lets the world live until `to_s`; each node says a pack a minute, as fast as receipts allow.
    pub fn tell(&mut self, world: &mut World, to_s: f64) {
        while world.now_s() + 60.0 <= to_s {
            let samples = world.advance(world.now_s() + 60.0);
            for node in &mut self.nodes {
                let own: Vec<Sample> = samples.iter().filter(|s| *s.node == *node.name()).cloned().collect();
                if !own.is_empty() {
                    node.say(&own);
                }
                node.answered(AHEAD);
            }
        }
        self.nodes.iter_mut().for_each(|node| node.answered(0));
    }
}
