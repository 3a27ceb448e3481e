//! CSV by RFC 4180: a line a moment, a column a source and unit, the units in the header.
//!
//! ```text
//! time,oak-node:warm [Cel],oak-node:warm rejected,oak-node:pad [on]
//! 2026-03-01T12:00:00.250Z,27.25,,1
//! ```
use super::times::{TimeForm, written};
use super::{of_unit, reading, rejection, shown, unit};
use crate::history::{HistoricReading, Quantity};
use enclosure::Timestamp;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::io::BufRead;

/// Ends a header's unit; before it stands the source.
const REJECTED: &str = " rejected";
/// Columns that are taken at most.
const COLUMNS_MAX: usize = 4_096;
/// Longest record, bytes.
const RECORD_MAX: usize = 1024 * 1024;

/// Which columns a span needs.
#[derive(Debug, Default)]
pub(super) struct Columns(BTreeMap<(String, &'static str), bool>);

impl Columns {
    /// A reading that will come.
    pub(super) fn note(&mut self, r: &HistoricReading) {
        let key = (r.source.to_string(), unit(r.value().0));
        *self.0.entry(key).or_default() |= r.rejection.is_some();
    }

    /// Whether there is a column for it.
    pub(super) fn has(&self, r: &HistoricReading) -> bool {
        self.0
            .get(&(r.source.to_string(), unit(r.value().0)))
            .is_some_and(|rejected| *rejected || r.rejection.is_none())
    }

    pub(super) fn header(&self) -> String {
        let mut line = "time".to_owned();
        for ((source, unit), has_rejected) in &self.0 {
            let _ = write!(line, ",{}", quoted(&format!("{source} [{unit}]")));
            if *has_rejected {
                let _ = write!(line, ",{}", quoted(&format!("{source}{REJECTED}")));
            }
        }
        line + "\r\n"
    }

    /// All readings of one moment as a line.
    pub(super) fn line(&self, moment: &[HistoricReading]) -> String {
        let mut line = moment.first().map(|r| written(r.at)).unwrap_or_default();
        for ((source, unit_text), has_rejected) in &self.0 {
            let r = moment.iter().find(|r| *r.source == **source && unit(r.value().0) == *unit_text);
            line.push(',');
            if let Some(r) = r {
                let _ = write!(line, "{}", r.value().1);
            }
            if *has_rejected {
                line.push(',');
                line.push_str(r.and_then(|r| r.rejection).map_or("", enclosure::Rejection::name));
            }
        }
        line + "\r\n"
    }
}

/// A field as RFC 4180 has it.
pub(super) fn quoted(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

/// A column of another program's file, by its header: `NAME=SOURCE UNIT`.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnName {
    header: String,
    source: String,
    quantity: Quantity,
}

impl std::str::FromStr for ColumnName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form = || "write HEADER=SOURCE UNIT, as \"Warm end=oak-node:warm Cel\"".to_owned();
        let (header, to) = text.rsplit_once('=').ok_or_else(form)?;
        let (source, unit_text) = to.trim().split_once(' ').ok_or_else(form)?;
        crate::shelf_file::source_name(source)?;
        let quantity = of_unit(unit_text.trim()).ok_or_else(|| {
            format!("\"{}\" is no unit: write Cel, %RH, /, W, or on for 0 and 1", shown(unit_text.trim()))
        })?;
        Ok(Self { header: header.to_owned(), source: source.to_owned(), quantity })
    }
}

/// How a file is laid out; by default as ours are.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) time: String,
    pub(super) form: TimeForm,
    pub(super) zone: TimeZone,
    pub(super) separator: u8,
    /// None: the headers name source and unit themselves.
    pub(super) columns: Vec<ColumnName>,
}

#[derive(Debug)]
enum Column {
    Time,
    Value(String, Quantity),
    /// Why the value before it was not believed.
    Rejected(String),
    Other,
}

