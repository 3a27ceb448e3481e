//! The page of a plan: the mat that never lets go first and always in sight, then what can be set, then the rest.
use crate::page::{Head, shell};
use crate::pen::Canvas;
use crate::plan::{PLAN_CAUTION, PlanField, PlanKind, PlanPage, PlanView, plan_rows};
use crate::plan_picture::{plan_sentence, plan_svg_on};
use crate::view::Tone;
use crate::words::capital;
use maud::{Markup, PreEscaped, html};

/// The script of the plan, to be served at [`crate::PLAN_SCRIPT_PATH`].
pub const PLAN_JS: &str = include_str!("plan.js");

/// The whole page. Works without a script: the form is sent as a query.
pub fn plan_html(page: &PlanPage) -> String {
    let name = page.plan.as_ref().map_or("a nest", |p| p.name.as_str());
    let title = format!("Plan for {name}");
    let main = html! {
        main class="plan" id="plan" data-fragment=(crate::PLAN_FRAGMENT_PATH) {
            h1 { (title) }
            (line(page))
            (worst(page))
            @if !page.form.is_empty() { (form(page)) }
            (rest(page))
        }
    };
    let script = (!page.form.is_empty()).then_some(crate::PLAN_SCRIPT_PATH);
    shell(&page.frame, Head { title: &title, script, ..Head::default() }, &main)
}

/// The parts that the script puts in place of the page's own, by their ids.
pub fn plan_fragment(page: &PlanPage) -> String {
    html! { (line(page)) (worst(page)) (rest(page)) }.into_string()
}

/// Stays at the top of the window, whatever is being set below.
fn line(page: &PlanPage) -> Markup {
    html! {
        @match &page.plan {
            Some(plan) => p class={ "stuckline " (plan.tone.class()) } id="plan-line" role="status" {
                @if plan.tone != Tone::Calm { span class="weight" { (plan.tone.word()) } " " }
                (plan.line)
            },
            None => p class="stuckline warning" id="plan-line" role="status" { "Not reckoned: something in the form is not understood." },
        }
    }
}

fn worst(page: &PlanPage) -> Markup {
    html! {
        section class="worst" id="plan-worst" aria-labelledby="plan-worst-name" {
            h2 id="plan-worst-name" { "If the mat sticks on" }
            @for complaint in &page.complaints { p class="complaint" role="alert" { (complaint) } }
            @if let Some(plan) = &page.plan {
                @for sentence in &plan.worst { p { (sentence) } }
                (stuck_cases(plan))
                @for sentence in &plan.power { p class="todo" { (sentence) } }
            }
        }
    }
}

fn stuck_cases(plan: &PlanView) -> Markup {
    html! {
        div class="cases" {
            @for row in &plan.stuck {
                section aria-label=(row.case) {
                    h3 { (capital(&row.case)) }
                    dl {
                        dt { "Hottest of the brood place" }
                        dd { strong { (row.brood) } br; (row.brood_when) }
                        dt { "Between mat and nest" }
                        dd { strong { (row.mat) } br; (row.mat_when) }
                    }
                }
            }
        }
    }
}

fn rest(page: &PlanPage) -> Markup {
    html! {
        section class="expected" id="plan-rest" aria-label="What to expect" {
            @if let Some(plan) = &page.plan {
                figure {
                    div class="wide" { (PreEscaped(plan_svg_on(plan, Canvas::Wide))) }
                    div class="narrow" { (PreEscaped(plan_svg_on(plan, Canvas::Narrow))) }
                    figcaption { (plan_sentence(plan)) " Shade: where it lies 9 times in 10 (above: from likely to the upper end)." }
                }
                h2 { "As it would be in use" }
                @for sentence in &plan.expected { p { (sentence) } }
                (curves(plan))
                h3 { "What handbooks say, for comparison only" }
                p class="since" { "Not limits for your nest: those only you can set." }
                ul class="bears" { @for (fact, source) in &plan.bears { li { (fact) " " span class="since" { "(" (source) ")" } } } }
                h3 { "Assumed" }
                ul class="bears" { @for sentence in &plan.assumed { li { (sentence) } } }
            }
            p class="caution" { (PLAN_CAUTION) }
        }
    }
}

fn curves(plan: &PlanView) -> Markup {
    html! {
        details data-keep="plan-curves" {
            summary { "The curves in numbers" }
            div class="scroll" tabindex="0" role="group" aria-label="The curves in numbers" {
                table {
                    thead { tr {
                        th scope="col" { "mm" }
                        th scope="col" { "stuck, covered, °C" br; small { "1 nest in 20 is hotter" } }
                        th scope="col" { "stuck, covered, °C" br; small { "likely" } }
                        th scope="col" { "stuck as it stands, °C" br; small { "likely" } }
                        th scope="col" { "in use, °C" br; small { (plan.use_text) } }
                    } }
                    tbody { @for [place, cells @ ..] in plan_rows(plan) {
                        tr { th scope="row" { (place) } @for cell in cells { td { (cell) } } }
                    } }
                }
            }
        }
    }
}

fn form(page: &PlanPage) -> Markup {
    html! {
        form class="planform" id="plan-form" method="get" action=(crate::PLAN_PATH) aria-label="Nest, mat and room" {
            @if !page.nests.is_empty() {
                nav class="turn" aria-label="Begin from a nest" {
                    @for l in &page.nests {
                        @if l.current { a href=(l.url) aria-current="page" { (l.label) } " " } @else { a href=(l.url) { (l.label) } " " }
                    }
                }
            }
            @for (name, value) in &page.hidden { input type="hidden" name=(name) value=(value); }
            @for group in &page.form {
                fieldset { legend { (group.name) } @for f in &group.fields { (field(f)) } }
            }
            p class="since" { "Leave empty what you do not know: what then is assumed stands in grey." }
            button type="submit" { "Reckon" }
        }
    }
}

fn field(f: &PlanField) -> Markup {
    let id = format!("plan-{}", f.name);
    let help = (!f.help.is_empty()).then(|| format!("{id}-help"));
    html! {
        div class="field" {
            label for=(id) { (f.label) }
            @match &f.kind {
                PlanKind::Number { range, slide } => div class="slide" {
                    input type="number" id=(id) name=(f.name) value=(f.value) placeholder=(f.usual)
                        min=(range.0) max=(range.1) step="any" inputmode="decimal" autocomplete="off"
                        data-from=(slide.0) data-to=(slide.1) data-step=(slide.2) aria-describedby=[help];
                },
                PlanKind::Choice(choices) => select id=(id) name=(f.name) aria-describedby=[help] {
                    @for (value, words) in choices { option value=(value) selected[*value == f.value] { (words) } }
                },
            }
            @if !f.help.is_empty() { p class="since" id={ (id) "-help" } { (f.help) } }
        }
    }
}
