//! Who a node is, whom it speaks to, and what must outlive a power cut.
//!
//! Settings are written once, by a person; the start's number and what a person has to reset are the node's own and lie
//! apart, so that no start rewrites the settings.
use wire::{KEY_BYTES, Key};

use crate::decide::Latch;
use crate::guard::Kept;
use crate::store::{Memory, Pair, Payload};

/// Where the settings lie.
pub const SETTINGS: Pair = Pair { at: 0, version: 1 };
/// Where the node's own notes lie.
pub const NOTES: Pair = Pair { at: 512, version: 1 };
/// Where the radio's settings lie, of a node that has one.
pub const RADIO: Pair = Pair { at: 1024, version: 1 };
/// Bytes that all take.
pub const MEMORY_BYTES: u32 = 1536;

/// Longest name of a node, prefix of topics, or user, bytes.
pub const NAME_MAX: usize = 32;
/// Longest password, bytes.
pub const PASSWORD_MAX: usize = 64;
/// A short text.
pub type Name = heapless::String<NAME_MAX>;

/// Who a node is.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// Its name; letters, digits and `-`.
    pub node: Name,
    /// First part of all topics, `warmend` unless the daemon has another.
    pub prefix: Name,
    /// The broker's IPv4 address and port.
    pub broker: ([u8; 4], u16),
    /// The node's user at the broker, empty without.
    pub user: Name,
    /// And its password.
    pub password: heapless::String<PASSWORD_MAX>,
    /// The key of its permits; without, it never heats.
    pub key: Option<Key>,
    /// How often it reads, s.
    pub every_s: u16,
    /// No probe of it may say more, hundredths of a degree Celsius.
    pub limit_centi_c: i16,
    /// The most it drives its pad, thousandths.
    pub duty_permille: u16,
}

impl core::fmt::Debug for Settings {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let Self { node, prefix, broker, user, every_s, limit_centi_c, duty_permille, password: _, key: _ } = self;
        f.debug_struct("Settings")
            .field("node", node)
            .field("prefix", prefix)
            .field("broker", broker)
            .field("user", user)
            .field("every_s", every_s)
            .field("limit_centi_c", limit_centi_c)
            .field("duty_permille", duty_permille)
            .finish_non_exhaustive()
    }
}

/// Says why settings are none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// They are cut off, or something follows.
    Length,
    /// A text is no UTF-8 or too long.
    Text,
    /// The node has no name, or one that no source can have.
    Node,
    /// It reads never, or more often than every second.
    Every,
}

impl Settings {
    /// Writes them down.
    #[must_use]
    pub fn encode(&self) -> Option<Payload> {
        let mut out = Payload::new();
        for text in [self.node.as_str(), &self.prefix, &self.user, &self.password] {
            out.push(*text.len().to_le_bytes().first()?).ok()?;
            out.extend_from_slice(text.as_bytes()).ok()?;
        }
        out.extend_from_slice(&self.broker.0).ok()?;
        out.extend_from_slice(&self.broker.1.to_le_bytes()).ok()?;
        out.push(u8::from(self.key.is_some())).ok()?;
        out.extend_from_slice(&self.key.unwrap_or_default()).ok()?;
        let limit = self.limit_centi_c.to_le_bytes();
        for half in [self.every_s.to_le_bytes(), limit, self.duty_permille.to_le_bytes()] {
            out.extend_from_slice(&half).ok()?;
        }
        Some(out)
    }

    /// Reads them.
    ///
    /// # Errors
    /// [`Wrong`].
    pub fn decode(bytes: &[u8]) -> Result<Self, Wrong> {
        let mut rest = Rest(bytes);
        let node = rest.text()?;
        let prefix = rest.text()?;
        let user = rest.text()?;
        let password = rest.text()?;
        let broker = (rest.take()?, u16::from_le_bytes(rest.take()?));
        let [has_key] = rest.take()?;
        let key: [u8; KEY_BYTES] = rest.take()?;
        let every_s = u16::from_le_bytes(rest.take()?);
        let limit_centi_c = i16::from_le_bytes(rest.take()?);
        let duty_permille = u16::from_le_bytes(rest.take()?);
        if !rest.0.is_empty() {
            return Err(Wrong::Length);
        }
        let fits = |c: u8| c.is_ascii_alphanumeric() || c == b'-';
        if !node.starts_with(|c: char| c.is_ascii_alphanumeric()) || !node.bytes().all(fits) {
            return Err(Wrong::Node);
        }
        if every_s == 0 {
            return Err(Wrong::Every);
        }
        let key = (has_key == 1).then_some(key);
        Ok(Self { node, prefix, broker, user, password, key, every_s, limit_centi_c, duty_permille })
    }
}

/// What is still to be read.
pub(crate) struct Rest<'a>(pub(crate) &'a [u8]);

