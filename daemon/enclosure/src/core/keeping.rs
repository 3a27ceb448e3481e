//! What must outlive a restart: given out with each change, taken in again at the start.
use super::{Core, LEARN_ANEW};
use crate::alarm::{AlarmKey, State};
use crate::board::Standing;
use crate::estimate::{Fit, FitNews};
use crate::lifecycle::Life;
use crate::nest::{Held, Watch};
use crate::time::{Span, Timestamp};
use alloc::collections::VecDeque;
use alloc::vec::Vec;

/// All that readings alone would not bring back.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Kept {
    /// Every alarm as it stood, pending delays and ends of silences included.
    pub alarms: Vec<(AlarmKey, Standing)>,
    /// Whether a flood went on, and whether one has spoken for what the last one held back.
    pub flood: (bool, bool),
    /// When alarms were raised that count for a flood.
    pub raised: Vec<Timestamp>,
    /// How long each nest has been known, in the shelf's order.
    pub nests: Vec<KeptNest>,
}

/// How long one nest has been known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct KeptNest {
    /// First reading of its learning.
    pub first: Option<Timestamp>,
    /// Newest reading.
    pub newest: Option<Timestamp>,
    /// Until when its temperature steps are excused.
    pub excused: Option<Timestamp>,
    /// From when it stands as the shelf says.
    pub begins: Option<Timestamp>,
    /// The fault of its heating that stands.
    pub held: Option<Held>,
}

impl Core {
    /// What to keep now.
    pub fn kept(&self) -> Kept {
        let nests = self.watches.iter().zip(self.excused.iter().zip(&self.begins));
        let known = |(w, (excused, begins)): (&Watch, (&Option<Timestamp>, &Option<Timestamp>))| KeptNest {
            first: w.first,
            newest: w.newest,
            excused: *excused,
            begins: *begins,
            held: w.held(),
        };
        Kept {
            alarms: self.board.standing().map(|(k, s)| (k.clone(), s.clone())).collect(),
            flood: self.board.flood(),
            raised: self.board.raised().collect(),
            nests: nests.map(known).collect(),
        }
    }

    /// Takes in what was kept, at `now`; what lies after `now` was written under a clock that ran ahead.
    pub fn take_back(&mut self, kept: Kept, now: Timestamp) {
        let Kept { alarms, flood, raised, nests } = kept;
        for (key, standing) in alarms {
            self.board.put_back(key, standing);
        }
        self.board.put_back_flood(flood, raised);
        self.board.shift(Span::ZERO, now);
        for ((watch, excused), kept) in self.watches.iter_mut().zip(&mut self.excused).zip(nests) {
            let fresh = kept.newest.is_some_and(|newest| now.since(newest) <= LEARN_ANEW);
            if let (true, Some(first)) = (fresh, kept.first) {
                watch.first = Some(watch.first.map_or(first, |f| f.min(first)));
                watch.newest = watch.newest.max(kept.newest.map(|n| n.min(now)));
                if let Some(held) = kept.held {
                    watch.hold(Held { since: held.since.min(now), ..held });
                }
            }
            *excused = kept.excused.map(|until| until.min(now.plus(self.shelf.alarms.excused)));
        }
    }

    /// The state of an alarm is as it is since `at`: as history dates it, where the core's own time stood still or was
    /// another.
    pub fn date(&mut self, key: &AlarmKey, at: Timestamp) {
        self.board.date(key, at);
    }

    /// The nest stands as the shelf says from `at` on: what was read before was of another arrangement.
    pub fn begin_nest(&mut self, nest: usize, at: Timestamp) {
        if let Some(begins) = self.begins.get_mut(nest) {
            *begins = Some(at).max(*begins);
        }
    }

    /// A fault of the heating of nest `nest` stood when it was last written down: before its readings are read again.
    pub fn hold(&mut self, nest: usize, held: Held) {
        if let Some(watch) = self.watches.get_mut(nest) {
            watch.hold(held);
        }
    }

    /// Takes up a fit that was kept of nest `nest`, in place of what is believed about its physics; false if it is none of
    /// that nest as it stands. It is in force from `since` on: no hour before then takes its place.
    pub fn take_up_fit(&mut self, nest: usize, fit: &Fit, since: Timestamp) -> bool {
        self.watches.get_mut(nest).is_some_and(|w| w.take_up(fit, since))
    }

    /// Fits nest `nest` now, whatever is due; `None` if it was never heard.
    pub fn fit_now(&mut self, nest: usize) -> Option<FitNews> {
        let watch = self.watches.get_mut(nest)?;
        watch.fit_now();
        watch.fit_news()
    }

    /// Forgets every alarm: what the last hours of readings said of them was told then.
    pub fn forget_alarms(&mut self) {
        self.board = crate::board::Board::default();
    }

    /// Puts an alarm back into the state that history says it had, where no more than that is known.
    pub fn restore(&mut self, key: AlarmKey, state: State, since: Timestamp) {
        let life = Life::restored(state, since);
        let standing = Standing { life, since, ended: None, turns: VecDeque::new(), answered_at: None };
        self.board.put_back(key, standing);
    }
}
