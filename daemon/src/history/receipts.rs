//! Receipts, end to end: up to which pack everything a node sent is stored. Pure; the store keeps it on disk.
use std::collections::{BTreeMap, BTreeSet};

/// Nodes remembered; the one unheard for longest makes room. Its packs say `from`, so nothing is promised wrongly.
pub const NODES_MAX: usize = 256;
/// Starts of one node remembered; the one unheard for longest makes room.
pub const BOOTS_MAX: usize = 8;
/// Runs of packs remembered that arrived ahead of a missing one. Beyond it the furthest run is forgotten: the node
/// gets no receipt for it and sends it again.
pub const AHEAD_RANGES_MAX: usize = 64;
/// Largest number of a pack: what every reader of JSON keeps exactly (2^53, RFC 8259 section 6).
const SEQ_MAX: u64 = 1 << 53;

/// A pack that was taken in: stored, or refused and counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackSeen {
    /// Whose.
    pub node: String,
    /// The node's start; 0 if it says none.
    pub boot: u64,
    /// The pack's number within that start.
    pub seq: u64,
    /// The oldest pack of that start which the node still keeps.
    pub from: Option<u64>,
}

/// Every pack of `boot` from the node's `from` up to `upto` was stored, or refused and counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// To whom.
    pub node: String,
    /// Of which of its starts.
    pub boot: u64,
    /// Up to which pack, inclusive.
    pub upto: u64,
}

/// One start of one node. `start <= next`; ranges in `ahead` lie beyond `next` and do not touch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Boot {
    /// First pack that was promised at all.
    pub(crate) start: u64,
    /// First pack not yet seen.
    pub(crate) next: u64,
    /// Runs seen beyond `next`: first to last, inclusive.
    pub(crate) ahead: BTreeMap<u64, u64>,
    /// When it was last heard, in packs.
    pub(crate) heard: u64,
}

/// What is known of the packs of all nodes.
///
/// A pack is promised only once it and all its predecessors that the node still keeps were handed in. The caller
/// works on a copy and keeps it only when the commit that holds the packs' readings succeeded.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Receipts {
    nodes: BTreeMap<String, BTreeMap<u64, Boot>>,
    heard: u64,
    dirty: BTreeSet<String>,
}

impl Receipts {
    /// Nothing heard yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes note of a pack and gives the receipt that is due now.
    ///
    /// `None` while a pack between `from` and this one is missing at the very start, or for a number over 2^53.
    /// A pack seen again is answered again. A `from` beyond the pack itself is nonsense and not heeded.
    pub fn seen(&mut self, pack: &PackSeen) -> Option<Receipt> {
        if pack.seq > SEQ_MAX || pack.boot > SEQ_MAX {
            return None;
        }
        self.heard += 1;
        let from = pack.from.filter(|from| *from <= pack.seq);
        let boots = self.nodes.entry(pack.node.clone()).or_default();
        let boot = boots.entry(pack.boot).or_insert_with(|| Boot::starting(from.unwrap_or(pack.seq)));
        boot.heard = self.heard;
        if let Some(from) = from {
            boot.give_up_before(from);
        }
        boot.take(pack.seq);
        let upto = boot.upto();
        while boots.len() > BOOTS_MAX {
            forget_oldest(boots, |boot| boot.heard);
        }
        self.dirty.insert(pack.node.clone());
        while self.nodes.len() > NODES_MAX {
            let gone = forget_oldest(&mut self.nodes, |boots| boots.values().map(|b| b.heard).max().unwrap_or(0));
            self.dirty.extend(gone);
        }
        upto.map(|upto| Receipt { node: pack.node.clone(), boot: pack.boot, upto })
    }

    /// The receipt of one start of a node, as it stands.
    pub fn of(&self, node: &str, boot: u64) -> Option<Receipt> {
        let upto = self.nodes.get(node)?.get(&boot)?.upto()?;
        Some(Receipt { node: node.to_owned(), boot, upto })
    }

