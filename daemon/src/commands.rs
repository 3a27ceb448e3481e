//! What each command does, and the exit code it ends with.
use crate::broker::users;
use crate::cli::{Cli, Command, Demo, Replay, Review};
use crate::clock::{Clock, SystemClock};
use crate::notices::{self, Context, Kit, Ledger, card, heartbeat};
use crate::run::{self, NoticeParts, Outfit, Task, WebParts};
use crate::shelf_file::{self, EXIT_WRONG, ShelfErrors, ShelfFile};
use crate::whole_file::{self, Readers};
use crate::wrong_call::WrongCall;
use crate::{acts, demo, exchange, fit, plan, replay, review, trim, web};
use anyhow::Context as _;
use std::future::Future;
use std::io::{BufRead as _, Read as _, Write as _};
use std::path::Path;
use std::sync::Arc;
use tokio_util::task::AbortOnDropHandle;

/// Exit code: done.
pub const EXIT_DONE: u8 = 0;
/// Exit code: failed.
pub const EXIT_FAILED: u8 = 1;
/// Exit code: called wrongly.
pub const EXIT_CALLED_WRONGLY: u8 = 2;
/// Why a command was not done; each kind has its exit code.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Called wrongly.
    #[error("{0}")]
    CalledWrongly(String),
    /// The shelf file is wrong.
    #[error(transparent)]
    Shelf(#[from] ShelfErrors),
    /// What the shelf file leads to is wrong: a users file, a password file.
    #[error("{0}")]
    Told(String),
    /// Anything else.
    #[error("{0:#}")]
    Failed(anyhow::Error),
}

impl From<anyhow::Error> for Failure {
    fn from(error: anyhow::Error) -> Self {
        match error.downcast::<ShelfErrors>() {
            Ok(wrong) => Self::Shelf(wrong),
            Err(error) if error.is::<WrongCall>() => Self::CalledWrongly(format!("{error:#}")),
            Err(error) => Self::Failed(error),
        }
    }
}

impl Failure {
    fn coded(code: u8, error: impl Into<anyhow::Error>) -> Self {
        let error = error.into();
        match code {
            EXIT_CALLED_WRONGLY => Self::CalledWrongly(format!("{error:#}")),
            EXIT_WRONG => Self::Told(format!("{error:#}")),
            _ => Self::Failed(error),
        }
    }

    /// The exit code.
    pub fn code(&self) -> u8 {
        match self {
            Self::CalledWrongly(_) => EXIT_CALLED_WRONGLY,
            Self::Shelf(_) | Self::Told(_) => EXIT_WRONG,
            Self::Failed(_) => EXIT_FAILED,
        }
    }
}

/// Does what was asked.
///
/// # Errors
/// [`Failure`], with the exit code it stands for.
pub fn execute(cli: Cli) -> Result<u8, Failure> {
    // Those that only tell: what they could not tell to a reader that left, as `head` does, nobody wanted.
    let only_tells = matches!(
        cli.command,
        Command::Check { .. } | Command::Export(_) | Command::Plan(_) | Command::Replay(_) | Command::Review(_)
    );
    match carry_out(cli) {
        Err(Failure::Failed(error)) if only_tells && has_lost_its_reader(&error) => Ok(EXIT_DONE),
        done => done,
    }
}

/// Whether the other end of the pipe was closed.
fn has_lost_its_reader(error: &anyhow::Error) -> bool {
    let closed = |e: &std::io::Error| e.kind() == std::io::ErrorKind::BrokenPipe;
    error.chain().any(|why| why.downcast_ref().is_some_and(closed))
}

fn carry_out(cli: Cli) -> Result<u8, Failure> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
    let load = || load(&cli.shelf);
    match cli.command {
        Command::Check { hash_password: true, .. } => hash_password()?,
        Command::Check { listen: Some(length), user, password_file, .. } => {
            listen(&load()?, length, user.zip(password_file), clock)?;
        }
        Command::Check { .. } => return check(&cli.shelf),
        Command::Replay(args) => replay(load()?, &args)?,
        Command::Plan(args) => plan::plan(&args, || load().map(|file| file.shelf))?,
        Command::Alarms { command: acts::AlarmsCommand::Card { nest, out } } => print_card(&load()?, &nest, &out)?,
        Command::Alarms { command } => block_on(acts::alarms(&command, &load()?, clock.as_ref()))??,
        Command::Fit(args) => block_on(fit::fit(&args, &load()?, clock.as_ref()))??,
        Command::Trim(args) => trim::tell(&args, &load()?, clock.now())?,
        Command::Note { command } => block_on(acts::notes(command, &load()?, clock.as_ref()))??,
        Command::Export(args) => exchange::export(&args, &load()?, clock.as_ref())?,
        Command::Import(args) => exchange::import(&args, &load()?, clock.as_ref())?,
        Command::Run => block_on(watch(load()?))??,
        Command::Demo(args) => {
            let demo = demo::demo(demo_settings(args), serve, tell, told_to_stop(run::Hangup::Ends));
            block_on(demo)?.map_err(|e| Failure::coded(e.exit_code(), e))?;
        }
        Command::Review(Review { nest, from, to, with, out }) => {
            review::review(&review::Args { file: load()?, nest, from, to, with, out }, clock.as_ref())?;
        }
    }
    Ok(EXIT_DONE)
}

