//! What a keeper may do, and what is declined.
use super::{Board, Change, DANGER_SILENCE_MAX, OUT_OF_SERVICE_MAX, SILENCE_MAX};
use crate::alarm::{Alarm, AlarmKey, Priority};
use crate::lifecycle::{Declined, Life, Trigger};
use crate::time::{Span, Timestamp};
use alloc::vec::Vec;

impl Board {
    /// Does what a keeper asks for. `case` is how grave the alarm is now (°C), and what explains it.
    ///
    /// # Errors
    /// [`Declined`], and nothing changes.
    pub fn act(
        &mut self,
        now: Timestamp,
        key: &AlarmKey,
        trigger: Trigger,
        (severity, causes): (Option<f64>, &[AlarmKey]),
        out: &mut Vec<Change>,
    ) -> Result<(), Declined> {
        self.declines(now, key, trigger)?;
        let setting = self.plain(now, key, causes);
        self.turn(now, key, trigger, &setting, out);
        if let (Trigger::Acknowledge, Some(s)) = (trigger, self.standing.get_mut(key)) {
            s.answered_at = severity;
        }
        Ok(())
    }

    /// Whether an act would be declined now.
    ///
    /// # Errors
    /// Why.
    pub fn declines(&self, now: Timestamp, key: &AlarmKey, trigger: Trigger) -> Result<(), Declined> {
        let danger = key.alarm.priority() == Priority::Danger;
        match trigger {
            Trigger::TakeOut(_) if danger => return Err(Declined::Danger),
            Trigger::TakeOut(Some(until)) if until <= now || until.since(now) > OUT_OF_SERVICE_MAX => {
                return Err(Declined::End);
            }
            Trigger::Shelve(until) if until <= now || until.since(now) > silence_max(key.alarm) => {
                return Err(Declined::End);
            }
            _ => {}
        }
        let life = match (self.standing.get(key), trigger) {
            (Some(s), _) => s.life,
            (None, Trigger::TakeOut(_)) => Life::NotJudged,
            (None, _) => return Err(Declined::NotRaised),
        };
        life.on(now, trigger, &self.plain(now, key, &[])).map(drop)
    }
}

/// Longest silence of an alarm.
pub fn silence_max(alarm: Alarm) -> Span {
    match alarm.priority() {
        Priority::Danger => DANGER_SILENCE_MAX,
        Priority::Warning | Priority::Advice => SILENCE_MAX,
    }
}
