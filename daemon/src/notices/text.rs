//! A change of an alarm in a keeper's words: a first line that is complete on a lock screen, and the rest.
use super::words;
use crate::shelf_file::ShelfFile;
use crate::snapshot::Told;
use crate::times;
use crate::told::written;
use enclosure::{Alarm, Event, Priority, State};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Most letters in a first line: what a lock screen shows.
pub const FIRST_LINE_MAX: usize = 80;
/// Most letters of a name in it.
const NAME_MAX: usize = 32;
/// Most letters of an alarm's own evidence.
const DETAIL_MAX: usize = 2_000;

/// Most letters of a line of the body.
const LINE_MAX: usize = 2_200;

/// What a keeper is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Rank, nest, what, first act; at most [`FIRST_LINE_MAX`] letters, no line break.
    pub first_line: String,
    /// Steps first, then where, since when, how sure, what it means, evidence, cautions.
    pub body: String,
}

impl Message {
    /// Both as one text.
    pub fn text(&self) -> String {
        format!("{}\n\n{}", self.first_line, self.body)
    }
}

/// What the texts know of the shelf.
#[derive(Clone, Debug, Default)]
pub struct Context {
    shelf: String,
    place: Option<String>,
    zone: Option<TimeZone>,
    emergency: Option<String>,
    nests: BTreeMap<String, NestContext>,
    /// Shelves whose own watch gives signs of life here.
    watches: Vec<String>,
}

/// What is said beside the change itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct Occasion<'a> {
    /// Messages sent about it before, this way.
    pub repeat: u32,
    /// It was answered, and still holds.
    pub reminder: bool,
    /// Others were told before, and did not answer.
    pub second: bool,
    /// What is believed of the nest now, in one sentence.
    pub seen: Option<&'a str>,
    /// Where this one raising can be answered.
    pub link: Option<&'a str>,
}

#[derive(Clone, Debug, Default)]
struct NestContext {
    pads: usize,
    plugs: Vec<String>,
    /// Other nests over the same heating mat.
    shared_with: Vec<String>,
}

impl Context {
    /// What `file` says of the shelf; hours are told in `zone`.
    pub fn new(file: &ShelfFile, zone: TimeZone) -> Self {
        let ids = |i: usize| -> Vec<&str> {
            file.shelf.nests.get(i).map_or_else(Vec::new, |n| n.pads.iter().filter_map(|p| p.id.as_deref()).collect())
        };
        let nests = file.shelf.nests.iter().enumerate().map(|(i, nest)| {
            let mine = ids(i);
            let shares = |j: &usize| *j != i && ids(*j).iter().any(|id| mine.contains(id));
            let shared_with: Vec<String> =
                (0..file.shelf.nests.len()).filter(shares).map(|j| file.shelf.nests[j].id.clone()).collect();
            let plugs = file.plugs.iter().filter(|p| p.nest == i).filter_map(|p| p.plug.clone()).collect();
            (nest.id.clone(), NestContext { pads: nest.pads.len(), plugs, shared_with })
        });
        Self {
            shelf: file.shelf.name.clone(),
            place: file.place.clone(),
            zone: Some(zone),
            emergency: file.emergency.clone(),
            nests: nests.collect(),
            watches: file.heartbeat.as_ref().map_or_else(Vec::new, |h| h.watches.clone()),
        }
    }

    /// The shelf's name.
    pub fn shelf(&self) -> &str {
        &self.shelf
    }

    /// Where the shelf stands.
    pub fn place(&self) -> Option<&str> {
        self.place.as_deref()
    }

    /// The same, with hours told in another zone.
    pub fn in_zone(&self, zone: TimeZone) -> Self {
        Self { zone: Some(zone), ..self.clone() }
    }

    pub(super) fn zone(&self) -> TimeZone {
        self.zone.clone().unwrap_or(TimeZone::UTC)
    }
}

/// The text about a change.
pub fn compose(told: &Told, context: &Context, occasion: Occasion<'_>) -> Message {
    let words = words_for(told, context);
    Message { first_line: first_line(told, context, words), body: body(told, context, words, occasion) }
}

