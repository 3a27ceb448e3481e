//! What leave to heat a nest's mat has, in a keeper's words.
use crate::permit::HeatNow;
use crate::snapshot::Snapshot;
use enclosure::shelf::Nest;

/// Of the mats of nest `i` that are driven on leave only; none where there is no such mat.
pub(super) fn leave(snap: &Snapshot, i: usize) -> Option<String> {
    let nest = snap.shelf.nests.get(i)?;
    let said: Vec<String> = snap.heat.iter().filter(|heat| heat.nest == i).map(|heat| sentence(heat, nest)).collect();
    (!said.is_empty()).then(|| said.join("; "))
}

fn sentence(heat: &HeatNow, nest: &Nest) -> String {
    let HeatNow { node, waits, duty, withheld, off, unheated, .. } = heat;
    let mut text = match (waits, duty, withheld) {
        (true, ..) => format!("{node} has none: look at the nest, then reset its danger"),
        (false, Some(duty), _) => format!("{node} may heat up to {:.0} %", duty * 100.0),
        (false, None, Some(why)) => format!("{node} has none now: {why}"),
        (false, None, None) => format!("{node} has none yet"),
    };
    if let Some(off) = off {
        text.push_str(&format!("; it does not heat: {off}"));
    }
    if let Some(cold) = unheated {
        let below =
            nest.band.zip(cold.below_after).map(|(band, span)| format!("below {:.0} °C in {span} and ", band.low_c));
        let below = below.unwrap_or_default();
        text.push_str(&format!("; without heat the brood place is {below}at {:.1} °C in 12 h", cold.lowest_c));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::views::sample;
    use enclosure::Span;
    use enclosure::permit::{Unheated, Withheld};
    use wire::HeatOff;

    #[test]
    fn every_standing_is_said_in_plain_words() {
        let mut snap = sample::silent();
        assert_eq!(leave(&snap, 0), None);
        let none = HeatNow {
            nest: 0,
            node: "oak-node".to_owned(),
            waits: false,
            duty: None,
            withheld: None,
            off: None,
            unheated: None,
        };
        let unheated = Some(Unheated { lowest_c: 19.87, below_after: Some(Span::from_min(40)) });
        for (heat, words) in [
            (none.clone(), "oak-node has none yet"),
            (HeatNow { duty: Some(0.6), ..none.clone() }, "oak-node may heat up to 60 %"),
            (
                HeatNow { withheld: Some(Withheld::Warm), ..none.clone() },
                "oak-node has none now: a probe is near its limit",
            ),
            (
                HeatNow { waits: true, off: Some(HeatOff::Limit), ..none.clone() },
                "oak-node has none: look at the nest, then reset its danger; it does not heat: a probe passed the \
                 node's own limit, a person has to reset it",
            ),
        ] {
            snap.heat = vec![heat];
            assert_eq!(leave(&snap, 0).as_deref(), Some(words));
        }
        snap.heat = vec![HeatNow { duty: Some(1.0), unheated, ..none }];
        let said = leave(&snap, 0).unwrap_or_default();
        assert!(
            said.contains("without heat the brood place is below") && said.ends_with("at 19.9 °C in 12 h"),
            "{said}"
        );
        assert_eq!(leave(&snap, 1), None);
    }
}
