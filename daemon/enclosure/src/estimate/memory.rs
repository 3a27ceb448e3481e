//! The last two days, to fit the physics again: what the pads did and were told, the room, and what was heard.
use super::{Estimator, PADS_MAX};
use alloc::collections::VecDeque;

/// Steps kept to fit the physics again: two days.
const MEMORY: usize = 8640;
/// Readings kept for it: one a step and probe at the most.
const HEARD_MAX: usize = 40_000;
/// See [`push_tight`].
const GROWS_BY: usize = 512;

/// One step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Past {
    pub(super) drive: [f32; PADS_MAX],
    pub(super) told: [f32; PADS_MAX],
    pub(super) room_c: f32,
}

/// One reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    pub(super) step: i64,
    pub(super) part: f32,
    pub(super) value_c: f32,
    pub(super) probe: u8,
}

impl Estimator {
    /// Remembers the step that was just made: what each pad was told, and what it is held to have done.
    pub(super) fn remember_step(&mut self, told: &[f64], drive: &[f64]) {
        if self.memory.len() == MEMORY {
            self.memory.pop_front();
            let begins = self.step - MEMORY as i64;
            while self.heard.front().is_some_and(|h| h.step < begins) {
                self.heard.pop_front();
            }
        }
        let mut past = Past { drive: [0.0; PADS_MAX], told: [0.0; PADS_MAX], room_c: self.room_c as f32 };
        for (i, (d, t)) in drive.iter().zip(told).enumerate().take(PADS_MAX) {
            past.drive[i] = *d as f32;
            past.told[i] = *t as f32;
        }
        push_tight(&mut self.memory, past);
    }

    /// Remembers a reading that was taken in: one a step and probe.
    pub(super) fn remember_reading(&mut self, p: usize, part: f64, value_c: f64) {
        let again = self.heard.iter().rev().take_while(|h| h.step == self.step).any(|h| usize::from(h.probe) == p);
        if again {
            return;
        }
        if self.heard.len() == HEARD_MAX {
            self.heard.pop_front();
        }
        let probe = p.min(255) as u8;
        let heard = Heard { step: self.step, part: part as f32, value_c: value_c as f32, probe };
        push_tight(&mut self.heard, heard);
    }
}

/// Grows by a few at a time: two days of a nest are most of what it takes, and doubling would hold twice of them.
fn push_tight<T>(kept: &mut VecDeque<T>, new: T) {
    if kept.len() == kept.capacity() {
        kept.reserve_exact(GROWS_BY);
    }
    kept.push_back(new);
}
