//! `alarms` and `note`: what a keeper does from the command line.
//!
//! If a daemon runs, it is asked over HTTP (`remote`); else the history file itself is opened (`local`). Never both:
//! history's lock decides, and whoever holds it is the only one who writes.
mod local;
mod proving;
mod remote;

#[cfg(test)]
mod tests;

use crate::clock::Clock;
use crate::history::{HistoryError, Store};
use crate::pipeline::acts::written;
use crate::shelf_file::ShelfFile;
use crate::snapshot::{AlarmAct, AlarmName, Note};
use crate::times::{self, End, Moment};
use crate::told;
use crate::wrong_call;
use anyhow::{Context as _, bail};
use clap::{Args, Subcommand};
use enclosure::estimate::Fit;
use enclosure::shelf::Nest;
use enclosure::{Span, State, Timestamp};
use std::io::Write;
use std::ops::Range;
use std::path::PathBuf;

/// Longest silence of an alarm: a week.
pub const SILENCE_MAX: Span = Span::from_h(7 * 24);
/// By which way its acts came, as history keeps it.
const BY: &str = "the command line";
/// What a note can be about.
pub const NOTE_KINDS: [&str; 8] = ["brood", "fed", "water", "refilled", "opened", "moved", "eggs", "other"];

/// `alarms …`
#[derive(Debug, Subcommand)]
pub enum AlarmsCommand {
    /// Lists the alarms that are not normal
    List,
    /// Answers an alarm: its messages stop
    Ack(Reasoned),
    /// Silences an alarm for a time
    Shelve {
        /// Which
        #[command(flatten)]
        alarm: Named,
        /// How long, at most 7d; a danger at most 30m
        #[arg(long = "for", value_name = "DURATION", default_value = "30m", value_parser = silence)]
        length: Span,
        /// Why, in your words: it is kept
        #[arg(long, value_name = "TEXT")]
        why: Option<String>,
    },
    /// Ends the silence of an alarm
    Unshelve(Reasoned),
    /// Resets an alarm that is held until somebody has looked
    Reset(Reasoned),
    /// Takes an alarm out of service, as that of a heating mat that you unplugged; never a danger
    OutOfService {
        /// Which
        #[command(flatten)]
        alarm: Named,
        /// Until when: a day as 2026-03-01, RFC 3339, or a span ahead as 30d (default: until you put it back)
        #[arg(long, value_name = "TIME", value_parser = times::end)]
        until: Option<End>,
        /// Why, in your words: it is kept
        #[arg(long, value_name = "TEXT")]
        why: Option<String>,
    },
    /// Puts an alarm back into service
    InService(Reasoned),
    /// Says that someone is on the way: messages about it are not repeated for half an hour
    OnTheWay(Reasoned),
    /// Sends a test message by every way; each is proved once a person has seen it
    Test {
        /// The code of a test message that a person saw
        #[arg(long, value_name = "CODE")]
        seen: Option<String>,
    },
    /// Writes a card to print and hang beside a nest: which plug, what never to touch, whom to call
    Card {
        /// The nest's id
        #[arg(long, value_name = "ID")]
        nest: String,
        /// Where to, an .html file
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
    },
}

/// An alarm by its name.
#[derive(Debug, Args)]
pub struct Named {
    /// As heater-stuck-on@oak, or probe-silent@oak/oak-node:warm
    #[arg(value_name = "ALARM", value_parser = told::read)]
    pub name: AlarmName,
}

/// An alarm, and why something is done to it.
#[derive(Debug, Args)]
pub struct Reasoned {
    /// Which
    #[command(flatten)]
    pub alarm: Named,
    /// Why, or what you found, in your words: it is kept
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
}

/// `note …`
#[derive(Debug, Subcommand)]
pub enum NoteCommand {
    /// Writes down what you saw or did
    Add(NewNote),
    /// Lists notes
    List {
        /// Only those about this nest
        #[arg(long, value_name = "ID")]
        nest: Option<String>,
        /// From when: RFC 3339, or a span back from now
        #[arg(long, value_name = "TIME", default_value = "7d", value_parser = times::moment)]
        from: Moment,
        /// Until when (default: now)
        #[arg(long, value_name = "TIME", value_parser = times::moment)]
        to: Option<Moment>,
    },
}

/// A note to be written.
#[derive(Debug, Args)]
pub struct NewNote {
    /// The nest's id
    #[arg(long, value_name = "ID")]
    pub nest: String,
    /// What it is about
    #[arg(long, default_value = "other", value_parser = clap::builder::PossibleValuesParser::new(NOTE_KINDS))]
    pub kind: String,
    /// Where in the nest, mm from its zero end
    #[arg(long, value_name = "MM", value_parser = place)]
    pub at_mm: Option<f64>,
    /// When it was so: RFC 3339, or a span back from now (default: now)
    #[arg(long, value_name = "TIME", value_parser = times::moment)]
    pub when: Option<Moment>,
    /// In your words
    #[arg(value_name = "TEXT", num_args = 0..)]
    pub text: Vec<String>,
}

