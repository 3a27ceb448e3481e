//! What a keeper does: found by its names, asked about first, answered in plain words.
use super::Pipeline;
use super::draft::Draft;
use super::flight::Waiting;
use super::keeping::shape;
use crate::history::{FitAct, KeeperNote, KeptFit, Reader};
use crate::snapshot::{Act, ActKind, AlarmAct, AlarmName, Note};
use crate::{times, told};
use dashboards::say;
use enclosure::board::{self, silence_max};
use enclosure::lifecycle::Declined;
use enclosure::{Alarm, AlarmKey, Core, Input, KeeperAct, Shelf, Span, Timestamp};

/// Longest silence of a danger, minutes.
pub const DANGER_SILENCE_MAX_MIN: u32 = (board::DANGER_SILENCE_MAX.ms() / 60_000) as u32;
/// Longest silence of another alarm, minutes: a week.
pub const SILENCE_MAX_MIN: u32 = (board::SILENCE_MAX.ms() / 60_000) as u32;
/// Longest reason of an act, characters.
pub const WHY_MAX: usize = 500;
/// Notes that excuse a nest's steps of temperature for a while.
pub(crate) const EXCUSES: [&str; 3] = ["opened", "refilled", "moved"];
/// Longest text of a note, characters.
pub const NOTE_MAX: usize = 4_000;
/// How far ahead of now a note's time may lie.
const NOTE_AHEAD: Span = Span::from_h(24);

impl Pipeline {
    pub(super) fn act(&mut self, act: Act) {
        let Act { kind, by, why, reply } = act;
        let mut draft = Draft::default();
        let done = match kind {
            ActKind::Alarm(act, name) => self.alarm_act(act, &name, (&by, &why), &mut draft),
            ActKind::Note(note) => self.note(note, &mut draft),
            ActKind::PutBackFit { nest, fit } => self.put_back_fit(&nest, fit, (&by, &why), &mut draft),
            ActKind::Proof(written) => {
                draft.batch.deliveries.push(written);
                Ok(true)
            }
            ActKind::Elsewhere { shelf, missed, detail } => {
                let now = self.core_now();
                let effects = self.core.step(now, Input::Elsewhere { shelf, missed, detail });
                self.sort(effects, &mut draft);
                Ok(false)
            }
        };
        match done {
            Ok(must_be_stored) => {
                draft.keeper = Some(Waiting { reply, must_be_stored });
                draft.batch.urgent = true;
                self.submit(draft);
            }
            // Who asked may have gone.
            Err(why) => drop(reply.send(Err(why))),
        }
    }

    fn alarm_act(
        &mut self,
        act: AlarmAct,
        name: &AlarmName,
        signed: (&str, &str),
        draft: &mut Draft,
    ) -> Result<bool, String> {
        let key = keyed(&self.core, name, act)?;
        if act == AlarmAct::OnTheWay {
            let answering = self.settings.answering.as_ref().ok_or("nobody sends messages here")?;
            answering.on_the_way(name)?;
            draft.batch.notes.push(entry(act, name, signed, self.clock.now()));
            return Ok(false);
        }
        let (priority, nest) = (key.alarm.priority(), key.nest);
        let now = self.core_now();
        let wanted = wish(act, key, name)?;
        let declines = self.core.declines(now, &wanted);
        if declines.is_none() {
            let effects = self.core.step(now, Input::Keeper(wanted));
            self.sort(effects, draft);
        }
        // Whoever resets a danger that is over has looked: then heat may return, too.
        let heat =
            act == AlarmAct::Reset && priority == enclosure::Priority::Danger && self.let_heat_return(nest, draft);
        if let Some(why) = declines.filter(|_| !heat) {
            return Err(declined(&written(name), why));
        }
        draft.batch.notes.push(entry(act, name, signed, self.clock.now()));
        Ok(heat)
    }

