//! `warmend fit`: what history teaches of a nest's physics, and the fits that are kept.
mod form;
mod learn;
mod text;

use crate::acts;
use crate::clock::Clock;
use crate::history::{KeptFit, Reader};
use crate::pipeline::keeping::shape;
use crate::shelf_file::ShelfFile;
use crate::times::{self, Moment};
use crate::wrong_call::{self, WrongCall};
use anyhow::{Context as _, bail};
use clap::{ArgGroup, Args};
use enclosure::estimate::{Fit, report};
use enclosure::shelf::Nest;
use enclosure::{Span, Timestamp};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Largest file that is taken for a fit, bytes.
const FILE_MAX: u64 = 16 * 1024 * 1024;

/// `fit …`
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("kept").args(["list", "show", "put_back", "take"]))]
pub struct FitArgs {
    /// The nest's id (default: every nest)
    #[arg(long, value_name = "ID")]
    pub nest: Option<String>,
    /// Learns from readings since then: RFC 3339, or a span back from now
    #[arg(long, value_name = "TIME", default_value = "7d", value_parser = times::moment)]
    pub from: Moment,
    /// Until when (default: now)
    #[arg(long, value_name = "TIME", value_parser = times::moment)]
    pub to: Option<Moment>,
    /// Writes JSON, one object a nest: for machines, and to keep a fit elsewhere
    #[arg(long)]
    pub json: bool,
    /// Puts what was learned into force (no daemon may run meanwhile)
    #[arg(long, requires = "nest", conflicts_with = "kept")]
    pub keep: bool,
    /// Lists the fits that are kept, and which is in force
    #[arg(long)]
    pub list: bool,
    /// Says what the kept fit of this number taught
    #[arg(long, value_name = "NUMBER")]
    pub show: Option<i64>,
    /// Puts the kept fit of this number back into force
    #[arg(long, value_name = "NUMBER", requires = "nest")]
    pub put_back: Option<i64>,
    /// Takes in a fit from a file that --json wrote, and puts it into force (no daemon may run meanwhile)
    #[arg(long, value_name = "FILE", requires = "nest")]
    pub take: Option<PathBuf>,
    /// Why, in your words: it is kept
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
}

/// Does what `args` asks for.
///
/// # Errors
/// A [`WrongCall`]; history that is missing or teaches nothing; what was attempted, why it failed, what to do.
pub async fn fit(args: &FitArgs, file: &ShelfFile, clock: &dyn Clock) -> anyhow::Result<()> {
    let all = &file.shelf.nests;
    let nests = wrong_call::nest_or_all(args.nest.as_deref(), all)?;
    let now = clock.now();
    let why = args.why.as_deref().unwrap_or_default();
    let mut out = std::io::stdout().lock();
    match args {
        FitArgs { list: true, .. } => list(args, file, &mut out),
        FitArgs { show: Some(number), .. } => show(*number, args, file, &mut out),
        FitArgs { put_back: Some(number), nest: Some(nest), .. } => {
            acts::put_back_fit(file, (nest, *number), why, now).await?;
            say(&mut out, &format!("the fit {number} of {nest} is in force; the next one starts from it\n"))
        }
        FitArgs { take: Some(path), .. } => {
            let &[nest] = &nests[..] else {
                bail!(WrongCall::Several { doing: "taking in a fit", known: wrong_call::known(all) });
            };
            let fit = read(path, nest)?;
            acts::keep_fit(file, nest, fit, now)?;
            say(&mut out, &format!("the fit of {} is in force from the daemon's next start on\n", nest.id))
        }
        _ => learned(args, file, &nests, (now, &mut out)),
    }
}

