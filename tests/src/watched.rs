//! A simulated shelf under the eyes of the pure core, in this process: no daemon, no disk, nothing between.
use enclosure::estimate::FitNews;
use enclosure::reading::Unit;
use enclosure::{Alarm, AlarmChange, Core, Effect, Event, Input, Measured, NestNow, Reading, SourceId, Timestamp};
use std::collections::{HashMap, VecDeque};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use warmend::history::AlarmRecord;
use warmend::pipeline::RESTORED;
use warmend::shelf_file::ShelfFile;
use world::{Band, Sample, Truth, Value, World, WorldSpec, shelf_toml};

/// Seconds between two looks at the truth.
pub const LOOK_S: f64 = 300.0;

/// How true a nest's alarms can have been at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Look {
    t_s: f64,
    mean_c: f64,
    high_c: f64,
    hottest_c: f64,
}

/// An alarm that was raised.
#[derive(Clone, Debug, PartialEq)]
pub struct Raised {
    /// When, s since 1970.
    pub t_s: f64,
    /// Which.
    pub alarm: Alarm,
    /// Which nest, by its place; none: the shelf's.
    pub nest: Option<u16>,
    /// Which probe.
    pub probe: Option<String>,
    /// What was said.
    pub detail: String,
}

/// World and core, hand in hand.
pub struct Watched {
    /// What is true.
    pub world: World,
    /// Everything raised so far.
    pub raised: Vec<Raised>,
    /// Every change of an alarm so far, as history would keep it.
    pub changes: Vec<AlarmRecord>,
    /// What came of every fit so far.
    pub fits: Vec<FitNews>,
    /// Readings taken in.
    pub readings: u64,
    /// Time spent in the world, and in the core.
    pub spent: (Duration, Duration),
    /// The shelf as its keeper described it.
    pub file: ShelfFile,
    core: Core,
    recent: VecDeque<Reading>,
    ids: HashMap<(Arc<str>, Arc<str>), SourceId>,
    band: Band,
    nests: Vec<String>,
    looks: Vec<Vec<Look>>,
    next_look_s: f64,
}

impl Watched {
    /// The shelf of `spec` as its keeper would describe it; the same seed tells the same story.
    ///
    /// # Panics
    /// If the shelf file that the world writes is none.
    pub fn new(spec: &WorldSpec, seed: u64) -> Self {
        let band = Band::default();
        let text = shelf_toml("watched", spec, band);
        let (file, _) = warmend::shelf_file::check_text(&text, Path::new("shelf.toml"), std::iter::empty())
            .unwrap_or_else(|e| panic!("{e}\n{text}"));
        Self {
            world: World::new(spec, seed),
            raised: Vec::new(),
            changes: Vec::new(),
            fits: Vec::new(),
            readings: 0,
            spent: (Duration::ZERO, Duration::ZERO),
            core: Core::new(file.shelf.clone()),
            recent: VecDeque::new(),
            file,
            ids: HashMap::new(),
            band,
            nests: spec.nests.iter().map(|n| n.id.clone()).collect(),
            looks: vec![Vec::new(); spec.nests.len()],
            next_look_s: spec.epoch_s,
        }
    }

    /// Lets both live until `to_s`.
    pub fn advance(&mut self, to_s: f64) {
        self.advance_with(to_s, |_, _| {});
    }

    /// The same, with every sample bent by `bend` on its way from the world to the core.
    pub fn advance_with(&mut self, to_s: f64, mut bend: impl FnMut(&World, &mut Sample)) {
        while self.world.now_s() + world::STEP_S <= to_s {
            let part_s = (self.world.now_s() + LOOK_S).min(to_s);
            let began = crate::moment();
            let mut samples = self.world.advance(part_s);
            samples.iter_mut().for_each(|sample| bend(&self.world, sample));
            self.look();
            let turned = crate::moment();
            for sample in &samples {
                self.tell(sample);
            }
            self.spent.0 += turned - began;
            self.spent.1 += turned.elapsed();
        }
    }

    /// Lets the world live until `to_s` without anybody hearing of it.
    pub fn skip(&mut self, to_s: f64) {
        drop(self.world.advance(to_s));
    }

    /// A new core in place of the old one, with what outlives a restart, as the daemon brings it back: the fault that
    /// stood, the fit in force, the last hours of readings again, then the alarms.
    pub fn restart(&mut self) {
        let Some(now) = Timestamp::from_unix_s(self.world.now_s()) else { return };
        let kept = self.core.kept();
        let mut core = Core::new(self.core.shelf().clone());
        for (nest, held) in kept.nests.iter().enumerate().filter_map(|(nest, k)| Some((nest, k.held?))) {
            core.hold(nest, held);
        }
        let in_force = self.fits.iter().rev().find(|news| news.refused.is_none() && news.fit.is_some());
        if let Some((fit, at)) = in_force.and_then(|news| Some((news.fit.as_ref()?, news.at))) {
            assert!(core.take_up_fit(0, fit, at), "the first nest's own");
        }
        for reading in &self.recent {
            while let Some(wake) = core.wake_at().filter(|wake| *wake <= reading.at) {
                let _ = core.step(wake, Input::Wake);
            }
            let _ = core.step(reading.at, Input::Reading(*reading));
        }
        core.forget_alarms();
        core.take_back(kept, now);
        self.core = core;
    }

