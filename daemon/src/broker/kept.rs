//! What the broker keeps for others (retained messages): room for strangers' ends before the daemon's own does.
//!
//! mqtt5 has one bound for all, and at it drops even the message itself, confirmed or not. A lamp with a thousand retained
//! topics would so take from every node its receipts, and nodes that hear none keep their packs until they overflow.
use super::{MAX_RETAINED, MAX_RETAINED_BYTES, OWN_USER};
use mqtt5::QoS;
use mqtt5::broker::events::{BrokerEventHandler, ClientPublishEvent, PublishAction, RetainedSetEvent};
use mqtt5::packet::publish::PublishPacket;
use std::collections::HashSet;
use std::future::Future;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};

/// Knows which topics are kept.
#[derive(Default)]
pub(super) struct Kept {
    topics: Mutex<Topics>,
}

/// As many as the broker keeps, together.
#[derive(Default)]
struct Topics {
    own: HashSet<Arc<str>>,
    others: HashSet<Arc<str>>,
}

impl Kept {
    /// Whether a message that asks to be kept may be.
    fn has_room(&self, event: &ClientPublishEvent) -> bool {
        let mut topics = self.topics.lock().unwrap_or_else(PoisonError::into_inner);
        if event.payload.is_empty() {
            return true;
        }
        if event.user_id.as_deref() == Some(OWN_USER) {
            topics.own.insert(Arc::clone(&event.topic));
            return true;
        }
        let is_kept = topics.own.contains(&event.topic) || topics.others.contains(&event.topic);
        event.payload.len() <= MAX_RETAINED_BYTES && (is_kept || topics.others.len() < MAX_RETAINED)
    }
}

impl BrokerEventHandler for Kept {
    fn on_client_publish<'a>(
        &'a self,
        event: ClientPublishEvent,
    ) -> Pin<Box<dyn Future<Output = PublishAction> + Send + 'a>> {
        let action = if !event.retain || self.has_room(&event) {
            PublishAction::Continue
        } else {
            tracing::warn!(
                topic = &*event.topic,
                client = &*event.client_id,
                "broker: a retained message is handed on but not kept: there are {MAX_RETAINED} already, or it is over \
                 {MAX_RETAINED_BYTES} bytes"
            );
            let mut once = PublishPacket::new_v311(&*event.topic, event.payload, event.qos);
            if event.qos != QoS::AtMostOnce {
                once.packet_id = event.packet_id;
            }
            PublishAction::Transform(once)
        };
        Box::pin(std::future::ready(action))
    }

    fn on_retained_set<'a>(&'a self, event: RetainedSetEvent) -> Pin<Box<dyn Future<Output = ()> + Send + 'a>> {
        let mut topics = self.topics.lock().unwrap_or_else(PoisonError::into_inner);
        if event.cleared {
            topics.own.remove(&event.topic);
            topics.others.remove(&event.topic);
        } else if !topics.own.contains(&event.topic) {
            topics.others.insert(event.topic);
        }
        Box::pin(std::future::ready(()))
    }
}
