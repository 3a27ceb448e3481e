use super::*;
use std::vec;

const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);

fn minute(m: i64) -> Timestamp {
    BEGIN.plus(Span::from_min(m))
}

/// A probe that has said so for an hour.
fn settled(c: f64, rh_pct: f64) -> Hygrometer {
    let mut h = Hygrometer::default();
    for m in 0..=60 {
        h.hear_humidity(minute(m), rh_pct);
        h.hear_temperature(minute(m), c);
    }
    h
}

/// Probes at these places, so warm and so damp for an hour; and the room.
fn nest(places: &[(f64, f64, f64)], room: Option<(f64, f64)>) -> Between {
    let v = Vapour {
        places: places.iter().map(|(_, c, rh)| settled(*c, *rh)).collect(),
        room: room.map_or_else(Hygrometer::default, |(c, rh)| settled(c, rh)),
    };
    v.between(places.iter().map(|(x, ..)| Some(*x)), minute(60)).unwrap()
}

/// At rest what the water gives is what the room takes: g (e_sat − e) = k (e − e_room).
#[test]
fn the_balance_conserves_vapour_and_gives_back_its_strength() {
    for ratio in [0.1, 0.4, 1.0, 3.0, 9.0] {
        for (water_c, room_c, room_rh) in [(20.0, 21.0, 30.0), (24.0, 18.0, 70.0), (30.0, 28.0, 45.0)] {
            let (room, saturation) = (vapour_pa(room_c, room_rh), saturation_pa(water_c));
            let e = (ratio * saturation + room) / (ratio + 1.0);
            assert!((ratio * (saturation - e) - (e - room)).abs() < 1e-9 * saturation);
            let told = ln_strength(share(e, room, saturation).unwrap());
            assert!((told - f64::ln(ratio)).abs() < 1e-9, "{told} for {ratio}, whatever the weather");
        }
    }
}

#[test]
fn where_the_room_is_as_damp_as_can_be_no_share_is_told() {
    assert_eq!(share(2000.0, 2300.0, 2339.0), None);
    assert_eq!(share(500.0, 1000.0, 2339.0), Some(0.02), "drier than the room: a probe's error");
    assert_eq!(share(5000.0, 1000.0, 2339.0), Some(0.98));
}

/// Saturated salts keep a closed box at a known humidity: Greenspan 1977, J. Res. NBS 81A, Table 2 (NaCl, MgCl2, K2SO4).
#[test]
fn a_box_with_a_salt_is_as_damp_as_the_salt_says_at_its_own_warmth() {
    for (c, rh) in [(20.0, 75.47), (25.0, 75.29), (30.0, 75.09), (25.0, 32.78), (25.0, 97.30)] {
        let (told, _) = nest(&[(50.0, c, rh), (150.0, c, rh)], None).rh_pct(100.0, c, 0.0);
        assert!((told - rh).abs() < 0.01, "{told} for {rh}");
    }
}

/// Equal vapour at another warmth, by the ASHRAE formula (Handbook Fundamentals 2017 ch. 1 eq. 6, by PsychroLib 2.5).
#[test]
fn along_one_nest_the_same_vapour_is_drier_where_it_is_warmer() {
    let b = nest(&[(50.0, 22.0, 50.0)], None);
    for (c, want) in [(26.0, 39.3198), (28.0, 34.9631)] {
        let (rh, _) = b.rh_pct(50.0, c, 0.0);
        assert!((rh - want).abs() < 0.01, "{rh} for {want}");
    }
    let mut last = f64::INFINITY;
    for tenth in 150..400 {
        let (rh, sd) = b.rh_pct(50.0, f64::from(tenth) / 10.0, 0.3);
        assert!((0.0..=100.0).contains(&rh) && rh <= last && sd > 0.0);
        last = rh;
    }
}

