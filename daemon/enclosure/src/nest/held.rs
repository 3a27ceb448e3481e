//! What the pads are held to do, as it outlives a restart: the hours that are read again may all lie within a fault, and
//! then show nothing of how it was before.
use super::{Heating, Watch};
use crate::estimate::Estimator;
use crate::habits::Beyond;
use crate::rival::Mode;
use crate::time::Timestamp;

/// A fault of the heating that was found and is not over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Which pad, in the shelf's order.
    pub pad: usize,
    /// It heats and should not; else it should and does not.
    pub on: bool,
    /// Since when.
    pub since: Timestamp,
    /// What it was found by.
    pub by: HeldBy,
}

/// What a fault of the heating was found by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeldBy {
    /// The heat itself, with that evidence, nats.
    Heat {
        /// For the fault, against what the pad is told.
        nats: f64,
    },
    /// Its habits.
    Habit {
        /// How warm its place is, °C.
        now_c: f64,
        /// The warmest at which it ever heated (or the coolest at which it did not), °C; none where its habit is one of
        /// time.
        extreme_c: Option<f64>,
        /// Its power, not its warmth.
        by_power: bool,
    },
}

impl Watch {
    /// What the pads are held to do, by the heat and by their habits. A pad that heated past every habit and seems to have
    /// stopped was a danger until its place is back: a lifted lid looks like that.
    pub fn heating(&self) -> Heating {
        match (self.by_heat, self.by_habit) {
            (Heating::Missing(..), (Some(b), _)) => Heating::NeverLetsGo(b),
            (Heating::Untold(..) | Heating::Missing(..), _) => self.by_heat,
            (_, (Some(b), _)) => Heating::NeverLetsGo(b),
            (_, (None, Some(b))) => Heating::NeverComesOn(b),
            (_, (None, None)) => Heating::Plausible,
        }
    }

    /// The fault that stands.
    pub fn held(&self) -> Option<Held> {
        let by_heat = |since, nats| {
            let est = self.estimator.as_ref()?;
            let (pad, mode) = est.modes().find(|(_, mode)| *mode != Mode::Follow)?;
            Some(Held { pad, on: mode == Mode::On, since, by: HeldBy::Heat { nats } })
        };
        let by_habit = |on, Beyond { since, now_c, extreme_c }| {
            let by_power = on && self.habits.is_by_power();
            Some(Held { pad: 0, on, since, by: HeldBy::Habit { now_c, extreme_c, by_power } })
        };
        match self.heating() {
            Heating::Plausible => None,
            Heating::Untold(since, nats) | Heating::Missing(since, nats) => by_heat(since, nats),
            Heating::NeverLetsGo(beyond) => by_habit(true, beyond),
            Heating::NeverComesOn(beyond) => by_habit(false, beyond),
        }
    }

    /// The fault stood when it was last written down: so it does from when it began, until the pad itself shows that it is
    /// over. Heat that was weighed since says more.
    pub fn hold(&mut self, held: Held) {
        match self.estimator.take() {
            None => self.waiting = Some(held),
            Some(mut est) => {
                if !matches!(self.heating(), Heating::Untold(..) | Heating::Missing(..)) {
                    self.put_back(&mut est, held);
                }
                self.estimator = Some(est);
            }
        }
    }

    /// Puts the fault that waits in force once it has begun.
    pub(super) fn put_back_waiting(&mut self, est: &mut Estimator) {
        if let Some(held) = self.waiting.take_if(|held| held.since <= est.at()) {
            self.put_back(est, held);
        }
    }

    fn put_back(&mut self, est: &mut Estimator, held: Held) {
        let Held { pad, on, since, by } = held;
        match by {
            HeldBy::Heat { nats } => {
                let mode = if on { Mode::On } else { Mode::Off };
                if est.hold(pad, mode) {
                    self.by_heat = Heating::of(mode, since, nats);
                }
            }
            HeldBy::Habit { now_c, extreme_c, by_power } => {
                let beyond = Beyond { since, now_c, extreme_c };
                self.habits.put_back(est.at(), on, beyond, by_power);
                self.by_habit = if on { (Some(beyond), None) } else { (None, Some(beyond)) };
            }
        }
    }
}
