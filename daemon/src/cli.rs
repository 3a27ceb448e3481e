//! The command line: what can be typed, and how it is read. What is done is in [`crate::commands`].
use crate::acts::{AlarmsCommand, NoteCommand};
use crate::demo::{FaultWish, SPEEDS};
use crate::exchange::{ExportArgs, ImportArgs};
use crate::fit::FitArgs;
use crate::trim::TrimArgs;
use crate::{plan, times};
use clap::{Args, Parser, Subcommand, ValueEnum};
use enclosure::Span;
use std::net::SocketAddr;
use std::path::PathBuf;

/// Everything that can be typed.
#[derive(Debug, Parser)]
#[command(name = "warmend", version, about, long_about = LONG, max_term_width = 100)]
pub struct Cli {
    /// The shelf file
    #[arg(long, global = true, value_name = "FILE", default_value = "shelf.toml", help_heading = EVERYWHERE)]
    pub shelf: PathBuf,
    /// How the log is written, to standard error; WARMEND_LOG says how much (default `info,mqtt5=warn`)
    #[arg(long, global = true, value_enum, default_value_t = LogForm::Text, help_heading = EVERYWHERE)]
    pub log: LogForm,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

const LONG: &str = "Watches the warmth in ant nests over MQTT: believes a temperature for the whole nest, says when \
something is wrong, and keeps what was.\n\nSoftware is never the protective device: a heating mat needs a thermal \
cut-off of its own. Local codes and licensed practice come first.";

/// What stands above the options that every command takes.
const EVERYWHERE: &str = "For every command";

/// The form of the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LogForm {
    /// Lines for people
    Text,
    /// One JSON object a line
    Json,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watches the shelf until it is told to stop
    Run,
    /// Runs on simulated nests, over a real broker
    Demo(Demo),
    /// Says what is wrong in a shelf file, and what is unwise
    Check {
        /// Instead reads a password from standard input and prints its hash: for a users file (behind the name and a
        /// colon), or as the file of the pages' password
        #[arg(long)]
        hash_password: bool,
        /// Listens to the broker for so long, and shows what arrives, what it would become, and why not
        #[arg(long, value_name = "DURATION", num_args = 0..=1, default_missing_value = "30s", value_parser = times::duration)]
        listen: Option<Span>,
        /// With --listen: who to be at a broker that runs already and has users
        #[arg(long, value_name = "USER", requires = "listen", requires = "password_file")]
        user: Option<String>,
        /// With --listen: the file with that user's password
        #[arg(long, value_name = "FILE", requires = "user")]
        password_file: Option<PathBuf>,
    },
    /// Feeds recorded readings through the same judgement, in their own time
    Replay(Replay),
    /// Looks back: the warmth along a nest over days, as a page, a picture or text
    Review(Review),
    /// Reckons before anything is plugged in: how warm, how soon, how far, and how hot if the mat sticks on
    Plan(Box<plan::Args>),
    /// Learns from history how a nest carries heat, says how well that is known and where one more probe would help
    Fit(FitArgs),
    /// Says what a probe is off by, from what it said in ice, over a wet salt, or beside another probe
    Trim(TrimArgs),
    /// Lists alarms, answers them, silences them; sends a test message
    Alarms {
        /// What to do
        #[command(subcommand)]
        command: AlarmsCommand,
    },
    /// Writes history out: as SensML, CSV or line protocol, or whole as a backup
    Export(ExportArgs),
    /// Takes recorded readings into history, or puts a backup in its place; no daemon may run meanwhile
    Import(ImportArgs),
    /// Writes down or lists what you saw and did
    Note {
        /// What to do
        #[command(subcommand)]
        command: NoteCommand,
    },
}

/// `demo`.
#[derive(Debug, Args)]
pub struct Demo {
    /// Ends by itself after this time on the wall clock
    #[arg(long = "for", value_name = "DURATION", value_parser = times::duration)]
    pub length: Option<Span>,
    /// How many times faster than life time runs
    #[arg(long, value_name = "N", value_parser = speed)]
    pub speed: Option<f64>,
    /// What goes wrong where, and when: stuck-on@oak, or stuck-on@oak+30m (may be repeated)
    #[arg(long = "fault", value_name = "KIND@NEST[+DURATION]")]
    pub faults: Vec<FaultWish>,
    /// Where the pages are served, on this machine only: they have no password; port 0: any free one
    #[arg(long, value_name = "ADDRESS", value_parser = address_here)]
    pub listen: Option<SocketAddr>,
    /// Where the demo keeps its history (default: a directory that is removed at the end)
    #[arg(long, value_name = "DIR")]
    pub dir: Option<PathBuf>,
}

/// `replay`.
#[derive(Debug, Args)]
pub struct Replay {
    /// A profile at every multiple of this since 1970
    #[arg(long, value_name = "DURATION", default_value = "10m", value_parser = times::duration)]
    pub every: Span,
    /// Leaves the nightly fits out
    #[arg(long)]
    pub no_fit: bool,
    /// SensML as lines, plain or gzip; - is standard input
    pub file: PathBuf,
}

