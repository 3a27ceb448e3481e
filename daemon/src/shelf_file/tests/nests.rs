//! What a nest may say of itself, and what is wrong with it.
use super::*;

#[test]
fn nests_say_what_is_wrong_where() {
    let pad = |more: &str| format!("[nest.pad]\nfrom_mm = 0\nto_mm = 80\n{more}");
    let band =
        |low: f64, high: f64, limit: f64| format!("[nest.band]\nlow_c={low:?}\nhigh_c={high:?}\nlimit_c={limit:?}\n");
    for (more, place_and_key, words) in [
        ("[nest.brod]\n", "shelf.toml:7: nest[0].brod", "nearest known is `brood`"),
        (&pad("wats = 7\n"), "shelf.toml:10: nest[0].pad.wats", "nearest known is `watts`"),
        (&pad(""), "shelf.toml:7: nest[0].pad.watts", "is missing"),
        (&pad("watts = -7\n"), "shelf.toml:10: nest[0].pad.watts", "-7 is outside"),
        (&pad("watts = 0\n"), "shelf.toml:10: nest[0].pad.watts", "0 is outside"),
        (&pad("watts = nan\n"), "shelf.toml:10: nest[0].pad.watts", "nan is not a number"),
        (&pad("watts = \"7 W\"\n"), "shelf.toml:10: nest[0].pad.watts", "is a text, but must be a number"),
        (&pad("watts = 7\ndrive = \"pad\"\n"), "shelf.toml:11: nest[0].pad.drive", "names no node"),
        (&pad("watts = 7\ndrive = \"n:warm\"\n"), "shelf.toml:11: nest[0].pad.drive", "is a probe"),
        (&pad("watts = 7\nwhere = \"udner\"\n"), "shelf.toml:11: nest[0].pad.where", "the nearest is \"under\""),
        (&pad("watts = 7\nthermostat_at_mm = 3\n"), "shelf.toml:11: nest[0].pad.thermostat_at_mm", "add thermostat_c"),
        (&pad("shared = \"x\"\n"), "shelf.toml:10: nest[0].pad.shared", "no heating mat has the id \"x\""),
        ("[[nest.pad]]\nfrom_mm = 9\nto_mm = 9\nwatts = 1\n", "shelf.toml:9: nest[0].pad[0].to_mm", "9 is not above"),
        ("[nest.brood]\nfrom_mm = 50\nto_mm = 250\n", "shelf.toml:9: nest[0].brood.to_mm", "beyond the nest's end"),
        (
            "[nest.brood]\nfrom_mm = 90\nto_mm = 50\n",
            "shelf.toml:9: nest[0].brood.to_mm",
            "50 is not above from_mm, 90",
        ),
        (&band(31.0, 24.0, 35.0), "shelf.toml:9: nest[0].band.high_c", "24 is not above low_c, 31"),
        (&band(24.0, 31.0, 31.0), "shelf.toml:10: nest[0].band.limit_c", "31 is not above high_c, 31"),
        (&band(24.0, 31.0, 40.5), "shelf.toml:10: nest[0].band.limit_c", "why = "),
        (&(band(24.0, 31.0, 35.0) + "hot_c = 34\n"), "shelf.toml:11: nest[0].band.hot_c", "below limit_c"),
        ("[nest.humidity]\nlow_pct = 60\nhigh_pct = 50\n", "shelf.toml:9: nest[0].humidity.high_pct", "not above"),
        ("[[nest.probe]]\nsource = \"n:cool\"\nat_mm = 241\n", "shelf.toml:9: nest[0].probe[1].at_mm", "beyond"),
        ("[[nest.probe]]\nsource = \"n:warm\"\nat_mm = 24\n", "shelf.toml:8: nest[0].probe[1].source", "probe[0] too"),
        ("[[nest.probe]]\nsource = \"n\"\nat_mm = 24\n", "shelf.toml:8: nest[0].probe[1].source", "names no node"),
        ("[nest.room]\nsource = \"n:warm\"\n", "shelf.toml:8: nest[0].room.source", "cannot read the room"),
        ("[nest.room]\n", "shelf.toml:7: nest[0].room.source", "is missing"),
        ("[[nest.season]]\nfrom = \"11-31\"\nto = \"03-01\"\n", "shelf.toml:8: nest[0].season[0].from", "no day"),
        ("[[nest.season]]\nfrom = \"11-01\"\n", "shelf.toml:7: nest[0].season[0].to", "is missing"),
        (
            "[[nest.season]]\nfrom = \"11-01\"\nto = \"03-01\"\n[[nest.season]]\nfrom = \"02-28\"\nto = \"05-01\"\n",
            "shelf.toml:10: nest[0].season[1]",
            "overlaps season[0]",
        ),
        (
            "[[nest.season]]\nfrom = \"11-01\"\nto = \"03-01\"\nkind = \"sleep\"\n",
            "shelf.toml:10: nest[0].season[0].kind",
            "none of active, rest, empty",
        ),
        ("[[nest]]\nid = \"b\"\nlength_mm = 50\n", "shelf.toml:7: nest[1].probe", "there is none"),
        ("[nest.brood]\nfrom_mm = 0\nto_mm = 99999999999999999999\n", "shelf.toml:9: nest[0].brood.to_mm", "outside"),
    ] {
        check_after(more, place_and_key, words);
    }
}

