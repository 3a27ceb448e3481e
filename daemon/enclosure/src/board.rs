//! All alarms of a shelf: each one's life, what causes what, and what is told. Causes speak before consequences, a
//! flood is told as one, an alarm that comes and goes is held back.
mod acts;

pub use acts::silence_max;

use crate::alarm::{Alarm, AlarmKey, Event, Priority, State};
use crate::lifecycle::{Design, Life, Manner, Setting, Trigger, Verdict};
use crate::time::{Span, Timestamp};
use alloc::collections::{BTreeMap, VecDeque};
use alloc::vec::Vec;

/// Longest silence of a danger.
pub const DANGER_SILENCE_MAX: Span = Span::from_min(30);
/// Longest silence of another alarm.
pub const SILENCE_MAX: Span = Span::from_h(7 * 24);
/// An alarm is out of service for so long at most; without an end it is until it is put back.
pub const OUT_OF_SERVICE_MAX: Span = Span::from_h(400 * 24);
/// A flood begins with more than so many alarms within [`FLOOD_WITHIN`] (ISA-18.2, EEMUA 191) ...
pub const FLOOD_BEGINS: usize = 10;
/// ... and ends with fewer than so many.
pub const FLOOD_ENDS: usize = 5;
/// See [`FLOOD_BEGINS`].
pub const FLOOD_WITHIN: Span = Span::from_min(10);
/// What a cause brought may outlast it: a nest that was too hot cools for a while.
const AFTERMATH: Span = Span::from_min(60);
/// The same where the consequence is a danger or a silence.
const AFTERMATH_SHORT: Span = Span::from_min(10);
/// Raisings of one alarm that are remembered.
const TURNS_KEPT: usize = 16;

/// How alarms behave together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// An alarm that is raised so often ...
    pub chatter_raised: u32,
    /// ... within this chatters; it is held back until it has not turned for as long.
    pub chatter_within: Span,
    /// An answered alarm that is worse by so much is raised anew, in the unit of its severity (K).
    pub worse_by: f64,
}

/// One condition at one moment, as far as the board needs to know it.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// What is the case.
    pub verdict: Verdict,
    /// Delays and latching.
    pub manner: Manner,
    /// False while a nest is being learned, or a keeper works at it.
    pub may_raise: bool,
    /// The season expects it: it is not judged.
    pub out_of_season: bool,
    /// The alarms that explain it, the nearest first.
    pub causes: Vec<AlarmKey>,
    /// How grave it is (°C), where that can grow.
    pub severity: Option<f64>,
}

/// One alarm as it stands, and all that a restart must bring back.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// Its life.
    pub life: Life,
    /// Since when it is in its state.
    pub since: Timestamp,
    /// When its condition ended last.
    pub ended: Option<Timestamp>,
    /// When it was raised within the time of chattering.
    pub turns: VecDeque<Timestamp>,
    /// How grave it was when it was answered (°C).
    pub answered_at: Option<f64>,
}

/// What is to be said beside an alarm's own words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remark {
    /// It was raised so often within the time of chattering, and is held back from here on.
    Chatters(u32),
    /// A flood begins or goes on; so many alarms came within ten minutes.
    Flood(usize),
    /// The flood is over; so many more stand that were held back.
    FloodOver(usize),
    /// The consequence that makes an answered alarm worse.
    WorseBy(Alarm),
}

/// One change on the board.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Which alarm.
    pub key: AlarmKey,
    /// What happened.
    pub event: Event,
    /// Where it stands now.
    pub state: State,
    /// The alarm of which it is a consequence.
    pub cause: Option<Alarm>,
    /// Whether a notice is due.
    pub told: bool,
    /// What else is to be said.
    pub remark: Option<Remark>,
}

/// Every alarm of a shelf.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Board {
    standing: BTreeMap<AlarmKey, Standing>,
    /// When alarms that are no dangers were raised, within [`FLOOD_WITHIN`].
    raised: VecDeque<Timestamp>,
    flood: bool,
    /// Whether one has spoken for all that the last flood held back.
    spoken: bool,
}

impl Standing {
    fn new(now: Timestamp) -> Self {
        Self { life: Life::NotJudged, since: now, ended: None, turns: VecDeque::new(), answered_at: None }
    }

    fn chatters(&self, rules: &Rules) -> bool {
        let held_back = matches!(self.life, Life::Suppressed { why: Design::Chatter, .. });
        // The one about to be raised counts too; what is held back stays so until it has been quiet.
        let needed = if held_back { 1 } else { (rules.chatter_raised as usize).saturating_sub(1).max(1) };
        self.turns.len() >= needed
    }
}

