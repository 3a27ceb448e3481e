//! A week of history in a few seconds: simulated, judged, and stored through the daemon's own store.
use super::words;
use crate::history::{AlarmRecord, Batch, Disbelief, FitAct, FitRecord, HistoricReading, KeeperNote, Store};
use enclosure::reading::Unit;
use enclosure::{Core, Effect, Input, Measured, Reading, Shelf, Span, Timestamp};
use std::ops::Range;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;
use world::{Sample, Value, World};

/// Simulated, judged and stored at once.
const CHUNK: Span = Span::from_h(3);
/// What is raised in the first hours, while the core finds its feet in the middle of a simulation, is no part of the
/// story: what still holds is raised anew by the daemon.
const FINDING_FEET: Span = Span::from_h(12);
/// Chunks that wait for the judge.
const CHUNKS_WAITING: usize = 4;

/// Lets the world live through `span` and stores what it told.
pub(super) fn make(shelf: &Shelf, world: &mut World, store: &mut Store, span: Range<Timestamp>) -> Result<(), String> {
    let (chunks, waiting) = sync_channel::<(Timestamp, Vec<Sample>)>(CHUNKS_WAITING);
    std::thread::scope(|scope| {
        let end = span.end;
        let mut to = span.start;
        scope.spawn(move || {
            while to < end {
                to = to.plus(CHUNK).min(end);
                if chunks.send((to, world.advance(to.unix_s()))).is_err() {
                    break;
                }
            }
        });
        let mut judge = Judge::new(shelf.clone(), span.start.plus(FINDING_FEET));
        let mut said = 0;
        for (to, samples) in waiting {
            let mut batch = judge.take(&samples);
            if to == end {
                batch.notes = notes(&span);
                batch.facts.push(("watched_until".to_owned(), end.unix_ms().to_string()));
            }
            for outcome in store.commit(&[batch]).map_err(|error| error.to_string())? {
                outcome.map_err(|error| error.to_string())?;
            }
            let days = to.since(span.start).ms() / 86_400_000;
            if days > said {
                said = days;
                words::progress(days);
            }
        }
        Ok(())
    })
}

/// A sample as a reading's value; `None` where it is none (a broken sensor's -127 °C).
pub(super) fn measured(sample: &Sample) -> Option<Measured> {
    match sample.value {
        Value::Bool(on) => Some(Measured::On(on)),
        Value::Number(v) => Measured::new(Unit::from_senml(sample.unit)?, v).ok(),
    }
}

/// Judges as the daemon does, in event time.
struct Judge {
    core: Core,
    shelf: Shelf,
    names: Vec<Arc<str>>,
    sources: Vec<String>,
    /// From when on changes are kept.
    from: Timestamp,
}

impl Judge {
    fn new(shelf: Shelf, from: Timestamp) -> Self {
        let core = Core::new(shelf.clone());
        let sources = core.sources().to_vec();
        let names = sources.iter().map(|name| name.as_str().into()).collect();
        Self { core, shelf, names, sources, from }
    }

    fn take(&mut self, samples: &[Sample]) -> Batch {
        let mut batch = Batch::default();
        for sample in samples {
            let (Some(source), Some(measured), Some(at)) =
                (self.core.source(&sample.source()), measured(sample), Timestamp::from_unix_s(sample.t))
            else {
                continue;
            };
            while let Some(wake) = self.core.wake_at().filter(|wake| *wake <= at) {
                let effects = self.core.step(wake, Input::Wake);
                self.keep(effects, &mut batch);
            }
            if let Some(name) = self.names.get(usize::from(source.0)) {
                batch.readings.push(HistoricReading { source: Arc::clone(name), at, measured, rejection: None });
            }
            let effects = self.core.step(at, Input::Reading(Reading { source, at, measured }));
            self.keep(effects, &mut batch);
        }
        batch
    }

    fn keep(&self, effects: Vec<Effect>, batch: &mut Batch) {
        for effect in effects {
            match effect {
                Effect::Alarm(change) if change.at < self.from => {}
                Effect::Alarm(change) => batch.changes.push(AlarmRecord::of(&change, &self.shelf, &self.sources)),
                Effect::Fit { nest, news } => {
                    if let Some(nest) = self.shelf.nests.get(nest) {
                        batch.fits.push(FitAct::New(FitRecord::of(*news, nest)));
                    }
                }
                Effect::Rejected { source, at, why } => {
                    if let Some(source) = self.names.get(usize::from(source.0)) {
                        batch.disbeliefs.push(Disbelief { source: Arc::clone(source), at, why });
                    }
                }
            }
        }
    }
}

/// What a keeper would have written down in that week.
fn notes(span: &Range<Timestamp>) -> Vec<KeeperNote> {
    let seen = [
        (8, "oak", "fed", None, "two fruit flies, a drop of honey water"),
        (20, "oak", "brood", Some(70.0), "most cocoons, larvae beside them"),
        (33, "plaster", "brood", Some(80.0), "eggs and small larvae"),
        (57, "oak", "brood", Some(64.0), "cocoons moved a little towards the mat"),
        (80, "pine", "refilled", None, "water tube filled up"),
        (81, "oak", "fed", None, "a mealworm, cut"),
        (105, "aac", "brood", Some(66.0), "the whole pile in the third chamber"),
        (128, "plaster", "fed", None, "honey water"),
        (152, "oak", "brood", Some(72.0), "first pale workers beside the cocoons"),
    ];
    let note = |(h, nest, kind, at_mm, text): (i64, &str, &str, Option<f64>, &str)| KeeperNote {
        at: span.start.plus(Span::from_h(h)),
        nest: Some(nest.to_owned()),
        at_mm,
        kind: kind.to_owned(),
        text: text.to_owned(),
    };
    seen.map(note).to_vec()
}
