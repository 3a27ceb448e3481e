//! The one binary: arguments, log, command, exit code.
use clap::Parser as _;
use std::io::Write as _;
use std::process::ExitCode;
use warmend::cli::Cli;
use warmend::commands::{self, EXIT_CALLED_WRONGLY, EXIT_DONE};
use warmend::log;

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
    log::start(cli.log);
    match commands::execute(cli) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            // Where nobody can read it, the exit code says it too.
            drop(writeln!(std::io::stderr(), "{failure}"));
            ExitCode::from(failure.code())
        }
    }
}
