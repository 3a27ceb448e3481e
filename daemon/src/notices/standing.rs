//! What stands, as one retained message on the broker: whoever subscribes knows it at once.
use crate::intake::Publisher;
use crate::snapshot::Snapshot;
use crate::views::now::{names, shown};
use serde_json::{Value, json};
use std::sync::Arc;
use tokio::sync::watch;

/// Comes behind the topic of messages.
pub const STATE_TOPIC: &str = "/state";

/// Publishes what stands whenever it changes, until there are no more pictures.
pub(super) async fn publish(topic: String, publisher: Publisher, mut snapshots: watch::Receiver<Arc<Snapshot>>) {
    let mut said = None;
    loop {
        let standing = standing(&snapshots.borrow_and_update());
        if said.as_ref() != Some(&standing) {
            let payload = json!({ "alarms": standing }).to_string().into_bytes();
            match publisher.state(&format!("{topic}{STATE_TOPIC}"), payload) {
                Ok(()) => said = Some(standing),
                Err(error) => tracing::warn!(%error, "what stands could not be said on {topic}; it is tried again"),
            }
        }
        if snapshots.changed().await.is_err() {
            return;
        }
    }
}

fn standing(snap: &Snapshot) -> Vec<Value> {
    let of = |alarm| {
        let (nest, probe, node) = names(snap, alarm);
        json!({
            "alarm": alarm.key.alarm.name(), "nest": nest, "probe": probe, "node": node,
            "priority": alarm.priority().name(), "state": alarm.state.name(), "since": alarm.since.unix_s(),
        })
    };
    shown(snap).map(of).collect()
}
