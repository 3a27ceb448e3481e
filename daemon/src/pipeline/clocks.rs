//! The time as the core hears it: after a time without a watch it stands still until nodes had the time to speak, and a
//! clock that is set neither ends delays nor silences anybody.
use super::flight::later;
use super::{Pipeline, Restored};
use crate::clock::Clock;
use crate::history::Gap;
use crate::times::length;
use dashboards::say;
use enclosure::{Alarm, Core, Input, SourceId, Span, Timestamp};
use std::collections::{BTreeMap, BTreeSet};

/// How far the wall clock may stray from the monotonic one between two turns.
const JUMP: Span = Span::from_s(5);
/// A clock that was set back this far makes the core begin anew from history: it takes no time but a later one.
const BEGIN_ANEW: Span = Span::from_min(1);
/// How long a jump is held for worth saying.
const JUMP_SHOWN: Span = Span::from_min(10);
/// A time without a watch that is worth writing down.
const GAP: Span = Span::from_min(10);
/// After a time without a watch nodes have so long to speak: two turns of a node that reads every minute.
const GRACE: Span = Span::from_min(2);
/// A node that hands over what it kept meanwhile has so much longer until it says how things are now.
const GRACE_MAX: Span = Span::from_min(10);

/// The first minutes after a time without a watch: nodes must have the time to speak before they are held for silent.
/// The core's time stands still meanwhile; its raw guard of dangers does not need it.
#[derive(Debug)]
pub(super) struct Grace {
    began: Span,
    until: Span,
    /// Where the core's time stands.
    stands: Timestamp,
    unheard: BTreeSet<SourceId>,
    /// The newest that others said.
    heard: BTreeMap<SourceId, Timestamp>,
    /// What is to be handed to the core once it is over: a time without a watch, or that the clock was set.
    then: Option<Input>,
}

impl Grace {
    /// Needed only where the core knows readings of long ago.
    pub(super) fn after(restored: &Restored, clock: &dyn Clock) -> Option<Self> {
        let newest = restored.newest?;
        (clock.now().since(newest) > GRACE).then(|| Self::of(&restored.core, clock, newest))
    }

    /// All probes have the time to speak.
    fn of(core: &Core, clock: &dyn Clock, stands: Timestamp) -> Self {
        let probes = core.shelf().nests.iter().flat_map(|nest| &nest.probes);
        let unheard = probes.filter_map(|probe| core.source(&probe.source)).collect();
        let began = clock.monotonic();
        Self { began, until: later(began, GRACE), stands, unheard, heard: BTreeMap::new(), then: None }
    }

    pub(super) const fn stands(&self) -> Timestamp {
        self.stands
    }

    /// A source said something of `at`. What was kept meanwhile comes first, and says nothing of now.
    pub(super) fn hear(&mut self, source: SourceId, at: Timestamp, clock: &dyn Clock) {
        let (now, wall) = (clock.monotonic(), clock.now());
        let newest = self.heard.entry(source).or_insert(at);
        *newest = at.max(*newest);
        if wall.since(at) <= GRACE {
            self.unheard.remove(&source);
        } else {
            self.until = self.until.max(later(now, GRACE)).min(later(self.began, GRACE_MAX));
        }
    }

    fn is_over(&self, now: Span) -> bool {
        now >= self.until || self.unheard.is_empty()
    }
}

/// History goes on beyond the clock: what lies ahead of it the core could not be told.
#[derive(Debug)]
pub(super) struct Behind {
    /// Until when was watched.
    until: Timestamp,
    /// Why nothing was from then on, and whether the power may have been gone.
    why: String,
    power: bool,
}

impl Pipeline {
    pub(super) fn end_grace(&mut self, now: Span) {
        let Some(grace) = self.grace.take_if(|grace| grace.is_over(now)) else { return };
        self.core.go_on(self.clock.now(), grace.heard);
        if let Some(then) = grace.then {
            self.feed(then);
        }
    }

    /// Before anything is judged by it: a clock that was set must neither end delays nor silence anybody.
    pub(super) async fn check_clock(&mut self) {
        let (now, wall) = (self.clock.monotonic(), self.clock.now());
        let passed = Span::from_ms(now.ms() - self.watching.checked.ms());
        self.watching.checked = now;
        let jump = Span::from_ms(wall.since(self.watching.wall).ms() - passed.ms());
        self.watching.wall = wall;
        if !self.clock.can_be_set() {
            return;
        }
        if jump.ms().abs() > JUMP.ms() {
            self.clock_jumped(jump, wall).await;
        } else if self.watching.jumped.is_some_and(|jumped| now.ms() - jumped.ms() > JUMP_SHOWN.ms()) {
            self.watching.jumped = None;
            self.watch(Alarm::ClockJumped, false, say!("seen-clock-steady"));
        }
    }

