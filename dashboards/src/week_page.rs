//! One nest's page: how it stands, and a span of its history. And a report: a span of all nests in one file.
use crate::now_page::nest_section;
use crate::page::{Head, alarm_list, following, follows, shell};
use crate::past_view::{Compared, LoadRow, ReportPage, WeekPage};
use crate::pen::Canvas;
use crate::svg::{celsius, ident, number};
use crate::view::{NestView, NoteForm};
use crate::week::{DayRow, LanePoint, MarkKind, WeekView};
use crate::week_picture::{heatmap_frame, heatmap_svg_on, week_summary};
use maud::{Markup, PreEscaped, html};

/// The script of a span's page, to be served at [`crate::SPAN_SCRIPT_PATH`].
pub const SPAN_JS: &str = include_str!("span.js");
/// More marks than these are folded.
const MARKS_OPEN: usize = 12;

/// The whole page.
pub fn week_html(page: &WeekPage) -> String {
    let week = &page.week;
    let title = format!("{}, {}", week.nest_name, week.span_text);
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
            (nest_section(&NestView { url: String::new(), ..now.clone() }, &format!("Now, {}", now.as_of_text)))
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
            @for week in &page.weeks {
                section class="week" aria-labelledby={ "name-" (ident(&week.nest_id)) } {
                    h2 id={ "name-" (ident(&week.nest_id)) } { (week.nest_name) }
                    p class="asof" { (week.span_text) }
                    @for sentence in week.sentences.iter().take(3) { p class="say" { (sentence) } }
                    (picture(week, None))
                    (happened(week))
                    (days(week, None))
                }
            }
            section class="rest" { (load(&page.alarms, &page.load)) }
        }
    };
    shell(&page.frame, Head { title: &page.title, ..Head::default() }, &main)
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
        (links("Show a", &page.spans))
        nav class="turn" aria-label="Time" {
            @if let Some(url) = &page.earlier_url { a href=(url) rel="prev" { "← earlier" } " " }
            @if let Some(url) = &page.later_url { a href=(url) rel="next" { "later →" } " " }
            @if let Some(url) = &page.keep_url { a href=(url) { "link that keeps this view" } " " }
            @for d in &page.downloads { a href=(d.url) { (d.label) } " " }
        }
    }
}

/// The picture, and what it says in one sentence; with `values` it answers to a pointer.
fn picture(week: &WeekView, values: Option<&str>) -> Markup {
    let frame = |canvas| heatmap_frame(week, canvas).map(|v| number(v, 1)).join(" ");
    html! {
        figure class="span" data-values=[values] {
            div class="wide" data-frame=(frame(Canvas::Wide)) { (PreEscaped(heatmap_svg_on(week, Canvas::Wide))) }
            div class="narrow" data-frame=(frame(Canvas::Narrow)) { (PreEscaped(heatmap_svg_on(week, Canvas::Narrow))) }
            figcaption {
                (week_summary(week))
                " Up the side the place in the nest, along the foot the time. Lines join places of equal temperature; "
                "dashes bound the brood place; hatching: nothing is known; holes: it may be off by more than 2 K. "
                "In the lanes the dark shade runs from lowest to highest, the light one is where the mean lies 9 times in 10; "
                "crosses were said and not believed. Colours: inferno, by Nathaniel J. Smith and Stéfan van der Walt."
            }
        }
    }
}

fn comparing(page: &WeekPage) -> Markup {
    html! {
        (links("Compare with", &page.compare))
        @if let Some(Compared { words, week }) = &page.other {
            h3 { (words) }
            figure {
                div class="wide" { (PreEscaped(heatmap_svg_on(week, Canvas::Wide))) }
                div class="narrow" { (PreEscaped(heatmap_svg_on(week, Canvas::Narrow))) }
                figcaption { (week_summary(week)) " The colours mean the same as above; in the lanes above it is the dashed line." }
            }
        }
    }
}

