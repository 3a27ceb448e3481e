use super::*;
use crate::core::Core;
use crate::core::tests::shelf_of;

const BEGIN: i64 = 1_772_323_200_000;

fn at(min: i64) -> Timestamp {
    Timestamp::from_unix_ms(BEGIN + min * 60_000)
}

/// Nests `oak` (oak-node) and `elm` (elm-node), each with three probes, and one room's node.
fn nodes() -> (Nodes, Vec<SourceId>) {
    let core = Core::new(shelf_of(&["oak", "elm"]));
    let sources = core.sources().to_vec();
    let ids = (0..sources.len()).map(|i| SourceId(i as u16)).collect();
    (Nodes::new(core.shelf(), &sources), ids)
}

fn verdicts(nodes: &Nodes, min: i64) -> (Verdict, Vec<(String, Verdict)>) {
    let s = nodes.silence(at(min), &AlarmSettings::default());
    let name = |n: usize| nodes.get(n).unwrap().name.clone();
    (s.all, s.each.iter().map(|(n, v, _)| (name(*n), *v)).collect())
}

#[test]
fn a_node_that_stops_is_silent_alone() {
    let (mut nodes, ids) = nodes();
    for min in 0..60 {
        for id in &ids {
            if min < 20 || nodes.of(*id).unwrap().name != "oak-node" {
                nodes.hear(*id, at(min));
            }
        }
        let (all, each) = verdicts(&nodes, min);
        assert_eq!(all, Verdict::Well, "minute {min}");
        for (name, verdict) in each {
            // Heard last at minute 19, silent after more than ten minutes.
            let wanted = if name == "oak-node" && min > 29 { Verdict::Ill } else { Verdict::Well };
            assert_eq!(verdict, wanted, "{name} at {min}");
        }
    }
}

#[test]
fn nodes_that_stop_within_a_minute_are_silent_as_one() {
    let (mut nodes, ids) = nodes();
    let mut raised = None;
    for min in 0..60 {
        for id in &ids {
            // Elm's last word is a minute later than oak's.
            let until = if nodes.of(*id).unwrap().name == "elm-node" { 20 } else { 19 };
            if min <= until {
                nodes.hear(*id, at(min));
            }
        }
        let (all, each) = verdicts(&nodes, min);
        assert!(each.iter().all(|(_, v)| *v != Verdict::Ill), "none by itself, minute {min}: {each:?}");
        if all == Verdict::Ill {
            raised.get_or_insert(min);
        }
    }
    assert_eq!(raised, Some(31));
}

#[test]
fn nodes_that_stop_five_minutes_apart_are_two() {
    let (mut nodes, ids) = nodes();
    for min in 0..60 {
        for id in &ids {
            let until = if nodes.of(*id).unwrap().name == "elm-node" { 24 } else { 19 };
            if min <= until {
                nodes.hear(*id, at(min));
            }
        }
    }
    let (all, each) = verdicts(&nodes, 60);
    assert_eq!(all, Verdict::Well);
    assert!(each.iter().all(|(_, v)| *v == Verdict::Ill), "{each:?}");
}

#[test]
fn a_probe_is_alone_only_if_its_node_went_on() {
    let (mut nodes, ids) = nodes();
    let probe = ids[0];
    for min in 0..30 {
        for id in &ids {
            if min < 20 || *id != probe {
                nodes.hear(*id, at(min));
            }
        }
    }
    assert!(nodes.is_alone(probe, Some(at(19))));
    assert!(!nodes.is_alone(ids[1], Some(at(29))));
}

#[test]
fn a_node_serves_a_nest_where_it_is_only_one() {
    let (nodes, ids) = nodes();
    let nests: Vec<_> = ids.iter().map(|id| nodes.of(*id).unwrap()).map(|n| (n.name.as_str(), n.nest)).collect();
    assert!(nests.contains(&("oak-node", Some(0))) && nests.contains(&("elm-node", Some(1))));
    assert!(nests.contains(&("room", None)));
}
