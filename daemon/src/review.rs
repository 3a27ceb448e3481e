//! `warmend review`: a span of history as a page, a picture or text. Reads only; whether a daemon runs does not matter.
use crate::clock::Clock;
use crate::history::Reader;
use crate::picture_file::Ending;
use crate::report::{self, Report};
use crate::shelf_file::ShelfFile;
use crate::views::comparing::{self, BEFORE, Other};
use crate::views::hours::{Hours, moment};
use crate::views::load::{self, Load};
use crate::whole_file::{self, Readers};
use crate::wrong_call::{self, WrongCall};
use anyhow::{Context as _, Result};
use dashboards::{Assets, Frame, Paint, ReportNest, WeekPage};
use enclosure::shelf::Nest;
use enclosure::{Span, Timestamp};
use std::io::{IsTerminal as _, Write};
use std::ops::Range;
use std::path::PathBuf;

/// The span unless another is asked for.
const WEEK: Span = Span::from_h(7 * 24);
/// Pixels per unit of a drawing.
const PNG_SCALE: f32 = 2.0;
/// Width of text where the terminal tells none, characters.
const TEXT_COLUMNS: usize = 100;

/// What is to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Args {
    /// The shelf.
    pub file: ShelfFile,
    /// The nest; left out: all of them.
    pub nest: Option<String>,
    /// Begin: RFC 3339, or a span back from now. Left out: a week before the end.
    pub from: Option<String>,
    /// End, likewise; left out: now.
    pub to: Option<String>,
    /// What the nest, or each of them, is compared with, side by side: [`BEFORE`] or another nest's id.
    pub with: Option<String>,
    /// `.html`, `.png` or `.svg`; left out: text to standard output.
    pub out: Option<PathBuf>,
}

/// Where text goes, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Terminal {
    columns: usize,
    paint: Paint,
}

/// Draws what `args` asks for.
///
/// # Errors
/// A [`WrongCall`]; history that is missing, damaged or empty over the span; a file that cannot be written.
pub fn review(args: &Args, clock: &dyn Clock) -> Result<()> {
    let stdout = std::io::stdout();
    let paint = if stdout.is_terminal() && std::env::var_os("NO_COLOR").is_none() { Paint::Ansi } else { Paint::Plain };
    let columns = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok()).unwrap_or(TEXT_COLUMNS);
    write(args, clock.now(), &Hours::system(), (&mut stdout.lock(), Terminal { columns, paint }))
}

fn write(args: &Args, now: Timestamp, hours: &Hours, (out, terminal): (&mut dyn Write, Terminal)) -> Result<()> {
    let nests = wrong_call::nest_or_all(args.nest.as_deref(), &args.file.shelf.nests)?;
    let ending = args.out.as_deref().map(Ending::of).transpose()?;
    let span = span(args, now, hours)?;
    let reader = Reader::open(&args.file.history.path)?;
    if let (Some((path, ending)), None, true) = (args.out.as_deref().zip(ending), &args.nest, nests.len() > 1) {
        if let Some(nest) = nests.first() {
            beside(args, nest, &span, hours)?;
        }
        let report = Report::of(&reader, &args.file.shelf, (&span, args.with.as_deref()), hours)?;
        anyhow::ensure!(
            !report.is_empty(),
            "looking back at the shelf: history holds no reading of it from {}. Ask for another span with --from and --to",
            hours.span(&span)
        );
        let bytes = match ending {
            Ending::Html => report.html().into_bytes(),
            Ending::Svg => report.svg().into_bytes(),
            Ending::Png => dashboards::svg_to_png(&report.svg(), PNG_SCALE).context("drawing the picture")?,
        };
        return Ok(whole_file::save(path, Readers::AsBefore, &bytes)?);
    }
    for (i, nest) in nests.iter().enumerate() {
        let told = told(&reader, args, nest, &span, hours)?;
        let Some((path, ending)) = args.out.as_deref().zip(ending) else {
            let gap = if i > 0 { "\n" } else { "" };
            write!(out, "{gap}{}", text(&told, terminal)).context("writing the text")?;
            continue;
        };
        let drawn = drawn(ending, args, told, &load(&reader, args, &span)?)?;
        whole_file::save(path, Readers::AsBefore, &drawn)?;
    }
    if args.out.is_none() {
        writeln!(out, "\nThe alarms themselves, of the whole shelf:").context("writing the text")?;
        for sentence in load(&reader, args, &span)?.sentences() {
            writeln!(out, "  {sentence}").context("writing the text")?;
        }
    }
    out.flush().context("writing the text")
}

