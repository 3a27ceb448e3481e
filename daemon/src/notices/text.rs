//! A change of an alarm in a keeper's words: a first line that is complete on a lock screen, and the rest.
use super::words;
use crate::shelf_file::ShelfFile;
use crate::snapshot::Told;
use crate::told::written;
use crate::views::hours::Hours;
use dashboards::{list_comma, list_semicolon, say};
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
    Message { first_line: first_line(told, context, &words), body: body(told, context, &words, occasion) }
}

/// One alarm can mean three things: a node is silent, all of them are, or a watch elsewhere.
fn words_for(told: &Told, context: &Context) -> words::Words {
    let change = &told.change;
    match (change.alarm, &change.nest, &change.node) {
        (Alarm::NodeSilent, None, None) => words::all_silent(),
        _ if is_elsewhere(told, context) => words::elsewhere(),
        (alarm, ..) => words::of(alarm),
    }
}

/// Whether it is about the watch over another shelf.
fn is_elsewhere(told: &Told, context: &Context) -> bool {
    let change = &told.change;
    let named = change.node.as_ref().is_some_and(|name| context.watches.contains(name));
    change.alarm == Alarm::NodeSilent && change.nest.is_none() && named
}

/// The text of a test message: by `code`, or by `link`, a person says that they saw it.
pub fn test_message(context: &Context, code: &str, link: Option<&str>) -> Message {
    let shelf = one_line(&context.shelf, 20);
    let first_line = say!("told-test-line", code = code, shelf = shelf);
    let seen = match link {
        Some(link) => say!("told-test-seen-link", code = code, link = link),
        None => say!("told-test-seen", code = code),
    };
    Message { first_line, body: format!("{}\n\n{seen}", say!("told-test")) }
}

fn first_line(told: &Told, context: &Context, words: &words::Words) -> String {
    let change = &told.change;
    let news = words::news(change.event, told.priority()).filter(|_| !still_holds(told));
    // What is over needs no first act but to look.
    let said = |what: &str| match &news {
        Some(_) => say!("told-line-over", what = what),
        None => say!("told-line-act", what = what, act = &words.first),
    };
    let rank = news.clone().unwrap_or_else(|| words::rank(told.priority()));
    let name = one_line(change.nest.as_ref().unwrap_or(&context.shelf), NAME_MAX);
    let place = if change.nest.is_some() { say!("told-nest", nest = &name) } else { say!("told-shelf", shelf = &name) };
    let line = |place: &str, said: String| say!("told-line", rank = &rank, place = place, said = said);
    let named = change.probe.as_deref().or(change.node.as_deref()).filter(|name| letters(name) <= NAME_MAX);
    let named = named.map(|name| say!("told-line-named", what = &words.what, name = one_line(name, NAME_MAX)));
    let with_name = named.map(|what| line(&place, said(&what)));
    let (long, short) = (line(&place, said(&words.what)), line(&name, said(&words.short)));
    with_name.into_iter().chain([long, short]).find(|line| letters(line) <= FIRST_LINE_MAX).unwrap_or_else(|| {
        // Only the longest of names come here: the act is what must stay.
        let last = say!("told-line-last", rank = &rank, said = said(&words.short), place = &place);
        one_line(&last, FIRST_LINE_MAX)
    })
}

/// An answered danger whose condition goes on: it is told as what it is.
fn still_holds(told: &Told) -> bool {
    told.change.event == Event::Acknowledged && told.change.state == State::Acknowledged
}

fn body(told: &Told, context: &Context, words: &words::Words, occasion: Occasion<'_>) -> String {
    let change = &told.change;
    let begins = words::news(change.event, told.priority()).is_none() || (occasion.reminder && still_holds(told));
    let danger = told.priority() == Priority::Danger;
    let mut out = String::new();
    if occasion.reminder {
        line(&mut out, &say!("told-reminder"));
    }
    if begins && occasion.second {
        line(&mut out, &say!("told-second"));
    }
    if begins {
        steps(told, context, words, &mut out);
    } else {
        line(&mut out, &words::afterwards(change.event, told.priority()));
    }
    out.push('\n');
    line(&mut out, &say!("told-where", place = place(told, context)));
    let at = Hours::new(context.zone()).with_zone(change.at);
    line(&mut out, &if begins { say!("told-since", at = at) } else { say!("told-when", at = at) });
    if begins {
        line(&mut out, &say!("told-sure", sure = &words.sure));
        line(&mut out, &say!("told-brood", brood = &words.brood));
    }
    if !change.detail.is_empty() {
        line(&mut out, &say!("told-evidence", evidence = one_line(&change.detail, DETAIL_MAX)));
    }
    if let Some(seen) = occasion.seen {
        line(&mut out, &say!("told-now", seen = seen));
    }
    if let Some(cause) = change.cause {
        line(&mut out, &say!("told-follows", cause = words::of(cause).what));
    }
    if begins {
        answers(told, occasion, &mut out);
    }
    out.push('\n');
    line(&mut out, &if danger { words::not_a_device() } else { cautions(change.alarm) });
    out.trim().to_owned()
}