    async fn clock_jumped(&mut self, jump: Span, wall: Timestamp) {
        let (by, back) = (Span::from_ms(jump.ms().abs()), jump.ms() < 0);
        tracing::warn!(by_s = by.s(), back, "the clock jumped");
        self.started = self.started.plus(jump);
        self.touched = true;
        if jump.ms() < -BEGIN_ANEW.ms() {
            let judged = &mut self.tally.vitals.judged;
            *judged = judged.map(|at| at.min(wall));
            self.watching.tended = None;
            let until = wall.minus(jump);
            if self.watching.behind.as_ref().is_none_or(|behind| behind.until < until) {
                self.watching.behind = Some(Behind { until, why: say!("gap-clock"), power: false });
            }
            self.begin_anew(wall).await;
        } else if !back && self.watching.behind.is_some() {
            self.begin_anew(wall).await;
            if let Some(behind) = self.watching.behind.take_if(|behind| wall.plus(BEGIN_ANEW) >= behind.until) {
                self.note_gap(behind.until, behind.why, behind.power);
            }
        } else {
            if jump > GRACE && self.grace.is_none() {
                let grace = Grace::of(&self.core, self.clock.as_ref(), wall.minus(jump));
                self.grace = Some(Grace { then: Some(Input::ClockSet(jump)), ..grace });
            }
            if jump >= GAP {
                self.store_gap(Gap { from: wall.minus(jump), to: wall, why: say!("gap-clock") });
            }
        }
        self.watching.jumped = Some(self.clock.monotonic());
        let by = length(by);
        let detail = if back { say!("seen-clock-back", by = by) } else { say!("seen-clock-forward", by = by) };
        self.watch(Alarm::ClockJumped, true, detail);
    }

    /// The core takes no earlier time than it had: after the clock was set back it would judge nothing for as long. And
    /// one that was told nothing of what lay ahead of a clock has not learned from it.
    async fn begin_anew(&mut self, now: Timestamp) {
        let (shelf, path) = (self.core.shelf().clone(), self.history.clone());
        // What changed just now may not be on the disk yet.
        let kept = self.core.kept();
        let read = move || Restored::again(shelf, &path, now, kept);
        match tokio::task::spawn_blocking(read).await {
            Ok(Ok(restored)) => {
                let then = self.grace.take().and_then(|grace| grace.then);
                self.grace = Grace::after(&restored, self.clock.as_ref());
                self.core = restored.core;
                // Its times are those of history: there is nothing to shift.
                if let Some(then) = then.filter(|then| !matches!(then, Input::ClockSet(_))) {
                    self.hand_over(then);
                }
            }
            Ok(Err(error)) => tracing::error!(%error, "the core goes on with the time it had"),
            Err(error) => tracing::error!(%error, "the core goes on with the time it had"),
        }
    }

    /// What the start finds of the time before it: until when was watched, and whether the daemon ended well then.
    pub(super) fn note_absence(&mut self, watched: Option<(Timestamp, bool)>) {
        let Some((until, ended_well)) = watched else { return };
        let why = if ended_well { say!("gap-stopped") } else { say!("gap-unawares") };
        let ahead = until.since(self.clock.now());
        if self.clock.can_be_set() && ahead > BEGIN_ANEW {
            tracing::warn!(by_s = ahead.s(), "the clock stands before the time until which was watched");
            self.watching.behind = Some(Behind { until, why, power: !ended_well });
            self.watching.jumped = Some(self.clock.monotonic());
            self.watch(Alarm::ClockJumped, true, say!("seen-clock-behind", by = length(ahead)));
        } else {
            self.note_gap(until, why, !ended_well);
        }
    }

    /// Writes down that nothing was watched from `from` until now.
    fn note_gap(&mut self, from: Timestamp, why: String, power: bool) {
        let to = self.clock.now();
        if to.since(from) < GAP {
            return;
        }
        self.store_gap(Gap { from, to, why: why.clone() });
        self.hand_over(Input::Unwatched { from, to, why, power });
    }

    /// To the core: at once, or when nodes had the time to speak.
    fn hand_over(&mut self, told: Input) {
        match &mut self.grace {
            Some(grace) => grace.then = Some(told),
            None => self.feed(told),
        }
    }
}
