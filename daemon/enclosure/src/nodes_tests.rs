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

/// What nodes said until minute `min`: each (its name, from, until, every so many minutes) speaks for all its sources,
/// of several quantities at once.
fn story(core: &Core, words: &[(&str, i64, i64, i64)], min: i64) -> (Nodes, Vec<(String, Verdict)>, Verdict) {
    let sources = core.sources().to_vec();
    let mut nodes = Nodes::new(core.shelf(), &sources);
    for min in 0..=min {
        let speaks = |source: &String| {
            words.iter().any(|(name, from, until, every)| {
                source.starts_with(name) && (*from..=*until).contains(&min) && (min - from) % every == 0
            })
        };
        for (i, _) in sources.iter().enumerate().filter(|(_, source)| speaks(source)) {
            (0..2).for_each(|_| nodes.hear(SourceId(i as u16), at(min)));
        }
    }
    let (all, each) = verdicts(&nodes, min);
    (nodes, each, all)
}

fn of(each: &[(String, Verdict)], name: &str) -> Verdict {
    each.iter().find(|(n, _)| n == name).map(|(_, verdict)| *verdict).unwrap()
}

/// Five words missed, and ten minutes at least (`contract`, probe-silent).
#[test]
fn a_node_that_speaks_rarely_may_be_quiet_for_longer() {
    let core = Core::new(shelf_of(&["oak", "elm"]));
    for every in [1, 2, 3, 7] {
        let last = 20 * every;
        let words = [("oak-node", 0, last, every), ("elm-node", 0, 999, 1), ("room", 0, 999, 1)];
        let silent = (last..).find(|min| of(&story(&core, &words, *min).1, "oak-node") == Verdict::Ill);
        assert_eq!(silent, Some(last + (5 * every).max(10) + 1), "every {every} min");
    }
}

/// Or a bad line would be watched the less.
#[test]
fn one_long_gap_does_not_stretch_what_is_usual() {
    let core = Core::new(shelf_of(&["oak", "elm"]));
    let words = [("oak-node", 0, 30, 1), ("oak-node", 39, 39, 1), ("elm-node", 0, 999, 1), ("room", 0, 999, 1)];
    let silent = (39..).find(|min| of(&story(&core, &words, *min).1, "oak-node") == Verdict::Ill);
    assert_eq!(silent, Some(50));
}

#[test]
fn a_node_that_only_switches_is_not_missed() {
    let mut shelf = shelf_of(&["oak"]);
    shelf.nests[0].pads[0].drive = Some("switch:pad".to_string());
    let words = [("switch", 0, 5, 1), ("oak-node", 0, 999, 1), ("room", 0, 999, 1)];
    let (_, each, all) = story(&Core::new(shelf), &words, 200);
    assert_eq!((each.len(), all), (2, Verdict::Well));
    assert!(each.iter().all(|(name, verdict)| name != "switch" && *verdict == Verdict::Well), "{each:?}");
}

/// Two are enough to stop together, one is not; and one that was silent long before is a matter of its own.
#[test]
fn what_stops_together_is_told_as_one() {
    let mut one = shelf_of(&["oak"]);
    one.nests[0].room = None;
    let (_, each, all) = story(&Core::new(one), &[("oak-node", 0, 30, 1)], 60);
    assert_eq!((of(&each, "oak-node"), all), (Verdict::Ill, Verdict::Well));
    let (_, each, all) = story(&Core::new(shelf_of(&["oak"])), &[("oak-node", 0, 30, 1), ("room", 0, 30, 1)], 60);
    assert_eq!((of(&each, "oak-node"), all), (Verdict::Between, Verdict::Ill));
    let words = [("elm-node", 0, 30, 1), ("oak-node", 0, 90, 1), ("room", 0, 91, 1)];
    let (_, each, all) = story(&Core::new(shelf_of(&["oak", "elm"])), &words, 120);
    assert_eq!((of(&each, "elm-node"), of(&each, "oak-node"), all), (Verdict::Ill, Verdict::Between, Verdict::Ill));
}

#[test]
fn nobody_was_silent_for_the_hours_by_which_a_clock_was_put_forward() {
    let core = Core::new(shelf_of(&["oak", "elm"]));
    let words = [("oak-node", 0, 30, 1), ("elm-node", 0, 22, 1), ("room", 0, 30, 1)];
    let (mut nodes, before, _) = story(&core, &words, 30);
    nodes.shift(Span::from_h(3), at(30 + 180));
    assert_eq!(verdicts(&nodes, 30 + 180).1, before);
    assert_eq!(of(&verdicts(&nodes, 22 + 180 + 11).1, "elm-node"), Verdict::Ill);
    // Put back by a day: nobody waits for tomorrow.
    let (mut nodes, ..) = story(&core, &words, 30);
    nodes.shift(Span::ZERO, at(-24 * 60));
    assert!(verdicts(&nodes, -24 * 60 + 11).1.iter().any(|(_, verdict)| *verdict != Verdict::Well));
}

#[test]
fn a_source_speaks_for_two_of_its_usual_times_and_a_minute_at_least() {
    let core = Core::new(shelf_of(&["oak"]));
    let (nodes, ..) = story(&core, &[("oak-node", 0, 30, 3)], 30);
    let [probe, room] = ["oak-node:warm", "room:air"].map(|name| core.source(name).unwrap());
    assert!(nodes.speaks(probe, at(36)) && !nodes.speaks(probe, at(37)));
    assert!(!nodes.speaks(room, at(30)) && !nodes.speaks(SourceId(99), at(30)));
    // One word, and no usual time yet.
    let (nodes, ..) = story(&core, &[("oak-node", 30, 30, 1)], 30);
    assert!(nodes.speaks(probe, at(31)) && !nodes.speaks(probe, at(32)));
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
    // Two of its usual times are no silence; one that never spoke beside one that does is.
    assert!(nodes.is_alone(ids[1], Some(at(26))) && !nodes.is_alone(ids[1], Some(at(27))));
    assert!(nodes.is_alone(ids[1], None));
}

#[test]
fn a_node_serves_a_nest_where_it_is_only_one() {
    let (nodes, ids) = nodes();
    let nests: Vec<_> = ids.iter().map(|id| nodes.of(*id).unwrap()).map(|n| (n.name.as_str(), n.nest)).collect();
    assert!(nests.contains(&("oak-node", Some(0))) && nests.contains(&("elm-node", Some(1))));
    assert!(nests.contains(&("room", None)));
}
