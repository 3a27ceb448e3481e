//! Numbers by chance for tests, the same on every machine: Knuth's linear congruential generator for MMIX.

/// A sequence of its own for each beginning.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        self.0
    }

    /// A whole number below `n`.
    pub(crate) fn below(&mut self, n: u64) -> u64 {
        (self.roll() >> 33) % n
    }

    /// Between 0 and 1, neither of them.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.roll() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Standard normal, by Box and Muller.
    pub(crate) fn normal(&mut self) -> f64 {
        let (a, b) = (self.uniform(), self.uniform());
        libm::sqrt(-2.0 * libm::log(a)) * libm::cos(2.0 * core::f64::consts::PI * b)
    }
}