/// How the alarms themselves did.
fn load(reader: &Reader, args: &Args, span: &Range<Timestamp>) -> Result<Load> {
    let chatter = args.file.shelf.alarms.chatter_within;
    Ok(Load::of(&load::changes(reader, span)?, span, chatter))
}

fn span(args: &Args, now: Timestamp, hours: &Hours) -> Result<Range<Timestamp>, WrongCall> {
    let read = |flag, text: &Option<String>, otherwise| {
        let given = text.as_ref().map(|t| moment(t, now).map_err(|why| WrongCall::Moment { flag, why }));
        given.unwrap_or(Ok(otherwise))
    };
    let to = read("to", &args.to, now)?.min(now);
    let from = read("from", &args.from, to.minus(WEEK))?;
    if from >= to {
        return Err(WrongCall::Span { from: hours.dated(from), to: hours.dated(to) });
    }
    Ok(from..to)
}

/// What stands beside the span of `nest`, if that was asked for. Of the whole shelf, a nest that would stand beside
/// itself stands alone.
fn beside(args: &Args, nest: &Nest, span: &Range<Timestamp>, hours: &Hours) -> Result<Option<Other>, WrongCall> {
    let (Some(with), nests) = (&args.with, &args.file.shelf.nests) else { return Ok(None) };
    if args.nest.is_none() && nests.len() > 1 && *with == nest.id {
        return Ok(None);
    }
    let at = wrong_call::place(&nest.id, nests)?;
    let wrong = || {
        let others = nests.iter().map(|n| n.id.as_str()).filter(|id| args.nest.is_none() || *id != nest.id);
        let known = std::iter::once(BEFORE).chain(others).collect::<Vec<_>>().join(", ");
        let what = args.nest.as_deref().unwrap_or("the whole shelf");
        WrongCall::With { asked: with.clone(), known: format!("{what} can be compared with {known}") }
    };
    comparing::other(with, nests, (at, span), hours).ok_or_else(wrong).map(Some)
}

fn told(reader: &Reader, args: &Args, nest: &Nest, span: &Range<Timestamp>, hours: &Hours) -> Result<ReportNest> {
    let other = beside(args, nest, span, hours)?;
    let told = report::nest_told(reader, (&args.file.shelf, nest), (span, other.as_ref()), hours)?;
    if let Some(told) = told {
        return Ok(told);
    }
    let stored = reader.series()?;
    let ever = nest.probes.iter().any(|p| stored.iter().any(|(source, _)| *source == p.source));
    let hint = if ever {
        "Ask for another span with --from and --to"
    } else {
        "None of its probes ever was stored: check their sources in the shelf file"
    };
    anyhow::bail!("looking back at {}: history holds no reading of it from {}. {hint}", nest.id, hours.span(span))
}

/// One below the other.
fn text(ReportNest { week, other }: &ReportNest, Terminal { columns, paint }: Terminal) -> String {
    let text = dashboards::week_text(week, columns, paint);
    let beside = other.as_ref().map(|o| (&o.words, dashboards::week_text(&o.week, columns, paint)));
    beside.map_or_else(|| text.clone(), |(words, other)| format!("{text}\n{words}\n{other}"))
}

fn svg(told: &ReportNest) -> String {
    if told.other.is_none() {
        return dashboards::heatmap_svg(&told.week);
    }
    dashboards::report_svg(&told.pictures())
}

fn drawn(ending: Ending, args: &Args, told: ReportNest, load: &Load) -> Result<Vec<u8>> {
    match ending {
        Ending::Svg => Ok(svg(&told).into_bytes()),
        Ending::Png => dashboards::svg_to_png(&svg(&told), PNG_SCALE).context("drawing the picture"),
        Ending::Html => {
            let frame = Frame { shelf_name: args.file.shelf.name.clone(), assets: Assets::Inline, ..Frame::default() };
            let (alarms, load, ReportNest { week, other }) = (load.sentences(), load::table(load), told);
            let page = WeekPage { frame, week, other, alarms, load, ..WeekPage::default() };
            Ok(dashboards::week_html(&page).into_bytes())
        }
    }
}

#[cfg(test)]
mod tests;
