//! `alarms test`: proves each way out in three steps: sent, accepted by the other side, seen by a person.
use super::{one_line, say};
use crate::clock::Clock;
use crate::history::{Batch, HistoryError, Store};
use crate::notices::{self, Answering, Context, Ledger, Tested};
use crate::shelf_file::ShelfFile;
use crate::times;
use anyhow::{Context as _, bail};
use enclosure::Timestamp;
use std::io::{BufRead as _, IsTerminal as _};

/// How far one way is proved.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Step {
    pub(super) way: String,
    pub(super) accepted: Option<Timestamp>,
    pub(super) seen: Option<Timestamp>,
}

/// Sends test messages, or takes in that one of them was seen.
pub(super) async fn test(seen: Option<&str>, file: &ShelfFile, clock: &dyn Clock) -> anyhow::Result<()> {
    match Store::open(&file.history.path, clock.now()) {
        Ok(opened) => alone(seen, file, clock, opened.store).await,
        Err(HistoryError::InUse { .. }) => asked(seen, file).await,
        Err(other) => Err(other.into()),
    }
}

/// By the running daemon: it has every way at hand, and the links.
async fn asked(seen: Option<&str>, file: &ShelfFile) -> anyhow::Result<()> {
    let daemon = super::remote::Daemon::of(file)?;
    if let Some(code) = seen {
        return say(&format!("{}: seen by a person, and written down\n", one_line(&daemon.seen(code).await?)));
    }
    let said = daemon.test().await?;
    let failed = said.iter().filter(|(_, why)| why.is_some()).count();
    for (way, why) in &said {
        say(&sent_line(way, why.as_deref()))?;
    }
    for code in typed(said.len() > failed)? {
        match daemon.seen(&code).await {
            Ok(way) => say(&format!("{}: seen by a person, and written down\n", one_line(&way)))?,
            Err(why) => say(&format!("{why:#}\n"))?,
        }
    }
    for step in daemon.ways().await? {
        say(&step_line(&step))?;
    }
    ended(failed, said.len())
}

/// Without a daemon: by hand, and into the history that is ours meanwhile.
async fn alone(seen: Option<&str>, file: &ShelfFile, clock: &dyn Clock, mut store: Store) -> anyhow::Result<()> {
    if seen.is_some() {
        bail!(
            "taking in a code: no daemon runs that would know it. Run `warmend alarms test` again and type the codes \
             when it asks for them"
        );
    }
    let context = Context::new(file, jiff::tz::TimeZone::system());
    let tested = notices::test_all(&file.notices, clock, &context, Answering::code).await;
    let mut records: Vec<_> =
        tested.iter().filter(|t| t.result.is_ok()).map(|t| t.record(clock.now(), false)).collect();
    let failed = tested.len() - records.len();
    for t in &tested {
        say(&sent_line(&t.way, t.result.as_ref().err().map(String::as_str)))?;
    }
    for code in typed(!records.is_empty())? {
        let found: Option<&Tested> = tested.iter().find(|t| t.result.is_ok() && t.code == code);
        match found {
            Some(t) => records.push(t.record(clock.now(), true)),
            None => say(&format!("{}: no test message had this code\n", one_line(&code)))?,
        }
    }
    for outcome in store.commit(&[Batch { deliveries: records, urgent: true, ..Batch::default() }])? {
        outcome?;
    }
    let ledger = Ledger::load(&file.history.path, clock.now())?;
    for p in notices::proofs(&file.notices, &ledger) {
        say(&step_line(&Step { way: p.way, accepted: p.accepted, seen: p.seen }))?;
    }
    ended(failed, tested.len())
}

/// The codes that a person types, one a line, until an empty line; none where nobody sits there and nothing is piped in.
fn typed(any: bool) -> anyhow::Result<Vec<String>> {
    let input = std::io::stdin();
    if !any || !input.is_terminal() {
        return Ok(Vec::new());
    }
    say("Type the code of each message that you see, a line each; an empty line ends it.\n")?;
    let mut codes = Vec::new();
    for line in input.lock().lines() {
        let line = line.context("reading the codes")?;
        if line.trim().is_empty() {
            break;
        }
        codes.push(line.trim().to_owned());
    }
    Ok(codes)
}

fn sent_line(way: &str, why: Option<&str>) -> String {
    match why {
        None => format!("{}: sent, and accepted by the other side\n", one_line(way)),
        Some(why) => format!("{}: not accepted: {}\n", one_line(way), one_line(why)),
    }
}

fn step_line(step: &Step) -> String {
    let moment = |at: Option<Timestamp>| at.map_or_else(|| "never".to_owned(), times::rfc3339);
    format!(
        "{}: last accepted {}, last seen by a person {}\n",
        one_line(&step.way),
        moment(step.accepted),
        moment(step.seen)
    )
}

fn ended(failed: usize, all: usize) -> anyhow::Result<()> {
    if failed > 0 {
        bail!("sending a test message: {failed} of {all} ways failed. Correct [[notice]] in the shelf file");
    }
    Ok(())
}
