//! Spans of history for pages: asked for in words, read off the reading path, kept for a while.
use super::App;
use crate::history::{HistoryError, Reader};
use crate::snapshot::Snapshot;
use crate::times::length;
use crate::views::comparing::{Other, beside};
use crate::views::hours::{Hours, moment};
use crate::views::past::{Past, columns_of, recall};
use crate::views::span::Kind;
use crate::views::week::Telling;
use crate::views::words::listed;
use dashboards::say::{in_language, spoken};
use dashboards::{WeekView, say};
use enclosure::shelf::Nest;
use enclosure::{Span, Timestamp};
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::{Arc, Mutex, PoisonError};

/// Longest span that a page shows; `warmend review` shows longer ones.
pub(super) const SPAN_MAX: Span = Span::from_h(400 * 24);
/// Shortest span.
const SPAN_LEAST: Span = Span::from_h(1);
/// A page's span unless another is asked for.
pub(super) const WEEK: Span = Span::from_h(7 * 24);
/// Spans are rounded to this, so that the same page is not computed again at every look.
const ROUND: Span = Span::from_min(10);
/// Longer spans are rounded to this ...
const ROUND_LONG: Span = Span::from_h(1);
/// ... from here on.
const LONG_FROM: Span = Span::from_h(32 * 24);
/// Spans kept; about 0.7 MB each.
const KEPT_MAX: usize = 12;
/// Kept for so long: late readings may have come since.
const KEPT_FOR: Span = Span::from_min(10);

/// `?from=&to=`, or `?span=week&to=`; and how it is to be told.
#[derive(Debug, Default, serde::Deserialize)]
pub(super) struct SpanQuery {
    from: Option<String>,
    to: Option<String>,
    span: Option<String>,
    /// `before`, or another nest's id.
    pub(super) with: Option<String>,
    /// °C, above which degree-days count.
    base: Option<String>,
}

impl SpanQuery {
    /// Above which degree-days count, °C; none where nothing sensible is said: as the shelf file has it.
    pub(super) fn base_c(&self) -> Option<f64> {
        let said = self.base.as_deref().map(|text| text.trim().replace(',', ".").replace('\u{2212}', "-"));
        said.and_then(|text| text.parse().ok()).filter(|c| (-50.0..=60.0).contains(c))
    }
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
        Self::on_the_wall(query, now, most, None)
    }

    /// The same, with `span=` counted by the calendar of `hours`.
    pub(super) fn on_the_wall(
        query: &SpanQuery,
        now: Timestamp,
        most: Option<Span>,
        hours: Option<&Hours>,
    ) -> Result<Self, String> {
        let to = given(&query.to).map_or(Ok(now), |t| moment(&t, now))?.min(now);
        let kind = given(&query.span).map(|word| {
            let known = || listed(Kind::ALL.map(|kind| kind.word().to_owned()));
            Kind::named(word.trim()).ok_or_else(|| say!("refused-span-kind", kinds = known()))
        });
        let kind = kind.transpose()?;
        // A page's spans begin and end at whole steps, so that the same is not computed at every look.
        let to = if hours.is_some() { down(to, ROUND) } else { to };
        let usual = match (kind, hours) {
            (Some(kind), Some(hours)) => kind.until(to, hours).start,
            _ => to.minus(WEEK),
        };
        let from = given(&query.from).map_or(Ok(usual), |t| moment(&t, now))?;
        if to.since(from) < SPAN_LEAST {
            return Err(say!("refused-span-short"));
        }
        if let Some(most) = most.filter(|most| to.since(from) > *most) {
            return Err(say!("refused-span-long", most = length(most)));
        }
        Ok(Self { span: from..to, latest: now.since(to) < ROUND })
    }

    /// The same, its ends moved back to whole steps.
    pub(super) fn rounded(self) -> Self {
        let long = self.span.end.since(self.span.start) > LONG_FROM;
        let step = if long { ROUND_LONG } else { ROUND };
        Self { span: down(self.span.start, step)..down(self.span.end, step), ..self }
    }
}

/// A moment moved back to a whole step.
fn down(t: Timestamp, step: Span) -> Timestamp {
    Timestamp::from_unix_ms(t.unix_ms() - t.unix_ms().rem_euclid(step.ms()))
}

/// Spans that were computed lately.
#[derive(Debug, Default)]
pub(super) struct Weeks(Mutex<VecDeque<(Span, Arc<Past>)>>);

impl Weeks {
    fn find(&self, nest: &Nest, span: &Range<Timestamp>, monotonic: Span) -> Option<Arc<Past>> {
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
        let (path, language) = (self.history.clone(), spoken());
        let done = tokio::task::spawn_blocking(move || {
            let _place = place;
            in_language(language, || Reader::open(&path).and_then(|reader| read(&reader)).map_err(|e| told(&e)))
        });
        done.await.map_err(|_| say!("refused-history"))?
    }

    /// A span of a nest as it is told, and what it is compared with.
    pub(super) async fn week(self: &Arc<Self>, wish: Wish) -> Result<(WeekView, Option<WeekView>), String> {
        let snap = self.snapshot();
        let app = Arc::clone(self);
        self.read_history(move |reader| {
            let one = |nest: usize, span: &Range<Timestamp>| {
                snap.shelf.nests.get(nest).map(|described| app.past(reader, (&snap, described), span)).transpose()
            };
            let Some(past) = one(wish.nest, &wish.span)? else { return Ok((WeekView::default(), None)) };
            let other = match &wish.other {
                Some(Other { nest, span, .. }) => one(*nest, span)?,
                None => None,
            };
            let telling =
                Telling { ahead: snap.shelf.alarms.season_utc_offset, base_c: wish.base_c, ..Telling::default() };
            let name = wish.other.as_ref().map_or("", |o| o.name.as_str());
            beside(&past, other.as_deref().map(|o| (o, name)), (reader, telling), &app.hours)
        })
        .await
    }

    /// What was believed over a span, from what is kept or from history.
    fn past(
        &self,
        reader: &Reader,
        (snap, nest): (&Snapshot, &Nest),
        span: &Range<Timestamp>,
    ) -> Result<Arc<Past>, HistoryError> {
        if let Some(past) = self.weeks.find(nest, span, self.clock.monotonic()) {
            return Ok(past);
        }
        let stop = || self.stop.is_cancelled();
        let past = Arc::new(recall(reader, (&snap.shelf, nest), span.clone(), columns_of(span), &stop)?);
        self.weeks.keep(&past, self.clock.monotonic());
        Ok(past)
    }
}

/// What is to be told.
#[derive(Clone, Debug)]
pub(super) struct Wish {
    /// The nest's place in the shelf.
    pub(super) nest: usize,
    /// The span.
    pub(super) span: Range<Timestamp>,
    /// Another nest or span to compare it with.
    pub(super) other: Option<Other>,
    /// °C, above which degree-days count; none: as the shelf file says.
    pub(super) base_c: Option<f64>,
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
