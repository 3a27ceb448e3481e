//! What the pages about a span are told: plain values, already judged and already worded.
use crate::view::{Frame, Link, Live, NestView, NoteForm};
use crate::week::WeekView;

/// One nest's page: now, and a span of its history.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WeekPage {
    /// Name and links.
    pub frame: Frame,
    /// The nest as it is now; left out in a report about the past.
    pub now: Option<NestView>,
    /// How that part follows what happens, with the nest's alarms.
    pub live: Option<Live>,
    /// The span.
    pub week: WeekView,
    /// What it is compared with.
    pub other: Option<Compared>,
    /// What a keeper can write down here; none: no form.
    pub note: Option<NoteForm>,
    /// Links to spans of other lengths.
    pub spans: Vec<Link>,
    /// Links to what it can be compared with.
    pub compare: Vec<Link>,
    /// Link to the span before.
    pub earlier_url: Option<String>,
    /// Link to the span after.
    pub later_url: Option<String>,
    /// Link that shows this very span at any time.
    pub keep_url: Option<String>,
    /// Where the picture's values are (JSON); none: the picture does not answer to a pointer.
    pub values_url: Option<String>,
    /// This page's address, to be asked again with another base of the degree-days.
    pub base_url: Option<String>,
    /// Downloads: label and address.
    pub downloads: Vec<Link>,
    /// How the alarms of the whole shelf did in the span, a sentence each.
    pub alarms: Vec<String>,
    /// The same against the guideline.
    pub load: Vec<LoadRow>,
}

/// What a span is compared with.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Compared {
    /// `The week before`.
    pub words: String,
    /// Its picture.
    pub week: WeekView,
}

/// One measure of how the alarms did, beside what the guideline bears.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LoadRow {
    /// What is counted.
    pub what: String,
    /// Here.
    pub here: String,
    /// What the guideline calls acceptable.
    pub acceptable: String,
    /// What it calls manageable at most.
    pub at_most: String,
}

/// One nest's span in a report.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReportNest {
    /// The span.
    pub week: WeekView,
    /// What stands beside it.
    pub other: Option<Compared>,
}

impl ReportNest {
    /// Its pictures, one below the other: the second says first what it is.
    pub fn pictures(&self) -> Vec<WeekView> {
        let beside = self.other.as_ref().map(|Compared { words, week }| {
            let sentences = std::iter::once(words).chain(&week.sentences).cloned().collect();
            WeekView { sentences, ..week.clone() }
        });
        std::iter::once(self.week.clone()).chain(beside).collect()
    }
}

/// A span of all nests of a shelf.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReportPage {
    /// Name and style.
    pub frame: Frame,
    /// What it is.
    pub title: String,
    /// What matters, first.
    pub sentences: Vec<String>,
    /// A nest each.
    pub nests: Vec<ReportNest>,
    /// How the alarms did, a sentence each.
    pub alarms: Vec<String>,
    /// The same against the guideline.
    pub load: Vec<LoadRow>,
}
