//! What a shelf file says beside the shelf itself: broker, history, pages, messages, mirror, mappings.
use enclosure::alarm::Priority;
use enclosure::reading::Unit;
use enclosure::time::Span;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;

/// Where readings come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrokerSettings {
    /// Our own broker, or one elsewhere.
    pub way: BrokerWay,
    /// First part of every topic.
    pub prefix: String,
    /// Name of the daemon's session at the broker.
    pub client_id: String,
}

/// Which broker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BrokerWay {
    /// The daemon's own.
    Embedded {
        /// Where it listens; port 0 means any free one.
        listen: SocketAddr,
        /// Its users, each with a password hash, a node and topics. Always there beyond loopback.
        users_file: Option<PathBuf>,
    },
    /// One that runs elsewhere.
    Outside {
        /// Its host, a name or an address (IPv6 without brackets).
        host: String,
        /// Its port.
        port: u16,
        /// Who we are there.
        user: Option<String>,
        /// The file that holds the password.
        password_file: Option<PathBuf>,
        /// Users of that broker whose acts upon alarms are taken; its own rights must see to it that nobody else can
        /// publish to their topics.
        acts_from: Vec<String>,
    },
}

/// Where history is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct HistorySettings {
    /// The database file.
    pub path: PathBuf,
    /// Longest wait of a reading before it is on disk.
    pub commit: Span,
    /// Size above which the oldest days are thinned to hours, MB (10^6 bytes).
    pub max_mb: Option<u32>,
    /// Age above which readings are thinned to hours, days.
    pub max_days: Option<u32>,
}

/// Where the pages are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebSettings {
    /// Where the pages are served; port 0 means any free one.
    pub listen: SocketAddr,
    /// The address under which a telephone reaches them, `http://host:port`, for the links in messages.
    pub url: Option<String>,
    /// The file that holds the hash of the password; always there beyond loopback.
    pub password_file: Option<PathBuf>,
    /// Whether looking needs no password; acting does.
    pub open: bool,
    /// Certificate and private key, as PEM.
    pub tls: Option<(PathBuf, PathBuf)>,
    /// The proxy that all others come through.
    pub proxy: Option<IpAddr>,
}

/// Signs of life to elsewhere, and those awaited from elsewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeartbeatSettings {
    /// Asked for (GET) while readings are really being judged.
    pub url: Option<String>,
    /// How often; whoever is awaited here is missed after three times as long.
    pub every: Span,
    /// Names of the shelves whose signs of life are awaited here.
    pub watches: Vec<String>,
}

/// Somebody who is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recipient {
    /// What they are called.
    pub name: String,
    /// How to reach them by voice, for the printed card.
    pub phone: Option<String>,
    /// First and last day on which they are told; no bound where none is written.
    pub days: (Option<jiff::civil::Date>, Option<jiff::civil::Date>),
    /// Hours in which what does no harm by morning waits.
    pub quiet: Option<QuietHours>,
    /// Their time zone (IANA); the machine's where none is written.
    pub time_zone: Option<String>,
}

/// One way by which a keeper is told, and when it is used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoticeWay {
    /// The way out.
    pub way: Way,
    /// Less urgent messages are not sent this way.
    pub least: Priority,
    /// Whose it is, by place in [`super::ShelfFile::recipients`]; none: the keeper's own, the first of all.
    pub recipient: Option<usize>,
    /// Sent only if nobody answered for so long; none: as the order of the recipients has it.
    pub after: Option<Span>,
    /// Hours in which what does no harm by morning waits; none unless set.
    pub quiet: Option<QuietHours>,
    /// The time zone that hours are told in; the machine's where none is written.
    pub time_zone: Option<String>,
    /// When a day's report goes out, minutes after midnight.
    pub daily_at_min: Option<u16>,
    /// When a week's report goes out: day of the week from Monday, 0, and minutes after midnight.
    pub weekly_at: Option<(u8, u16)>,
}

impl NoticeWay {
    /// A way of the keeper's own that takes every message at once.
    pub fn plain(way: Way) -> Self {
        let (recipient, after, quiet, time_zone) = (None, None, None, None);
        let (daily_at_min, weekly_at) = (None, None);
        Self { way, least: Priority::Advice, recipient, after, quiet, time_zone, daily_at_min, weekly_at }
    }
}

