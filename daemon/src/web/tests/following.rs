//! Pages that follow what changes.
use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn a_live_page_hears_of_each_new_snapshot_until_the_end() {
    let served = serve(made().snapshot.clone()).await;
    let mut live = served.get("/live").await;
    assert_eq!(live.headers()["content-type"], "text/event-stream");
    let next = async |live: &mut reqwest::Response| loop {
        let chunk = tokio::time::timeout(PATIENCE, live.chunk()).await.unwrap().unwrap();
        let Some(chunk) = chunk else { break String::new() };
        let text = String::from_utf8(chunk.to_vec()).unwrap();
        if text.contains("event:") {
            break text;
        }
    };
    assert!(next(&mut live).await.contains("event: now"));
    let later = Snapshot { at: made().end.plus(Span::from_min(1)), ..made().snapshot.clone() };
    let t = later.at.unix_s().to_string();
    served.snapshots.send(Arc::new(later)).unwrap();
    assert!(next(&mut live).await.contains(&t));
    served.stop.cancel();
    assert_eq!(next(&mut live).await, "");
    tokio::time::timeout(PATIENCE, served.ended).await.unwrap().unwrap().unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn so_many_pages_follow_and_no_more() {
    let served = serve(made().snapshot.clone()).await;
    let mut following = Vec::new();
    for _ in 0..VIEWERS_MAX {
        let live = served.get("/live").await;
        assert_eq!(live.status(), 200);
        following.push(live);
    }
    assert_eq!(served.get("/live").await.status(), 503);
    assert_eq!(served.get("/").await.status(), 200);
    let told = served.page("/metrics").await.1;
    assert!(
        told.contains(&format!("warmend_web_viewers {VIEWERS_MAX}")) && told.contains("web_viewers_refused_total 1")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_says_when_the_pipeline_has_ended() {
    let mut served = serve(made().snapshot.clone()).await;
    assert_eq!(served.get("/health").await.status(), 200);
    let (gone, _) = watch::channel(Arc::new(made().snapshot.clone()));
    drop(std::mem::replace(&mut served.snapshots, gone));
    let ended = async {
        while served.get("/health").await.status() != 503 {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(PATIENCE, ended).await.unwrap();
    assert!(served.page("/").await.1.contains("The watch has stopped"));
}
