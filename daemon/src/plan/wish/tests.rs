use super::*;
use enclosure::shelf::Band;

fn text(v: &str) -> Option<String> {
    Some(v.to_owned())
}

/// The least that can be reckoned.
fn least() -> Wish {
    Wish { length: text("200"), pad_from: text("0"), pad_to: text("60"), watts: text("5"), ..Wish::default() }
}

fn listed() -> Nest {
    let mut nest = read(&least(), None, Writer::Command).expect("whole").nest;
    nest.id = "beech".to_owned();
    nest.brood = Some(Stretch { from_mm: 40.0, to_mm: 80.0 });
    nest.band = Some(Band { low_c: 24.0, high_c: 28.0, limit_c: 34.0, hot_c: 39.0 });
    nest.material_limit_c = Some(60.0);
    nest
}

fn complaints(wish: &Wish, nest: Option<&Nest>) -> Vec<String> {
    read(wish, nest, Writer::Command).expect_err("something is wrong")
}

#[test]
fn length_and_mat_are_enough_and_the_rest_is_assumed() {
    let asked = read(&least(), None, Writer::Command).expect("whole");
    assert_eq!((asked.nest.length_mm, asked.nest.pads.len(), asked.listed), (200.0, 1, false));
    assert_eq!(asked.room, Room { usual_c: ROOM_C, swing_k: SWING_K, warm_c: WARM_ROOM_C });
    assert_eq!((asked.limit_c, asked.material_limit_c, asked.held_c), (None, None, None));
    assert_eq!((asked.cover_w_m2k, asked.share), (COVERED_W_M2K, SHARE));
}

#[test]
fn what_is_written_goes_before_the_shelf_file_and_empty_means_not_known() {
    let nest = listed();
    let file = read(&Wish::default(), Some(&nest), Writer::Command).expect("whole");
    assert_eq!((file.limit_c, file.material_limit_c, file.held_c), (Some(34.0), Some(60.0), Some(26.0)));
    let wish = Wish { limit: text("31,5"), material_limit: text(" "), watts: text("2.5"), ..Wish::default() };
    let mixed = read(&wish, Some(&nest), Writer::Command).expect("whole");
    assert_eq!((mixed.limit_c, mixed.material_limit_c, mixed.held_c), (Some(31.5), None, Some(26.0)));
    assert!((mixed.nest.pads[0].rated_w - 2.5).abs() < 1e-12 && mixed.nest.pads[0].span == nest.pads[0].span);
}

#[test]
fn a_thermostat_of_the_file_holds_unless_something_else_is_to_be_held() {
    let mut nest = listed();
    nest.pads[0].thermostat_c = Some(29.0);
    let held = |hold: Option<String>| {
        read(&Wish { hold, ..Wish::default() }, Some(&nest), Writer::Command).expect("whole").nest.pads[0].thermostat_c
    };
    assert_eq!((held(None), held(text("")), held(text("27"))), (Some(29.0), Some(29.0), None));
}

#[test]
fn every_complaint_says_what_why_and_what_to_do() {
    let with = |set: fn(&mut Wish)| {
        let mut wish = least();
        set(&mut wish);
        complaints(&wish, None)
    };
    for (said, words) in [
        (with(|w| w.length = text("")), "its length is not known: measure it"),
        (with(|w| w.length = text("two")), "reading --length: “two” is no number: write one"),
        (with(|w| w.watts = text("NaN")), "reading --watts: NaN is not between 0.01 and 1000: write one that is"),
        (with(|w| w.watts = text("1e9")), "is not between"),
        (with(|w| w.watts = None), "describing the heating mat: it is not whole"),
        (with(|w| w.pad_to = text("")), "only one of its ends is known: write --pad-from and --pad-to"),
        (with(|w| w.pad_to = text("300")), "300 mm lies beyond the nest's end, 200 mm: measure from the zero end"),
        (with(|w| w.pad_from = text("60")), "not beyond its beginning, 60 mm: swap or correct them"),
        (with(|w| w.brood_from = text("10")), "placing the brood: only one of its ends is known"),
        (with(|w| w.material = text("cheese")), "“cheese” is not known: write one of oak, beech"),
        (with(|w| w.cover = text("hat")), "write one of open, glass, acrylic, lid"),
        (with(|w| w.place = text("above")), "write one of under, beside, lid, inside"),
        (with(|w| w.warm_room = text("15")), "15 is cooler than the room, 21: write its warmest"),
        (with(|w| w.covered = text("9")), "reading --covered: 9 is not between 0.5 and 3"),
    ] {
        assert!(said.len() == 1 && said[0].contains(words), "{words}: {said:?}");
    }
    let many = complaints(&Wish { limit: text("x"), room: text("y"), ..least() }, None);
    assert_eq!(many.len(), 2, "all at once: {many:?}");
}

#[test]
fn several_mats_are_changed_in_the_file_only() {
    let mut nest = listed();
    nest.pads.push(nest.pads[0].clone());
    assert_eq!(read(&Wish::default(), Some(&nest), Writer::Command).expect("whole").nest.pads.len(), 2);
    let said = complaints(&Wish { watts: text("3"), ..Wish::default() }, Some(&nest));
    assert!(said[0].contains("gives this nest 2 of them"), "{said:?}");
}

#[test]
fn a_hostile_text_is_cut_short_and_steers_nothing() {
    let said = complaints(&Wish { length: Some("\u{1b}[31m".repeat(1000)), ..least() }, None);
    assert!(said[0].chars().count() < 140 && !said[0].chars().any(char::is_control), "{said:?}");
}
