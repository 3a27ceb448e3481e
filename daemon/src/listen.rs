//! `warmend check --listen`: what arrives at the broker, what it would become, and why not.
//!
//! It hears everything for a while and judges nothing: no core, no history, no receipt. Where the shelf file's broker is
//! the daemon's own and no daemon runs, it opens that broker for as long, so that sensors can be set up first.
use crate::clock::Clock;
use crate::intake::{Intake, Link, Message};
use crate::pipeline::{by_mapping, raw, refusal, topic_fits};
use crate::run::{Line, RunError, reach_broker};
use crate::shelf_file::{Mapping, ShelfFile};
use crate::times;
use crate::unpack::{Arrival, RawRecord, Unpacked, unpack};
use enclosure::{Core, Measured, Refusal, SourceId};
use std::collections::HashMap;
use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

/// Characters of a payload that are shown.
const SHOWN_CHARS: usize = 160;
/// Records of one message that are shown.
const SHOWN_RECORDS: usize = 40;
/// Lines in all: whoever listens to a busy broker for an hour has a terminal to look at.
const LINES_MAX: usize = 20_000;

/// Knows what the shelf file makes of a message.
struct Reader {
    sources: HashMap<String, SourceId>,
    mappings: Vec<Mapping>,
}

/// Listens for `length`, then ends. `login` is who to be at a broker that runs already and has users.
///
/// # Errors
/// [`RunError`] if the broker cannot be reached or opened, or was out of reach at the end.
pub async fn listen(
    file: &ShelfFile,
    length: Duration,
    login: Option<(String, String)>,
    clock: Arc<dyn Clock>,
    out: &mut (dyn Write + Send),
) -> Result<(), RunError> {
    // A daemon that runs holds the port: then its broker is the one to be heard.
    let (broker, line) = match reach_broker(file).await {
        Ok(reached) => reached,
        Err(RunError::Broker(error)) if !error.is_in_the_shelf_file() => (None, Line::beside(file, login)),
        Err(error) => return Err(error),
    };
    let mut settings = line.settings(file);
    settings.client_id.push_str("-check");
    settings.also = vec!["#".to_owned()];
    let reader = Reader::new(file);
    // A reader of the output that has gone needs no more lines.
    drop(writeln!(out, "listening to mqtt://{} for {} s", line.address(), length.as_secs()));
    let (intake, mut inbox) = Intake::start(settings, clock);
    let acker = intake.acker();
    let until = tokio::time::sleep(length);
    tokio::pin!(until);
    let mut lines = 0;
    let mut heard = 0_u64;
    loop {
        let message = tokio::select! {
            () = &mut until => break,
            message = inbox.recv() => message,
        };
        let Some(message) = message else { break };
        heard += 1;
        for text in reader.explain(&message) {
            lines += 1;
            if lines <= LINES_MAX {
                drop(writeln!(out, "{text}"));
            }
        }
        acker.ack(message.ack).await;
    }
    let unsaid = lines.saturating_sub(LINES_MAX);
    let unsaid = if unsaid > 0 { format!("; {unsaid} lines were left out") } else { String::new() };
    drop(writeln!(out, "{heard} messages were heard{unsaid}"));
    let deaf = match &*intake.link().borrow() {
        Link::Lost { why, .. } => Some(RunError::Unheard { address: line.address(), why: why.clone() }),
        Link::Connected { .. } => None,
    };
    if heard == 0 && deaf.is_none() {
        drop(writeln!(out, "nothing came: look whether the sensors have this address, user and password"));
    }
    intake.stop().await;
    if let Some(broker) = broker {
        broker.stop().await;
    }
    deaf.map_or(Ok(()), Err)
}

impl Reader {
    fn new(file: &ShelfFile) -> Self {
        let core = Core::new(file.shelf.clone());
        let sources = core.sources().iter().filter_map(|name| Some((name.clone(), core.source(name)?))).collect();
        Self { sources, mappings: file.mappings.clone() }
    }