impl Reasoned {
    fn to(&self, act: AlarmAct) -> (AlarmAct, &AlarmName, Option<&str>) {
        (act, &self.alarm.name, self.why.as_deref())
    }
}

fn silence(text: &str) -> Result<Span, String> {
    match times::duration(text).map_err(|e| e.to_string())? {
        span if span > SILENCE_MAX => Err("an alarm can be silenced for at most 7d".to_owned()),
        span => Ok(span),
    }
}

fn place(text: &str) -> Result<f64, String> {
    let mm = text.parse().ok().filter(|mm: &f64| mm.is_finite() && *mm >= 0.0);
    mm.ok_or_else(|| format!("\"{text}\" is no place: write its distance from the zero end in mm, as 60"))
}

/// An alarm as it stands, from wherever it was learned.
#[derive(Clone, Debug, PartialEq)]
struct Standing {
    name: AlarmName,
    state: State,
    since: Timestamp,
    detail: String,
}

/// A note as it was written, from wherever it was learned.
#[derive(Clone, Debug, PartialEq)]
struct Written {
    at: Timestamp,
    nest: Option<String>,
    kind: String,
    at_mm: Option<f64>,
    text: String,
}

/// Who is there to ask.
enum Keeper {
    Daemon(remote::Daemon),
    File(Box<local::File>),
}

impl Keeper {
    fn find(file: &ShelfFile, now: Timestamp) -> anyhow::Result<Self> {
        let path = &file.history.path;
        if !path.exists() {
            bail!(
                "reading the history {}: there is none yet. Start `warmend run` once, or check [history] path",
                path.display()
            );
        }
        match Store::open(path, now) {
            Ok(opened) => Ok(Self::File(Box::new(local::File::new(opened, &file.shelf)?))),
            Err(HistoryError::InUse { .. }) => Ok(Self::Daemon(remote::Daemon::of(file)?)),
            Err(other) => Err(other.into()),
        }
    }

    async fn standing(&self) -> anyhow::Result<Vec<Standing>> {
        match self {
            Self::Daemon(daemon) => daemon.standing().await,
            Self::File(file) => file.standing(),
        }
    }

    async fn act(&mut self, act: AlarmAct, name: &AlarmName, why: &str, now: Timestamp) -> anyhow::Result<()> {
        match self {
            Self::Daemon(daemon) => daemon.act(act, name, why).await,
            Self::File(file) => file.act(act, name, why, now),
        }
    }

    async fn write(&mut self, note: Note) -> anyhow::Result<()> {
        match self {
            Self::Daemon(daemon) => daemon.write(&note).await,
            Self::File(file) => file.write(note),
        }
    }

    async fn notes(&self, span: Range<Timestamp>) -> anyhow::Result<Vec<Written>> {
        match self {
            Self::Daemon(daemon) => daemon.notes(span).await,
            Self::File(file) => file.notes(span),
        }
    }
}

/// Puts a former fit of a nest back into force: by the daemon, or in the file for its next start.
///
/// # Errors
/// What was attempted, why it failed, what to do.
pub async fn put_back_fit(file: &ShelfFile, (nest, fit): (&str, i64), why: &str, now: Timestamp) -> anyhow::Result<()> {
    match Keeper::find(file, now)? {
        Keeper::Daemon(daemon) => daemon.put_back_fit(nest, fit, why).await,
        Keeper::File(mut file) => file.put_back_fit(nest, fit, why, now),
    }
}

/// Keeps a fit of a nest and puts it into force from the daemon's next start on.
///
/// # Errors
/// If a daemon runs, or history cannot be written.
pub fn keep_fit(file: &ShelfFile, nest: &Nest, fit: Fit, now: Timestamp) -> anyhow::Result<()> {
    match Keeper::find(file, now)? {
        Keeper::Daemon(_) => bail!("keeping the fit of {}: a daemon runs on this history. Stop it first", nest.id),
        Keeper::File(mut file) => file.keep_fit(nest, fit, now),
    }
}

