//! What commands say on standard error beside their output. Whether somebody reads it must change nothing: `eprintln!`
//! panics where nobody can, and a watch must not end because the disk of its log is full.

/// A line on standard error; where it cannot be written there is nobody to tell.
macro_rules! aside {
    ($($text:tt)*) => {{
        use std::io::Write as _;
        if cfg!(test) {
            // Kept by the test's harness, and shown where the test fails.
            eprintln!($($text)*);
        } else {
            drop(writeln!(std::io::stderr(), $($text)*));
        }
    }};
}
pub(crate) use aside;
