//! One nest's page: how it stands, and a span of its history. And a report: a span of all nests in one file.
use crate::now_page::nest_section;
use crate::page::{Head, alarm_list, following, follows, shell};
use crate::past_view::{Compared, LoadRow, ReportNest, ReportPage, WeekPage};
use crate::pen::Canvas;
use crate::say;
use crate::svg::{celsius, ident, number};
use crate::table::Grid;
use crate::view::{NestView, NoteForm};
use crate::week::{BaseFrom, DayRow, LanePoint, MarkKind, WeekView};
use crate::week_picture::{heatmap_frame, heatmap_svg_on, week_summary};
use crate::words::list_comma;
use maud::{Markup, PreEscaped, html};

/// The script of a span's page, to be served at [`crate::SPAN_SCRIPT_PATH`].
pub const SPAN_JS: &str = include_str!("span.js");
/// More marks than these are folded.
const MARKS_OPEN: usize = 12;

/// The whole page.
pub fn week_html(page: &WeekPage) -> String {
    let week = &page.week;
    let title = list_comma(&[&week.nest_name, &week.span_text]);
    let (fragment, events) = follows(page.live.as_ref());
    let main = html! {
        main data-fragment=[fragment] data-live=[events] {
            h1 { (week.nest_name) }
            (now(page))
            section class="week" aria-labelledby="span" {
                h2 id="span" { (week.span_text) }
                (turning(page))
                @for sentence in week.sentences.iter().take(3) { p class="say" { (sentence) } }
                (picture(week, page.values_url.as_deref()))
                (seen_how(week))
                (comparing(page))
                (happened(week))
                @if let Some(form) = &page.note { (note(form)) }
                (days(week, page.base_url.as_deref()))
                (load(&page.alarms, &page.load))
            }
        }
    };
    let script = page.values_url.as_ref().map(|_| crate::SPAN_SCRIPT_PATH);
    shell(&page.frame, Head { title: &title, live: page.live.is_some(), script }, &main)
}

/// How the nest stands, without its past: the part of [`week_html`] that follows.
pub fn week_fragment(page: &WeekPage) -> String {
    now(page).into_string()
}

fn now(page: &WeekPage) -> Markup {
    let alarms = page.live.as_ref().map(|live| live.alarms.as_slice()).unwrap_or_default();
    let inner = html! {
        (alarm_list(alarms))
        @if let Some(now) = &page.now {
            // Its name stands above, and this is the page its name would lead to.
            (nest_section(&NestView { url: String::new(), ..now.clone() }, &say!("week-now", clock = &now.as_of_text)))
        }
    };
    match &page.live {
        // The page is called by its span, which does not follow.
        Some(live) => following(live, "", &inner),
        None => inner,
    }
}

/// A report: every nest's span in one page that needs nothing else.
pub fn report_html(page: &ReportPage) -> String {
    let main = html! {
        main {
            h1 { (page.title) }
            @for sentence in &page.sentences { p class="say" { (sentence) } }
            @for ReportNest { week, other } in &page.nests {
                section class="week" aria-labelledby={ "name-" (ident(&week.nest_id)) } {
                    h2 id={ "name-" (ident(&week.nest_id)) } { (week.nest_name) }
                    p class="asof" { (week.span_text) }
                    @for sentence in week.sentences.iter().take(3) { p class="say" { (sentence) } }
                    (picture(week, None))
                    (seen_how(week))
                    (beside(other.as_ref()))
                    (happened(week))
                    (days(week, None))
                }
            }
            section class="rest" { (load(&page.alarms, &page.load)) }
        }
    };
    shell(&page.frame, Head { title: &page.title, ..Head::default() }, &main)
}

fn seen_how(week: &WeekView) -> Markup {
    html! { @if !week.seen_how.is_empty() { p class="asof" { (week.seen_how) } } }
}

fn links(label: &str, links: &[crate::view::Link]) -> Markup {
    html! {
        @if !links.is_empty() {
            nav class="turn" aria-label=(label) {
                span class="since" { (label) } " "
                @for l in links {
                    @if l.current { a href=(l.url) aria-current="true" { (l.label) } } @else { a href=(l.url) { (l.label) } }
                    " "
                }
            }
        }
    }
}

