//! The pure core: what is believed about every nest on a shelf, and what a keeper must be told.
//!
//! It is handed everything, time included, through [`Core::step`], and answers with effects and with the moment at
//! which it wants to be woken. It reads no clock, does no I/O, waits for nothing and knows no file format, so that
//! the daemon, `replay` and the tests run the very same code. CI builds it for a bare target to prove it.
//!
//! In reading order:
//! - [`time`]: integer milliseconds; other numbers carry their unit at the end of their name.
//! - [`shelf`]: what stands where, as the keeper describes it.
//! - [`reading`]: what a probe said, and why it was not believed.
//! - [`alarm`]: names, priorities, states and events of ISA-18.2 / IEC 62682.
//! - [`lifecycle`], [`board`]: one alarm's life; all of them together, causes before consequences.
//! - [`mod@core`]: inputs, effects, and the loop that ties the parts together.
#![no_std]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod alarm;
pub mod board;
pub mod body;
pub mod core;
pub mod cusum;
pub mod day_shape;
#[cfg(test)]
mod dice;
pub mod draught;
pub mod drive;
pub mod drive_habit;
pub mod estimate;
pub mod evidence;
pub mod filter;
pub mod forecast;
pub mod habits;
pub mod judge;
pub mod lifecycle;
pub mod models;
pub mod modes;
pub mod nest;
pub mod nodes;
pub mod permit;
pub mod plan;
pub mod prior;
pub mod psychro;
pub mod reading;
pub mod rival;
pub mod room;
pub mod room_course;
pub mod shelf;
pub mod smooth;
pub mod sudden;
pub mod time;
pub mod timetable;
pub mod trim;
pub mod trust;
pub mod vapour;

pub use crate::core::{Core, Effect, Input, KeeperAct, NestNow, Profile};
pub use alarm::{Alarm, AlarmChange, AlarmKey, Event, Priority, State};
pub use evidence::{Evidence, Saying};
pub use reading::{Measured, Reading, Refusal, Rejection, SourceId};
pub use shelf::Shelf;
pub use time::{Span, Timestamp};
