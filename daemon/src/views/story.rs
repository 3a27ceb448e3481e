//! The story of one alarm: what raised it, the minutes around it, who was told, what was done, what can be done.
use super::hours::{Hours, band_in_force};
use super::now::{ALARMS_PATH, live_part};
use super::story_acts;
use super::story_minutes::minutes;
use super::words;
use crate::history::{AlarmRecord, Delivery, HistoryError, KeeperNote, Reader};
use crate::pipeline::acts::written;
use crate::snapshot::{AlarmName, Snapshot, StandingAlarm};
use crate::times::length;
use dashboards::{Cell, Link, Part, SheetPage, Table, Tone, alarm_words, capital, say};
use enclosure::shelf::Nest;
use enclosure::{Alarm, Event, Span, State, Timestamp};
use std::ops::Range;

/// Where such a page is.
pub const STORY_PATH: &str = "/alarm";
/// A raising is looked for so far back.
const BACK: Span = Span::from_h(90 * 24);
/// Most changes of one life, and most attempts to send, that are listed: the newest.
const ROWS_MAX: usize = 60;
/// An act's note may be dated this much before its change: both come of one step.
const BESIDE: Span = Span::from_s(5);

/// The address of the story of an alarm: of its present or last raising, or of the one that change `id` belongs to.
pub fn story_url(name: &str, id: Option<i64>) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'.' | b'_' | b'~' | b'@' | b':' | b'/');
    let name: String =
        name.bytes().map(|b| if plain(b) { (b as char).to_string() } else { format!("%{b:02X}") }).collect();
    let id = id.map(|id| format!("&id={id}")).unwrap_or_default();
    format!("{STORY_PATH}?name={name}{id}")
}

/// The address of the story of a stored change.
pub fn story_of(id: Option<i64>, c: &AlarmRecord) -> String {
    let name = crate::told::written((c.alarm.name(), c.nest.as_deref(), c.probe.as_deref(), c.node.as_deref()));
    story_url(&name, id)
}

/// One raising and what followed.
#[derive(Debug, Default)]
struct Life {
    /// Changes from its raising on, with their ids, oldest first.
    changes: Vec<(i64, AlarmRecord)>,
    deliveries: Vec<Delivery>,
    acts: Vec<KeeperNote>,
}

impl Life {
    /// The raising that change `id` belongs to, the newest where none is given. What was silenced or taken out of service
    /// before it was ever raised begins there: whoever did that must find the way back.
    fn find(reader: &Reader, name: &AlarmName, id: Option<i64>, now: Timestamp) -> Result<Option<Self>, HistoryError> {
        let wanted = |c: &AlarmRecord| {
            c.alarm.name() == name.alarm && c.nest == name.nest && c.probe == name.probe && c.node == name.node
        };
        let all = reader.alarm_changes(now.minus(BACK)..now.plus(Span::from_h(24)))?;
        let all: Vec<(i64, AlarmRecord)> = all.into_iter().filter(|(_, c)| wanted(c)).collect();
        let begins = |(_, c): &(i64, AlarmRecord)| c.event == Event::Raised;
        let until = id.map_or(all.len(), |id| all.iter().take_while(|(known, _)| *known <= id).count());
        let put_away = |(_, c): &(i64, AlarmRecord)| matches!(c.event, Event::Shelved | Event::OutOfService);
        let known = &all[..until];
        let first = known.iter().rposition(begins).or_else(|| known.iter().rposition(put_away));
        let Some(first) = first else { return Ok(None) };
        let next = all.iter().skip(first + 1).position(begins).map_or(all.len(), |i| first + 1 + i);
        let changes = all[first..next].to_vec();
        let ids: Vec<i64> = changes.iter().map(|(id, _)| *id).collect();
        let end = all.get(next).map_or(now.plus(Span::from_h(24)), |(_, c)| c.at);
        let begin = changes.first().map_or(now, |(_, c)| c.at).minus(BESIDE);
        let head = written(name);
        let about = |n: &KeeperNote| n.text.strip_prefix(&head).is_some_and(|rest| rest.starts_with([',', ' ']));
        let acts = reader.notes(begin..end)?.into_iter().filter(|n| words::act_note(&n.kind).is_some() && about(n));
        Ok(Some(Self { deliveries: reader.deliveries_about(&ids)?, acts: acts.collect(), changes }))
    }

