//! Answers questions about the core's own numbers, one a line from standard input, for `tests/reference`:
//!
//! `saturation T`, `dew E`, `elsewhere T1 RH T2`, `roots B N`,
//! `rod LENGTH AREA ROUND K RHOC FILM ENDS FROM TO WATTS STEPS STEP_S X...`,
//! `level NOISE WANDER Y...`, `velocity PLACE SPEED PUSH NOISE Y...`, `run-length SLACK HEIGHT SHIFT RUNS SEED`.
use enclosure::modes::Modes;
use enclosure::psychro::{dew_point_c, saturation_pa, vapour_pa};
use std::io::BufRead as _;
use std::process::ExitCode;
use tests::sums::{Filtered, Rod, Velocity, level, run_length};
use world::Rng;

fn answer(question: &str) -> Option<Vec<f64>> {
    let (name, rest) = question.split_once(' ')?;
    let numbers: Vec<f64> = rest.split_whitespace().map(|n| n.parse().ok()).collect::<Option<_>>()?;
    match (name, &numbers[..]) {
        ("saturation", [t]) => Some(vec![saturation_pa(*t)]),
        ("dew", [e]) => Some(vec![dew_point_c(*e)?]),
        ("elsewhere", [t1, rh, t2]) => Some(vec![100.0 * vapour_pa(*t1, *rh) / saturation_pa(*t2)]),
        ("roots", [b, n]) => Some(Modes::new(100.0, *b, *n as usize).roots().to_vec()),
        (
            "rod",
            [
                length_m,
                area_m2,
                round_m,
                k_w_mk,
                rho_c,
                film_w_m2k,
                ends_w_m2k,
                from,
                to,
                watts,
                steps,
                step_s,
                at @ ..,
            ],
        ) => {
            let rod = Rod {
                length_m: *length_m,
                area_m2: *area_m2,
                round_m: *round_m,
                k_w_mk: *k_w_mk,
                rho_c: *rho_c,
                film_w_m2k: *film_w_m2k,
                ends_w_m2k: *ends_w_m2k,
            };
            Some(at.iter().map(|x| rod.after_k((*from, *to), *watts, (*steps as u32, *step_s), *x)).collect())
        }
        ("level", [noise, wander, values @ ..]) => {
            let run = level(*noise, *wander, values);
            let last = run.last()?;
            Some(vec![last.mean, last.variance, run.iter().map(Filtered::log_likelihood).sum()])
        }
        ("velocity", [place, speed, push, noise, values @ ..]) => {
            let mut v = Velocity::new((*place, *speed), *push, *noise, values.len());
            let likelihood: f64 = values.iter().map(|y| v.see(*y).log_likelihood()).sum();
            let (row_p, row_s) = v.rows(values.len());
            let [p, both, s] = v.variances(values.len());
            Some(vec![v.mean(&row_p), v.mean(&row_s), p, both, s, likelihood])
        }
        ("run-length", [slack, height, shift, runs, seed]) => {
            let (mean, error) = run_length((*slack, *height), *shift, *runs as u32, &mut Rng::new(*seed as u64));
            Some(vec![mean, error])
        }
        _ => None,
    }
}

fn main() -> ExitCode {
    for line in std::io::stdin().lock().lines().map_while(Result::ok) {
        let Some(numbers) = answer(&line) else {
            eprintln!("this is no question: {line}");
            return ExitCode::from(2);
        };
        let words: Vec<String> = numbers.iter().map(|n| format!("{n:.12e}")).collect();
        println!("{}", words.join(" "));
    }
    ExitCode::SUCCESS
}