fn turning(page: &WeekPage) -> Markup {
    html! {
        (links(&say!("week-spans"), &page.spans))
        nav class="turn" aria-label=(say!("week-turn")) {
            @if let Some(url) = &page.earlier_url { a href=(url) rel="prev" { (say!("week-earlier")) } " " }
            @if let Some(url) = &page.later_url { a href=(url) rel="next" { (say!("week-later")) } " " }
            @if let Some(url) = &page.keep_url { a href=(url) { (say!("week-keep")) } " " }
            @for d in &page.downloads { a href=(d.url) { (d.label) } " " }
        }
    }
}

/// The picture, and what it says in one sentence; with `values` it answers to a pointer.
fn picture(week: &WeekView, values: Option<&str>) -> Markup {
    // For the script, which puts its values for `{0}` and `{1}`.
    let said = |words: String| values.is_some().then_some(words);
    let frame = |canvas| heatmap_frame(week, canvas).map(|v| number(v, 1)).join(" ");
    html! {
        figure class="span" data-values=[values] data-say-hint=[said(say!("span-script-hint"))]
            data-say-moment=[said(say!("span-script-moment"))] data-say-failed=[said(say!("span-script-failed"))]
            data-say-unknown=[said(say!("not-known"))] data-say-nothing=[said(say!("span-script-nothing"))]
            data-say-at=[said(say!("span-script-at", when = "{0}", what = "{1}"))]
            data-say-place=[said(say!("span-script-place", warmth = "{0}", mm = "{1}"))] {
            div class="wide" data-frame=(frame(Canvas::Wide)) { (PreEscaped(heatmap_svg_on(week, Canvas::Wide))) }
            div class="narrow" data-frame=(frame(Canvas::Narrow)) { (PreEscaped(heatmap_svg_on(week, Canvas::Narrow))) }
            figcaption {
                (say!("span-caption", sentence = week_summary(week)))
            }
        }
    }
}

fn comparing(page: &WeekPage) -> Markup {
    html! {
        (links(&say!("week-compare"), &page.compare))
        (beside(page.other.as_ref()))
    }
}

/// What a span is compared with, below it; its lanes are the dashed lines of the first.
fn beside(other: Option<&Compared>) -> Markup {
    html! {
        @if let Some(Compared { words, week }) = other {
            h3 { (words) }
            figure {
                div class="wide" { (PreEscaped(heatmap_svg_on(week, Canvas::Wide))) }
                div class="narrow" { (PreEscaped(heatmap_svg_on(week, Canvas::Narrow))) }
                figcaption { (say!("span-caption-other", sentence = week_summary(week))) }
            }
        }
    }
}

/// Works without a script: a button, four fields, nothing that must be filled.
fn note(form: &NoteForm) -> Markup {
    html! {
        details class="note" data-keep="note" {
            summary id="write" { (say!("note-open")) }
            form method="post" action=(form.url) {
                @for (name, value) in &form.fields { input type="hidden" name=(name) value=(value); }
                label { (say!("note-what")) select name="kind" {
                    @for (value, words) in &form.kinds { option value=(value) { (words) } }
                } }
                label { (say!("note-where")) input name="at_mm" inputmode="decimal" autocomplete="off" placeholder=(say!("note-where-empty")); }
                label { (say!("note-when")) input name="at" value="now" autocomplete="off" aria-describedby="when-help"; }
                label class="long" { (say!("note-words")) input name="text" maxlength="500" autocomplete="off"; }
                button type="submit" { (say!("note-write")) }
                p id="when-help" class="since" { (say!("note-when-help")) }
            }
        }
    }
}

fn happened(week: &WeekView) -> Markup {
    let list = html! {
        ol class="marks" {
            @for mark in &week.marks {
                li {
                    span class="when" { (mark.time_text) } " "
                    @if let MarkKind::Alarm(tone) = mark.kind { span class="weight" { (tone.word()) } " " }
                    (mark.text)
                }
            }
        }
    };
    html! {
        @if week.marks.len() > MARKS_OPEN {
            details { summary { (say!("week-happened-many", things = week.marks.len())) } (list) }
        } @else if !week.marks.is_empty() {
            h3 { (say!("week-happened")) }
            (list)
        }
    }
}