/// One alarm can mean three things: a node is silent, all of them are, or a watch elsewhere.
fn words_for(told: &Told, context: &Context) -> words::Words {
    let change = &told.change;
    match (change.alarm, &change.nest, &change.node) {
        (Alarm::NodeSilent, None, None) => words::ALL_SILENT,
        (Alarm::NodeSilent, None, Some(name)) if context.watches.contains(name) => words::ELSEWHERE,
        (alarm, ..) => words::of(alarm),
    }
}

/// The text of a test message: by `code`, or by `link`, a person says that they saw it.
pub fn test_message(context: &Context, code: &str, link: Option<&str>) -> Message {
    let shelf = one_line(&context.shelf, 20);
    let first_line = format!("Test {code}: shelf {shelf}. Nothing has happened.");
    let mut body = words::TEST.to_owned();
    let _ = write!(body, "\n\nTo say that you see this: `warmend alarms test --seen {code}`");
    if let Some(link) = link {
        let _ = write!(body, ", or {link}");
    }
    body.push('.');
    Message { first_line, body }
}

fn first_line(told: &Told, context: &Context, words: words::Words) -> String {
    let change = &told.change;
    let news = words::news(change.event).filter(|_| !still_holds(told));
    let rank = news.unwrap_or(words::rank(told.priority()));
    let (kind, name) = change.nest.as_ref().map_or(("shelf", &context.shelf), |nest| ("nest", nest));
    let name = one_line(name, NAME_MAX);
    let place = format!("{kind} {name}");
    // What is over needs no first act but to look.
    let end = |act: &str| if act.ends_with('?') { act.to_owned() } else { format!("{act}.") };
    let act = if news.is_some() { String::new() } else { format!(" {}", end(words.first)) };
    let short = format!("{rank}: {name}, {}.{act}", words.short);
    let named = change.probe.as_deref().or(change.node.as_deref()).filter(|name| letters(name) <= NAME_MAX);
    let named = named.map(|name| one_line(name, NAME_MAX));
    let with_name = named.map(|name| format!("{rank}: {place}, {} ({name}).{act}", words.what));
    let long = format!("{rank}: {place}, {}.{act}", words.what);
    with_name.into_iter().chain([long, short]).find(|line| letters(line) <= FIRST_LINE_MAX).unwrap_or_else(|| {
        // Only the longest of names come here: the act is what must stay.
        one_line(&format!("{rank}: {}.{act} {place}", words.short), FIRST_LINE_MAX)
    })
}

/// An answered danger whose condition goes on: it is told as what it is.
fn still_holds(told: &Told) -> bool {
    told.change.event == Event::Acknowledged && told.change.state == State::Acknowledged
}

fn body(told: &Told, context: &Context, words: words::Words, occasion: Occasion<'_>) -> String {
    let change = &told.change;
    let begins = words::news(change.event).is_none() || (occasion.reminder && still_holds(told));
    let danger = told.priority() == Priority::Danger;
    let mut out = String::new();
    if occasion.reminder {
        line(&mut out, "", words::REMINDER);
    }
    if begins && occasion.second {
        line(&mut out, "", words::SECOND);
    }
    if begins {
        steps(told, context, words, &mut out);
    } else {
        line(&mut out, "", words::afterwards(change.event, told.priority()));
    }
    out.push('\n');
    line(&mut out, "Where: ", &place(told, context));
    let since = if begins { "Since: " } else { "When: " };
    line(&mut out, since, &times::in_words(change.at, &context.zone()).to_string());
    if begins {
        line(&mut out, "How sure: ", words.sure);
        line(&mut out, "For the brood: ", words.brood);
    }
    line(&mut out, "Evidence: ", &one_line(&change.detail, DETAIL_MAX));
    line(&mut out, "Now: ", occasion.seen.unwrap_or_default());
    if let Some(cause) = change.cause {
        line(&mut out, "Follows from: ", words::of(cause).what);
    }
    if begins {
        answers(told, occasion, &mut out);
    }
    out.push('\n');
    line(&mut out, "", if danger { words::NOT_A_DEVICE } else { cautions(change.alarm) });
    out.trim().to_owned()
}

