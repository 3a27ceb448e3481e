//! From findings to the board: who may be raised, what explains what, and the evidence for it.
use super::{Core, Effect, sayings, season};
use crate::alarm::{Alarm, AlarmChange, AlarmKey, Event, Priority};
use crate::board::{Case, Change, Rules};
use crate::evidence::{Aside, Evidence, Eyes};
use crate::judge::{self, Finding};
use crate::lifecycle::{Manner, Verdict};
use crate::nest::Ear;
use crate::time::{Span, Timestamp};
use alloc::string::String;
use alloc::vec::Vec;

impl Core {
    pub(super) fn rules(&self) -> Rules {
        let s = &self.shelf.alarms;
        Rules { chatter_raised: s.chatter_raised, chatter_within: s.chatter_within, worse_by: s.worse_k }
    }

    pub(super) fn judge_all(&mut self, now: Timestamp, out: &mut Vec<Effect>) {
        self.judge_nodes(now, out);
        for nest in 0..self.watches.len() {
            self.rooms[nest].note(now, self.watches[nest].room_c());
            self.judge(now, nest, out);
        }
        self.judge_gap(now, out);
    }

    /// Nodes before their probes: the cause speaks first.
    fn judge_nodes(&mut self, now: Timestamp, out: &mut Vec<Effect>) {
        let silence = self.nodes.silence(now, &self.shelf.alarms);
        let said = if silence.all == Verdict::Ill { Eyes::AllSilent } else { Eyes::NodesHeard };
        self.put(now, &node_key(None, None), silence.all, (Span::ZERO, true), |_| Evidence::of(said), out);
        for (n, verdict, last) in silence.each {
            let Some(node) = self.nodes.get(n) else { continue };
            let key = node_key(node.nest, Some(node.name.clone()));
            let silent = Eyes::NodeSilent { last: last.map(|at| now.since(at)) };
            let said = if verdict == Verdict::Well { Eyes::NodeHeard } else { silent };
            self.put(now, &key, verdict, (Span::ZERO, true), |_| Evidence::of(said), out);
        }
    }

    pub(super) fn judge(&mut self, now: Timestamp, nest: usize, out: &mut Vec<Effect>) {
        let season = judge::season(&self.watches[nest], now, &self.shelf.alarms).copied();
        self.watches[nest].band = season.map_or(self.watches[nest].nest.band, |s| s.band);
        self.watches[nest].look();
        let findings = self.judges[nest].findings(now, &self.watches[nest], &self.shelf.alarms);
        let index = u16::try_from(nest).ok();
        // What the season leaves without a finding ends too.
        let silent: Vec<AlarmKey> = self
            .board
            .standing()
            .map(|(key, _)| key)
            .filter(|k| k.nest == index && !findings.iter().any(|f| f.alarm == k.alarm))
            .filter(|k| self.is_out_of_season(now, k))
            .cloned()
            .collect();
        for key in silent {
            self.put(now, &key, Verdict::Unknown, (Span::ZERO, true), |_| Evidence::default(), out);
        }
        for f in findings {
            let source = f.probe.and_then(|p| self.watches[nest].ears.get(p)).map(|e| e.source);
            let key = AlarmKey { alarm: f.alarm, nest: index, probe: source, node: None };
            let verdict = self.as_of_its_node(now, nest, &key, &f);
            let may_raise = self.may_raise(now, nest, f.alarm);
            let evidence = |core: &Self| core.evidence(now, nest, &f);
            self.put(now, &key, verdict, (f.on_delay, may_raise), evidence, out);
        }
    }

    /// Danger, silence and faults of the watch are raised from the first minute on, whoever works at the nest.
    fn may_raise(&self, now: Timestamp, nest: usize, alarm: Alarm) -> bool {
        let always = alarm.priority() == Priority::Danger || matches!(alarm, Alarm::ProbeSilent | Alarm::NestUnwatched);
        let excused = self.excused[nest].is_some_and(|until| now < until) && steps_with_warmth(alarm);
        always || (!excused && self.watches[nest].is_learned(self.shelf.alarms.learning))
    }