    /// The core, to hand it a fit or to ask it for one.
    pub fn core(&mut self) -> &mut Core {
        &mut self.core
    }

    /// Forgets what was seen and raised so far, for those who look at what the core itself keeps.
    pub fn forget(&mut self) {
        (self.raised, self.changes) = (Vec::new(), Vec::new());
        self.fits = Vec::new();
        self.looks.iter_mut().for_each(|l| *l = Vec::new());
    }

    /// What is believed about a nest now.
    pub fn believed(&self, nest: usize) -> Option<NestNow> {
        self.core.nest(nest, Timestamp::from_unix_s(self.world.now_s())?)
    }

    /// What is true of it.
    pub fn truth(&self, nest: usize) -> Option<Truth> {
        self.world.truth(&self.nests[nest])
    }

    /// Alarms that nothing in the truth of a quiet shelf accounts for: an hour either way, half a day ahead for a
    /// forecast, with some tenths of a kelvin for what a mean over an hour hides.
    pub fn unfounded(&self) -> Vec<&Raised> {
        self.raised.iter().filter(|r| !self.is_founded(r)).collect()
    }

    fn is_founded(&self, raised: &Raised) -> bool {
        let Some(nest) = raised.nest else { return true };
        let ahead_s = if matches!(raised.alarm, Alarm::ForecastHot | Alarm::ForecastCold) { 43_200.0 } else { 3600.0 };
        let Band { low_c, high_c, limit_c } = self.band;
        let founded = |l: &Look| match raised.alarm {
            Alarm::BroodHot | Alarm::ForecastHot => l.mean_c > high_c - 0.4,
            Alarm::BroodCold | Alarm::ForecastCold => l.mean_c < low_c + 0.4,
            Alarm::BroodLimit => l.high_c > limit_c - 0.7,
            Alarm::ProbeHot => l.hottest_c > limit_c + 4.0,
            Alarm::HeaterStuckOn | Alarm::HeaterNoHeat | Alarm::ProbeImplausible | Alarm::ProbeSilent => false,
            // Judged elsewhere: humidity, water and refuge have truths of their own.
            _ => true,
        };
        let looks = &self.looks[usize::from(nest)];
        looks.iter().filter(|l| l.t_s > raised.t_s - 3600.0 && l.t_s < raised.t_s + ahead_s).any(founded)
    }

    fn look(&mut self) {
        let now_s = self.world.now_s();
        if now_s < self.next_look_s {
            return;
        }
        self.next_look_s += LOOK_S;
        for (looks, id) in self.looks.iter_mut().zip(&self.nests) {
            let Some(truth) = self.world.truth(id) else { continue };
            let (mean_c, high_c, _) = truth.brood_c();
            let hottest_c = truth.gallery_c.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            looks.push(Look { t_s: now_s, mean_c, high_c, hottest_c });
        }
    }

    fn tell(&mut self, sample: &Sample) {
        let Some(at) = Timestamp::from_unix_s(sample.t) else { return };
        let key = (sample.node.clone(), sample.name.clone());
        let source = match self.ids.get(&key) {
            Some(id) => *id,
            None => {
                let Some(id) = self.core.source(&sample.source()) else { return };
                self.ids.insert(key, id);
                id
            }
        };
        let measured = match sample.value {
            Value::Bool(on) => Ok(Measured::On(on)),
            Value::Number(v) => match Unit::from_senml(sample.unit) {
                Some(unit) => Measured::new(unit, v),
                None => return,
            },
        };
        let Ok(measured) = measured else { return };
        while let Some(wake) = self.core.wake_at().filter(|w| *w <= at) {
            let effects = self.core.step(wake, Input::Wake);
            self.note(effects);
        }
        self.readings += 1;
        let reading = Reading { source, at, measured };
        while self.recent.front().is_some_and(|r| at.since(r.at) > RESTORED) {
            self.recent.pop_front();
        }
        self.recent.push_back(reading);
        let effects = self.core.step(at, Input::Reading(reading));
        self.note(effects);
    }

    fn note(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            if let Effect::Alarm(change) = &effect {
                self.changes.push(AlarmRecord::of(change, self.core.shelf(), self.core.sources()));
            }
            let (at, key, detail) = match effect {
                Effect::Alarm(AlarmChange { at, key, event: Event::Raised, evidence, .. }) => {
                    (at, key, warmend::evidence::words(&evidence))
                }
                Effect::Fit { news, .. } => {
                    self.fits.push(*news);
                    continue;
                }
                Effect::Alarm(_) | Effect::Rejected { .. } => continue,
            };
            let probe = key.probe.and_then(|p| self.core.sources().get(usize::from(p.0))).cloned();
            self.raised.push(Raised { t_s: at.unix_s(), alarm: key.alarm, nest: key.nest, probe, detail });
        }
    }
}
