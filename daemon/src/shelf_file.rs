//! `shelf.toml`: read, layered under the environment, checked, and turned into what the daemon works with.
//!
//! One reading finds everything that is wrong, each with its line and key, for `run` and `check` alike:
//! - `document`: TOML with its lines against the one table of keys in `schema`; what is faulty is named and left out;
//! - `environment`: `WARMEND__SECTION__KEY` against the same table;
//! - the `config` crate lays one over the other and fills `raw`, the file as it is written;
//! - `nests`, `bands`, `materials`, `services`, `notices`, `recipients`: meaning, ranges, references, defaults;
//! - `unwise` and its kin: what is legal but better otherwise, each with its reason;
//! - `report`: what `warmend check` says.
//!
//! A new key is one line in `schema`, one field in `raw`, its meaning in one builder, and a line in the example file
//! (a test compares them).
mod bands;
mod document;
mod environment;
mod findings;
mod manners;
mod materials;
mod names;
mod nearest;
mod nests;
mod no_toml;
mod notices;
mod permits;
mod raw;
mod recipients;
mod report;
mod schema;
mod services;
mod settings;
mod unwise;
mod unwise_slow;
mod unwise_web;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod tests;

pub use environment::PREFIX;
pub use findings::{Advice, MAX_ERRORS, Place, ShelfError, ShelfErrors};
pub use materials::{UNNAMED as UNNAMED_MATERIAL, known_material, material_names, name_of_material};
pub use nests::MAX_SOURCES;
pub use report::{EXIT_FINE, EXIT_WRONG, deference, report};
pub use settings::{
    BrokerSettings, BrokerWay, HeartbeatSettings, HistorySettings, InfluxSettings, Mapping, NoticeWay, PermitSettings,
    Plug, QuietHours, Recipient, Turned, Way, WebSettings,
};

use dashboards::say;
use enclosure::shelf::Nest;
use enclosure::{Shelf, Span};
use findings::Findings;
use raw::RawFile;
use std::collections::HashMap;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Largest shelf file that is read, bytes.
pub const MAX_FILE_BYTES: u64 = 1024 * 1024;

/// Everything a shelf file says, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct ShelfFile {
    /// The file.
    pub path: PathBuf,
    /// What it says; below it, as comments, what the environment sets.
    pub text: String,
    /// What the core watches.
    pub shelf: Shelf,
    /// Where the shelf stands, in the keeper's words.
    pub place: Option<String>,
    /// Which plug each heating mat hangs on.
    pub plugs: Vec<Plug>,
    /// Which heating mats are driven on leave only.
    pub permits: Vec<PermitSettings>,
    /// Where readings come from.
    pub broker: BrokerSettings,
    /// Where history is kept.
    pub history: HistorySettings,
    /// Where the pages are.
    pub web: WebSettings,
    /// What to call in an emergency, as the keeper wrote it.
    pub emergency: Option<String>,
    /// Those who are told, in the order in which they are.
    pub recipients: Vec<Recipient>,
    /// After so long an answered danger that still holds is brought to mind again.
    pub remind: Span,
    /// Signs of life.
    pub heartbeat: Option<HeartbeatSettings>,
    /// Ways by which a keeper is told; never empty.
    pub notices: Vec<NoticeWay>,
    /// A mirror, if one is wanted.
    pub influx: Option<InfluxSettings>,
    /// Sensors that speak no SenML.
    pub mappings: Vec<Mapping>,
}

impl ShelfFile {
    /// Every listed source and the nest that lists it; a shared one belongs to the first.
    pub fn nests_of_sources(&self) -> HashMap<String, String> {
        let mut nests = HashMap::new();
        for nest in &self.shelf.nests {
            for source in sources(nest) {
                nests.entry(source.to_owned()).or_insert_with(|| nest.id.clone());
            }
        }
        nests
    }
}

/// Every source that `nest` lists: probes, drives, room.
pub fn sources(nest: &Nest) -> impl Iterator<Item = &str> {
    let probes = nest.probes.iter().map(|p| &p.source);
    let drives = nest.pads.iter().filter_map(|p| p.drive.as_ref());
    probes.chain(drives).chain(nest.room.as_ref()).map(String::as_str)
}

/// Whether a source may be called so.
///
/// # Errors
/// Why not, and what to write.
pub fn source_name(text: &str) -> Result<(), String> {
    names::source(text).map_err(|(why, remedy)| say!("shelf-source-wrong", why = why, remedy = remedy))
}

