//! The page of now: one sentence, what is the matter, then every nest.
use crate::ahead::{ahead_svg_on, table_rows};
use crate::page::{Head, alarm_list, alarm_sentence, by_weight, over, shell};
use crate::pen::Canvas;
use crate::profile::{Z90, profile_svg_on};
use crate::prose::Prose;
use crate::say;
use crate::say::say_markup;
use crate::svg::{celsius, ident, number};
use crate::view::{ForecastView, MatTold, MatView, NestView, NowPage, ProbeView, Tone};
use crate::words::{alarm_words, capital, list_and, list_comma, list_semicolon, stands};
use maud::{Markup, PreEscaped, html};

/// Rows of the curve's table.
const TABLE_ROWS: usize = 13;

/// The whole page.
pub fn now_html(page: &NowPage) -> String {
    let main =
        html! { main id="now" data-fragment=(crate::FRAGMENT_PATH) data-live=(crate::EVENTS_PATH) { (inner(page)) } };
    let title = format!("{}, {}", headline(page), page.frame.shelf_name);
    shell(&page.frame, Head { title: &title, live: true, ..Head::default() }, &main)
}

/// What stands inside `<main>`: the script fetches it anew at every event.
pub fn now_fragment(page: &NowPage) -> String {
    inner(page).into_string()
}

/// How the shelf stands, without the hour: changes only when something does.
pub fn headline(page: &NowPage) -> String {
    if page.stalled.is_some() {
        return say!("now-headline-stalled");
    }
    if page.age_s.is_none() && page.alarms.is_empty() {
        return say!("now-headline-unheard");
    }
    let sorted = by_weight(&page.alarms);
    let standing: Vec<_> = sorted.iter().filter(|a| stands(&a.state) && !over(&a.state)).collect();
    let Some(first) = standing.first() else {
        return match sorted.iter().filter(|a| over(&a.state)).count() {
            0 => quiet(page),
            over => say!("now-headline-over", alarms = over),
        };
    };
    let alarm = alarm_words(&first.alarm);
    let said = match first.tone {
        Tone::Calm => capital(&alarm_sentence(first)),
        tone if first.nests.is_empty() => say!("now-headline-watch", tone = tone.word(), alarm = alarm),
        tone => say!("now-headline-nests", tone = tone.word(), nests = list_and(&first.nests), alarm = alarm),
    };
    match standing.len() {
        1 => said,
        n => say!("now-headline-more", first = said, more = n - 1),
    }
}

/// Nothing stands: of a nest in its first hours that says little.
fn quiet(page: &NowPage) -> String {
    let learning: Vec<&str> =
        page.nests.iter().filter(|n| n.learning_until.is_some()).map(|n| n.name.as_str()).collect();
    match learning.len() {
        0 => say!("now-headline-quiet"),
        count => say!("now-headline-learning", count = count, nests = list_and(&learning)),
    }
}

/// How many probes are believed: `4 of 4 probes believed`.
pub fn probes_believed(page: &NowPage) -> String {
    let probes: Vec<&ProbeView> = page.nests.iter().flat_map(|n| &n.probes).collect();
    if page.age_s.is_none() {
        return say!("now-probes-unheard", probes = probes.len());
    }
    let believed = probes.iter().filter(|p| p.not_believed_because.is_none() && p.temperature_c.is_some()).count();
    say!("now-probes-believed", believed = believed, probes = probes.len())
}

fn inner(page: &NowPage) -> Markup {
    let said = headline(page);
    let loudest =
        page.alarms.iter().filter(|a| stands(&a.state) && !over(&a.state)).map(|a| a.tone).max().unwrap_or_default();
    let loudest = if page.stalled.is_some() { Tone::Danger } else { loudest };
    html! {
        div id="inner" data-spoken=(said) data-age=[page.age_s.filter(|a| a.is_finite())] data-asof=(page.as_of_text) {
            h1 id="headline" class=(loudest.class()) { (said) }
            @if let Some(why) = &page.stalled { p id="stalled" class="stale" role="alert" { (capital(why)) "." } }
            p id="asof" class="asof" {
                (say_markup!("now-as-of", probes = capital(&probes_believed(page)); clock = html! { span id="clock" { (page.as_of_text) } }))
            }
            (alarm_list(&page.alarms))
            @for nest in &page.nests { (nest_section(nest, &nest.name)) }
            @if !page.unlisted.is_empty() {
                section class="rest" id="unlisted" {
                    h2 { (say!("now-unlisted")) }
                    table { tbody { @for (name, value) in &page.unlisted { tr { th scope="row" { (name) } td { (value) } } } } }
                }
            }
            @if !page.watch.is_empty() {
                section class="rest" id="watch" {
                    h2 { (say!("now-watch")) }
                    @for sentence in &page.watch { p { (Prose(sentence)) } }
                }
            }
        }
    }
}

