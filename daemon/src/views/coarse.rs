//! What the probes themselves said over a span, in few numbers, without any model: every spike is among them.
use super::past::Said;
use crate::history::{Bucket, HistoricReading, HistoryError, Quantity, Reader};
use enclosure::shelf::Nest;
use enclosure::{Measured, Span, Timestamp};
use std::ops::Range;
use std::sync::Arc;

/// Most readings that were not believed and are shown one by one; the highest of a column stands for it.
const DOUBTED_MAX: usize = 200;

/// Hours of `span`, the last one begun included.
fn hours_of(span: &Range<Timestamp>) -> usize {
    let ms = span.end.since(span.start).ms().max(1);
    usize::try_from((ms + 3_599_999) / 3_600_000).unwrap_or(1)
}

/// The mean of every hour of `sources`, at its middle, in the order of time: for spans so long that nobody could see
/// more. A drive that said on and off comes back as a duty.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn hourly(
    reader: &Reader,
    sources: &[String],
    span: &Range<Timestamp>,
) -> Result<Vec<HistoricReading>, HistoryError> {
    let mut all = Vec::new();
    let whole = span.start..span.start.plus(Span::from_h(hours_of(span) as i64));
    for (source, quantity) in reader.series()?.into_iter().filter(|(source, _)| sources.contains(source)) {
        let name: Arc<str> = source.as_str().into();
        for bucket in reader.buckets((&source, quantity), whole.clone(), hours_of(span))? {
            let Some(believed) = bucket.believed else { continue };
            let measured = match quantity {
                Quantity::On => Some(Measured::Duty(believed.mean.clamp(0.0, 1.0))),
                other => other.measured(believed.mean).ok(),
            };
            if let Some(measured) = measured {
                let at = bucket.from.plus(Span::from_min(30));
                all.push(HistoricReading { source: Arc::clone(&name), at, measured, rejection: None });
            }
        }
    }
    all.sort_by_key(|reading| reading.at);
    Ok(all)
}

/// Lowest, mean and highest of what the probes of `nest` said in each of `columns` parts of `span`, and what was not
/// believed.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn said(reader: &Reader, nest: &Nest, span: &Range<Timestamp>, columns: usize) -> Result<Said, HistoryError> {
    let mut out = Said { columns: vec![None; columns], doubted: Vec::new() };
    for probe in &nest.probes {
        let buckets = reader.buckets((&probe.source, Quantity::Temperature), span.clone(), columns)?;
        buckets.iter().enumerate().for_each(|(i, bucket)| out.add(i, bucket));
    }
    // The farthest out are the ones to be seen, where there are too many.
    out.doubted.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    out.doubted.truncate(DOUBTED_MAX);
    out.doubted.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(out)
}

impl Said {
    fn add(&mut self, i: usize, bucket: &Bucket) {
        let count = self.columns.len() as f64;
        if let (Some(believed), Some(column)) = (bucket.believed, self.columns.get_mut(i)) {
            let (low, sum, high, n) = column.unwrap_or((f64::INFINITY, 0.0, f64::NEG_INFINITY, 0));
            let weight = believed.n as f64;
            *column =
                Some((low.min(believed.min), sum + believed.mean * weight, high.max(believed.max), n + believed.n));
        }
        if let Some(rejected) = bucket.rejected {
            self.doubted.push(((i as f64 + 0.5) / count, rejected.max));
        }
    }
}
