//! `warmend import`.
use super::csv::{ColumnName, Layout};
use super::times::TimeForm;
use super::{Format, LINE_MAX, csv, line, sensml};
use crate::aside::aside;
use crate::clock::Clock;
use crate::history::{self, Batch, HistoricReading, PACKED_AFTER, Store};
use crate::shelf_file::ShelfFile;
use anyhow::{Context as _, Result, bail};
use enclosure::{Span, Timestamp};
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, HashSet};
use std::fs::File;
use std::io::{BufRead, BufReader, Read as _};
use std::path::{Path, PathBuf};

/// Readings in one commit.
const BATCH: usize = 5_000;
/// Closed days are packed after so many readings.
const PACK_AFTER: u64 = 200_000;
/// Bad lines that are named; the rest is only counted.
const NAMED_MAX: u64 = 20;
/// Unlisted sources that one import may bring.
const SOURCES_MAX: usize = 4_096;
/// The earliest moment of a reading, s: below it SenML takes a time for relative.
const FROM_S: i64 = 1 << 28;
/// How far ahead a clock may have been.
const AHEAD_MAX: Span = Span::from_h(24);

/// `import`.
#[derive(Clone, Debug, clap::Args)]
pub struct ImportArgs {
    /// The form
    #[arg(long, value_enum, required_unless_present = "backup")]
    pub format: Option<Format>,
    /// The file, plain or gzip
    #[arg(required_unless_present = "backup")]
    pub file: Option<PathBuf>,
    /// A column of another program's CSV: "HEADER=SOURCE UNIT", as "Warm end=oak-node:warm Cel" (may be repeated)
    #[arg(long = "column", value_name = "HEADER=SOURCE UNIT")]
    pub columns: Vec<ColumnName>,
    /// The header of the column with the time
    #[arg(long, value_name = "HEADER", default_value = "time")]
    pub time: String,
    /// How its moments are written: rfc3339, unix, unix-ms, or a pattern as "%d.%m.%Y %H:%M"
    #[arg(long, value_name = "FORM", default_value = "rfc3339")]
    pub time_form: TimeForm,
    /// The time zone of moments that name none, as Europe/Lisbon
    #[arg(long, value_name = "ZONE", default_value = "UTC")]
    pub time_zone: String,
    /// What stands between two fields; with another than a comma, a comma may stand before the tenths
    #[arg(long, value_name = "CHARACTER", default_value = ",", value_parser = separator)]
    pub separator: u8,
    /// Takes sources too that no nest lists
    #[arg(long)]
    pub unlisted: bool,
    /// Takes what is good of a file with bad lines
    #[arg(long)]
    pub skip_bad: bool,
    /// Instead puts a backup in the place of the history, which is kept beside it
    #[arg(long, value_name = "FILE", conflicts_with_all = ["format", "file", "columns", "unlisted", "skip_bad"])]
    pub backup: Option<PathBuf>,
}

fn separator(text: &str) -> Result<u8, String> {
    match text.as_bytes() {
        [one] if !one.is_ascii_alphanumeric() && !matches!(one, b'"' | b'\n' | b'\r' | b'.') => Ok(*one),
        _ if text == "\\t" => Ok(b'\t'),
        _ => Err("write one character, as \";\", or \\t for a tabulator".to_owned()),
    }
}

