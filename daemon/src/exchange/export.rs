//! `warmend export`.
use super::csv::Columns;
use super::tables::{self, What};
use super::{Format, line, sensml};
use crate::aside::aside;
use crate::clock::Clock;
use crate::history::{HistoricReading, Reader};
use crate::shelf_file::{self, ShelfFile};
use crate::times::{self, Moment};
use crate::whole_file::{self, Readers};
use crate::wrong_call::{self, WrongCall};
use anyhow::{Result, bail};
use enclosure::Timestamp;
use flate2::{Compression, write::GzEncoder};
use std::collections::HashMap;
use std::io::{BufWriter, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// `export`.
#[derive(Clone, Debug, clap::Args)]
pub struct ExportArgs {
    /// The form
    #[arg(long, value_enum, required_unless_present = "backup")]
    pub format: Option<Format>,
    /// What goes out; all but readings as csv only
    #[arg(long, value_enum, default_value_t)]
    pub what: What,
    /// Only what is of this nest (may be repeated)
    #[arg(long = "nest", value_name = "ID")]
    pub nests: Vec<String>,
    /// Only this source, as oak-node:warm (may be repeated)
    #[arg(long = "source", value_name = "SOURCE")]
    pub sources: Vec<String>,
    /// From when: RFC 3339, or a span back from now (default: everything)
    #[arg(long, value_name = "TIME", value_parser = times::moment)]
    pub from: Option<Moment>,
    /// Until when (default: everything)
    #[arg(long, value_name = "TIME", value_parser = times::moment)]
    pub to: Option<Moment>,
    /// Where to; gzip if it ends in .gz (default: standard output)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Instead copies the whole history into a new file, while the daemon goes on
    #[arg(long, value_name = "FILE", conflicts_with_all = ["format", "what", "nests", "sources", "from", "to", "out"])]
    pub backup: Option<PathBuf>,
}

/// What went out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Gone {
    /// Readings, or lines of another table.
    told: u64,
    /// That the form could not say.
    untold: u64,
}

/// Writes history out as `args` asks, and says on standard error how much it was.
///
/// # Errors
/// What was attempted, why it failed, what to do.
pub fn export(args: &ExportArgs, file: &ShelfFile, clock: &dyn Clock) -> Result<()> {
    let reader = Reader::open(&file.history.path)?;
    if let Some(to) = &args.backup {
        reader.backup(to)?;
        let size = std::fs::metadata(to).map_or(0, |file| file.len());
        aside!("the history as it stood is in {} ({:.1} MB)", to.display(), size as f64 / 1e6);
        return Ok(());
    }
    let Some(format) = args.format else { bail!("exporting: no --format was given") };
    let now = clock.now();
    let from = args.from.map_or(Timestamp::from_unix_ms(i64::MIN), |t| t.from(now));
    let to = args.to.map_or(Timestamp::from_unix_ms(i64::MAX), |t| t.from(now));
    if from >= to {
        bail!(WrongCall::Span { from: times::rfc3339(from), to: times::rfc3339(to) });
    }
    let chosen = chosen(args, file)?;
    fits_together(args, format)?;
    let what = Export { format, sources: chosen.as_deref(), span: from..to, nests: file.nests_of_sources() };
    let work = |out: &mut dyn Write| match args.what {
        What::Readings => what.write(&reader, out),
        other => tables::write(other, &reader, (&args.nests, from..to), out).map(|told| Gone { told, untold: 0 }),
    };
    let gone = match &args.out {
        None => {
            let mut out = BufWriter::new(Piped(std::io::stdout().lock()));
            let gone = work(&mut out)?;
            out.flush()?;
            gone
        }
        Some(path) => into_file(path, work)?,
    };
    aside!("{} {}", gone.told, args.what.name());
    if args.what != What::Readings {
        return Ok(());
    }
    if gone.untold > 0 {
        let why = match format {
            Format::Csv => "came in while this ran, from sources that had said nothing before: export again",
            Format::Sensml | Format::Line => "are of before 1978, which SenML cannot say: take csv or line for them",
        };
        aside!("{} more {why}", gone.untold);
    }
    let thinned = reader.thinned(from..to)?;
    if thinned > 0 {
        aside!("of {thinned} older readings only hours are left, which no reading can say: --what hours has them");
    }
    Ok(())
}

