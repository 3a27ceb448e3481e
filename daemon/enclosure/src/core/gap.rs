//! Times in which nothing was watched, and what the brood place probably did meanwhile.
use super::{Core, Effect, sayings};
use crate::alarm::{Alarm, AlarmKey};
use crate::evidence::{Evidence, Eyes};
use crate::lifecycle::Verdict;
use crate::reading::{Measured, Reading, SourceId};
use crate::time::{Span, Timestamp};
use alloc::string::String;
use alloc::vec::Vec;

/// Shorter ones are not worth a word.
const GAP: Span = Span::from_min(10);
/// So long after it the estimate has taken in what is said now.
const SETTLED: Span = Span::from_min(2);
/// A gap is shown for so long.
const SHOWN: Span = Span::from_h(1);
/// What the shell says of a gap and what readings say of it are the same if they touch within this.
const TOUCH: Span = Span::from_min(5);

/// One gap that is still to be told.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Gap {
    pub(super) from: Timestamp,
    pub(super) to: Timestamp,
    pub(super) why: Option<String>,
    /// The brood places' means before it, °C, by nest.
    pub(super) before_c: Vec<Option<f64>>,
    due: Timestamp,
}

/// What is known of gaps.
#[derive(Clone, Debug, Default)]
pub(super) struct Gaps {
    heard: Option<Timestamp>,
    pending: Option<Gap>,
    /// End of the last one that was told, and until when it is shown.
    told: Option<(Timestamp, Timestamp)>,
    power: bool,
}

impl Gaps {
    /// Whether the heating may have been off during the last gap.
    pub(super) fn was_power(&self) -> bool {
        self.power
    }
}

impl Core {
    /// Notes a gap in the readings of probes when it ends.
    pub(super) fn resumed(&mut self, now: Timestamp, r: &Reading) {
        let is_probe = self.watches.iter().any(|w| w.ears.iter().any(|e| e.source == r.source));
        if !is_probe || !matches!(r.measured, Measured::Temperature(_)) {
            return;
        }
        let Some(last) = self.gaps.heard else {
            self.gaps.heard = Some(r.at.min(now));
            return;
        };
        if r.at.since(last) >= GAP && self.gaps.told.is_none_or(|(to, _)| last.plus(TOUCH) >= to) {
            self.begin_or_widen(now, (last, r.at), None);
            self.gaps.power |= self.gaps.pending.as_ref().is_some_and(|gap| gap.why.is_none());
        }
        self.gaps.heard = Some(last.max(r.at));
    }

    /// The shell knows of a gap, and why.
    pub(super) fn unwatched(&mut self, now: Timestamp, (from, to): (Timestamp, Timestamp), why: String, power: bool) {
        self.begin_or_widen(now, (from, to), Some(why));
        self.gaps.power = power;
    }

    /// What the shell and the readings say of the same gap is one.
    fn begin_or_widen(&mut self, now: Timestamp, (from, to): (Timestamp, Timestamp), why: Option<String>) {
        match &mut self.gaps.pending {
            Some(gap) if gap.to.plus(TOUCH) >= from && to.plus(TOUCH) >= gap.from => {
                (gap.from, gap.to) = (gap.from.min(from), gap.to.max(to));
                gap.why = why.or(gap.why.take());
            }
            _ => self.begin_gap(now, (from, to), why),
        }
    }

    /// Time goes on at `now` after it stood still, and `heard` says who spoke meanwhile, and of when. Until its readings
    /// are weighed no nest counts as unwatched for the time that was not watched at all.
    pub fn go_on(&mut self, now: Timestamp, heard: impl IntoIterator<Item = (SourceId, Timestamp)>) {
        for (source, at) in heard {
            self.nodes.hear(source, at.min(now));
        }
        for (nest, judge) in (0_u16..).zip(&mut self.judges) {
            let key = AlarmKey { alarm: Alarm::NestUnwatched, nest: Some(nest), probe: None, node: None };
            if !self.board.get(&key).is_some_and(|s| s.life.is_ill()) {
                judge.begin(now);
            }
        }
    }

    /// The clock was set forward: what looks like a gap of that length is none.
    pub(super) fn clock_set(&mut self, now: Timestamp, by: Span) {
        self.board.shift(by, now);
        self.nodes.shift(by, now);
        self.gaps.heard = self.gaps.heard.map(|at| at.plus(by).min(now));
        let feigned = |gap: &mut Gap| (gap.to.since(gap.from).ms() - by.ms()).abs() < TOUCH.ms();
        self.gaps.pending.take_if(feigned);
    }

    fn begin_gap(&mut self, now: Timestamp, (from, to): (Timestamp, Timestamp), why: Option<String>) {
        let before_c = self.watches.iter().map(|w| w.brood().map(|b| b.0)).collect();
        self.gaps.pending = Some(Gap { from, to, why, before_c, due: now.max(to).plus(SETTLED) });
    }

    /// Tells of a gap once the estimate knows how it ended, and ends that later.
    pub(super) fn judge_gap(&mut self, now: Timestamp, out: &mut Vec<Effect>) {
        let key = AlarmKey { alarm: Alarm::WatchGap, nest: None, probe: None, node: None };
        if let Some(gap) = self.gaps.pending.take_if(|gap| gap.due <= now) {
            self.gaps.told = Some((gap.to, now.plus(SHOWN)));
            let after_c: Vec<Option<f64>> = self.watches.iter().map(|w| w.brood().map(|b| b.0)).collect();
            let evidence = sayings::gap(gap, &after_c, &self.shelf);
            self.put(now, &key, Verdict::Ill, (Span::ZERO, true), |_| evidence, out);
        } else if self.board.get(&key).is_some_and(|s| s.life.is_ill())
            && self.gaps.told.is_none_or(|(_, until)| until <= now)
        {
            self.put(now, &key, Verdict::Well, (Span::ZERO, true), |_| Evidence::of(Eyes::WatchedAgain), out);
        }
    }
}
