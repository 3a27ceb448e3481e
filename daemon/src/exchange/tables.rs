//! What history holds beside readings, as tables: CSV by RFC 4180, a line an entry, units in the header.
use super::csv::quoted;
use super::times::written;
use super::unit;
use crate::history::{KeptFit, Reader};
use anyhow::{Context as _, Result};
use clap::ValueEnum;
use enclosure::Timestamp;
use std::io::Write;
use std::ops::Range;

/// What goes out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum What {
    /// What probes and drives said
    #[default]
    Readings,
    /// Of thinned readings what is left: each hour's number, lowest, highest and mean
    Hours,
    /// Every change of every alarm
    Alarms,
    /// Every attempt to send a message; `change` is the alarm's `id`
    Messages,
    /// What you wrote down and did
    Notes,
    /// Times without a watch
    Gaps,
    /// What was learned of the nests, or why it was not taken (its physics: warmend fit --json)
    Fits,
    /// The shelf file as it was
    Settings,
}

impl What {
    /// How its entries are called.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Hours => "hours",
            Self::Alarms => "changes of alarms",
            Self::Messages => "attempts to send a message",
            Self::Notes => "notes",
            Self::Gaps => "times without a watch",
            Self::Fits => "fits",
            Self::Settings => "versions of the shelf file",
        }
    }

    /// Whether each entry is of one nest.
    pub(super) const fn is_of_nests(self) -> bool {
        matches!(self, Self::Readings | Self::Alarms | Self::Notes | Self::Fits)
    }
}

/// A table on its way out; counts its lines.
struct Table<'a> {
    out: &'a mut dyn Write,
    lines: u64,
}

impl<'a> Table<'a> {
    fn begin(out: &'a mut dyn Write, columns: &[&str]) -> Result<Self> {
        let mut this = Self { out, lines: 0 };
        this.put(&columns.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>())?;
        Ok(this)
    }

    fn add(&mut self, fields: &[String]) -> Result<()> {
        self.lines += 1;
        self.put(fields)
    }

    fn put(&mut self, fields: &[String]) -> Result<()> {
        let line: Vec<String> = fields.iter().map(|field| quoted(field)).collect();
        let written = self.out.write_all((line.join(",") + "\r\n").as_bytes());
        written.context("writing the table: check free space, and who reads it")
    }
}

/// Writes `what` of `nests` (of all, if there are none) in `span`; gives how many entries that were.
pub(super) fn write(
    what: What,
    reader: &Reader,
    (nests, span): (&[String], Range<Timestamp>),
    out: &mut dyn Write,
) -> Result<u64> {
    let wanted = |nest: Option<&str>| nests.is_empty() || nest.is_some_and(|nest| nests.iter().any(|n| n == nest));
    let table = match what {
        What::Readings => return Ok(0),
        What::Hours => hours(reader, span, out)?,
        What::Alarms => alarms(reader, span, wanted, out)?,
        What::Messages => messages(reader, span, out)?,
        What::Notes => notes(reader, span, wanted, out)?,
        What::Gaps => gaps(reader, span, out)?,
        What::Fits => fits(reader, span, wanted, out)?,
        What::Settings => settings(reader, span, out)?,
    };
    Ok(table.lines)
}

fn number(value: Option<f64>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

const fn yes(is: bool) -> &'static str {
    if is { "yes" } else { "no" }
}

fn hours<'a>(reader: &Reader, span: Range<Timestamp>, out: &'a mut dyn Write) -> Result<Table<'a>> {
    let columns = ["time", "source", "unit", "readings", "lowest", "highest", "mean", "believed"];
    let mut table = Table::begin(out, &columns)?;
    for hour in reader.hours_left(span)? {
        let plain = [hour.extent.min, hour.extent.max, hour.extent.mean].map(|v| number(Some(v)));
        let [lowest, highest, mean] = plain;
        let (n, believed) = (hour.extent.n.to_string(), yes(!hour.rejected).to_owned());
        table.add(&[
            written(hour.from),
            hour.source,
            unit(hour.quantity).to_owned(),
            n,
            lowest,
            highest,
            mean,
            believed,
        ])?;
    }
    Ok(table)
}

