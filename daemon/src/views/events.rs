//! Alarms and notes of a span: as marks upon its picture, and as a list.
use super::hours::Hours;
use super::now::tone;
use super::story::story_of;
use super::words;
use crate::history::{AlarmRecord, HistoryError, KeeperNote, Reader};
use crate::times::length;
use dashboards::{Mark, MarkKind, alarm_words, say};
use enclosure::{Alarm, Event, Span, State, Timestamp};
use std::ops::Range;

/// Most marks of a span: the rest is counted in one more.
const MARKS_MAX: usize = 200;
/// How far back an alarm may have been raised that still stands when the span begins.
const STANDING_BACK: Span = Span::from_h(7 * 24);

/// Marks of nest `nest` in `span`, oldest first, and the alarms that still stood at its end, the gravest first.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn marks(
    reader: &Reader,
    nest: &str,
    span: &Range<Timestamp>,
    hours: &Hours,
) -> Result<(Vec<Mark>, Vec<Alarm>), HistoryError> {
    let mut still: Vec<Alarm> = Vec::new();
    let changes = reader.alarm_changes(span.start.minus(STANDING_BACK)..span.end)?;
    let of_nest = |id: &Option<String>| id.as_deref().is_none_or(|id| id == nest);
    let changes: Vec<AlarmRecord> = changes.into_iter().map(|(_, c)| c).filter(|c| of_nest(&c.nest)).collect();
    let notes = reader.notes(span.clone())?;
    let mut dated: Vec<(Timestamp, Mark)> = notes
        .iter()
        .filter(|n| of_nest(&n.nest) && is_note(&n.kind))
        .map(|n| (n.at, note_mark(n, span, hours)))
        .collect();
    for (i, raised) in changes.iter().enumerate().filter(|(_, c)| c.event == Event::Raised) {
        let end = changes.iter().skip(i + 1).find(|c| same(c, raised) && ends(c)).map(|c| c.at);
        if end.is_none_or(|e| e >= span.start) {
            dated.push((raised.at, alarm_mark(raised, end, span, hours)));
            if end.is_none() && raised.cause.is_none() && !still.contains(&raised.alarm) {
                still.push(raised.alarm);
            }
        }
    }
    for gap in reader.gaps(span.clone())? {
        let text = say!("mark-gap", length = length(gap.to.since(gap.from)), why = &gap.why);
        let (at, until) = (part(gap.from, span), Some(part(gap.to, span)));
        dated.push((gap.from, Mark { at, until, time_text: hours.dated(gap.from), text, ..Mark::default() }));
    }
    let changed = reader.settings(span.clone())?.into_iter().skip(1).map(|s| s.since);
    for at in changed {
        let (text, time_text) = (say!("mark-shelf"), hours.dated(at));
        dated.push((at, Mark { at: part(at, span), time_text, text, ..Mark::default() }));
    }
    dated.sort_by_key(|(at, _)| *at);
    let more = dated.len().saturating_sub(MARKS_MAX);
    let mut marks: Vec<Mark> = dated.into_iter().take(MARKS_MAX).map(|(_, m)| m).collect();
    if more > 0 {
        let text = say!("mark-more", count = more);
        marks.push(Mark { at: 1.0, text, ..Mark::default() });
    }
    still.sort_by_key(|alarm| std::cmp::Reverse(tone(alarm.priority())));
    Ok((marks, still))
}

/// Acts upon alarms may be kept as notes too, but they are told with their alarm.
fn is_note(kind: &str) -> bool {
    words::act_note(kind).is_none()
}

fn same(a: &AlarmRecord, b: &AlarmRecord) -> bool {
    a.alarm == b.alarm && a.nest == b.nest && a.probe == b.probe && a.node == b.node
}

fn ends(change: &AlarmRecord) -> bool {
    let by_season = change.event == Event::Suppressed && change.cause.is_none();
    by_season || matches!(change.state, State::Normal | State::Returned | State::Latched | State::NotJudged)
}

/// A moment as a part of the span, 0 to 1.
pub(super) fn part(at: Timestamp, span: &Range<Timestamp>) -> f64 {
    let length = span.end.since(span.start).s();
    if length > 0.0 { (at.since(span.start).s() / length).clamp(0.0, 1.0) } else { 0.0 }
}

/// A note's kind and place: `brood seen at 62 mm`.
pub(super) fn note_at(note: &KeeperNote) -> String {
    let kind = words::note_kind(&note.kind);
    match note.at_mm {
        Some(mm) => say!("mark-note-at", kind = kind, mm = format!("{mm:.0}")),
        None => kind,
    }
}

fn note_mark(note: &KeeperNote, span: &Range<Timestamp>, hours: &Hours) -> Mark {
    let mut text = note_at(note);
    if !note.text.is_empty() {
        text = say!("mark-note-text", note = text, text = &note.text);
    }
    Mark {
        at: part(note.at, span),
        at_mm: note.at_mm,
        kind: MarkKind::Note,
        time_text: hours.dated(note.at),
        text,
        ..Mark::default()
    }
}

fn alarm_mark(raised: &AlarmRecord, end: Option<Timestamp>, span: &Range<Timestamp>, hours: &Hours) -> Mark {
    let alarm = sentence(raised, false);
    Mark {
        at: part(raised.at, span),
        until: Some(end.map_or(1.0, |e| part(e, span))),
        at_mm: None,
        kind: MarkKind::Alarm(tone(raised.alarm.priority())),
        time_text: hours.dated(raised.at),
        text: match end {
            Some(end) => say!("mark-alarm", alarm = alarm, length = length(end.since(raised.at))),
            None => say!("mark-alarm-still", alarm = alarm),
        },
    }
}

/// An alarm's change as a sentence without its hour: `oak: the brood place is too warm (raised)`.
pub fn sentence(change: &AlarmRecord, with_nest: bool) -> String {
    let mut text = alarm_words(change.alarm.name());
    if let (true, Some(nest)) = (with_nest, &change.nest) {
        text = say!("alarm-in-nests", nests = nest, alarm = text);
    }
    if let Some(about) = change.probe.as_ref().or(change.node.as_ref()) {
        text = say!("alarm-about", alarm = text, about = about);
    }
    if let Some(cause) = change.cause {
        text = say!("alarm-because", alarm = text, cause = alarm_words(cause.name()));
    }
    text
}

/// The newest `most` changes in `span`, newest first: when, a sentence, and the address of its story.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn past_alarms(
    reader: &Reader,
    span: Range<Timestamp>,
    most: usize,
    hours: &Hours,
) -> Result<Vec<(String, String, String)>, HistoryError> {
    let changes = reader.alarm_changes(span)?;
    let told = |(id, c): &(i64, AlarmRecord)| {
        let what = say!("alarm-happened", alarm = sentence(c, true), event = words::event(c.event));
        (hours.dated(c.at), what, story_of(Some(*id), c))
    };
    Ok(changes.iter().rev().take(most).map(told).collect())
}