    fn put_back_fit(&mut self, id: &str, fit: i64, signed: (&str, &str), draft: &mut Draft) -> Result<bool, String> {
        let reader = Reader::open(&self.history).map_err(|e| e.to_string())?;
        let (nest, kept) = former_fit(&reader, self.core.shelf(), id, fit)?;
        let now = self.clock.now();
        let Some(taught) = kept.record.fit.filter(|taught| self.core.take_up_fit(nest, taught, now)) else {
            return Err(say!("declined-fit-nothing", fit = fit, nest = id));
        };
        tracing::info!(nest = id, fit, until = %times::rfc3339(taught.until), "a former fit was put back");
        draft.batch.fits.push(FitAct::PutBack { at: now, nest: id.to_owned(), fit, who: signed.0.to_owned() });
        draft.batch.notes.push(fit_entry(id, fit, signed, now));
        Ok(true)
    }

    fn note(&mut self, note: Note, draft: &mut Draft) -> Result<bool, String> {
        let Note { at, nest, kind, at_mm, text } = note;
        let known = self.core.shelf().nests.iter().find(|known| known.id == nest);
        let known = known.ok_or_else(|| say!("declined-no-nest", nest = &nest))?;
        if at_mm.is_some_and(|mm| !(0.0..=known.length_mm).contains(&mm)) {
            return Err(say!("declined-place", length = known.length_mm.to_string(), nest = nest));
        }
        if text.chars().count() > NOTE_MAX {
            return Err(say!("refused-note-long", most = NOTE_MAX));
        }
        if at.since(self.clock.now()) > NOTE_AHEAD {
            return Err(say!("declined-note-ahead"));
        }
        if EXCUSES.contains(&kind.as_str()) {
            let place = self.core.shelf().nests.iter().position(|known| known.id == nest);
            if let Some(nest) = place {
                let effects = self.core.step(self.core_now(), Input::Worked { nest, at });
                self.sort(effects, draft);
            }
        }
        draft.batch.notes.push(KeeperNote { at, nest: Some(nest), at_mm, kind, text });
        Ok(true)
    }
}

/// The core's key of an alarm that a page or a command line names. One that was never judged has none yet; it can be
/// taken out of service all the same.
pub(crate) fn keyed(core: &Core, name: &AlarmName, act: AlarmAct) -> Result<AlarmKey, String> {
    let shelf = core.shelf();
    let unknown = || {
        let alarm = &name.alarm;
        match &name.nest {
            Some(nest) => say!("declined-no-alarm-at", alarm = alarm, nest = nest),
            None => say!("declined-no-alarm", alarm = alarm),
        }
    };
    let alarm = Alarm::from_name(&name.alarm).ok_or_else(unknown)?;
    let index = |id: &String| shelf.nests.iter().position(|n| n.id == *id).and_then(|i| u16::try_from(i).ok());
    let nest = name.nest.as_ref().map(|id| index(id).ok_or_else(unknown)).transpose()?;
    let probe = name.probe.as_ref().map(|source| core.source(source).ok_or_else(unknown)).transpose()?;
    let key = AlarmKey { alarm, nest, probe, node: name.node.clone() };
    let of_a_nest = nest.is_some() && name.node.is_none();
    let exists = core.alarms().any(|(known, ..)| *known == key);
    if exists || (matches!(act, AlarmAct::TakeOut(_)) && of_a_nest) { Ok(key) } else { Err(unknown()) }
}

/// A former fit of a nest of this shelf as it stands, with the nest's place.
pub(crate) fn former_fit(reader: &Reader, shelf: &Shelf, id: &str, fit: i64) -> Result<(usize, KeptFit), String> {
    let place = shelf.nests.iter().position(|nest| nest.id == id);
    let place = place.ok_or_else(|| say!("declined-no-nest", nest = id))?;
    let kept = reader.fit(fit).map_err(|e| e.to_string())?.filter(|kept| kept.record.nest == id);
    let kept = kept.ok_or_else(|| say!("declined-no-fit", nest = id, fit = fit))?;
    if kept.record.shape != shape(&shelf.nests[place]) {
        return Err(say!("declined-fit-older", fit = fit, nest = id));
    }
    if kept.record.fit.is_none() {
        return Err(say!("declined-fit-unsettled", fit = fit, nest = id));
    }
    Ok((place, kept))
}

