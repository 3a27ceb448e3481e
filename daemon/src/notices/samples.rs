//! A shelf and changes for tests.
use super::Context;
use crate::history::AlarmRecord;
use crate::shelf_file::{ShelfFile, sample};
use crate::snapshot::Told;
use enclosure::{Alarm, Event, State, Timestamp};
use std::path::Path;

/// The example's shelf: two nests over one heating mat.
pub(crate) fn shelf() -> ShelfFile {
    let text = include_str!("../../shelf.example.toml");
    sample::read(text, Path::new("shelf.toml"))
}

/// What texts know of it.
pub(crate) fn context() -> Context {
    Context::new(&shelf(), jiff::tz::TimeZone::UTC)
}

/// A change that is told.
pub(crate) fn told(alarm: Alarm, event: Event, nest: &str) -> Told {
    let state = if event == Event::Raised { State::Unacknowledged } else { State::Normal };
    let change = AlarmRecord {
        at: Timestamp::from_unix_ms(1_772_366_400_000),
        alarm,
        nest: Some(nest.to_owned()),
        probe: None,
        node: None,
        event,
        state,
        detail: "Something was seen.".to_owned(),
        cause: None,
        told: event == Event::Raised,
    };
    Told { id: Some(7), change, restored: false }
}
