//! Run lengths of the accumulate-and-restart that weighs a pad's rivals.
use crate::near;
use tests::sums::run_length;
use world::Rng;

/// Average run lengths of the one-sided sum for normal values (slack k, height h, shift μ), by the integral equation of
/// Page (1954) with 80 Gauss–Legendre points, agreeing with Brook & Evans (Biometrika 59, 1972) at 500 states. The known
/// two-sided anchors 168 and 8.38 (h = 4), 465 and 10.4 (h = 5) follow from them (Montgomery, from memory).
#[test]
fn run_lengths_are_those_of_the_table() {
    let table = [
        (0.5, 3.0, 0.0, 117.5957),
        (0.5, 3.0, 0.5, 17.3505),
        (0.5, 3.0, 1.0, 6.4039),
        (0.5, 4.0, 0.0, 335.3676),
        (0.5, 4.0, 1.0, 8.3832),
        (0.5, 5.0, 0.5, 38.0096),
        (0.5, 5.0, 1.0, 10.3760),
        (0.5, 5.0, 2.0, 4.0089),
        (0.25, 8.0, 0.5, 28.7634),
        (0.25, 8.0, 1.0, 11.3932),
        (1.0, 2.5, 1.0, 13.4320),
        (1.0, 2.5, 2.0, 3.2467),
    ];
    let mut rng = Rng::new(1954);
    for (k, h, shift, want) in table {
        let (got, error) = run_length((k, h), shift, 10_000, &mut rng);
        near(&format!("k {k}, h {h}, shift {shift}"), got, want, 4.0 * error);
        assert!(error < 0.02 * want, "too few runs to tell: {got} ± {error}");
    }
}

/// The longer between false alarms, the later a true one, by the logarithm: Lorden (Ann. Math. Stat. 42, 1971). Heights
/// for 370.4 and 10,000 values between false alarms, k = 0.5, and the delay to a shift of 1.
#[test]
fn the_delay_grows_with_the_logarithm_of_the_run_length() {
    let mut rng = Rng::new(1971);
    let (short, short_error) = run_length((0.5, 4.096_499), 1.0, 10_000, &mut rng);
    let (long, long_error) = run_length((0.5, 7.360_786), 1.0, 10_000, &mut rng);
    near("delay at 370.4", short, 8.575_126, 4.0 * short_error);
    near("delay at 10,000", long, 15.093_719, 4.0 * long_error);
    // Slope: ln of the ratio over the information of one value, ½; right in slope, not in level.
    near("slope", long - short, (10_000.0_f64 / 370.4).ln() / 0.5, 0.3);
}