    /// The message as it came, and a line for each thing in it.
    fn explain(&self, message: &Message) -> Vec<String> {
        let mut lines = vec![format!("{}{}", head(message), shown(&message.payload))];
        let arrival = Arrival { at: message.arrived, live: message.live, only_node: None };
        if message.node.is_some() {
            for record in wire::decode(&message.payload).take(SHOWN_RECORDS) {
                lines.push(match record {
                    Ok(record) => self.becomes(Ok(raw(record)), arrival),
                    Err(error) => format!("    not taken ({}): {error}", why(refusal(error))),
                });
            }
            return lines;
        }
        let fits = |mapping: &&Mapping| topic_fits(&mapping.topic, &message.topic);
        lines.extend(self.mappings.iter().filter(fits).map(|mapping| {
            let taken = by_mapping(mapping, &message.payload);
            let at = mapping.pointer.as_deref().map_or_else(String::new, |pointer| format!(" at {pointer}"));
            match taken {
                Ok(record) => self.becomes(Ok(record), arrival),
                Err(refusal) => format!("    {}: not taken: {}{at}", mapping.source, why(refusal)),
            }
        }));
        if lines.len() == 1 {
            lines.push("    nothing: neither a node's topic (…/senml) nor one of a [[mapping]]".to_owned());
        }
        lines
    }

    fn becomes(&self, record: Result<RawRecord, Refusal>, arrival: Arrival<'_>) -> String {
        let name = record.as_ref().map_or_else(|_| String::new(), |record| record.name.clone());
        let Unpacked { readings, refused, link, pack, health, .. } =
            unpack([record], arrival, |name| self.sources.get(name).copied());
        if let Some(reading) = readings.first() {
            return format!("    {name}: {} at {}", measured(reading.measured), times::rfc3339(reading.at));
        }
        if link.is_some() || pack.is_some() {
            return format!("    {name}: about the node itself");
        }
        if let Some(aside) = health.first() {
            return format!("    {name}: about the node itself: {} {}", aside.value, aside.unit);
        }
        match Refusal::ALL.into_iter().find(|why| refused.get(*why) > 0) {
            Some(refusal) => format!("    {name}: not taken: {}", why(refusal)),
            None => format!("    {name}: about the node itself"),
        }
    }
}

fn head(message: &Message) -> String {
    let retained = if message.retained { " (kept by the broker)" } else { "" };
    let topic: String = message.topic.chars().map(|c| if c.is_control() { '?' } else { c }).collect();
    format!("{topic}{retained} ")
}

fn shown(payload: &[u8]) -> String {
    let text = String::from_utf8_lossy(payload);
    let mut shown: String = text.chars().take(SHOWN_CHARS).map(|c| if c.is_control() { '?' } else { c }).collect();
    if text.chars().count() > SHOWN_CHARS {
        shown.push('…');
    }
    shown
}

fn measured(measured: Measured) -> String {
    match measured {
        Measured::Temperature(c) => format!("{c:.2} °C"),
        Measured::Humidity(pct) => format!("{pct:.1} %RH"),
        Measured::Duty(duty) => format!("driven at {:.0} %", duty * 100.0),
        Measured::Power(w) => format!("{w:.2} W"),
        Measured::On(on) => if on { "on" } else { "off" }.to_owned(),
    }
}

const fn why(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::Form => "there is no number",
        Refusal::Unit => "its unit is missing, or none that a reading can have",
        Refusal::NonFinite => "the number is not finite",
        Refusal::Range => "it is out of range: −60 to 150 °C, 0 to 110 %RH, duty 0 to 1",
        Refusal::TimeUnknown => "it says no time of its own, and was kept by the broker: nobody knows of when it is",
        Refusal::Time => "its time lies ahead, or before the year 2000",
        Refusal::UnknownSource => "no nest lists this source",
    }
}

#[cfg(test)]
mod tests;
