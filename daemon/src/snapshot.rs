//! What the pipeline shows the rest of the daemon: an immutable picture after each step, and the acts that a keeper
//! sends back in. Pages, metrics and notices read the first; only the pipeline makes it.
use crate::history::{AlarmRecord, Delivery};
use crate::permit::HeatNow;
use enclosure::{Alarm, AlarmKey, NestNow, Priority, Shelf, State, Timestamp};
use std::collections::BTreeMap;
use std::sync::Arc;
use tokio::sync::oneshot;

/// Everything as it stood at one moment.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// That moment.
    pub at: Timestamp,
    /// When this daemon started.
    pub started: Timestamp,
    /// The shelf.
    pub shelf: Arc<Shelf>,
    /// Names of the listed sources; a `SourceId` is a place in it.
    pub sources: Arc<[String]>,
    /// Every nest, in the order of the shelf.
    pub nests: Vec<NestNow>,
    /// Every alarm that is not normal, the gravest first.
    pub alarms: Vec<StandingAlarm>,
    /// Sources that no nest lists: name, last value with its unit, when.
    pub strangers: Vec<(String, String, Timestamp)>,
    /// Nodes by name: whether their link is up, as far as their will tells.
    pub links: BTreeMap<String, bool>,
    /// Nodes that were heard since the start, by name.
    pub nodes: BTreeMap<String, NodeNow>,
    /// Heating mats that are driven on leave only.
    pub heat: Vec<HeatNow>,
    /// The state of the watch itself.
    pub vitals: Vitals,
}

/// What a node said last, of itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NodeNow {
    /// When anything of it arrived last.
    pub heard: Option<Timestamp>,
    /// The number of its start, as its packs say.
    pub boot: Option<u64>,
    /// How often that number grew since this daemon started: it was started anew so often.
    pub starts: u64,
    /// Its own values that are no readings: name after the node's, unit (SenML), value.
    pub says: BTreeMap<String, (String, f64)>,
}

/// One alarm that is not normal.
#[derive(Clone, Debug, PartialEq)]
pub struct StandingAlarm {
    /// Which.
    pub key: AlarmKey,
    /// Its state.
    pub state: State,
    /// Since when it is in that state.
    pub since: Timestamp,
    /// When it was raised; none where that is not known any more.
    pub raised: Option<Timestamp>,
    /// What was expected, what was seen, how sure (as of when it was raised).
    pub detail: String,
    /// The alarm of which it is a consequence.
    pub cause: Option<Alarm>,
    /// When its silence ends by itself.
    pub until: Option<Timestamp>,
}

impl StandingAlarm {
    /// How urgent it is.
    pub fn priority(&self) -> Priority {
        self.key.alarm.priority()
    }
}

/// How the daemon itself is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Vitals {
    /// Messages received.
    pub messages: u64,
    /// Readings judged.
    pub readings: u64,
    /// Records refused, by reason.
    pub refused: BTreeMap<&'static str, u64>,
    /// Readings not believed, by reason.
    pub rejected: BTreeMap<&'static str, u64>,
    /// Alarms raised, by alarm.
    pub raised: BTreeMap<&'static str, u64>,
    /// Alarms told: the rest followed from others, or was held back.
    pub told: u64,
    /// Readings stored.
    pub stored: u64,
    /// Readings that were there already.
    pub duplicates: u64,
    /// Readings of which only their hour is left, and those of which nothing is, because the shelf file bounds history.
    pub thinned: (u64, u64),
    /// Messages dropped for lack of room (they come again).
    pub dropped: u64,
    /// Why the broker is out of reach, if it is.
    pub broker_lost: Option<String>,
    /// Why history cannot be written, if it cannot.
    pub history_failing: Option<String>,
    /// Ways of sending notices that fail, each with the reason.
    pub notices_failing: BTreeMap<String, String>,
    /// Time from a message's arrival to its commit, ms: newest and worst of the last minute.
    pub commit_ms: (u64, u64),
    /// What waits: a queue (`inbox`, `flights` or `untold`), how much waits in it, and how much has room.
    pub waiting: Vec<(&'static str, usize, usize)>,
    /// Moment of the newest judged reading.
    pub judged: Option<Timestamp>,
    /// How it stands with the mirror; none where the shelf file asks for none.
    pub mirror: Option<MirrorNow>,
}

