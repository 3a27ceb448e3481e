//! What the nodes say of themselves: when they were heard, how often they started anew, supply, reception, counts.
use crate::snapshot::NodeNow;
use crate::unpack::{Aside, Unpacked};
use enclosure::Timestamp;
use std::collections::BTreeMap;

/// Most nodes kept; beyond, the one heard longest ago makes room.
const NODES_MAX: usize = 256;
/// Most values kept of one node; more are left out.
const VALUES_MAX: usize = 24;

/// All nodes heard since the start.
#[derive(Debug, Default)]
pub(super) struct Nodes(BTreeMap<String, NodeNow>);

impl Nodes {
    /// Takes in what came in one message. `sources` are the names of the listed sources, by id.
    pub(super) fn hear(&mut self, unpacked: &Unpacked, sources: &[String], at: Timestamp) {
        let node = |source: &str| source.rsplit_once(':').map(|(node, _)| node.to_owned());
        for reading in &unpacked.readings {
            if let Some(name) = sources.get(usize::from(reading.source.0)).and_then(|name| node(name)) {
                self.named(name).heard = Some(at);
            }
        }
        for Aside { name, unit, value } in &unpacked.health {
            let Some((node, leaf)) = name.rsplit_once(':') else { continue };
            let known = self.named(node.to_owned());
            known.heard = Some(at);
            if known.says.len() < VALUES_MAX || known.says.contains_key(leaf) {
                known.says.insert(leaf.to_owned(), (unit.clone(), *value));
            }
        }
        if let Some(pack) = &unpacked.pack {
            let known = self.named(pack.node.clone());
            known.heard = Some(at);
            // Packs kept from before a start may come after those of a later one.
            if known.boot.is_none_or(|boot| pack.boot > boot) {
                known.starts += u64::from(known.boot.is_some());
                known.boot = Some(pack.boot);
            }
        }
    }

    /// A copy for the picture.
    pub(super) fn all(&self) -> BTreeMap<String, NodeNow> {
        self.0.clone()
    }

    fn named(&mut self, name: String) -> &mut NodeNow {
        if self.0.len() >= NODES_MAX && !self.0.contains_key(&name) {
            let oldest = self.0.iter().min_by_key(|(_, node)| node.heard).map(|(name, _)| name.clone());
            if let Some(oldest) = oldest {
                self.0.remove(&oldest);
            }
        }
        self.0.entry(name).or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unpack::PackId;

    fn heard(nodes: &mut Nodes, node: &str, boot: u64, ms: i64) {
        let aside =
            |leaf: &str, unit: &str, value| Aside { name: format!("{node}:{leaf}"), unit: unit.to_owned(), value };
        let unpacked = Unpacked {
            pack: Some(PackId { node: node.to_owned(), boot, seq: 1, from: None }),
            health: vec![aside("supply", "V", 3.3), aside("radio", "dBW", -97.0)],
            ..Unpacked::default()
        };
        nodes.hear(&unpacked, &[], Timestamp::from_unix_ms(ms));
    }

    #[test]
    fn starts_are_counted_and_a_late_pack_of_before_is_none() {
        let mut nodes = Nodes::default();
        for boot in [4, 5, 4, 5, 7] {
            heard(&mut nodes, "oak", boot, 1);
        }
        let oak = &nodes.all()["oak"];
        assert_eq!((oak.boot, oak.starts), (Some(7), 2));
        assert_eq!(oak.says["supply"], ("V".to_owned(), 3.3));
    }

    #[test]
    fn there_is_room_for_so_many_and_the_one_heard_longest_ago_goes() {
        let mut nodes = Nodes::default();
        for i in 0..2 * NODES_MAX {
            heard(&mut nodes, &format!("n{i}"), 1, i as i64);
        }
        assert_eq!(nodes.all().len(), NODES_MAX);
        assert!(nodes.all().contains_key(&format!("n{}", 2 * NODES_MAX - 1)) && !nodes.all().contains_key("n0"));
    }
}
