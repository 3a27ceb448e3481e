//! The one binary: arguments, log, command, exit code.
use clap::Parser as _;
use std::process::ExitCode;
use warmend::cli::Cli;
use warmend::commands::{self, EXIT_CALLED_WRONGLY, EXIT_DONE};

fn main() -> ExitCode {
    // Whatever speaks TLS asks for it; without one the first HTTP client would end the process.
    drop(rustls::crypto::ring::default_provider().install_default());
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(wrong) => {
            // Help and version are no errors; where nobody reads them there is nobody to tell.
            let _ = wrong.print();
            return ExitCode::from(if wrong.use_stderr() { EXIT_CALLED_WRONGLY } else { EXIT_DONE });
        }
    };
    commands::start_logging(cli.log);
    match commands::execute(cli) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            eprintln!("{failure}");
            ExitCode::from(failure.code())
        }
    }
}
