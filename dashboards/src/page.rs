//! What every page has: head, links, footer; and the pages that are little more.
use crate::prose::Prose;
use crate::say;
use crate::say::say_markup;
use crate::svg::ident;
use crate::view::{AlarmsPage, AskPage, Assets, Frame, Link, Live, PlainPage, Tone};
use crate::words::{alarm_words, capital, list_and, list_semicolon, stands, state_words};
use crate::{AlarmView, EVENTS_PATH, LIVE_PATH, STYLE_PATH};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The style sheet, to be served at [`STYLE_PATH`].
pub const STYLE_CSS: &str = include_str!("style.css");
/// The script of pages that follow, to be served at [`LIVE_PATH`].
pub const LIVE_JS: &str = include_str!("live.js");

/// What a page needs in its head beyond the usual.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Head<'a> {
    pub(crate) title: &'a str,
    /// Runs [`LIVE_JS`].
    pub(crate) live: bool,
    /// Runs the script at this address.
    pub(crate) script: Option<&'a str>,
}

/// A whole page.
pub(crate) fn shell(frame: &Frame, head: Head<'_>, main: &Markup) -> String {
    let served = frame.assets == Assets::Served;
    html! {
        (DOCTYPE)
        html lang=(say::spoken().code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (head.title) }
                @if served {
                    link rel="stylesheet" href=(STYLE_PATH);
                    link rel="icon" href="data:,";
                    @if head.live { script src=(LIVE_PATH) defer {} }
                    @if let Some(path) = head.script { script src=(path) defer {} }
                } @else {
                    style { (PreEscaped(STYLE_CSS)) }
                }
            }
            body {
                header class="top" {
                    p class="shelf" { (frame.shelf_name) }
                    @if !frame.nav.is_empty() {
                        nav aria-label=(say!("page-nav")) { @for l in &frame.nav { (link(l)) " " } }
                    }
                }
                @if head.live {
                    (age())
                    // It does not reload by itself: that would take a reader's place away.
                    noscript { p class="asof" {
                        (say_markup!("page-no-script"; reload = html! { a href="" { (say!("page-reload")) } }))
                    } }
                }
                @for caution in &frame.cautions { p class="stale" { (Prose(caution)) } }
                @if head.live {
                    p id="stale" class="stale" role="alert" hidden {}
                    p id="spoken" class="unseen" role="status" aria-live="assertive" {}
                }
                (main)
                footer { (say!("page-footer")) }
            }
        }
    }
    .into_string()
}

/// Where [`LIVE_JS`] says how old all is, with the sentences that it says; it puts its values for `{0}` and `{1}`.
fn age() -> Markup {
    html! {
        p id="age" class="age" data-say-age=(say!("live-age", age = "{0}")) data-say-none=(say!("live-age-none"))
            data-say-page=(say!("live-age-page", so_far = "{0}", age = "{1}")) data-say-old=(say!("live-old", clock = "{0}"))
            data-say-lost=(say!("live-lost", clock = "{0}")) data-say-more=(say!("live-more", so_far = "{0}", more = "{1}")) {}
    }
}

fn link(l: &Link) -> Markup {
    html! { @if l.current { a href=(l.url) aria-current="page" { (l.label) } } @else { a href=(l.url) { (l.label) } } }
}

/// Error or nothing yet.
pub fn plain_html(page: &PlainPage) -> String {
    let main = html! {
        main class="plain" {
            h1 { (page.title) }
            @for s in &page.sentences { p { (Prose(s)) } }
        }
    };
    shell(&page.frame, Head { title: &page.title, ..Head::default() }, &main)
}

/// A question and its answers: nothing is done before one of them is chosen.
pub fn ask_html(page: &AskPage) -> String {
    let main = html! {
        main class="plain" {
            h1 { (page.title) }
            @for s in &page.sentences { p { (Prose(s)) } }
            @for choice in &page.choices {
                form method="post" action=(choice.url) {
                    @for (name, value) in &choice.fields { input type="hidden" name=(name) value=(value); }
                    p { button type="submit" { (choice.label) } }
                }
            }
        }
    };
    shell(&page.frame, Head { title: &page.title, ..Head::default() }, &main)
}

/// Lines of [`alarm_lines`] that are shown.
const LINES_MOST: usize = 3;

/// The part of a page that follows what happens: [`LIVE_JS`] fetches it anew and makes the old one like it. `spoken` is
/// what the page is called then.
pub(crate) fn following(live: &Live, spoken: &str, inner: &Markup) -> Markup {
    let age = live.age_s.filter(|a| a.is_finite());
    html! { div id="inner" data-spoken=(spoken) data-age=[age] data-asof=(live.as_of_text) { (inner) } }
}

/// The address of the part that follows and of the events, for `<main>`; none where nothing follows.
pub(crate) fn follows(live: Option<&Live>) -> (Option<&str>, Option<&str>) {
    (live.map(|l| l.url.as_str()), live.map(|_| EVENTS_PATH))
}

