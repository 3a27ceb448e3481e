//! What stands beside the nests: the watch, its ways out, its alarms.
use super::*;

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