/// Does what `alarms` was asked for, and says what came of it on standard output.
///
/// # Errors
/// What was attempted, why it failed, what to do.
pub async fn alarms(command: &AlarmsCommand, file: &ShelfFile, clock: &dyn Clock) -> anyhow::Result<()> {
    let now = clock.now();
    let (act, name, why) = match command {
        AlarmsCommand::Test { seen } => return proving::test(seen.as_deref(), file, clock).await,
        // It needs no history, and is written before this is asked.
        AlarmsCommand::Card { .. } => return Ok(()),
        AlarmsCommand::List => return list(&Keeper::find(file, now)?.standing().await?),
        AlarmsCommand::Ack(asked) => asked.to(AlarmAct::Acknowledge),
        AlarmsCommand::OnTheWay(asked) => asked.to(AlarmAct::OnTheWay),
        AlarmsCommand::Shelve { alarm, length, why } => {
            // Rounded up: a silence of some seconds is one of a minute.
            let minutes = u32::try_from((length.ms() + 59_999) / 60_000).unwrap_or(u32::MAX);
            (AlarmAct::Shelve(minutes), &alarm.name, why.as_deref())
        }
        AlarmsCommand::Unshelve(asked) => asked.to(AlarmAct::Unshelve),
        AlarmsCommand::Reset(asked) => asked.to(AlarmAct::Reset),
        AlarmsCommand::OutOfService { alarm, until, why } => {
            let until = until.map(|end| end.from(now));
            (AlarmAct::TakeOut(until), &alarm.name, why.as_deref())
        }
        AlarmsCommand::InService(asked) => asked.to(AlarmAct::PutBack),
    };
    Keeper::find(file, now)?.act(act, name, why.unwrap_or_default(), now).await?;
    let done = match act {
        AlarmAct::Acknowledge => "answered".to_owned(),
        AlarmAct::Shelve(minutes) => format!("silent for {minutes} min"),
        AlarmAct::Unshelve => "no longer silent".to_owned(),
        AlarmAct::Reset => "reset".to_owned(),
        AlarmAct::TakeOut(Some(until)) => format!("out of service until {}", times::rfc3339(until)),
        AlarmAct::TakeOut(None) => "out of service until you put it back (in-service)".to_owned(),
        AlarmAct::PutBack => "in service".to_owned(),
        AlarmAct::OnTheWay => "not repeated for half an hour; others are told in their turn".to_owned(),
    };
    say(&format!("{}: {done}\n", written(name)))
}

/// Does what `note` was asked for.
///
/// # Errors
/// What was attempted, why it failed, what to do.
pub async fn notes(command: NoteCommand, file: &ShelfFile, clock: &dyn Clock) -> anyhow::Result<()> {
    let now = clock.now();
    match command {
        NoteCommand::Add(new) => {
            let note = checked(new, file, now)?;
            Keeper::find(file, now)?.write(note).await?;
            say("written down\n")
        }
        NoteCommand::List { nest, from, to } => {
            let span = from.from(now)..to.map_or(now, |to| to.from(now));
            let notes = Keeper::find(file, now)?.notes(span).await?;
            let lines: String = notes.iter().filter(|n| nest.is_none() || n.nest == nest).map(note_line).collect();
            say(if lines.is_empty() { "no notes in that time\n" } else { &lines })
        }
    }
}

fn checked(new: NewNote, file: &ShelfFile, now: Timestamp) -> anyhow::Result<Note> {
    let nest = wrong_call::nest(&new.nest, &file.shelf.nests)?;
    if new.at_mm.is_some_and(|mm| mm > nest.length_mm) {
        bail!("writing a note: the place lies beyond the nest, which is {} mm long", nest.length_mm);
    }
    let at = new.when.map_or(now, |when| when.from(now));
    if at > now {
        bail!("writing a note: it is about what was, not about what will be; give an earlier --when");
    }
    Ok(Note { at, nest: new.nest, kind: new.kind, at_mm: new.at_mm, text: new.text.join(" ") })
}

fn list(standing: &[Standing]) -> anyhow::Result<()> {
    let mut lines: Vec<_> = standing.iter().filter(|s| is_shown(s.state)).collect();
    let priority = |s: &Standing| enclosure::Alarm::from_name(&s.name.alarm).map(enclosure::Alarm::priority);
    lines.sort_by_key(|s| (std::cmp::Reverse(priority(s)), s.since));
    let text: String = lines.iter().map(|s| standing_line(s, priority(s).map_or("", |p| p.name()))).collect();
    say(if text.is_empty() { "no alarm stands\n" } else { &text })
}

fn is_shown(state: State) -> bool {
    !matches!(state, State::Normal | State::NotJudged)
}

fn standing_line(s: &Standing, priority: &str) -> String {
    let detail = if s.detail.is_empty() { String::new() } else { format!("\n    {}", one_line(&s.detail)) };
    format!("{priority}  {}  {}  since {}{detail}\n", written(&s.name), s.state.name(), times::rfc3339(s.since))
}

fn note_line(n: &Written) -> String {
    let nest = n.nest.as_deref().unwrap_or("-");
    let place = n.at_mm.map(|mm| format!("  at {mm} mm")).unwrap_or_default();
    let text = if n.text.is_empty() { String::new() } else { format!("  {}", one_line(&n.text)) };
    format!("{}  {}  {}{place}{text}\n", times::rfc3339(n.at), one_line(nest), one_line(&n.kind))
}

/// Without anything that a terminal would obey.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn say(text: &str) -> anyhow::Result<()> {
    std::io::stdout().lock().write_all(text.as_bytes()).context("writing to standard output")
}
