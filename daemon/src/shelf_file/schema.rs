//! Every key that `shelf.toml` knows, as data: the reader, the environment and the tests walk this one table.
use enclosure::trim::{OFFSET_MOST_K, OFFSET_MOST_PCT};

/// What a key's value must be, before its meaning is weighed.
#[derive(Debug)]
pub(super) enum Kind {
    /// A text in quotes, not empty.
    Text,
    /// A finite number, from and to (both included).
    Number(f64, f64),
    /// A whole number, from and to (both included).
    Whole(i64, i64),
    /// One of these words.
    Choice(&'static [&'static str]),
    /// `true`, `false` or `"unknown"`.
    YesNoUnknown,
    /// A list of texts.
    Texts,
    /// A moment with its offset from UTC (RFC 3339), in quotes or as TOML has it.
    Moment,
    /// One section.
    Table(&'static Section),
    /// Any number of sections, each under `[[…]]`.
    Tables(&'static Section),
    /// One section or several.
    OneOrMore(&'static Section),
    /// A word, or a table of its own numbers.
    TextOrTable(&'static Section),
}

/// One key.
#[derive(Debug)]
pub(super) struct Key {
    /// As it is written.
    pub(super) name: &'static str,
    /// What it takes.
    pub(super) kind: Kind,
}

/// The keys of one section.
#[derive(Debug)]
pub(super) struct Section {
    /// In the order of the example file.
    pub(super) keys: &'static [Key],
}

impl Section {
    /// The key of that name.
    pub(super) fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }
}

const fn key(name: &'static str, kind: Kind) -> Key {
    Key { name, kind }
}

const fn text(name: &'static str) -> Key {
    key(name, Kind::Text)
}

/// The longest axis, mm: longer than any shelf board, short enough to catch metres and inches.
pub(super) const LENGTH_MM: (f64, f64) = (20.0, 5000.0);

/// What a keeper may say that a nest's material bears, °C.
pub(super) const MATERIAL_LIMIT_C: (f64, f64) = (25.0, 200.0);

const fn place_mm(name: &'static str) -> Key {
    key(name, Kind::Number(0.0, LENGTH_MM.1))
}

const fn celsius(name: &'static str) -> Key {
    key(name, Kind::Number(-20.0, 60.0))
}

const fn minutes(name: &'static str, most: f64) -> Key {
    key(name, Kind::Number(0.0, most))
}

static MATERIAL: Section = Section {
    keys: &[
        key("conductivity_w_mk", Kind::Number(0.01, 500.0)),
        key("density_kg_m3", Kind::Number(5.0, 20_000.0)),
        key("heat_capacity_j_kgk", Kind::Number(100.0, 10_000.0)),
    ],
};

static PAD: Section = Section {
    keys: &[
        text("id"),
        text("shared"),
        place_mm("from_mm"),
        place_mm("to_mm"),
        key("watts", Kind::Number(0.01, 1000.0)),
        text("drive"),
        celsius("thermostat_c"),
        place_mm("thermostat_at_mm"),
        key("where", Kind::Choice(&["under", "beside", "lid", "inside"])),
        text("plug"),
        key("cutoff", Kind::YesNoUnknown),
        text("permit_key_file"),
        key("permit_duty", Kind::Number(0.01, 1.0)),
    ],
};

static BROOD: Section = Section { keys: &[place_mm("from_mm"), place_mm("to_mm")] };

static BAND: Section =
    Section { keys: &[celsius("low_c"), celsius("high_c"), celsius("limit_c"), celsius("hot_c"), text("why")] };

static HUMIDITY: Section =
    Section { keys: &[key("low_pct", Kind::Number(0.0, 100.0)), key("high_pct", Kind::Number(0.0, 100.0))] };

static PROBE: Section = Section {
    keys: &[
        text("source"),
        place_mm("at_mm"),
        key("offset_k", Kind::Number(-OFFSET_MOST_K, OFFSET_MOST_K)),
        key("offset_pct", Kind::Number(-OFFSET_MOST_PCT, OFFSET_MOST_PCT)),
    ],
};

static ROOM: Section = Section { keys: &[text("source")] };

static SEASON: Section = Section {
    keys: &[
        text("from"),
        text("to"),
        key("kind", Kind::Choice(&["active", "rest", "empty"])),
        celsius("low_c"),
        celsius("high_c"),
        celsius("limit_c"),
        celsius("hot_c"),
        text("why"),
        key("pad", Kind::Choice(&["on", "off"])),
    ],
};

static NEST: Section = Section {
    keys: &[
        text("id"),
        key("kind", Kind::Choice(&["nest", "arena", "tube"])),
        text("joined_to"),
        key("length_mm", Kind::Number(LENGTH_MM.0, LENGTH_MM.1)),
        key("width_mm", Kind::Number(5.0, 2000.0)),
        key("height_mm", Kind::Number(1.0, 1000.0)),
        key("material", Kind::TextOrTable(&MATERIAL)),
        key("cover", Kind::Choice(&["open", "glass", "acrylic", "lid"])),
        key("material_limit_c", Kind::Number(MATERIAL_LIMIT_C.0, MATERIAL_LIMIT_C.1)),
        key("since", Kind::Moment),
        celsius("degree_days_above_c"),
        key("pad", Kind::OneOrMore(&PAD)),
        key("brood", Kind::Table(&BROOD)),
        key("band", Kind::Table(&BAND)),
        key("humidity", Kind::Table(&HUMIDITY)),
        key("probe", Kind::Tables(&PROBE)),
        key("room", Kind::Table(&ROOM)),
        key("season", Kind::Tables(&SEASON)),
    ],
};

static SHELF: Section = Section { keys: &[text("name"), text("where"), text("emergency")] };

static BROKER: Section = Section {
    keys: &[
        text("embedded"),
        text("url"),
        text("user"),
        text("password_file"),
        text("users_file"),
        key("acts_from", Kind::Texts),
        text("prefix"),
        text("client_id"),
    ],
};

static HISTORY: Section = Section {
    keys: &[
        text("path"),
        key("commit_s", Kind::Number(0.05, 60.0)),
        key("max_mb", Kind::Whole(10, 10_000_000)),
        key("max_days", Kind::Whole(7, 36_500)),
    ],
};

static WEB: Section = Section {
    keys: &[
        text("listen"),
        text("url"),
        text("password_file"),
        key("reading", Kind::Choice(&["password", "open"])),
        text("cert_file"),
        text("key_file"),
        text("proxy"),
    ],
};

static HEARTBEAT: Section =
    Section { keys: &[text("url"), key("every_min", Kind::Number(0.5, 1440.0)), text("watches")] };

static RECIPIENT: Section = Section {
    keys: &[
        text("name"),
        text("phone"),
        text("from"),
        text("until"),
        text("quiet_from"),
        text("quiet_to"),
        text("time_zone"),
    ],
};

static ALARM: Section = Section {
    keys: &[
        key("deadband_k", Kind::Number(0.0, 3.0)),
        minutes("hot_on_delay_min", 120.0),
        minutes("cold_on_delay_min", 720.0),
        minutes("limit_on_delay_min", 10.0),
        minutes("hot_off_delay_min", 120.0),
        minutes("cold_off_delay_min", 120.0),
        minutes("limit_off_delay_min", 60.0),
        minutes("heater_off_delay_min", 60.0),
        minutes("other_off_delay_min", 120.0),
        minutes("excused_min", 240.0),
        key("chatter_raised", Kind::Whole(2, 16)),
        key("chatter_within_min", Kind::Number(1.0, 1440.0)),
        key("worse_k", Kind::Number(0.2, 10.0)),
        key("forecast_hot_min", Kind::Number(60.0, 1440.0)),
        key("forecast_cold_min", Kind::Number(60.0, 1440.0)),
        minutes("forecast_sustained_min", 240.0),
        key("silent_missed", Kind::Whole(2, 1000)),
        key("silent_at_least_min", Kind::Number(1.0, 240.0)),
        key("unwatched_after_min", Kind::Number(5.0, 240.0)),
        key("flat_span_k", Kind::Number(0.2, 10.0)),
        minutes("flat_on_delay_min", 2880.0),
        minutes("rest_on_delay_min", 1440.0),
        key("humidity_deadband_pct", Kind::Number(0.0, 20.0)),
        minutes("humidity_on_delay_min", 2880.0),
        minutes("water_on_delay_min", 10_080.0),
        minutes("learning_min", 2880.0),
        key("remind_min", Kind::Number(2.0, 15.0)),
        key("season_utc_offset_min", Kind::Number(-840.0, 840.0)),
        key("brood-cold", Kind::Table(&OF_COLD)),
        key("brood-hot", Kind::Table(&OF_HOT)),
        key("brood-limit", Kind::Table(&OF_LIMIT)),
        key("probe-hot", Kind::Table(&OF_PROBE_HOT)),
        key("forecast-hot", Kind::Table(&OF_FORECAST)),
        key("forecast-cold", Kind::Table(&OF_FORECAST)),
        key("heater-stuck-on", Kind::Table(&OF_STUCK)),
        key("heater-no-heat", Kind::Table(&OF_EVIDENCE)),
        key("gradient-flat", Kind::Table(&OF_SLOW_WARMTH)),
        key("probe-silent", Kind::Table(&OF_SILENCE)),
        key("probe-implausible", Kind::Table(&OF_EVIDENCE)),
        key("humidity-low", Kind::Table(&OF_DAMP)),
        key("humidity-high", Kind::Table(&OF_DAMP)),
        key("condensation", Kind::Table(&OF_DAMP)),
        key("water-low", Kind::Table(&OF_WATER)),
        key("nest-unwatched", Kind::Table(&OF_SILENCE)),
        key("rest-warm", Kind::Table(&OF_SLOW_WARMTH)),
        key("broker-lost", Kind::Table(&OF_BROKER)),
    ],
};

const fn on_min(most: f64) -> Key {
    minutes("on_delay_min", most)
}

const fn off_min(most: f64) -> Key {
    minutes("off_delay_min", most)
}

const DEADBAND_K: Key = key("deadband_k", Kind::Number(0.0, 3.0));

/// What single alarms may have of their own. A danger's delays are kept short.
static OF_COLD: Section = Section { keys: &[on_min(720.0), off_min(120.0), DEADBAND_K] };
static OF_HOT: Section = Section { keys: &[on_min(120.0), off_min(120.0), DEADBAND_K] };
static OF_LIMIT: Section = Section { keys: &[on_min(10.0), off_min(60.0), DEADBAND_K] };
static OF_PROBE_HOT: Section = Section { keys: &[off_min(60.0), DEADBAND_K] };
static OF_FORECAST: Section = Section { keys: &[on_min(240.0), off_min(240.0)] };
static OF_STUCK: Section = Section { keys: &[on_min(5.0), off_min(60.0)] };
static OF_EVIDENCE: Section = Section { keys: &[on_min(240.0), off_min(240.0)] };
static OF_SLOW_WARMTH: Section = Section { keys: &[on_min(2880.0), off_min(720.0), DEADBAND_K] };
static OF_SILENCE: Section = Section { keys: &[off_min(120.0)] };
static OF_DAMP: Section =
    Section { keys: &[on_min(2880.0), off_min(720.0), key("deadband_pct", Kind::Number(0.0, 20.0))] };
static OF_WATER: Section = Section { keys: &[on_min(10_080.0), off_min(1440.0)] };
static OF_BROKER: Section = Section { keys: &[on_min(60.0)] };

static NOTICE: Section = Section {
    keys: &[
        key("way", Kind::Choice(&["log", "command", "webhook", "mail", "mqtt"])),
        text("url"),
        text("token_file"),
        text("secret_file"),
        key("command", Kind::Texts),
        text("topic"),
        text("server"),
        text("from"),
        key("to", Kind::Texts),
        text("user"),
        text("password_file"),
        text("ca_file"),
        text("recipient"),
        key("least", Kind::Choice(&["advice", "warning", "danger"])),
        minutes("after_min", 1440.0),
        text("quiet_from"),
        text("quiet_to"),
        text("time_zone"),
        text("daily_at"),
        text("weekly_at"),
    ],
};

static INFLUX: Section =
    Section { keys: &[text("url"), text("org"), text("bucket"), text("token_file"), text("shelf_tag")] };

static MAPPING: Section =
    Section { keys: &[text("topic"), text("pointer"), key("unit", Kind::Choice(FOREIGN_UNITS)), text("source")] };

/// The units that a mapping's number may have: those of SenML that become a reading (RFC 8428, section 12.1), and those
/// that are turned into them (the IANA registry's "K", "/100" and "kW", and degrees Fahrenheit, which has none).
pub(super) const FOREIGN_UNITS: &[&str] = &["Cel", "%RH", "/", "W", "K", "degF", "/100", "kW"];

/// The whole file.
pub(super) static FILE: Section = Section {
    keys: &[
        key("shelf", Kind::Table(&SHELF)),
        key("nest", Kind::Tables(&NEST)),
        key("broker", Kind::Table(&BROKER)),
        key("history", Kind::Table(&HISTORY)),
        key("web", Kind::Table(&WEB)),
        key("alarm", Kind::Table(&ALARM)),
        key("recipient", Kind::Tables(&RECIPIENT)),
        key("notice", Kind::Tables(&NOTICE)),
        key("heartbeat", Kind::Table(&HEARTBEAT)),
        key("influx", Kind::Table(&INFLUX)),
        key("mapping", Kind::Tables(&MAPPING)),
    ],
};

/// Every key that the environment may set, with the path of its section: the keys of the sections that stand once.
pub(super) fn settable() -> impl Iterator<Item = (String, &'static Key)> {
    let mut all = Vec::new();
    for key in FILE.keys {
        if let Kind::Table(section) = key.kind {
            gather(key.name, section, &mut all);
        }
    }
    all.into_iter()
}

fn gather(path: &str, section: &'static Section, into: &mut Vec<(String, &'static Key)>) {
    for key in section.keys {
        match key.kind {
            Kind::Table(inner) => gather(&format!("{path}.{}", key.name), inner, into),
            _ => into.push((path.to_owned(), key)),
        }
    }
}