impl Board {
    /// Takes in what is the case with one alarm; what changes comes into `out`.
    pub fn judge(&mut self, now: Timestamp, key: &AlarmKey, case: &Case, rules: &Rules, out: &mut Vec<Change>) {
        self.ebb(now);
        if let Some(s) = self.standing.get_mut(key) {
            s.turns.retain(|t| now.since(*t) < rules.chatter_within);
        }
        let design = self.design(now, key, case, rules);
        let setting = Setting { manner: case.manner, may_raise: case.may_raise, design };
        self.turn(now, key, Trigger::Judged(case.verdict), &setting, out);
        let worse = self.standing.get(key).is_some_and(|s| {
            matches!(s.life, Life::Acknowledged { .. })
                && s.answered_at.zip(case.severity).is_some_and(|(then, now)| now > then + rules.worse_by)
        });
        if worse {
            self.turn(now, key, Trigger::Worse, &setting, out);
        }
    }

    /// Lets silences end whose time is over; the judge's next word says what holds.
    pub fn tick(&mut self, now: Timestamp, causes: impl Fn(&AlarmKey) -> Vec<AlarmKey>, out: &mut Vec<Change>) {
        let over = |s: &Standing| s.life.ends().is_some_and(|end| end <= now);
        let keys: Vec<AlarmKey> = self.standing.iter().filter(|(_, s)| over(s)).map(|(k, _)| k.clone()).collect();
        for key in keys {
            let setting = self.plain(now, &key, &causes(&key));
            self.turn(now, &key, Trigger::Time, &setting, out);
        }
    }

    /// When the next silence ends.
    pub fn due(&self) -> Option<Timestamp> {
        self.standing.values().filter_map(|s| s.life.ends()).min()
    }

    /// Every alarm there is, and how it stands.
    pub fn standing(&self) -> impl Iterator<Item = (&AlarmKey, &Standing)> {
        self.standing.iter()
    }

    /// One alarm.
    pub fn get(&self, key: &AlarmKey) -> Option<&Standing> {
        self.standing.get(key)
    }

    /// Whether a flood goes on, and whether one has spoken for all that the last one held back.
    pub fn flood(&self) -> (bool, bool) {
        (self.flood, self.spoken)
    }

