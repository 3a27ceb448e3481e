//! Leave to heat, as the daemon gives it: what it knows of each node that may drive a mat, and what it says to it next.
//!
//! Whether heat is granted is the core's to decide ([`enclosure::permit`]); here is what must be remembered for it: the
//! pack that is answered, a counter that only grows, whether leave was withdrawn, and how often a person has reset it.
//! The last two are facts of history, so that no restart gives leave back.
use crate::shelf_file::{PermitSettings, ShelfFile};
use enclosure::permit::{Leave, Unheated, Withheld};
use enclosure::{Span, Timestamp};
use std::io::Read as _;
use std::path::PathBuf;
use wire::{HeatOff, KEY_BYTES, Key, Permit, PermitKind};

/// How long leave holds: three packs of a node that speaks once a minute.
pub const LEASE: Span = Span::from_min(3);
/// Where packs must be signed, a source for which anybody else spoke justifies nothing for so long: what it made of the
/// estimate has faded by then.
const DOUBTED: Span = Span::from_min(30);
/// A node that sends what it kept during an outage is not answered more often than this.
const ANSWER_EVERY: Span = Span::from_s(2);
/// How cold it gets without heat is reckoned anew so often.
const UNHEATED_EVERY: Span = Span::from_min(5);
/// Largest key file, bytes.
const KEY_FILE_MAX: u64 = 1024;

/// A key file that cannot be used. Exit 64.
#[derive(Debug, thiserror::Error)]
#[error("cannot use the key file {path}: {why}; it must hold 64 hexadecimal digits, as the node's settings do")]
pub struct KeyError {
    /// The file.
    pub path: PathBuf,
    /// Why not.
    pub why: String,
}

/// A mat that its node drives on leave only.
#[derive(Clone)]
pub struct Mat {
    settings: PermitSettings,
    key: Key,
}

impl std::fmt::Debug for Mat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Mat").field("settings", &self.settings).finish_non_exhaustive()
    }
}

/// Reads the key of every mat on leave.
///
/// # Errors
/// [`KeyError`] for the first that cannot be used.
pub fn mats(file: &ShelfFile) -> Result<Vec<Mat>, KeyError> {
    file.permits.iter().map(|settings| Ok(Mat { settings: settings.clone(), key: key(&settings.key_file)? })).collect()
}

fn key(path: &std::path::Path) -> Result<Key, KeyError> {
    let wrong = |why: String| KeyError { path: path.to_owned(), why };
    let file = std::fs::File::open(path).map_err(|e| wrong(e.to_string()))?;
    let mut text = String::new();
    file.take(KEY_FILE_MAX).read_to_string(&mut text).map_err(|e| wrong(e.to_string()))?;
    let digits: Option<Vec<u8>> =
        text.trim().chars().map(|c| c.to_digit(16).and_then(|digit| u8::try_from(digit).ok())).collect();
    let digits = digits.filter(|digits| digits.len() == 2 * KEY_BYTES);
    let digits = digits.ok_or_else(|| wrong("it holds something else".to_owned()))?;
    let mut key = [0; KEY_BYTES];
    for (byte, pair) in key.iter_mut().zip(digits.chunks_exact(2)) {
        *byte = pair.iter().fold(0, |byte, digit| byte << 4 | digit);
    }
    Ok(key)
}

/// What stands with one mat, for pages.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatNow {
    /// The nest, by its place in [`enclosure::Shelf::nests`].
    pub nest: usize,
    /// The node.
    pub node: String,
    /// Leave was withdrawn, or the node itself stopped for good: a person has to reset it.
    pub waits: bool,
    /// The drive it has leave for, 0 to 1; none where it has none.
    pub duty: Option<f64>,
    /// Why not, if not.
    pub withheld: Option<Withheld>,
    /// Why the node does not heat, as it says itself.
    pub off: Option<HeatOff>,
    /// What becomes of the brood place without heat.
    pub unheated: Option<Unheated>,
}

/// One mat, and what was said to and by its node.
#[derive(Debug)]
pub struct Standing {
    mat: Mat,
    reset: u32,
    withdrawn: bool,
    counter: u32,
    heard: Option<(u32, u32)>,
    answered: Option<Span>,
    now: HeatNow,
    reckoned: Option<Span>,
    proven: Option<(u64, u32)>,
    is_proven: bool,
    doubted: Option<Span>,
}

/// The fact under which a node's standing is kept.
fn fact_name(node: &str) -> String {
    format!("heat/{node}")
}

impl Standing {
    /// As history left it; `fact` reads one.
    pub fn new(mat: Mat, fact: impl FnOnce(&str) -> Option<String>) -> Self {
        let PermitSettings { nest, node, .. } = mat.settings.clone();
        let kept = fact(&fact_name(&node));
        let (word, reset) = kept.as_deref().and_then(|kept| kept.split_once(' ')).unwrap_or(("free", "0"));
        let (withdrawn, reset) = (word != "free", reset.parse().unwrap_or(0));
        let now = HeatNow { nest, node, waits: withdrawn, duty: None, withheld: None, off: None, unheated: None };
        Self {
            mat,
            reset,
            withdrawn,
            counter: 0,
            heard: None,
            answered: None,
            now,
            reckoned: None,
            proven: None,
            is_proven: false,
            doubted: None,
        }
    }

    /// For pages.
    pub const fn now(&self) -> &HeatNow {
        &self.now
    }

    /// The nest, by its place on the shelf.
    pub const fn nest(&self) -> usize {
        self.mat.settings.nest
    }

    /// The node.
    pub fn node(&self) -> &str {
        &self.mat.settings.node
    }

    /// The most that the keeper lets it be driven, 0 to 1.
    pub const fn most(&self) -> f64 {
        self.mat.settings.duty
    }

