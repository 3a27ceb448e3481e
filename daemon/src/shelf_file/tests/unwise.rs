//! What is legal and unwise.
use super::*;

#[test]
fn a_reason_lets_a_high_limit_pass_with_a_caution() {
    let more = "[nest.band]\nlow_c = 30\nhigh_c = 36\nlimit_c = 42\nwhy = \"desert species, measured by us\"\n";
    let (file, advice) = good(&format!("{LEAST}{more}"), &[]);
    assert!((file.shelf.nests[0].band.expect("set").hot_c - 47.0).abs() < 1e-12, "limit + 5");
    let cautions =
        advice.iter().filter(|a| a.key.starts_with("nest[0].band") && a.remedy.contains("authority")).count();
    assert_eq!(cautions, 2, "{advice:#?}");
}

#[test]
fn what_is_unwise_is_said_with_its_reason() {
    let band = "[nest.band]\nlow_c = 24\nhigh_c = 29\nlimit_c = 34\n";
    let pad =
        |to: f64, watts: f64, more: &str| format!("[nest.pad]\nfrom_mm = 0\nto_mm = {to}\nwatts = {watts}\n{more}");
    for (more, key, words) in [
        (String::new(), "nest[0].pad", "heater-stuck-on"),
        (String::new(), "nest[0].brood", "brood-cold"),
        (String::new(), "nest[0].band", "guard of 40 °C"),
        (String::new(), "nest[0].room", "inferred"),
        (String::new(), "nest[0].material", "hardwood"),
        (String::new(), "nest[0].probe", "only one"),
        (String::new(), "shelf.where", "where to run"),
        (String::new(), "notice", "nobody is woken"),
        (pad(80.0, 8.1, ""), "nest[0].pad.watts", "1012 W/m² (100 mm of width assumed)"),
        (pad(80.0, 7.0, ""), "nest[0].pad.plug", "which plug"),
        (pad(80.0, 7.0, ""), "nest[0].pad.cutoff", "not known"),
        (pad(80.0, 7.0, "cutoff = false\n"), "nest[0].pad.cutoff", "no thermal cut-off"),
        (pad(80.0, 7.0, "thermostat_c = 30\n") + band, "nest[0].pad.thermostat_c", "above high_c"),
        (pad(200.0, 7.0, "") + band, "nest[0].pad", "83 % of the nest"),
        (
            pad(160.0, 40.0, "") + "[nest.brood]\nfrom_mm = 230\nto_mm = 240\n",
            "nest[0].brood",
            "70 mm from the nearest",
        ),
        ("[nest.brood]\nfrom_mm = 90\nto_mm = 99\n".to_owned(), "nest[0].brood", "an estimate alone"),
        (pad(9.0, 1.0, "").replace("from_mm = 0", "from_mm = 5") + band, "nest[0].pad", "neither drive nor"),
        (
            "[[notice]]\nway = \"mail\"\nserver = \"smtps://h:465\"\nfrom = \"a@b.c\"\nto = [\"x@y.z\"]\n".to_owned(),
            "notice",
            "mail alone carries danger",
        ),
        (
            "[web]\npassword_file = \"p\"\nreading = \"open\"\n".to_owned(),
            "web.reading",
            "anyone who reaches the pages can look",
        ),
        ("[web]\nurl = \"https://shelf.example\"\n".to_owned(), "web.url", "something must stand between"),
        ("[influx]\nurl = \"http://h\"\norg = \"o\"\nbucket = \"b\"\n".to_owned(), "influx.token_file", "token"),
        ("[[mapping]]\ntopic = \"a/+\"\nunit = \"Cel\"\nsource = \"r:a\"\n".to_owned(), "mapping[0].topic", "mixed"),
        (
            "[[mapping]]\ntopic = \"a\"\nunit = \"Cel\"\nsource = \"r:a\"\n".to_owned(),
            "mapping[0].source",
            "no nest lists",
        ),
    ] {
        let (_, advice) = good(&format!("{LEAST}{more}"), &[]);
        let found = advice.iter().any(|a| a.key == key && a.why.contains(words) && !a.remedy.is_empty());
        assert!(found, "{key}: {words} wanted in {advice:#?}");
    }
}

#[test]
fn no_refuge_is_seen_by_a_strong_mat_under_a_short_nest() {
    let metal = "material = { conductivity_w_mk = 230, density_kg_m3 = 2700, heat_capacity_j_kgk = 880 }\n";
    let head = LEAST.replace("length_mm = 240\n", &format!("length_mm = 240\n{metal}"));
    let rest = "[nest.pad]\nfrom_mm = 0\nto_mm = 120\nwatts = 10\n[nest.band]\nlow_c = 24\nhigh_c = 29\nlimit_c = 34\n";
    let said = |text: &str| good(text, &[]).1.iter().any(|a| a.why.contains("no place may stay below"));
    assert!(said(&format!("{head}{rest}")), "heat reaches everywhere in metal");
    assert!(!said(&format!("{LEAST}{rest}")), "wood's far end stays cool");
}

#[test]
fn the_slow_alarms_have_their_delays_and_what_is_unwise_about_them_is_said() {
    let text = format!(
        "{LEAST}[nest.humidity]\nlow_pct = 80\nhigh_pct = 85\n[[nest.season]]\nfrom = \"11-01\"\nto = \"03-01\"\nkind = \"rest\"\n\
         [alarm]\nunwatched_after_min = 45\nflat_span_k = 6\nwater_on_delay_min = 60\nhumidity_on_delay_min = 90\n"
    );
    let (file, advice) = good(&text, &[]);
    let a = &file.shelf.alarms;
    assert_eq!((a.unwatched_after, a.water_on_delay), (Span::from_min(45), Span::from_h(1)));
    assert_eq!((a.humidity_on_delay, a.flat_on_delay), (Span::from_min(90), Span::from_h(6)));
    let said = format!("{advice:?}");
    for words in [
        "narrower than what a cheap probe may be off",
        "where mould begins to grow",
        "raised for frost only",
        "has a refuge",
        "may stick on unseen for 45 min",
        "looks dry for some hours",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
}
