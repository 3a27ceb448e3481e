//! What the hours ahead hold: the room's course, the pads' habits, and the body run on under both.
use super::{Heating, Watch};
use crate::drive_habit::Control;
use crate::estimate::{Estimator, PADS_MAX};
use crate::forecast::{EVERY, Outlook, STEP, look_ahead};
use crate::time::{Span, Timestamp};
use alloc::vec::Vec;

impl Watch {
    /// Learns from one step what room and pads usually do.
    pub(super) fn learn_habits(&mut self, est: &Estimator, to: Timestamp, told: &[f64]) {
        self.course.note(to, est.room_c());
        // What a pad did while nobody looked, or while it was faulty, is no habit.
        if self.blind_until.is_some_and(|b| to < b) || self.heating() != Heating::Plausible {
            self.drive_habits.iter_mut().for_each(crate::drive_habit::DriveHabit::interrupt);
            return;
        }
        let mut over_pad_c = None;
        for (i, habit) in self.drive_habits.iter_mut().enumerate() {
            let drive = est.drive(i, told.get(i).copied().unwrap_or(0.0));
            // Only the first pad's place is looked at, and only when it may have switched.
            if i == 0 && habit.turns(drive) {
                over_pad_c = Some(est.over_pad_c());
            }
            habit.note(to, drive, over_pad_c.take());
        }
    }

    /// The hours ahead up to `horizon`, with the brood area's mean over the last hour at `hour_c`; none where it cannot
    /// be told what the pads will do.
    pub fn outlook(&self, hour_c: f64, horizon: Span) -> Option<Outlook> {
        let est = self.estimator.as_ref()?;
        self.nest.brood?;
        let controls = self.controls()?;
        let course = self.course.ahead((horizon.ms() / EVERY.ms()).max(1) as usize);
        if course.is_empty() {
            return None;
        }
        let on = self.drive_habits.first().is_some_and(crate::drive_habit::DriveHabit::is_on);
        Some(look_ahead(est.at(), &est.seed(STEP.s()), &controls, on, (est.room_c(), &course), hour_c))
    }

    fn controls(&self) -> Option<Vec<Control>> {
        let faulty = match self.heating() {
            Heating::Plausible => None,
            Heating::Untold(..) | Heating::NeverLetsGo(_) => Some(1.0),
            Heating::Missing(..) | Heating::NeverComesOn(_) => Some(0.0),
        };
        let control = |(i, habit): (usize, &crate::drive_habit::DriveHabit)| match faulty {
            Some(drive) if i == 0 => Some(Control::Held(drive)),
            _ => habit.control(self.nest.pads.get(i).and_then(|p| p.thermostat_c)),
        };
        self.drive_habits.iter().take(PADS_MAX).enumerate().map(control).collect()
    }
}