    /// A probe or a nest that fell silent with its whole node waits for the node to be held for silent.
    fn as_of_its_node(&self, now: Timestamp, nest: usize, key: &AlarmKey, f: &Finding) -> Verdict {
        let ears = &self.watches[nest].ears;
        if f.verdict != Verdict::Ill || !matches!(f.alarm, Alarm::ProbeSilent | Alarm::NestUnwatched) {
            return f.verdict;
        }
        let alone = |e: &Ear| self.nodes.is_alone(e.source, e.temperature.map(|t| t.1));
        let waits = match f.probe.and_then(|p| ears.get(p)) {
            Some(ear) => !alone(ear),
            // Probes that speak and are not believed are no silence.
            None => ears.iter().all(|e| !alone(e)) && !ears.iter().any(|e| self.nodes.speaks(e.source, now)),
        };
        let explained = || self.causes(now, key).iter().any(|c| self.board.get(c).is_some_and(|s| s.life.is_ill()));
        if waits && !explained() { Verdict::Between } else { Verdict::Ill }
    }

    pub(super) fn watch(&mut self, now: Timestamp, alarm: Alarm, failing: bool, detail: String, out: &mut Vec<Effect>) {
        let key = AlarmKey { alarm, nest: None, probe: None, node: None };
        let verdict = if failing { Verdict::Ill } else { Verdict::Well };
        self.put(now, &key, verdict, (Span::ZERO, true), |_| Evidence::told(detail), out);
    }

    /// A second watch, by the name of its shelf.
    pub(super) fn elsewhere(
        &mut self,
        now: Timestamp,
        shelf: String,
        missed: bool,
        detail: String,
        out: &mut Vec<Effect>,
    ) {
        let key = AlarmKey { alarm: Alarm::NodeSilent, nest: None, probe: None, node: Some(shelf) };
        let verdict = if missed { Verdict::Ill } else { Verdict::Well };
        self.put(now, &key, verdict, (Span::ZERO, true), |_| Evidence::told(detail), out);
    }

    pub(super) fn put(
        &mut self,
        now: Timestamp,
        key: &AlarmKey,
        verdict: Verdict,
        (on_delay, may_raise): (Span, bool),
        evidence: impl FnOnce(&Self) -> Evidence,
        out: &mut Vec<Effect>,
    ) {
        let settings = &self.shelf.alarms;
        let off_delay = if key.nest.is_some() { settings.off_delay(key.alarm) } else { Span::ZERO };
        // Nothing stands and nothing is ill: nothing needs explaining.
        let rests = verdict != Verdict::Ill && self.board.get(key).is_some_and(|s| s.life.rests());
        let case = Case {
            verdict,
            manner: Manner::of(key.alarm, on_delay, off_delay),
            may_raise,
            out_of_season: self.is_out_of_season(now, key),
            causes: if rests { Vec::new() } else { self.causes(now, key) },
            severity: if rests { None } else { self.severity(key) },
        };
        let mut changes = Vec::new();
        let rules = self.rules();
        self.board.judge(now, key, &case, &rules, &mut changes);
        if changes.is_empty() {
            return;
        }
        let by_season = case.out_of_season && changes.iter().any(|c| c.event == Event::Suppressed);
        let evidence = if by_season { Evidence::of(Aside::InSeason) } else { evidence(self) };
        self.tell(now, changes, &evidence, out);
    }

    /// Changes of the board as effects, with their evidence.
    pub(super) fn tell(&self, now: Timestamp, changes: Vec<Change>, evidence: &Evidence, out: &mut Vec<Effect>) {
        for c in changes {
            let evidence = sayings::remarked(evidence.clone(), &c, &self.board);
            let Change { key, event, state, cause, told, .. } = c;
            out.push(Effect::Alarm(AlarmChange { at: now, key, event, state, evidence, cause, told }));
        }
    }

    fn is_out_of_season(&self, now: Timestamp, key: &AlarmKey) -> bool {
        let watch = key.nest.and_then(|n| self.watches.get(usize::from(n)));
        let season = watch.and_then(|w| judge::season(w, now, &self.shelf.alarms));
        match season {
            Some(s) => season::expects(s, key.alarm),
            // There is no rest to be warm in.
            None => key.alarm == Alarm::RestWarm,
        }
    }

    /// How grave an alarm is, °C, where that can grow.
    pub(super) fn severity(&self, key: &AlarmKey) -> Option<f64> {
        let watch = self.watches.get(usize::from(key.nest?))?;
        let hottest = watch.ears.iter().filter_map(|e| Some(e.temperature?.0)).reduce(f64::max);
        match key.alarm {
            Alarm::BroodHot | Alarm::BroodLimit | Alarm::HeaterStuckOn => watch.brood().map(|b| b.2).or(hottest),
            Alarm::ProbeHot => hottest,
            Alarm::BroodCold => watch.brood().map(|b| -b.0),
            _ => None,
        }
    }

