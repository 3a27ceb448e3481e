//! Everything that evidence can say, each in every way it is said.
use super::words;
use enclosure::evidence::{Ahead, Aside, Eyes, Moisture, Pad, Place, Warmth};
use enclosure::trust::Fault;
use enclosure::{Alarm, Saying, Span};

/// Of every saying all the ways. Names are "oak"; what was worded elsewhere is "×".
pub(crate) fn every() -> Vec<Saying> {
    let mut all = vec![Saying::Told("×".to_owned())];
    all.extend(warmth().into_iter().map(Saying::from));
    all.extend(ahead().into_iter().map(Saying::from));
    all.extend(pad().into_iter().map(Saying::from));
    all.extend(eyes().into_iter().map(Saying::from));
    all.extend(moisture().into_iter().map(Saying::from));
    all.extend(aside().into_iter().map(Saying::from));
    all
}

/// What alarm number `i` of all says in the language that holds here: some of [`every`], and all of it by all alarms.
pub(crate) fn said(i: usize) -> String {
    words(&every().into_iter().skip(i).step_by(Alarm::ALL.len()).collect())
}

fn either<T>(make: impl Fn(Option<Span>) -> T) -> [T; 2] {
    [make(Some(Span::from_min(195))), make(None)]
}

fn warmth() -> Vec<Warmth> {
    let mut all = Vec::new();
    for (hot, mean_c, bound_c) in [(true, 31.34, 31.0), (false, 23.1, 24.0), (true, 30.46, 31.0), (false, 24.6, 24.0)] {
        all.push(Warmth::BroodMean { hot, mean_c, off_k: 0.44, bound_c });
    }
    all.push(Warmth::BroodProbeHot { probe_c: 36.0, limit_c: 35.0 });
    all.extend([36.3, 34.5].map(|hottest_c| Warmth::BroodLimit { hottest_c, off_k: 0.8, limit_c: 35.0 }));
    all.push(Warmth::ProbeHot { probe_c: 41.1, limit_c: 40.0 });
    for (from_c, to_c) in [(21.4, 14.0), (21.4, 29.0)] {
        all.push(Warmth::RoomMoved { from_c, to_c, within: Span::from_min(40) });
    }
    all.extend(either(|lasts| Warmth::Apart { apart_k: 0.7, heat: 0.45, lasts }));
    all.extend(either(|lasts| Warmth::AtRest { nest_c: 13.2, band_c: Some((2.0, 10.0)), lasts }));
    all.push(Warmth::AtRest { nest_c: -1.5, band_c: None, lasts: Some(Span::from_h(50)) });
    all
}

fn ahead() -> Vec<Ahead> {
    let leaving = |hot, bound_c, about, from, to: Option<i64>| Ahead::Leaving {
        hot,
        bound_c,
        about: Span::from_min(about),
        from: Span::from_min(from),
        to: to.map(Span::from_min),
        extreme_c: if hot { 32.6 } else { 21.4 },
        off_k: 1.3,
        probability: 0.84,
    };
    vec![
        leaving(true, 31.0, 180, 60, Some(260)),
        leaving(false, 24.0, 90, 90, Some(95)),
        leaving(true, 31.0, 260, 20, None),
        Ahead::RoomByThen { room_c: 21.3, off_k: 0.3 },
        Ahead::Staying { bound_c: 31.0 },
    ]
}

fn pad() -> Vec<Pad> {
    let lasts = Span::from_min(9);
    vec![
        Pad::HeatsUntold { told: Some(0.0), lasts, nats: 9.5 },
        Pad::HeatsUntold { told: None, lasts, nats: 20.0 },
        Pad::HeatMissing { told: Some(0.62), lasts, nats: 20.0 },
        Pad::HeatMissing { told: None, lasts, nats: 9.5 },
        Pad::NeverLetsGo { lasts, now_c: 37.1, warmest_c: 32.9 },
        Pad::NeverComesOn { lasts, now_c: 19.4, coolest_c: 22.8 },
        Pad::Stopped { lasts },
        Pad::OutOfHours { lasts },
        Pad::HeatsAsTold,
    ]
}

fn eyes() -> Vec<Eyes> {
    let mut all = vec![Eyes::ProbeSilent { last: Some((Span::from_min(11), 20.1)) }, Eyes::ProbeSilent { last: None }];
    all.push(Eyes::ProbeHeard { probe_c: 22.4 });
    all.extend([Fault::Frozen, Fault::FallenOff, Fault::Jumping, Fault::Astray].map(Eyes::ProbeDoubted));
    all.push(Eyes::ProbeFits);
    all.extend(either(|last| Eyes::Unseen { last }));
    all.extend([Eyes::SeenAgain, Eyes::AllSilent, Eyes::NodesHeard]);
    all.extend(either(|last| Eyes::NodeSilent { last }));
    all.push(Eyes::NodeHeard);
    for why in [Some("×".to_owned()), None] {
        all.push(Eyes::Unwatched { lasts: Span::from_min(91), why });
    }
    for below_c in [None, Some(24.0)] {
        all.push(Eyes::Meanwhile { nest: "oak".to_owned(), before_c: 27.0, after_c: 22.5, below_c });
    }
    all.push(Eyes::WatchedAgain);
    all
}

fn moisture() -> Vec<Moisture> {
    let mut all = Vec::new();
    for place in [Place::Brood, Place::DampestProbe, Place::DriestProbe] {
        all.extend(either(|lasts| Moisture::Humidity { place, rh_pct: 81.0, wanted_pct: (45.0, 75.0), lasts }));
    }
    for sheet in [false, true] {
        all.extend(either(|lasts| Moisture::Dew { dew_c: 21.1, surface_c: 21.2, at_mm: 208.0, sheet, lasts }));
    }
    all.extend([Moisture::WaterUntold, Moisture::Water { share: 0.97 }]);
    let lasts = Span::from_h(24);
    for (fallen, tell) in [(2, 3), (1, 1)] {
        all.push(Moisture::WaterLow { share: 0.32, strays_to: 0.59, lasts, fallen, tell });
    }
    all.extend([36.0, 50.0, 96.0].map(|hours| Moisture::WaterLeft { hours }));
    all.push(Moisture::RoomHumidityAssumed);
    all
}

fn aside() -> Vec<Aside> {
    let standing = || vec![(Alarm::BroodCold, 3), (Alarm::ProbeSilent, 7)];
    vec![
        Aside::InSeason,
        Aside::Chatters { times: 3 },
        Aside::Flood { came: 11, standing: standing() },
        Aside::FloodOver { held: 2, standing: standing() },
        Aside::WorseBy(Alarm::BroodLimit),
    ]
}