/// What is no reading has one form, and not every entry of it is of a nest.
fn fits_together(args: &ExportArgs, format: Format) -> Result<(), WrongCall> {
    let what = args.what.name();
    if args.what == What::Readings {
        return Ok(());
    }
    let why = match (args.sources.is_empty(), args.nests.is_empty() || args.what.is_of_nests()) {
        _ if format != Format::Csv => "they go out as --format csv only",
        (false, _) => "they are not told apart by source. Call again without --source",
        (true, false) => "they are not told apart by nest. Call again without --nest",
        (true, true) => return Ok(()),
    };
    Err(WrongCall::Table { what, why })
}

fn chosen(args: &ExportArgs, file: &ShelfFile) -> Result<Option<Vec<String>>, WrongCall> {
    let mut chosen = args.sources.clone();
    for id in &args.nests {
        chosen.extend(shelf_file::sources(wrong_call::nest(id, &file.shelf.nests)?).map(str::to_owned));
    }
    Ok((!chosen.is_empty()).then_some(chosen))
}

/// Standard output; a failure says so.
struct Piped<W>(W);

impl<W> Piped<W> {
    fn said<T>(done: std::io::Result<T>) -> std::io::Result<T> {
        done.map_err(|e| {
            let why = format!("writing to standard output: {e}; see whether whoever reads it goes on reading");
            std::io::Error::new(e.kind(), why)
        })
    }
}

impl<W: Write> Write for Piped<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        Self::said(self.0.write(bytes))
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Self::said(self.0.flush())
    }
}

/// Writes a file, packed if its name says so.
fn into_file(path: &Path, work: impl FnOnce(&mut dyn Write) -> Result<Gone>) -> Result<Gone> {
    whole_file::write(path, Readers::AsBefore, |out| {
        if path.extension().is_none_or(|end| end != "gz") {
            return work(out);
        }
        let mut packed = GzEncoder::new(out, Compression::default());
        let gone = work(&mut packed)?;
        packed.finish()?;
        Ok(gone)
    })
}

struct Export<'a> {
    format: Format,
    sources: Option<&'a [String]>,
    span: Range<Timestamp>,
    nests: HashMap<String, String>,
}

impl Export<'_> {
    fn write(&self, reader: &Reader, out: &mut dyn Write) -> Result<Gone> {
        match self.format {
            Format::Sensml => self.lines(reader, out, sensml::write),
            Format::Line => self.lines(reader, out, |r, text| {
                line::write(r, self.nests.get(&*r.source).map(String::as_str), text);
                Some(())
            }),
            Format::Csv => self.table(reader, out),
        }
    }

    fn each(&self, reader: &Reader, mut take: impl FnMut(HistoricReading) -> std::io::Result<()>) -> Result<()> {
        let names: Option<Vec<&str>> = self.sources.map(|names| names.iter().map(String::as_str).collect());
        let mut done = Ok(());
        reader.each_reading(names.as_deref(), self.span.clone(), |r| {
            if done.is_ok() {
                done = take(r);
            }
        })?;
        Ok(done?)
    }

    fn lines(
        &self,
        reader: &Reader,
        out: &mut dyn Write,
        write: impl Fn(&HistoricReading, &mut String) -> Option<()>,
    ) -> Result<Gone> {
        let (mut gone, mut text) = (Gone::default(), String::new());
        self.each(reader, |r| {
            text.clear();
            let told = write(&r, &mut text).is_some();
            *(if told { &mut gone.told } else { &mut gone.untold }) += 1;
            out.write_all(text.as_bytes())
        })?;
        Ok(gone)
    }

    fn table(&self, reader: &Reader, out: &mut dyn Write) -> Result<Gone> {
        let mut columns = Columns::default();
        self.each(reader, |r| {
            columns.note(&r);
            Ok(())
        })?;
        out.write_all(columns.header().as_bytes())?;
        let mut gone = Gone::default();
        let mut moment: Vec<HistoricReading> = Vec::new();
        self.each(reader, |r| {
            // What was stored between the two looks may be of a source that had nothing before.
            if !columns.has(&r) {
                gone.untold += 1;
                return Ok(());
            }
            gone.told += 1;
            if moment.first().is_some_and(|first| first.at != r.at) {
                out.write_all(columns.line(&moment).as_bytes())?;
                moment.clear();
            }
            moment.push(r);
            Ok(())
        })?;
        if !moment.is_empty() {
            out.write_all(columns.line(&moment).as_bytes())?;
        }
        Ok(gone)
    }
}
