//! The nest as it is believed now, as a picture and in one sentence that says the same.
use crate::snapshot::Snapshot;
use crate::views::hours::Hours;
use crate::views::now::nest_view;
use enclosure::Timestamp;
use jiff::tz::TimeZone;

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

fn place(snap: &Snapshot, id: &str) -> Option<usize> {
    snap.shelf.nests.iter().position(|nest| nest.id == id)
}