/// `review`.
#[derive(Debug, Args)]
pub struct Review {
    /// The nest's id (default: every nest)
    #[arg(long, value_name = "ID")]
    pub nest: Option<String>,
    /// From when: RFC 3339, or a span back from now (default: a week before the end)
    #[arg(long, value_name = "TIME", value_parser = time_text)]
    pub from: Option<String>,
    /// Until when (default: now)
    #[arg(long, value_name = "TIME", value_parser = time_text)]
    pub to: Option<String>,
    /// What to compare it with: before (the span before it), or another nest's id
    #[arg(long, value_name = "before|ID", requires = "nest")]
    pub with: Option<String>,
    /// Where to: .html, .png or .svg (default: text, to standard output)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

fn speed(text: &str) -> Result<f64, String> {
    let speed: f64 =
        text.parse().map_err(|_| format!("\"{text}\" is no number: write 1, or 60 for a minute a second"))?;
    if SPEEDS.contains(&speed) {
        Ok(speed)
    } else {
        Err(format!("time can run {} to {} times as fast as in life", SPEEDS.start(), SPEEDS.end()))
    }
}

/// A moment that can be read; its own words are handed on.
fn time_text(text: &str) -> Result<String, times::TimeError> {
    times::moment(text).map(|_| text.to_owned())
}

/// Without a password nothing is served beyond loopback.
fn address_here(text: &str) -> Result<SocketAddr, String> {
    let address: SocketAddr = text.parse().map_err(|_| {
        format!("\"{text}\" is no address: write it as 127.0.0.1:7180, or 127.0.0.1:0 for any free port")
    })?;
    if address.ip().is_loopback() {
        Ok(address)
    } else {
        Err(format!(
            "{text} can be reached from other machines, and the demonstration's pages have no password: write \
             127.0.0.1:{}",
            address.port()
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    fn read(line: &str) -> Result<Cli, clap::Error> {
        Cli::try_parse_from(std::iter::once("warmend").chain(line.split_whitespace()))
    }

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }

    #[test]
    fn every_command_takes_a_shelf() {
        for command in [
            "run",
            "demo",
            "check",
            "replay -",
            "review",
            "plan",
            "fit",
            "fit --list",
            "fit --put-back 3 --nest oak",
            "alarms list",
            "alarms ack heater-stuck-on@oak",
            "alarms shelve brood-cold@oak --for 2h",
            "alarms test",
            "note list",
            "note add --nest oak --kind fed fruit-flies",
        ] {
            for line in [format!("{command} --shelf a.toml"), format!("--shelf a.toml {command}")] {
                assert_eq!(
                    read(&line).map(|c| c.shelf).map_err(|e| e.to_string()),
                    Ok(PathBuf::from("a.toml")),
                    "{line}"
                );
            }
        }
        assert_eq!(read("run").map(|c| c.shelf).ok(), Some(PathBuf::from("shelf.toml")));
    }

    #[test]
    fn what_is_not_there_cannot_be_called() {
        for line in [
            "",
            "plan --fast",
            "fit --fast",
            "trim",
            "trim n:p",
            "trim n:p --against sugar",
            "run --fast",
            "replay",
            "replay --every 0s -",
            "replay --every x -",
        ] {
            assert!(read(line).is_err_and(|e| e.use_stderr()), "{line}");
        }
    }

    #[test]
    fn the_demo_takes_what_the_contract_says() {
        let line =
            "demo --for 90s --speed 600 --fault stuck-on@oak --fault silent@oak+30m --listen 127.0.0.1:0 --dir d";
        let Ok(Cli { command: Command::Demo(demo), .. }) = read(line) else { panic!("not read: {line}") };
        assert_eq!((demo.length, demo.speed), (Some(Span::from_s(90)), Some(600.0)));
        let faults: Vec<_> = demo.faults.iter().map(|f| (f.kind.name(), f.after)).collect();
        assert_eq!(faults, [("stuck-on", Span::ZERO), ("silent", Span::from_min(30))]);
        assert_eq!(demo.listen.map(|l| l.port()), Some(0));
        for wrong in [
            "--fault fire@oak",
            "--fault stuck-on",
            "--fault stuck-on@",
            "--fault stuck-on@oak+x",
            "--speed 0",
            "--speed inf",
            "--speed -1",
            "--speed nan",
            "--for 0s",
            "--listen here",
        ] {
            assert!(read(&format!("demo {wrong}")).is_err(), "{wrong}");
        }
        assert!(
            read("demo --fault fire@oak")
                .is_err_and(|e| world::FaultKind::ALL.iter().all(|kind| e.to_string().contains(kind.name())))
        );
    }

    #[test]
    fn a_review_takes_moments_and_nothing_else() {
        assert!(read("review --from 7d --to 2026-03-01T12:00:00Z --nest oak --out week.png").is_ok());
        assert!(read("review --nest oak --with before").is_ok());
        assert!(read("review --with before").is_err_and(|e| e.to_string().contains("--nest")));
        assert!(read("review --from monday").is_err_and(|e| e.to_string().contains("RFC 3339")));
    }
}
