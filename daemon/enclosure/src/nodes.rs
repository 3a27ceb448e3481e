//! Who speaks on the shelf: which node fell silent, and whether all did at once. A dead node is one thing to tell, not
//! one for each of its probes.
use crate::judge::silence_after;
use crate::lifecycle::Verdict;
use crate::reading::SourceId;
use crate::shelf::{AlarmSettings, Shelf};
use crate::time::{Span, Timestamp};
use alloc::string::{String, ToString};
use alloc::vec::Vec;

/// Nodes that stop within this stop together: power or network.
const TOGETHER: Span = Span::from_min(1);
/// Longest usual interval that is believed, ms.
const USUAL_MAX_MS: i64 = 1_200_000;

/// One source's last words.
#[derive(Clone, Debug)]
struct Voice {
    node: usize,
    /// Whether it says a temperature: others may be quiet for hours and be well.
    regular: bool,
    last: Option<Timestamp>,
    usual_ms: f64,
}

/// One node.
#[derive(Clone, Debug)]
pub struct Node {
    /// Its name: what stands before the last `:` of its sources.
    pub name: String,
    /// The nest it serves, where it is only one.
    pub nest: Option<u16>,
}

/// All sources, by node.
#[derive(Clone, Debug)]
pub struct Nodes {
    voices: Vec<Voice>,
    nodes: Vec<Node>,
    first: Option<Timestamp>,
}

/// How it stands with the nodes at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Silence {
    /// Whether all stopped together.
    pub all: Verdict,
    /// Each node that says temperatures: its place in [`Nodes::get`], whether it stopped alone, its last word.
    pub each: Vec<(usize, Verdict, Option<Timestamp>)>,
}

impl Nodes {
    /// The nodes of `shelf`, whose sources are `sources`.
    pub fn new(shelf: &Shelf, sources: &[String]) -> Self {
        let mut nodes: Vec<Node> = Vec::new();
        let mut voices = Vec::with_capacity(sources.len());
        for source in sources {
            let name = source.rsplit_once(':').map_or(source.as_str(), |(node, _)| node);
            let node = nodes.iter().position(|n| n.name == name).unwrap_or_else(|| {
                nodes.push(Node { name: name.to_string(), nest: None });
                nodes.len() - 1
            });
            let regular = shelf
                .nests
                .iter()
                .any(|n| n.room.as_ref() == Some(source) || n.probes.iter().any(|p| p.source == *source));
            voices.push(Voice { node, regular, last: None, usual_ms: 0.0 });
        }
        for (i, node) in nodes.iter_mut().enumerate() {
            let serves = |n: &&crate::shelf::Nest| {
                let named = n.probes.iter().map(|p| &p.source).chain(n.room.as_ref());
                let own = |s: &String| sources.iter().position(|o| o == s).is_some_and(|o| voices[o].node == i);
                named.into_iter().any(own)
            };
            let mut served = (0_u16..).zip(&shelf.nests).filter(|(_, n)| serves(n)).map(|(i, _)| i);
            node.nest = served.next().filter(|_| served.next().is_none());
        }
        Self { voices, nodes, first: None }
    }

    /// A node by its place.
    pub fn get(&self, node: usize) -> Option<&Node> {
        self.nodes.get(node)
    }

    /// The node of a source.
    pub fn of(&self, source: SourceId) -> Option<&Node> {
        self.nodes.get(self.voices.get(usize::from(source.0))?.node)
    }

    /// Takes in that `source` spoke at `at`.
    pub fn hear(&mut self, source: SourceId, at: Timestamp) {
        let Some(v) = self.voices.get_mut(usize::from(source.0)) else { return };
        self.first = Some(self.first.map_or(at, |f| f.min(at)));
        let Some(last) = v.last else {
            v.last = Some(at);
            return;
        };
        // Several quantities of one moment are one word.
        if at > last {
            let gap_ms = at.since(last).ms().min(USUAL_MAX_MS) as f64;
            v.usual_ms = if v.usual_ms > 0.0 { v.usual_ms + 0.1 * (gap_ms - v.usual_ms) } else { gap_ms };
            v.last = Some(at);
        }
    }