fn row(day: &DayRow) -> Vec<Markup> {
    let three = |p: Option<LanePoint>| {
        p.map_or("–".to_owned(), |p| format!("{} / {} / {}", celsius(p.min), celsius(p.mean), celsius(p.max)))
    };
    let share = |p: f64| number(p * 100.0, 0) + " %";
    let or_dash = |v: Option<f64>, decimals| v.map_or("–".to_owned(), |v| number(v, decimals));
    let cells = [
        day.day.clone(),
        three(day.brood_c),
        day.in_band.map_or("–".to_owned(), share),
        or_dash(day.degree_days, 1),
        three(day.room_c),
        or_dash(day.heat_wh, 0),
        share(day.known),
    ];
    cells.iter().map(|cell| html! { (cell) }).collect()
}

fn days(week: &WeekView, base_url: Option<&str>) -> Markup {
    let name = if week.row_name.is_empty() { say!("past-day") } else { week.row_name.clone() };
    let heading = say!("week-numbers", row = &name);
    let none = String::new;
    let grid = Grid {
        name: &heading,
        caption: "",
        heads: vec![
            (name, none()),
            (say!("brood-place-c"), say!("week-three")),
            (say!("span-in-band"), none()),
            (say!("week-degree-days"), say!("week-degree-days-above", base = number(week.base_c, 1))),
            (say!("room-c"), say!("week-three")),
            (say!("week-heat"), none()),
            (say!("span-known"), none()),
        ],
        rows: week.days.iter().map(row).collect(),
        foot: week.total.as_ref().map(row),
        numbers: false,
    };
    html! {
        @if !week.days.is_empty() {
            details class="numbers" {
                summary { (heading) }
                (grid.draw())
                p class="since" { (say!("week-degree-days-help")) }
                p class="since" { (based(week)) }
                @if let Some(url) = base_url { (base(url, week.base_c)) }
            }
        }
    }
}

/// Above which temperature degree-days count, who says so, and where to set it.
fn based(week: &WeekView) -> String {
    let base = number(week.base_c, 1);
    match week.base_from {
        BaseFrom::Nobody => say!("week-degree-days-nobody", base = base),
        BaseFrom::ShelfFile => say!("week-degree-days-file", base = base),
        BaseFrom::Asked => say!("week-degree-days-asked", base = base),
    }
}

/// From which temperature degree-days count is the keeper's to say: it depends on the species.
fn base(url: &str, base_c: f64) -> Markup {
    let (path, query) = url.split_once('?').unwrap_or((url, ""));
    html! {
        form class="base" method="get" action=(path) {
            @for (name, value) in query.split('&').filter_map(|pair| pair.split_once('=')) {
                input type="hidden" name=(name) value=(value);
            }
            label { (say!("week-base")) " " input name="base" inputmode="decimal" size="5" value=(number(base_c, 1)); }
            button type="submit" { (say!("week-base-count")) }
        }
    }
}

fn load(sentences: &[String], rows: &[LoadRow]) -> Markup {
    let grid = Grid {
        name: &say!("load-table"),
        caption: &say!("load-caption"),
        heads: [say!("head-what"), say!("load-here"), say!("load-acceptable"), say!("load-at-most")]
            .map(|head| (head, String::new()))
            .into(),
        rows: rows
            .iter()
            .map(|r| [&r.what, &r.here, &r.acceptable, &r.at_most].map(|c| html! { (c) }).into())
            .collect(),
        foot: None,
        numbers: false,
    };
    html! {
        @if !sentences.is_empty() {
            details class="numbers" open[rows.is_empty()] {
                summary { (say!("load-title")) }
                ul { @for sentence in sentences { li { (sentence) } } }
                @if !rows.is_empty() { (grid.draw()) }
            }
        }
    }
}
