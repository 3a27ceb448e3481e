//! Where each kind of state lies in the filter: physics, then each probe's offset, place and lag, then disturbances.

/// Smooth shapes along the axis.
pub(super) const SHAPES: usize = 5;

/// Where each kind of state begins.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layout {
    pub(super) params: usize,
    pub(super) probes: usize,
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
    pub(super) fn slow(&self) -> usize {
        self.params + 3 * self.probes
    }
    pub(super) fn quick(&self) -> usize {
        self.slow() + SHAPES
    }
    pub(super) fn len(&self) -> usize {
        self.quick() + SHAPES
    }
}