/// Takes in what `args` names, and says on standard error what became of it.
///
/// # Errors
/// What was attempted, why it failed, what to do.
pub fn import(args: &ImportArgs, file: &ShelfFile, clock: &dyn Clock) -> Result<()> {
    let now = clock.now();
    if let Some(backup) = &args.backup {
        let put = history::put_back(&file.history.path, backup, now)?;
        aside!("{} is the history now", backup.display());
        if let Some(before) = put.before {
            aside!("what was there before is {}; what was read since the backup is in it only", before.display());
        }
        return Ok(());
    }
    let (Some(format), Some(path)) = (args.format, &args.file) else { bail!("importing: no --format or no file") };
    let zone = TimeZone::get(&args.time_zone);
    let zone = zone.with_context(|| format!("importing: there is no time zone \"{}\"", args.time_zone))?;
    let layout = Layout {
        time: args.time.clone(),
        form: args.time_form.clone(),
        zone,
        separator: args.separator,
        columns: args.columns.clone(),
    };
    let source = Source { path, format, layout };
    let listed: HashSet<String> = file.nests_of_sources().into_keys().collect();
    let rules = Rules { now, listed: (!args.unlisted).then_some(listed) };
    let first = source.look(&rules)?;
    first.complain();
    if first.bad > 0 && !args.skip_bad {
        bail!(
            "importing {}: {} lines are no readings, so nothing was stored. Correct them, or call again with \
             --skip-bad to take the rest",
            path.display(),
            first.bad
        );
    }
    if first.good == 0 {
        bail!("importing {}: there is no reading in it that a nest of the shelf file lists", path.display());
    }
    let opened = Store::open(&file.history.path, now)?;
    if let Some(aside) = &opened.report.damaged {
        aside!("{aside}");
    }
    let mut intake = Intake { store: opened.store, now, batch: Vec::with_capacity(BATCH), sum: Sum::default() };
    let stored = source.feed(&rules, &mut intake).and_then(|()| intake.end());
    let Sum { stored: n, duplicates, crowded, .. } = intake.sum;
    aside!("{n} readings stored, {duplicates} were there already");
    if crowded > 0 {
        aside!("{crowded} were refused: their source has more than {} on that day", history::SERIES_DAY_MAX);
    }
    stored.with_context(|| {
        format!("importing {}: the readings named above are stored; call again for the rest", path.display())
    })
}

/// What may come in.
struct Rules {
    now: Timestamp,
    listed: Option<HashSet<String>>,
}

enum Verdict {
    Good,
    Stranger,
    Bad(&'static str),
}

impl Rules {
    fn judge(&self, r: &HistoricReading) -> Verdict {
        if r.at.unix_ms() < FROM_S * 1000 {
            Verdict::Bad("its time is before 1978")
        } else if r.at > self.now.plus(AHEAD_MAX) {
            Verdict::Bad("its time is still to come")
        } else if self.listed.as_ref().is_some_and(|listed| !listed.contains(&*r.source)) {
            Verdict::Stranger
        } else {
            Verdict::Good
        }
    }
}

/// What a first look found.
#[derive(Default)]
struct Findings {
    good: u64,
    bad: u64,
    named: Vec<(u64, String)>,
    strangers: BTreeMap<String, u64>,
    /// Of more strangers than are told apart.
    more: u64,
}

impl Findings {
    fn bad(&mut self, number: u64, why: String) {
        self.bad += 1;
        if self.bad <= NAMED_MAX {
            self.named.push((number, why));
        }
    }

    fn complain(&self) {
        for (number, why) in &self.named {
            aside!("line {number}: {why}");
        }
        if self.bad > NAMED_MAX {
            aside!("and {} bad lines more", self.bad - NAMED_MAX);
        }
        for (source, n) in self.strangers.iter().take(usize::try_from(NAMED_MAX).unwrap_or(0)) {
            aside!("{n} readings of {source} left out: no nest lists it (--unlisted takes them all the same)");
        }
        let rest: u64 = self.strangers.values().skip(usize::try_from(NAMED_MAX).unwrap_or(0)).sum::<u64>() + self.more;
        if rest > 0 {
            aside!("{rest} readings of further such sources left out");
        }
    }
}

struct Source<'a> {
    path: &'a Path,
    format: Format,
    layout: Layout,
}

