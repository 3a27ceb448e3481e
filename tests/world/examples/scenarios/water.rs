//! Water that runs out, under harder conditions; and water that does not, though much looks like it.
use crate::list::{AAC, ACRYLIC, CLAY, CORK, OAK, PINE, PLASTER, Scenario, duty, held, story};
use world::{Control, EventKind, FaultKind, ProbeSpec, Report};

/// Every story of water.
pub(crate) fn all() -> Vec<Scenario> {
    let heated = |name: &str, days, nest, places: &[f64]| held(name, days, nest, (0.0, 80.0, 4.5), places, 29.0);
    let dries = |s: Scenario, hours: f64| s.nest(|n| n.dry_tau_s = hours * 3600.0).fault(FaultKind::WaterDry, 5.0);
    let mut dry_room = duty("water-dry-aac-dry-room", AAC, (0.0, 100.0, 4.5), &[12.0, 248.0], 0.45);
    dry_room.spec.room.rh_pct = 28.0;
    let timer = story("water-dry-acrylic-timer", 9, ACRYLIC, (0.0, 70.0, 1.6), &[10.0, 60.0, 190.0])
        .nest(|n| n.control = Control::Timer(vec![(6.0, 12.0), (14.0, 23.0)]))
        .report(Report::OnOff);
    let one = |i: usize, p: &mut ProbeSpec| p.humidity = i == 2;
    let rough = |i: usize, p: &mut ProbeSpec| {
        p.loss = 0.06;
        p.bias_k = [0.5, -0.4, 0.4][i.min(2)];
    };
    let spell = |s: Scenario| s.event(EventKind::Dry(0.45), 4.0, 72.0);
    let mut unmeasured = spell(heated("damp-spell-pine-unmeasured", 9, PINE, &[8.0, 70.0, 210.0]));
    unmeasured.spec.room.probe.iter_mut().for_each(|p| p.humidity = false);
    let mut refilled = heated("damp-refills-pine", 12, PINE, &[8.0, 70.0, 210.0]);
    let mut opened = heated("damp-lids-oak", 10, OAK, &[10.0, 75.0, 230.0]);
    for day in 0..5 {
        let pour = EventKind::Refill { ml: 10.0, water_c: 19.0 };
        refilled = refilled.event(pour, 1.3 + 2.0 * f64::from(day), 0.05);
        opened = opened.event(EventKind::Lid, 4.3 + f64::from(day), 2.0 * f64::from(day));
    }
    vec![
        dries(dry_room, 8.0),
        dries(timer, 8.0),
        dries(heated("water-dry-oak-slow", 14, OAK, &[10.0, 75.0, 230.0]), 96.0),
        dries(heated("water-dry-plaster-slower", 16, PLASTER, &[10.0, 80.0, 230.0]), 168.0),
        dries(heated("water-dry-pine-warm-end", 9, PINE, &[8.0, 70.0, 210.0]).nest(|n| n.water_mm = Some(30.0)), 8.0),
        dries(heated("water-dry-plaster-roomless", 9, PLASTER, &[10.0, 80.0, 230.0]).roomless(), 8.0),
        dries(heated("water-dry-cork-one", 9, CORK, &[10.0, 75.0, 210.0]).probes(one), 8.0),
        dries(heated("water-dry-oak-rough", 9, OAK, &[10.0, 75.0, 230.0]).cadence(300.0).probes(rough), 24.0),
        dries(heated("water-dry-pine-heatwave", 9, PINE, &[8.0, 70.0, 210.0]), 8.0).fault_until(
            FaultKind::Heatwave,
            5.2,
            7.2,
        ),
        dries(heated("water-dry-clay-dead", 9, CLAY, &[10.0, 85.0, 210.0]).fault(FaultKind::PadDead, 4.0), 8.0),
        spell(heated("damp-spell-oak", 9, OAK, &[10.0, 75.0, 230.0])),
        spell(heated("damp-spell-plaster-roomless", 9, PLASTER, &[10.0, 80.0, 230.0]).roomless()),
        unmeasured,
        refilled,
        opened,
        season(),
    ]
}

/// Two months of ordinary life in which nothing dries: lids, refills, dry spells, windows, sun.
fn season() -> Scenario {
    let mut season = held("damp-season-oak", 60, OAK, (0.0, 80.0, 4.5), &[10.0, 75.0, 230.0], 29.0);
    season.spec.room.weather_sd_k = 1.2;
    for week in 0..8_u8 {
        // No two weeks are alike.
        let (k, day) = (f64::from(week), f64::from(week) * 7.0);
        season = season
            .event(EventKind::Lid, day + 2.4, 0.1 + 0.4 * k)
            .event(EventKind::Refill { ml: 12.0, water_c: 18.0 }, day + 3.3 + 0.1 * k, 0.05)
            .event(EventKind::Dry(0.15 + 0.05 * k), day + 4.0, 12.0 + 8.0 * k)
            .event(EventKind::Air { delta_k: -5.0, tau_s: 1200.0 }, day + 5.3, 0.7)
            .event(EventKind::Sun(50.0), day + 6.45, 1.0);
    }
    season
}
