use super::*;
use crate::notices::samples;
use enclosure::{Input, KeeperAct, Measured, Reading, Span, State};

const NOW: Timestamp = Timestamp::from_unix_ms(1_772_366_400_000);

/// A core in which a danger stands, a delay runs, one is silenced and one is out of service.
fn lived() -> Core {
    let mut core = Core::new(samples::shelf().shelf);
    let probes: Vec<String> = core.shelf().nests[0].probes.iter().map(|p| p.source.clone()).collect();
    for min in 0..30 {
        let now = NOW.plus(Span::from_min(min));
        for name in &probes {
            let source = core.source(name).expect("listed");
            let c = if min > 20 { 45.0 } else { 25.0 } + 0.1 * (min % 3) as f64;
            let measured = Measured::Temperature(c);
            let _ = core.step(now, Input::Reading(Reading { source, at: now, measured }));
        }
        let _ = core.step(now, Input::Wake);
    }
    let now = NOW.plus(Span::from_min(30));
    let key = |alarm| AlarmKey { alarm, nest: Some(0), probe: None, node: None };
    let until = now.plus(Span::from_h(100));
    for act in [
        KeeperAct::Acknowledge(key(Alarm::ProbeHot)),
        KeeperAct::TakeOut(key(Alarm::HeaterNoHeat), Some(until)),
        KeeperAct::TakeOut(key(Alarm::GradientFlat), None),
    ] {
        let _ = core.step(now, Input::Keeper(act));
    }
    core
}

#[test]
fn what_is_written_is_read_again() {
    let core = lived();
    let later = NOW.plus(Span::from_min(31));
    let mut anew = Core::new(core.shelf().clone());
    anew.take_back(read(&written(&core), &anew, later).expect("readable"), later);
    let standing = |core: &Core| {
        let shown = core.alarms().filter(|(_, state, ..)| !matches!(state, State::Normal | State::NotJudged));
        shown.map(|(k, s, at, cause)| (k.clone(), s, at, cause)).collect::<Vec<_>>()
    };
    assert!(standing(&core).len() >= 3, "{:?}", standing(&core));
    assert_eq!(standing(&anew), standing(&core));
    assert_eq!(written(&anew), written(&core));
}

#[test]
fn every_life_survives() {
    let (a, b) = (NOW, NOW.plus(Span::from_min(9)));
    let beneath = Beneath { judged: true, ill: true, turning: Some(a), latched: true };
    let whys = [Design::Cause(Alarm::NodeSilent), Design::Season, Design::Chatter, Design::Flood];
    let lives = [
        Life::NotJudged,
        Life::Normal { holding: Some(a) },
        Life::Unacknowledged { since: a, over: Some(b) },
        Life::Acknowledged { since: a, over: None },
        Life::Returned { since: a, holding: None },
        Life::Latched { since: a, acknowledged: false, holding: Some(b) },
        Life::Shelved { until: b, beneath },
        Life::OutOfService { until: None, beneath },
        Life::OutOfService { until: Some(b), beneath },
    ];
    for life in lives.into_iter().chain(whys.map(|why| Life::Suppressed { why, beneath })) {
        let text = serde_json::to_string(&LifeJson::from(life)).expect("texts and numbers");
        let back: LifeJson = serde_json::from_str(&text).expect("its own words");
        assert_eq!(back.life(), Some(life), "{text}");
    }
}

#[test]
fn a_fault_that_stands_survives() {
    let habit = |extreme_c, by_power| HeldBy::Habit { now_c: 31.25, extreme_c, by_power };
    for by in [HeldBy::Heat { nats: 12.5 }, habit(Some(29.5), false), habit(None, false), habit(Some(40.0), true)] {
        let held = Held { pad: 1, on: true, since: NOW, by };
        let text = serde_json::to_string(&HeldJson::from(held)).expect("texts and numbers");
        assert_eq!(serde_json::from_str::<HeldJson>(&text).map(Held::from).ok(), Some(held), "{text}");
    }
}

#[test]
fn a_fact_that_is_damaged_or_of_another_shelf_does_no_harm() {
    let core = lived();
    let text = written(&core);
    let fresh = Core::new(core.shelf().clone());
    for cut in (0..text.len()).step_by(7) {
        assert!(read(&text[..cut], &fresh, NOW).is_none(), "half a text is none");
    }
    for hostile in
        ["null", "[]", r#"{"alarms":[{"alarm":"x","life":{"state":"normal"},"since":0}]}"#, "{\"raised\":[1e99]}"]
    {
        let _ = read(hostile, &fresh, NOW);
    }
    let kept = read(&text.replace("probe-hot", "no-such"), &fresh, NOW).expect("readable");
    assert!(kept.alarms.iter().all(|(k, _)| k.alarm != Alarm::ProbeHot));
}

#[test]
fn a_nest_whose_probe_was_moved_begins_anew_and_the_others_do_not() {
    let core = lived();
    let text = written(&core);
    let mut shelf = core.shelf().clone();
    shelf.nests[0].probes[0].at_mm += 20.0;
    let kept = read(&text, &Core::new(shelf), NOW).expect("readable");
    assert_eq!(kept.nests[0], KeptNest { begins: Some(NOW), ..KeptNest::default() });
    assert_eq!(kept.nests[1].begins, None);
    let same = read(&text, &Core::new(core.shelf().clone()), NOW).expect("readable");
    assert!(same.nests[0].first.is_some());
}

#[test]
fn ends_that_a_clock_ahead_wrote_are_brought_back() {
    let core = lived();
    let earlier = NOW.minus(Span::from_h(24));
    let mut anew = Core::new(core.shelf().clone());
    anew.take_back(read(&written(&core), &anew, earlier).expect("readable"), earlier);
    assert!(anew.alarms().all(|(_, _, since, _)| since <= earlier));
}
