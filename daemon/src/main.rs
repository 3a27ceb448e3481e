//! The one binary.
use clap::{Parser, Subcommand};
use enclosure::Span;
use std::path::PathBuf;
use std::process::ExitCode;
use warmend::{replay, shelf_file};

#[derive(Parser)]
struct Cli {
    #[arg(long, global = true, default_value = "shelf.toml")]
    shelf: PathBuf,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Replay {
        #[arg(long, default_value = "10m")]
        every: String,
        #[arg(long)]
        no_fit: bool,
        file: PathBuf,
    },
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    match cli.command {
        Command::Replay { no_fit, file, .. } => {
            let (sf, _) = match shelf_file::load(&cli.shelf, std::iter::empty()) {
                Ok(s) => s,
                Err(e) => {
                    eprintln!("{e}");
                    return ExitCode::from(64);
                }
            };
            let mut out = std::io::BufWriter::new(std::io::stdout().lock());
            let settings = replay::Settings { every: Span::from_min(10), fits: !no_fit };
            let mut input = match replay::open(&file) {
                Ok(i) => i,
                Err(e) => {
                    eprintln!("{e:#}");
                    return ExitCode::from(1);
                }
            };
            match replay::replay(sf.shelf, &mut *input, &mut out, settings) {
                Ok(_) => ExitCode::SUCCESS,
                Err(e) => {
                    eprintln!("{e:#}");
                    ExitCode::from(1)
                }
            }
        }
    }
}