/// Loads the shelf file at `path`, with `env` laid over it (pass [`std::env::vars_os`], lossily converted).
///
/// # Errors
/// [`ShelfErrors::Unreadable`] if the file is missing, not UTF-8 or larger than [`MAX_FILE_BYTES`];
/// [`ShelfErrors::Wrong`] with everything that is wrong in it or in the environment.
pub fn load(path: &Path, env: impl Iterator<Item = (String, String)>) -> Result<(ShelfFile, Vec<Advice>), ShelfErrors> {
    let text = read(path).map_err(|reason| ShelfErrors::Unreadable { path: path.to_owned(), reason })?;
    let mut findings = Findings::default();
    let file = parse(&text, path, env, &mut findings);
    if let Some(file) = &file {
        unwise::missing_files(file, &mut findings);
    }
    finish(file, path, findings)
}

/// Checks the text of a shelf file that would stand at `path`; touches no disk.
///
/// # Errors
/// [`ShelfErrors::Wrong`] with everything that is wrong in it or in the environment.
pub fn check_text(
    text: &str,
    path: &Path,
    env: impl Iterator<Item = (String, String)>,
) -> Result<(ShelfFile, Vec<Advice>), ShelfErrors> {
    let mut findings = Findings::default();
    let file = parse(text, path, env, &mut findings);
    finish(file, path, findings)
}

fn finish(file: Option<ShelfFile>, path: &Path, mut f: Findings) -> Result<(ShelfFile, Vec<Advice>), ShelfErrors> {
    if file.is_none() && !f.any_wrong() {
        f.wrong("", say!("shelf-whole"), say!("shelf-whole-do"));
    }
    let advice = f.finish(path)?;
    file.map(|file| (file, advice))
        .ok_or_else(|| ShelfErrors::Unreadable { path: path.to_owned(), reason: say!("shelf-not-understood") })
}

fn read(path: &Path) -> Result<String, String> {
    let file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    let mut bytes = Vec::new();
    file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(|e| e.to_string())?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(say!("shelf-too-large", most = MAX_FILE_BYTES));
    }
    String::from_utf8(bytes).map_err(|e| say!("shelf-not-utf8", why = e.utf8_error().to_string()))
}

fn parse(text: &str, path: &Path, env: impl Iterator<Item = (String, String)>, f: &mut Findings) -> Option<ShelfFile> {
    let mut document = document::read(text, f)?;
    let env: Vec<(String, String)> = env.filter(|(name, _)| name.starts_with(PREFIX)).collect();
    let set = env.iter().map(|(name, value)| format!("# {name}={}\n", value.replace(['\r', '\n'], " ")));
    let text = set.fold(text.to_owned(), |text, line| text + &line);
    let env = env.into_iter();
    let over = environment::read(env, &mut document, f);
    let raw = layer(document, over).map_err(|e| f.wrong("", e.to_string(), say!("shelf-whole-do"))).ok()?;
    let file = build(&raw, (path, text), f);
    if let (Some(file), false) = (&file, f.any_wrong()) {
        unwise::advise(file, &raw, f);
    }
    file
}

/// The environment laid over the document. Both were checked, so that nothing is left for this to refuse.
fn layer(document: document::Document, over: config::Map<String, String>) -> Result<RawFile, config::ConfigError> {
    let prefix = PREFIX.trim_end_matches('_');
    let environment =
        config::Environment::with_prefix(prefix).prefix_separator("__").separator("__").source(Some(over));
    config::Config::builder().add_source(document).add_source(environment).build()?.try_deserialize()
}

/// `None` only if something is wrong (and noted): every part is built first, so that every part is checked.
fn build(raw: &RawFile, (path, text): (&Path, String), f: &mut Findings) -> Option<ShelfFile> {
    let dir = path.parent().unwrap_or(Path::new(""));
    let (nests, plugs) = nests::build(&raw.nest, f);
    let permits = permits::build(&raw.nest, &raw.mapping, (raw.broker.users_file.is_some(), dir), f);
    let broker = services::broker(&raw.broker, dir, f);
    let history = services::history(&raw.history, dir);
    let web = services::web(&raw.web, dir, f);
    let recipients = recipients::build(&raw.recipient, f);
    let notices = notices::build(&raw.notice, &recipients, dir, f);
    let heartbeat = raw.heartbeat.as_ref().map(|h| recipients::heartbeat(h, f));
    let influx = raw.influx.as_ref().map(|i| services::influx(i, dir, f));
    let mappings = services::mappings(&raw.mapping, f);
    let shelf = Shelf {
        name: raw.shelf.name.clone().unwrap_or_else(|| "study".to_owned()),
        nests,
        alarms: services::alarms(&raw.alarm),
    };
    Some(ShelfFile {
        path: path.to_owned(),
        text,
        shelf,
        place: raw.shelf.place.clone(),
        plugs,
        permits,
        broker: broker?,
        history,
        web: web?,
        emergency: raw.shelf.emergency.clone(),
        recipients,
        remind: services::span(raw.alarm.remind_min.unwrap_or(5.0), 60_000.0),
        heartbeat,
        notices,
        influx: influx.map_or(Some(None), |checked| checked.map(Some))?,
        mappings,
    })
}