/// A way out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Way {
    /// The daemon's log.
    Log,
    /// A program that is started with the message on its standard input.
    Command {
        /// Program and arguments; no shell is between.
        command: Vec<String>,
    },
    /// An HTTP POST of a JSON object.
    Webhook {
        /// Where to.
        url: String,
        /// The file that holds a bearer token.
        token_file: Option<PathBuf>,
        /// The file that holds the key by which messages are signed.
        secret_file: Option<PathBuf>,
    },
    /// A mail.
    Mail {
        /// The mail server, `smtp://host:port` or `smtps://host:port`.
        server: String,
        /// Sender.
        from: String,
        /// Recipients, at least one.
        to: Vec<String>,
        /// Who we are at the server.
        user: Option<String>,
        /// The file that holds the password.
        password_file: Option<PathBuf>,
        /// A certificate (PEM) to be trusted beside the public ones: of a server of one's own.
        ca_file: Option<PathBuf>,
    },
    /// A message on the broker that readings come from.
    Mqtt {
        /// The topic.
        topic: String,
    },
}

/// Hours of rest, in the recipient's own time zone; `to` may lie before `from`: over midnight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuietHours {
    /// Begin, minutes after midnight.
    pub from_min: u16,
    /// End, minutes after midnight.
    pub to_min: u16,
    /// An IANA time zone, as `Europe/Lisbon`.
    pub time_zone: String,
}

/// A mirror of readings and estimates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InfluxSettings {
    /// The server.
    pub url: String,
    /// Its organisation.
    pub org: String,
    /// The bucket.
    pub bucket: String,
    /// The file that holds the token.
    pub token_file: Option<PathBuf>,
    /// What every line carries as its tag `shelf`, where several shelves share a service without buckets.
    pub shelf_tag: Option<String>,
}

/// How a sensor that speaks no SenML is taken in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mapping {
    /// MQTT topic filter.
    pub topic: String,
    /// JSON Pointer (RFC 6901) to the number; none: the payload is a plain number.
    pub pointer: Option<String>,
    /// The reading's unit.
    pub unit: Unit,
    /// What turns the number into one of that unit.
    pub turned: Turned,
    /// The source it is taken for.
    pub source: String,
}

/// What turns a number into one of a reading's unit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Turned {
    /// It is one.
    #[default]
    Not,
    /// From kelvins.
    Kelvin,
    /// From degrees Fahrenheit.
    Fahrenheit,
    /// From percent.
    Hundredths,
    /// From kilowatts.
    Thousands,
}

impl Turned {
    /// Turns `number`.
    pub fn turn(self, number: f64) -> f64 {
        match self {
            Self::Not => number,
            Self::Kelvin => number - 273.15,
            Self::Fahrenheit => (number - 32.0) / 1.8,
            Self::Hundredths => number / 100.0,
            Self::Thousands => number * 1000.0,
        }
    }
}

/// What a keeper must know of a heating mat to pull its plug: for messages and pages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plug {
    /// The nest, by its place in [`enclosure::Shelf::nests`].
    pub nest: usize,
    /// The pad, by its place in [`enclosure::shelf::Nest::pads`].
    pub pad: usize,
    /// Which plug or switch it hangs on, in the keeper's words.
    pub plug: Option<String>,
    /// Whether it has a thermal cut-off of its own, as far as the keeper knows.
    pub cutoff: Option<bool>,
}

/// A heating mat whose node drives it on leave only.
#[derive(Clone, Debug, PartialEq)]
pub struct PermitSettings {
    /// The nest, by its place in [`enclosure::Shelf::nests`].
    pub nest: usize,
    /// The pad, by its place in [`enclosure::shelf::Nest::pads`].
    pub pad: usize,
    /// The node that drives the mat.
    pub node: String,
    /// The file with the key that node and daemon share: 64 hexadecimal digits.
    pub key_file: PathBuf,
    /// The most that the mat may be driven, 0 to 1.
    pub duty: f64,
    /// Only signed packs count as the node's own: the broker binds nobody to its topics.
    pub signed: bool,
}
