//! The nest as it is believed now, as a picture and in one sentence that says the same.
use crate::history::Reader;
use crate::report::Report;
use crate::snapshot::Snapshot;
use crate::views::hours::Hours;
use crate::views::now::nest_view;
use crate::views::span::Kind;
use enclosure::Timestamp;
use jiff::tz::TimeZone;
use std::path::Path;

/// Pixels per unit of the drawing: fit for a telephone's screen, small enough for mail.
const SCALE: f32 = 1.5;

/// A picture and its equivalent in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Picture {
    /// PNG.
    pub(super) png: Vec<u8>,
    /// What it shows.
    pub(super) words: String,
}

/// What is believed of the nest `id`, in one sentence; `None` where nothing is known of it.
pub(super) fn sentence(snap: &Snapshot, id: &str, now: Timestamp, zone: &TimeZone) -> Option<String> {
    let nest = nest_view(snap, place(snap, id)?, now, &Hours::new(zone.clone()))?;
    Some(dashboards::profile_sentence(&nest))
}

/// The picture of the nest `id`. Takes some tens of milliseconds: for a thread that may block.
pub(super) fn picture(snap: &Snapshot, id: &str, now: Timestamp, zone: &TimeZone) -> Option<Picture> {
    let nest = nest_view(snap, place(snap, id)?, now, &Hours::new(zone.clone()))?;
    let png = dashboards::svg_to_png(&dashboards::profile_svg(&nest), SCALE).ok()?;
    Some(Picture { png, words: dashboards::profile_sentence(&nest) })
}

/// A week's report as a letter carries it.
pub(super) struct Week {
    /// First line and body.
    pub(super) text: (String, String),
    /// All nests; none where it cannot be drawn.
    pub(super) picture: Option<Picture>,
    /// One page that needs nothing else.
    pub(super) page: String,
}

/// The report about the week before `now`, or why there is none. Reads history and draws: for a thread that may block.
pub(super) fn week(history: &Path, snap: &Snapshot, now: Timestamp, zone: &TimeZone) -> Result<Week, String> {
    let hours = Hours::new(zone.clone());
    let span = Kind::Week.until(now, &hours);
    let report = Reader::open(history)
        .and_then(|reader| Report::of(&reader, &snap.shelf, (&span, None), &hours))
        .map_err(|e| format!("the week's report could not be made: {e}"))?;
    let text = report.text();
    let png = dashboards::svg_to_png(&report.svg(), SCALE).or_else(|_| dashboards::svg_to_png(&report.svg(), 1.0)).ok();
    let picture = png.map(|png| Picture { png, words: text.1.clone() });
    Ok(Week { text, picture, page: report.html() })
}

fn place(snap: &Snapshot, id: &str) -> Option<usize> {
    snap.shelf.nests.iter().position(|nest| nest.id == id)
}
