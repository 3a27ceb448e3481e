//! What the demonstration says on its way, so that a stranger understands it.
use super::Settings;
use crate::snapshot::Told;
use crate::times::length;
use enclosure::{Event, Timestamp};
use std::io::Write as _;

/// Says a line; whoever listened may have gone.
pub(super) fn say(text: &str) {
    let mut out = std::io::stdout().lock();
    drop(writeln!(out, "{text}").and_then(|()| out.flush()));
}

pub(super) fn greet(settings: &Settings) {
    let day_min = 1440.0 / settings.speed;
    let pace = if day_min >= 1.0 { format!("{day_min:.0} min") } else { format!("{:.0} s", day_min * 60.0) };
    say(
        "warmend watches heated ant nests: from a few probes it works out the warmth along the whole nest, says when a",
    );
    say("heating mat, a probe or the room goes wrong, and keeps the history. It is never the protective device.");
    say("");
    say(
        "This is a demonstration: four invented colonies in nests of oak, plaster, pine and aerated concrete, simulated",
    );
    say("in this program. Nothing here heats anything; broker, history, pages and alarms are the real ones.");
    say(&format!("A day passes in {pace} (--speed {}). Ctrl-C ends it.", settings.speed));
    for wish in &settings.faults {
        let nest = super::shelf::NESTS.get(wish.nest).copied().unwrap_or_default();
        let after = length(wish.after);
        say(&format!("Something will go wrong {after} after the start: {} at {nest}.", wish.kind.name()));
    }
    say("");
    say("making a week of history ...");
}

pub(super) fn progress(days: i64) {
    let days = if days == 1 { "1 day".to_owned() } else { format!("{days} days") };
    drop(writeln!(std::io::stderr(), "  {days} of 7"));
}

/// A fault has begun.
pub(super) fn went_wrong(at: Timestamp, kind: &str, nest: &str) {
    say(&format!("{}  (simulated: {kind} at {nest} begins)", clock(at)));
}

/// One line for what happened to an alarm.
pub(super) fn narrate(told: &Told) {
    let change = &told.change;
    if told.restored {
        return;
    }
    let event = match change.event {
        Event::Raised if change.cause.is_some() => "also",
        Event::Raised => "ALARM",
        Event::Returned => "over, not answered yet",
        Event::Cleared => "over",
        other => other.name(),
    };
    let place = [change.nest.as_deref(), change.probe.as_deref(), change.node.as_deref()];
    let place = place.into_iter().flatten().collect::<Vec<_>>().join(", ");
    let place = if place.is_empty() { "the watch itself".to_owned() } else { place };
    let detail = if change.event == Event::Raised { format!(". {}", change.detail) } else { String::new() };
    say(&format!("{}  {place}: {event}: {}{detail}", clock(change.at), change.alarm.name()));
}

/// Day of the week and time of day, UTC.
fn clock(at: Timestamp) -> String {
    match jiff::Timestamp::from_millisecond(at.unix_ms()) {
        Ok(at) => at.strftime("%a %H:%M").to_string(),
        Err(_) => String::from("--- --:--"),
    }
}
