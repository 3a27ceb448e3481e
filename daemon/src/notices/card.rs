//! A card to print and hang beside a nest: which plug, what never to touch, water, whom to call.
use super::words;
use crate::shelf_file::{Recipient, ShelfFile};
use crate::wrong_call::{self, WrongCall};
use dashboards::{CardPage, CardPart};

/// Where a hand writes what the shelf file does not say.
const BLANK: &str = "________________________";

/// The card of the nest `id` as a page.
///
/// # Errors
/// Where the shelf has none of that name.
pub fn html(file: &ShelfFile, id: &str) -> Result<String, WrongCall> {
    let at = wrong_call::place(id, &file.shelf.nests)?;
    let plugs: Vec<&str> = file.plugs.iter().filter(|p| p.nest == at).filter_map(|p| p.plug.as_deref()).collect();
    let part = |heading: &str, sentences: &[&str]| CardPart {
        heading: heading.to_owned(),
        sentences: sentences.iter().map(|s| (*s).to_owned()).collect(),
        ..CardPart::default()
    };
    let mut fire = part("Smoke, flame, a burning smell", &[words::FIRE]);
    fire.boxed = file.emergency.as_ref().map(|call| format!("{}{call}", words::EMERGENCY));
    let mut parts = vec![fire];
    if !file.shelf.nests[at].pads.is_empty() {
        let boxed = Some(if plugs.is_empty() { BLANK.to_owned() } else { plugs.join("; ") });
        parts.push(CardPart {
            boxed,
            ..part("The heating mat will not switch off: this plug", &[words::UNPLUG, words::LEAVE])
        });
    }
    let never = words::NEVER.iter().map(|s| (*s).to_owned()).collect();
    parts.push(CardPart { points: never, ..part("Never", &[]) });
    parts.push(part("Water", &[words::WATER_FIRST, words::WATER_AFTER]));
    parts.push(CardPart { points: callers(&file.recipients), ..part("Whom to call", &[]) });
    let place = [Some(file.shelf.name.as_str()), file.place.as_deref()].into_iter().flatten();
    let place = format!("Shelf {}", place.collect::<Vec<_>>().join(", "));
    let (title, footer) = (format!("Nest {id}"), words::NOT_A_DEVICE.to_owned());
    Ok(dashboards::card_html(&CardPage { title, place, parts, footer }))
}

fn callers(recipients: &[Recipient]) -> Vec<String> {
    let line = |r: &Recipient| {
        let from = r.days.0.map(|day| format!(", from {day}")).unwrap_or_default();
        let until = r.days.1.map(|day| format!(", until {day}")).unwrap_or_default();
        format!("{}: {}{from}{until}", r.name, r.phone.as_deref().unwrap_or(BLANK))
    };
    if recipients.is_empty() { vec![BLANK.to_owned()] } else { recipients.iter().map(line).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notices::samples;

    #[test]
    fn the_card_says_plug_water_and_whom_to_call_and_nothing_else_may_hide_it() {
        let mut file = samples::shelf();
        file.emergency = Some("the number <here>".to_owned());
        let card = html(&file, "oak").expect("a nest of the example");
        for part in [
            "left strip, socket 2",
            words::FIRE,
            words::UNPLUG,
            words::NO_WATER,
            words::WATER_FIRST,
            words::NOT_A_DEVICE,
            "keeper: inside line 12",
            "neighbour: ________________________, from 2026-07-01, until 2026-07-14",
            "the number &lt;here&gt;",
        ] {
            assert!(card.contains(part), "{part} is not on the card");
        }
        // It prints anywhere: nothing is fetched, nothing runs.
        assert!(!card.contains("http") && !card.contains("<script") && !card.contains("src="), "{card}");
        assert!(matches!(html(&file, "no-such-nest"), Err(WrongCall::Nest { .. })));
    }

    #[test]
    fn without_a_number_none_is_invented() {
        let mut file = samples::shelf();
        (file.emergency, file.recipients) = (None, Vec::new());
        file.plugs.clear();
        let card = html(&file, "oak").expect("a nest of the example");
        let card = card.split_once("<body>").expect("a body").1;
        assert!(card.contains("________") && !card.contains(words::EMERGENCY));
        for number in ["112", "911", "999", "000"] {
            assert!(!card.split(|c: char| !c.is_ascii_digit()).any(|digits| digits == number), "{number}");
        }
    }
}
