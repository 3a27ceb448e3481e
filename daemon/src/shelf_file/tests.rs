//! Snippets of shelf files and what is said of them.
use super::schema::{self, Kind, Section};
use super::*;
use enclosure::shelf::{AlarmSettings, PadPlace, SeasonKind};
use enclosure::time::Span;
use proptest::prelude::*;
use std::collections::BTreeSet;

const EXAMPLE: &str = include_str!("../../shelf.example.toml");

/// The least that is a shelf; its probe stands in lines 4 to 6.
const LEAST: &str = "[[nest]]\nid = \"oak\"\nlength_mm = 240\n[[nest.probe]]\nsource = \"n:warm\"\nat_mm = 10\n";

fn judged(text: &str, env: &[(&str, &str)]) -> Result<(ShelfFile, Vec<Advice>), ShelfErrors> {
    let env = env.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned()));
    check_text(text, Path::new("/etc/warmend/shelf.toml"), env)
}

fn good(text: &str, env: &[(&str, &str)]) -> (ShelfFile, Vec<Advice>) {
    judged(text, env).unwrap_or_else(|e| panic!("{e}\nin\n{text}"))
}

/// The errors as lines; none if all is well.
fn errors(text: &str, env: &[(&str, &str)]) -> Vec<String> {
    judged(text, env).err().map(|e| e.to_string().lines().map(str::to_owned).collect()).unwrap_or_default()
}

/// Exactly one error: that line and key, and these words in it.
fn check_wrong(text: &str, place_and_key: &str, words: &str) {
    let errors = errors(text, &[]);
    assert_eq!(errors.len(), 1, "one error wanted ({place_and_key}: {words}), got {errors:#?} in\n{text}");
    assert!(errors[0].starts_with(&format!("{place_and_key}: ")), "{} should be at {place_and_key}", errors[0]);
    assert!(errors[0].contains(words), "{} should say {words}", errors[0]);
}

/// `more` stands from line 7 on, after the least shelf.
fn check_after(more: &str, place_and_key: &str, words: &str) {
    check_wrong(&format!("{LEAST}{more}"), place_and_key, words);
}

