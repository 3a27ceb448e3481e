//! How much truer the past is with hindsight: `cargo run -p tests --example hindsight [-- FROM TO]`.
use tests::hindsight::{Seen, live, lively};

fn main() {
    let bounds: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let (from, to) = if let [from, to] = bounds[..] { (from, to) } else { (0, 20) };
    println!(
        "lids, sun and refills; root mean squares and stated deviations in K, share of truth within 90 % intervals"
    );
    println!("{:56}as believed then                       with hindsight", "");
    let head = "profile_k  brood_k   sd_k  cover";
    println!("run nest     drive   probes  cadence_s  noise_k  lost  {head}     {head}");
    let (mut all, mut truer) = (Seen::default(), 0);
    for run in from..to {
        let (seen, found) = live(run);
        let (cell, spec) = lively(run);
        println!("{run:3} {:8} {cell}  {}     {}", spec.nests[0].id, seen.then, seen.later);
        let drawn = found.iter().filter(|f| !f.feigned).count();
        if drawn > 0 {
            println!("    {drawn} times a fault is drawn that was none");
        }
        truer += u32::from(seen.later.profile_k() < seen.then.profile_k());
        all = all.and(seen);
    }
    println!("{:54}{}     {}", "all", all.then, all.later);
    println!("truer along the whole axis in {truer} of {}", to - from);
}