/// One nest: sentence, picture, facts, tables.
pub(crate) fn nest_section(nest: &NestView, heading: &str) -> Markup {
    let id = ident(&nest.id);
    html! {
        section class={ "nest " (nest.tone.class()) } id={ "nest-" (id) } aria-labelledby={ "name-" (id) } {
            h2 id={ "name-" (id) } { @if nest.url.is_empty() { (heading) } @else { a href=(nest.url) { (heading) } } }
            p class="say" {
                @if nest.tone != Tone::Calm { span class="weight" { (nest.tone.word()) } " " }
                (nest.summary)
            }
            figure {
                div class="wide" { (PreEscaped(profile_svg_on(nest, Canvas::Wide))) }
                div class="narrow" { (PreEscaped(profile_svg_on(nest, Canvas::Narrow))) }
                figcaption {
                    @if nest.probes.iter().any(|p| p.temperature_c.is_some()) { (say!("nest-caption")) " " }
                    @if nest.probes.iter().any(|p| p.temperature_c.is_none()) { (say!("nest-caption-unheard")) " " }
                    @if nest.probes.iter().any(|p| p.not_believed_because.is_some()) { (say!("nest-caption-doubted")) " " }
                    @if nest.band.is_some() { (say!("nest-caption-band")) }
                }
            }
            @if let Some(ahead) = &nest.forecast { (hours_ahead(nest, ahead)) }
            (facts(nest))
            details data-keep={ "tables-" (id) } {
                summary id={ "more-" (id) } { (say!("nest-numbers")) }
                (probe_table(nest))
                (curve_table(nest))
                @if let Some(ahead) = &nest.forecast { (ahead_table(ahead)) }
            }
        }
    }
}

fn hours_ahead(nest: &NestView, ahead: &ForecastView) -> Markup {
    html! {
        figure class="ahead" {
            figcaption class="say" { (ahead.words) }
            div class="wide" { (PreEscaped(ahead_svg_on(nest, ahead, Canvas::Wide))) }
            div class="narrow" { (PreEscaped(ahead_svg_on(nest, ahead, Canvas::Narrow))) }
        }
    }
}

fn ahead_table(ahead: &ForecastView) -> Markup {
    html! {
        table {
            caption { (say!("ahead-table")) }
            thead { tr {
                th scope="col" { (say!("ahead-table-until")) } th scope="col" { (say!("brood-place-c")) }
                th scope="col" { (say!("nine-in-ten")) } th scope="col" { (say!("room-c")) }
            } }
            tbody {
                @for (clock, mean, between, room) in table_rows(ahead) {
                    tr { th scope="row" { (clock) } td { (mean) } td { (between) } td { (room) } }
                }
            }
        }
    }
}

fn facts(nest: &NestView) -> Markup {
    let humid: Vec<String> = nest
        .probes
        .iter()
        .filter_map(|p| Some(say!("nest-humidity-at", humidity = number(p.humidity_pct?, 0), mm = number(p.at_mm, 0))))
        .collect();
    html! {
        dl class="facts" {
            @if let Some(brood) = nest.brood_now {
                div { dt { (say!("nest-brood")) } dd {
                    (say!("nest-brood-c", mean = celsius(brood.mean_c), off = celsius(brood.sd_c * Z90), hottest = celsius(brood.hottest_c)))
                } }
            }
            @if let Some((room, sd)) = nest.room_c {
                div { dt { (say!("nest-room")) } dd { (say!("nest-room-c", mean = celsius(room), off = celsius(sd * Z90))) } }
            }
            @if !nest.mats.is_empty() { div { dt { (say!("nest-heating")) } dd { (heating(nest)) } } }
            @if let Some(leave) = &nest.leave_text { div { dt { (say!("nest-leave")) } dd { (leave) } } }
            @if !humid.is_empty() {
                div { dt { (say!("nest-humidity")) } dd { (list_comma(&humid)) } }
            }
            @for probe in &nest.probes {
                @if let Some(why) = &probe.not_believed_because {
                    div { dt { (probe.name) } dd { (say!("nest-probe-doubted", why = why)) } }
                }
            }
            @if let Some(learned) = &nest.learned_text { div { dt { (say!("nest-learned")) } dd { (Prose(learned)) } } }
            @if let Some(until) = &nest.learning_until {
                div { dt { (say!("nest-learning")) } dd { (say!("nest-learning-until", until = until)) } }
            }
        }
    }
}

