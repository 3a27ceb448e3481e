//! Acts while no daemon runs: on the history file itself, which its lock keeps for us alone.
use super::{Standing, Written};
use crate::history::{AlarmRecord, Batch, KeeperNote, Opened, Reader, Store};
use crate::snapshot::{AlarmAct, AlarmName, Note};
use anyhow::{Context as _, bail};
use enclosure::lifecycle::{Declined, Life};
use enclosure::{Timestamp, alarm::Event};
use std::ops::Range;

/// The history, held.
pub(super) struct File {
    store: Store,
    reader: Reader,
}

impl File {
    pub(super) fn new(opened: Opened) -> anyhow::Result<Self> {
        if let Some(aside) = &opened.report.damaged {
            eprintln!("{aside}");
        }
        let reader = Reader::open(opened.store.path())?;
        Ok(Self { store: opened.store, reader })
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

    pub(super) fn act(&mut self, act: AlarmAct, name: &AlarmName, now: Timestamp) -> anyhow::Result<()> {
        let written = super::written(name);
        let fits = |c: &AlarmRecord| {
            c.alarm.name() == name.alarm && c.nest == name.nest && c.probe == name.probe && c.node == name.node
        };
        let Some(last) = self.latest()?.into_iter().find(fits) else {
            bail!("{written}: history knows of no such alarm; see `warmend alarms list` for the names");
        };
        let mut life = Life::restored(last.state, last.at);
        let event = changed(&mut life, act, now).with_context(|| written.clone())?;
        let change = AlarmRecord { at: now, event, state: life.state(), detail: String::new(), told: false, ..last };
        self.commit(Batch { changes: vec![change], urgent: true, ..Batch::default() })
    }

    pub(super) fn write(&mut self, note: Note) -> anyhow::Result<()> {
        let Note { at, nest, kind, at_mm, text } = note;
        let note = KeeperNote { at, nest: Some(nest), at_mm, kind, text };
        self.commit(Batch { notes: vec![note], urgent: true, ..Batch::default() })
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

fn changed(life: &mut Life, act: AlarmAct, now: Timestamp) -> anyhow::Result<Event> {
    let done = match act {
        AlarmAct::Acknowledge => life.acknowledge(now),
        // History does not keep until when: only the daemon can end a silence in time.
        AlarmAct::Shelve(_) => bail!("only a running daemon can silence an alarm. Start `warmend run` first"),
        AlarmAct::Unshelve => life.unshelve(now),
        AlarmAct::Reset => life.reset(),
    };
    done.map_err(|why| {
        anyhow::anyhow!(match why {
            Declined::NotRaised => "it is not raised, or was answered already: there is nothing to answer",
            Declined::NotLatched => "it is not held: there is nothing to reset",
            Declined::StillTrue => "it still holds and cannot be reset before it is over",
            Declined::NotShelved => "it is not silenced",
        })
    })
}