    /// When alarms were raised that count for a flood.
    pub fn raised(&self) -> impl Iterator<Item = Timestamp> + '_ {
        self.raised.iter().copied()
    }

    /// Puts an alarm back as it stood; for a restart only.
    pub fn put_back(&mut self, key: AlarmKey, standing: Standing) {
        self.standing.insert(key, standing);
    }

    /// Puts the count of a flood back; for a restart only.
    pub fn put_back_flood(&mut self, (flood, spoken): (bool, bool), raised: impl IntoIterator<Item = Timestamp>) {
        (self.flood, self.spoken) = (flood, spoken);
        self.raised = raised.into_iter().take(4 * FLOOD_BEGINS).collect();
    }

    /// The clock was set: what runs, runs on by the time that passed.
    pub fn shift(&mut self, by: Span, now: Timestamp) {
        let moved = |at: Timestamp| at.plus(by).min(now);
        for (key, s) in &mut self.standing {
            let longest = silence_max(key.alarm);
            s.life = s.life.shifted(by, now, longest);
            s.since = s.since.min(now);
            s.ended = s.ended.map(moved);
            s.turns.iter_mut().for_each(|t| *t = moved(*t));
        }
        self.raised.iter_mut().for_each(|t| *t = moved(*t));
    }

    /// Its state is as it is since `at`; no delay runs from there.
    pub fn date(&mut self, key: &AlarmKey, at: Timestamp) {
        if let Some(standing) = self.standing.get_mut(key) {
            standing.since = at;
        }
    }

    /// Why an alarm is to be suppressed now.
    fn design(&self, now: Timestamp, key: &AlarmKey, case: &Case, rules: &Rules) -> Option<Design> {
        if case.out_of_season {
            return Some(Design::Season);
        }
        if let Some(cause) = self.cause(now, key, &case.causes) {
            return Some(Design::Cause(cause));
        }
        if key.alarm.priority() == Priority::Danger {
            return None;
        }
        let standing = self.standing.get(key);
        if standing.is_some_and(|s| s.chatters(rules) && !is_announced(s.life)) {
            return Some(Design::Chatter);
        }
        // What was told before the flood stays told; the one with which it begins tells of it.
        let told = standing.is_some_and(|s| is_announced(s.life));
        (self.flood && !told).then_some(Design::Flood)
    }

    /// The cause that stands, or ended so lately that it still explains this.
    fn cause(&self, now: Timestamp, key: &AlarmKey, causes: &[AlarmKey]) -> Option<Alarm> {
        let danger = key.alarm.priority() == Priority::Danger;
        let silence = matches!(key.alarm, Alarm::ProbeSilent | Alarm::NodeSilent);
        let this = self.standing.get(key);
        let was_beneath = |alarm| this.is_some_and(|s| s.life.cause() == Some(alarm));
        let answered = this.is_some_and(|s| matches!(s.life, Life::Acknowledged { .. }));
        let explains = |cause: &&AlarmKey| {
            let Some(s) = self.standing.get(*cause) else { return false };
            if s.life.is_ill() {
                // The same trouble at another nest is news to who answered for the first: it is worse than it was then.
                // And no two of them may silence each other.
                let known = cause.alarm != key.alarm || was_beneath(cause.alarm);
                let settled = matches!(s.life, Life::Acknowledged { .. }) || s.life.cause().is_some();
                // A silenced cause tells nobody: only more silence may follow it unsaid.
                return silence || matches!(s.life, Life::Unacknowledged { .. }) || (settled && known);
            }
            let patience = if danger || silence { AFTERMATH_SHORT } else { AFTERMATH };
            let lately = s.ended.is_some_and(|e| now.since(e) < patience);
            lately && (was_beneath(cause.alarm) || (!danger && !silence))
        };
        if answered { None } else { causes.iter().find(explains).map(|c| c.alarm) }
    }

    /// The setting where nothing is judged: what explains it now still does.
    fn plain(&self, now: Timestamp, key: &AlarmKey, causes: &[AlarmKey]) -> Setting {
        let design = self.cause(now, key, causes).map(Design::Cause);
        Setting { manner: Manner::of(key.alarm, Span::ZERO, Span::ZERO), may_raise: true, design }
    }

    fn turn(&mut self, now: Timestamp, key: &AlarmKey, trigger: Trigger, setting: &Setting, out: &mut Vec<Change>) {
        let s = self.standing.entry(key.clone()).or_insert_with(|| Standing::new(now));
        let was = s.life;
        // A verdict is never declined, and acts were asked about before.
        let Ok((life, event)) = was.on(now, trigger, setting) else { return };
        s.life = life;
        if was.state() != life.state() {
            s.since = now;
        }
        if was.is_ill() && !life.is_ill() {
            s.ended = Some(now);
        }
        let Some(event) = event else { return };
        let state = life.state();
        // Whatever leads there is to be told.
        let mut turn = (state == State::Unacknowledged, None);
        if event == Event::Raised {
            if s.turns.len() == TURNS_KEPT {
                s.turns.pop_front();
            }
            s.turns.push_back(now);
            if matches!(life, Life::Suppressed { why: Design::Chatter, .. }) {
                turn.1 = Some(Remark::Chatters(s.turns.len() as u32));
            }
        }
        if key.alarm.priority() != Priority::Danger {
            turn = self.count(now, (was, life), event, turn);
        }
        let (told, remark) = turn;
        let cause = life.cause();
        out.push(Change { key: key.clone(), event, state, cause, told, remark });
        if let (Event::Raised, Some(cause)) = (event, cause) {
            self.worsen(now, key, cause, out);
        }
    }

    /// A danger beneath an answered cause makes that one worse than when it was answered.
    fn worsen(&mut self, now: Timestamp, key: &AlarmKey, cause: Alarm, out: &mut Vec<Change>) {
        if key.alarm.priority() != Priority::Danger {
            return;
        }
        let above = AlarmKey { alarm: cause, nest: key.nest, probe: None, node: None };
        let Some(s) = self.standing.get(&above) else { return };
        if matches!(s.life, Life::Acknowledged { .. }) {
            let setting = self.plain(now, &above, &[]);
            let from = out.len();
            self.turn(now, &above, Trigger::Worse, &setting, out);
            out[from..].iter_mut().for_each(|c| c.remark = Some(Remark::WorseBy(key.alarm)));
        }
    }

    /// Counts one that is raised; whether it is told, now that a flood is known, and what it says beside its own words.
    fn count(
        &mut self,
        now: Timestamp,
        (was, life): (Life, Life),
        event: Event,
        (told, remark): (bool, Option<Remark>),
    ) -> (bool, Option<Remark>) {
        let by_flood = |life| matches!(life, Life::Suppressed { why: Design::Flood, .. });
        if by_flood(was) && told {
            // After a flood one speaks for all.
            let first = !core::mem::replace(&mut self.spoken, true);
            return (first, first.then(|| Remark::FloodOver(self.held_by_flood())));
        }
        if event != Event::Raised || !(told || by_flood(life)) {
            return (told, remark);
        }
        if self.raised.len() == 4 * FLOOD_BEGINS {
            self.raised.pop_front();
        }
        self.raised.push_back(now);
        if self.raised.len() > FLOOD_BEGINS && !self.flood {
            (self.flood, self.spoken) = (true, false);
            return (told, Some(Remark::Flood(self.raised.len())));
        }
        (told, remark)
    }

    fn held_by_flood(&self) -> usize {
        self.standing.values().filter(|s| matches!(s.life, Life::Suppressed { why: Design::Flood, .. })).count()
    }

    /// Lets a flood run off.
    fn ebb(&mut self, now: Timestamp) {
        while self.raised.front().is_some_and(|t| now.since(*t) >= FLOOD_WITHIN) {
            self.raised.pop_front();
        }
        if self.flood && self.raised.len() < FLOOD_ENDS {
            self.flood = false;
        }
    }
}

const fn is_announced(life: Life) -> bool {
    matches!(life, Life::Unacknowledged { .. } | Life::Acknowledged { .. })
}

#[cfg(test)]
mod tests;