/// The daemon.
async fn watch(file: ShelfFile) -> Result<(), Failure> {
    run::run(file, Outfit::new(serve, tell), told_to_stop(run::Hangup::IsSaid))
        .await
        .map_err(|e| Failure::coded(e.exit_code(), e))
}

/// Writes the card that hangs beside a nest.
fn print_card(file: &ShelfFile, nest: &str, out: &Path) -> Result<(), Failure> {
    let page = card::html(file, nest).map_err(anyhow::Error::from)?;
    whole_file::save(out, Readers::AsBefore, page.as_bytes()).map_err(|e| Failure::Failed(e.into()))
}

/// Longest line that is read for a password, bytes.
const PASSWORD_LINE_MAX: u64 = 4096;

/// Reads a password from standard input and prints what a line of a users file needs of it.
fn hash_password() -> anyhow::Result<()> {
    let mut line = String::new();
    // Longer than any password that can be hashed.
    let mut typed = std::io::stdin().lock().take(PASSWORD_LINE_MAX);
    typed.read_line(&mut line).context("reading the password from standard input")?;
    let password = line.trim_end_matches(['\r', '\n']);
    anyhow::ensure!(!password.is_empty(), "no password came on standard input: type one, or pipe it in");
    let mut salt = [0; 16];
    let random = rustls::crypto::ring::default_provider().secure_random;
    random.fill(&mut salt).map_err(|_| anyhow::anyhow!("the system gives no random numbers; try again"))?;
    let hash = users::hash_password(password, salt).context("hashing the password: it is too long")?;
    writeln!(std::io::stdout().lock(), "{hash}").context("printing the hash")
}

/// The pages, as the daemon wants them.
fn serve(p: WebParts) -> Task {
    Box::pin(web::serve(p))
}

/// The messages, as the daemon wants them; with signs of life, out and in.
fn tell(p: NoticeParts) -> Task {
    let context = Arc::new(Context::new(&p.file, jiff::tz::TimeZone::system()));
    let ledger = Ledger::load(&p.file.history.path, p.clock.now()).unwrap_or_else(|error| {
        tracing::error!(%error, "what was told before the start is not known: some of it may be told again");
        Ledger::default()
    });
    let kit = Kit {
        clock: Arc::clone(&p.clock),
        context,
        snapshots: Some(p.snapshots.clone()),
        publisher: Some(p.publisher.clone()),
        answering: Arc::clone(&p.answering),
        ledger,
        recipients: p.file.recipients.clone(),
        remind: p.file.remind,
        history: Some(p.file.history.path.clone()),
    };
    let notices = notices::start(&p.file.notices, p.told, p.sent.clone(), kit);
    let beating = p.file.heartbeat.clone().map(|settings| {
        let awaiting = heartbeat::wait_for(p.answering, p.acts, Arc::clone(&p.clock), p.stop.clone());
        let beating = heartbeat::beat(settings, p.snapshots, (p.clock, p.sent), p.stop.clone());
        [tokio::spawn(awaiting), tokio::spawn(beating)].map(AbortOnDropHandle::new)
    });
    Box::pin(async move {
        let ended = notices.run(p.stop).await;
        drop(beating);
        ended
    })
}

/// Ends when somebody asks the process to stop.
async fn told_to_stop(hangup: run::Hangup) {
    if let Err(error) = run::signalled(hangup).await {
        tracing::error!("the system lets no signal be heard ({error}); end the daemon by its process id");
        std::future::pending::<()>().await;
    }
}

fn demo_settings(args: Demo) -> demo::Settings {
    let usual = demo::Settings::default();
    demo::Settings {
        speed: args.speed.unwrap_or(usual.speed),
        faults: args.faults,
        length: args.length.map(|span| std::time::Duration::from_millis(span.ms().unsigned_abs())),
        listen: args.listen.unwrap_or(usual.listen),
        dir: args.dir,
        until: usual.until,
    }
}

/// The process's environment, as far as it is text.
fn environment() -> impl Iterator<Item = (String, String)> {
    std::env::vars_os().map(|(k, v)| (k.to_string_lossy().into_owned(), v.to_string_lossy().into_owned()))
}

fn load(path: &Path) -> Result<ShelfFile, ShelfErrors> {
    shelf_file::load(path, environment()).map(|(file, _)| file)
}

fn check(path: &Path) -> Result<u8, Failure> {
    let loaded = shelf_file::load(path, environment());
    if let Ok((file, _)) = &loaded {
        block_on(run::look(file))?.map_err(|e| Failure::coded(e.exit_code(), e))?;
    }
    let (report, code) = shelf_file::report(&loaded);
    let out = if code == EXIT_DONE {
        std::io::stdout().lock().write_all(report.as_bytes())
    } else {
        std::io::stderr().lock().write_all(report.as_bytes())
    };
    out.context("writing what was found")?;
    Ok(code)
}