/// What is written down of it.
pub(crate) fn fit_entry(id: &str, fit: i64, (by, why): (&str, &str), at: Timestamp) -> KeeperNote {
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    let text = format!("fit {fit} put back, by {by}{why}");
    KeeperNote { at, nest: Some(id.to_owned()), at_mm: None, kind: "fit".to_owned(), text }
}

/// What is asked of the core.
pub(crate) fn wish(act: AlarmAct, key: AlarmKey, name: &AlarmName) -> Result<KeeperAct, String> {
    let longest_min = silence_max(key.alarm).ms() / 60_000;
    Ok(match act {
        AlarmAct::Acknowledge => KeeperAct::Acknowledge(key),
        AlarmAct::Shelve(min) if (1..=longest_min).contains(&i64::from(min)) => {
            KeeperAct::Shelve(key, Span::from_min(i64::from(min)))
        }
        AlarmAct::Shelve(_) => {
            return Err(say!("declined-minutes", alarm = &name.alarm, most = longest_min));
        }
        AlarmAct::Unshelve => KeeperAct::Unshelve(key),
        AlarmAct::Reset => KeeperAct::Reset(key),
        AlarmAct::TakeOut(until) => KeeperAct::TakeOut(key, until),
        AlarmAct::PutBack => KeeperAct::PutBack(key),
        AlarmAct::OnTheWay => return Err(say!("declined-nobody-told")),
    })
}

/// Who did what when and why, as history keeps it.
pub(crate) fn entry(act: AlarmAct, name: &AlarmName, (by, why): (&str, &str), now: Timestamp) -> KeeperNote {
    let (kind, until) = match act {
        AlarmAct::Acknowledge => ("acknowledged", None),
        AlarmAct::Shelve(min) => ("shelved", Some(now.plus(Span::from_min(i64::from(min))))),
        AlarmAct::Unshelve => ("unshelved", None),
        AlarmAct::Reset => ("reset", None),
        AlarmAct::TakeOut(until) => ("out-of-service", until),
        AlarmAct::PutBack => ("in-service", None),
        AlarmAct::OnTheWay => ("on-the-way", None),
    };
    let until = until.map(|at| format!(" until {}", times::rfc3339(at))).unwrap_or_default();
    let why: String = why.trim().chars().take(WHY_MAX).collect();
    let why = if why.is_empty() { why } else { format!(": {why}") };
    let text = format!("{}{until}, by {by}{why}", written(name));
    KeeperNote { at: now, nest: name.nest.clone(), at_mm: None, kind: kind.to_owned(), text }
}

/// The name as the keeper writes it.
pub(crate) fn written(name: &AlarmName) -> String {
    let alarm = Alarm::from_name(&name.alarm).map_or("unknown", Alarm::name);
    told::written((alarm, name.nest.as_deref(), name.probe.as_deref(), name.node.as_deref()))
}

/// Why it was not done, and what can be done instead.
pub(crate) fn declined(alarm: &str, why: Declined) -> String {
    match why {
        Declined::NotRaised => say!("declined-not-raised", alarm = alarm),
        Declined::NotLatched => say!("declined-not-held", alarm = alarm),
        Declined::StillTrue => say!("declined-still-true", alarm = alarm),
        Declined::NotShelved => say!("declined-not-silenced", alarm = alarm),
        Declined::InService => say!("declined-in-service", alarm = alarm),
        Declined::Danger => say!("declined-danger", alarm = alarm),
        Declined::End => say!("declined-end", alarm = alarm),
    }
}
