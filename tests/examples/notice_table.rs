//! What a keeper is told in a quiet month, a heatwave, with a pad that sticks, after a power cut: one row each.
//!
//! What begins is listed on standard error, line by line. `cargo run --release -p tests --example notice_table > tests/tables/notices.txt`
use tests::told::{HEAD, STORIES};

fn main() {
    print!("{HEAD}");
    for story in STORIES {
        let row = story.live();
        println!("{}", row.line());
        row.lines.iter().for_each(|(day, line)| eprintln!("  day {day:.3}  {line}"));
    }
}
