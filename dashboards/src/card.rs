//! A card to print: large letters, black on white, one sheet, nothing fetched.
use crate::prose::Prose;
use crate::say::spoken;
use crate::view::{CardPage, CardPart};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = "body{font:16pt/1.35 sans-serif;max-width:18cm;margin:1cm auto;color:#000;background:#fff}\
h1{font-size:26pt;margin:0 0 .2em}h2{font-size:18pt;margin:.8em 0 .2em;border-bottom:2pt solid #000}\
li{margin:.25em 0}.boxed{font-size:22pt;font-weight:bold;border:3pt solid #000;padding:.3em .5em}\
footer{font-size:10pt;margin-top:1.2em}";

/// The card as a page of its own.
pub fn card_html(card: &CardPage) -> String {
    html! {
        (DOCTYPE)
        html lang=(spoken().code()) {
            head {
                meta charset="utf-8";
                title { (card.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (card.title) }
                p { (card.place) }
                @for part in &card.parts { (part_of(part)) }
                footer { (card.footer) }
            }
        }
    }
    .into_string()
}

fn part_of(part: &CardPart) -> Markup {
    html! {
        h2 { (part.heading) }
        @for sentence in &part.sentences { p { (Prose(sentence)) } }
        @if let Some(boxed) = &part.boxed { p class="boxed" { (boxed) } }
        @if !part.points.is_empty() { ul { @for point in &part.points { li { (Prose(point)) } } } }
    }
}
