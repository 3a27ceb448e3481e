//! Evidence that accumulates, and begins anew at zero where it runs out (CUSUM: Page, Biometrika 41, 1954).

/// Adds `gain` to `sum`; true if it ran out, and begins anew at zero. It has run out below `-patience`: zero is Page's
/// own rule; more lets a signal that only grows out of the noise live through its beginning.
pub fn accumulate(sum: &mut f64, gain: f64, patience: f64) -> bool {
    *sum += gain;
    let ran_out = *sum < -patience;
    if ran_out {
        *sum = 0.0;
    }
    ran_out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3: target 325, k = 0.3175, h = 4.1959 (data from memory):
    /// the upper sum first passes h at group 14.
    #[test]
    fn the_handbook_s_groups_add_up() {
        let groups = [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
            328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
        ];
        let (mut high, mut low) = (0.0, 0.0);
        let mut highs = alloc::vec::Vec::new();
        let mut lows = alloc::vec::Vec::new();
        for g in groups {
            accumulate(&mut high, g - 325.0 - 0.3175, 0.0);
            accumulate(&mut low, 325.0 - g - 0.3175, 0.0);
            highs.push(high);
            lows.push(low);
        }
        let want_low = [0.0, 0.0075, 0.0, 0.3325, 0.0, 0.0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, 0.0];
        for (got, want) in lows.iter().zip(want_low) {
            assert!((got - want).abs() < 1e-9, "{lows:?}");
        }
        for (i, want) in [(4, 0.0325), (12, 3.0075), (13, 4.94), (19, 19.035)] {
            assert!((highs[i] - want).abs() < 1e-9, "{highs:?}");
        }
        assert_eq!(highs.iter().position(|s| *s > 4.1959), Some(13));
    }

    #[test]
    fn patience_lets_a_sum_below_zero_live_and_then_it_begins_anew() {
        let mut sum = 0.0;
        let ran_out: alloc::vec::Vec<bool> = (0..5).map(|_| accumulate(&mut sum, -1.0, 3.0)).collect();
        assert_eq!((ran_out, sum), (alloc::vec![false, false, false, true, false], -1.0));
    }
}
