//! History to core, once, at start (and after the clock was set back): the last hours again, in event time.
use super::keeping::{self, KEPT};
use crate::history::{AlarmRecord, FitAct, FitRecord, HistoricReading, HistoryError, Reader};
use dashboards::say;
use enclosure::core::Kept;
use enclosure::{AlarmKey, Core, Effect, Event, Input, Priority, Reading, Shelf, Span, State, Timestamp};
use std::collections::BTreeMap;
use std::path::Path;

/// How far back readings are judged again.
pub const RESTORED: Span = Span::from_h(36);
/// How far back what takes weeks to learn is read again.
const RECALLED: Span = Span::from_h(14 * 24);
/// The fact that says until when was watched, ms since 1970.
pub(super) const WATCHED_UNTIL: &str = "watched_until";
/// The fact that says whether the daemon ended as it should.
pub(super) const ENDED: &str = "ended";
/// The fact that says what old days were old by at last, ms since 1970.
pub(super) const AGED: &str = "aged";
/// Its value after a clean stop.
pub(super) const ENDED_WELL: &str = "well";

/// A core that knows what history knows.
#[derive(Debug)]
pub struct Restored {
    /// The core.
    pub core: Core,
    /// What was said of each alarm when it was raised.
    pub details: BTreeMap<AlarmKey, String>,
    /// The alarms that are not normal, with the ids of their last changes.
    pub standing: Vec<(i64, AlarmRecord)>,
    /// Readings that were judged again.
    pub readings: u64,
    /// When the newest of them was measured.
    pub newest: Option<Timestamp>,
    /// What is remembered of heating mats on leave, by the name of the fact.
    pub facts: BTreeMap<String, String>,
    /// Fits that came due in the hours judged again, and are not kept yet.
    pub fits: Vec<FitAct>,
    /// Alarms that stood when what they are about left the shelf file, as they are to be closed.
    pub left: Vec<AlarmRecord>,
    /// What old days were old by at last.
    pub aged: Option<Timestamp>,
    /// Until when was watched, and whether the daemon ended well then.
    pub watched: Option<(Timestamp, bool)>,
}

impl Restored {
    /// A core that knows nothing yet.
    pub fn nothing(shelf: Shelf) -> Self {
        let (details, standing) = (BTreeMap::new(), Vec::new());
        Self {
            core: Core::new(shelf),
            details,
            standing,
            readings: 0,
            newest: None,
            facts: BTreeMap::new(),
            fits: Vec::new(),
            left: Vec::new(),
            aged: None,
            watched: None,
        }
    }

    /// Reads the history at `path` as far as it lies before `now`. Blocks for a second or two.
    ///
    /// # Errors
    /// [`HistoryError`] where it cannot be read.
    pub fn from_history(shelf: Shelf, path: &Path, now: Timestamp) -> Result<Self, HistoryError> {
        Self::read(shelf, path, now, None)
    }

    /// The same for a core that ran on: `live` is what it would keep, newer than what is on the disk.
    ///
    /// # Errors
    /// [`HistoryError`] where it cannot be read.
    pub fn again(shelf: Shelf, path: &Path, now: Timestamp, live: Kept) -> Result<Self, HistoryError> {
        Self::read(shelf, path, now, Some(live))
    }

    fn read(shelf: Shelf, path: &Path, now: Timestamp, live: Option<Kept>) -> Result<Self, HistoryError> {
        let reader = Reader::open(path)?;
        let mut this = Self::nothing(shelf);
        let names: Vec<String> = this.core.sources().to_vec();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let learned = now.minus(RECALLED)..now.minus(RESTORED);
        reader.each_reading(Some(&names), learned, |reading| this.recall(&reading))?;
        let span = now.minus(RESTORED)..now.plus(Span::from_ms(1));
        let text = reader.fact(KEPT)?;
        let left = text.as_ref().map_or_else(Vec::new, |text| keeping::left(text, &this.core));
        let kept = text.and_then(|text| keeping::read(&text, &this.core, now));
        for (nest, known) in kept.iter().flat_map(|k| &k.nests).enumerate() {
            if let Some(begins) = known.begins {
                this.core.begin_nest(nest, begins);
            }
            if let Some(held) = known.held {
                this.core.hold(nest, held);
            }
        }
        let kept = match (kept, live) {
            (Some(kept), Some(live)) => Some(Kept { nests: kept.nests, ..live }),
            (kept, live) => live.or(kept),
        };
        let kept_until = this.take_up_fits(&reader)?;
        reader.each_reading(Some(&names), span, |reading| this.judge_again(&reading, &kept_until))?;
        let latest = reader.standing_alarms()?.latest;
        let is_left = |c: &&AlarmRecord| {
            let names = [Some(c.alarm.name().to_owned()), c.nest.clone(), c.probe.clone(), c.node.clone()];
            left.contains(&names) && !matches!(c.state, State::OutOfService)
        };
        this.left = latest.iter().map(|(_, c)| c).filter(is_left).map(|c| closed(c, now)).collect();
        match kept {
            Some(kept) => this.take_back(kept, latest, now),
            None => this.alarms(latest),
        }
        this.facts = reader.facts("heat/")?;
        let moment = |name| -> Result<Option<Timestamp>, HistoryError> {
            Ok(reader.fact(name)?.and_then(|ms| ms.parse().ok()).map(Timestamp::from_unix_ms))
        };
        let until = moment(WATCHED_UNTIL)?;
        this.aged = moment(AGED)?.or(until);
        if let Some(until) = until {
            let well = reader.fact(ENDED)?.as_deref() == Some(ENDED_WELL);
            this.watched = Some((until, well));
        }
        Ok(this)
    }

