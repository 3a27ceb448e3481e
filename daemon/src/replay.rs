//! `warmend replay`: recorded readings through the very same core, in event time.
use crate::aside::aside;
use crate::evidence;
use anyhow::{Context, Result, bail};
use enclosure::reading::Unit;
use enclosure::{Core, Effect, Input, Measured, Reading, Shelf, SourceId, Span, Timestamp};
use std::collections::{BTreeMap, HashMap};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;

/// Records are held this long for stragglers.
const HOLD: Span = Span::from_min(10);
/// Records held at once; more than this within ten minutes is no shelf.
const HELD_MAX: usize = 4_000_000;
/// Skipped lines that are named; the rest is only counted.
const NAMED_MAX: u64 = 20;
/// So much newer than all before it a record is taken only if the next is too: else all that follow would be too old.
const LEAP: Span = Span::from_h(366 * 24);
/// Longest line, bytes: a longer one is no record, and is not kept to find out.
const LINE_MAX: usize = 64 * 1024;
/// What some editors put before the first line of UTF-8.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Why a record alone in another year is none.
const ALONE_AHEAD: &str = "it is more than a year newer than all before it, and what follows is not";
const ALONE_BEHIND: &str = "it is more than a year older than all that follow, and alone";

/// What was attempted when the recording cannot be read, and what to do ...
const READING: &str = "reading the recording: check that it is a whole file of SensML lines, plain or gzip";
/// ... and when what comes of it cannot be written.
const WRITING: &str = "writing what came of it: check free space, and who reads it";

/// What to replay.
#[derive(Clone, Copy, Debug)]
pub struct Settings {
    /// A profile at every multiple of this since 1970.
    pub every: Span,
    /// Whether the nightly fits run.
    pub fits: bool,
}

/// What came of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// Readings taken.
    pub taken: u64,
    /// Records of sources that no nest lists.
    pub strangers: u64,
    /// Lines skipped, by reason.
    pub skipped: BTreeMap<&'static str, u64>,
}

struct Replay<'a, W: Write> {
    core: Core,
    ids: HashMap<String, SourceId>,
    ranks: Vec<u32>,
    held: std::collections::BinaryHeap<std::cmp::Reverse<Queued>>,
    newest: Option<Timestamp>,
    held_from: Option<u64>, // the first line that was taken
    /// A record of another year and its line, until the next says whether it is alone there.
    doubted: Option<(u64, Queued)>,
    next_profile: Option<Timestamp>,
    last: Option<Queued>,
    settings: Settings,
    outcome: Outcome,
    out: &'a mut W,
}

/// A record in its place: time, name, unit, value.
#[derive(Clone, Copy, Debug)]
struct Queued {
    t: f64,
    rank: u32,
    unit: u8,
    value: f64,
    reading: Reading,
}

impl Queued {
    fn key(&self) -> (u64, u32, u8, u64) {
        // Times are positive, so their bits order as they do; values are ordered as IEEE 754 totalOrder does.
        let bits = self.value.to_bits() as i64;
        let total = (bits ^ (((bits >> 63) as u64) >> 1) as i64) as u64 ^ (1 << 63);
        (self.t.to_bits(), self.rank, self.unit, total)
    }
}
impl PartialEq for Queued {
    fn eq(&self, other: &Self) -> bool {
        self.key() == other.key()
    }
}
impl Eq for Queued {}
impl PartialOrd for Queued {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Queued {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.key().cmp(&other.key())
    }
}

/// Replays `input` (SensML as lines, plain or gzip) over `shelf` and writes JSON lines to `out`.
///
/// # Errors
/// If the input cannot be read, the output not written, or no reading was taken at all.
pub fn replay(shelf: Shelf, input: &mut dyn Read, out: &mut impl Write, settings: Settings) -> Result<Outcome> {
    let core = Core::new(shelf);
    let core = if settings.fits { core } else { core.without_fits() };
    let mut order: Vec<usize> = (0..core.sources().len()).collect();
    order.sort_by(|a, b| core.sources()[*a].cmp(&core.sources()[*b]));
    let mut ranks = vec![0; order.len()];
    for (rank, i) in order.into_iter().enumerate() {
        ranks[i] = rank as u32;
    }
    let ids = core.sources().iter().filter_map(|n| Some((n.clone(), core.source(n)?))).collect();
    let mut replay = Replay {
        core,
        ids,
        ranks,
        held: std::collections::BinaryHeap::new(),
        newest: None,
        held_from: None,
        doubted: None,
        next_profile: None,
        last: None,
        settings,
        outcome: Outcome::default(),
        out,
    };
    let mut reader = BufReader::with_capacity(1 << 16, input);
    let gzip = reader.fill_buf().context(READING)?.starts_with(&[0x1f, 0x8b]);
    if gzip {
        replay.lines(&mut BufReader::with_capacity(1 << 16, flate2::bufread::MultiGzDecoder::new(reader)))?;
    } else {
        replay.lines(&mut reader)?;
    }
    replay.finish()
}

