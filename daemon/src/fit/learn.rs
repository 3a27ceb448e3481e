//! A nest's readings through the very core of the daemon, from the handbook's numbers on.
use super::LEAST;
use crate::history::{HistoricReading, Reader};
use crate::times::length;
use crate::views::words::not_taken_because;
use anyhow::{Context as _, Result, bail};
use enclosure::estimate::{Fit, FitNews, NotTaken};
use enclosure::shelf::Nest;
use enclosure::{Core, Effect, Input, Reading, Shelf, Span, Timestamp};
use std::ops::Range;

/// A fit this old when the readings end is followed by one more.
const FRESH: Span = Span::from_h(6);

/// What was learned.
pub(super) struct Lesson {
    /// The last fit that was taken.
    pub(super) fit: Fit,
    /// First to last reading.
    pub(super) span: Range<Timestamp>,
    /// The one after it, if it was refused.
    pub(super) refused: Option<(Timestamp, NotTaken)>,
}

/// Learns as the daemon would have, had it known nothing at the beginning of `span`.
pub(super) fn learn(reader: &Reader, shelf: &Shelf, nest: &Nest, span: Range<Timestamp>) -> Result<Lesson> {
    let only = Shelf { nests: vec![nest.clone()], ..shelf.clone() };
    let mut pupil = Pupil { core: Core::new(only), heard: None, taken: None, refused: None };
    let names: Vec<String> = pupil.core.sources().to_vec();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    reader.each_reading(Some(&names), span, |reading| pupil.hear(&reading))?;
    let heard =
        pupil.heard.clone().context("history holds no reading of its probes in that time; take another --from")?;
    if heard.end.since(heard.start) < LEAST {
        bail!("history holds less than {} of readings of it in that time; take an earlier --from", length(LEAST));
    }
    if pupil.taken.as_ref().is_none_or(|fit| heard.end.since(fit.until) > FRESH)
        && let Some(news) = pupil.core.fit_now(0)
    {
        pupil.note(news);
    }
    let fit = match (pupil.taken, pupil.refused) {
        (Some(fit), _) => fit,
        (None, Some((_, why))) => bail!("{}; take more days", not_taken_because(why)),
        (None, None) => bail!("none of its temperatures could be used"),
    };
    Ok(Lesson { fit, span: heard, refused: pupil.refused })
}

struct Pupil {
    core: Core,
    heard: Option<Range<Timestamp>>,
    taken: Option<Fit>,
    refused: Option<(Timestamp, NotTaken)>,
}

impl Pupil {
    fn hear(&mut self, reading: &HistoricReading) {
        let Some(source) = self.core.source(&reading.source) else { return };
        let HistoricReading { at, measured, .. } = *reading;
        self.heard = Some(self.heard.as_ref().map_or(at, |h| h.start)..at);
        for effect in self.core.step(at, Input::Reading(Reading { source, at, measured })) {
            if let Effect::Fit { news, .. } = effect {
                self.note(*news);
            }
        }
    }

    fn note(&mut self, news: FitNews) {
        match (news.refused, news.fit) {
            (None, Some(fit)) => (self.taken, self.refused) = (Some(fit), None),
            (Some(why), _) => self.refused = Some((news.at, why)),
            (None, None) => {}
        }
    }
}
