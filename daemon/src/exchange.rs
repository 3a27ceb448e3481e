//! `warmend export` and `import`: history out and in, as text that other programs read, or whole as a backup.
//!
//! - `sensml`: one resolved SenML record a line (RFC 8428), as `replay` takes it;
//! - `csv`: RFC 4180, one line a moment, one column a source and unit, the units in the header;
//! - `line`: line protocol with times in milliseconds, as the mirror sends it.
//!
//! Readings that go out come in again to the bit, rejections included (`rejected`, a field that others pass over). A file
//! is read through before anything is stored: one bad line refuses it, with its number. Whatever else history holds goes
//! out as tables (`--what`), and comes back by a backup only: alarms and messages that came in from a text would be
//! history that never was.
mod csv;
mod export;
mod import;
pub(crate) mod line;
mod sensml;
mod tables;
mod times;

pub use export::{ExportArgs, export};
pub use import::{ImportArgs, import};
pub use tables::What;

use crate::history::{HistoricReading, Quantity};
use clap::ValueEnum;
use enclosure::{Rejection, Timestamp};
use std::sync::Arc;

/// The forms of text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// One SenML record a line
    Sensml,
    /// Comma-separated values, units in the header
    Csv,
    /// Line protocol, milliseconds
    Line,
}

/// Longest line, bytes: longer ones are none of a recording's.
const LINE_MAX: usize = 64 * 1024;

/// The quantity's SenML unit; the on and off of a drive has none.
const fn unit(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Temperature => "Cel",
        Quantity::Humidity => "%RH",
        Quantity::Duty => "/",
        Quantity::Power => "W",
        Quantity::On => "on",
    }
}

fn of_unit(text: &str) -> Option<Quantity> {
    Quantity::ALL.into_iter().find(|q| unit(*q) == text)
}

fn rejection(text: &str) -> Result<Rejection, String> {
    let all = [Rejection::Wild, Rejection::Distrusted, Rejection::Late, Rejection::Duplicate];
    all.into_iter().find(|r| r.name() == text).ok_or_else(|| format!("\"{}\" is no reason to reject", shown(text)))
}

/// A reading of plain parts, or why it is none.
fn reading(source: &str, (quantity, v): (Quantity, f64), at: Timestamp) -> Result<HistoricReading, String> {
    crate::shelf_file::source_name(source)?;
    let measured = quantity.measured(v).map_err(|why| format!("{v} {} is no reading: {why}", unit(quantity)))?;
    Ok(HistoricReading { source: Arc::from(source), at, measured, rejection: None })
}

/// So much of a wrong word, and nothing that a terminal would obey.
fn shown(text: &str) -> String {
    text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect()
}

#[cfg(test)]
mod tests;