/// How to answer, and what happens until somebody does.
fn answers(told: &Told, occasion: Occasion<'_>, out: &mut String) {
    let name = written(told.key());
    match occasion.link {
        Some(link) => line(out, "To answer, or to pass it on: ", link),
        None => line(out, "To answer: ", words::NO_LINK),
    }
    line(out, "On the machine that watches: ", &format!("its page, or `warmend alarms ack {name}`."));
    if told.priority() == Priority::Danger && !occasion.reminder {
        let before = occasion.repeat;
        let told_before = if before == 0 { String::new() } else { format!("This is message {}. ", before + 1) };
        line(out, "", &format!("{told_before}{}", words::REPEATED));
    }
}

fn steps(told: &Told, context: &Context, words: words::Words, out: &mut String) {
    let danger = told.priority() == Priority::Danger;
    let fixed: &[&str] =
        if danger { &[words::FIRE, words::UNPLUG, words::HOT_PLUG, words::NO_WATER, words::LEAVE] } else { &[] };
    let plug = plug(told, context).filter(|_| danger);
    for (n, step) in fixed.iter().chain(words.steps).enumerate() {
        let which = plug.as_deref().filter(|_| *step == words::UNPLUG).unwrap_or_default();
        let call = context.emergency.as_deref().filter(|_| *step == words::FIRE);
        let call = call.map(|call| format!(" {}{}.", words::EMERGENCY, one_line(call, 80))).unwrap_or_default();
        line(out, "", &format!("{}. {step}{call}{which}", n + 1));
    }
}

fn plug(told: &Told, context: &Context) -> Option<String> {
    let nest = context.nests.get(told.change.nest.as_ref()?)?;
    (!nest.plugs.is_empty()).then(|| format!(" It is this plug: {}.", one_line(&nest.plugs.join("; "), 200)))
}

fn place(told: &Told, context: &Context) -> String {
    let change = &told.change;
    let mut out = String::new();
    if let Some(nest) = &change.nest {
        let _ = write!(out, "nest {nest}, ");
    }
    let _ = write!(out, "shelf {}", context.shelf);
    if let Some(place) = &context.place {
        let _ = write!(out, ", {place}");
    }
    if let Some(name) = change.probe.as_ref().or(change.node.as_ref()) {
        let what = match (&change.probe, words_for(told, context).what == words::ELSEWHERE.what) {
            (Some(_), _) => "probe",
            (None, true) => "the other shelf:",
            (None, false) => "node",
        };
        let _ = write!(out, "; {what} {name}");
    }
    let nest = change.nest.as_ref().and_then(|id| context.nests.get(id));
    if let Some(nest) = nest.filter(|nest| nest.pads > 0) {
        if !nest.plugs.is_empty() {
            let _ = write!(out, "; its heating mat hangs on: {}", nest.plugs.join("; "));
        }
        if !nest.shared_with.is_empty() {
            let _ = write!(out, "; the same heating mat warms {}", nest.shared_with.join(", "));
        }
    }
    one_line(&out, 600)
}

/// What to mind, for alarms that lead a hand to a heater, water or a cable.
fn cautions(alarm: Alarm) -> &'static str {
    match alarm {
        Alarm::BrokerLost | Alarm::HistoryFailing | Alarm::NoticeFailing | Alarm::ClockJumped | Alarm::WatchGap => "",
        _ => words::CARE,
    }
}

fn line(out: &mut String, head: &str, text: &str) {
    if !text.is_empty() {
        // Names may come from anywhere: none of them breaks a line.
        let _ = writeln!(out, "{head}{}", one_line(text, LINE_MAX));
    }
}

fn letters(text: &str) -> usize {
    text.chars().count()
}

/// One line of at most `max` letters, without anything that a terminal or a mail's head would obey.
pub(super) fn one_line(text: &str, max: usize) -> String {
    let mut line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(max + 1).collect();
    if letters(&line) > max {
        line = line.chars().take(max.saturating_sub(1)).chain(['…']).collect();
    }
    line
}

#[cfg(test)]
#[path = "text_tests.rs"]
mod tests;
