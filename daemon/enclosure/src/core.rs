//! Inputs, effects, and the loop that ties estimate, judge and alarms together.
mod acting;
mod gap;
mod judging;
mod keeping;
mod sayings;
mod season;

pub use keeping::{Kept, KeptNest};

use crate::alarm::{Alarm, AlarmChange, AlarmKey, State};
use crate::board::Board;
use crate::estimate::{FitNews, FitSeen, Hindsight};
use crate::forecast::Outlook;
use crate::judge::Judge;
use crate::nest::{Found, Watch};
use crate::nodes::Nodes;
use crate::reading::{Reading, Rejection, SourceId};
use crate::room::Rooms;
use crate::shelf::Shelf;
use crate::time::{Span, Timestamp};
use crate::trust::Fault;
use alloc::{boxed::Box, string::String, vec::Vec};
use gap::Gaps;

/// Everything that can happen to the core.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// A source said something.
    Reading(Reading),
    /// A node's link went up or down (its will).
    Link {
        /// What stands before the last `:` of its sources.
        node: String,
        /// Up or down.
        up: bool,
    },
    /// The watch itself is impaired, or well again (broker-lost, history-failing, notice-failing, clock-jumped).
    Watch {
        /// Which alarm of the watch.
        alarm: Alarm,
        /// Whether it is the case now.
        failing: bool,
        /// What was attempted and why it failed, worded already.
        detail: String,
    },
    /// A second watch elsewhere gave no sign of life for too long, or gives one again: node-silent, by its name.
    Elsewhere {
        /// The name of the shelf that it watches.
        shelf: String,
        /// Whether it is missed.
        missed: bool,
        /// Since when, and what it may mean, worded already.
        detail: String,
    },
    /// A keeper did something.
    Keeper(KeeperAct),
    /// A keeper worked at a nest (opened, refilled or moved it): its temperature steps are excused for an hour.
    Worked {
        /// The nest, by its place on the shelf.
        nest: usize,
        /// When.
        at: Timestamp,
    },
    /// Nothing was watched for a while; the core sees by itself where readings are missing, but not why.
    Unwatched {
        /// From.
        from: Timestamp,
        /// To.
        to: Timestamp,
        /// Why, worded already: power cut, daemon stopped, ...
        why: String,
        /// Whether the heating may have been without power as well.
        power: bool,
    },
    /// The clock was set, forward by so much: what runs, runs on by the time that passed.
    ClockSet(Span),
    /// Nothing but time passed.
    Wake,
}

/// What a keeper can do to an alarm.
#[derive(Clone, Debug, PartialEq)]
pub enum KeeperAct {
    /// Answer it.
    Acknowledge(AlarmKey),
    /// Silence it for a time.
    Shelve(AlarmKey, Span),
    /// Take it out of service, until then or until it is put back.
    TakeOut(AlarmKey, Option<Timestamp>),
    /// Put it back into service.
    PutBack(AlarmKey),
    /// End that silence.
    Unshelve(AlarmKey),
    /// Reset a latched one; refused while its condition holds.
    Reset(AlarmKey),
}

/// What the shell must do.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// The reading just handed in was not believed. No such effect: it was.
    Rejected {
        /// Whose.
        source: SourceId,
        /// Of when.
        at: Timestamp,
        /// Why.
        why: Rejection,
    },
    /// An alarm changed: store it, show it, and tell it where it says so.
    Alarm(AlarmChange),
    /// A nest's physics was fitted again, or a fit was refused: keep it.
    Fit {
        /// The nest, by its place on the shelf.
        nest: usize,
        /// What came of it.
        news: Box<FitNews>,
    },
}

/// Temperature over the axis of one nest at one moment, as believed.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Profile {
    /// Places, mm, rising from 0 to the nest's length.
    pub at_mm: Vec<f64>,
    /// Believed mean at each place, °C.
    pub mean_c: Vec<f64>,
    /// Standard deviation of the believed error at each place, K.
    pub sd_c: Vec<f64>,
    /// Heat the pads are believed to give, W.
    pub pad_w: f64,
    /// Its standard deviation, W.
    pub pad_w_sd: f64,
}

/// Everything a page shows about one nest at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct NestNow {
    /// Time of the newest believed reading; `None` before the first.
    pub heard: Option<Timestamp>,
    /// The estimate; empty before the first reading.
    pub profile: Profile,
    /// Brood area: mean, its standard deviation, hottest point, °C.
    pub brood_c: Option<(f64, f64, f64)>,
    /// Room, °C, and its standard deviation.
    pub room_c: Option<(f64, f64)>,
    /// Relative humidity on the profile's axis with its standard deviation, %RH; `None` where unknown.
    pub rh_pct: Vec<Option<(f64, f64)>>,
    /// End of the first 12 hours.
    pub learning_until: Option<Timestamp>,
    /// Every probe: its last temperature with its time, last humidity, and whether it is believed.
    pub probes: Vec<ProbeNow>,
    /// What each pad was last told: duty 0 to 1; `None` where nothing reports, or has not yet.
    pub told: Vec<Option<f64>>,
    /// How it stands with the fits of its physics.
    pub fit: FitSeen,
    /// The hours ahead; `None` while that cannot be told.
    pub outlook: Option<Outlook>,
}

