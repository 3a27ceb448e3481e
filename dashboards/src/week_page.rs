//! One nest's page: how it stands, and a span of its history.
use crate::now_page::nest_section;
use crate::page::{Head, shell};
use crate::pen::Canvas;
use crate::svg::{celsius, number};
use crate::view::{NestView, NoteForm, WeekPage};
use crate::week::{LanePoint, MarkKind, WeekView};
use crate::week_picture::heatmap_svg_on;
use maud::{Markup, PreEscaped, html};

/// The whole page.
pub fn week_html(page: &WeekPage) -> String {
    let week = &page.week;
    let title = format!("{}, {}", week.nest_name, week.span_text);
    let main = html! {
        main {
            h1 { (week.nest_name) }
            @if let Some(now) = &page.now {
                // Its name stands above, and this is the page its name would lead to.
                (nest_section(&NestView { url: String::new(), ..now.clone() }, &format!("Now, {}", now.as_of_text)))
            }
            section class="week" aria-labelledby="span" {
                h2 id="span" { (week.span_text) }
                (turning(page))
                @for sentence in week.sentences.iter().take(3) { p class="say" { (sentence) } }
                figure {
                    div class="wide" { (PreEscaped(heatmap_svg_on(week, Canvas::Wide))) }
                    div class="narrow" { (PreEscaped(heatmap_svg_on(week, Canvas::Narrow))) }
                    figcaption {
                        "Up the side the place in the nest, along the foot the time. Lines join places of equal temperature; "
                        "dashes bound the brood place; hatching: nothing is known."
                    }
                }
                (happened(week))
                @if let Some(form) = &page.note { (note(form)) }
                (days(week))
                @if !page.alarms.is_empty() {
                    h3 { "The alarms themselves, of the whole shelf" }
                    ul { @for sentence in &page.alarms { li { (sentence) } } }
                }
            }
        }
    };
    shell(&page.frame, Head { title: &title, ..Head::default() }, &main)
}

fn turning(page: &WeekPage) -> Markup {
    html! {
        nav class="turn" aria-label="Time" {
            @if let Some(url) = &page.earlier_url { a href=(url) rel="prev" { "← earlier" } " " }
            @if let Some(url) = &page.later_url { a href=(url) rel="next" { "later →" } " " }
            @for d in &page.downloads { a href=(d.url) { (d.label) } " " }
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
    html! {
        @if !week.marks.is_empty() {
            h3 { "What happened" }
            ol class="marks" {
                @for mark in &week.marks {
                    li {
                        span class="when" { (mark.time_text) } " "
                        @if let MarkKind::Alarm(tone) = mark.kind { span class="weight" { (tone.word()) } " " }
                        (mark.text)
                    }
                }
            }
        }
    }
}

fn days(week: &WeekView) -> Markup {
    let three = |p: Option<LanePoint>| {
        p.map_or("–".to_owned(), |p| format!("{} / {} / {}", celsius(p.min), celsius(p.mean), celsius(p.max)))
    };
    let share = |p: f64| number(p * 100.0, 0) + " %";
    html! {
        @if !week.days.is_empty() {
            h3 { "Day by day" }
            div class="scroll" tabindex="0" role="group" aria-label="Day by day" {
                table {
                    thead { tr {
                        th scope="col" { "day" }
                        th scope="col" { "brood place, °C" br; small { "low / mean / high" } }
                        th scope="col" { "in band" }
                        th scope="col" { "room, °C" br; small { "low / mean / high" } }
                        th scope="col" { "heat, Wh" }
                        th scope="col" { "known" }
                    } }
                    tbody {
                        @for day in &week.days {
                            tr {
                                th scope="row" { (day.day) }
                                td { (three(day.brood_c)) }
                                td { (day.in_band.map_or("–".to_owned(), share)) }
                                td { (three(day.room_c)) }
                                td { (day.heat_wh.map_or("–".to_owned(), |w| number(w, 0))) }
                                td { (share(day.known)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
