//! What a node lets itself be told, and nothing else: that packs were stored, and that it may heat.
use core::fmt::Write as _;

use wire::{Error, Key, Permit, PermitError, read_permit, read_receipt};

/// Longest topic that a node hears or says, bytes.
pub const TOPIC_MAX: usize = 80;
/// A topic.
pub type Topic = heapless::String<TOPIC_MAX>;

/// What a message tells a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    /// Every pack of this start up to this one was stored.
    Stored(u64),
    /// Leave to heat, or why it is none.
    Permit(Result<Permit, PermitError>),
    /// A receipt of another start, or for another node: nothing to do.
    NotMine,
    /// A receipt that cannot be read: packs are kept.
    Unreadable(Error),
    /// Nothing that a node does.
    Unknown,
}

/// Makes a topic of this node: `prefix/node/leaf`. Empty if it is too long.
#[must_use]
pub fn topic(prefix: &str, node: &str, leaf: &str) -> Topic {
    let mut topic = Topic::new();
    match write!(topic, "{prefix}/{node}/{leaf}") {
        Ok(()) => topic,
        Err(_) => Topic::new(),
    }
}

/// Reads a message. Without a `key` no permit is ever good, and to a start without number (`boot`) no receipt is.
#[must_use]
pub fn read((prefix, node, boot): (&str, &str, Option<u32>), key: Option<&Key>, topic: &str, payload: &[u8]) -> Order {
    let leaf = topic.strip_prefix(prefix).and_then(|rest| rest.strip_prefix('/'));
    let leaf = leaf.and_then(|rest| rest.strip_prefix(node)).and_then(|rest| rest.strip_prefix('/'));
    match leaf {
        Some("stored") => match read_receipt(payload) {
            Ok(receipt) if receipt.node == node && boot.map(u64::from) == Some(receipt.boot) => {
                Order::Stored(receipt.stored)
            }
            Ok(_) => Order::NotMine,
            Err(error) => Order::Unreadable(error),
        },
        Some("permit") => Order::Permit(match key {
            Some(key) => read_permit(payload, node, key),
            None => Err(PermitError::Forged),
        }),
        _ => Order::Unknown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wire::{JsonWriter, PermitKind, write_permit, write_receipt};

    const ME: (&str, &str, Option<u32>) = ("warmend", "oak-node", Some(7));
    const KEY: Key = [1; 32];

    #[test]
    fn receipts_and_permits_are_heard_and_nothing_else() {
        let mut buffer = [0; 256];
        let mut stored = |node, boot| {
            let bytes = write_receipt(JsonWriter::new(&mut buffer).unwrap(), node, 12, boot).unwrap();
            read(ME, Some(&KEY), "warmend/oak-node/stored", bytes)
        };
        assert_eq!(stored("oak-node", 7), Order::Stored(12));
        assert_eq!(stored("oak-node", 6), Order::NotMine);
        assert_eq!(stored("elm-node", 7), Order::NotMine);
        // A broker keeps the receipt of an earlier start that had no number either.
        let bytes = write_receipt(JsonWriter::new(&mut buffer).unwrap(), "oak-node", 12, 0).unwrap();
        let nameless = ("warmend", "oak-node", None);
        assert_eq!(read(nameless, Some(&KEY), "warmend/oak-node/stored", bytes), Order::NotMine);
        // A receipt that was taken back is an empty message.
        assert!(matches!(read(ME, Some(&KEY), "warmend/oak-node/stored", b""), Order::Unreadable(_)));
        let permit = Permit {
            kind: PermitKind::Grant,
            boot: 7,
            counter: 1,
            answers: 1,
            reset: 0,
            duty_permille: 500,
            ceiling_centi_c: 3300,
            lease_s: 60,
        };
        let mut buffer = [0; 256];
        let bytes = write_permit(JsonWriter::new(&mut buffer).unwrap(), "oak-node", &KEY, &permit).unwrap();
        let told = |key, topic| read(ME, key, topic, bytes);
        assert_eq!(told(Some(&KEY), "warmend/oak-node/permit"), Order::Permit(Ok(permit)));
        assert_eq!(told(None, "warmend/oak-node/permit"), Order::Permit(Err(PermitError::Forged)));
        for other in ["warmend/oak-node/heat", "warmend/oak-nodes/permit", "other/oak-node/permit", "permit", ""] {
            assert_eq!(told(Some(&KEY), other), Order::Unknown);
        }
    }

    #[test]
    fn topics_are_whole_or_none() {
        assert_eq!(topic("warmend", "oak-node", "senml"), "warmend/oak-node/senml");
        assert_eq!(topic(&"x".repeat_to(60), "oak-node-of-a-long-name", "senml"), "");
    }

    trait RepeatTo {
        fn repeat_to(&self, len: usize) -> heapless::String<64>;
    }
    impl RepeatTo for str {
        fn repeat_to(&self, len: usize) -> heapless::String<64> {
            self.chars().cycle().take(len).collect()
        }
    }

    proptest::proptest! {
        #[test]
        fn no_message_is_a_permit_by_chance(payload: [u8; 64], topic in "(warmend/oak-node/(permit|stored)|.{0,30})") {
            let order = read(ME, Some(&KEY), &topic, &payload);
            proptest::prop_assert!(!matches!(order, Order::Permit(Ok(_)) | Order::Stored(_)));
        }
    }
}