/// A probe's last words.
#[derive(Clone, Debug, PartialEq)]
pub struct ProbeNow {
    /// Which.
    pub source: SourceId,
    /// Last temperature, °C, and when.
    pub temperature: Option<(f64, Timestamp)>,
    /// Last humidity, %RH, and when.
    pub humidity: Option<(f64, Timestamp)>,
    /// Why the last reading was not believed, if it was not.
    pub rejected: Option<Rejection>,
    /// How far it reads above the nest at its place as believed, K, and the standard deviation of that: its own error
    /// and that of its place, which no reading tells apart. None before there is an estimate.
    pub reads_off_k: Option<(f64, f64)>,
    /// Why it is held for faulty, and since when.
    pub fault: Option<(Fault, Timestamp)>,
}

/// How often everything is judged.
const JUDGE_EVERY: Span = Span::from_min(1);
/// A nest not heard for this long is learned anew.
const LEARN_ANEW: Span = Span::from_h(7 * 24);

/// The core: one for a whole shelf.
#[derive(Clone, Debug)]
pub struct Core {
    shelf: Shelf,
    sources: Vec<String>,
    watches: Vec<Watch>,
    judges: Vec<Judge>,
    rooms: Vec<Rooms>,
    nodes: Nodes,
    board: Board,
    gaps: Gaps,
    /// Until when each nest's temperature steps are excused.
    excused: Vec<Option<Timestamp>>,
    /// From when each nest stands as the shelf says; what was read before is not of this nest.
    begins: Vec<Option<Timestamp>>,
    now: Option<Timestamp>,
    judged: Option<Timestamp>,
    /// Whether anything is judged at all.
    judges_nothing: bool,
}

impl Core {
    /// A core that has heard nothing yet.
    pub fn new(shelf: Shelf) -> Self {
        let mut sources: Vec<String> = Vec::new();
        for nest in &shelf.nests {
            let probes = nest.probes.iter().map(|p| &p.source);
            let drives = nest.pads.iter().filter_map(|p| p.drive.as_ref());
            for name in probes.chain(drives).chain(nest.room.as_ref()) {
                if !sources.contains(name) {
                    sources.push(name.clone());
                }
            }
        }
        let id = |name: &str| position(&sources, name);
        let settings = &shelf.alarms;
        let guard_deadband_k = (settings.deadband(Alarm::BroodLimit), settings.deadband(Alarm::ProbeHot));
        let mut watches: Vec<Watch> = shelf.nests.iter().map(|n| Watch::new(n, id)).collect();
        watches.iter_mut().for_each(|w| w.guard_deadband_k = guard_deadband_k);
        let judges = watches.iter().map(|_| Judge::default()).collect();
        Self {
            nodes: Nodes::new(&shelf, &sources),
            rooms: watches.iter().map(|_| Rooms::default()).collect(),
            excused: watches.iter().map(|_| None).collect(),
            begins: shelf.nests.iter().map(|n| n.since).collect(),
            board: Board::default(),
            gaps: Gaps::default(),
            shelf,
            sources,
            watches,
            judges,
            now: None,
            judged: None,
            judges_nothing: false,
        }
    }

    /// The same, without the fits that learn a nest's physics: for comparing, and where the prior must stand.
    #[must_use]
    pub fn without_fits(mut self) -> Self {
        self.watches.iter_mut().for_each(Watch::without_fits);
        self
    }

    /// The same, judging nothing: for looking back, where what is believed is wanted and what was raised then is known.
    /// No alarm is raised and no forecast made; the estimate is the same, for half the work.
    #[must_use]
    pub fn unjudged(mut self) -> Self {
        self.judges_nothing = true;
        self
    }

    /// The shelf it watches.
    pub fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    /// Every source some nest lists; a [`SourceId`] is a place in this list.
    pub fn sources(&self) -> &[String] {
        &self.sources
    }

    /// The id of a listed source.
    pub fn source(&self, name: &str) -> Option<SourceId> {
        position(&self.sources, name)
    }

