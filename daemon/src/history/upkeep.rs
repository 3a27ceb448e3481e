//! What is done to history between commits: closed days are packed, old ones are thinned where the shelf file asks.
use super::errors::WriteError;
use super::packing::Packed;
use super::store::Store;
use super::thinning::{Keep, Thinned};
use enclosure::{Span, Timestamp};
use tokio::sync::oneshot;

/// Days that ended so long ago are packed: late readings are mostly in by then, and later ones join their day then.
pub const PACKED_AFTER: Span = Span::from_h(36);

/// What one round of upkeep did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tended {
    /// Packed.
    pub packed: Packed,
    /// Thinned.
    pub thinned: Thinned,
}

type Reply = oneshot::Sender<Result<Tended, WriteError>>;

/// A round under way.
#[derive(Debug)]
pub(super) struct Upkeep {
    now: Timestamp,
    aged: Timestamp,
    is_packed: bool,
    sum: Tended,
    replies: Vec<Reply>,
}

impl Upkeep {
    /// Begins a round, or joins the one under way.
    pub(super) fn add(round: &mut Option<Self>, (now, aged): (Timestamp, Timestamp), reply: Reply) {
        match round {
            Some(round) => {
                round.now = round.now.max(now);
                round.aged = aged;
                round.is_packed = false;
                round.replies.push(reply);
            }
            None => *round = Some(Self { now, aged, is_packed: false, sum: Tended::default(), replies: vec![reply] }),
        }
    }

    /// One step; the round, if it is not over, and what the step did.
    pub(super) fn step(mut self, store: &mut Store, keep: &Keep) -> (Option<Self>, Tended) {
        match self.try_step(store, keep) {
            Ok(step) => {
                self.add_up(&step);
                if self.is_packed && !step.thinned.more {
                    self.end(keep);
                    (None, step)
                } else {
                    (Some(self), step)
                }
            }
            Err(error) => {
                tracing::warn!(%error, "old days were neither packed nor thinned; they are kept as they are");
                for reply in self.replies {
                    // Nobody may wait for it.
                    let _ = reply.send(Err(error.clone()));
                }
                (None, Tended::default())
            }
        }
    }

    fn try_step(&mut self, store: &mut Store, keep: &Keep) -> Result<Tended, WriteError> {
        if self.is_packed {
            return Ok(Tended { thinned: store.thin_step(keep, self.aged)?, ..Tended::default() });
        }
        let packed = store.pack_step(self.now.minus(PACKED_AFTER))?;
        self.is_packed = !packed.more;
        // What is thinned next is not known yet.
        let thinned = Thinned { more: true, ..Thinned::default() };
        Ok(Tended { packed, thinned })
    }

    fn add_up(&mut self, step: &Tended) {
        let Tended { packed, thinned } = &mut self.sum;
        packed.readings += step.packed.readings;
        packed.chunks += step.packed.chunks;
        packed.set_aside += step.packed.set_aside;
        thinned.readings += step.thinned.readings;
        thinned.dropped += step.thinned.dropped;
        thinned.set_aside += step.thinned.set_aside;
        thinned.over = step.thinned.over;
    }

    fn end(self, keep: &Keep) {
        let Thinned { readings, dropped, over, .. } = self.sum.thinned;
        if readings + dropped > 0 {
            tracing::info!(readings, dropped, ?keep, "history was thinned: of so many readings only the hour is left");
        }
        if over {
            tracing::warn!(
                ?keep,
                "history is larger than history.max_mb, and what is left is never thinned: give it more room"
            );
        }
        for reply in self.replies {
            // Nobody may wait for it.
            let _ = reply.send(Ok(self.sum));
        }
    }
}
