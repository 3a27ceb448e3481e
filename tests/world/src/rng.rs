//! Chance from a seed: the same seed tells the same story on every machine.

/// A small generator (SplitMix64; Steele, Lea and Flood 2014, OOPSLA, fig. 17: its constants).
#[derive(Clone, Debug)]
pub struct Rng {
    state: u64,
}

impl Rng {
    /// Starts a stream.
    pub fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// Starts a stream of its own for one thing by name, so that what one thing draws never shifts another's.
    pub fn fork(&self, name: &str) -> Self {
        // FNV-1a over the name (offset basis and prime of the published 64-bit variant).
        let hash =
            name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
        let mut child = Self { state: self.state ^ hash };
        child.next_u64();
        child
    }

    /// Draws 64 bits.
    pub fn next_u64(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Draws evenly from 0 (included) to 1 (not included).
    pub fn uniform(&mut self) -> f64 {
        // 53 bits fill a double's mantissa.
        (self.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Draws from the standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let u = 1.0 - self.uniform();
        let v = self.uniform();
        (-2.0 * u.ln()).sqrt() * (core::f64::consts::TAU * v).cos()
    }

    /// Draws a factor around 1 whose logarithm has the standard deviation `sd`.
    pub fn factor(&mut self, sd: f64) -> f64 {
        (sd * self.normal()).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_those_of_the_laws() {
        let mut rng = Rng::new(7);
        let n = 20_000;
        let draws: Vec<f64> = (0..n).map(|_| rng.normal()).collect();
        let mean = draws.iter().sum::<f64>() / f64::from(n);
        let var = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n);
        assert!(mean.abs() < 4.0 / f64::from(n).sqrt(), "mean {mean}");
        assert!((var - 1.0).abs() < 0.05, "variance {var}");
        let even = (0..n).map(|_| rng.uniform()).sum::<f64>() / f64::from(n);
        assert!((even - 0.5).abs() < 0.01, "even {even}");
    }

    #[test]
    fn forks_are_repeatable_and_differ() {
        let root = Rng::new(1);
        assert_eq!(root.fork("a").next_u64(), root.fork("a").next_u64());
        assert_ne!(root.fork("a").next_u64(), root.fork("b").next_u64());
    }
}