/// Works without a script: a button, four fields, nothing that must be filled.
fn note(form: &NoteForm) -> Markup {
    html! {
        details class="note" data-keep="note" {
            summary id="write" { "Write something down" }
            form method="post" action=(form.url) {
                @for (name, value) in &form.fields { input type="hidden" name=(name) value=(value); }
                label { "What" select name="kind" {
                    @for (value, words) in &form.kinds { option value=(value) { (words) } }
                } }
                label { "Where, mm from the zero end" input name="at_mm" inputmode="decimal" autocomplete="off" placeholder="may be left empty"; }
                label { "When" input name="at" value="now" autocomplete="off" aria-describedby="when-help"; }
                label class="long" { "In your words" input name="text" maxlength="500" autocomplete="off"; }
                button type="submit" { "Write it down" }
                p id="when-help" class="since" { "When: now, 20m or 3h for so long ago, or 2026-03-01T08:00:00Z." }
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
            details { summary { "What happened: " (week.marks.len()) " things, by their numbers in the picture" } (list) }
        } @else if !week.marks.is_empty() {
            h3 { "What happened" }
            (list)
        }
    }
}

fn row(day: &DayRow) -> Markup {
    let three = |p: Option<LanePoint>| {
        p.map_or("–".to_owned(), |p| format!("{} / {} / {}", celsius(p.min), celsius(p.mean), celsius(p.max)))
    };
    let share = |p: f64| number(p * 100.0, 0) + " %";
    let or_dash = |v: Option<f64>, decimals| v.map_or("–".to_owned(), |v| number(v, decimals));
    html! {
        tr {
            th scope="row" { (day.day) }
            td { (three(day.brood_c)) }
            td { (day.in_band.map_or("–".to_owned(), share)) }
            td { (or_dash(day.degree_days, 1)) }
            td { (three(day.room_c)) }
            td { (or_dash(day.heat_wh, 0)) }
            td { (share(day.known)) }
        }
    }
}

fn days(week: &WeekView, base_url: Option<&str>) -> Markup {
    let name = if week.row_name.is_empty() { "day" } else { week.row_name.as_str() };
    let heading = format!("In numbers, {name} by {name}");
    html! {
        @if !week.days.is_empty() {
            details class="numbers" {
                summary { (heading) }
                div class="scroll" tabindex="0" role="group" aria-label=(heading) {
                    table {
                        thead { tr {
                            th scope="col" { (name) }
                            th scope="col" { "brood place, °C" br; small { "low / mean / high" } }
                            th scope="col" { "in band" }
                            th scope="col" { "degree-days, K·d" br; small { "above " (number(week.base_c, 1)) " °C" } }
                            th scope="col" { "room, °C" br; small { "low / mean / high" } }
                            th scope="col" { "heat, Wh" }
                            th scope="col" { "known" }
                        } }
                        tbody { @for day in &week.days { (row(day)) } }
                        @if let Some(total) = &week.total { tfoot { (row(total)) } }
                    }
                }
                p class="since" { "Degree-days: how far the brood place's mean was above that temperature, times the days it was; what is not known counts nothing." }
                @if let Some(url) = base_url { (base(url, week.base_c)) }
            }
        }
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
            label { "Count degree-days above, °C " input name="base" inputmode="decimal" size="5" value=(number(base_c, 1)); }
            button type="submit" { "Count" }
        }
    }
}

fn load(sentences: &[String], rows: &[LoadRow]) -> Markup {
    html! {
        @if !sentences.is_empty() {
            details class="numbers" open[rows.is_empty()] {
                summary { "The alarms themselves, of the whole shelf" }
                ul { @for sentence in sentences { li { (sentence) } } }
                @if !rows.is_empty() {
                    div class="scroll" tabindex="0" role="group" aria-label="The alarms against the guideline" {
                        table {
                            caption { "Against the guideline (ANSI/ISA-18.2, EEMUA 191, as public texts quote them): an outer bound of what a person can bear, not an aim" }
                            thead { tr { th scope="col" { "what" } th scope="col" { "here" } th scope="col" { "acceptable" } th scope="col" { "at most manageable" } } }
                            tbody { @for r in rows { tr { th scope="row" { (r.what) } td { (r.here) } td { (r.acceptable) } td { (r.at_most) } } } }
                        }
                    }
                }
            }
        }
    }
}