fn alarms<'a>(
    reader: &Reader,
    span: Range<Timestamp>,
    wanted: impl Fn(Option<&str>) -> bool,
    out: &'a mut dyn Write,
) -> Result<Table<'a>> {
    let columns =
        ["id", "time", "alarm", "nest", "probe", "node", "priority", "event", "state", "told", "cause", "detail"];
    let mut table = Table::begin(out, &columns)?;
    for (id, c) in reader.alarm_changes(span)?.into_iter().filter(|(_, c)| wanted(c.nest.as_deref())) {
        let word = |word: &str| word.to_owned();
        table.add(&[
            id.to_string(),
            written(c.at),
            word(c.alarm.name()),
            c.nest.unwrap_or_default(),
            c.probe.unwrap_or_default(),
            c.node.unwrap_or_default(),
            word(c.alarm.priority().name()),
            word(c.event.name()),
            word(c.state.name()),
            word(yes(c.told)),
            word(c.cause.map_or("", |cause| cause.name())),
            c.detail,
        ])?;
    }
    Ok(table)
}

fn messages<'a>(reader: &Reader, span: Range<Timestamp>, out: &'a mut dyn Write) -> Result<Table<'a>> {
    let mut table = Table::begin(out, &["time", "change", "way", "attempt", "outcome"])?;
    for d in reader.deliveries(span)? {
        let change = d.change.map(|id| id.to_string()).unwrap_or_default();
        table.add(&[written(d.at), change, d.way, d.attempt.to_string(), d.outcome])?;
    }
    Ok(table)
}

fn notes<'a>(
    reader: &Reader,
    span: Range<Timestamp>,
    wanted: impl Fn(Option<&str>) -> bool,
    out: &'a mut dyn Write,
) -> Result<Table<'a>> {
    let mut table = Table::begin(out, &["time", "nest", "place [mm]", "kind", "text"])?;
    for n in reader.notes(span)?.into_iter().filter(|n| wanted(n.nest.as_deref())) {
        table.add(&[written(n.at), n.nest.unwrap_or_default(), number(n.at_mm), n.kind, n.text])?;
    }
    Ok(table)
}

fn gaps<'a>(reader: &Reader, span: Range<Timestamp>, out: &'a mut dyn Write) -> Result<Table<'a>> {
    let mut table = Table::begin(out, &["from", "to", "why"])?;
    for gap in reader.gaps(span)? {
        table.add(&[written(gap.from), written(gap.to), gap.why])?;
    }
    Ok(table)
}

fn fits<'a>(
    reader: &Reader,
    span: Range<Timestamp>,
    wanted: impl Fn(Option<&str>) -> bool,
    out: &'a mut dyn Write,
) -> Result<Table<'a>> {
    let columns =
        ["fit", "time", "nest", "in force", "refused", "from", "until", "readings", "room [Cel]", "error [K]"];
    let mut table = Table::begin(out, &columns)?;
    let inside = |kept: &KeptFit| span.contains(&kept.record.at) && wanted(Some(&kept.record.nest));
    for KeptFit { id, record, in_force } in reader.fits(None)?.into_iter().filter(inside) {
        let fit = record.fit.as_ref();
        table.add(&[
            id.to_string(),
            written(record.at),
            record.nest,
            yes(in_force).to_owned(),
            record.refused.map(|why| why.name().to_owned()).unwrap_or_default(),
            fit.map(|fit| written(fit.from)).unwrap_or_default(),
            fit.map(|fit| written(fit.until)).unwrap_or_default(),
            fit.map(|fit| fit.readings.to_string()).unwrap_or_default(),
            number(fit.map(|fit| fit.room_c)),
            number(fit.map(|fit| fit.error_k)),
        ])?;
    }
    Ok(table)
}

fn settings<'a>(reader: &Reader, span: Range<Timestamp>, out: &'a mut dyn Write) -> Result<Table<'a>> {
    let mut table = Table::begin(out, &["since", "shelf file"])?;
    for said in reader.settings(span)? {
        table.add(&[written(said.since), said.text])?;
    }
    Ok(table)
}