/// `told to 45 %, gives 3.1 ± 0.4 W of 7.0`; of several mats, what each is told and what all give.
fn heating(nest: &NestView) -> String {
    let told = |m: &MatView| match (m.told, m.told.duty()) {
        (_, Some(duty)) => say!("nest-heating-told", told = number(duty * 100.0, 0)),
        (MatTold::Unreported, None) => say!("nest-heating-untold"),
        (_, None) => say!("nest-heating-unheard"),
    };
    let each = |m: &MatView| {
        let (from, to) = (number(m.span.from_mm, 0), number(m.span.to_mm, 0));
        say!("nest-heating-each", from = from, to = to, told = told(m))
    };
    let rated = number(nest.mats.iter().map(|m| m.rated_w).sum(), 1);
    let gives = nest.gives_w.map(|(w, sd)| (number(w, 1), number(sd * Z90, 1)));
    match (nest.mats.as_slice(), gives) {
        ([one], Some((w, off))) => {
            list_comma(&[told(one), say!("nest-heating-gives", gives = w, off = off, rated = rated)])
        }
        ([one], None) => list_comma(&[told(one), say!("nest-heating-unknown")]),
        (several, gives) => {
            let all = match gives {
                Some((w, off)) => say!("nest-heating-together", gives = w, off = off, rated = rated),
                None => say!("nest-heating-together-unknown"),
            };
            list_semicolon(&several.iter().map(each).chain([all]).collect::<Vec<_>>())
        }
    }
}

fn probe_table(nest: &NestView) -> Markup {
    html! {
        table {
            caption { (say!("nest-probes")) }
            thead { tr {
                th scope="col" { (say!("nest-probes-name")) } th scope="col" { (say!("nest-probes-place")) }
                th scope="col" { "°C" } th scope="col" { "%RH" } th scope="col" { (say!("nest-probes-heard")) }
            } }
            tbody {
                @for p in &nest.probes {
                    tr {
                        th scope="row" { (p.name) }
                        td { (number(p.at_mm, 0)) }
                        td { (probe_said(p)) }
                        td { (p.humidity_pct.map_or("–".to_owned(), |h| number(h, 0))) }
                        td { (p.heard_text) }
                    }
                }
            }
        }
    }
}

fn probe_said(probe: &ProbeView) -> String {
    let said = probe.temperature_c.map_or("–".to_owned(), celsius);
    if probe.not_believed_because.is_some() { say!("nest-probes-doubted", said = said) } else { said }
}

fn curve_table(nest: &NestView) -> Markup {
    let points: Vec<_> = nest.profile.points().enumerate().filter_map(|(i, p)| p.map(|p| (i, p))).collect();
    let rows = points.len().min(TABLE_ROWS);
    let chosen = (0..rows).map(|i| points[if rows > 1 { i * (points.len() - 1) / (rows - 1) } else { 0 }]);
    html! {
        table {
            caption { (say!("nest-curve")) }
            thead { tr { th scope="col" { "mm" } th scope="col" { "°C" } th scope="col" { (say!("nine-in-ten")) } th scope="col" { "%RH" } } }
            tbody {
                @for (i, (mm, c, sd)) in chosen {
                    tr {
                        th scope="row" { (number(mm, 0)) }
                        td { (celsius(c)) }
                        td { (say!("from-to", low = celsius(c - Z90 * sd), high = celsius(c + Z90 * sd))) }
                        td { (nest.rh_pct.get(i).copied().flatten().map_or("–".to_owned(), |h| number(h, 0))) }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::AlarmView;

    fn said(stalled: Option<&str>, states: &[&str]) -> String {
        let alarm = |state: &&str| AlarmView {
            alarm: "brood-hot".to_owned(),
            tone: Tone::Warning,
            state: (*state).to_owned(),
            nests: vec!["oak".to_owned()],
            ..AlarmView::default()
        };
        let alarms = states.iter().map(alarm).collect();
        headline(&NowPage { age_s: Some(3.0), stalled: stalled.map(str::to_owned), alarms, ..NowPage::default() })
    }

    #[test]
    fn the_headline_tells_what_is_so_now() {
        assert_eq!(said(None, &[]), "Nothing amiss found");
        assert_eq!(said(None, &["shelved"]), "Nothing amiss found");
        assert_eq!(said(None, &["returned"]), "Nothing amiss found now; one alarm is over that nobody has answered");
        let learning = |names: &[&str]| {
            let nest = |name: &&str| NestView {
                name: (*name).to_owned(),
                learning_until: Some("18:40".to_owned()),
                ..NestView::default()
            };
            let nests = names.iter().map(nest).chain([NestView::default()]).collect();
            headline(&NowPage { age_s: Some(3.0), nests, ..NowPage::default() })
        };
        assert_eq!(learning(&["oak"]), "Nothing amiss found so far: oak is still learning");
        assert_eq!(learning(&["oak", "pine"]), "Nothing amiss found so far: oak and pine are still learning");
        let now = said(None, &["returned", "unacknowledged", "latched"]);
        assert_eq!(now, "Warning in oak: the brood place is too warm, and 1 more");
        assert!(said(Some("nothing was judged"), &["unacknowledged"]).starts_with("The watch has stopped"));
    }
}
