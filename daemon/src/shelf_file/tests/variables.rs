//! The environment, laid over the file.
use super::*;

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
