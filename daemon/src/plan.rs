//! `warmend plan`: what to expect of a nest and its heating mat before anything is plugged in, and how hot both get if
//! the mat sticks on. Needs no daemon and no history; with a nest described by flags, no shelf file either.
pub mod wish;
mod writer;

use crate::picture_file::Ending;
use crate::shelf_file::ShelfErrors;
use crate::views::plan::plan_view;
use crate::whole_file::{self, Readers};
use crate::wrong_call::{self, WrongCall};
use anyhow::{Context as _, Result};
use dashboards::{Assets, Frame, PlanPage, PlanView};
use enclosure::Shelf;
use enclosure::shelf::Nest;
use std::io::Write;
use std::path::PathBuf;
use wish::{Wish, Writer};

/// Pixels per unit of a drawing.
const PNG_SCALE: f32 = 2.0;
/// Width of text where the terminal tells none, characters.
const TEXT_COLUMNS: usize = 100;

/// What is to be reckoned, and where to.
#[derive(Clone, Debug, Default, PartialEq, Eq, clap::Args)]
pub struct Args {
    /// The nest, the mat and the room
    #[command(flatten)]
    pub wish: Wish,
    /// Where to: .html, .png or .svg (default: text, to standard output)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Reckons what `args` asks for. `load` reads the shelf file, where it is needed at all.
///
/// # Errors
/// A [`WrongCall`]; [`ShelfErrors`]; a file that cannot be written.
pub fn plan(args: &Args, load: impl FnOnce() -> Result<Shelf, ShelfErrors>) -> Result<()> {
    let stdout = std::io::stdout();
    let columns = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok()).unwrap_or(TEXT_COLUMNS);
    write(args, load, &mut stdout.lock(), columns)
}

fn write(
    args: &Args,
    load: impl FnOnce() -> Result<Shelf, ShelfErrors>,
    out: &mut dyn Write,
    columns: usize,
) -> Result<()> {
    let ending = args.out.as_deref().map(Ending::of).transpose()?;
    let (name, views) = views(args, load)?;
    match args.out.as_deref().zip(ending) {
        None => {
            for (i, view) in views.iter().enumerate() {
                let gap = if i > 0 { "\n\n" } else { "" };
                write!(out, "{gap}{}", dashboards::plan_text(view, columns)).context("writing the text")?;
            }
            out.flush().context("writing the text")
        }
        Some((path, ending)) => {
            let view = views.into_iter().next().context("planning: there is no nest")?;
            Ok(whole_file::save(path, Readers::AsBefore, &drawn(ending, name, view)?)?)
        }
    }
}

/// What is to be shown, and the shelf's name.
fn views(args: &Args, load: impl FnOnce() -> Result<Shelf, ShelfErrors>) -> Result<(String, Vec<PlanView>)> {
    let wish = &args.wish;
    if wish.nest.is_none() && wish.length.is_some() {
        return Ok(("plan".to_owned(), vec![view(wish, None, Writer::Command)?]));
    }
    let shelf = load()?;
    let chosen: Vec<&Nest> = match &wish.nest {
        Some(id) => vec![wrong_call::nest(id, &shelf.nests)?],
        // A nest without a mat needs no plan, unless it is the only one.
        None if shelf.nests.len() > 1 => shelf.nests.iter().filter(|n| !n.pads.is_empty()).collect(),
        None => shelf.nests.iter().collect(),
    };
    let alone = Wish { nest: None, ..wish.clone() } == Wish::default();
    if chosen.len() != 1 && (args.out.is_some() || !alone) {
        return Err(WrongCall::Several { doing: "planning one nest", known: wrong_call::known(&shelf.nests) }.into());
    }
    let views =
        chosen.into_iter().map(|nest| view(wish, Some(nest), Writer::Command)).collect::<Result<Vec<_>, _>>()?;
    Ok((shelf.name, views))
}

/// A wish reckoned and worded.
///
/// # Errors
/// [`WrongCall::Wish`] with every complaint.
pub fn view(wish: &Wish, nest: Option<&Nest>, by: Writer) -> Result<PlanView, WrongCall> {
    let asked = wish::read(wish, nest, by).map_err(WrongCall::Wish)?;
    match enclosure::plan::plan(&asked.question()) {
        Some(plan) => Ok(plan_view(&asked, &plan)),
        None => Err(WrongCall::Wish(vec![dashboards::say!("plans-read-no-mat")])),
    }
}

fn drawn(ending: Ending, shelf_name: String, plan: PlanView) -> Result<Vec<u8>> {
    match ending {
        Ending::Svg => Ok(dashboards::plan_svg(&plan).into_bytes()),
        Ending::Png => dashboards::svg_to_png(&dashboards::plan_svg(&plan), PNG_SCALE).context("drawing the picture"),
        Ending::Html => {
            let frame = Frame { shelf_name, assets: Assets::Inline, ..Frame::default() };
            Ok(dashboards::plan_html(&PlanPage { frame, plan: Some(plan), ..PlanPage::default() }).into_bytes())
        }
    }
}

#[cfg(test)]
mod tests;
