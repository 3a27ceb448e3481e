//! To history and back: what follows a commit, in its order.
use super::draft::Draft;
use super::flight::{Answer, Flight};
use super::keeping::{self, KEPT};
use super::{Pipeline, UNTOLD_MAX};
use crate::history::{Batch, Committed, Receipt, WriteError};
use crate::intake::Publisher;
use crate::snapshot::Told;
use dashboards::say;
use enclosure::Priority;
use tokio::sync::mpsc;

/// Room for a receipt: two records with the longest name.
const RECEIPT_BYTES: usize = 512;

impl Pipeline {
    pub(super) fn submit(&mut self, draft: Draft) {
        let Draft { mut batch, changes, message, keeper } = draft;
        self.changed |= !changes.is_empty();
        batch.changes.clone_from(&changes);
        if !changes.is_empty() {
            batch.facts.push((KEPT.to_owned(), keeping::written(&self.core)));
        }
        batch.urgent |= changes.iter().any(|change| change.told && change.alarm.priority() == Priority::Danger);
        let answer = if batch == Batch::default() {
            if message.is_none() && keeper.is_none() {
                return;
            }
            Answer::Known(Ok(Committed::default()))
        } else {
            self.date(&mut batch);
            self.writer.submit(batch).map_or_else(|error| Answer::Known(Err(error)), Answer::Awaited)
        };
        let changes = changes.into_iter().map(|change| (change, false)).collect();
        self.flights.push(Flight { answer, since: self.clock.monotonic(), message, changes, keeper });
    }

    /// At the end: takes in what became of messages and what arrived, as far as there is room.
    pub(super) fn take_in(&mut self) {
        while self.flights.has_room() {
            if let Ok(sent) = self.sent.try_recv() {
                self.message_sent(sent);
            } else if let Some(message) = self.inbox.try_recv() {
                self.take(&message);
            } else {
                break;
            }
        }
    }

    /// The oldest batch is committed, or failed, or given up.
    pub(super) fn land(&mut self, outcome: Result<Committed, WriteError>) {
        let Some(flight) = self.flights.land() else { return };
        let was_stored = matches!(flight.answer, Answer::Awaited(_));
        let ids = match &outcome {
            Ok(committed) => {
                committed.receipts.iter().for_each(|receipt| self.say_receipt(receipt));
                committed.change_ids.clone()
            }
            Err(_) => Vec::new(),
        };
        if let Some((token, arrived)) = flight.message {
            if self.acks.try_send(token).is_err() {
                self.tally.unacknowledged += 1;
            }
            if was_stored {
                let took_ms = (self.clock.now().since(arrived).ms() as f64 / self.clock.pace()).max(0.0) as u64;
                self.tally.commit_took(took_ms, self.clock.monotonic());
            }
        }
        for (i, (change, told)) in flight.changes.into_iter().enumerate() {
            if !told {
                self.tell(Told { change, id: ids.get(i).copied(), restored: false });
            }
        }
        if let Some(keeper) = flight.keeper {
            let answer = match &outcome {
                Err(error) if keeper.must_be_stored => Err(say!("declined-disk", why = error.to_string())),
                _ => Ok(()),
            };
            // Who asked may have gone.
            drop(keeper.reply.send(answer));
        }
        match outcome {
            Ok(_) if was_stored => self.history_is(None),
            Ok(_) => {}
            Err(WriteError::Refused { why }) => tracing::error!(why, "an entry could not be stored"),
            Err(error) => self.history_is(Some(error.to_string())),
        }
    }

    pub(super) fn say_receipt(&self, receipt: &Receipt) {
        if let Err(error) = state_receipt(&self.publisher, &self.settings.prefix, receipt) {
            tracing::warn!(%error, node = receipt.node, "a receipt could not be said; its node sends again");
        }
    }

    pub(super) fn tell(&mut self, told: Told) {
        if self.untold.len() >= UNTOLD_MAX {
            // A danger goes last of all.
            let gentle = |told: &Told| told.change.alarm.priority() != Priority::Danger;
            let lost = self.untold.iter().position(gentle).unwrap_or(0);
            self.untold.remove(lost);
            self.tally.untold += 1;
        }
        self.untold.push_back(told);
    }

    /// Hands over what is to be told, as far as there is room.
    pub(super) fn pass_on(&mut self) {
        while let Some(told) = self.untold.pop_front() {
            if let Err(mpsc::error::TrySendError::Full(told) | mpsc::error::TrySendError::Closed(told)) =
                self.told.try_send(told)
            {
                self.untold.push_front(told);
                return;
            }
        }
    }
}

/// The topic on which a node hears its receipts.
pub(crate) fn receipt_topic(prefix: &str, node: &str) -> String {
    format!("{prefix}/{node}/stored")
}

/// Publishes a receipt, retained.
pub(crate) fn state_receipt(publisher: &Publisher, prefix: &str, receipt: &Receipt) -> anyhow::Result<()> {
    let mut buffer = [0; RECEIPT_BYTES];
    let pack = wire::JsonWriter::new(&mut buffer).map_err(anyhow::Error::new)?;
    let payload = wire::write_receipt(pack, &receipt.node, receipt.upto, receipt.boot).map_err(anyhow::Error::new)?;
    publisher.state(&receipt_topic(prefix, &receipt.node), payload.to_vec())?;
    Ok(())
}