/// Learns from history, and says what.
fn learned(
    args: &FitArgs,
    file: &ShelfFile,
    nests: &[&Nest],
    (now, out): (Timestamp, &mut dyn Write),
) -> anyhow::Result<()> {
    let (from, to) = (args.from.from(now), args.to.map_or(now, |to| to.from(now)));
    if from >= to {
        bail!(WrongCall::Span { from: times::rfc3339(from), to: times::rfc3339(to) });
    }
    let reader = Reader::open(&file.history.path)?;
    let mut untaught = Vec::new();
    for (i, nest) in nests.iter().enumerate() {
        match learn::learn(&reader, &file.shelf, nest, from..to) {
            Ok(lesson) => {
                let gap = if i > 0 && !args.json { "\n" } else { "" };
                let text = said(nest, &lesson.fit, (lesson.span, lesson.refused), args.json)?;
                say(out, &format!("{gap}{text}"))?;
                if args.keep {
                    acts::keep_fit(file, nest, lesson.fit, now)?;
                    say(out, "It is kept, and in force from the daemon's next start on.\n")?;
                }
            }
            Err(why) => untaught.push(format!("{}: {why:#}", nest.id)),
        }
    }
    if untaught.is_empty() {
        Ok(())
    } else {
        bail!("learning from history taught nothing of {}", untaught.join("; of "))
    }
}

fn list(args: &FitArgs, file: &ShelfFile, out: &mut dyn Write) -> anyhow::Result<()> {
    let fits = Reader::open(&file.history.path)?.fits(args.nest.as_deref())?;
    if args.json {
        return fits.iter().try_for_each(|kept| say(out, &format!("{}\n", form::entry(kept))));
    }
    let lines: String = fits.iter().map(text::entry).collect();
    say(
        out,
        if lines.is_empty() { "no fit is kept yet: the first comes an hour after the first reading\n" } else { &lines },
    )
}

fn show(number: i64, args: &FitArgs, file: &ShelfFile, out: &mut dyn Write) -> anyhow::Result<()> {
    let kept = Reader::open(&file.history.path)?.fit(number)?;
    let kept =
        kept.with_context(|| format!("there is no fit {number}; `warmend fit --list` names those that are kept"))?;
    let KeptFit { record, .. } = kept;
    let nest = file.shelf.nests.iter().find(|n| n.id == record.nest);
    let nest =
        nest.with_context(|| format!("the fit {number} is of {}, which this shelf no longer has", record.nest))?;
    let fit = record.fit.with_context(|| format!("the fit {number} did not come to rest and taught nothing"))?;
    if record.shape != shape(nest) {
        bail!("the fit {number} is of {} as it stood before its pads, probes or cover were changed", nest.id);
    }
    let span = fit.from..fit.until;
    say(out, &said(nest, &fit, (span, record.refused.map(|why| (record.at, why))), args.json)?)
}

type Refused = Option<(Timestamp, enclosure::estimate::NotTaken)>;

fn said(
    nest: &Nest,
    fit: &Fit,
    (span, refused): (std::ops::Range<Timestamp>, Refused),
    json: bool,
) -> anyhow::Result<String> {
    let report = report(nest, fit).context("what was learned does not fit the nest as it stands")?;
    Ok(if json {
        format!("{}\n", form::learned(nest, fit, &report, refused))
    } else {
        text::learned(nest, fit, &report, (span, refused))
    })
}

/// A fit from a file that `--json` wrote.
fn read(path: &Path, nest: &Nest) -> anyhow::Result<Fit> {
    use std::io::Read as _;
    let doing = || format!("reading the fit {}", path.display());
    let mut text = String::new();
    let file = std::fs::File::open(path).with_context(doing)?;
    file.take(FILE_MAX).read_to_string(&mut text).with_context(doing)?;
    let fit = form::read(&text, nest).with_context(doing)?;
    report(nest, &fit).with_context(doing).context("it is no fit of this nest as it stands; nothing was changed")?;
    Ok(fit)
}

fn say(out: &mut dyn Write, text: &str) -> anyhow::Result<()> {
    out.write_all(text.as_bytes()).context("writing to standard output")
}

/// Least that can teach anything.
const LEAST: Span = Span::from_h(2);

#[cfg(test)]
mod tests;
