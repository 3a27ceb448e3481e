//! Inputs, effects, and the loop that ties estimate, judge and alarms together.
use crate::alarm::{Alarm, AlarmChange, AlarmKey, Event, Priority, State};
use crate::judge::Judge;
use crate::lifecycle::{Declined, Life, Manner, Verdict};
use crate::nest::Watch;
use crate::reading::{Reading, Rejection, SourceId};
use crate::shelf::Shelf;
use crate::time::{Span, Timestamp};
use alloc::collections::BTreeMap;
use alloc::{string::String, vec::Vec};

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
        /// What was attempted and why it failed.
        detail: String,
    },
    /// A keeper did something.
    Keeper(KeeperAct),
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
    /// What the pads were last told: duty 0 to 1; `None` where nothing reports.
    pub told_duty: Option<f64>,
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
}

/// How often everything is judged.
const JUDGE_EVERY: Span = Span::from_min(1);
/// A nest not heard for this long is learned anew.
const LEARN_ANEW: Span = Span::from_h(7 * 24);

/// One alarm as it stands.
#[derive(Clone, Debug)]
struct Standing {
    life: Life,
    manner: Manner,
    since: Timestamp,
    cause: Option<Alarm>,
}

/// The core: one for a whole shelf.
#[derive(Clone, Debug)]
pub struct Core {
    shelf: Shelf,
    sources: Vec<String>,
    watches: Vec<Watch>,
    judges: Vec<Judge>,
    alarms: BTreeMap<AlarmKey, Standing>,
    now: Option<Timestamp>,
    judged: Option<Timestamp>,
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
        let watches: Vec<Watch> = shelf.nests.iter().map(|n| Watch::new(n, id)).collect();
        let judges = watches.iter().map(|_| Judge::default()).collect();
        Self { shelf, sources, watches, judges, alarms: BTreeMap::new(), now: None, judged: None }
    }

    /// The same, without the fits that learn a nest's physics: for comparing, and where the prior must stand.
    #[must_use]
    pub fn without_fits(mut self) -> Self {
        self.watches.iter_mut().for_each(Watch::without_fits);
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
            Input::Watch { alarm, failing, detail } => {
                let key = AlarmKey { alarm, nest: None, probe: None, node: None };
                let verdict = if failing { Verdict::Ill } else { Verdict::Well };
                let manner = Manner::of(alarm, Span::ZERO, Span::ZERO);
                self.put(now, key, verdict, manner, true, |_| detail, &mut out);
            }
            Input::Keeper(act) => self.keeper(now, &act, &mut out),
            // What a will says is told by silence soon enough; the state itself is shown by the shell.
            Input::Link { .. } | Input::Wake => {}
        }
        let due = self.judged.is_none_or(|j| now.since(j) >= JUDGE_EVERY);
        if due {
            self.judged = Some(Timestamp::from_unix_ms(now.unix_ms() - now.unix_ms().rem_euclid(JUDGE_EVERY.ms())));
            for nest in 0..self.watches.len() {
                self.judge(now, nest, &mut out);
            }
        }
        out
    }

    /// When [`Self::step`] wants to be called with [`Input::Wake`] at the latest.
    pub fn wake_at(&self) -> Option<Timestamp> {
        self.judged.map(|j| j.plus(JUDGE_EVERY))
    }

    fn hear(&mut self, now: Timestamp, r: Reading, out: &mut Vec<Effect>) {
        let mut rejected = Vec::new();
        for nest in 0..self.watches.len() {
            let watch = &mut self.watches[nest];
            if !watch.lists(r.source) {
                continue;
            }
            if watch.newest.is_some_and(|n| r.at.since(n) > LEARN_ANEW) {
                watch.first = None;
            }
            let before = (watch.heating(), watch.guard());
            watch.hear(r.source, r.at, r.measured, &mut rejected);
            // A danger does not wait for the minute.
            if before != (watch.heating(), watch.guard()) {
                self.judge(now, nest, out);
            }
        }
        out.extend(rejected.into_iter().map(|(source, at, why)| Effect::Rejected { source, at, why }));
    }

    fn judge(&mut self, now: Timestamp, nest: usize, out: &mut Vec<Effect>) {
        let settings = self.shelf.alarms.clone();
        let findings = self.judges[nest].findings(now, &self.watches[nest], &settings);
        let learned = self.watches[nest].is_learned(settings.learning);
        for f in findings {
            let probe = f.probe.and_then(|p| self.watches[nest].ears.get(p)).map(|e| e.source);
            let key = AlarmKey { alarm: f.alarm, nest: u16::try_from(nest).ok(), probe, node: None };
            let silence = matches!(f.alarm, Alarm::ProbeSilent | Alarm::NestUnwatched);
            let may_raise = learned || silence || f.alarm.priority() == Priority::Danger;
            let manner = Manner::of(f.alarm, f.on_delay, Span::ZERO);
            let describe =
                |core: &Self| core.judges[nest].describe(f.alarm, f.probe, &core.watches[nest], now, &settings);
            self.put(now, key, f.verdict, manner, may_raise, describe, out);
        }
    }

    #[expect(clippy::too_many_arguments, reason = "one private hub; a struct would only rename its arguments")]
    fn put(
        &mut self,
        now: Timestamp,
        key: AlarmKey,
        verdict: Verdict,
        manner: Manner,
        may_raise: bool,
        describe: impl FnOnce(&Self) -> String,
        out: &mut Vec<Effect>,
    ) {
        let standing = self.alarms.entry(key.clone()).or_insert(Standing {
            life: Life::NotJudged,
            manner,
            since: now,
            cause: None,
        });
        standing.manner = manner;
        let was = standing.life.state();
        let event = standing.life.judge(now, verdict, manner, may_raise);
        let state = standing.life.state();
        if was != state {
            standing.since = now;
        }
        let Some(event) = event else { return };
        let cause = self.cause_of(&key);
        if let Some(s) = self.alarms.get_mut(&key) {
            s.cause = cause;
        }
        let detail = describe(self);
        let told = event == Event::Raised && cause.is_none();
        out.push(Effect::Alarm(AlarmChange { at: now, key, event, state, detail, cause, told }));
    }

    /// The standing alarm of which this one is a consequence.
    fn cause_of(&self, key: &AlarmKey) -> Option<Alarm> {
        let causes: &[Alarm] = match key.alarm {
            Alarm::BroodHot | Alarm::BroodLimit | Alarm::ProbeHot | Alarm::ForecastHot | Alarm::GradientFlat => {
                &[Alarm::HeaterStuckOn]
            }
            Alarm::BroodCold | Alarm::ForecastCold => &[Alarm::HeaterNoHeat],
            _ => &[],
        };
        causes.iter().copied().find(|c| {
            let cause = AlarmKey { alarm: *c, nest: key.nest, probe: None, node: None };
            self.alarms.get(&cause).is_some_and(|s| s.life.is_ill())
        })
    }

    fn keeper(&mut self, now: Timestamp, act: &KeeperAct, out: &mut Vec<Effect>) {
        let (KeeperAct::Acknowledge(key)
        | KeeperAct::Shelve(key, _)
        | KeeperAct::Unshelve(key)
        | KeeperAct::Reset(key)) = &act;
        let key = key.clone();
        let Some(s) = self.alarms.get_mut(&key) else { return };
        let event = match act {
            KeeperAct::Acknowledge(_) => s.life.acknowledge(now),
            KeeperAct::Shelve(_, length) => Ok(s.life.shelve(now, *length)),
            KeeperAct::Unshelve(_) => s.life.unshelve(now),
            KeeperAct::Reset(_) => s.life.reset(),
        };
        // A declined act changes nothing; the shell asks [`Self::declines`] first and says why.
        let Ok(event) = event else { return };
        s.since = now;
        let (state, cause) = (s.life.state(), s.cause);
        out.push(Effect::Alarm(AlarmChange { at: now, key, event, state, detail: String::new(), cause, told: false }));
    }

    /// Why a keeper's act would be declined now, if it would.
    pub fn declines(&self, now: Timestamp, act: &KeeperAct) -> Option<Declined> {
        let (KeeperAct::Acknowledge(key)
        | KeeperAct::Shelve(key, _)
        | KeeperAct::Unshelve(key)
        | KeeperAct::Reset(key)) = act;
        let Some(s) = self.alarms.get(key) else { return Some(Declined::NotRaised) };
        let mut life = s.life;
        match act {
            KeeperAct::Acknowledge(_) => life.acknowledge(now).err(),
            KeeperAct::Shelve(..) => None,
            KeeperAct::Unshelve(_) => life.unshelve(now).err(),
            KeeperAct::Reset(_) => life.reset().err(),
        }
    }

    /// What is believed about nest `nest` at `at`, without hindsight and without changing anything.
    pub fn nest(&self, nest: usize, at: Timestamp) -> Option<NestNow> {
        self.watches.get(nest).map(|w| w.now(at, self.shelf.alarms.learning))
    }

    /// Every alarm that exists on this shelf, with its state, since when, and its cause where it is a consequence.
    pub fn alarms(&self) -> impl Iterator<Item = (&AlarmKey, State, Timestamp, Option<Alarm>)> {
        self.alarms.iter().map(|(k, s)| (k, s.life.state(), s.since, s.cause))
    }

    /// Puts an alarm back into the state that history says it had; for a restart only.
    pub fn restore(&mut self, change: &AlarmChange) {
        let manner = Manner::of(change.key.alarm, Span::ZERO, Span::ZERO);
        let life = Life::restored(change.state, change.at);
        self.alarms.insert(change.key.clone(), Standing { life, manner, since: change.at, cause: change.cause });
    }
}

fn position(sources: &[String], name: &str) -> Option<SourceId> {
    sources.iter().position(|s| s == name).and_then(|i| u16::try_from(i).ok()).map(SourceId)
}

#[cfg(test)]
mod slow_tests;
#[cfg(test)]
mod tests;
