//! What history holds beside readings, as tables: CSV by RFC 4180, a line an entry, units in the header.
use super::csv::quoted;
use super::times::written;
use super::unit;
use crate::history::{AlarmRecord, HourLeft, KeptFit, Reader};
use anyhow::Result;
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

/// Writes a table: its columns, then a line for each entry; gives how many.
fn table<const N: usize, T>(
    out: &mut dyn Write,
    columns: [&str; N],
    entries: impl IntoIterator<Item = T>,
    line: impl Fn(T) -> [String; N],
) -> Result<u64> {
    let mut put = |fields: [String; N]| {
        let text = fields.map(|field| quoted(&field)).join(",") + "\r\n";
        out.write_all(text.as_bytes())
    };
    put(columns.map(str::to_owned))?;
    let mut lines = 0;
    for entry in entries {
        put(line(entry))?;
        lines += 1;
    }
    Ok(lines)
}

/// Writes `what` of `nests` (of all, if there are none) in `span`; gives how many entries that were.
pub(super) fn write(
    what: What,
    reader: &Reader,
    (nests, span): (&[String], Range<Timestamp>),
    out: &mut dyn Write,
) -> Result<u64> {
    let wanted = |nest: Option<&str>| nests.is_empty() || nest.is_some_and(|nest| nests.iter().any(|n| n == nest));
    match what {
        What::Readings => Ok(0),
        What::Hours => table(out, HOUR, reader.hours_left(span)?, hour),
        What::Alarms => {
            let changes = reader.alarm_changes(span)?.into_iter().filter(|(_, c)| wanted(c.nest.as_deref()));
            table(out, CHANGE, changes, change)
        }
        What::Messages => table(out, ["time", "change", "way", "attempt", "outcome"], reader.deliveries(span)?, |d| {
            let change = d.change.map(|id| id.to_string()).unwrap_or_default();
            [written(d.at), change, d.way, d.attempt.to_string(), d.outcome]
        }),
        What::Notes => {
            let notes = reader.notes(span)?.into_iter().filter(|n| wanted(n.nest.as_deref()));
            table(out, ["time", "nest", "place [mm]", "kind", "text"], notes, |n| {
                [written(n.at), n.nest.unwrap_or_default(), number(n.at_mm), n.kind, n.text]
            })
        }
        What::Gaps => {
            table(out, ["from", "to", "why"], reader.gaps(span)?, |gap| [written(gap.from), written(gap.to), gap.why])
        }
        What::Fits => {
            let inside = |kept: &KeptFit| span.contains(&kept.record.at) && wanted(Some(&kept.record.nest));
            table(out, FIT, reader.fits(None)?.into_iter().filter(inside), fit)
        }
        What::Settings => table(out, ["since", "shelf file"], reader.settings(span)?, |s| [written(s.since), s.text]),
    }
}

fn number(value: Option<f64>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

fn yes(is: bool) -> String {
    if is { "yes" } else { "no" }.to_owned()
}

const HOUR: [&str; 8] = ["time", "source", "unit", "readings", "lowest", "highest", "mean", "believed"];

fn hour(hour: HourLeft) -> [String; 8] {
    let extent = hour.extent;
    [
        written(hour.from),
        hour.source,
        unit(hour.quantity).to_owned(),
        extent.n.to_string(),
        extent.min.to_string(),
        extent.max.to_string(),
        extent.mean.to_string(),
        yes(!hour.rejected),
    ]
}

const CHANGE: [&str; 12] =
    ["id", "time", "alarm", "nest", "probe", "node", "priority", "event", "state", "told", "cause", "detail"];

fn change((id, c): (i64, AlarmRecord)) -> [String; 12] {
    [
        id.to_string(),
        written(c.at),
        c.alarm.name().to_owned(),
        c.nest.unwrap_or_default(),
        c.probe.unwrap_or_default(),
        c.node.unwrap_or_default(),
        c.alarm.priority().name().to_owned(),
        c.event.name().to_owned(),
        c.state.name().to_owned(),
        yes(c.told),
        c.cause.map_or("", |cause| cause.name()).to_owned(),
        c.detail,
    ]
}

const FIT: [&str; 10] =
    ["fit", "time", "nest", "in force", "refused", "from", "until", "readings", "room [Cel]", "error [K]"];

fn fit(KeptFit { id, record, in_force }: KeptFit) -> [String; 10] {
    let fit = record.fit.as_ref();
    [
        id.to_string(),
        written(record.at),
        record.nest,
        yes(in_force),
        record.refused.map(|why| why.name().to_owned()).unwrap_or_default(),
        fit.map(|fit| written(fit.from)).unwrap_or_default(),
        fit.map(|fit| written(fit.until)).unwrap_or_default(),
        fit.map(|fit| fit.readings.to_string()).unwrap_or_default(),
        number(fit.map(|fit| fit.room_c)),
        number(fit.map(|fit| fit.error_k)),
    ]
}
