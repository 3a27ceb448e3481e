//! Leave to heat: asked of the core for each pack of a node that drives a mat, and taken back at once in a danger.
use super::Pipeline;
use super::draft::Draft;
use crate::intake::Message;
use crate::permit::{LEASE, Standing};
use crate::unpack::Unpacked;
use enclosure::SourceId;
use enclosure::permit::{Leave, Withheld};

/// Why `node` does not heat and how many resets it saw, as far as a message says.
fn of_heat(unpacked: &Unpacked, node: &str) -> (Option<u64>, Option<u64>) {
    let said = |leaf: &str| {
        let is_it = |name: &str| name.rsplit_once(':').is_some_and(|(of, last)| of == node && last == leaf);
        unpacked.health.iter().rev().find(|aside| is_it(&aside.name)).map(|aside| aside.value as u64)
    };
    (said("heat-off"), said("heat-reset"))
}

impl Pipeline {
    /// Answers a pack of a node that drives a mat.
    pub(super) fn permit(&mut self, message: &Message, unpacked: &Unpacked) {
        self.prove(message, unpacked);
        if !message.live {
            return;
        }
        let Some(pack) = &unpacked.pack else {
            // A node that cannot number its starts gets no leave, but says why.
            let trusted = |standing: &&mut Standing| !standing.needs_proof() || standing.is_proven();
            for standing in self.permits.iter_mut().filter(trusted) {
                let heat = of_heat(unpacked, standing.node());
                if heat.0.is_some() {
                    standing.says(heat);
                }
            }
            return;
        };
        let monotonic = self.clock.monotonic();
        let heat = of_heat(unpacked, &pack.node);
        let Some(place) = self.permits.iter().position(|standing| standing.node() == pack.node) else { return };
        let standing = &mut self.permits[place];
        if standing.needs_proof() && !standing.is_proven() {
            return;
        }
        let due = standing.hear((pack.boot, pack.seq), heat, monotonic);
        let (nest, most, now) = (standing.nest(), standing.most(), self.clock.now());
        if standing.must_reckon(monotonic) {
            standing.unheated(self.core.unheated(nest, now));
        }
        if due {
            let leave = if self.permits[place].is_doubted(monotonic) && !self.core.is_in_danger(nest) {
                Leave::Withhold(Withheld::Doubted)
            } else {
                self.core.leave(nest, now, (LEASE, most), |source| self.is_owned(place, source))
            };
            self.say_leave(place, leave);
        }
    }

    /// Where nobody is bound to a node's topics: whether a pack is signed. Of what anybody might have said nothing speaks
    /// for heat, nor of how the node stands; and who speaks in its name without its key ends heat for a while.
    fn prove(&mut self, message: &Message, unpacked: &Unpacked) {
        let monotonic = self.clock.monotonic();
        let pack = unpacked.pack.as_ref();
        for place in 0..self.permits.len() {
            let standing = &mut self.permits[place];
            let own = |source: SourceId| {
                let name = self.names.get(usize::from(source.0));
                name.and_then(|name| name.rsplit_once(':')).is_some_and(|(node, _)| node == standing.node())
            };
            let its = pack.is_some_and(|pack| pack.node == standing.node());
            let speaks = its || unpacked.readings.iter().any(|reading| own(reading.source));
            if !standing.needs_proof() || !speaks {
                continue;
            }
            let was = standing.is_doubted(monotonic);
            standing.prove(&message.payload, pack.map_or(0, |pack| pack.boot), monotonic);
            if !was && standing.is_doubted(monotonic) && !standing.is_withdrawn() {
                tracing::warn!(node = standing.node(), "somebody speaks in the node's name without its key; no heat");
                self.say_leave(place, Leave::Withhold(Withheld::Doubted));
            }
        }
    }

    /// Takes leave back where a danger began, whatever pack is awaited.
    pub(super) fn withdraw(&mut self) {
        for place in 0..self.permits.len() {
            let standing = &self.permits[place];
            if !standing.is_withdrawn() && self.core.is_in_danger(standing.nest()) {
                self.say_leave(place, Leave::Withdraw);
            }
        }
    }

    fn say_leave(&mut self, place: usize, leave: Leave) {
        let now = self.clock.now();
        let Some(standing) = self.permits.get_mut(place) else { return };
        let was = standing.is_withdrawn();
        let permit = standing.answer(leave, now);
        if let Some(permit) = &permit {
            let topic = format!("{}/{}/permit", self.settings.prefix, standing.node());
            let said = standing.write(permit).map_err(|e| e.to_string());
            let said = said.and_then(|bytes| self.publisher.send(&topic, bytes).map_err(|e| e.to_string()));
            if let Err(why) = said {
                tracing::warn!(
                    why,
                    node = standing.node(),
                    "leave to heat could not be said; the node stops by itself"
                );
            }
        }
        if standing.is_withdrawn() != was {
            tracing::warn!(node = standing.node(), "leave to heat is withdrawn until a person resets it");
            let mut draft = Draft::default();
            draft.batch.facts.push(standing.fact());
            draft.batch.urgent = true;
            self.submit(draft);
        }
        self.touched = true;
    }

    /// Whether only a node itself can speak for a source: its user is bound to its topics, or its packs are signed and
    /// it is the node that is asked; and no mapping feeds it.
    fn is_owned(&self, place: usize, source: SourceId) -> bool {
        let Some(name) = self.names.get(usize::from(source.0)) else { return false };
        let signed = self.permits.get(place).is_some_and(|standing| {
            standing.needs_proof() && name.rsplit_once(':').is_some_and(|(node, _)| node == standing.node())
        });
        let bound = signed || self.settings.nodes_own_topics;
        bound && self.settings.mappings.iter().all(|mapping| *mapping.source != **name)
    }

    /// A person lets heat return to nest `nest`; returns whether some mat had waited for it. Nothing returns while a
    /// danger stands.
    pub(super) fn let_heat_return(&mut self, nest: Option<u16>, draft: &mut Draft) -> bool {
        let Some(nest) = nest.map(usize::from).filter(|nest| !self.core.is_in_danger(*nest)) else { return false };
        let mut waited = false;
        for standing in self.permits.iter_mut().filter(|standing| standing.nest() == nest) {
            if standing.reset() {
                draft.batch.facts.push(standing.fact());
                waited = true;
            }
        }
        waited
    }
}
