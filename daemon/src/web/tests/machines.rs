//! What machines read: `now.json`, lists, health, metrics.
use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn now_json_has_the_contracts_shape() {
    let served = serve(made().snapshot.clone()).await;
    let now = served.json("/now.json").await;
    assert_eq!(now["t"], json!(made().end.unix_s()));
    let oak = &now["nests"][0];
    assert_eq!(oak["nest"], "oak");
    assert!(oak["t"].is_f64() && oak["pad_w"].is_f64() && oak["learning_until"].is_f64());
    let lengths = ["at_mm", "mean_c", "sd_c", "rh_pct", "rh_sd_pct"].map(|list| oak[list].as_array().unwrap().len());
    assert!(lengths[0] >= 41 && lengths.iter().all(|n| *n == lengths[0]), "{lengths:?}");
    assert!(oak["mean_c"].as_array().unwrap().iter().all(Value::is_f64));
    let ahead = &oak["forecast"];
    let points =
        ["t", "brood_c", "sd_below_c", "sd_above_c", "room_c"].map(|list| ahead[list].as_array().unwrap().len());
    assert!(points[0] == 72 && points.iter().all(|n| *n == 72), "twelve hours by ten minutes: {points:?}");
    let alarms = oak["alarms"].as_array().unwrap();
    let stuck = alarms.iter().find(|a| a["alarm"] == "heater-stuck-on").unwrap();
    assert!(stuck["state"].is_string() && stuck["since"].is_f64());
    assert!(alarms.iter().all(|a| a["state"] != "normal" && a["state"] != "not-judged"));
    assert!(now["alarms"].is_array());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_nest_never_heard_has_no_time_and_empty_lists() {
    let served = serve(silent()).await;
    let now = served.json("/now.json").await;
    for nest in now["nests"].as_array().unwrap() {
        assert!(nest["t"].is_null() && nest["learning_until"].is_null() && nest["pad_w"].is_null());
        assert!(nest["forecast"].is_null());
        for list in ["at_mm", "mean_c", "sd_c", "rh_pct", "rh_sd_pct", "alarms"] {
            assert_eq!(nest[list], json!([]), "{list}");
        }
    }
    assert!(served.page("/").await.1.contains("waiting for the first reading"));
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_come_from_history() {
    let served = serve(made().snapshot.clone()).await;
    let notes = served.json("/notes.json").await;
    assert_eq!(notes["notes"][0]["text"], "two heaps & <eggs>");
    assert_eq!(notes["notes"][0]["at_mm"], 62.0);
    let alarms = served.json("/alarms.json?from=7d").await;
    let events: Vec<_> = alarms["past"].as_array().unwrap().iter().map(|c| c["event"].as_str().unwrap()).collect();
    assert!(events.contains(&"raised"), "{events:?}");
    assert!(alarms["alarms"].as_array().unwrap().iter().any(|a| a["nest"] == "oak"));
}

#[tokio::test(flavor = "multi_thread")]
async fn metrics_are_open_metrics() {
    let served = serve(made().snapshot.clone()).await;
    let answer = served.get("/metrics").await;
    let kind = answer.headers()["content-type"].to_str().unwrap().to_owned();
    assert_eq!(kind, "application/openmetrics-text; version=1.0.0; charset=utf-8");
    let text = answer.text().await.unwrap();
    assert!(text.ends_with("# EOF\n"), "{text}");
    for line in [
        "warmend_brood_mean_celsius{nest=\"oak\"} ",
        "warmend_readings_total 40000",
        "warmend_up 1",
        "# UNIT warmend_brood_mean_celsius celsius",
        "warmend_alarm{alarm=\"heater-stuck-on\"",
    ] {
        assert!(text.contains(line), "{line} in {text}");
    }
    assert!(!text.contains("NaN") && !text.contains("attic-node"));
    // How the alarms did within the last day is what history says.
    let value = |name: &str| -> f64 {
        let line = text.lines().find_map(|line| line.strip_prefix(&format!("warmend_{name} ")));
        line.and_then(|value| value.parse().ok()).unwrap_or_else(|| panic!("{name} in {text}"))
    };
    let now = served.clock.now();
    let span = now.minus(Span::from_h(24))..now.plus(Span::from_ms(1));
    let changes = crate::views::load::changes(&made().reader(), &span).unwrap();
    let day = crate::views::load::Load::of(&changes, &span, Span::from_min(60));
    assert!(day.raised > 0 && day.told > 0, "{day:?}");
    for (name, wanted) in [
        ("alarms_day_raised", day.raised),
        ("alarms_day_told", day.told),
        ("alarms_day_peak", day.peak),
        ("alarms_chattering", day.chattering.len()),
        ("alarms_unanswered", day.unanswered),
    ] {
        assert!((value(name) - wanted as f64).abs() < 1e-9, "{name}: {} for {wanted}", value(name));
    }
    assert!(value("alarms_standing") >= 1.0 && value("alarms_stale") >= 0.0);
}

#[test]
fn health_is_a_matrix() {
    let well = made().snapshot.clone();
    let (at, patience) = (well.at, well.shelf.alarms.silent_at_least);
    let over = patience.ms() + 1;
    let vitals = |change: &dyn Fn(&mut crate::snapshot::Vitals)| {
        let mut snap = well.clone();
        change(&mut snap.vitals);
        snap
    };
    let young = Snapshot { started: at.minus(patience), ..vitals(&|v| v.judged = None) };
    let check = |snap: &Snapshot, stalled: Option<String>, want: bool, word: &str| {
        let health = Health::of(snap, stalled);
        assert_eq!(health.well, want, "{health:?}");
        assert!(health.why.contains(word), "{health:?}");
    };
    check(&well, None, true, "readings are judged");
    check(&young, None, true, "waiting for the first reading");
    check(&Snapshot { started: at.minus(Span::from_ms(over)), ..young.clone() }, None, false, "no reading");
    check(&vitals(&|v| v.judged = Some(at.minus(patience))), None, true, "");
    check(&vitals(&|v| v.judged = Some(at.minus(Span::from_ms(over)))), None, false, "newest reading");
    check(&vitals(&|v| v.history_failing = Some("disk full".to_owned())), None, false, "disk full");
    check(&vitals(&|v| v.broker_lost = Some("refused".to_owned())), None, true, "refused");
    check(&well, Some("nothing has been judged".to_owned()), false, "nothing has been judged");
}