impl Source<'_> {
    fn open(&self) -> Result<Box<dyn BufRead>> {
        let doing = || format!("opening {}: check its name and rights", self.path.display());
        let mut file = BufReader::with_capacity(1 << 16, File::open(self.path).with_context(doing)?);
        let gzip = file.fill_buf().with_context(doing)?.starts_with(&[0x1f, 0x8b]);
        Ok(if gzip {
            Box::new(BufReader::with_capacity(1 << 16, flate2::bufread::MultiGzDecoder::new(file)))
        } else {
            Box::new(file)
        })
    }

    /// Hands what each line brings to `take`.
    fn each(&self, take: &mut dyn FnMut(u64, Result<Vec<HistoricReading>, String>) -> Result<()>) -> Result<()> {
        let mut input = self.open()?;
        match self.format {
            Format::Csv => csv::read(&mut *input, &self.layout, take),
            Format::Sensml => lines(&mut *input, &mut |number, line| take(number, sensml::read(line).map(|r| vec![r]))),
            Format::Line => {
                lines(&mut *input, &mut |number, line| take(number, line::read(line).map(|r| r.into_iter().collect())))
            }
        }
        .with_context(|| format!("importing {}", self.path.display()))
    }

    fn look(&self, rules: &Rules) -> Result<Findings> {
        let mut findings = Findings::default();
        let mut sources: HashSet<String> = HashSet::new();
        self.each(&mut |number, read| {
            let readings = match read {
                Ok(readings) => readings,
                Err(why) => {
                    findings.bad(number, why);
                    return Ok(());
                }
            };
            for r in readings {
                match rules.judge(&r) {
                    Verdict::Good => {
                        findings.good += 1;
                        if !sources.contains(&*r.source) {
                            anyhow::ensure!(
                                sources.len() < SOURCES_MAX,
                                "line {number}: more than {SOURCES_MAX} sources: this is no shelf's recording"
                            );
                            sources.insert(r.source.to_string());
                        }
                    }
                    Verdict::Bad(why) => findings.bad(number, why.to_owned()),
                    Verdict::Stranger if findings.strangers.len() < SOURCES_MAX => {
                        *findings.strangers.entry(r.source.to_string()).or_default() += 1;
                    }
                    Verdict::Stranger => findings.more += 1,
                }
            }
            Ok(())
        })?;
        Ok(findings)
    }

    fn feed(&self, rules: &Rules, intake: &mut Intake) -> Result<()> {
        self.each(&mut |_, read| {
            for r in read.unwrap_or_default() {
                if matches!(rules.judge(&r), Verdict::Good) {
                    intake.take(r)?;
                }
            }
            Ok(())
        })
    }
}

/// Hands each line that is not empty to `take`, with its number; of one that is too long, its beginning.
fn lines(input: &mut dyn BufRead, take: &mut dyn FnMut(u64, &[u8]) -> Result<()>) -> Result<()> {
    let mut line = Vec::with_capacity(256);
    for number in 1.. {
        line.clear();
        let most = u64::try_from(LINE_MAX).unwrap_or(u64::MAX);
        if input.take(most).read_until(b'\n', &mut line)? == 0 {
            break;
        }
        if line.len() == LINE_MAX && !line.ends_with(b"\n") {
            bail!("line {number}: longer than {LINE_MAX} bytes: this is no recording");
        }
        if !line.iter().all(u8::is_ascii_whitespace) {
            take(number, &line)?;
        }
    }
    Ok(())
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    stored: u64,
    duplicates: u64,
    crowded: u64,
    unpacked: u64,
}

/// The way into history.
struct Intake {
    store: Store,
    now: Timestamp,
    batch: Vec<HistoricReading>,
    sum: Sum,
}

impl Intake {
    fn take(&mut self, r: HistoricReading) -> Result<()> {
        self.batch.push(r);
        if self.batch.len() >= BATCH { self.commit() } else { Ok(()) }
    }

    fn commit(&mut self) -> Result<()> {
        let readings = std::mem::replace(&mut self.batch, Vec::with_capacity(BATCH));
        if readings.is_empty() {
            return Ok(());
        }
        for outcome in self.store.commit(&[Batch { readings, ..Batch::default() }])? {
            let done = outcome?;
            self.sum.stored += u64::from(done.stored);
            self.sum.unpacked += u64::from(done.stored);
            self.sum.duplicates += u64::from(done.duplicates);
            self.sum.crowded += u64::from(done.crowded);
        }
        if self.sum.unpacked >= PACK_AFTER { self.pack() } else { Ok(()) }
    }

    fn pack(&mut self) -> Result<()> {
        self.sum.unpacked = 0;
        while self.store.pack_step(self.now.minus(PACKED_AFTER))?.more {}
        Ok(())
    }

    fn end(&mut self) -> Result<()> {
        self.commit()?;
        self.pack()?;
        Ok(self.store.give_back()?)
    }
}

/// The bad lines of a file, for a test.
#[cfg(test)]
pub(super) fn test_look(path: &Path, format: &str, now: Timestamp) -> Vec<(u64, String)> {
    let format = <Format as clap::ValueEnum>::from_str(format, false).unwrap();
    let (time, form, zone) = ("time".to_owned(), TimeForm::Rfc3339, TimeZone::UTC);
    let layout = Layout { time, form, zone, separator: b',', columns: Vec::new() };
    Source { path, format, layout }.look(&Rules { now, listed: None }).unwrap().named
}
