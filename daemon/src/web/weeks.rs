//! Spans of history for pages: asked for in words, read off the reading path, kept for a while.
use super::App;
use crate::history::{HistoryError, Reader};
use crate::views::hours::moment;
use crate::views::past::{COLUMNS, Past, recall};
use crate::views::week::week_view;
use dashboards::WeekView;
use enclosure::{Span, Timestamp};
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::{Arc, Mutex, PoisonError};

/// Longest span that a page shows; `warmend review` shows longer ones.
pub(super) const SPAN_MAX: Span = Span::from_h(92 * 24);
/// Shortest span.
const SPAN_LEAST: Span = Span::from_h(1);
/// A page's span unless another is asked for.
pub(super) const WEEK: Span = Span::from_h(7 * 24);
/// Spans are rounded to this, so that the same page is not computed again at every look.
const ROUND: Span = Span::from_min(10);
/// Spans kept; about 0.3 MB each.
const KEPT_MAX: usize = 12;
/// Kept for so long: late readings may have come since.
const KEPT_FOR: Span = Span::from_min(10);

/// `?from=&to=`.
#[derive(Debug, Default, serde::Deserialize)]
pub(super) struct SpanQuery {
    from: Option<String>,
    to: Option<String>,
}

/// The span that was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Asked {
    pub(super) span: Range<Timestamp>,
    /// Whether it ends now.
    pub(super) latest: bool,
}

/// What was written there, if anything was.
pub(super) fn given(text: &Option<String>) -> Option<String> {
    text.clone().filter(|t| !t.trim().is_empty())
}

impl Asked {
    /// What a query asks for, at `now`; at most `most` long.
    pub(super) fn of(query: &SpanQuery, now: Timestamp, most: Option<Span>) -> Result<Self, String> {
        let to = given(&query.to).map_or(Ok(now), |t| moment(&t, now))?.min(now);
        let from = given(&query.from).map_or(Ok(to.minus(WEEK)), |t| moment(&t, now))?;
        if to.since(from) < SPAN_LEAST {
            return Err("the span must begin at least an hour before it ends, and before now".to_owned());
        }
        if let Some(most) = most.filter(|most| to.since(from) > *most) {
            return Err(format!("a page shows at most {most} at once; `warmend review` draws longer spans"));
        }
        Ok(Self { span: from..to, latest: now.since(to) < ROUND })
    }

    /// The same, its ends moved back to whole steps.
    pub(super) fn rounded(self) -> Self {
        let down = |t: Timestamp| Timestamp::from_unix_ms(t.unix_ms() - t.unix_ms().rem_euclid(ROUND.ms()));
        Self { span: down(self.span.start)..down(self.span.end), ..self }
    }
}

/// Spans that were computed lately.
#[derive(Debug, Default)]
pub(super) struct Weeks(Mutex<VecDeque<(Span, Arc<Past>)>>);

impl Weeks {
    fn find(&self, nest: &enclosure::shelf::Nest, span: &Range<Timestamp>, monotonic: Span) -> Option<Arc<Past>> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|(made, _)| monotonic.ms().saturating_sub(made.ms()) < KEPT_FOR.ms());
        kept.iter().map(|(_, past)| past).find(|past| past.span == *span && past.nest == *nest).map(Arc::clone)
    }

    fn keep(&self, past: &Arc<Past>, monotonic: Span) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= KEPT_MAX {
            kept.pop_front();
        }
        kept.push_back((monotonic, Arc::clone(past)));
    }
}

impl App {
    /// Reads history on a thread of its own, so many at once; the place is kept until the reading has ended, even if
    /// nobody waits for it any more.
    pub(super) async fn read_history<T: Send + 'static>(
        &self,
        read: impl FnOnce(&Reader) -> Result<T, HistoryError> + Send + 'static,
    ) -> Result<T, String> {
        let place = Arc::clone(&self.reads).acquire_owned().await.map_err(|e| e.to_string())?;
        let path = self.history.clone();
        let done = tokio::task::spawn_blocking(move || {
            let _place = place;
            Reader::open(&path).and_then(|reader| read(&reader)).map_err(|e| told(&e))
        });
        done.await.map_err(|_| "reading the history ended in disorder; the log says more".to_owned())?
    }

    /// A span of nest `nest`, from what is kept or from history.
    pub(super) async fn week(self: &Arc<Self>, nest: usize, span: Range<Timestamp>) -> Result<WeekView, String> {
        let snap = self.snapshot();
        let app = Arc::clone(self);
        self.read_history(move |reader| {
            let Some(described) = snap.shelf.nests.get(nest) else { return Ok(WeekView::default()) };
            let past = match app.weeks.find(described, &span, app.clock.monotonic()) {
                Some(past) => past,
                None => {
                    let stop = || app.stop.is_cancelled();
                    let past = Arc::new(recall(reader, (&snap.shelf, described), span, COLUMNS, &stop)?);
                    app.weeks.keep(&past, app.clock.monotonic());
                    past
                }
            };
            week_view(&past, reader, snap.shelf.alarms.season_utc_offset, &app.hours)
        })
        .await
    }
}

/// The whole chain of reasons.
fn told(error: &HistoryError) -> String {
    let mut text = error.to_string();
    let mut source = std::error::Error::source(error);
    while let Some(cause) = source {
        text = format!("{text}: {cause}");
        source = cause.source();
    }
    text
}