/// Hands each record's readings to `take`, with its line number, or what is wrong with it.
///
/// # Errors
/// If the file cannot be read on, or its header cannot be used.
pub(super) fn read(
    input: &mut dyn BufRead,
    layout: &Layout,
    take: &mut dyn FnMut(u64, Result<Vec<HistoricReading>, String>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let mut reader = csv_core::ReaderBuilder::new().delimiter(layout.separator).build();
    let mut columns: Option<Vec<Column>> = None;
    let (mut fields, mut ends) = (vec![0; RECORD_MAX], vec![0; COLUMNS_MAX]);
    let (mut used, mut filled) = (0, 0);
    let mut begun = reader.line();
    loop {
        let chunk = input.fill_buf().map_err(|e| anyhow::anyhow!("reading the file: {e}"))?;
        let (done, read, wrote, n) = reader.read_record(chunk, &mut fields[used..], &mut ends[filled..]);
        // The line on which the record ends: empty ones may stand before it.
        let counted = read > 0 && chunk.get(read - 1) == Some(&b'\n');
        let number = reader.line() - u64::from(counted);
        input.consume(read);
        used += wrote;
        filled += n;
        match done {
            csv_core::ReadRecordResult::InputEmpty => {}
            csv_core::ReadRecordResult::OutputFull | csv_core::ReadRecordResult::OutputEndsFull => {
                anyhow::bail!(
                    "line {begun}: a record of more than {RECORD_MAX} bytes or {COLUMNS_MAX} columns: this is no recording"
                );
            }
            csv_core::ReadRecordResult::Record => {
                let record: Option<Vec<&str>> = texts(&fields, &ends[..filled]);
                match (&columns, record) {
                    (None, Some(header)) => columns = Some(layout.columns_of(&header)?),
                    (None, None) => anyhow::bail!("line {number}: the header is no UTF-8 text"),
                    (Some(columns), Some(record)) => take(number, layout.readings(columns, &record))?,
                    (Some(_), None) => take(number, Err("it is no UTF-8 text".to_owned()))?,
                }
                (used, filled, begun) = (0, 0, reader.line());
            }
            csv_core::ReadRecordResult::End => break,
        }
    }
    anyhow::ensure!(columns.is_some(), "the file is empty: there is no header");
    Ok(())
}

fn texts<'a>(fields: &'a [u8], ends: &[usize]) -> Option<Vec<&'a str>> {
    let mut start = 0;
    let each = ends.iter().map(|end| {
        let field = fields.get(start..*end).and_then(|field| std::str::from_utf8(field).ok());
        start = *end;
        field
    });
    each.collect()
}

impl Layout {
    fn columns_of(&self, header: &[&str]) -> anyhow::Result<Vec<Column>> {
        let named = |name: &str| self.columns.iter().find(|c| c.header == name);
        let column = |name: &&str| {
            // A mark that some programs put at the head of a file.
            let name = name.trim_start_matches('\u{feff}');
            if name == self.time {
                return Column::Time;
            }
            if let Some(ColumnName { source, quantity, .. }) = named(name) {
                return Column::Value(source.clone(), *quantity);
            }
            if !self.columns.is_empty() {
                return Column::Other;
            }
            let own = name.strip_suffix(']').and_then(|name| name.rsplit_once(" ["));
            match (own.and_then(|(source, unit)| Some((source, of_unit(unit)?))), name.strip_suffix(REJECTED)) {
                (Some((source, quantity)), _) => Column::Value(source.to_owned(), quantity),
                (None, Some(source)) => Column::Rejected(source.to_owned()),
                (None, None) => Column::Other,
            }
        };
        let columns: Vec<Column> = header.iter().map(column).collect();
        let times = columns.iter().filter(|c| matches!(c, Column::Time)).count();
        anyhow::ensure!(
            times == 1,
            "line 1: there must be one column \"{}\" with the time: name it with --time",
            self.time
        );
        let missing: Vec<&str> = self
            .columns
            .iter()
            .filter(|c| !header.iter().any(|name| name.trim_start_matches('\u{feff}') == c.header))
            .map(|c| c.header.as_str())
            .collect();
        anyhow::ensure!(missing.is_empty(), "line 1: there is no column {missing:?}; the file has {header:?}");
        let sources: BTreeSet<_> =
            columns.iter().filter(|c| matches!(c, Column::Value(..))).map(|c| format!("{c:?}")).collect();
        let values = columns.iter().filter(|c| matches!(c, Column::Value(..))).count();
        anyhow::ensure!(values > 0, "line 1: no column names a source: name them with --column \"HEADER=SOURCE UNIT\"");
        anyhow::ensure!(sources.len() == values, "line 1: two columns name the same source and unit");
        Ok(columns)
    }

    fn readings(&self, columns: &[Column], record: &[&str]) -> Result<Vec<HistoricReading>, String> {
        if record.len() != columns.len() {
            return Err(format!("it has {} fields, the header has {}", record.len(), columns.len()));
        }
        let cells = || columns.iter().zip(record);
        let time = cells().find_map(|(column, text)| matches!(column, Column::Time).then_some(*text));
        let at = self.form.read(time.unwrap_or_default(), &self.zone)?;
        let mut all: Vec<HistoricReading> = Vec::new();
        for (column, text) in cells().filter(|(_, text)| !text.trim().is_empty()) {
            match column {
                Column::Value(source, quantity) => all.push(self.value(source, *quantity, text, at)?),
                Column::Rejected(source) => {
                    let why = rejection(text)?;
                    let of = all.iter_mut().rfind(|r| *r.source == **source && r.value().0 == Quantity::Temperature);
                    of.ok_or("it rejects a reading that is not there")?.rejection = Some(why);
                }
                Column::Time | Column::Other => {}
            }
        }
        Ok(all)
    }

    fn value(&self, source: &str, quantity: Quantity, text: &str, at: Timestamp) -> Result<HistoricReading, String> {
        let text = text.trim();
        // Where commas do not separate, they may stand before the tenths.
        let dotted = if self.separator == b',' { text.to_owned() } else { text.replace(',', ".") };
        let v: f64 = dotted.parse().map_err(|_| format!("\"{}\" is no number", shown(text)))?;
        reading(source, (quantity, v), at)
    }
}
