//! A batch while it is made up.
use super::flight::Waiting;
use crate::history::{AlarmRecord, Batch};
use crate::intake::AckToken;
use enclosure::Timestamp;

/// Everything that one event brings: stored together or not at all.
#[derive(Debug, Default)]
pub(super) struct Draft {
    pub(super) batch: Batch,
    pub(super) changes: Vec<AlarmRecord>,
    /// The message it came with: its acknowledgement, and when it arrived.
    pub(super) message: Option<(AckToken, Timestamp)>,
    pub(super) keeper: Option<Waiting>,
}
