//! The page of a plan: the mat that never lets go first and always in sight, then what can be set, then the rest.
use crate::page::{Head, shell};
use crate::pen::Canvas;
use crate::plan::{PlanField, PlanKind, PlanPage, PlanView, plan_caution, plan_rows};
use crate::plan_picture::{plan_sentence, plan_svg_on};
use crate::prose::Prose;
use crate::say;
use crate::table::Grid;
use crate::view::Tone;
use crate::words::capital;
use maud::{Markup, PreEscaped, html};

/// The script of the plan, to be served at [`crate::PLAN_SCRIPT_PATH`].
pub const PLAN_JS: &str = include_str!("plan.js");

/// The whole page. Works without a script: the form is sent as a query.
pub fn plan_html(page: &PlanPage) -> String {
    let title = page.plan.as_ref().map_or_else(|| say!("plan-title-none"), |p| say!("plan-title", nest = &p.name));
    let main = html! {
        main class="plan" id="plan" data-fragment=(crate::PLAN_FRAGMENT_PATH) data-say-old=(say!("plan-script-old")) data-say-unknown=(say!("not-known")) {
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
            None => p class="stuckline warning" id="plan-line" role="status" { (say!("plan-line-none")) },
        }
    }
}

fn worst(page: &PlanPage) -> Markup {
    html! {
        section class="worst" id="plan-worst" aria-labelledby="plan-worst-name" {
            h2 id="plan-worst-name" { (say!("plan-worst")) }
            @for complaint in &page.complaints { p class="complaint" role="alert" { (Prose(&capital(complaint))) } }
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
                        dt { (say!("plan-case-brood")) }
                        dd { strong { (row.brood) } br; (row.brood_when) }
                        dt { (say!("plan-case-mat")) }
                        dd { strong { (row.mat) } br; (row.mat_when) }
                    }
                }
            }
        }
    }
}

fn rest(page: &PlanPage) -> Markup {
    html! {
        section class="expected" id="plan-rest" aria-label=(say!("plan-rest")) {
            @if let Some(plan) = &page.plan {
                figure {
                    div class="wide" { (PreEscaped(plan_svg_on(plan, Canvas::Wide))) }
                    div class="narrow" { (PreEscaped(plan_svg_on(plan, Canvas::Narrow))) }
                    figcaption { (say!("plan-caption", sentence = plan_sentence(plan))) }
                }
                h2 { (say!("plan-use")) }
                @for sentence in &plan.expected { p { (sentence) } }
                (curves(plan))
                h3 { (say!("plan-bears")) }
                p class="since" { (say!("plan-bears-no-limits")) }
                ul class="bears" { @for (fact, source) in &plan.bears { li { (fact) " " span class="since" { "(" (source) ")" } } } }
                h3 { (say!("plan-assumed")) }
                ul class="bears" { @for sentence in &plan.assumed { li { (sentence) } } }
            }
            p class="caution" { (plan_caution()) }
        }
    }
}

fn curves(plan: &PlanView) -> Markup {
    let grid = Grid {
        name: &say!("plan-curves"),
        caption: "",
        heads: vec![
            ("mm".to_owned(), String::new()),
            (say!("plan-curves-covered"), say!("plan-curves-upper")),
            (say!("plan-curves-covered"), say!("plan-curves-likely")),
            (say!("plan-curves-standing"), say!("plan-curves-likely")),
            (say!("plan-curves-use"), plan.use_text.clone()),
        ],
        rows: plan_rows(plan).into_iter().map(|row| row.map(|cell| html! { (cell) }).into()).collect(),
        foot: None,
        numbers: false,
    };
    html! {
        details data-keep="plan-curves" {
            summary { (say!("plan-curves")) }
            (grid.draw())
        }
    }
}

fn form(page: &PlanPage) -> Markup {
    html! {
        form class="planform" id="plan-form" method="get" action=(crate::PLAN_PATH) aria-label=(say!("plan-form")) {
            @if !page.nests.is_empty() {
                nav class="turn" aria-label=(say!("plan-form-nests")) {
                    @for l in &page.nests {
                        @if l.current { a href=(l.url) aria-current="page" { (l.label) } " " } @else { a href=(l.url) { (l.label) } " " }
                    }
                }
            }
            @for (name, value) in &page.hidden { input type="hidden" name=(name) value=(value); }
            @for group in &page.form {
                fieldset { legend { (group.name) } @for f in &group.fields { (field(f)) } }
            }
            p class="since" { (say!("plan-form-empty")) }
            button type="submit" { (say!("plan-form-reckon")) }
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
                        data-say-slider=(say!("plan-script-slider", field = &f.label)) data-from=(slide.0) data-to=(slide.1) data-step=(slide.2) aria-describedby=[help];
                },
                PlanKind::Choice(choices) => select id=(id) name=(f.name) aria-describedby=[help] {
                    @for (value, words) in choices { option value=(value) selected[*value == f.value] { (words) } }
                },
            }
            @if !f.help.is_empty() { p class="since" id={ (id) "-help" } { (f.help) } }
        }
    }
}