#[test]
fn the_least_shelf_takes_the_contracts_values() {
    let (file, _) = good(LEAST, &[]);
    assert_eq!(file.broker.way, BrokerWay::Embedded { listen: ([127, 0, 0, 1], 1883).into(), users_file: None });
    assert_eq!(file.broker.prefix, "warmend");
    assert_eq!(file.history.path, Path::new("/etc/warmend/warmend.db"));
    assert_eq!(file.history.commit, Span::from_s(1));
    assert_eq!(file.web.listen, ([127, 0, 0, 1], 7180).into());
    assert_eq!(file.notices.iter().map(|n| &n.way).collect::<Vec<_>>(), [&Way::Log]);
    assert_eq!((file.influx, file.mappings), (None, Vec::new()));
    assert_eq!(file.shelf.alarms, AlarmSettings::default());
    let nest = &file.shelf.nests[0];
    assert_eq!((nest.pads.len(), nest.brood, nest.band), (0, None, None));
}

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
fn an_empty_shelf_is_one_and_is_told_how_to_begin() {
    let (file, advice) = good("", &[]);
    assert!(file.shelf.nests.is_empty());
    assert!(advice.iter().any(|a| a.key == "nest" && a.remedy.contains("its page")), "{advice:#?}");
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

#[test]
fn other_sections_say_what_is_wrong_where() {
    for (more, place_and_key, words) in [
        ("[brokers]\n", "shelf.toml:7: brokers", "nearest known is `broker`"),
        ("[broker]\n", "shelf.toml:7: broker", "neither embedded nor url"),
        ("[broker]\nembedded = \"127.0.0.1:1\"\nurl = \"mqtt://h\"\n", "shelf.toml:9: broker.url", "exactly one"),
        ("[broker]\nembedded = \"0.0.0.0:1883\"\n", "shelf.toml:8: broker.embedded", "users_file is missing"),
        ("[broker]\nembedded = \"1883\"\n", "shelf.toml:8: broker.embedded", "no address"),
        ("[broker]\nurl = \"mqtts://h\"\n", "shelf.toml:8: broker.url", "known: mqtt"),
        ("[broker]\nurl = \"mqtt://a:b@h\"\n", "shelf.toml:8: broker.url", "password"),
        ("[broker]\nurl = \"mqtt://h\"\npassword_file = \"p\"\n", "shelf.toml:9: broker.password_file", "without user"),
        ("[broker]\nurl = \"mqtt://h\"\nusers_file = \"p\"\n", "shelf.toml:9: broker.users_file", "our own broker"),
        ("[broker]\nembedded = \"[::1]:0\"\nuser = \"p\"\n", "shelf.toml:9: broker.user", "for a broker elsewhere"),
        ("[broker]\nurl = \"mqtt://h\"\nprefix = \"a/#\"\n", "shelf.toml:9: broker.prefix", "no topic"),
        ("[broker]\nurl = \"mqtt://h\"\nlisten = \"1\"\n", "shelf.toml:9: broker.listen", "stands in [web]"),
        ("[history]\ncommit_s = 0\n", "shelf.toml:8: history.commit_s", "outside 0.05 to 60"),
        ("[history]\nmax_mb = 1.5\n", "shelf.toml:8: history.max_mb", "whole number"),
        (
            "[web]\nlisten = \"0.0.0.0:7180\"\npassword_file = \"p\"\n",
            "shelf.toml:8: web.listen",
            "anyone on the way could read the password",
        ),
        (
            "[web]\nlisten = \"[::]:7180\"\ncert_file = \"c\"\nkey_file = \"k\"\n",
            "shelf.toml:8: web.listen",
            "anyone could act",
        ),
        ("[web]\nproxy = \"10.0.0.2\"\n", "shelf.toml:8: web.proxy", "could act"),
        ("[web]\nproxy = \"gate\"\n", "shelf.toml:8: web.proxy", "is no address"),
        ("[web]\npassword_file = \"p\"\ncert_file = \"c\"\n", "shelf.toml:9: web.cert_file", "without key_file"),
        ("[web]\nreading = \"open\"\n", "shelf.toml:8: web.reading", "without password_file"),
        ("[web]\nlisten = 7180\n", "shelf.toml:8: web.listen", "must be a text"),
        ("[alarm]\nlimit_on_delay_min = 60\n", "shelf.toml:8: alarm.limit_on_delay_min", "outside 0 to 10"),
        ("[[notice]]\nway = \"pigeon\"\n", "shelf.toml:8: notice[0].way", "none of log"),
        ("[[notice]]\nway = \"webhook\"\n", "shelf.toml:7: notice[0].url", "is missing"),
        ("[[notice]]\nway = \"log\"\nurl = \"http://h\"\n", "shelf.toml:9: notice[0].url", "is for way = \"webhook\""),
        ("[[notice]]\nway = \"command\"\ncommand = []\n", "shelf.toml:9: notice[0].command", "no program"),
        ("[[notice]]\nway = \"command\"\ncommand = \"ls\"\n", "shelf.toml:9: notice[0].command", "a list of texts"),
        ("[[notice]]\nway = \"mqtt\"\ntopic = \"a/+\"\n", "shelf.toml:9: notice[0].topic", "no topic"),
        (
            "[[notice]]\nway = \"mail\"\nserver = \"smtp://h:25\"\nfrom = \"a@b\"\nto = [\"x\\ny@z\"]\n",
            "shelf.toml:11: notice[0].to",
            "control character",
        ),
        (
            "[[notice]]\nway = \"mail\"\nserver = \"smtp://h:25\"\nfrom = \"a@b\"\nto = [\"x\"]\n",
            "shelf.toml:11: notice[0].to",
            "no mail address",
        ),
        ("[web]\n\"li\\nsten\" = 1\n", "shelf.toml:8: web.li\\nsten", "nearest known is `listen`"),
        (
            "[[notice]]\nway = \"log\"\nquiet_from = \"25:00\"\nquiet_to = \"07:00\"\ntime_zone = \"UTC\"\n",
            "shelf.toml:9: notice[0].quiet_from",
            "no hour",
        ),
        (
            "[[notice]]\nway = \"log\"\nquiet_from = \"22:00\"\nquiet_to = \"07:00\"\ntime_zone = \"Mars/Crater\"\n",
            "shelf.toml:11: notice[0].time_zone",
            "no time zone",
        ),
        ("[influx]\nurl = \"http://h\"\norg = \"o\"\n", "shelf.toml:7: influx.bucket", "is missing"),
        ("[influx]\nurl = \"https://h\"\norg = \"o\"\nbucket = \"b\"\n", "shelf.toml:8: influx.url", "known: http"),
        (
            "[[mapping]]\ntopic = \"a/#/b\"\nunit = \"Cel\"\nsource = \"r:a\"\n",
            "shelf.toml:8: mapping[0].topic",
            "no topic filter",
        ),
        (
            "[[mapping]]\ntopic = \"a\"\npointer = \"t\"\nunit = \"Cel\"\nsource = \"r:a\"\n",
            "shelf.toml:9: mapping[0].pointer",
            "no JSON Pointer",
        ),
        (
            "[[mapping]]\ntopic = \"a\"\nunit = \"F\"\nsource = \"r:a\"\n",
            "shelf.toml:9: mapping[0].unit",
            "none of Cel",
        ),
    ] {
        check_after(more, place_and_key, words);
    }
}

#[test]
fn everything_is_said_at_once_in_the_files_order() {
    let text = "[[nest]]\nid = \"O\"\nlenght_mm = 3\n[nest.pad]\nto_mm = 80\nwatts = 0\n[web]\nlisten = \"x\"\n";
    let keys: Vec<_> = judged(text, &[("WARMEND__WEB__LISTN", "")])
        .expect_err("wrong")
        .errors()
        .iter()
        .map(|e| (e.place.clone(), e.key.clone()))
        .collect();
    let line = |n, key: &str| (Place::Line(n), key.to_owned());
    assert_eq!(
        keys,
        [
            line(1, "nest[0].probe"),
            line(2, "nest[0].id"),
            line(3, "nest[0].lenght_mm"),
            line(4, "nest[0].pad.from_mm"),
            line(6, "nest[0].pad.watts"),
            line(8, "web.listen"),
            (Place::Environment("WARMEND__WEB__LISTN".to_owned()), String::new()),
        ]
    );
}

#[test]
fn errors_are_bounded() {
    let text = (0..MAX_ERRORS + 7).fold(LEAST.to_owned(), |t, i| t + &format!("x{i} = 1\n"));
    let all = errors(&text, &[]);
    assert_eq!(all.len(), MAX_ERRORS + 1);
    assert_eq!(all[MAX_ERRORS], "… and 7 more");
}

#[test]
fn the_environment_is_laid_over_the_file() {
    let text = format!("{LEAST}[web]\nlisten = \"127.0.0.1:1\"\n[broker]\nembedded = \"127.0.0.1:2\"\n");
    let (file, _) = good(
        &text,
        &[
            ("WARMEND__WEB__LISTEN", "127.0.0.1:3"),
            ("WARMEND__BROKER__EMBEDDED", ""),
            ("WARMEND__BROKER__URL", "mqtt://h"),
            ("WARMEND__ALARM__HOT_ON_DELAY_MIN", "7.5"),
            ("WARMEND__HISTORY__MAX_DAYS", "30"),
            ("WARMEND__INFLUX__URL", "http://i"),
            ("WARMEND__INFLUX__ORG", "007"),
            ("WARMEND__INFLUX__BUCKET", "true"),
            ("WARMEND_SHELF", "of no concern here"),
            ("PATH", "/bin"),
        ],
    );
    assert_eq!(file.web.listen, ([127, 0, 0, 1], 3).into());
    let way =
        BrokerWay::Outside { host: "h".to_owned(), port: 1883, user: None, password_file: None, acts_from: vec![] };
    assert_eq!(file.broker.way, way);
    assert_eq!(file.shelf.alarms.hot_on_delay, Span::from_s(450));
    assert_eq!(file.history.max_days, Some(30));
    let influx = file.influx.expect("set by the environment alone");
    assert_eq!((influx.org.as_str(), influx.bucket.as_str()), ("007", "true"), "texts stay texts");
}

#[test]
fn every_settable_key_can_be_set_by_its_variable() {
    for (section, key) in schema::settable() {
        let value = match key.kind {
            Kind::Number(low, _) => format!("{low}"),
            Kind::Whole(low, _) => format!("{low}"),
            _ => "!".to_owned(),
        };
        let said = errors(LEAST, &[(&environment::variable(&section, key.name), &value)]);
        let unknown = said.iter().any(|e| e.contains("unknown"));
        assert!(!unknown, "{section}.{}: {said:?}", key.name);
    }
}

/// What an alarm has of its own goes before its kind's, in the file and in the environment, and `check` says what holds.
#[test]
fn an_alarm_may_have_delays_and_a_deadband_of_its_own() {
    use enclosure::Alarm;
    let text = format!(
        "{LEAST}[alarm]\ndeadband_k = 0.4\n[alarm.brood-cold]\non_delay_min = 90\ndeadband_k = 1.5\n\
         [alarm.humidity-low]\ndeadband_pct = 7\noff_delay_min = 30\n"
    );
    let env = [
        ("WARMEND__ALARM__BROOD_COLD__ON_DELAY_MIN", "45"),
        ("WARMEND__ALARM__HUMIDITY_LOW__OFF_DELAY_MIN", ""),
        ("WARMEND__ALARM__BROKER_LOST__ON_DELAY_MIN", "3"),
    ];
    let (file, advice) = good(&text, &env);
    let s = &file.shelf.alarms;
    assert_eq!(s.on_delay(Alarm::BroodCold), Span::from_min(45), "the environment goes before the file");
    assert_eq!(s.off_delay(Alarm::HumidityLow), Span::from_min(2), "set to nothing, the file's value is gone");
    assert_eq!(s.on_delay(Alarm::BrokerLost), Span::from_min(3));
    let deadbands =
        [(Alarm::BroodCold, 1.5), (Alarm::BroodHot, 0.4), (Alarm::HumidityLow, 7.0), (Alarm::HumidityHigh, 3.0)];
    assert!(deadbands.iter().all(|(alarm, by)| (s.deadband(*alarm) - by).abs() < 1e-12), "{s:?}");
    let said = report(&Ok((file, advice))).0;
    for line in [
        "  brood-cold        told after 45 min; over after 5 min, 1.5 K within",
        "  brood-hot         told after 15 min; over after 5 min, 0.4 K within",
        "  probe-hot         told after three readings; over after 2 min, 0.4 K within",
        "  probe-silent      told after 5 readings missed, after 10 min; over at once",
        "  humidity-low      told after 6 h 00 min; over after 2 min, 7 %RH within",
        "  heater-stuck-on   told at once; over after 2 min",
    ] {
        assert!(said.lines().any(|l| l == line), "{line} in:\n{said}");
    }
    check_after("[alarm.brood-hot]\ndeadband_pct = 1\n", "shelf.toml:8: alarm.brood-hot.deadband_pct", "`deadband_k`");
    check_after("[alarm.brood-limit]\non_delay_min = 11\n", "shelf.toml:8: alarm.brood-limit.on_delay_min", "0 to 10");
    check_after("[alarm.brood-warm]\non_delay_min = 1\n", "shelf.toml:7: alarm.brood-warm", "nearest known");
    let (_, advice) = good(&format!("{LEAST}[alarm.heater-stuck-on]\non_delay_min = 2\n"), &[]);
    assert!(advice.iter().any(|a| a.why.contains("heats for 2 min more")), "{advice:?}");
}

#[test]
fn the_environment_says_what_is_wrong() {
    for (name, value, words) in [
        (
            "WARMEND__WEB__LISTN",
            "x",
            "WARMEND__WEB__LISTN: unknown variable; the nearest known is WARMEND__WEB__LISTEN",
        ),
        ("WARMEND__web__listen", "x", "nearest known is WARMEND__WEB__LISTEN"),
        ("WARMEND__NEST__ID", "oak", "set them in the shelf file"),
        ("WARMEND__WEB__LISTEN", "x", "WARMEND__WEB__LISTEN: web.listen: \"x\" is no address"),
        ("WARMEND__HISTORY__COMMIT_S", "1 s", "WARMEND__HISTORY__COMMIT_S: history.commit_s: 1 s is not a number"),
        ("WARMEND__BROKER__URL", "mqtt://h", ""),
    ] {
        let said = errors(LEAST, &[(name, value)]);
        assert_eq!(said.len(), usize::from(!words.is_empty()), "{said:?}");
        assert!(said.iter().all(|e| e.contains(words)), "{said:?} should say {words}");
    }
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
fn the_example_has_no_errors_and_says_what_it_means() {
    let (file, advice) = good(EXAMPLE, &[]);
    assert_eq!(advice, [], "an example should not need advice");
    let ids: Vec<_> = file.shelf.nests.iter().map(|n| n.id.as_str()).collect();
    assert_eq!(ids, ["oak", "plaster"]);
    assert_eq!(file.shelf.nests[0].seasons[0].kind, SeasonKind::Rest);
    assert!(file.shelf.nests[0].seasons[0].pad_off);
    assert_eq!(file.shelf.alarms, AlarmSettings::default(), "the example shows the defaults");
    assert_eq!(file.notices.len(), 4);
    let defaults = good(LEAST, &[]).0;
    assert_eq!((file.broker, file.web), (defaults.broker, defaults.web), "the example shows the defaults");
}

#[test]
fn the_example_explains_every_known_key() {
    let mut known = BTreeSet::new();
    collect("", &schema::FILE, &mut known);
    let mut section = String::new();
    let mut explained = BTreeSet::new();
    for line in EXAMPLE.lines() {
        let line = line.strip_prefix("# ").filter(|l| l.contains(" = ")).unwrap_or(line);
        if let Some(head) = line.strip_prefix('[') {
            section = head.trim_start_matches('[').split(']').next().unwrap_or("").to_owned();
        } else if let Some((key, rest)) = line.split_once(" = ").filter(|(k, _)| !k.contains(' ')) {
            assert!(rest.contains('#'), "no comment beside {section}.{key}");
            explained.insert(format!("{section}.{key}"));
            for inner in rest.split(['{', ',']).skip(1).filter_map(|p| p.split_once(" = ")) {
                explained.insert(format!("{section}.{key}.{}", inner.0.trim()));
            }
        }
    }
    let missing: Vec<_> = known.difference(&explained).collect();
    assert!(missing.is_empty(), "not in shelf.example.toml: {missing:?}");
}

fn collect(base: &str, section: &'static Section, into: &mut BTreeSet<String>) {
    for key in section.keys {
        let path = if base.is_empty() { key.name.to_owned() } else { format!("{base}.{}", key.name) };
        match key.kind {
            Kind::Table(s) | Kind::Tables(s) | Kind::OneOrMore(s) => collect(&path, s, into),
            Kind::TextOrTable(s) => {
                collect(&path, s, into);
                into.insert(path);
            }
            _ => {
                into.insert(path);
            }
        }
    }
}

#[test]
fn loading_reads_the_disk_and_says_what_is_not_there() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("shelf.toml");
    let missing = load(&path, std::iter::empty());
    assert!(matches!(missing, Err(ShelfErrors::Unreadable { .. })));
    let (text, code) = report(&missing);
    assert_eq!(code, 64);
    assert!(text.contains("--shelf") && text.contains(&deference()), "{text}");

    std::fs::write(&path, b"\xff\xfe").expect("written");
    assert!(matches!(load(&path, std::iter::empty()), Err(ShelfErrors::Unreadable { .. })), "not UTF-8");

    std::fs::write(&path, EXAMPLE).expect("written");
    let (file, advice) = load(&path, std::iter::empty()).expect("good");
    assert_eq!(file.history.path, dir.path().join("warmend.db"));
    let absent: Vec<_> = advice.iter().map(|a| a.key.as_str()).collect();
    assert_eq!(
        absent,
        ["notice[0].token_file", "notice[0].secret_file", "notice[2].password_file", "influx.token_file"]
    );
}

#[test]
fn reports_end_with_deference_and_the_right_code() {
    let (text, code) = report(&judged(LEAST, &[]));
    assert_eq!(code, 0);
    assert!(text.contains("1 nest, 1 probe, 0 heating mats"), "{text}");
    assert!(text.contains("shelf.toml:4: nest[0].probe: ") && text.trim_end().ends_with(&deference()), "{text}");
    let heated = format!(
        "{LEAST}[nest.pad]\nfrom_mm = 0\nto_mm = 80\nwatts = 5\n[nest.band]\nlow_c = 24\nhigh_c = 28\nlimit_c = 34\n"
    );
    assert!(!text.contains("without heat"), "{text}");
    let (text, _) = report(&judged(&heated, &[]));
    assert!(text.contains(": without heat, in a room at 19 °C, the brood place is below 24 °C after some "), "{text}");
    let (text, code) = report(&judged("[[nest]]\n", &[]));
    assert_eq!(code, 64);
    assert!(text.contains("3 things are wrong") && text.trim_end().ends_with(&deference()), "{text}");
}

#[test]
fn the_contracts_own_example_is_taken() {
    let text = r#"
[shelf]
name = "study"
[[nest]]
id = "oak"
length_mm = 240
material = "oak"
[nest.pad]
from_mm = 0
to_mm = 80
watts = 7.0
drive = "oak-node:pad"
thermostat_c = 30.0
[nest.brood]
from_mm = 50
to_mm = 90
[nest.band]
low_c = 24.0
high_c = 31.0
limit_c = 35.0
[[nest.probe]]
source = "oak-node:warm"
at_mm = 10
[[nest.probe]]
source = "oak-node:cool"
at_mm = 230
[nest.room]
source = "room:air"
[[nest.season]]
from = "11-01"
to = "03-15"
kind = "rest"
low_c = 2.0
high_c = 10.0
limit_c = 15.0
pad = "off"
[broker]
embedded = "127.0.0.1:1883"
[history]
path = "warmend.db"
[web]
listen = "127.0.0.1:7180"
[[notice]]
way = "webhook"
url = "http://127.0.0.1:9000/heat"
[influx]
url = "http://127.0.0.1:8086"
org = "home"
bucket = "shelf"
token_file = "influx.token"
"#;
    let (file, _) = good(text, &[]);
    assert_eq!(file.shelf.nests[0].pads[0].thermostat_c, Some(30.0));
}

/// Texts near to shelf files: lines of the example, dropped, doubled, swapped and cut.
fn nearly() -> impl Strategy<Value = String> {
    let lines: Vec<_> = EXAMPLE.lines().collect();
    let line = (0..lines.len(), 0..60_usize, ".{0,4}").prop_map(move |(i, keep, more)| {
        let kept: String = lines[i].chars().take(if keep < 20 { keep } else { 200 }).collect();
        kept + &more
    });
    prop::collection::vec(line, 0..40).prop_map(|l| l.join("\n"))
}

proptest! {
    #[test]
    fn arbitrary_text_never_panics(text in prop_oneof![".{0,200}", nearly()], value in ".{0,12}") {
        let said = judged(&text, &[("WARMEND__WEB__LISTEN", &value), ("WARMEND__ALARM__SILENT_MISSED", &value)]);
        let (told, code) = report(&said);
        prop_assert!(told.contains(&deference()));
        prop_assert_eq!(code == 0, said.is_ok());
        // Whatever is refused is refused by name, never by the layering beneath.
        prop_assert!(!told.contains("could not be understood"), "{}", told);
    }

    #[test]
    fn a_line_out_of_the_example_never_takes_the_others_along(drop in 0..EXAMPLE.lines().count()) {
        let text: Vec<_> = EXAMPLE.lines().enumerate().map(|(i, l)| if i == drop { "" } else { l }).collect();
        if let Err(e) = judged(&text.join("\n"), &[]) {
            // A section's header takes its own keys along, and no other's.
            prop_assert!(e.errors().len() <= 40, "{}", e);
        }
    }
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