    /// For each node the receipt of its newest start: what is published again when the daemon starts.
    pub fn standing(&self) -> Vec<Receipt> {
        let newest = self.nodes.iter().filter_map(|(node, boots)| Some((node, boots.keys().next_back()?)));
        newest.filter_map(|(node, boot)| self.of(node, *boot)).collect()
    }

    /// Nodes whose state changed since the last call, the forgotten ones included.
    pub(crate) fn take_dirty(&mut self) -> BTreeSet<String> {
        std::mem::take(&mut self.dirty)
    }

    /// The starts known of a node.
    pub(crate) fn boots(&self, node: &str) -> impl Iterator<Item = (u64, &Boot)> {
        self.nodes.get(node).into_iter().flatten().map(|(number, boot)| (*number, boot))
    }

    /// Puts back what was stored.
    pub(crate) fn restore(&mut self, node: &str, number: u64, boot: Boot) {
        self.heard = self.heard.max(boot.heard);
        self.nodes.entry(node.to_owned()).or_default().insert(number, boot);
    }
}

impl Boot {
    fn starting(start: u64) -> Self {
        Self { start, next: start, ahead: BTreeMap::new(), heard: 0 }
    }

    /// A stored state; `None` unless it could have come from here.
    pub(crate) fn stored(start: u64, next: u64, ahead: BTreeMap<u64, u64>, heard: u64) -> Option<Self> {
        let mut free = next;
        for (first, last) in &ahead {
            if *first <= free || last < first {
                return None;
            }
            free = last.saturating_add(1);
        }
        (start <= next && free <= SEQ_MAX + 2).then_some(Self { start, next, ahead, heard })
    }

    fn upto(&self) -> Option<u64> {
        (self.next > self.start).then(|| self.next - 1)
    }

    /// The node keeps nothing before `from` any more: waiting for it would be in vain.
    fn give_up_before(&mut self, from: u64) {
        self.next = self.next.max(from);
        self.absorb();
    }

    fn take(&mut self, seq: u64) {
        let before = self.ahead.range(..=seq).next_back().map(|(first, last)| (*first, *last));
        if seq < self.next || before.is_some_and(|(_, last)| seq <= last) {
            return;
        }
        let first = before.filter(|(_, last)| last + 1 == seq).map_or(seq, |(first, _)| first);
        let last = self.ahead.remove(&(seq + 1)).unwrap_or(seq);
        self.ahead.insert(first, last);
        self.absorb();
        if self.ahead.len() > AHEAD_RANGES_MAX {
            self.ahead.pop_last();
        }
    }

    /// Moves `next` over the runs it has reached.
    fn absorb(&mut self) {
        while let Some(run) = self.ahead.first_entry().filter(|run| *run.key() <= self.next) {
            self.next = self.next.max(run.remove() + 1);
        }
    }
}

