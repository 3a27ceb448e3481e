//! From a message to what is in it: SenML by `wire`, anything else by the keeper's mappings.
use crate::intake::Message;
use crate::shelf_file::Mapping;
use crate::unpack::{Arrival, RawRecord, RawValue, Unpacked, unpack};
use enclosure::reading::Unit;
use enclosure::{Core, Refusal, SourceId};
use std::collections::HashMap;

/// Knows the shelf's sources and mappings.
#[derive(Debug)]
pub(super) struct Unpacking {
    sources: HashMap<String, SourceId>,
    mappings: Vec<Mapping>,
    nodes_own_topics: bool,
}

impl Unpacking {
    /// For the sources of `core`. With `nodes_own_topics` a node speaks for itself only.
    pub(super) fn new(core: &Core, mappings: Vec<Mapping>, nodes_own_topics: bool) -> Self {
        let sources = core.sources().iter().filter_map(|name| Some((name.clone(), core.source(name)?))).collect();
        Self { sources, mappings, nodes_own_topics }
    }

    /// What is in `message`. Whatever is no reading is counted in it.
    pub(super) fn take(&self, message: &Message) -> Unpacked {
        let lookup = |name: &str| self.sources.get(name).copied();
        let mut arrival = Arrival { at: message.arrived, live: message.live, only_node: None };
        match &message.node {
            Some(node) => {
                arrival.only_node = self.nodes_own_topics.then_some(node.as_str());
                unpack(wire::decode(&message.payload).map(|record| record.map(raw).map_err(refusal)), arrival, lookup)
            }
            None => {
                let mapped = self.mappings.iter().filter(|mapping| topic_fits(&mapping.topic, &message.topic));
                unpack(mapped.map(|mapping| by_mapping(mapping, &message.payload)), arrival, lookup)
            }
        }
    }
}

pub(crate) fn raw(record: wire::Record<'_>) -> RawRecord {
    let value = match record.value {
        Some(wire::Value::Float(v)) => RawValue::Number(v),
        Some(wire::Value::Bool(on)) => RawValue::Bool(on),
        Some(wire::Value::Text(_) | wire::Value::Data(_)) | None => RawValue::Other,
    };
    let unit = record.unit.map(|unit| unit.as_str().to_owned());
    RawRecord { name: record.name.as_str().to_owned(), unit, value, time_s: Some(record.time_s) }
}

pub(crate) fn refusal(error: wire::Error) -> Refusal {
    match error {
        wire::Error::NonFinite(_) => Refusal::NonFinite,
        wire::Error::UnitTooLong => Refusal::Unit,
        _ => Refusal::Form,
    }
}

pub(crate) fn by_mapping(mapping: &Mapping, payload: &[u8]) -> Result<RawRecord, Refusal> {
    let value = match &mapping.pointer {
        Some(pointer) => {
            let document: serde_json::Value = serde_json::from_slice(payload).map_err(|_| Refusal::Form)?;
            match document.pointer(pointer) {
                Some(serde_json::Value::Number(v)) => RawValue::Number(v.as_f64().ok_or(Refusal::NonFinite)?),
                Some(serde_json::Value::String(text)) => number(text)?,
                Some(serde_json::Value::Bool(on)) => RawValue::Bool(*on),
                _ => return Err(Refusal::Form),
            }
        }
        None => number(std::str::from_utf8(payload).map_err(|_| Refusal::Form)?)?,
    };
    let value = match value {
        RawValue::Number(v) => RawValue::Number(mapping.turned.turn(v)),
        other => other,
    };
    let unit = match mapping.unit {
        Unit::Celsius => "Cel",
        Unit::RelativeHumidity => "%RH",
        Unit::Ratio => "/",
        Unit::Watt => "W",
    };
    Ok(RawRecord { name: mapping.source.clone(), unit: Some(unit.to_owned()), value, time_s: None })
}

fn number(text: &str) -> Result<RawValue, Refusal> {
    text.trim().parse().map(RawValue::Number).map_err(|_| Refusal::Form)
}

/// Whether a topic fits an MQTT topic filter (MQTT 3.1.1, 4.7).
pub(crate) fn topic_fits(filter: &str, topic: &str) -> bool {
    if topic.starts_with('$') != filter.starts_with('$') {
        return false;
    }
    let mut levels = topic.split('/');
    for wanted in filter.split('/') {
        match (wanted, levels.next()) {
            ("#", _) => return true,
            ("+", Some(_)) => {}
            (wanted, Some(level)) if wanted == level => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shelf_file::Turned;

    #[test]
    fn topics_fit_filters_as_the_standard_says() {
        for (filter, topic, fits) in [
            ("a/b", "a/b", true),
            ("a/+", "a/b", true),
            ("a/+", "a/b/c", false),
            ("a/#", "a/b/c", true),
            ("a/#", "a", true),
            ("+", "a", true),
            ("+/+", "a", false),
            ("#", "$SYS/x", false),
            ("a/b", "a/c", false),
        ] {
            assert_eq!(topic_fits(filter, topic), fits, "{filter} {topic}");
        }
    }

    #[test]
    fn a_mapping_reads_a_number_where_it_is_told_to_and_refuses_the_rest() {
        let mapping = |pointer: Option<&str>| Mapping {
            topic: "t".to_owned(),
            pointer: pointer.map(str::to_owned),
            unit: Unit::Celsius,
            turned: Turned::Not,
            source: "oak-node:warm".to_owned(),
        };
        for (pointer, payload, value) in [
            (None, " 21.5\n", Ok(RawValue::Number(21.5))),
            (Some("/a/0"), r#"{"a":[21.5]}"#, Ok(RawValue::Number(21.5))),
            (Some("/a"), r#"{"a":"21.5"}"#, Ok(RawValue::Number(21.5))),
            (Some("/b"), r#"{"a":"21.5"}"#, Err(Refusal::Form)),
            (Some("/a"), "{", Err(Refusal::Form)),
            (None, "warm", Err(Refusal::Form)),
            (None, "\u{1}", Err(Refusal::Form)),
        ] {
            let got = by_mapping(&mapping(pointer), payload.as_bytes()).map(|record| record.value);
            assert_eq!(got, value, "{pointer:?} {payload}");
        }
    }

    #[test]
    fn numbers_of_other_units_are_turned() {
        for (turned, from, to) in [
            (Turned::Not, 21.5, 21.5),
            (Turned::Kelvin, 294.65, 21.5),
            (Turned::Fahrenheit, 212.0, 100.0),
            (Turned::Fahrenheit, -40.0, -40.0),
            (Turned::Hundredths, 45.0, 0.45),
            (Turned::Thousands, 0.007, 7.0),
        ] {
            assert!((turned.turn(from) - to).abs() < 1e-9, "{turned:?} of {from}");
        }
    }
}
