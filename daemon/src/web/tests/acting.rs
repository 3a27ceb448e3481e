//! What comes in: forms, the command line, what is refused.
use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn hostile_addresses_do_no_harm() {
    let served = serve(made().snapshot.clone()).await;
    let long = format!("/nest/oak?from={}", "9".repeat(5_000));
    let cases = [
        ("/nest/%3Cscript%3Ealert(1)%3C/script%3E", 404),
        ("/nest/%3Cscript%3E", 404),
        ("/nest/oak?from=%3Cscript%3E", 400),
        ("/nest/oak?from=9999999d", 400),
        ("/nest/oak?from=1d&to=2d", 400),
        ("/nest/oak?from=-9999-01-01T00:00:00Z", 400),
        ("/nest/oak?from=NaN&to=inf", 400),
        ("/nest/oak?to=2999-01-01T00:00:00Z", 200),
        ("/nest/oak?%00=%ff&from=", 200),
        (long.as_str(), 400),
        ("/nest/oak/../../etc/passwd", 404),
        ("/nest/oak/%2e%2e%2fweek.png", 404),
        ("/alarms.json?from=x", 400),
    ];
    for (path, want) in cases {
        let (status, text) = served.page(path).await;
        assert_eq!(status, want, "{path}: {text}");
        assert!(!text.contains("<script>"), "{path}");
        assert!(text.len() < 400_000, "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_foreign_page_can_neither_act_nor_name_us() {
    let mut served = serve(made().snapshot.clone()).await;
    let own = format!("http://{}", served.address);
    let body = "do=ack&alarm=heater-stuck-on&nest=oak";
    let foreign: [&[(&'static str, &str)]; 4] = [
        &[("sec-fetch-site", "cross-site"), ("origin", "http://evil.example")],
        &[("origin", "http://evil.example")],
        &[("origin", "null")],
        &[("sec-fetch-site", "same-site"), ("origin", &own)],
    ];
    for headers in foreign {
        assert_eq!(served.post("/alarm", body, headers).await.status(), 403, "{headers:?}");
    }
    assert_eq!(served.post("/alarm", body, &[("host", "evil.example")]).await.status(), 421);
    let named = served.client.get(served.url("/now.json")).header("host", "rebound.example:7180").send().await.unwrap();
    assert_eq!(named.status(), 421);
    assert!(served.acts.try_recv().is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn forms_become_acts_and_lead_back() {
    let mut served = serve(made().snapshot.clone()).await;
    let form = "do=shelve&alarm=brood-hot&nest=oak&minutes=90&back=/nest/oak";
    let (kind, answer) = served.acted("/alarm", form, Ok(())).await;
    let ActKind::Alarm(AlarmAct::Shelve(90), name) = kind else { panic!("{kind:?}") };
    assert_eq!((name.alarm.as_str(), name.nest.as_deref(), name.probe), ("brood-hot", Some("oak"), None));
    assert_eq!((answer.status().as_u16(), &answer.headers()["location"]), (303, &"/nest/oak".parse().unwrap()));

    let form = "do=ack&alarm=brood-hot&nest=oak&back=//evil.example/";
    let (_, answer) = served.acted("/alarm", form, Ok(())).await;
    assert_eq!(answer.headers()["location"], "/");

    let (_, answer) = served.acted("/alarm", form, Err("<it> is not raised".to_owned())).await;
    assert_eq!(answer.status(), 409);
    assert!(answer.text().await.unwrap().contains("&lt;it&gt; is not raised"));

    let form = "nest=oak&kind=brood&at_mm=62,5&text=+two+heaps+&at=20m";
    let (kind, _) = served.acted("/note", form, Ok(())).await;
    let ActKind::Note(note) = kind else { panic!("{kind:?}") };
    assert_eq!(
        (note.at_mm, note.text.as_str(), note.at),
        (Some(62.5), "two heaps", made().end.minus(Span::from_min(20)))
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_command_line_acts_by_json() {
    let mut served = serve(made().snapshot.clone()).await;
    let (kind, answer) = served.acted("/act", r#"{"do":"reset","alarm":"heater-stuck-on","nest":"oak"}"#, Ok(())).await;
    assert!(matches!(kind, ActKind::Alarm(AlarmAct::Reset, _)));
    assert_eq!(answer.text().await.unwrap(), r#"{"done":true}"#);
    let note = r#"{"do":"note","nest":"plaster","kind":"fed","at_mm":40,"text":"honey","at":1772409600}"#;
    let (kind, _) = served.acted("/act", note, Ok(())).await;
    assert!(matches!(kind, ActKind::Note(n) if n.at.unix_ms() == 1_772_409_600_000 && n.at_mm == Some(40.0)));
    let wrong = [
        r#"{"do":"explode"}"#,
        r#"{"do":"ack","alarm":"no-such-alarm"}"#,
        r#"{"do":"ack","alarm":"brood-hot","nest":"oka"}"#,
        r#"{"do":"shelve","alarm":"brood-hot","nest":"oak","minutes":1e9}"#,
        r#"{"do":"note","nest":"oak","kind":"poem","text":"x"}"#,
        r#"{"do":"note","nest":"oak","kind":"fed","at_mm":9000}"#,
        r#"{"do":"note","nest":"oak","kind":"fed","at":"2999-01-01T00:00:00Z"}"#,
        r#"{"do":"ack","alarm":"brood-hot","nest":"oak","more":1}"#,
        "not json",
        "[[[[[[",
    ];
    for body in wrong {
        let answer = served.post("/act", body, &[]).await;
        assert!(answer.status().is_client_error(), "{body}");
        let told: Value = serde_json::from_str(&answer.text().await.unwrap()).unwrap();
        assert_eq!(told["done"], false, "{body}");
        assert!(told["why"].as_str().unwrap().len() > 5, "{body}");
    }
    assert!(served.acts.try_recv().is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_queue_and_a_large_body_are_refused() {
    let mut served = serve(made().snapshot.clone()).await;
    let big = Box::leak("x".repeat(BODY_BYTES_MAX + 1).into_boxed_str());
    assert_eq!(served.post("/act", big, &[]).await.status(), 413);
    served.acts.close();
    let answer = served.post("/act", r#"{"do":"ack","alarm":"brood-hot","nest":"oak"}"#, &[]).await;
    assert_eq!(answer.status(), 503);
}