fn forget_oldest<K: Ord + Clone, V>(map: &mut BTreeMap<K, V>, heard: impl Fn(&V) -> u64) -> Option<K> {
    let oldest = map.iter().min_by_key(|(_, v)| heard(v)).map(|(k, _)| k.clone())?;
    map.remove(&oldest);
    Some(oldest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pack(boot: u64, seq: u64, from: Option<u64>) -> PackSeen {
        PackSeen { node: "oak-node".to_owned(), boot, seq, from }
    }

    /// Hands in `packs` (seq, from) of one boot and compares the answers.
    #[track_caller]
    fn check(packs: &[(u64, Option<u64>)], answers: &[Option<u64>]) {
        let mut receipts = Receipts::new();
        let got: Vec<_> = packs.iter().map(|(s, f)| receipts.seen(&pack(7, *s, *f)).map(|r| r.upto)).collect();
        assert_eq!(got, answers, "packs {packs:?}");
    }

    #[test]
    fn packs_in_order_are_answered_one_by_one() {
        check(&[(0, Some(0)), (1, Some(0)), (2, Some(2))], &[Some(0), Some(1), Some(2)]);
    }

    #[test]
    fn a_gap_holds_the_receipt_until_it_is_filled() {
        check(&[(3, Some(3)), (5, Some(3)), (6, Some(3)), (4, Some(3))], &[Some(3), Some(3), Some(3), Some(6)]);
    }

    #[test]
    fn a_gap_that_the_node_no_longer_keeps_is_given_up() {
        check(&[(3, Some(3)), (5, Some(3)), (6, Some(5))], &[Some(3), Some(3), Some(6)]);
        check(&[(3, Some(3)), (9, Some(8))], &[Some(3), Some(7)]);
    }

    #[test]
    fn nothing_is_promised_before_the_first_kept_pack_came() {
        check(&[(5, Some(3)), (3, Some(3)), (4, Some(3))], &[None, Some(3), Some(5)]);
    }

    #[test]
    fn without_from_the_first_arrival_counts() {
        check(&[(5, None), (6, None), (8, None), (7, None)], &[Some(5), Some(6), Some(6), Some(8)]);
    }

    #[test]
    fn a_pack_seen_again_is_answered_again() {
        check(
            &[(0, Some(0)), (1, Some(0)), (0, Some(0)), (3, Some(0)), (3, Some(0))],
            &[Some(0), Some(1), Some(1), Some(1), Some(1)],
        );
    }

    #[test]
    fn nonsense_promises_nothing() {
        check(&[(4, Some(9)), (SEQ_MAX + 1, None), (u64::MAX, Some(0)), (5, Some(4))], &[Some(4), None, None, Some(5)]);
    }

    #[test]
    fn an_old_start_is_answered_for_itself() {
        let mut receipts = Receipts::new();
        receipts.seen(&pack(2, 40, Some(40)));
        receipts.seen(&pack(3, 0, Some(0)));
        let old = receipts.seen(&pack(2, 41, Some(41))).unwrap();
        assert_eq!((old.boot, old.upto), (2, 41));
        assert_eq!(receipts.standing(), [Receipt { node: "oak-node".into(), boot: 3, upto: 0 }]);
    }

    #[test]
    fn memory_is_bounded_whatever_comes() {
        let mut receipts = Receipts::new();
        for i in 0..2_000_u64 {
            let node = format!("node-{}", i % 500);
            receipts.seen(&PackSeen { node, boot: i / 7, seq: 2 * i, from: Some(0) });
            receipts.seen(&pack(1, 2 * i + 2, Some(0)));
        }
        assert!(receipts.nodes.len() <= NODES_MAX);
        assert!(receipts.nodes.values().all(|boots| boots.len() <= BOOTS_MAX));
        let runs = receipts.nodes.values().flat_map(|b| b.values()).map(|b| b.ahead.len()).max().unwrap();
        assert!(runs <= AHEAD_RANGES_MAX, "{runs} runs");
    }

    /// One thing that happens between a node, a wild network and a daemon that may die at any moment.
    #[derive(Clone, Debug)]
    enum Act {
        Measure,
        Send(usize),
        Arrive(usize, bool),
        Commit,
        DaemonDies,
        ReceiptArrives(usize),
        NodeRestarts(bool),
    }

    fn act() -> impl Strategy<Value = Act> {
        prop_oneof![
            6 => Just(Act::Measure),
            8 => any::<usize>().prop_map(Act::Send),
            10 => (any::<usize>(), prop::bool::weighted(0.3)).prop_map(|(i, again)| Act::Arrive(i, again)),
            4 => Just(Act::Commit),
            1 => Just(Act::DaemonDies),
            4 => any::<usize>().prop_map(Act::ReceiptArrives),
            1 => any::<bool>().prop_map(Act::NodeRestarts),
        ]
    }

    #[derive(Default)]
    struct World {
        boot: u64,
        next: u64,
        outbox: Vec<(u64, u64)>,
        air: Vec<PackSeen>,
        staged: Vec<(u64, u64)>,
        stored: BTreeSet<(u64, u64)>,
        draft: Receipts,
        kept: Receipts,
        due: Vec<(u64, u64)>,
        answers: Vec<(u64, u64)>,
    }

    impl World {
        const OUTBOX_MAX: usize = 6;

        fn step(&mut self, act: &Act) {
            match act {
                Act::Measure => {
                    self.outbox.push((self.boot, self.next));
                    self.next += 1;
                    if self.outbox.len() > Self::OUTBOX_MAX {
                        self.outbox.remove(0);
                    }
                }
                Act::Send(i) if !self.outbox.is_empty() => {
                    let (boot, seq) = self.outbox[i % self.outbox.len()];
                    let from = self.outbox.iter().filter(|(b, _)| *b == boot).map(|(_, s)| *s).min();
                    self.air.push(pack(boot, seq, from));
                }
                Act::Arrive(i, again) if !self.air.is_empty() => {
                    let i = i % self.air.len();
                    let pack = if *again { self.air[i].clone() } else { self.air.remove(i) };
                    self.staged.push((pack.boot, pack.seq));
                    self.due.extend(self.draft.seen(&pack).map(|r| (r.boot, r.upto)));
                }
                Act::Commit => {
                    self.stored.extend(self.staged.drain(..));
                    self.kept = self.draft.clone();
                    self.answers.append(&mut self.due);
                }
                Act::DaemonDies => {
                    self.staged.clear();
                    self.due.clear();
                    self.draft = self.kept.clone();
                }
                Act::ReceiptArrives(i) if !self.answers.is_empty() => {
                    let (boot, upto) = self.answers[i % self.answers.len()];
                    for (b, seq) in self.outbox.iter().filter(|(b, s)| *b == boot && *s <= upto) {
                        assert!(self.stored.contains(&(*b, *seq)), "receipt {upto} covers {seq} of {b}, not stored");
                    }
                    self.outbox.retain(|(b, s)| *b != boot || *s > upto);
                }
                Act::NodeRestarts(forgets) => {
                    self.boot += 1;
                    self.next = 0;
                    if *forgets {
                        self.outbox.clear();
                    }
                }
                Act::Send(_) | Act::Arrive(..) | Act::ReceiptArrives(_) => {}
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

        /// Loss, repetition, any order, a full outbox, restarts on both sides: what a receipt lets go is on disk.
        #[test]
        fn no_receipt_covers_what_is_not_stored(acts in prop::collection::vec(act(), 1..300)) {
            let mut world = World::default();
            for act in &acts {
                world.step(act);
            }
        }

        /// Every pack that is sent until it is answered is answered in the end.
        #[test]
        fn what_is_repeated_gets_its_receipt(acts in prop::collection::vec(act(), 1..200)) {
            let mut world = World::default();
            for act in acts.iter().chain([&Act::Commit]) {
                world.step(act);
            }
            while let Some((boot, seq)) = world.outbox.first().copied() {
                let from = world.outbox.iter().filter(|(b, _)| *b == boot).map(|(_, s)| *s).min();
                let receipt = world.draft.seen(&pack(boot, seq, from)).expect("the oldest kept pack is answered");
                prop_assert!(receipt.upto >= seq);
                world.outbox.remove(0);
            }
        }

        /// What is stored of the state is read back as it was.
        #[test]
        fn state_survives_its_stored_form(acts in prop::collection::vec(act(), 1..200)) {
            let mut world = World::default();
            for act in &acts {
                world.step(act);
            }
            for (_, boot) in world.draft.boots("oak-node") {
                let again = Boot::stored(boot.start, boot.next, boot.ahead.clone(), boot.heard);
                prop_assert_eq!(again.as_ref(), Some(boot));
            }
        }
    }
}
