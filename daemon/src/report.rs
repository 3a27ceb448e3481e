//! A span of the whole shelf as one page, one picture and one text: for `review`, and for the week's report.
use crate::history::{HistoryError, Reader};
use crate::views::comparing::{self, beside};
use crate::views::hours::Hours;
use crate::views::load::{self, Load};
use crate::views::past::{columns_of, recall};
use crate::views::span::{before, earlier};
use crate::views::week::{Telling, week_view};
use crate::views::words::listed;
use dashboards::{Assets, BaseFrom, Compared, Frame, ReportNest, ReportPage, WeekView, capital, say};
use enclosure::shelf::Nest;
use enclosure::{Shelf, Timestamp};
use std::fmt::Write as _;
use std::ops::Range;

/// What a span was, told of every nest of which anything is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    page: ReportPage,
}

/// One nest's span, beside what it is to be compared with, else told against the one before it; `None` where nothing of
/// it is stored.
///
/// # Errors
/// [`HistoryError`] where history cannot be read.
pub fn nest_told(
    reader: &Reader,
    nest: (&Shelf, &Nest),
    (span, other): (&Range<Timestamp>, Option<&comparing::Other>),
    hours: &Hours,
) -> Result<Option<ReportNest>, HistoryError> {
    match other {
        Some(other) => nest_beside(reader, nest, (span, other), hours),
        None => Ok(nest_week(reader, nest, span, hours)?.map(|week| ReportNest { week, other: None })),
    }
}

fn nest_week(
    reader: &Reader,
    (shelf, nest): (&Shelf, &Nest),
    span: &Range<Timestamp>,
    hours: &Hours,
) -> Result<Option<WeekView>, HistoryError> {
    let past = |span: &Range<Timestamp>| recall(reader, (shelf, nest), span.clone(), columns_of(span), &|| false);
    let this = past(span)?;
    if this.readings == 0 {
        return Ok(None);
    }
    let (other, name) = (past(&earlier(span, hours))?, before(span, hours));
    let telling = Telling {
        ahead: shelf.alarms.season_utc_offset,
        other: (other.readings > 0).then_some((&other, name.as_str())),
        ..Telling::default()
    };
    week_view(&this, reader, telling, hours).map(Some)
}

fn nest_beside(
    reader: &Reader,
    (shelf, nest): (&Shelf, &Nest),
    (span, other): (&Range<Timestamp>, &comparing::Other),
    hours: &Hours,
) -> Result<Option<ReportNest>, HistoryError> {
    let past =
        |nest: &Nest, span: &Range<Timestamp>| recall(reader, (shelf, nest), span.clone(), columns_of(span), &|| false);
    let this = past(nest, span)?;
    let Some(beyond) = shelf.nests.get(other.nest).filter(|_| this.readings > 0) else { return Ok(None) };
    let telling = Telling { ahead: shelf.alarms.season_utc_offset, ..Telling::default() };
    let compared = past(beyond, &other.span)?;
    let (week, compared) = beside(&this, Some((&compared, &other.name)), (reader, telling), hours)?;
    let other = compared.map(|week| Compared { words: capital(&other.name), week });
    Ok(Some(ReportNest { week, other }))
}

impl Report {
    /// The report about `span`; with `with` (as [`comparing::other`] takes it) each nest beside that. A nest that would
    /// stand beside itself stands alone.
    ///
    /// # Errors
    /// [`HistoryError`] where history cannot be read.
    pub fn of(
        reader: &Reader,
        shelf: &Shelf,
        (span, with): (&Range<Timestamp>, Option<&str>),
        hours: &Hours,
    ) -> Result<Self, HistoryError> {
        let mut nests = Vec::new();
        let mut silent = Vec::new();
        for (at, nest) in shelf.nests.iter().enumerate() {
            let other = with.and_then(|with| comparing::other(with, &shelf.nests, (at, span), hours));
            match nest_told(reader, (shelf, nest), (span, other.as_ref()), hours)? {
                Some(told) => nests.push(told),
                None => silent.push(nest.id.clone()),
            }
        }
        let load = Load::of(&load::changes(reader, span)?, span, shelf.alarms.chatter_within);
        let mut sentences = vec![match (load.told, load.standing) {
            (0, 0) => say!("report-no-alarm"),
            (told, standing) => say!("report-alarms", told = told, standing = standing),
        }];
        if !silent.is_empty() {
            sentences.push(say!("report-nothing-stored", nests = listed(silent)));
        }
        let frame = Frame { shelf_name: shelf.name.clone(), assets: Assets::Inline, ..Frame::default() };
        let title = say!("report-title", shelf = &shelf.name, span = hours.span(span));
        let (alarms, load) = (load.sentences(), load::table(&load));
        Ok(Self { page: ReportPage { frame, title, sentences, nests, alarms, load } })
    }

    /// Whether nothing of the whole shelf is known.
    pub fn is_empty(&self) -> bool {
        self.page.nests.is_empty()
    }

    /// One page that needs nothing else.
    pub fn html(&self) -> String {
        dashboards::report_html(&self.page)
    }

    /// All nests in one picture.
    pub fn svg(&self) -> String {
        dashboards::report_svg(&self.page.nests.iter().flat_map(ReportNest::pictures).collect::<Vec<_>>())
    }

    /// What it is about, and the same in words.
    pub fn text(&self) -> (String, String) {
        let mut body = String::new();
        for sentence in &self.page.sentences {
            let _ = writeln!(body, "{sentence}");
        }
        for ReportNest { week, .. } in &self.page.nests {
            let nest = say!("report-nest", nest = &week.nest_name, sentences = week.sentences.join(" "));
            let _ = writeln!(body, "\n{nest}");
            if let Some(sum) = week.total.as_ref().and_then(|total| total.degree_days) {
                let (base, sum) = (week.base_c.to_string(), format!("{sum:.1}"));
                let said = match week.base_from {
                    BaseFrom::Nobody => say!("report-degree-days-nobody", base = base, sum = sum),
                    _ => say!("report-degree-days", base = base, sum = sum),
                };
                let _ = writeln!(body, "{said}");
            }
        }
        let _ = writeln!(body, "\n{}", say!("report-load"));
        for sentence in &self.page.alarms {
            let _ = writeln!(body, "- {sentence}");
        }
        (self.page.title.clone(), body)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::views::sample::{at_h, made, utc};

    #[test]
    fn a_report_tells_every_nest_in_page_picture_and_text() {
        let made = made();
        let report = Report::of(&made.reader(), &made.file.shelf, (&(at_h(12.0)..at_h(72.0)), None), &utc()).unwrap();
        let html = report.html();
        for nest in ["oak", "plaster"] {
            assert!(html.contains(&format!("id=\"name-{nest}\"")), "{nest}");
            assert!(report.text().1.contains(&format!("Nest {nest}: ")));
        }
        assert!(html.contains("<style>") && !html.contains("<script") && html.contains("told a day"));
        assert!(!html.contains("src=\"/") && !html.contains("href=\"/"), "it needs nothing else");
        let svg = report.svg();
        assert_eq!(svg.matches("<svg").count(), 3, "one around the two");
        assert!(dashboards::svg_to_png(&svg, 1.0).unwrap().starts_with(&[0x89, b'P', b'N', b'G']));
    }

    #[test]
    fn a_time_without_readings_is_called_so() {
        let made = made();
        let report =
            Report::of(&made.reader(), &made.file.shelf, (&(at_h(-400.0)..at_h(-300.0)), None), &utc()).unwrap();
        assert!(report.is_empty());
        assert!(report.text().1.contains("Nothing is stored of oak, plaster."));
    }
}
