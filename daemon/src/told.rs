//! What those who tell a keeper ask of a change, and the name that keepers and scripts call an alarm by.
use crate::snapshot::{AlarmName, Told};
use crate::views::words::listed;
use dashboards::say;
use enclosure::{Alarm, Event, Priority, State};

/// One alarm, by its names: alarm, nest, probe, node.
pub type Key<'a> = (&'static str, Option<&'a str>, Option<&'a str>, Option<&'a str>);

impl Told {
    /// How urgent it is.
    pub fn priority(&self) -> Priority {
        self.change.alarm.priority()
    }

    /// Which alarm it is about.
    pub fn key(&self) -> Key<'_> {
        let c = &self.change;
        (c.alarm.name(), c.nest.as_deref(), c.probe.as_deref(), c.node.as_deref())
    }

    /// Whether it begins something a keeper must hear of.
    pub fn begins(&self) -> bool {
        let c = &self.change;
        match c.event {
            Event::Raised | Event::Unacknowledged => c.told,
            // A silence that ends while the condition still holds; after a flood one speaks for all, but for danger.
            Event::Unshelved | Event::InService | Event::Unsuppressed => {
                let alone = c.state == State::Unacknowledged && c.cause.is_none();
                c.told || (alone && self.priority() == Priority::Danger)
            }
            _ => false,
        }
    }

    /// Whether what it is about has left the shelf file while it stood: a danger that nobody watches any more. No person
    /// can put one out of service.
    pub fn leaves(&self) -> bool {
        self.change.event == Event::OutOfService && self.priority() == Priority::Danger
    }

    /// Whether the condition is over.
    pub fn ends(&self) -> bool {
        let over = matches!(self.change.state, State::Normal | State::Returned | State::Latched);
        over && matches!(self.change.event, Event::Returned | Event::Cleared)
    }
}

/// The name by which keepers and scripts call an alarm: `heater-stuck-on@oak`, `probe-silent@oak/oak-node:warm`,
/// `node-silent@/oak-node`.
pub fn written(key: Key<'_>) -> String {
    let (alarm, nest, probe, node) = key;
    let place = match (nest, probe.or(node)) {
        (Some(nest), Some(part)) => format!("@{nest}/{part}"),
        (Some(nest), None) => format!("@{nest}"),
        (None, Some(part)) => format!("@/{part}"),
        (None, None) => String::new(),
    };
    format!("{alarm}{place}")
}

/// Reads such a name. What stands behind the `/` is a probe if it has a colon in it (`node:sensor`), else a node.
///
/// # Errors
/// In plain words, with the names there are.
pub fn read(text: &str) -> Result<AlarmName, String> {
    let (alarm, place) = text.split_once('@').map_or((text, None), |(alarm, place)| (alarm, Some(place)));
    if Alarm::from_name(alarm).is_none() {
        let names = listed(Alarm::ALL.into_iter().map(|alarm| alarm.name().to_owned()));
        return Err(say!("refused-alarm-unknown", shown = shown(alarm), names = names));
    }
    let (nest, part) = match place {
        None => (None, None),
        Some(place) => place.split_once('/').map_or((Some(place), None), |(nest, part)| (Some(nest), Some(part))),
    };
    let bare = part.is_none() && nest == Some("");
    if bare || part == Some("") {
        return Err(say!("refused-alarm-form"));
    }
    let owned = |part: Option<&str>| part.filter(|p| !p.is_empty()).map(str::to_owned);
    let (probe, node) = if part.is_some_and(|p| p.contains(':')) { (part, None) } else { (None, part) };
    Ok(AlarmName { alarm: alarm.to_owned(), nest: owned(nest), probe: owned(probe), node: owned(node) })
}

fn shown(text: &str) -> String {
    text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn name(alarm: &str, nest: Option<&str>, probe: Option<&str>, node: Option<&str>) -> AlarmName {
        let owned = |part: Option<&str>| part.map(str::to_owned);
        AlarmName { alarm: alarm.to_owned(), nest: owned(nest), probe: owned(probe), node: owned(node) }
    }

    #[test]
    fn names_are_read_as_they_are_written() {
        for (text, want) in [
            ("heater-stuck-on@oak", name("heater-stuck-on", Some("oak"), None, None)),
            ("probe-silent@oak/oak-node:warm", name("probe-silent", Some("oak"), Some("oak-node:warm"), None)),
            ("node-silent@/oak-node", name("node-silent", None, None, Some("oak-node"))),
            ("broker-lost", name("broker-lost", None, None, None)),
        ] {
            assert_eq!(read(text).as_ref(), Ok(&want), "{text}");
            let alarm = Alarm::from_name(&want.alarm).expect("an alarm").name();
            let key = (alarm, want.nest.as_deref(), want.probe.as_deref(), want.node.as_deref());
            assert_eq!(written(key), text);
        }
    }

    #[test]
    fn what_is_no_name_is_refused() {
        for text in ["", "warm@oak", "heater-stuck-on@", "probe-silent@oak/", "@oak", "heater-stuck-on\n@oak"] {
            assert!(read(text).is_err(), "{text}");
        }
        assert!(read("heater").is_err_and(|why| why.contains("heater-stuck-on")));
    }
}