    /// The alarms that explain this one if they stand, the nearest first.
    pub(super) fn causes(&self, now: Timestamp, key: &AlarmKey) -> Vec<AlarmKey> {
        let here = |alarm| AlarmKey { alarm, nest: key.nest, probe: None, node: None };
        let of_watch = |alarm| AlarmKey { alarm, nest: None, probe: None, node: None };
        let mut causes = Vec::new();
        match key.alarm {
            Alarm::BroodHot | Alarm::BroodLimit | Alarm::ProbeHot | Alarm::ForecastHot | Alarm::GradientFlat => {
                causes.push(here(Alarm::HeaterStuckOn));
            }
            Alarm::BroodCold | Alarm::ForecastCold => {
                causes.push(here(Alarm::HeaterNoHeat));
                causes.extend(self.power_away());
            }
            // What stood still with its power cooled meanwhile.
            Alarm::HeaterNoHeat => causes.extend(self.power_away()),
            Alarm::ProbeSilent | Alarm::NestUnwatched => {
                causes.push(of_watch(Alarm::BrokerLost));
                causes.push(node_key(None, None));
                let mine = key.probe.and_then(|p| self.nodes.of(p)).map(|n| &n.name);
                let standing = self.board.standing().map(|(k, _)| k).filter(|k| k.alarm == Alarm::NodeSilent);
                let fits = |k: &&AlarmKey| match mine {
                    Some(name) => k.node.as_ref() == Some(name),
                    None => k.nest.is_some() && k.nest == key.nest,
                };
                causes.extend(standing.filter(fits).cloned());
            }
            Alarm::NodeSilent => {
                causes.push(of_watch(Alarm::BrokerLost));
                if key.node.is_some() {
                    causes.push(node_key(None, None));
                }
            }
            Alarm::WatchGap => {
                causes.push(of_watch(Alarm::BrokerLost));
                causes.extend(self.board.standing().map(|(k, _)| k).filter(|k| k.alarm == Alarm::NodeSilent).cloned());
            }
            _ => {}
        }
        causes.extend(self.same_room(now, key));
        causes
    }

    /// All nodes silent at once, or a time without power.
    fn power_away(&self) -> impl Iterator<Item = AlarmKey> {
        let gap = AlarmKey { alarm: Alarm::WatchGap, nest: None, probe: None, node: None };
        [node_key(None, None)].into_iter().chain(self.gaps.was_power().then_some(gap))
    }

    /// Other nests with the same trouble, where the room itself changed for all: a window in winter, a heatwave.
    fn same_room(&self, now: Timestamp, key: &AlarmKey) -> Vec<AlarmKey> {
        let sign = match key.alarm {
            Alarm::BroodCold => -1.0,
            Alarm::BroodHot => 1.0,
            _ => return Vec::new(),
        };
        let moved = |nest: usize| {
            self.rooms.get(nest).and_then(|r| r.course(now)).is_some_and(|c| (c.to_c - c.from_c) * sign > 0.0)
        };
        let Some(own) = key.nest.map(usize::from).filter(|n| moved(*n)) else { return Vec::new() };
        let others = (0..self.watches.len()).filter(|n| *n != own && moved(*n));
        others.map(|n| AlarmKey { alarm: key.alarm, nest: u16::try_from(n).ok(), probe: None, node: None }).collect()
    }

    fn evidence(&self, now: Timestamp, nest: usize, f: &Finding) -> Evidence {
        let mut out = self.judges[nest].evidence(f.alarm, f.probe, &self.watches[nest], now, &self.shelf.alarms);
        if let Some(moved) = self.rooms[nest].course(now).and_then(|course| sayings::room_moved(f.alarm, &course)) {
            out.push(moved);
        }
        out
    }
}

pub(super) const fn node_key(nest: Option<u16>, node: Option<String>) -> AlarmKey {
    AlarmKey { alarm: Alarm::NodeSilent, nest, probe: None, node }
}

/// What a lid, cool water or a move may feign for a while.
const fn steps_with_warmth(alarm: Alarm) -> bool {
    matches!(
        alarm,
        Alarm::BroodCold
            | Alarm::BroodHot
            | Alarm::ForecastHot
            | Alarm::ForecastCold
            | Alarm::HeaterNoHeat
            | Alarm::GradientFlat
            | Alarm::ProbeImplausible
            | Alarm::RestWarm
    )
}
