//! SenML (RFC 8428) as JSON and CBOR, both ways, without an allocator.
//!
//! A node writes packs with [`JsonWriter`] or [`CborWriter`] into a buffer of its own; the daemon reads them with
//! [`decode`], which yields records already resolved against the pack's base fields. [`decode_line`] is the quick way
//! for one resolved record a line (SensML as lines).
//!
//! Three promises hold for any bytes: nothing panics, everything ends, and what is bad costs only itself: a record
//! that is wrong yields an [`Error`] and its neighbours still come, as long as the framing (brackets, quotes, CBOR
//! lengths) is whole. A base field that could not be read takes along the records that depend on it, because a
//! guessed name or hour would be worse than a lost one.
//!
//! ```
//! let pack = br#"[{"bn":"oak-node:","n":"warm","u":"Cel","v":27.25},{"n":"cool","u":"Cel","v":nan}]"#;
//! let mut records = wire::decode(pack);
//! let warm = records.next().unwrap().unwrap();
//! assert_eq!(warm.name, "oak-node:warm");
//! assert_eq!(warm.value, Some(wire::Value::Float(27.25)));
//! assert_eq!(records.next(), Some(Err(wire::Error::NonFinite(wire::Field::Value))));
//! assert_eq!(records.next(), None);
//! ```
#![no_std]

mod cbor;
mod decode;
mod error;
mod field;
mod json;
mod number;
mod packs;
mod permit;
mod proof;
mod record;
mod resolve;
mod text;
mod write;

pub use decode::{Decoder, decode, decode_line};
pub use error::{Error, WriteError};
pub use field::Field;
pub use packs::{Header, Link, Receipt, read_link, read_receipt, split_name, write_header, write_link, write_receipt};
pub use permit::{HeatOff, KEY_BYTES, Key, Permit, PermitError, PermitKind, read_permit, write_permit};
pub use proof::{PROOF_ROOM, read_proof, write_proof};
pub use record::{Name, Record, Unit, Value};
pub use text::{Chars, Data, DataBytes, Text};
pub use write::{Base, Cbor, CborWriter, Entry, Format, Json, JsonWriter, Number, PackWriter, Payload};

/// The longest full name (`bn` + `n`) that is read or written, bytes.
pub const MAX_NAME: usize = 128;
/// The longest unit that is read or written, bytes. The longest of the IANA registry are well below it.
pub const MAX_UNIT: usize = 16;
/// The most entries of one pack that are read or written; what comes after them is refused.
pub const MAX_RECORDS: u32 = 4096;
/// The deepest nesting in the value of a field that is passed over.
pub const MAX_DEPTH: usize = 16;
/// The version of SenML that is understood (RFC 8428, section 4.1); a pack of a higher one is refused.
pub const VERSION: u64 = 10;
/// Times from here on are seconds since 1970, times below are relative to now, s (RFC 8428, section 4.5.3: 2^28).
pub const ABSOLUTE_FROM_S: f64 = 268_435_456.0;
/// The largest whole number that a double holds exactly together with all below it: 2^53.
pub const MAX_EXACT: u64 = 1 << 53;
