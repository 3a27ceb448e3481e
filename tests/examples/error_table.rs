//! The whole table of errors: `cargo run --release -p tests --example error_table > tests/tables/errors.txt`
use std::sync::Mutex;
use tests::table::{Cell, Figures};

fn main() {
    let cells = Cell::all();
    let (next, done): (Mutex<usize>, Mutex<Vec<Option<Figures>>>) =
        (Mutex::new(0), Mutex::new(vec![None; cells.len()]));
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let i = {
                        let mut next = next.lock().expect("no thread panicked");
                        *next += 1;
                        *next - 1
                    };
                    let Some(cell) = cells.get(i) else { break };
                    let figures = cell.live();
                    done.lock().expect("no thread panicked")[i] = Some(figures);
                }
            });
        }
    });
    println!(
        "Nests of the simulated shelf, three days each, the first not judged: oak and pine on thermostats and clay on a"
    );
    println!("dimmer that tell their drive; oak and plaster on thermostats that do not.");
    println!("Errors are root mean squares in K; cover is the share of truth within the stated 90 % interval.\n");
    println!("drive   probes  cadence_s  noise_k  lost  profile_k  brood_k  cover");
    for (cell, figures) in cells.iter().zip(done.into_inner().expect("no thread panicked")) {
        println!("{}", cell.line(&figures.expect("every cell was lived through")));
    }
}
