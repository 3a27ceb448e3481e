//! Writes scenario folders for judging the estimator against a truth it has never seen.
//!
//! `cargo run -p world --example scenarios -- OUTDIR [NAME ...]`: each folder holds `scenario.json`, `faults.json`,
//! `shelf.toml`, `readings.sensml.gz` and `truth.csv.gz`. A NAME may be the beginning of several: `stuck`, `quiet`.
mod harder;
mod list;
mod water;
mod write;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let Some(out) = args.next() else {
        eprintln!("usage: scenarios OUTDIR [NAME ...]");
        return ExitCode::from(2);
    };
    let names: Vec<String> = args.collect();
    println!("{:28}{:>6}{:>7}{:>15}{:>7}{:>7}{:>7}", "scenario", "days", "duty", "brood", "hot", "pad", "rh");
    for scenario in
        list::all().iter().filter(|s| names.is_empty() || names.iter().any(|n| s.name.starts_with(n.as_str())))
    {
        match write::folder(Path::new(&out), scenario) {
            Ok(seen) => println!("{:28}{:6}{seen}", scenario.name, scenario.days),
            Err(e) => {
                eprintln!("writing scenario {} under {out}: {e}", scenario.name);
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}