impl Rest<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], Wrong> {
        let (taken, rest) = self.0.split_first_chunk().ok_or(Wrong::Length)?;
        self.0 = rest;
        Ok(*taken)
    }

    pub(crate) fn text<const N: usize>(&mut self) -> Result<heapless::String<N>, Wrong> {
        let [len] = self.take()?;
        let (taken, rest) = self.0.split_at_checked(len.into()).ok_or(Wrong::Length)?;
        self.0 = rest;
        let text = core::str::from_utf8(taken).map_err(|_| Wrong::Text)?;
        heapless::String::try_from(text).map_err(|_| Wrong::Text)
    }
}

/// What a node notes for itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Notes {
    /// How often it started.
    pub boot: u32,
    /// How often the watchdog started it.
    pub bites: u32,
    /// What a person has to reset.
    pub kept: Kept,
    /// So many readings at least waited for their receipt when this was written.
    pub waiting: u32,
    /// So many at least waited at the end of a start, all starts together: they were in memory, and are lost.
    pub cut_off: u32,
}

/// The bytes of notes.
const NOTES_BYTES: usize = 21;

impl Notes {
    /// Writes them down.
    ///
    /// # Errors
    /// The memory's; `Ok(false)` if they do not stand there afterwards.
    pub fn save<M: Memory>(&self, memory: &mut M) -> Result<bool, M::Error> {
        let latch = match self.kept.latch {
            None => 0,
            Some(Latch::Withdrawn) => 1,
            Some(Latch::Limit) => 2,
            Some(Latch::Watchdog) => 3,
        };
        let mut bytes = [0; NOTES_BYTES];
        let counts = [self.boot, self.bites, self.kept.reset, self.waiting, self.cut_off];
        let said = counts.into_iter().flat_map(u32::to_le_bytes).chain([latch]);
        for (slot, byte) in bytes.iter_mut().zip(said) {
            *slot = byte;
        }
        NOTES.save(memory, &bytes)
    }

    /// Reads them; what was never written is all zero. `None` if they were written once and cannot be read any more: what
    /// a person had to reset, and the numbers of the starts, are not known then.
    ///
    /// # Errors
    /// The memory's.
    pub fn load<M: Memory>(memory: &mut M) -> Result<Option<Self>, M::Error> {
        match NOTES.load(memory)? {
            Some(bytes) => Ok(Self::decode(&bytes)),
            None => Ok((!NOTES.is_damaged(memory)?).then(Self::default)),
        }
    }

    fn decode(bytes: &[u8]) -> Option<Self> {
        let (words, rest) = bytes.as_chunks::<4>();
        let (&[boot, bites, reset, waiting, cut_off], &[latch]) = (words, rest) else { return None };
        let latch = match latch {
            0 => None,
            1 => Some(Latch::Withdrawn),
            2 => Some(Latch::Limit),
            // A number that is not known is a reason, too.
            _ => Some(Latch::Watchdog),
        };
        let [boot, bites, reset, waiting, cut_off] = [boot, bites, reset, waiting, cut_off].map(u32::from_le_bytes);
        Some(Self { boot, bites, kept: Kept { reset, latch }, waiting, cut_off })
    }