/// A line for each alarm, on a page that is about something else. Quiet ones stand there unseen, so that the script can
/// tell what became of them.
pub(crate) fn alarm_lines(alarms: &[AlarmView]) -> Markup {
    let loud = |a: &&AlarmView| stands(&a.state) && !over(&a.state) && !a.here;
    let more = alarms.iter().filter(loud).count().saturating_sub(LINES_MOST);
    // Those that are no lines come last.
    let (lines, unseen): (Vec<_>, Vec<_>) = by_weight(alarms).into_iter().partition(loud);
    let shown = lines.len().min(LINES_MOST);
    html! {
        @for (i, alarm) in lines.into_iter().chain(unseen).enumerate() {
            p class={ "alarm line " (alarm.tone.class()) } id=(alarm_id(alarm)) data-said=(alarm_said(alarm)) data-over=(alarm_over(alarm))
                hidden[i >= shown] {
                @if alarm.tone != Tone::Calm { span class="weight" { (alarm.tone.word()) } " " }
                (say_markup!("alarm-line", state = state_words(&alarm.state); alarm = alarm_link(alarm)))
            }
        }
        @if more > 0 { p { (say!("alarm-lines-more", more = more)) } }
    }
}

fn alarm_link(alarm: &AlarmView) -> Markup {
    let said = capital(&alarm_sentence(alarm));
    html! { @if alarm.url.is_empty() { (said) } @else { a href=(alarm.url) { (said) } } }
}

/// An alarm and its state: what is said once when either changes.
fn alarm_said(alarm: &AlarmView) -> String {
    say!("alarm-said", alarm = alarm_sentence(alarm), state = state_words(&alarm.state))
}

/// What is said once when it is there no more.
fn alarm_over(alarm: &AlarmView) -> String {
    say!("alarm-over", alarm = alarm_sentence(alarm))
}

/// The list of alarms, and what changed lately.
pub fn alarms_html(page: &AlarmsPage) -> String {
    let (fragment, events) = follows(Some(&page.live));
    let main = html! { main data-fragment=[fragment] data-live=[events] { (alarms_inner(page)) } };
    shell(&page.frame, Head { title: &say!("alarms-title"), live: true, ..Head::default() }, &main)
}

/// The part of [`alarms_html`] that follows.
pub fn alarms_fragment(page: &AlarmsPage) -> String {
    alarms_inner(page).into_string()
}

fn alarms_inner(page: &AlarmsPage) -> Markup {
    let inner = html! {
        h1 {
            @if page.live.alarms.is_empty() { (say!("alarms-none", clock = &page.live.as_of_text)) }
            @else { (say!("alarms-some", clock = &page.live.as_of_text)) }
        }
        @if let Some(why) = &page.unjudged { p { (Prose(why)) } }
        (alarm_list(&page.live.alarms))
        @if !page.past.is_empty() {
            h2 { (say!("alarms-before")) }
            table class="past" {
                thead { tr { th scope="col" { (say!("head-when")) } th scope="col" { (say!("head-what")) } } }
                tbody {
                    @for (when, what, url) in &page.past {
                        tr { td { (when) } td { @if url.is_empty() { (what) } @else { a href=(url) { (what) } } } }
                    }
                }
            }
        }
    };
    following(&page.live, &say!("alarms-title"), &inner)
}

/// Alarms in the order of their weight: those that stand, those that are over, those that are silenced; danger first.
pub(crate) fn by_weight(alarms: &[AlarmView]) -> Vec<&AlarmView> {
    let mut sorted: Vec<_> = alarms.iter().collect();
    sorted.sort_by_key(|a| (!stands(&a.state), over(&a.state), std::cmp::Reverse(a.tone), answered(&a.state)));
    sorted
}

/// Over by itself: shown, but no longer as loud.
pub(crate) fn over(state: &str) -> bool {
    state == "returned"
}

fn answered(state: &str) -> u8 {
    match state {
        "unacknowledged" => 0,
        "returned" | "latched" => 1,
        _ => 2,
    }
}

/// All alarms, each with what to do: those that stand, then the rest folded away.
pub(crate) fn alarm_list(alarms: &[AlarmView]) -> Markup {
    let (loud, quiet): (Vec<_>, Vec<_>) =
        by_weight(alarms).into_iter().partition(|a| stands(&a.state) && !over(&a.state));
    html! {
        @if !alarms.is_empty() {
            section class="alarms" id="alarms" aria-label=(say!("alarms-title")) {
                @for alarm in &loud { (alarm_item(alarm)) }
                @if !quiet.is_empty() {
                    details class="quiet" data-keep="quiet" open[loud.is_empty() && quiet.len() == 1] {
                        summary id="quiet" { (folded(&quiet)) }
                        @for alarm in &quiet { (alarm_item(alarm)) }
                    }
                }
            }
        }
    }
}