    /// Whether it begins with a raising.
    fn is_raised(&self) -> bool {
        self.changes.first().is_some_and(|(_, c)| c.event == Event::Raised)
    }

    /// When it was over, if it is.
    fn ended(&self) -> Option<Timestamp> {
        let over = |c: &AlarmRecord| matches!(c.state, State::Normal | State::Returned | State::Latched);
        self.changes.iter().skip(1).find(|(_, c)| over(c)).map(|(_, c)| c.at)
    }
}

/// Everything that the page needs beside history.
#[derive(Clone, Copy, Debug)]
pub struct Around<'a> {
    /// How everything stands.
    pub snap: &'a Snapshot,
    /// The wall clock.
    pub now: Timestamp,
    /// How moments are told.
    pub hours: &'a Hours,
    /// Which plug the mat of the nest hangs on, and where the shelf stands, as far as the keeper wrote it.
    pub place: &'a [String],
}

/// The page; none where no such alarm was ever raised or put away. Its frame is left to the caller.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn story(
    reader: &Reader,
    name: &AlarmName,
    id: Option<i64>,
    around: Around<'_>,
) -> Result<Option<SheetPage>, HistoryError> {
    let Some(life) = Life::find(reader, name, id, around.now)? else { return Ok(None) };
    let Some((first_id, raised)) = life.changes.first() else { return Ok(None) };
    let Around { snap, now, hours, .. } = around;
    let standing = super::now::shown(snap).find(|a| {
        let (nest, probe, node) = super::now::names(snap, a);
        let (nest, probe, node) = (nest.map(str::to_owned), probe.map(str::to_owned), node.map(str::to_owned));
        a.key.alarm == raised.alarm && (nest, probe, node) == (name.nest.clone(), name.probe.clone(), name.node.clone())
    });
    // A later raising has a story of its own: nothing can be done to this one any more.
    let standing = standing.filter(|a| life.changes.last().is_some_and(|(_, c)| c.at >= a.since.minus(BESIDE)));
    let says = words::alarm(raised.alarm);
    let title = alarm_words(raised.alarm.name());
    let title = match &name.nest {
        Some(nest) => say!("alarm-in-nests", nests = nest, alarm = title),
        None => title,
    };
    let mut parts = vec![Part::Facts(facts(&life, raised, standing, around))];
    if life.is_raised() && standing.is_some_and(|a| !matches!(a.state, State::Returned | State::Latched)) {
        parts.push(Part::Do(super::now::tone(raised.alarm.priority()), says.in_order()));
    }
    parts.push(Part::Heading(if life.is_raised() { say!("story-raised-head") } else { say!("story-would-raise") }));
    let mut evidence = vec![says.means.clone()];
    if life.is_raised() && !raised.detail.is_empty() && raised.detail != says.means {
        evidence.push(raised.detail.clone());
    }
    if let Some(cause) = raised.cause {
        evidence.push(say!("story-followed", alarm = alarm_words(cause.name())));
    }
    if life.is_raised() {
        evidence.extend(crate::notices::how_sure(raised.alarm));
    }
    parts.push(Part::Says(evidence));
    let nest = name.nest.as_ref().and_then(|id| snap.shelf.nests.iter().find(|n| n.id == *id));
    if let Some(nest) = nest.filter(|_| life.is_raised()) {
        let view = minutes(reader, (nest, level(nest, raised, snap)), (raised.at, life.ended(), now), hours)?;
        parts.extend(view.map(|view| Part::Minutes(Box::new(view))));
    }
    if let Some(alarm) = standing {
        parts.push(Part::Heading(say!("story-can-do")));
        parts.extend(story_acts::forms(name, alarm, (now, hours)));
    }
    parts.push(Part::Table(happened(&life, hours)));
    if life.is_raised() {
        parts.push(Part::Table(told(&life, hours)));
        if !life.deliveries.iter().any(|d| d.outcome == "sent") {
            parts.push(Part::Says(vec![why_untold(raised)]));
        }
    }
    let list = |label, url| Link { label, url, current: false };
    let mut links = vec![list(say!("story-all"), ALARMS_PATH.to_owned())];
    links.extend(nest.map(|n| list(say!("story-week"), super::now::nest_url(&n.id))));
    parts.push(Part::Links(links));
    let url = story_url(&written(name), id.map(|_| *first_id));
    let mut live = live_part(snap, (now, hours), &url);
    let this = story_url(&written(name), None);
    live.alarms.iter_mut().for_each(|a| a.here = a.url == this);
    let again = Link { label: say!("sheet-again"), url, current: false };
    let as_of = say!("story-as-of", at = hours.second(snap.at, now));
    Ok(Some(SheetPage {
        title: capital(&title),
        tone: if standing.is_some() { super::now::tone(raised.alarm.priority()) } else { Tone::Calm },
        as_of: Some((as_of, again)),
        live: Some(live),
        parts,
        ..SheetPage::default()
    }))
}