#[test]
fn a_nest_may_have_a_threshold_of_its_own_for_degree_days() {
    let (file, _) = good(&LEAST.replace("length_mm = 240\n", "length_mm = 240\ndegree_days_above_c = 11.5\n"), &[]);
    assert_eq!(file.shelf.nests[0].degree_days_above_c, Some(11.5));
    assert_eq!(good(LEAST, &[]).0.shelf.nests[0].degree_days_above_c, None);
}

#[test]
fn a_nests_own_keys_say_what_is_wrong_where() {
    let nest = |keys: &str| format!("[[nest]]\n{keys}[[nest.probe]]\nsource = \"n:warm\"\nat_mm = 10\n");
    for (keys, place_and_key, words) in [
        ("length_mm = 240\n", "shelf.toml:1: nest[0].id", "is missing"),
        ("id = \"Oak\"\nlength_mm = 240\n", "shelf.toml:2: nest[0].id", "no identifier"),
        ("id = \"oak\"\nlength_mm = 19\n", "shelf.toml:3: nest[0].length_mm", "outside 20 to 5000"),
        ("id = \"oak\"\nlenght_mm = 240\n", "shelf.toml:3: nest[0].lenght_mm", "nearest known is `length_mm`"),
        ("id = \"oak\"\nlength_mm = 240\nmaterial = \"oka\"\n", "shelf.toml:4: nest[0].material", "nearest is \"oak\""),
        (
            "id = \"oak\"\nlength_mm = 240\nmaterial = { conductivity_w_mk = 1, density_kg_m3 = 9 }\n",
            "shelf.toml:4: nest[0].material.heat_capacity_j_kgk",
            "is missing",
        ),
        ("id = \"oak\"\nlength_mm = 240\njoined_to = \"elm\"\n", "shelf.toml:4: nest[0].joined_to", "no nest has"),
        ("id = \"oak\"\nlength_mm = 240\njoined_to = \"oak\"\n", "shelf.toml:4: nest[0].joined_to", "the nest itself"),
        ("id = \"oak\"\nlength_mm = 240\nsince = \"May\"\n", "shelf.toml:4: nest[0].since", "no moment"),
        (
            "id = \"oak\"\nlength_mm = 240\ndegree_days_above_c = 61\n",
            "shelf.toml:4: nest[0].degree_days_above_c",
            "outside -20 to 60",
        ),
        ("id = \"oak\"\nlength_mm = 240\nlength_mm = 24\n", "shelf.toml:4", "not TOML"),
        ("id = \"oak\nlength_mm = 240\n", "shelf.toml:2", "not TOML"),
    ] {
        let text = nest(keys);
        let first = errors(&text, &[]);
        assert!(!first.is_empty() && first[0].contains(words), "{first:?} should say {words}");
        assert!(first[0].starts_with(place_and_key), "{first:?} should be at {place_and_key}");
        assert!(first.len() == 1 || words == "not TOML", "{first:#?}");
    }
    check_wrong("nest = 3\n", "shelf.toml:1: nest", "must be sections");
    check_wrong("[nest]\nid = \"oak\"\n", "shelf.toml:1: nest", "each under [[name]]");
}