    /// Reads them, counts a start and what was lost with the one before, and writes them back; a start by the watchdog
    /// waits for a person from that moment on, whatever comes next. `None` if the memory does
    /// not keep it: then this start has no number, and nothing heats.
    pub fn begin<M: Memory>(memory: &mut M, by_watchdog: bool) -> Option<Self> {
        let mut notes = Self::load(memory).ok()??;
        notes.cut_off = notes.cut_off.saturating_add(core::mem::take(&mut notes.waiting));
        notes.boot = notes.boot.checked_add(1)?;
        if by_watchdog {
            notes.bites = notes.bites.saturating_add(1);
            notes.kept.latch = notes.kept.latch.or(Some(Latch::Watchdog));
        }
        notes.save(memory).ok()?.then_some(notes)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::store::tests::Cells;
    use proptest::prelude::*;
    use std::string::String;

    fn settings() -> impl Strategy<Value = Settings> {
        let texts = ("[a-z0-9][a-z0-9-]{0,31}", "[a-z/]{0,32}", "[a-z]{0,32}", "[!-~]{0,64}");
        let numbers = (any::<[u8; 4]>(), any::<u16>(), 1..u16::MAX, any::<i16>(), any::<u16>());
        (texts, any::<Option<Key>>(), numbers).prop_map(
            |((node, prefix, user, password), key, (ip, port, every_s, limit_centi_c, duty_permille))| {
                let name = |text: String| Name::try_from(text.as_str()).unwrap();
                Settings {
                    node: name(node),
                    prefix: name(prefix),
                    broker: (ip, port),
                    user: name(user),
                    password: heapless::String::try_from(password.as_str()).unwrap(),
                    key,
                    every_s,
                    limit_centi_c,
                    duty_permille,
                }
            },
        )
    }

    proptest! {
        #[test]
        fn settings_read_back_and_cut_ones_are_none(settings in settings(), cut: prop::sample::Index) {
            let bytes = settings.encode().unwrap();
            prop_assert_eq!(Settings::decode(&bytes), Ok(settings));
            prop_assert!(Settings::decode(&bytes[..cut.index(bytes.len())]).is_err());
        }

        /// A name with a `/` or a `+` would speak on topics that are not the node's.
        #[test]
        fn settings_that_are_longer_or_name_no_node_are_none(settings in settings(), more in 1_usize..9) {
            let bytes = settings.encode().unwrap();
            let mut longer = bytes.to_vec();
            longer.resize(bytes.len() + more, 0);
            prop_assert_eq!(Settings::decode(&longer), Err(Wrong::Length));
            for name in ["", "-oak", "oak/1", "oak+", "oak#", "o\u{e4}k", "oak node", "oak:"] {
                let other = Settings { node: Name::try_from(name).unwrap(), password: heapless::String::new(), ..settings.clone() };
                prop_assert_eq!(Settings::decode(&other.encode().unwrap()), Err(Wrong::Node));
            }
            let never = Settings { every_s: 0, ..settings };
            prop_assert_eq!(Settings::decode(&never.encode().unwrap()), Err(Wrong::Every));
        }

        #[test]
        fn any_bytes_are_settings_or_none(bytes: std::vec::Vec<u8>) {
            if let Ok(settings) = Settings::decode(&bytes) {
                prop_assert!(settings.every_s > 0 && !settings.node.is_empty());
            }
        }

        #[test]
        fn notes_read_back(boot: u32, bites: u32, reset: u32, waiting: u32, cut_off: u32, latch in 0_usize..4) {
            let latch = [None, Some(Latch::Withdrawn), Some(Latch::Limit), Some(Latch::Watchdog)][latch];
            let notes = Notes { boot, bites, kept: Kept { reset, latch }, waiting, cut_off };
            let mut cells = Cells::empty();
            prop_assert_eq!(notes.save(&mut cells), Ok(true));
            prop_assert_eq!(Notes::load(&mut cells), Ok(Some(notes)));
        }
    }

    #[test]
    fn each_start_has_a_higher_number_or_none() {
        let mut cells = Cells::empty();
        let mut last = 0;
        for cut in 0..80 {
            cells.power = if cut % 2 == 0 { usize::MAX } else { cut / 2 };
            match Notes::begin(&mut cells, cut == 4) {
                Some(notes) => {
                    assert!(notes.boot > last);
                    last = notes.boot;
                    assert_eq!(notes.bites, u32::from(cut >= 4));
                    assert_eq!(notes.kept.latch, (cut >= 4).then_some(Latch::Watchdog));
                }
                None => assert_eq!(cut % 2, 1),
            }
        }
        assert!(last >= 40);
    }

    #[test]
    fn what_waited_when_a_start_ended_is_counted_by_the_next_and_no_more_than_once() {
        let mut cells = Cells::empty();
        let first = Notes::begin(&mut cells, false).unwrap();
        Notes { waiting: 64, ..first }.save(&mut cells).unwrap();
        Notes { waiting: 256, ..first }.save(&mut cells).unwrap();
        for _ in 0..2 {
            let next = Notes::begin(&mut cells, false).unwrap();
            assert_eq!((next.waiting, next.cut_off), (0, 256));
        }
    }

    /// Numbers that begin anew would let old permits count, and a forgotten latch heat return.
    #[test]
    fn notes_that_cannot_be_read_any_more_give_no_number() {
        let mut cells = Cells::empty();
        for _ in 0..2 {
            Notes::begin(&mut cells, false).unwrap();
        }
        for slot in [0, 256] {
            cells.bytes[512 + slot + 8] ^= 0x10;
        }
        assert_eq!(Notes::begin(&mut cells, false), None);
        assert_eq!(NOTES.save(&mut cells, b"of another layout"), Ok(true));
        assert_eq!(Notes::begin(&mut cells, false), None);
    }

    #[test]
    fn settings_never_show_what_is_secret() {
        let text = |t: &str| heapless::String::try_from(t).unwrap();
        let settings = Settings {
            node: Name::try_from("oak-node").unwrap(),
            prefix: Name::new(),
            broker: ([127, 0, 0, 1], 1883),
            user: Name::new(),
            password: text("swordfish"),
            key: Some([0xab; 32]),
            every_s: 10,
            limit_centi_c: 4000,
            duty_permille: 1000,
        };
        let shown = std::format!("{settings:?}");
        assert!(shown.contains("oak-node") && !shown.contains("swordfish") && !shown.contains("171"));
    }
}