impl<W: Write> Replay<'_, W> {
    fn lines(&mut self, reader: &mut dyn BufRead) -> Result<()> {
        let mut line = Vec::with_capacity(256);
        let mut number = 0_u64;
        loop {
            let whole = next_line(reader, &mut line).context(READING)?;
            if line.is_empty() {
                return Ok(());
            }
            number += 1;
            if !whole {
                self.skip(number, "it is longer than 64 KiB");
                continue;
            }
            let record = line.strip_prefix(BYTE_ORDER_MARK).filter(|_| number == 1).unwrap_or(&line);
            if record.iter().all(u8::is_ascii_whitespace) {
                continue;
            }
            match self.parse(record) {
                Ok(Some(q)) => self.take(number, q)?,
                Ok(None) => self.outcome.strangers += 1,
                Err(why) => self.skip(number, why),
            }
        }
    }

    fn skip(&mut self, number: u64, why: &'static str) {
        let count = self.outcome.skipped.entry(why).or_default();
        *count += 1;
        if *count <= NAMED_MAX {
            aside!("line {number} skipped: {why}");
        }
    }

    fn parse(&self, line: &[u8]) -> Result<Option<Queued>, &'static str> {
        let r = wire::decode_line(line).map_err(|_| "it is no resolved SenML record")?;
        if r.had_base {
            return Err("it has base fields: a line must be resolved");
        }
        if r.is_relative() {
            return Err("it has no absolute time");
        }
        let at = Timestamp::from_unix_s(r.time_s).ok_or("its time cannot be")?;
        let Some(source) = self.ids.get(r.name.as_str()).copied() else { return Ok(None) };
        let (unit, value, measured) = match r.value {
            Some(wire::Value::Float(v)) => {
                let unit = r.unit.as_deref().and_then(Unit::from_senml);
                let unit = unit.ok_or("its unit is none that a probe or a pad gives")?;
                let order = match unit {
                    Unit::RelativeHumidity => 1,
                    Unit::Ratio => 2,
                    Unit::Celsius => 3,
                    Unit::Watt => 4,
                };
                (order, v, Measured::new(unit, v).map_err(|_| "its value is outside what can be")?)
            }
            Some(wire::Value::Bool(on)) => (0, f64::from(u8::from(on)), Measured::On(on)),
            Some(wire::Value::Text(_) | wire::Value::Data(_)) | None => return Err("it says no number"),
        };
        let rank = self.ranks[usize::from(source.0)];
        Ok(Some(Queued { t: r.time_s, rank, unit, value, reading: Reading { source, at, measured } }))
    }

    fn take(&mut self, number: u64, q: Queued) -> Result<()> {
        let at = q.reading.at;
        if let Some((line, doubted)) = self.doubted.take() {
            let apart = at.since(doubted.reading.at);
            if doubted == q {
                // Said twice, it is as alone as before.
                self.doubted = Some((line, doubted));
                return Ok(());
            } else if -HOLD.ms() <= apart.ms() && apart <= LEAP {
                self.leave_alone_behind();
                self.hold(line, doubted)?;
            } else {
                self.skip(line, ALONE_AHEAD);
            }
        }
        if self.newest.is_some_and(|n| n.since(at) > HOLD) {
            self.skip(number, "it is more than 10 minutes older than one before it");
            return Ok(());
        }
        if self.newest.is_some_and(|n| at.since(n) > LEAP) {
            self.doubted = Some((number, q));
            return Ok(());
        }
        self.hold(number, q)
    }

    /// Where all that was taken so far is one record, and others agree upon another year, it is the one that is wrong.
    fn leave_alone_behind(&mut self) {
        if self.last.is_none() && self.held.len() == 1 {
            self.held.clear();
            self.newest = None;
            if let Some(line) = self.held_from.take() {
                self.skip(line, ALONE_BEHIND);
            }
        }
    }

    fn hold(&mut self, number: u64, q: Queued) -> Result<()> {
        let at = q.reading.at;
        self.held_from.get_or_insert(number);
        if self.held.len() >= HELD_MAX {
            bail!("more than {HELD_MAX} records within 10 minutes: this is no shelf's recording");
        }
        self.held.push(std::cmp::Reverse(q));
        let newest = self.newest.map_or(at, |n| n.max(at));
        self.newest = Some(newest);
        while self.held.peek().is_some_and(|h| newest.since(h.0.reading.at) > HOLD) {
            self.release()?;
        }
        Ok(())
    }

    fn release(&mut self) -> Result<()> {
        let Some(std::cmp::Reverse(q)) = self.held.pop() else { return Ok(()) };
        if self.last == Some(q) {
            return Ok(());
        }
        self.last = Some(q);
        self.pass(q.reading.at, false)?;
        let effects = self.core.step(q.reading.at, Input::Reading(q.reading));
        self.outcome.taken += 1;
        self.write(&effects)
    }

    /// Lets time pass up to `until`: timers at their own times, profiles at theirs (those at `until` itself only when
    /// nothing else can come at that moment).
    fn pass(&mut self, until: Timestamp, closed: bool) -> Result<()> {
        let every = self.settings.every.ms();
        let mut profile = self.next_profile.unwrap_or_else(|| {
            let ms = until.unix_ms();
            Timestamp::from_unix_ms(ms + (every - ms.rem_euclid(every)) % every)
        });
        loop {
            let wake = self.core.wake_at().filter(|w| *w <= until);
            let due = profile < until || (closed && profile == until);
            match wake {
                Some(w) if !due || w <= profile => {
                    let effects = self.core.step(w, Input::Wake);
                    self.write(&effects)?;
                }
                _ if due => {
                    self.profiles(profile)?;
                    profile = profile.plus(self.settings.every);
                }
                _ => break,
            }
        }
        self.next_profile = Some(profile);
        Ok(())
    }

    fn profiles(&mut self, at: Timestamp) -> Result<()> {
        for i in 0..self.core.shelf().nests.len() {
            let Some(now) = self.core.nest(i, at) else { continue };
            let p = &now.profile;
            if p.at_mm.is_empty() {
                continue;
            }
            let line = serde_json::json!({
                "kind": "profile", "nest": self.core.shelf().nests[i].id, "t": at.unix_ms() / 1000,
                "at_mm": rounded(&p.at_mm, 10.0), "mean_c": rounded(&p.mean_c, 1000.0), "sd_c": rounded(&p.sd_c, 1000.0),
                "pad_w": round(p.pad_w, 1000.0), "pad_w_sd": round(p.pad_w_sd, 1000.0),
            });
            writeln!(self.out, "{line}").context(WRITING)?;
        }
        Ok(())
    }

    fn write(&mut self, effects: &[Effect]) -> Result<()> {
        for e in effects {
            let Effect::Alarm(c) = e else { continue };
            let mut line = serde_json::json!({
                "kind": "alarm", "t": c.at.unix_s(), "alarm": c.key.alarm.name(), "event": c.event.name(),
                "detail": evidence::words(&c.evidence),
            });
            if let Some(nest) = c.key.nest.and_then(|n| self.core.shelf().nests.get(usize::from(n))) {
                line["nest"] = nest.id.clone().into();
            }
            if let Some(probe) = c.key.probe.and_then(|p| self.core.sources().get(usize::from(p.0))) {
                line["probe"] = probe.clone().into();
            }
            if let Some(node) = &c.key.node {
                line["node"] = node.clone().into();
            }
            if let Some(cause) = c.cause {
                line["cause"] = cause.name().into();
            }
            writeln!(self.out, "{line}").context(WRITING)?;
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Outcome> {
        if let Some((line, _)) = self.doubted.take() {
            self.skip(line, ALONE_AHEAD);
        }
        while !self.held.is_empty() {
            self.release()?;
        }
        if let Some(last) = self.newest {
            self.pass(last, true)?;
        }
        self.out.flush().context(WRITING)?;
        for (why, count) in &self.outcome.skipped {
            aside!("{count} lines skipped: {why}");
        }
        if self.outcome.strangers > 0 {
            aside!("{} records of sources that no nest lists", self.outcome.strangers);
        }
        if self.outcome.taken == 0 {
            bail!("no reading was taken: check that the sources in the recording are those of the shelf file");
        }
        Ok(self.outcome)
    }
}

/// Reads the next line into `line`, empty at the end; false for one that is too long, of which the rest is passed over.
fn next_line(reader: &mut dyn BufRead, line: &mut Vec<u8>) -> std::io::Result<bool> {
    line.clear();
    let most = LINE_MAX as u64;
    let read = |line: &mut Vec<u8>, reader: &mut dyn BufRead| reader.take(most).read_until(b'\n', line);
    read(line, reader)?;
    let is_cut = |line: &[u8]| line.len() >= LINE_MAX && !line.ends_with(b"\n");
    if !is_cut(line) {
        return Ok(true);
    }
    let mut rest = Vec::new();
    loop {
        rest.clear();
        read(&mut rest, reader)?;
        if !is_cut(&rest) {
            return Ok(false);
        }
    }
}

fn round(v: f64, per: f64) -> f64 {
    (v * per).round() / per
}

fn rounded(v: &[f64], per: f64) -> Vec<f64> {
    v.iter().map(|x| round(*x, per)).collect()
}

/// Opens a recording: a file, or standard input for `-`.
///
/// # Errors
/// If the file cannot be opened.
pub fn open(path: &Path) -> Result<Box<dyn Read>> {
    if path.as_os_str() == "-" {
        return Ok(Box::new(std::io::stdin().lock()));
    }
    let file = std::fs::File::open(path)
        .with_context(|| format!("opening the recording {}: check its name and rights", path.display()))?;
    Ok(Box::new(file))
}
