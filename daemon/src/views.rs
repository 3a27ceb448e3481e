//! From what the daemon knows to what `dashboards` draws: judged, worded and timed, but not yet drawn.
//!
//! - [`hours`]: moments in the keeper's own time zone, and the spans that a keeper asks for;
//! - [`words`]: what each alarm means and what to do;
//! - [`now`]: a snapshot as the page of now;
//! - [`ahead`]: what is expected of a brood place, drawn and in words;
//! - [`span`]: a day, a week, a year by the calendar on the wall;
//! - [`coarse`]: what the probes said over a long span, in few numbers;
//! - [`past`]: stored readings, run through a core of its own, as a picture of a span;
//! - [`plan`]: what is to be expected before anything is plugged in, in words;
//! - [`week`]: that picture with alarms and notes on it;
//! - [`events`]: alarms and notes of a span, as marks and as a list;
//! - [`load`]: how the alarms themselves did, against the guideline's table;
//! - [`sentences`]: a span day by day and in words.
mod ahead;
pub mod coarse;
pub mod events;
pub mod hours;
mod leave;
pub mod load;
pub mod now;
pub mod past;
pub mod plan;
pub mod sentences;
pub mod span;
pub mod week;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod tests;