/// How to answer, and what happens until somebody does.
fn answers(told: &Told, occasion: Occasion<'_>, out: &mut String) {
    let name = written(told.key());
    match occasion.link {
        Some(link) => line(out, &say!("told-answer-link", link = link)),
        None => line(out, &say!("told-answer")),
    }
    line(out, &say!("told-answer-there", name = name));
    if told.priority() == Priority::Danger && !occasion.reminder {
        match occasion.repeat {
            0 => line(out, &say!("told-repeated")),
            before => line(out, &say!("told-repeated-before", number = before + 1)),
        }
    }
}

fn steps(told: &Told, context: &Context, words: &words::Words, out: &mut String) {
    let danger = told.priority() == Priority::Danger;
    let call = context.emergency.as_deref().map(|call| say!("told-emergency", call = one_line(call, 80)));
    let with = |step: String, more: Option<String>| more.map_or(step.clone(), |more| format!("{step} {more}"));
    let fixed = if danger {
        let mats = told.change.nest.as_ref().and_then(|id| context.nests.get(id)).map_or(1, |nest| nest.pads.max(1));
        let unplug = with(words::unplug(mats), plug(told, context));
        vec![with(words::fire(), call), words::hot_plug(), unplug, words::no_water(), words::leave()]
    } else {
        Vec::new()
    };
    for (n, step) in fixed.iter().chain(&words.steps).enumerate() {
        line(out, &format!("{}. {step}", n + 1));
    }
}

fn plug(told: &Told, context: &Context) -> Option<String> {
    let nest = context.nests.get(told.change.nest.as_ref()?)?;
    let plugs = one_line(&list_semicolon(&nest.plugs), 200);
    match nest.plugs.len() {
        0 => None,
        some if some < nest.pads => Some(say!("told-plug-some", mats = nest.pads, plugs = plugs)),
        all => Some(say!("told-plug", count = all, plugs = plugs)),
    }
}

fn place(told: &Told, context: &Context) -> String {
    let change = &told.change;
    let mut at: Vec<String> = change.nest.iter().map(|nest| say!("told-nest", nest = nest)).collect();
    at.push(say!("told-shelf", shelf = &context.shelf));
    at.extend(context.place.clone());
    let mut said = vec![list_comma(&at)];
    said.extend(match (&change.probe, &change.node) {
        (Some(probe), _) => Some(say!("told-place-probe", name = probe)),
        (None, Some(node)) if is_elsewhere(told, context) => Some(say!("told-place-elsewhere", name = node)),
        (None, Some(node)) => Some(say!("told-place-node", name = node)),
        (None, None) => None,
    });
    let nest = change.nest.as_ref().and_then(|id| context.nests.get(id));
    if let Some(nest) = nest.filter(|nest| nest.pads > 0) {
        if !nest.plugs.is_empty() {
            said.push(say!("told-place-plug", mats = nest.pads, plugs = list_semicolon(&nest.plugs)));
        }
        if !nest.shared_with.is_empty() {
            said.push(say!("told-place-shared", nests = list_comma(&nest.shared_with)));
        }
    }
    one_line(&list_semicolon(&said), 600)
}

/// What to mind, for alarms that lead a hand to a heater, water or a cable.
fn cautions(alarm: Alarm) -> String {
    match alarm {
        Alarm::BrokerLost | Alarm::HistoryFailing | Alarm::NoticeFailing | Alarm::ClockJumped | Alarm::WatchGap => {
            String::new()
        }
        _ => words::care(),
    }
}

fn line(out: &mut String, text: &str) {
    if !text.is_empty() {
        // Names may come from anywhere: none of them breaks a line.
        let _ = writeln!(out, "{}", one_line(text, LINE_MAX));
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
