//! History: what was read, what was raised, what the keeper did; one SQLite file that outlives every crash.
//!
//! One thread writes ([`Writer`], over a [`Store`]), any number of [`Reader`]s read, in this process or another.
//! - Readings are appended in the order of arrival (`hot`), because a table sorted by series and time costs thirty
//!   times the writes on the device; a closed day is packed per series into one compressed chunk.
//! - A commit is on the device when its reply comes (WAL, `synchronous=FULL`). Several messages share a commit.
//! - A receipt ([`Receipts`]) moves in the same transaction as the readings that it covers.
//! - Sources are stored by name: a [`enclosure::SourceId`] is valid within one core only.
//! - Everything stays for ever unless the shelf file bounds it; then the oldest days are thinned to hours ([`Keep`]).
//! - Nothing is destroyed unasked: a damaged file is set aside, what it still gives is copied, and the report says so.
//!
//! Invariants: a reading is stored once per (source, quantity, millisecond); what was answered as stored is found
//! after any crash; what could not be stored was answered with an error and counted.
mod backup;
mod codec;
mod errors;
mod fits;
mod mirroring;
mod open;
mod packing;
mod read;
mod receipts;
mod rows;
mod salvage;
mod schema;
mod seen;
mod store;
mod thinning;
mod types;
mod upkeep;
mod writer;

pub use backup::{PutBack, put_back};
pub use errors::{HistoryError, WriteError};
pub use fits::{FitAct, FitRecord, KeptFit};
pub use mirroring::{Due, LINES_MAX, MirrorLines, MirrorMark, MirrorNews, MirrorState};
pub use open::{OpenReport, Opened, SetAside};
pub use packing::Packed;
pub use read::{Bucket, Extent, HourLeft, Reader, Sizes, StandingAlarms};
pub use receipts::{AHEAD_RANGES_MAX, BOOTS_MAX, NODES_MAX, PackSeen, Receipt, Receipts};
pub use salvage::Saved;
pub use seen::{HOT_READINGS_MAX, SERIES_DAY_MAX};
pub use store::{Committed, Store};
pub use thinning::{Keep, Thinned};
pub use types::{AlarmRecord, Batch, Delivery, Disbelief, Gap, HistoricReading, KeeperNote, Quantity, SettingsInForce};
pub use upkeep::{PACKED_AFTER, Tended};
pub use writer::{CARRIED_MAX, COMMIT_AT, COMMIT_EVERY, Counters, Monotonic, Pending, QUEUE_MAX, Settings, Writer};

#[cfg(test)]
mod faults;
#[cfg(test)]
pub(crate) mod sample;
