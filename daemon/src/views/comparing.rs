//! A span beside another: the one before it, or the same time in another nest.
use super::hours::Hours;
use super::past::Past;
use super::span::{before, earlier};
use super::week::{Telling, week_view};
use crate::history::{HistoryError, Reader};
use dashboards::{ColourRange, WeekView, say};
use enclosure::Timestamp;
use enclosure::shelf::Nest;
use std::ops::Range;

/// What asks for the span before, in an address and on the command line; all else is a nest's id.
pub const BEFORE: &str = "before";

/// What a span is compared with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Other {
    /// The nest's place in the shelf.
    pub nest: usize,
    /// The span.
    pub span: Range<Timestamp>,
    /// What it is called: `the week before`.
    pub name: String,
}

/// What `with` asks for beside `span` of the nest at `nest`; `None`: neither the span before nor another nest.
pub fn other(with: &str, nests: &[Nest], (nest, span): (usize, &Range<Timestamp>), hours: &Hours) -> Option<Other> {
    if with == BEFORE {
        return Some(Other { nest, span: earlier(span, hours), name: before(span, hours) });
    }
    let found = nests.iter().position(|n| n.id == with).filter(|found| *found != nest)?;
    Some(Other { nest: found, span: span.clone(), name: say!("past-same-time", nest = with) })
}

/// Both as they are told: the first against the second, read by the same colours.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn beside(
    past: &Past,
    other: Option<(&Past, &str)>,
    (reader, telling): (&Reader, Telling<'_>),
    hours: &Hours,
) -> Result<(WeekView, Option<WeekView>), HistoryError> {
    let mut week = week_view(past, reader, Telling { other, ..telling }, hours)?;
    let Some((other, _)) = other else { return Ok((week, None)) };
    let mut other = week_view(other, reader, Telling { other: None, ..telling }, hours)?;
    let (a, b) = (week.map.colour, other.map.colour);
    let both = ColourRange { low_c: a.low_c.min(b.low_c), high_c: a.high_c.max(b.high_c) };
    (week.map.colour, other.map.colour) = (both, both);
    // Its lanes are the dashed lines in those of the first.
    (other.lanes, other.marks, other.nest_id) = (Vec::new(), Vec::new(), format!("{}-other", other.nest_id));
    Ok((week, Some(other)))
}