    /// The only way in, the only way out. `now` never runs backwards between calls (a smaller one is taken as equal).
    pub fn step(&mut self, now: Timestamp, input: Input) -> Vec<Effect> {
        let now = self.now.map_or(now, |last| last.max(now));
        self.now = Some(now);
        let mut out = Vec::new();
        match input {
            Input::Reading(r) => self.hear(now, r, &mut out),
            Input::Watch { alarm, failing, detail } => self.watch(now, alarm, failing, detail, &mut out),
            Input::Elsewhere { shelf, missed, detail } => self.elsewhere(now, shelf, missed, detail, &mut out),
            // A declined act changes nothing; the shell asks [`Self::declines`] first and says why.
            Input::Keeper(act) => drop(self.keeper(now, &act, &mut out)),
            Input::Worked { nest, at } => self.excuse(nest, at),
            Input::Unwatched { from, to, why, power } => self.unwatched(now, (from, to), why, power),
            Input::ClockSet(by) => self.clock_set(now, by),
            // What a will says is told by silence soon enough; the state itself is shown by the shell.
            Input::Link { .. } | Input::Wake => {}
        }
        self.end_silences(now, &mut out);
        let due = !self.judges_nothing && self.judged.is_none_or(|j| now.since(j) >= JUDGE_EVERY);
        if due {
            self.judged = Some(Timestamp::from_unix_ms(now.unix_ms() - now.unix_ms().rem_euclid(JUDGE_EVERY.ms())));
            self.judge_all(now, &mut out);
        }
        out
    }

    /// When [`Self::step`] wants to be called with [`Input::Wake`] at the latest.
    pub fn wake_at(&self) -> Option<Timestamp> {
        let judged = self.judged.map(|j| j.plus(JUDGE_EVERY));
        judged.into_iter().chain(self.board.due()).min()
    }

    fn hear(&mut self, now: Timestamp, r: Reading, out: &mut Vec<Effect>) {
        self.nodes.hear(r.source, r.at.min(now));
        self.resumed(now, &r);
        let mut rejected = Vec::new();
        for nest in 0..self.watches.len() {
            let watch = &mut self.watches[nest];
            if !watch.lists(r.source) || self.begins[nest].is_some_and(|begins| r.at < begins) {
                continue;
            }
            if watch.newest.is_some_and(|n| r.at.since(n) > LEARN_ANEW) {
                watch.first = None;
            }
            let before = (watch.heating(), watch.guard());
            watch.hear(r.source, r.at, r.measured, &mut rejected);
            let news = watch.fit_news();
            // A danger does not wait for the minute.
            if !self.judges_nothing && before != (watch.heating(), watch.guard()) {
                self.judge(now, nest, out);
            }
            out.extend(news.map(|news| Effect::Fit { nest, news: Box::new(news) }));
        }
        out.extend(rejected.into_iter().map(|(source, at, why)| Effect::Rejected { source, at, why }));
    }

    /// What is believed about nest `nest` at `at`, without hindsight and without changing anything.
    pub fn nest(&self, nest: usize, at: Timestamp) -> Option<NestNow> {
        let mut now = self.watches.get(nest)?.now(at, self.shelf.alarms.learning);
        now.outlook = self.judges.get(nest).and_then(Judge::outlook).cloned();
        Some(now)
    }

    /// From here on `moments` of nest `nest`, in the order of time, are remembered for [`Self::hindsight`].
    pub fn look_back(&mut self, nest: usize, moments: impl IntoIterator<Item = Timestamp>) {
        if let Some(watch) = self.watches.get_mut(nest) {
            watch.look_back(moments);
        }
    }

    /// Those of the moments that were asked for by [`Self::look_back`] and that the estimate ran through (it jumps over
    /// long gaps), oldest first, with what was heard since; each is handed out once.
    pub fn hindsight(&mut self, nest: usize) -> Vec<Hindsight> {
        self.watches.get_mut(nest).map_or_else(Vec::new, Watch::hindsight)
    }

    /// What was found of the pads of nest `nest` later than it began, and its past moments were then lived through again
    /// with; only where some were asked for by [`Self::look_back`].
    pub fn found(&self, nest: usize) -> &[Found] {
        self.watches.get(nest).map_or(&[], Watch::found)
    }

    /// The watch over nest `nest`.
    pub(crate) fn watch_of(&self, nest: usize) -> Option<&Watch> {
        self.watches.get(nest)
    }

    /// Every alarm that exists on this shelf, with its state, since when, and its cause where it is a consequence.
    pub fn alarms(&self) -> impl Iterator<Item = (&AlarmKey, State, Timestamp, Option<Alarm>)> {
        self.board.standing().map(|(k, s)| (k, s.life.state(), s.since, s.life.cause()))
    }

    /// When an alarm was raised last; `None` where that is not known any more.
    pub fn raised_at(&self, key: &AlarmKey) -> Option<Timestamp> {
        self.board.get(key).and_then(|s| s.turns.back().copied())
    }

    /// What a source said before the hours that are judged again after a restart, oldest first: only what is learned over
    /// weeks takes it in (the course of the water), and nothing is judged.
    pub fn recall(&mut self, r: Reading) {
        for (watch, judge) in self.watches.iter_mut().zip(&mut self.judges) {
            if watch.recall(r.source, r.at, r.measured) {
                judge.recall(r.at, watch);
            }
        }
    }
}

fn position(sources: &[String], name: &str) -> Option<SourceId> {
    sources.iter().position(|s| s == name).and_then(|i| u16::try_from(i).ok()).map(SourceId)
}

#[cfg(test)]
mod slow_tests;
#[cfg(test)]
pub(crate) mod tests;