/// How it stands with the mirror.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MirrorNow {
    /// Lines that the other end took since the start.
    pub sent: u64,
    /// Lines that it never gets: refused for good, or thinned away while it could not be reached; ever.
    pub lost: u64,
    /// Readings that arrived since the last one sent.
    pub waiting: u64,
    /// Days of a source that are to be sent, because they were packed before they were.
    pub due: u64,
    /// When everything was sent last.
    pub caught_up: Option<Timestamp>,
    /// Why nothing is taken, if it is so.
    pub failing: Option<String>,
}

/// Something a keeper does, with the way back to them.
#[derive(Debug)]
pub struct Act {
    /// What.
    pub kind: ActKind,
    /// By which way it came: `page`, `command line`, `MQTT user hall`; kept beside the act.
    pub by: String,
    /// Why, in the keeper's words; may be empty.
    pub why: String,
    /// Hears whether it was done, or in plain words why not.
    pub reply: oneshot::Sender<Result<(), String>>,
}

/// What a keeper can do.
#[derive(Clone, Debug, PartialEq)]
pub enum ActKind {
    /// Answer, silence, unsilence or reset an alarm.
    Alarm(AlarmAct, AlarmName),
    /// Write down what was seen or done.
    Note(Note),
    /// Put a former fit of a nest's physics back into force.
    PutBackFit {
        /// The nest's id.
        nest: String,
        /// The fit's number in history.
        fit: i64,
    },
    /// A person saw a test message.
    Proof(Delivery),
    /// A second watch elsewhere is missed, or heard again.
    Elsewhere {
        /// The name of its shelf.
        shelf: String,
        /// Whether it is missed.
        missed: bool,
        /// Since when, and what it may mean.
        detail: String,
    },
}

/// What can be done to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlarmAct {
    /// Answer it.
    Acknowledge,
    /// Silence it for so many minutes.
    Shelve(u32),
    /// End that silence.
    Unshelve,
    /// Reset a latched one.
    Reset,
    /// Take it out of service, until then or until it is put back.
    TakeOut(Option<Timestamp>),
    /// Put it back into service.
    PutBack,
    /// Someone is on the way: who was told is left in peace for a while. The alarm itself stays as it is.
    OnTheWay,
}

/// An alarm by its names, as a page, a command line or a script knows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmName {
    /// The contract's alarm name.
    pub alarm: String,
    /// The nest's id.
    pub nest: Option<String>,
    /// The probe's source.
    pub probe: Option<String>,
    /// The node.
    pub node: Option<String>,
}

/// What a keeper wrote down.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// When it was so.
    pub at: Timestamp,
    /// The nest's id.
    pub nest: String,
    /// What kind: brood, fed, water, refilled, opened, moved, eggs, other.
    pub kind: String,
    /// Where on the axis, mm.
    pub at_mm: Option<f64>,
    /// In the keeper's words.
    pub text: String,
}

/// Acts that may wait for the pipeline.
pub const ACTS_WAITING: usize = 32;

/// An alarm's change on its way to whoever sends messages. It is stored already; or the disk failed, or a danger could
/// not wait for it any longer.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// What changed, under the names that a keeper knows. A message is due only where it says `told`; the rest ends
    /// repetitions, or makes up for a message that was held back.
    pub change: AlarmRecord,
    /// Its id in history, for [`Delivery::change`]; none if it is not stored.
    pub id: Option<i64>,
    /// It stood so when the daemon started: its message was sent before, unless the daemon ended just then.
    pub restored: bool,
}

/// What became of one attempt to send a message: the pipeline stores it, and raises notice-failing.
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    /// The attempt, as history keeps it.
    pub delivery: Delivery,
    /// Whether that way of sending is to be held for failing now, after its repetitions.
    pub failing: bool,
}

/// Changes that may wait for whoever sends messages; what does not fit waits with the pipeline.
pub const TOLD_WAITING: usize = 64;
/// Attempts to send that may wait for the pipeline.
pub const SENT_WAITING: usize = 64;