/// `check --listen`, as whoever `user` is, the password in a file.
fn listen(
    file: &ShelfFile,
    length: enclosure::Span,
    user: Option<(String, std::path::PathBuf)>,
    clock: Arc<dyn Clock>,
) -> Result<(), Failure> {
    let login = user.map(|(user, path)| run::password(&path).map(|password| (user, password)));
    let login = login.transpose().map_err(|e| Failure::coded(e.exit_code(), e))?;
    let length = std::time::Duration::from_millis(u64::try_from(length.ms()).unwrap_or(0));
    let done = block_on(crate::listen::listen(file, length, login, clock, &mut std::io::stdout()))?;
    done.map_err(|e| Failure::coded(e.exit_code(), e))
}

fn replay(file: ShelfFile, args: &Replay) -> anyhow::Result<()> {
    let settings = replay::Settings { every: args.every, fits: !args.no_fit };
    let mut input = replay::open(&args.file)?;
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    replay::replay(file.shelf, &mut *input, &mut out, settings)?;
    out.flush().context("writing what came of it: check free space, and who reads it")
}

/// Runs `work` on a runtime of its own.
fn block_on<F: Future>(work: F) -> anyhow::Result<F::Output> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    Ok(runtime
        .context("starting the runtime: the system gives no threads; close something and try again")?
        .block_on(work))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser as _;

    fn code(line: &[&str]) -> u8 {
        let cli = Cli::try_parse_from(std::iter::once(&"warmend").chain(line)).expect("a command line");
        execute(cli).unwrap_or_else(|failure| failure.code())
    }

    #[test]
    fn a_shelf_file_that_is_missing_or_wrong_is_64_for_every_command_that_needs_it() {
        let dir = tempfile::tempdir().expect("a directory");
        let wrong = dir.path().join("wrong.toml");
        std::fs::write(&wrong, "[[nest]]\nid = 'Oak!'\n").expect("written");
        let missing = dir.path().join("missing.toml");
        for shelf in [&wrong, &missing] {
            let shelf = shelf.to_string_lossy();
            for command in [
                &["check"][..],
                &["run"],
                &["review"],
                &["plan"],
                &["fit"],
                &["replay", "-"],
                &["alarms", "list"],
                &["note", "list"],
            ] {
                let line: Vec<_> = command.iter().copied().chain(["--shelf", &shelf]).collect();
                assert_eq!(code(&line), EXIT_WRONG, "{line:?}");
            }
        }
    }

    #[test]
    fn a_sound_shelf_file_is_0_even_with_advice() {
        let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/shelf.example.toml");
        assert_eq!(code(&["check", "--shelf", shelf]), EXIT_DONE);
    }

    #[test]
    fn what_run_would_refuse_in_a_named_file_is_64_for_check_too() {
        let dir = tempfile::tempdir().expect("a directory");
        let shelf = dir.path().join("shelf.toml");
        let named = [
            ("users", "[broker]\nembedded = '127.0.0.1:0'\nusers_file = 'users'\n"),
            ("page.password", "[web]\nlisten = '127.0.0.1:0'\npassword_file = 'page.password'\n"),
        ];
        for (name, text) in named {
            std::fs::write(&shelf, text).expect("written");
            let line = |command| code(&[command, "--shelf", &shelf.to_string_lossy()]);
            assert_eq!(line("check"), EXIT_DONE, "{name} may still be written");
            std::fs::write(dir.path().join(name), "nonsense\n").expect("written");
            assert_eq!((line("check"), line("run")), (EXIT_WRONG, EXIT_WRONG), "{name}");
        }
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_named_file_without_an_end_is_64() {
        let dir = tempfile::tempdir().expect("a directory");
        let shelf = dir.path().join("shelf.toml");
        for text in [
            "[broker]\nembedded = '127.0.0.1:0'\nusers_file = '/dev/zero'\n",
            "[web]\nlisten = '127.0.0.1:0'\npassword_file = '/dev/zero'\n",
            "[web]\nlisten = '127.0.0.1:0'\ncert_file = '/dev/zero'\nkey_file = '/dev/zero'\n",
            "[influx]\nurl = 'http://127.0.0.1:9'\norg = 'a'\nbucket = 'b'\ntoken_file = '/dev/zero'\n",
        ] {
            std::fs::write(&shelf, text).expect("written");
            assert_eq!(code(&["check", "--shelf", &shelf.to_string_lossy()]), EXIT_WRONG, "{text}");
        }
    }

    #[test]
    fn a_nest_that_the_shelf_file_does_not_name_is_2_for_every_command() {
        let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/shelf.example.toml");
        for command in
            [&["review"][..], &["plan"], &["fit"], &["note", "add", "seen"], &["alarms", "card", "--out", "card.html"]]
        {
            let line: Vec<_> = command.iter().copied().chain(["--nest", "elm", "--shelf", shelf]).collect();
            assert_eq!(code(&line), EXIT_CALLED_WRONGLY, "{line:?}");
        }
    }

    #[test]
    fn a_recording_that_is_not_there_is_1() {
        let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/shelf.example.toml");
        assert_eq!(code(&["replay", "--shelf", shelf, "no-such-recording"]), EXIT_FAILED);
    }
}
