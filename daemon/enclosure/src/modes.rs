//! Eigenfunctions of heat conduction along one axis with the same convective loss at both ends.
//!
//! On 0 ≤ x ≤ L with k ∂θ/∂n = −h θ at both ends, the eigenfunctions are φ(x) = cos(zx/L) + (B/z) sin(zx/L) with
//! tan z = 2Bz/(z² − B²), B = hL/k (case X33 in Cole, Beck, Haji-Sheikh, Litkouhi, *Heat Conduction Using Green's
//! Functions*, 2nd ed. 2011, App. X; Carslaw & Jaeger, *Conduction of Heat in Solids*, App. IV).
use crate::shelf::Stretch;
use alloc::vec::Vec;
use core::f64::consts::PI;

/// Least end-loss number: below it the ends are as good as insulated, and z₀ would vanish.
const END_LOSS_MIN: f64 = 1e-6;

/// The first modes of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Modes {
    /// Whole length of the body, walls included, mm.
    length_mm: f64,
    /// Solid body before the zero end and behind the other one, mm.
    wall_mm: f64,
    end_loss: f64,
    roots: Vec<f64>,
    norms_mm: Vec<f64>,
}

impl Modes {
    /// The first `count` modes of an axis of `length_mm` with end-loss number `end_loss` (B = hL/k, dimensionless).
    pub fn new(length_mm: f64, end_loss: f64, count: usize) -> Self {
        Self::walled(length_mm, 0.0, end_loss, count)
    }

    /// The same where the body goes on for `wall_mm` beyond both ends of the axis; places are counted from the axis'
    /// own zero end.
    pub fn walled(length_mm: f64, wall_mm: f64, end_loss: f64, count: usize) -> Self {
        let length_mm = length_mm + 2.0 * wall_mm;
        let b = end_loss.max(END_LOSS_MIN);
        let roots: Vec<f64> = (0..count).map(|n| root(b, n)).collect();
        let norms_mm = roots.iter().map(|&z| norm(length_mm, b, z)).collect();
        Self { length_mm, wall_mm, end_loss: b, roots, norms_mm }
    }

    /// The first `count` of these modes.
    #[must_use]
    pub fn first(&self, count: usize) -> Self {
        let of = |all: &[f64]| all.iter().take(count).copied().collect();
        Self { roots: of(&self.roots), norms_mm: of(&self.norms_mm), ..*self }
    }

    /// How many modes there are.
    pub fn len(&self) -> usize {
        self.roots.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.roots.is_empty()
    }

    /// The dimensionless roots z.
    pub fn roots(&self) -> &[f64] {
        &self.roots
    }

    /// Squared wave numbers (z/L)², 1/mm².
    pub fn wave_numbers2_mm2(&self) -> impl Iterator<Item = f64> + '_ {
        self.roots.iter().map(|z| (z / self.length_mm) * (z / self.length_mm))
    }

    /// Every eigenfunction at `x_mm`.
    pub fn at(&self, x_mm: f64) -> impl Iterator<Item = f64> + '_ {
        self.roots.iter().map(move |&z| {
            let a = z * (x_mm + self.wall_mm) / self.length_mm;
            libm::cos(a) + self.end_loss / z * libm::sin(a)
        })
    }

    /// Every eigenfunction's slope at `x_mm`, 1/mm.
    pub fn slope_at(&self, x_mm: f64) -> impl Iterator<Item = f64> + '_ {
        self.roots.iter().map(move |&z| {
            let (k, a) = (z / self.length_mm, z * (x_mm + self.wall_mm) / self.length_mm);
            k * (self.end_loss / z * libm::cos(a) - libm::sin(a))
        })
    }

    /// Mean of every eigenfunction over a stretch.
    pub fn mean_over(&self, s: Stretch) -> impl Iterator<Item = f64> + '_ {
        let width_mm = s.length_mm().max(1e-9);
        self.integral(s).map(move |v| v / width_mm)
    }

    /// Coefficients that expand the box function of a stretch (1 within, 0 outside) in these modes.
    pub fn project(&self, s: Stretch) -> impl Iterator<Item = f64> + '_ {
        self.integral(s).zip(&self.norms_mm).map(|(v, n)| v / n)
    }

    fn integral(&self, s: Stretch) -> impl Iterator<Item = f64> + '_ {
        self.roots.iter().map(move |&z| {
            let k = z / self.length_mm;
            let (a, b) = (k * (s.from_mm + self.wall_mm), k * (s.to_mm + self.wall_mm));
            let (sin_a, sin_b, cos_a, cos_b) = (libm::sin(a), libm::sin(b), libm::cos(a), libm::cos(b));
            (sin_b - sin_a) / k - self.end_loss / z * (cos_b - cos_a) / k
        })
    }
}

