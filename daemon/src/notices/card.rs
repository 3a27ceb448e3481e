//! A card to print and hang beside a nest: which plug, what never to touch, water, whom to call.
use super::words;
use crate::shelf_file::{Recipient, ShelfFile};
use crate::wrong_call::{self, WrongCall};
use dashboards::{CardPage, CardPart, list_comma, list_semicolon, say};

/// Where a hand writes what the shelf file does not say.
const BLANK: &str = "________________________";

/// The card of the nest `id` as a page.
///
/// # Errors
/// Where the shelf has none of that name.
pub fn html(file: &ShelfFile, id: &str) -> Result<String, WrongCall> {
    let at = wrong_call::place(id, &file.shelf.nests)?;
    let plugs: Vec<&str> = file.plugs.iter().filter(|p| p.nest == at).filter_map(|p| p.plug.as_deref()).collect();
    let part = |heading: String, sentences: Vec<String>| CardPart { heading, sentences, ..CardPart::default() };
    let mut fire = part(say!("card-fire"), vec![words::fire()]);
    fire.boxed = file.emergency.as_ref().map(|call| say!("card-emergency", call = call));
    let mut parts = vec![fire];
    if !file.shelf.nests[at].pads.is_empty() {
        let boxed = Some(if plugs.is_empty() { BLANK.to_owned() } else { list_semicolon(&plugs) });
        parts.push(CardPart {
            boxed,
            ..part(say!("card-plug"), vec![words::unplug(file.shelf.nests[at].pads.len()), words::leave()])
        });
    }
    parts.push(CardPart { points: words::never(), ..part(say!("card-never"), Vec::new()) });
    parts.push(part(say!("card-water"), vec![words::water_first(), say!("card-water-after")]));
    parts.push(CardPart { points: callers(&file.recipients), ..part(say!("card-callers"), Vec::new()) });
    let place = [Some(file.shelf.name.as_str()), file.place.as_deref()].into_iter().flatten();
    let place = say!("card-shelf", place = list_comma(&place.collect::<Vec<_>>()));
    let (title, footer) = (say!("card-nest", nest = id), words::not_a_device());
    Ok(dashboards::card_html(&CardPage { title, place, parts, footer }))
}

fn callers(recipients: &[Recipient]) -> Vec<String> {
    let line = |r: &Recipient| {
        let mut said = vec![say!("card-caller", name = &r.name, phone = r.phone.as_deref().unwrap_or(BLANK))];
        said.extend(r.days.0.map(|day| say!("card-caller-from", day = day.to_string())));
        said.extend(r.days.1.map(|day| say!("card-caller-until", day = day.to_string())));
        list_comma(&said)
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
            &words::fire(),
            &words::unplug(1),
            &words::no_water(),
            &words::water_first(),
            &words::not_a_device(),
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
        assert!(card.contains("________") && !card.contains("whom to call"));
        for number in ["112", "911", "999", "000"] {
            assert!(!card.split(|c: char| !c.is_ascii_digit()).any(|digits| digits == number), "{number}");
        }
    }
}
