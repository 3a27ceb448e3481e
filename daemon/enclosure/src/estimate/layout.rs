//! Where each kind of state lies in the filter: physics, then each probe's offset, place and lag, then the air
//! about the nest and the colony's heat, then disturbances.

/// Smooth shapes along the axis.
pub(super) const SHAPES: usize = 5;

/// Where each kind of state begins.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layout {
    pub(super) params: usize,
    pub(super) probes: usize,
    /// Pieces of drive that nobody told.
    pub(super) untold: usize,
}

impl Layout {
    pub(super) fn offset(&self, p: usize) -> usize {
        self.params + p
    }
    pub(super) fn place(&self, p: usize) -> usize {
        self.params + self.probes + p
    }
    pub(super) fn lag(&self, p: usize) -> usize {
        self.params + 2 * self.probes + p
    }
    /// How much warmer the air about the nest is than what stands for the room.
    pub(super) fn air(&self) -> usize {
        self.params + 3 * self.probes
    }
    /// The colony's own heat, W.
    pub(super) fn colony(&self) -> usize {
        self.air() + 1
    }
    pub(super) fn slow(&self) -> usize {
        self.colony() + 1
    }
    pub(super) fn quick(&self) -> usize {
        self.slow() + SHAPES
    }
    pub(super) fn untold(&self) -> usize {
        self.quick() + SHAPES
    }
    pub(super) fn len(&self) -> usize {
        self.untold() + self.untold
    }
}
