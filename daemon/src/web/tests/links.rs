//! One-time links in messages, and signs of life.
use super::*;
use crate::notices::{LINK_HOLDS, LINK_PATH};

/// A raised danger, and the path of the link in its message.
fn linked(served: &Served) -> String {
    let told = samples::told(Alarm::HeaterStuckOn, Event::Raised, "oak");
    served.answering.hear(&told, "DANGER: nest oak, the heating mat will not switch off. Unplug it now.");
    let link = served.answering.link(&told, 0).unwrap();
    link.strip_prefix("http://shelf.example:7180").unwrap().to_owned()
}

fn ack_of(kind: &ActKind) -> bool {
    matches!(kind, ActKind::Alarm(AlarmAct::Acknowledge, name) if name.alarm == "heater-stuck-on")
}

#[tokio::test(flavor = "multi_thread")]
async fn looking_at_a_link_does_nothing_and_its_two_answers_are_alike() {
    let mut served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    for _ in 0..3 {
        // As a mail program's preview does.
        assert_eq!(served.client.head(served.url(&path)).send().await.unwrap().status(), 200);
        let (status, page) = served.page(&path).await;
        assert_eq!(status, 200);
        assert!(page.contains("DANGER: nest oak") && page.contains("call the fire service from outside"));
        assert_eq!(page.matches("<button type=\"submit\">").count(), 2, "two buttons, none louder: {page}");
        assert!(page.contains("I am there, I am seeing to it"));
        assert!(page.contains("I cannot get there: tell the next person"));
        assert!(!page.contains("reset") && !page.contains("silence"), "{page}");
    }
    assert!(served.acts.try_recv().is_err(), "nothing was done by looking");
    // Any other name that is not ours is refused as before; the one that the keeper named is taken.
    for (host, status) in [("shelf.example:7180", 200), ("elsewhere.example:7180", 421)] {
        let answer = served.client.get(served.url(&path)).header("host", host).send().await.unwrap();
        assert_eq!(answer.status(), status, "{host}");
    }
    let elsewhere = served.post(&path, "do=here", &[("origin", "http://elsewhere.example")]).await;
    assert_eq!(elsewhere.status(), 403);
    assert!(served.acts.try_recv().is_err(), "a page elsewhere answers for nobody");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_answers_one_raising_once_and_nothing_else() {
    let mut served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    for wish in ["do=reset", "do=shelve", "do=", "do=here&minutes=30"] {
        assert_ne!(
            served
                .client
                .post(served.url(&path))
                .header("content-type", "application/x-www-form-urlencoded")
                .body(wish)
                .send()
                .await
                .unwrap()
                .status(),
            200,
            "{wish}"
        );
    }
    assert!(served.acts.try_recv().is_err());
    let chosen = served.client.post(served.url(&path)).header("content-type", "application/x-www-form-urlencoded");
    let sent = tokio::spawn(chosen.body("do=here").send());
    let act = tokio::time::timeout(PATIENCE, served.acts.recv()).await.unwrap().unwrap();
    assert!(ack_of(&act.kind), "{:?}", act.kind);
    act.reply.send(Ok(())).unwrap();
    assert_eq!(sent.await.unwrap().unwrap().status(), 200);
    let (status, page) = served.page(&path).await;
    assert!(status == 410 && page.contains("used already"), "{page}");
    assert_eq!(served.post(&path, "do=pass", &[]).await.status(), 410);
    // A newer raising has a link of its own, and the old one stays dead.
    let mut again = samples::told(Alarm::HeaterStuckOn, Event::Unacknowledged, "oak");
    (again.id, again.change.told) = (Some(8), true);
    served.answering.hear(&again, "DANGER");
    assert_eq!(served.page(&path).await.0, 410);
    let newer = served.answering.link(&again, 0).unwrap();
    assert_eq!(served.page(newer.split_once("7180").unwrap().1).await.0, 200);
    // Over is over.
    let mut over = samples::told(Alarm::HeaterStuckOn, Event::Cleared, "oak");
    over.id = Some(9);
    served.answering.hear(&over, "");
    assert_eq!(served.page(newer.split_once("7180").unwrap().1).await.0, 410);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_that_was_passed_on_says_whether_there_is_somebody() {
    let served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    let answer = served.post(&path, "do=pass", &[]).await;
    assert_eq!(answer.status(), 200);
    assert!(answer.text().await.unwrap().contains("names nobody else"));
    assert_eq!(served.page(&path).await.0, 410);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_expires_and_cannot_be_made_up() {
    let served = serve(made().snapshot.clone()).await;
    let path = linked(&served);
    let token = path.strip_prefix(LINK_PATH).unwrap();
    assert!(token.len() >= 43, "128 bits of signature and what it is about");
    // Every changed letter, every shortened and lengthened form.
    for i in 0..token.len() {
        let mut bytes = token.as_bytes().to_vec();
        bytes[i] = if bytes[i] == b'A' { b'B' } else { b'A' };
        let forged = String::from_utf8(bytes).unwrap();
        let last = i + 1 == token.len();
        assert!(served.answering.read(&forged).is_err() || last, "{forged}");
        assert!(served.answering.read(&token[..i]).is_err(), "cut after {i}");
    }
    assert!(served.answering.read(&format!("{token}AA")).is_err());
    served.clock.advance(LINK_HOLDS);
    assert_eq!(served.page(&path).await.0, 200);
    served.clock.advance(Span::from_s(1));
    let (status, page) = served.page(&path).await;
    assert!(status == 410 && page.contains("expired"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn signs_of_life_are_heard_from_programs_and_not_from_browsers() {
    let served = serve(made().snapshot.clone()).await;
    assert_eq!(served.get("/heartbeat/cellar").await.status(), 200, "the example awaits it");
    assert_eq!(served.get("/heartbeat/attic").await.status(), 404);
    let browser = served.client.get(served.url("/heartbeat/cellar")).header("sec-fetch-site", "cross-site");
    assert_eq!(browser.send().await.unwrap().status(), 403);
    let awaited = served.answering.awaited();
    let minutes = |m| Span::from_min(m);
    assert_eq!(awaited.changes(minutes(15)), [("cellar".to_owned(), false)], "what stood before the start ends");
    assert_eq!(awaited.changes(minutes(15)), []);
    assert_eq!(awaited.changes(minutes(16)), [("cellar".to_owned(), true)], "three times five minutes");
    assert_eq!(awaited.changes(minutes(20)), [], "said once");
    assert!(awaited.hear("cellar", minutes(21)));
    assert_eq!(awaited.changes(minutes(22)), [("cellar".to_owned(), false)]);
}
