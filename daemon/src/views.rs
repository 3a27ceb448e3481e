//! From what the daemon knows to what `dashboards` draws: judged, worded and timed, but not yet drawn.
//!
//! - [`hours`]: moments in the keeper's own time zone, and the spans that a keeper asks for;
//! - [`words`]: what each alarm means and what to do;
//! - [`now`]: a snapshot as the page of now; `stands`: how a nest stands, in words that claim no more than is known;
//! - [`standing`]: an alarm that stands, since when, and what became of it;
//! - `ahead`: what is expected of a brood place, drawn and in words;
//! - [`span`]: a day, a week, a year by the calendar on the wall;
//! - [`coarse`]: what the probes said over a long span, in few numbers;
//! - [`comparing`]: a span beside the one before, or beside another nest's;
//! - [`past`]: stored readings, run through a core of its own, as a picture of a span;
//! - [`plan`]: what is to be expected before anything is plugged in, in words;
//! - [`week`]: that picture with alarms and notes on it;
//! - [`events`]: alarms and notes of a span, as marks and as a list;
//! - [`load`]: how the alarms themselves did, against the guideline's table;
//! - [`story`]: one alarm, from its evidence to what can be done; [`nodes`], [`itself`], [`notebook`], [`start`]: the
//!   other pages of parts. What any of them says stands in the table of strings (`dashboards::say`);
//! - [`sentences`]: a span day by day and in words.
mod ahead;
pub mod coarse;
pub mod comparing;
pub mod events;
pub mod hours;
pub mod itself;
mod leave;
pub mod load;
pub mod login;
pub mod nodes;
pub mod notebook;
pub mod now;
pub mod past;
pub mod plan;
pub mod sentences;
pub mod span;
pub mod standing;
mod stands;
pub mod start;
pub mod start_lines;
pub mod story;
mod story_acts;
mod story_minutes;
pub mod week;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod tests;
