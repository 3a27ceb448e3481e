//! What every page has: head, links, footer; and the pages that are little more.
use crate::say;
use crate::svg::ident;
use crate::view::{AlarmsPage, AskPage, Assets, Frame, Link, Live, PlainPage, Tone};
use crate::words::{alarm_words, capital, list_and, stands, state_words};
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
        html lang="en" {
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
                        nav aria-label="Pages" { @for l in &frame.nav { (link(l)) " " } }
                    }
                }
                @if head.live {
                    p id="age" class="age" {}
                    // It does not reload by itself: that would take a reader's place away.
                    noscript { p class="asof" {
                        "Without a script this page shows what was so when it was opened. " a href="" { "Reload it" }
                        ". Older than 2 min: do not rely on it."
                    } }
                }
                @for caution in &frame.cautions { p class="stale" { (caution) } }
                @if head.live {
                    p id="stale" class="stale" role="alert" hidden {}
                    p id="spoken" class="unseen" role="status" aria-live="assertive" {}
                }
                (main)
                footer {
                    "This page watches; it is not a protective device. What keeps a nest from burning is an independent thermal cut-off, "
                    "a heating mat too small to do harm when it never lets go, and electrics done by the rules where you live."
                }
            }
        }
    }
    .into_string()
}

fn link(l: &Link) -> Markup {
    html! { @if l.current { a href=(l.url) aria-current="page" { (l.label) } } @else { a href=(l.url) { (l.label) } } }
}

/// Error or nothing yet.
pub fn plain_html(page: &PlainPage) -> String {
    let main = html! {
        main class="plain" {
            h1 { (page.title) }
            @for s in &page.sentences { p { (s) } }
        }
    };
    shell(&page.frame, Head { title: &page.title, ..Head::default() }, &main)
}

/// A question and its answers: nothing is done before one of them is chosen.
pub fn ask_html(page: &AskPage) -> String {
    let main = html! {
        main class="plain" {
            h1 { (page.title) }
            @for s in &page.sentences { p { (s) } }
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

/// What the list of alarms is called.
const ALARMS: &str = "Alarms";
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
    let loud = |a: &AlarmView| stands(&a.state) && !over(&a.state);
    let more = alarms.iter().filter(|a| loud(a)).count().saturating_sub(LINES_MOST);
    html! {
        @for (i, alarm) in by_weight(alarms).into_iter().enumerate() {
            p class={ "alarm line " (alarm.tone.class()) } id=(alarm_id(alarm)) data-said=(alarm_said(alarm))
                hidden[!loud(alarm) || i >= LINES_MOST] {
                @if alarm.tone != Tone::Calm { span class="weight" { (alarm.tone.word()) } " " }
                @if alarm.url.is_empty() { (capital(&alarm_sentence(alarm))) }
                @else { a href=(alarm.url) { (capital(&alarm_sentence(alarm))) } }
                "; " (state_words(&alarm.state))
            }
        }
        @if more > 0 { p { "And " (more) " more under Alarms, above." } }
    }
}

/// An alarm and its state: what is said once when either changes.
fn alarm_said(alarm: &AlarmView) -> String {
    format!("{}: {}", alarm_sentence(alarm), state_words(&alarm.state))
}

/// The list of alarms, and what changed lately.
pub fn alarms_html(page: &AlarmsPage) -> String {
    let (fragment, events) = follows(Some(&page.live));
    let main = html! { main data-fragment=[fragment] data-live=[events] { (alarms_inner(page)) } };
    shell(&page.frame, Head { title: ALARMS, live: true, ..Head::default() }, &main)
}

/// The part of [`alarms_html`] that follows.
pub fn alarms_fragment(page: &AlarmsPage) -> String {
    alarms_inner(page).into_string()
}

fn alarms_inner(page: &AlarmsPage) -> Markup {
    let inner = html! {
        h1 { @if page.live.alarms.is_empty() { "No alarm, as of " } @else { "Alarms, as of " } (page.live.as_of_text) }
        (alarm_list(&page.live.alarms))
        @if !page.past.is_empty() {
            h2 { "Before" }
            table class="past" {
                thead { tr { th scope="col" { "when" } th scope="col" { "what" } } }
                tbody {
                    @for (when, what, url) in &page.past {
                        tr { td { (when) } td { @if url.is_empty() { (what) } @else { a href=(url) { (what) } } } }
                    }
                }
            }
        }
    };
    following(&page.live, ALARMS, &inner)
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
            section class="alarms" id="alarms" aria-label="Alarms" {
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
    let many = |n: usize| if n == 1 { "1 alarm is".to_owned() } else { format!("{n} alarms are") };
    let said: Vec<String> = [
        (ended > 0).then(|| format!("{} over, but nobody has answered", many(ended))),
        (silenced > 0).then(|| format!("{} silenced or part of another", many(silenced))),
    ]
    .into_iter()
    .flatten()
    .collect();
    said.join("; ")
}

/// The same for the same alarm at every look, so that a page can tell what changed.
fn alarm_id(alarm: &AlarmView) -> String {
    let parts = [alarm.alarm.as_str(), &alarm.nests.join("-"), alarm.about.as_deref().unwrap_or_default()];
    format!("alarm-{}", ident(&parts.join("--")))
}

/// One alarm as a sentence: `oak: the heating gives heat it was not told to give`.
pub(crate) fn alarm_sentence(alarm: &AlarmView) -> String {
    let words = alarm_words(&alarm.alarm);
    if alarm.nests.is_empty() {
        return words;
    }
    say!("alarm-in-nests", nests = list_and(&alarm.nests), alarm = words)
}

fn alarm_item(alarm: &AlarmView) -> Markup {
    let (id, quiet) = (alarm_id(alarm), !stands(&alarm.state));
    let class = if quiet { "calm" } else { alarm.tone.class() };
    html! {
        article id=(id) data-said=(alarm_said(alarm)) class={ "alarm " (class) @if over(&alarm.state) { " over" } } {
            h2 {
                @if alarm.tone != Tone::Calm { span class="weight" { (alarm.tone.word()) } " " }
                (capital(&alarm_sentence(alarm)))
            }
            p class="since" {
                "since " (alarm.since_text) "; " (state_words(&alarm.state))
                @if let Some(about) = &alarm.about { "; " (about) }
                @if let Some(cause) = &alarm.cause { "; because " (alarm_words(cause)) }
            }
            p { (alarm.detail) }
            @if !alarm.what_to_do.is_empty() { p class="todo" { (alarm.what_to_do) } }
            @if !alarm.url.is_empty() {
                p class="turn" { a href=(alarm.url) { "What raised it, who was told, what you can do" } }
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