/// Two mats are the likeliest second thing of a nest, and the first is written with single brackets in most files.
#[test]
fn a_second_mat_in_single_brackets_is_told_how_several_are_written() {
    let mat = |brackets: &str, at: u32| {
        let (open, close) = brackets.split_at(brackets.len() / 2);
        format!("{open}nest.pad{close}  # a mat\nfrom_mm = {at}\nto_mm = {}\nwatts = 5\n", at + 40)
    };
    let before = LEAST.lines().count();
    for (first, second) in [("[]", "[]"), ("[]", "[[]]"), ("[[]]", "[]")] {
        let told = errors(&format!("{LEAST}{}{}", mat(first, 0), mat(second, 60)), &[]);
        assert_eq!(told.len(), 1, "{told:#?}");
        let wanted = format!("shelf.toml:{}: there is more than one [nest.pad]", before + 5);
        assert!(told[0].starts_with(&wanted) && told[0].contains("[[nest.pad]], the first as well"), "{told:?}");
    }
    good(&format!("{LEAST}{}{}", mat("[[]]", 0), mat("[[]]", 60)), &[]);
    // What may stand once only, and what follows it, is told as it was.
    let told = errors("[web]\nlisten = \"127.0.0.1:0\"\n[web]\n[broker]\nurl = \"a\"\nurl = \"b\"\n", &[]);
    assert_eq!(told.iter().filter(|t| t.contains("not TOML: duplicate key")).count(), 2, "{told:#?}");
}

#[test]
fn a_shared_mat_has_the_owners_drive_and_watts_by_the_millimetre() {
    let pad = "[nest.pad]\nid = \"p\"\nfrom_mm = 0\nto_mm = 80\nwatts = 8\ndrive = \"n:pad\"\n";
    let second = "[[nest]]\nid = \"b\"\nlength_mm = 90\n[[nest.probe]]\nsource = \"b:t\"\nat_mm = 9\n\
                  [nest.pad]\nshared = \"p\"\nfrom_mm = 10\nto_mm = 30\nwhere = \"beside\"\n";
    let (file, _) = good(&format!("{LEAST}{pad}{second}"), &[]);
    let shared = &file.shelf.nests[1].pads[0];
    assert_eq!((shared.id.as_deref(), shared.drive.as_deref()), (Some("p"), Some("n:pad")));
    assert_eq!((shared.span.from_mm, shared.span.to_mm, shared.place), (10.0, 30.0, PadPlace::Beside));
    assert!((shared.rated_w - 8.0 * 20.0 / 80.0).abs() < 1e-12);
    check_after(&format!("{pad}{second}drive = \"b:pad\"\n"), "shelf.toml:24: nest[1].pad.drive", "is shared");
}

#[test]
fn a_mat_on_leave_needs_a_node_and_a_probe_that_nobody_can_feign_and_signed_packs_without_users() {
    let pad = "[nest.pad]\nfrom_mm = 0\nto_mm = 80\nwatts = 5\n";
    let users = "[broker]\nembedded = \"127.0.0.1:1883\"\nusers_file = \"users\"\n";
    let leave = "drive = \"n:pad\"\npermit_key_file = \"n.key\"\npermit_duty = 0.5\n";
    let (file, _) = good(&format!("{LEAST}{pad}{leave}{users}"), &[]);
    let permit = &file.permits[0];
    assert_eq!((permit.nest, permit.node.as_str(), file.permits.len()), (0, "n", 1));
    assert!((permit.duty - 0.5).abs() < 1e-12 && permit.key_file.ends_with("n.key"));
    let key_at = "shelf.toml:12: nest[0].pad.permit_key_file";
    assert!(!permit.signed);
    let (file, advice) = good(&format!("{LEAST}{pad}{leave}"), &[]);
    assert!(file.permits[0].signed && advice.iter().any(|said| said.why.contains("signed packs")), "{advice:?}");
    check_after(&format!("{pad}permit_key_file = \"n.key\"\n{users}"), &key_at.replace("12", "11"), "needs drive");
    check_after(
        &format!("{pad}permit_duty = 0.5\n{users}"),
        "shelf.toml:11: nest[0].pad.permit_duty",
        "without permit_key_file",
    );
    let source = &good(LEAST, &[]).0.shelf.nests[0].probes[0].source;
    let mapping = format!("[[mapping]]\ntopic = \"t\"\nunit = \"Cel\"\nsource = \"{source}\"\n");
    check_after(&format!("{pad}{leave}{users}{mapping}"), key_at, "feign");
}