    /// What is to be remembered.
    pub fn fact(&self) -> (String, String) {
        let word = if self.withdrawn { "withdrawn" } else { "free" };
        (fact_name(self.node()), format!("{word} {}", self.reset))
    }

    /// Whether only a signed pack counts as the node's: nobody is bound to its topics.
    pub const fn needs_proof(&self) -> bool {
        self.mat.settings.signed
    }

    /// Takes a pack of start `boot` that speaks for the node, and judges whether it is signed and new. The very last once
    /// more is no fault, as a broker may deliver twice; an older one is none of the node's doing.
    pub fn prove(&mut self, payload: &[u8], boot: u64, now: Span) {
        let said = wire::read_proof(payload, self.node(), &self.mat.key).map(|counter| (boot, counter));
        self.is_proven = said > self.proven;
        if self.is_proven {
            self.proven = said;
        } else if said.is_none() || said != self.proven {
            self.doubted = Some(now);
        }
    }

    /// Whether the last pack that spoke for the node was its own, and new.
    pub const fn is_proven(&self) -> bool {
        self.is_proven
    }

    /// Whether somebody spoke for it without proof, of late.
    pub fn is_doubted(&self, now: Span) -> bool {
        self.doubted.is_some_and(|last| now.ms() - last.ms() < DOUBTED.ms())
    }

    /// Hears why the node does not heat, and how many resets it saw, as far as it says so.
    pub fn says(&mut self, (off, reset): (Option<u64>, Option<u64>)) {
        if let Some(code) = off {
            self.now.off = HeatOff::from_code(code);
        }
        let reset = reset.and_then(|reset| u32::try_from(reset).ok());
        self.reset = self.reset.max(reset.unwrap_or(0));
        let stopped = matches!(self.now.off, Some(HeatOff::Withdrawn | HeatOff::Limit | HeatOff::Watchdog));
        self.now.waits = self.withdrawn || stopped;
    }

    /// Hears pack `seq` of start `boot`, and what the node says of its heat; returns whether it is to be answered.
    pub fn hear(&mut self, (boot, seq): (u64, u64), heat: (Option<u64>, Option<u64>), now: Span) -> bool {
        self.says(heat);
        // Beyond 32 bits nothing is answered: 8000 years of packs a minute.
        let (Ok(boot), Ok(seq)) = (u32::try_from(boot), u32::try_from(seq)) else { return false };
        self.heard = self.heard.max(Some((boot, seq)));
        let due = self.answered.is_none_or(|last| now.ms() - last.ms() >= ANSWER_EVERY.ms());
        if due {
            self.answered = Some(now);
        }
        due && self.heard == Some((boot, seq))
    }

    /// Turns the core's answer into a permit that answers the last pack; `None` where nobody was heard. Withheld heat is
    /// leave for nothing: it ends what the last permit gave.
    pub fn answer(&mut self, leave: Leave, now: Timestamp) -> Option<Permit> {
        self.withdrawn |= leave == Leave::Withdraw;
        self.now.waits |= self.withdrawn;
        (self.now.duty, self.now.withheld) = match leave {
            Leave::Grant { duty, .. } if !self.withdrawn => (Some(duty), None),
            Leave::Withhold(why) => (None, Some(why)),
            Leave::Grant { .. } | Leave::Withdraw => (None, None),
        };
        let (boot, answers) = self.heard?;
        let (kind, duty, ceiling_c) = match leave {
            Leave::Grant { duty, ceiling_c } if !self.withdrawn => (PermitKind::Grant, duty, ceiling_c),
            _ if self.withdrawn => (PermitKind::Withdraw, 0.0, 0.0),
            _ => (PermitKind::Grant, 0.0, 0.0),
        };
        // Seconds since 1970 outlive a restart of the daemon, so that the counter grows over it.
        let seconds = u32::try_from(now.unix_ms() / 1000).unwrap_or(0);
        self.counter = seconds.max(self.counter.saturating_add(1));
        Some(Permit {
            kind,
            boot,
            counter: self.counter,
            answers,
            reset: self.reset,
            duty_permille: (duty.clamp(0.0, 1.0) * 1000.0).floor() as u16,
            ceiling_centi_c: (ceiling_c * 100.0).floor().clamp(-30_000.0, 30_000.0) as i16,
            lease_s: u16::try_from(LEASE.ms() / 1000).unwrap_or(u16::MAX),
        })
    }

    /// Writes a permit as it goes out.
    ///
    /// # Errors
    /// Why it could not be written.
    pub fn write(&self, permit: &Permit) -> Result<Vec<u8>, wire::WriteError> {
        let mut buffer = [0; 512];
        let pack = wire::JsonWriter::new(&mut buffer)?;
        wire::write_permit(pack, self.node(), &self.mat.key, permit).map(<[u8]>::to_vec)
    }

    /// A person lets heat return; returns whether it had waited for one.
    pub fn reset(&mut self) -> bool {
        let waited = self.now.waits;
        if waited {
            self.reset = self.reset.saturating_add(1);
            (self.withdrawn, self.now.waits) = (false, false);
        }
        waited
    }

    /// Whether leave was withdrawn.
    pub const fn is_withdrawn(&self) -> bool {
        self.withdrawn
    }

    /// Whether it is to be reckoned anew how cold it gets without heat.
    pub fn must_reckon(&mut self, now: Span) -> bool {
        let due = self.reckoned.is_none_or(|last| now.ms() - last.ms() >= UNHEATED_EVERY.ms());
        if due {
            self.reckoned = Some(now);
        }
        due
    }

    /// Takes what was reckoned.
    pub const fn unheated(&mut self, unheated: Option<Unheated>) {
        self.now.unheated = unheated;
    }
}

#[cfg(test)]
mod tests;