    /// The fit in force of each nest that stands as it stood then; gives when each nest's last fit was kept.
    fn take_up_fits(&mut self, reader: &Reader) -> Result<Vec<Option<Timestamp>>, HistoryError> {
        let nests = self.core.shelf().nests.clone();
        let mut kept_until = Vec::with_capacity(nests.len());
        for (i, nest) in nests.iter().enumerate() {
            kept_until.push(reader.last_fit_at(&nest.id)?);
            let Some((kept, since)) = reader.fit_in_force(&nest.id)? else { continue };
            let as_it_stands = kept.record.shape == keeping::shape(nest);
            let taken =
                as_it_stands && kept.record.fit.as_ref().is_some_and(|fit| self.core.take_up_fit(i, fit, since));
            if !taken {
                tracing::info!(
                    nest = nest.id,
                    fit = kept.id,
                    "the nest was changed since its last fit; it is learned anew"
                );
            }
        }
        Ok(kept_until)
    }

    fn recall(&mut self, reading: &HistoricReading) {
        let HistoricReading { at, measured, rejection, .. } = *reading;
        if let (Some(source), None) = (self.core.source(&reading.source), rejection) {
            self.core.recall(Reading { source, at, measured });
        }
    }

    fn judge_again(&mut self, reading: &HistoricReading, kept_until: &[Option<Timestamp>]) {
        let Some(source) = self.core.source(&reading.source) else { return };
        let HistoricReading { at, measured, .. } = *reading;
        // What came of it was stored and told then.
        while let Some(wake) = self.core.wake_at().filter(|wake| *wake <= at) {
            let _ = self.core.step(wake, Input::Wake);
        }
        let effects = self.core.step(at, Input::Reading(Reading { source, at, measured }));
        for effect in effects {
            if let Effect::Fit { nest, news } = effect
                && kept_until.get(nest).is_some_and(|until| until.is_none_or(|until| news.at > until))
                && let Some(nest) = self.core.shelf().nests.get(nest)
            {
                self.fits.push(FitAct::New(FitRecord::of(*news, nest)));
            }
        }
        self.readings += 1;
        self.newest = self.newest.max(Some(at));
    }

    /// The alarms as they stood, running delays and ends of silences included; of the changes only the words.
    fn take_back(&mut self, kept: Kept, latest: Vec<(i64, AlarmRecord)>, now: Timestamp) {
        self.core.forget_alarms();
        self.core.take_back(kept, now);
        let sources = self.core.sources().to_vec();
        for (id, record) in latest {
            let Some(key) = record.key(self.core.shelf(), &sources) else { continue };
            self.details.insert(key.clone(), record.detail.clone());
            let known = self.core.alarms().find(|(known, ..)| **known == key).map(|(_, state, ..)| state);
            if known == Some(record.state) {
                // A clock that was wrong when the rest was kept has not changed when it began.
                self.core.date(&key, record.at.min(now));
            }
            if known.is_some_and(|state| !is_well(state)) {
                self.standing.push((id, record));
            }
        }
    }

    /// For a history that an older warmend wrote. Where the core and history differ about an alarm, history is right: what it does not know of was never told,
    /// and must be raised anew. Where both say well, the core's running delays stay.
    fn alarms(&mut self, latest: Vec<(i64, AlarmRecord)>) {
        let sources = self.core.sources().to_vec();
        let mut known: BTreeMap<AlarmKey, (State, Timestamp)> = BTreeMap::new();
        for (id, record) in latest {
            let Some(key) = record.key(self.core.shelf(), &sources) else { continue };
            self.details.insert(key.clone(), record.detail.clone());
            known.insert(key, (record.state, record.at));
            if !is_well(record.state) {
                self.standing.push((id, record));
            }
        }
        let raised: Vec<(AlarmKey, Timestamp)> = self
            .core
            .alarms()
            .filter(|(_, state, ..)| !is_well(*state))
            .map(|(key, _, since, _)| (key.clone(), since))
            .collect();
        for (key, since) in raised {
            let (state, since) = known.remove(&key).unwrap_or((State::NotJudged, since));
            self.core.restore(key, state, since);
        }
        for (key, (state, since)) in known.into_iter().filter(|(_, (state, _))| !is_well(*state)) {
            self.core.restore(key, state, since);
        }
    }
}

/// How an alarm is closed whose nest or probe left the shelf file: nothing ended, but nobody watches it any more. A
/// danger is told of as that.
fn closed(was: &AlarmRecord, now: Timestamp) -> AlarmRecord {
    let detail = match was.detail.as_str() {
        "" => say!("seen-left-bare"),
        said => say!("seen-left", was = said),
    };
    let told = was.alarm.priority() == Priority::Danger;
    let (event, state) =
        if told { (Event::OutOfService, State::OutOfService) } else { (Event::Cleared, State::Normal) };
    AlarmRecord { at: now, event, state, detail, cause: None, told, ..was.clone() }
}

/// Whether nothing need be shown of it.
pub(super) const fn is_well(state: State) -> bool {
    matches!(state, State::Normal | State::NotJudged)
}
