//! What leave to heat a nest's mat has, in a keeper's words.
use super::words::clauses;
use crate::permit::HeatNow;
use crate::snapshot::Snapshot;
use crate::times::length;
use dashboards::say;
use enclosure::permit::Withheld;
use enclosure::shelf::Nest;
use wire::HeatOff;

/// Of the mats of nest `i` that are driven on leave only; none where there is no such mat.
pub(super) fn leave(snap: &Snapshot, i: usize) -> Option<String> {
    let nest = snap.shelf.nests.get(i)?;
    let said: Vec<String> = snap.heat.iter().filter(|heat| heat.nest == i).map(|heat| sentence(heat, nest)).collect();
    (!said.is_empty()).then(|| clauses(said))
}

fn sentence(heat: &HeatNow, nest: &Nest) -> String {
    let HeatNow { node, waits, duty, withheld, off, unheated, .. } = heat;
    let mut said = vec![match (waits, duty, withheld) {
        (true, ..) => say!("leave-waits", node = node),
        (false, Some(duty), _) => say!("leave-may", node = node, percent = format!("{:.0}", duty * 100.0)),
        (false, None, Some(why)) => say!("leave-none-because", node = node, why = withheld_because(*why)),
        (false, None, None) => say!("leave-none-yet", node = node),
    }];
    said.extend(off.map(|off| say!("leave-off", why = off_because(off))));
    said.extend(unheated.map(|cold| {
        let lowest = format!("{:.1}", cold.lowest_c);
        match nest.band.zip(cold.below_after) {
            Some((band, span)) => {
                let low = format!("{:.0}", band.low_c);
                say!("leave-unheated-below", low = low, span = length(span), lowest = lowest)
            }
            None => say!("leave-unheated", lowest = lowest),
        }
    }));
    clauses(said)
}

fn withheld_because(why: Withheld) -> String {
    match why {
        Withheld::NoLimit => say!("leave-withheld-no-limit"),
        Withheld::Unheard => say!("leave-withheld-unheard"),
        Withheld::NotBelieved => say!("leave-withheld-not-believed"),
        Withheld::Warm => say!("leave-withheld-warm"),
        Withheld::WouldPass => say!("leave-withheld-would-pass"),
        Withheld::Doubted => say!("leave-withheld-doubted"),
    }
}

fn off_because(why: HeatOff) -> String {
    match why {
        HeatOff::NoPermit => say!("leave-off-no-permit"),
        HeatOff::LeaseOver => say!("leave-off-lease-over"),
        HeatOff::PermitRefused => say!("leave-off-permit-refused"),
        HeatOff::Withdrawn => say!("leave-off-withdrawn"),
        HeatOff::Limit => say!("leave-off-limit"),
        HeatOff::Watchdog => say!("leave-off-watchdog"),
        HeatOff::AtCeiling => say!("leave-off-at-ceiling"),
        HeatOff::ProbeSilent => say!("leave-off-probe-silent"),
        HeatOff::ProbeImplausible => say!("leave-off-probe-implausible"),
        HeatOff::Hung => say!("leave-off-hung"),
        HeatOff::SupplyLow => say!("leave-off-supply-low"),
        HeatOff::Memory => say!("leave-off-memory"),
        HeatOff::Nothing => say!("leave-off-nothing"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::views::sample;
    use enclosure::Span;
    use enclosure::permit::Unheated;

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