    /// The clock was set forward: nobody was silent for that long.
    pub fn shift(&mut self, by: Span, now: Timestamp) {
        let moved = |at: Timestamp| at.plus(by).min(now);
        self.voices.iter_mut().for_each(|v| v.last = v.last.map(moved));
    }

    /// The newest word of any source of the node.
    fn last(&self, node: usize) -> Option<Timestamp> {
        self.voices.iter().filter(|v| v.node == node).filter_map(|v| v.last).max()
    }

    /// How often the node speaks of temperatures, ms.
    fn usual_ms(&self, node: usize) -> f64 {
        let usual = self.voices.iter().filter(|v| v.node == node && v.regular && v.usual_ms > 0.0).map(|v| v.usual_ms);
        usual.reduce(f64::min).unwrap_or(0.0)
    }

    /// Which nodes are silent at `now`.
    pub fn silence(&self, now: Timestamp, settings: &AlarmSettings) -> Silence {
        let Some(first) = self.first else { return Silence { all: Verdict::Unknown, each: Vec::new() } };
        let regular = |n: &usize| self.voices.iter().any(|v| v.node == *n && v.regular);
        let nodes: Vec<usize> = (0..self.nodes.len()).filter(regular).collect();
        let last = |n: usize| self.last(n).unwrap_or(first);
        let patience = |n: usize| silence_after(self.usual_ms(n), settings);
        let silent = |n: usize| now.since(last(n)) > patience(n);
        let slack = |n: usize| TOGETHER.ms().saturating_add(self.usual_ms(n) as i64);
        let newest = nodes.iter().map(|n| last(*n)).max().unwrap_or(first);
        let group: Vec<usize> = nodes.iter().copied().filter(|n| newest.since(last(*n)).ms() <= slack(*n)).collect();
        // Those that stopped before were silent already when the others stopped.
        let rest_was_silent =
            nodes.iter().filter(|n| !group.contains(n)).all(|n| newest.since(last(*n)) > patience(*n));
        let all = group.len() > 1 && rest_was_silent && group.iter().all(|n| silent(*n));
        let each = nodes.iter().map(|n| {
            let verdict = if !silent(*n) {
                Verdict::Well
            } else if all && group.contains(n) || self.may_be_all(*n, &nodes, (&last, &silent)) {
                // One notice tells of all, or will; as it was.
                Verdict::Between
            } else {
                Verdict::Ill
            };
            (*n, verdict, self.last(*n))
        });
        let each = each.collect();
        Silence { all: if all { Verdict::Ill } else { Verdict::Well }, each }
    }

    /// Whether another node stopped about when this one did and is not yet known to be silent.
    fn may_be_all(
        &self,
        node: usize,
        nodes: &[usize],
        (last, silent): (&dyn Fn(usize) -> Timestamp, &dyn Fn(usize) -> bool),
    ) -> bool {
        let until = last(node).plus(TOGETHER).plus(Span::from_ms(self.usual_ms(node) as i64));
        let mut others = nodes.iter().copied().filter(|n| *n != node && !silent(*n)).peekable();
        others.peek().is_some() && others.all(|n| last(n) <= until)
    }

    /// Whether the source was heard within two of its usual intervals, and a minute.
    pub fn speaks(&self, source: SourceId, now: Timestamp) -> bool {
        self.voices.get(usize::from(source.0)).is_some_and(|v| {
            let grace = Span::from_ms((2.0 * v.usual_ms) as i64).max(TOGETHER);
            v.last.is_some_and(|last| now.since(last) <= grace)
        })
    }

    /// Whether the node of `source` went on speaking after the source's own last word at `last`: then the probe alone
    /// is silent.
    pub fn is_alone(&self, source: SourceId, last: Option<Timestamp>) -> bool {
        let Some(v) = self.voices.get(usize::from(source.0)) else { return true };
        let Some(node_last) = self.last(v.node) else { return true };
        let grace = Span::from_ms((2.0 * v.usual_ms) as i64);
        last.is_none_or(|own| node_last > own.plus(grace))
    }
}

#[cfg(test)]
#[path = "nodes_tests.rs"]
mod tests;