#[test]
fn between_probes_vapour_lies_between_and_grows_uncertain_away_from_them() {
    let b = nest(&[(10.0, 30.0, 30.0), (230.0, 20.0, 70.0)], Some((20.0, 45.0)));
    let (low, high) = (vapour_pa(30.0, 30.0), vapour_pa(20.0, 70.0));
    for x in [0.0, 10.0, 60.0, 120.0, 180.0, 230.0, 240.0] {
        let (e, sd) = b.vapour_pa(x);
        assert!(e > low && e < high && sd > 10.0, "{x}: {e} of {low} to {high}");
    }
    assert!(b.vapour_pa(120.0).1 > b.vapour_pa(230.0).1, "the middle is less certain than a probe's place");
    let turned = nest(&[(230.0, 20.0, 70.0), (10.0, 30.0, 30.0)], Some((20.0, 45.0)));
    assert!((b.vapour_pa(90.0).0 - turned.vapour_pa(90.0).0).abs() < 1e-6, "whoever is named first");
}

#[test]
fn two_probes_at_one_place_are_surer_than_one() {
    let one = nest(&[(50.0, 22.0, 60.0)], None).vapour_pa(50.0).1;
    let two = nest(&[(50.0, 22.0, 60.0), (50.0, 22.0, 60.0)], None).vapour_pa(50.0).1;
    assert!(two < 0.75 * one, "{two} of {one}: independent errors shrink by √2");
}

#[test]
fn humidity_and_warmth_pair_in_either_order_and_never_across_time() {
    let mut h = Hygrometer::default();
    h.hear_temperature(minute(0), 22.0);
    h.hear_humidity(minute(0), 50.0);
    assert_eq!(h.at(minute(1)).map(|d| d.vapour_pa), Some(vapour_pa(22.0, 50.0)));
    let mut late = Hygrometer::default();
    late.hear_humidity(minute(0), 50.0);
    late.hear_temperature(minute(11), 22.0);
    assert_eq!(late.at(minute(11)), None, "eleven minutes apart");
    assert_eq!(settled(22.0, 50.0).at(minute(91)), None, "half an hour old");
}

#[test]
fn dead_and_wild_words_make_no_vapour() {
    let mut h = settled(22.0, 50.0);
    let before = h.at(minute(60)).unwrap();
    for (m, c, rh) in [(61, 22.0, 0.0), (62, 85.0, 50.0), (63, -40.0, 50.0), (64, 22.0, f64::NAN)] {
        h.hear_humidity(minute(m), rh);
        h.hear_temperature(minute(m), c);
    }
    let after = h.at(minute(64)).unwrap();
    assert!((after.vapour_pa - before.vapour_pa).abs() < 1e-9, "{after:?}");
}

#[test]
fn a_nest_that_truly_warmed_is_taken_in() {
    let mut h = settled(20.0, 60.0);
    for m in 90..100 {
        h.hear_humidity(minute(m), 40.0);
        h.hear_temperature(minute(m), 30.0);
    }
    assert!((h.at(minute(100)).unwrap().vapour_pa - vapour_pa(30.0, 40.0)).abs() < 1.0);
}

#[test]
fn hours_are_whole_and_forgotten_after_the_next() {
    let mut h = Hygrometer::default();
    for m in 0..180 {
        h.hear_humidity(minute(m), if m < 60 { 40.0 } else { 60.0 });
        h.hear_temperature(minute(m), 25.0);
    }
    let first = hour_of(BEGIN);
    assert_eq!(h.hour(first), None);
    for (hour, rh) in [(first + 1, 60.0), (first + 2, 60.0)] {
        let (e, saturation) = h.hour(hour).unwrap();
        assert!((e / saturation - rh / 100.0).abs() < 1e-9);
    }
    assert_eq!(h.hour(first + 3), None);
}

#[test]
fn what_no_probe_tells_is_unknown() {
    assert!(Vapour::new(3).between(vec![Some(1.0); 3].into_iter(), BEGIN).is_none());
    let v = Vapour { places: vec![settled(22.0, 50.0)], room: Hygrometer::default() };
    assert!(v.between(core::iter::once(None), minute(60)).is_none(), "a probe that is not believed");
}
