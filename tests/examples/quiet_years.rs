//! How often the watch cries wolf: years of quiet shelves, each nest another.
//!
//! `cargo run --release -p tests --example quiet_years -- --years 5 [--days 30] [--from RUN] [--threads 2] [--room CSV]
//! [--most DANGERS,OTHERS]`
//!
//! `--days`: how long each nest is watched; `--from`: the first run, to live through one again (`--from 17 --years 0.01`
//! and the same `--days`); `--room`: hours of an outdoor record (columns `date` and `temp`, °F) as every nest's room,
//! begun a season later in each run; `--most`: ends with 1 if more false alarms came.
use std::process::ExitCode;
use tests::{moment, quiet, record};

fn main() -> ExitCode {
    let (mut years, mut days, mut from, mut threads, mut room, mut most) = (1.0, 30.0, 0.0, 2.0, None, None);
    let mut args = std::env::args().skip(1);
    while let Some(name) = args.next() {
        let value = args.next().unwrap_or_default();
        let number = value.parse::<f64>().ok().filter(|v| *v >= 0.0);
        match (name.as_str(), number) {
            ("--years", Some(v)) => years = v,
            ("--days", Some(v)) => days = v,
            ("--from", Some(v)) => from = v,
            ("--threads", Some(v)) => threads = v,
            ("--room", _) => room = Some(value),
            ("--most", _) => {
                most = value.split_once(',').and_then(|(d, o)| d.parse::<u32>().ok().zip(o.parse::<u32>().ok()));
            }
            _ => {
                eprintln!(
                    "usage: quiet_years --years N [--days N] [--from RUN] [--threads N] [--room CSV] [--most N,N]"
                );
                return ExitCode::from(2);
            }
        }
    }
    let course = match room.as_deref().map(|path| record::hours(path.as_ref())) {
        None => Vec::new(),
        Some(Ok(course)) => course,
        Some(Err(why)) => {
            eprintln!("{why}");
            return ExitCode::FAILURE;
        }
    };
    let began = moment();
    let runs = ((years * 365.25 / days).round() as u32).max(1);
    let tally = quiet::live(from as u32, from as u32 + runs, days, threads as u32, &course);
    for story in tally.stories.values() {
        println!("{story}");
    }
    if runs == 1 {
        // One run is lived through again to be looked at.
        tally.told.iter().for_each(|line| println!("  {line}"));
    }
    print!("{tally}");
    println!("{runs} runs in {:.0} s", began.elapsed().as_secs_f64());
    match most {
        Some((dangers, others)) if tally.dangers() > dangers || tally.others() > others => {
            eprintln!(
                "{} false dangers and {} others, more than {dangers} and {others}",
                tally.dangers(),
                tally.others()
            );
            ExitCode::FAILURE
        }
        _ => ExitCode::SUCCESS,
    }
}