/// The root of (z² − B²) sin z = 2Bz cos z in (nπ, (n+1)π): there is exactly one, found by bisection.
fn root(b: f64, n: usize) -> f64 {
    let f = |z: f64| (z * z - b * b) * libm::sin(z) - 2.0 * b * z * libm::cos(z);
    let (mut low, mut high) = (n as f64 * PI + 1e-9, (n + 1) as f64 * PI - 1e-9);
    let rising = f(high) > f(low);
    for _ in 0..64 {
        let mid = 0.5 * (low + high);
        if (f(mid) > 0.0) == rising {
            high = mid;
        } else {
            low = mid;
        }
    }
    0.5 * (low + high)
}

/// ∫ φ² over the axis, mm.
fn norm(length_mm: f64, b: f64, z: f64) -> f64 {
    let (k, r) = (z / length_mm, b / z);
    let sin = libm::sin(z);
    0.5 * length_mm * (1.0 + r * r) + libm::sin(2.0 * z) / (4.0 * k) * (1.0 - r * r) + r * sin * sin / k
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Roots z₁…z₄ for equal end losses: case X33, computed independently from tan z = 2Bz/(z² − B²).
    #[test]
    fn roots_match_the_table_of_two_convective_ends() {
        for (b, want) in [
            (0.1, [0.443_521, 3.203_994, 6.314_854, 9.445_950]),
            (1.0, [1.306_542, 3.673_194, 6.584_620, 9.631_685]),
            (10.0, [2.627_675, 5.307_325, 8.067_136, 10.908_708]),
        ] {
            let m = Modes::new(300.0, b, 4);
            for (z, w) in m.roots().iter().zip(want) {
                assert!((z - w).abs() < 1e-6, "B {b}: {z} for {w}");
            }
        }
    }

    #[test]
    fn modes_are_orthogonal_and_their_norm_is_right() {
        let m = Modes::new(240.0, 7.7, 6);
        let steps = 24_000;
        let mut gram = [[0.0; 6]; 6];
        for i in 0..steps {
            let phi: Vec<f64> = m.at((i as f64 + 0.5) * 240.0 / steps as f64).collect();
            for (row, a) in gram.iter_mut().zip(&phi) {
                for (g, b) in row.iter_mut().zip(&phi) {
                    *g += a * b * 240.0 / steps as f64;
                }
            }
        }
        for (i, row) in gram.iter().enumerate() {
            for (j, g) in row.iter().enumerate() {
                let want = if i == j { m.norms_mm[i] } else { 0.0 };
                assert!((g - want).abs() < 1e-4 * m.norms_mm[i], "{i} {j}: {g} for {want}");
            }
        }
    }

    #[test]
    fn a_box_is_expanded_back_into_itself() {
        let m = Modes::new(200.0, 3.0, 400);
        let c: Vec<f64> = m.project(Stretch { from_mm: 40.0, to_mm: 100.0 }).collect();
        for (x, want) in [(20.0, 0.0), (70.0, 1.0), (150.0, 0.0)] {
            let got: f64 = m.at(x).zip(&c).map(|(p, c)| p * c).sum();
            assert!((got - want).abs() < 0.01, "at {x}: {got}");
        }
    }
}
