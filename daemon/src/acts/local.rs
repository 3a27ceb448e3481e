//! Acts while no daemon runs: on the history file itself, which its lock keeps for us alone.
use super::{Standing, Written};
use crate::aside::aside;
use crate::history::{AlarmRecord, Batch, FitAct, FitRecord, KeeperNote, Opened, Reader, Store};
use crate::pipeline::acts::{EXCUSES, declined, entry, fit_entry, former_fit, keyed, wish};
use crate::pipeline::keeping::{self, KEPT};
use crate::snapshot::{AlarmAct, AlarmName, Note};
use anyhow::anyhow;
use enclosure::estimate::{Fit, FitNews};
use enclosure::shelf::Nest;
use enclosure::{Core, Effect, Shelf, Timestamp};
use std::ops::Range;

/// The history, held.
pub(super) struct File {
    store: Store,
    reader: Reader,
    shelf: Shelf,
}

impl File {
    pub(super) fn new(opened: Opened, shelf: &Shelf) -> anyhow::Result<Self> {
        if let Some(aside) = &opened.report.damaged {
            aside!("{aside}");
        }
        let reader = Reader::open(opened.store.path())?;
        Ok(Self { store: opened.store, reader, shelf: shelf.clone() })
    }

    pub(super) fn standing(&self) -> anyhow::Result<Vec<Standing>> {
        let standing = self.latest()?.into_iter().map(|c| Standing {
            name: AlarmName { alarm: c.alarm.name().to_owned(), nest: c.nest, probe: c.probe, node: c.node },
            state: c.state,
            since: c.at,
            detail: c.detail,
        });
        Ok(standing.collect())
    }

    pub(super) fn act(&mut self, act: AlarmAct, name: &AlarmName, why: &str, now: Timestamp) -> anyhow::Result<()> {
        let mut core = self.core(now)?;
        let wanted = keyed(&core, name, act).and_then(|key| wish(act, key, name)).map_err(|why| anyhow!(why))?;
        let effects = core.act_unwatched(now, &wanted).map_err(|why| anyhow!(declined(&super::written(name), why)))?;
        let sources = core.sources().to_vec();
        let latest = self.latest()?;
        let changes = effects.into_iter().filter_map(|effect| match effect {
            Effect::Alarm(change) => Some(AlarmRecord::of(&change, core.shelf(), &sources)),
            Effect::Rejected { .. } | Effect::Fit { .. } => None,
        });
        // What was said of it stays beside it; whoever does this knows, and nobody need be told.
        let said = |c: &AlarmRecord| latest.iter().find(|l| is_same(l, c)).map(|l| l.detail.clone());
        let changes = changes.map(|c| AlarmRecord { detail: said(&c).unwrap_or_default(), told: false, ..c });
        let mut batch = Batch { changes: changes.collect(), urgent: true, ..Batch::default() };
        batch.notes.push(entry(act, name, (super::BY, why), now));
        batch.facts.push((KEPT.to_owned(), keeping::written(&core)));
        self.commit(batch)
    }

    /// The alarms as they stand, for one act; nothing is judged.
    fn core(&self, now: Timestamp) -> anyhow::Result<Core> {
        let mut core = Core::new(self.shelf.clone());
        match self.reader.fact(KEPT)?.and_then(|text| keeping::read(&text, &core, now)) {
            Some(kept) => core.take_back(kept, now),
            None => {
                let sources = core.sources().to_vec();
                for record in self.latest()? {
                    if let Some(key) = record.key(&self.shelf, &sources) {
                        core.restore(key, record.state, record.at);
                    }
                }
            }
        }
        Ok(core)
    }

    pub(super) fn write(&mut self, note: Note) -> anyhow::Result<()> {
        let Note { at, nest, kind, at_mm, text } = note;
        let mut batch = Batch { urgent: true, ..Batch::default() };
        if EXCUSES.contains(&kind.as_str())
            && let Some(place) = self.shelf.nests.iter().position(|known| known.id == nest)
        {
            let mut core = self.core(at)?;
            core.excuse(place, at);
            batch.facts.push((KEPT.to_owned(), keeping::written(&core)));
        }
        batch.notes.push(KeeperNote { at, nest: Some(nest), at_mm, kind, text });
        self.commit(batch)
    }

    /// Puts a former fit back into force: the daemon takes it up when it starts.
    pub(super) fn put_back_fit(&mut self, id: &str, fit: i64, why: &str, now: Timestamp) -> anyhow::Result<()> {
        former_fit(&self.reader, &self.shelf, id, fit).map_err(|why| anyhow!(why))?;
        let mut batch = Batch { urgent: true, ..Batch::default() };
        batch.fits.push(FitAct::PutBack { at: now, nest: id.to_owned(), fit, who: super::BY.to_owned() });
        batch.notes.push(fit_entry(id, fit, (super::BY, why), now));
        self.commit(batch)
    }

    /// Keeps a fit of `nest`, and puts it into force.
    pub(super) fn keep_fit(&mut self, nest: &Nest, fit: Fit, now: Timestamp) -> anyhow::Result<()> {
        let news = FitNews { at: now, fit: Some(fit), refused: None };
        let batch = Batch { fits: vec![FitAct::New(FitRecord::of(news, nest))], urgent: true, ..Batch::default() };
        self.commit(batch)
    }

    pub(super) fn notes(&self, span: Range<Timestamp>) -> anyhow::Result<Vec<Written>> {
        let notes = self.reader.notes(span)?.into_iter();
        let written = |n: KeeperNote| Written { at: n.at, nest: n.nest, kind: n.kind, at_mm: n.at_mm, text: n.text };
        Ok(notes.map(written).collect())
    }

    fn latest(&self) -> anyhow::Result<Vec<AlarmRecord>> {
        Ok(self.reader.standing_alarms()?.latest.into_iter().map(|(_, change)| change).collect())
    }

    fn commit(&mut self, batch: Batch) -> anyhow::Result<()> {
        for outcome in self.store.commit(&[batch])? {
            outcome?;
        }
        Ok(())
    }
}

fn is_same(a: &AlarmRecord, b: &AlarmRecord) -> bool {
    a.alarm == b.alarm && a.nest == b.nest && a.probe == b.probe && a.node == b.node
}
