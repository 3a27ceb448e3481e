//! What a keeper does: found by its names, asked about first, answered in plain words.
use super::Pipeline;
use super::draft::Draft;
use super::flight::Waiting;
use crate::history::KeeperNote;
use crate::snapshot::{Act, ActKind, AlarmAct, AlarmName, Note};
use enclosure::lifecycle::Declined;
use enclosure::{AlarmKey, Input, KeeperAct, Priority, Span};

/// Longest silence of a danger, minutes.
pub const DANGER_SILENCE_MAX_MIN: u32 = 30;
/// Longest silence of another alarm, minutes: a week.
pub const SILENCE_MAX_MIN: u32 = 7 * 24 * 60;
/// Longest text of a note, characters.
pub const NOTE_MAX: usize = 4_000;
/// How far ahead of now a note's time may lie.
const NOTE_AHEAD: Span = Span::from_h(24);

impl Pipeline {
    pub(super) fn act(&mut self, act: Act) {
        let Act { kind, reply } = act;
        let mut draft = Draft::default();
        let done = match kind {
            ActKind::Alarm(act, name) => self.alarm_act(act, &name, &mut draft),
            ActKind::Note(note) => self.note(note, &mut draft),
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

    fn alarm_act(&mut self, act: AlarmAct, name: &AlarmName, draft: &mut Draft) -> Result<bool, String> {
        let key = self.key(name)?;
        let longest = match key.alarm.priority() {
            Priority::Danger => DANGER_SILENCE_MAX_MIN,
            Priority::Warning | Priority::Advice => SILENCE_MAX_MIN,
        };
        let act = match act {
            AlarmAct::Acknowledge => KeeperAct::Acknowledge(key),
            AlarmAct::Shelve(min) if (1..=longest).contains(&min) => {
                KeeperAct::Shelve(key, Span::from_min(i64::from(min)))
            }
            AlarmAct::Shelve(_) => return Err(format!("an alarm can be silenced for 1 to {longest} minutes")),
            AlarmAct::Unshelve => KeeperAct::Unshelve(key),
            AlarmAct::Reset => KeeperAct::Reset(key),
        };
        let now = self.core_now();
        if let Some(why) = self.core.declines(now, &act) {
            return Err(declined(&name.alarm, why));
        }
        let effects = self.core.step(now, Input::Keeper(act));
        self.sort(effects, draft);
        Ok(false)
    }

    /// The core's key of an alarm that a page or a command line names.
    fn key(&self, name: &AlarmName) -> Result<AlarmKey, String> {
        let shelf = self.core.shelf();
        let fits = |key: &&AlarmKey| {
            let nest = key.nest.and_then(|i| shelf.nests.get(usize::from(i))).map(|nest| nest.id.as_str());
            let probe = key.probe.and_then(|id| self.names.get(usize::from(id.0))).map(AsRef::as_ref);
            key.alarm.name() == name.alarm
                && nest == name.nest.as_deref()
                && probe == name.probe.as_deref()
                && key.node == name.node
        };
        self.core.alarms().map(|(key, ..)| key).find(fits).cloned().ok_or_else(|| {
            let place = name.nest.as_deref().map(|nest| format!(" at {nest}")).unwrap_or_default();
            format!("there is no alarm {}{place} now; look at the list of alarms for its names", name.alarm)
        })
    }

    fn note(&mut self, note: Note, draft: &mut Draft) -> Result<bool, String> {
        let Note { at, nest, kind, at_mm, text } = note;
        let known = self.core.shelf().nests.iter().find(|known| known.id == nest);
        let known = known.ok_or_else(|| format!("no nest of this shelf is called {nest}"))?;
        if at_mm.is_some_and(|mm| !(0.0..=known.length_mm).contains(&mm)) {
            return Err(format!("the place must lie between 0 and {} mm, the length of {nest}", known.length_mm));
        }
        if text.chars().count() > NOTE_MAX {
            return Err(format!("a note has at most {NOTE_MAX} characters"));
        }
        if at.since(self.clock.now()) > NOTE_AHEAD {
            return Err("the note's time lies more than a day ahead".to_owned());
        }
        draft.batch.notes.push(KeeperNote { at, nest: Some(nest), at_mm, kind, text });
        Ok(true)
    }
}

fn declined(alarm: &str, why: Declined) -> String {
    match why {
        Declined::NotRaised => format!("{alarm} is not raised, or was answered already: there is nothing to answer"),
        Declined::NotLatched => format!("{alarm} is not held: there is nothing to reset"),
        Declined::StillTrue => format!("{alarm} still holds and cannot be reset before it is over"),
        Declined::NotShelved => format!("{alarm} is not silenced"),
    }
}