/// `2 alarms are over, but nobody has answered; 1 is silenced or follows from another`.
fn folded(quiet: &[&AlarmView]) -> String {
    let ended = quiet.iter().filter(|a| over(&a.state)).count();
    let silenced = quiet.len() - ended;
    let ended = (ended > 0).then(|| say!("alarms-folded-over", alarms = ended));
    let silenced = (silenced > 0).then(|| say!("alarms-folded-silenced", alarms = silenced));
    list_semicolon(&ended.into_iter().chain(silenced).collect::<Vec<_>>())
}

/// The same for the same alarm at every look, so that a page can tell what changed.
fn alarm_id(alarm: &AlarmView) -> String {
    let parts = [alarm.alarm.as_str(), &alarm.nests.join("-"), alarm.about.as_deref().unwrap_or_default()];
    format!("alarm-{}", ident(&parts.join("--")))
}

/// One alarm as a sentence: `oak: the heating mat will not switch off`.
pub(crate) fn alarm_sentence(alarm: &AlarmView) -> String {
    let words = alarm_words(&alarm.alarm);
    if alarm.nests.is_empty() {
        return words;
    }
    say!("alarm-in-nests", nests = list_and(&alarm.nests), alarm = words)
}

/// What it is about, since when, what became of it and why: `oak-node:warm; since 02:41, for 31 min; answered 02:50`.
fn alarm_since(alarm: &AlarmView) -> String {
    let mut said: Vec<String> = alarm.about.iter().cloned().collect();
    said.extend([alarm.since_text.clone(), alarm.state_text.clone()].into_iter().filter(|text| !text.is_empty()));
    said.extend(alarm.cause.as_ref().map(|cause| say!("alarm-follows", cause = alarm_words(cause))));
    list_semicolon(&said)
}

/// What to do, numbered where it is more than one thing.
pub(crate) fn todo(steps: &[String]) -> Markup {
    html! {
        @match steps {
            [] => {}
            [one] => p class="todo" { (Prose(one)) }
            steps => ol class="todo" { @for step in steps { li { (Prose(step)) } } }
        }
    }
}

fn alarm_item(alarm: &AlarmView) -> Markup {
    let (id, quiet) = (alarm_id(alarm), !stands(&alarm.state));
    let class = if quiet { "calm" } else { alarm.tone.class() };
    html! {
        article id=(id) data-said=(alarm_said(alarm)) data-over=(alarm_over(alarm)) class={ "alarm " (class) @if over(&alarm.state) { " over" } } {
            h2 {
                @if alarm.tone != Tone::Calm { span class="weight" { (alarm.tone.word()) } " " }
                (capital(&alarm_sentence(alarm)))
            }
            p class="since" { (alarm_since(alarm)) }
            @if let Some(now) = &alarm.nest_now { p class="seen" { (Prose(now)) } }
            @if !alarm.place.is_empty() { p { (capital(&list_semicolon(&alarm.place))) } }
            p { (Prose(&alarm.detail)) }
            (todo(&alarm.what_to_do))
            @if !alarm.url.is_empty() {
                p class="turn" { a href=(alarm.url) { (say!("alarm-story")) } }
            }
            @if !alarm.actions.is_empty() {
                div class="actions" {
                    @for (k, action) in alarm.actions.iter().enumerate() {
                        form method="post" action=(action.url) {
                            @for (name, value) in &action.fields { input type="hidden" name=(name) value=(value); }
                            button type="submit" id={ (id) "-do-" (k) } { (action.label) }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn danger_comes_first_and_the_silenced_last() {
        let alarm = |tone, state: &str| AlarmView { tone, state: state.to_owned(), ..AlarmView::default() };
        let alarms = [
            alarm(Tone::Danger, "shelved"),
            alarm(Tone::Danger, "returned"),
            alarm(Tone::Advice, "unacknowledged"),
            alarm(Tone::Danger, "acknowledged"),
            alarm(Tone::Danger, "unacknowledged"),
        ];
        let order: Vec<_> = by_weight(&alarms).iter().map(|a| (a.tone, a.state.as_str())).collect();
        assert_eq!(
            order,
            [
                (Tone::Danger, "unacknowledged"),
                (Tone::Danger, "acknowledged"),
                (Tone::Advice, "unacknowledged"),
                (Tone::Danger, "returned"),
                (Tone::Danger, "shelved")
            ]
        );
    }

    #[test]
    fn a_plain_page_is_whole_and_escaped() {
        let page = plain_html(&PlainPage { title: "<script>alert(1)</script>".to_owned(), ..PlainPage::default() });
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"));
        assert!(!page.contains("<script>"), "{page}");
    }

    #[test]
    fn nothing_inline_that_a_strict_policy_would_block() {
        let page = alarms_html(&AlarmsPage::default());
        assert!(!page.contains("style=") && !page.contains("<style") && !page.contains("onclick"));
        let saved = Frame { assets: Assets::Inline, ..Frame::default() };
        let page = alarms_html(&AlarmsPage { frame: saved, ..AlarmsPage::default() });
        assert!(page.contains("<style>") && !page.contains(STYLE_PATH) && !page.contains("<script"));
    }
}
