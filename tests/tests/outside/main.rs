//! The core's numbers against the outside: handbooks, papers, tables. Each source stands beside its values; those
//! marked "from memory" are held loosely.
mod conduction;
mod cusum;
mod kalman;
mod vapour;

/// Asserts that `got` is `want` within `by`.
#[track_caller]
fn near(what: &str, got: f64, want: f64, by: f64) {
    assert!((got - want).abs() <= by, "{what}: {got} for {want}");
}