/// The temperature that the alarm is measured against, if it is one.
fn level(nest: &Nest, raised: &AlarmRecord, snap: &Snapshot) -> Vec<(f64, String)> {
    let Some(band) = band_in_force(nest, raised.at, snap.shelf.alarms.season_utc_offset) else { return Vec::new() };
    match raised.alarm {
        Alarm::BroodCold | Alarm::ForecastCold => {
            vec![(band.low_c, say!("story-band-from", degrees = band.low_c.to_string()))]
        }
        Alarm::BroodHot | Alarm::ForecastHot => {
            vec![(band.high_c, say!("story-band-to", degrees = band.high_c.to_string()))]
        }
        Alarm::BroodLimit | Alarm::HeaterStuckOn | Alarm::ProbeHot => {
            vec![(band.limit_c, say!("story-limit", degrees = band.limit_c.to_string()))]
        }
        _ => Vec::new(),
    }
}

fn facts(
    life: &Life,
    raised: &AlarmRecord,
    standing: Option<&StandingAlarm>,
    around: Around<'_>,
) -> Vec<(String, String)> {
    let Around { snap, now, hours, place } = around;
    let at = hours.near(raised.at, now);
    let mut facts: Vec<(String, String)> = Vec::new();
    if !place.is_empty() {
        facts.push((say!("story-where"), words::listed(place.iter().cloned())));
    }
    facts.push(if life.is_raised() && life.ended().is_none() {
        (say!("story-since"), say!("hours-since", at = at, length = length(now.since(raised.at))))
    } else if life.is_raised() {
        (say!("story-raised"), at)
    } else {
        (capital(&words::event(raised.event)), say!("story-not-raised", at = at))
    });
    facts.extend(life.ended().map(|end| {
        let lasted = length(end.since(raised.at));
        (say!("story-over"), say!("story-over-after", at = hours.near(end, now), length = lasted))
    }));
    let state = standing.map_or_else(|| say!("story-nothing"), |a| super::standing::became(a, now, hours));
    facts.push((say!("story-now"), state));
    facts.extend(standing.and_then(|a| Some((say!("story-nest-now"), super::standing::nest_now(snap, a, now)?))));
    if let Some((_, answer)) = life.changes.iter().find(|(_, c)| c.event == Event::Acknowledged) {
        facts.push((say!("story-answered"), say!("story-after", length = length(answer.at.since(raised.at)))));
    }
    facts.extend(raised.probe.clone().map(|p| (say!("story-probe"), p)));
    facts.extend(raised.node.clone().map(|n| (say!("story-node"), n)));
    facts
}

