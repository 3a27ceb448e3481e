//! What a keeper does, and silences that end by themselves.
use super::{Core, Effect, KeeperAct};
use crate::alarm::AlarmKey;
use crate::evidence::Evidence;
use crate::lifecycle::{Declined, Trigger};
use crate::time::Timestamp;
use alloc::vec::Vec;

impl KeeperAct {
    fn trigger(&self, now: Timestamp) -> (&AlarmKey, Trigger) {
        match self {
            Self::Acknowledge(key) => (key, Trigger::Acknowledge),
            Self::Shelve(key, length) => (key, Trigger::Shelve(now.plus(*length))),
            Self::Unshelve(key) => (key, Trigger::Unshelve),
            Self::Reset(key) => (key, Trigger::Reset),
            Self::TakeOut(key, until) => (key, Trigger::TakeOut(*until)),
            Self::PutBack(key) => (key, Trigger::PutBack),
        }
    }
}

impl Core {
    pub(super) fn keeper(&mut self, now: Timestamp, act: &KeeperAct, out: &mut Vec<Effect>) -> Result<(), Declined> {
        let (key, trigger) = act.trigger(now);
        let (causes, severity) = (self.causes(now, key), self.severity(key));
        let mut changes = Vec::new();
        self.board.act(now, key, trigger, (severity, &causes), &mut changes)?;
        self.tell(now, changes, &Evidence::default(), out);
        Ok(())
    }

    /// Does what a keeper asks for without judging anything: for a history that no daemon watches now.
    ///
    /// # Errors
    /// Why it is declined; then nothing changed.
    pub fn act_unwatched(&mut self, now: Timestamp, act: &KeeperAct) -> Result<Vec<Effect>, Declined> {
        let mut out = Vec::new();
        self.keeper(now, act, &mut out)?;
        Ok(out)
    }

    /// Why a keeper's act would be declined now, if it would.
    pub fn declines(&self, now: Timestamp, act: &KeeperAct) -> Option<Declined> {
        let now = self.now.map_or(now, |last| last.max(now));
        let (key, trigger) = act.trigger(now);
        self.board.declines(now, key, trigger).err()
    }

    /// When an alarm's silence ends by itself.
    pub fn silent_until(&self, key: &AlarmKey) -> Option<Timestamp> {
        self.board.get(key).and_then(|s| s.life.ends())
    }

    /// A keeper worked at a nest: for a while its warmth may step.
    pub fn excuse(&mut self, nest: usize, at: Timestamp) {
        if let Some(until) = self.excused.get_mut(nest) {
            *until = Some(at.plus(self.shelf.alarms.excused)).max(*until);
        }
    }

    pub(super) fn end_silences(&mut self, now: Timestamp, out: &mut Vec<Effect>) {
        if self.board.due().is_none_or(|due| due > now) {
            return;
        }
        let ending: Vec<(AlarmKey, Vec<AlarmKey>)> =
            self.board.standing().map(|(k, _)| (k.clone(), self.causes(now, k))).collect();
        let causes = |key: &AlarmKey| {
            ending.iter().find(|(k, _)| k == key).map(|(_, causes)| causes.clone()).unwrap_or_default()
        };
        let mut changes = Vec::new();
        self.board.tick(now, causes, &mut changes);
        self.tell(now, changes, &Evidence::default(), out);
    }
}