/// What an alarm was told, done and became, by whom and why, oldest first.
fn happened(life: &Life, hours: &Hours) -> Table {
    let mut rows: Vec<(Timestamp, Vec<Cell>)> = Vec::new();
    let mut acts: Vec<&KeeperNote> = life.acts.iter().collect();
    for (_, c) in life.changes.iter().rev().take(ROWS_MAX).rev() {
        let own = acts
            .iter()
            .position(|n| words::act_note(&n.kind) == Some(c.event) && n.at.since(c.at).ms().abs() <= BESIDE.ms());
        let who = own.map(|i| signature(acts.remove(i))).unwrap_or_default();
        let detail =
            if c.event == Event::Raised || who.is_empty() && !c.detail.is_empty() { c.detail.clone() } else { who };
        rows.push((c.at, vec![Cell::of(hours.dated_second(c.at)), Cell::of(words::event(c.event)), Cell::of(detail)]));
    }
    for n in acts.into_iter().take(ROWS_MAX) {
        let what = words::act_note(&n.kind).map(words::event).unwrap_or_default();
        rows.push((n.at, vec![Cell::of(hours.dated_second(n.at)), Cell::of(what), Cell::of(signature(n))]));
    }
    rows.sort_by_key(|(at, _)| *at);
    Table {
        caption: say!("story-happened"),
        columns: vec![say!("head-when"), say!("head-what"), say!("story-why")],
        rows: rows.into_iter().map(|(_, row)| row).collect(),
        empty: String::new(),
    }
}

/// `until …, by the page: I am there`, from an act's note, which begins with the alarm's name.
fn signature(note: &KeeperNote) -> String {
    let rest = note.text.split_once([',', ' ']).map_or("", |(_, rest)| rest);
    rest.trim().to_owned()
}

fn told(life: &Life, hours: &Hours) -> Table {
    let row = |d: &Delivery| {
        let sent = d.outcome == "sent";
        let (way, what) = if d.way == "person" {
            (say!("story-person"), d.outcome.clone())
        } else if sent {
            (d.way.clone(), say!("story-sent"))
        } else {
            (d.way.clone(), say!("story-not-sent", why = &d.outcome))
        };
        let what = Cell::of(what).loud(if sent || d.way == "person" { Tone::Calm } else { Tone::Warning });
        vec![Cell::of(hours.dated_second(d.at)), Cell::of(way), Cell::of(d.attempt.to_string()), what]
    };
    let skip = life.deliveries.len().saturating_sub(ROWS_MAX);
    Table {
        caption: say!("story-messages"),
        columns: vec![say!("head-when"), say!("story-way"), say!("story-try"), say!("story-outcome")],
        rows: life.deliveries.iter().skip(skip).map(row).collect(),
        empty: String::new(),
    }
}

/// Why nobody was told, as far as the raising tells.
fn why_untold(raised: &AlarmRecord) -> String {
    let why = match raised.cause {
        Some(cause) => say!("story-untold-followed", alarm = alarm_words(cause.name())),
        None if !raised.told => say!("story-untold-held"),
        None => say!("story-untold-yet"),
    };
    say!("story-untold", why = why)
}

/// The minutes that are drawn: an hour before, and until half an hour after its end, at most four.
pub(super) fn around(raised: Timestamp, ended: Option<Timestamp>, now: Timestamp) -> Range<Timestamp> {
    const BEFORE: Span = Span::from_min(60);
    const AFTER: Span = Span::from_min(30);
    const MOST: Span = Span::from_h(4);
    let end = ended.map_or(now, |e| e.plus(AFTER)).min(now).min(raised.plus(MOST));
    raised.minus(BEFORE)..end.max(raised.plus(Span::from_min(5)))
}
