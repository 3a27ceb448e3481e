//! Beginnings and ends: in what order, and what is written down by then.
use super::*;
use crate::history::Delivery;

#[tokio::test]
async fn stopping_under_load_commits_what_it_took_and_promises_no_more() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(dir.path()).await;
    let mut node = Node::of(&daemon, "node").await;
    node.at_s -= 86_400.0;
    for seq in 0..200 {
        node.says(seq, 27.0).await;
    }
    let path = daemon.web.history.clone();
    daemon.stop().await;
    let reader = Reader::open(&path).unwrap();
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    // Each confirmed pack had arrived in the broker; what the daemon heard of them is stored without a hole.
    let stored = reader.readings(None, ever).unwrap().len() as u64;
    assert_eq!(reader.receipts().unwrap()[0].upto + 1, stored);
    assert!(stored > 100, "{stored} of 200");
}

#[tokio::test]
async fn a_second_daemon_on_the_same_history_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(dir.path()).await;
    let error = run(file(dir.path(), &shelf()), outfit().0, std::future::pending()).await.unwrap_err();
    assert_eq!(error.exit_code(), 1);
    assert!(error.to_string().contains("another warmend uses it"), "{error}");
    daemon.stop().await;
}

#[tokio::test]
async fn a_dead_part_ends_the_daemon_by_its_name() {
    let dir = tempfile::tempdir().unwrap();
    let mut outfit = outfit().0;
    outfit.open = None;
    outfit.web = Box::new(|_| Box::pin(async { anyhow::bail!("the pages fell over") }));
    let notices = |parts: NoticeParts| -> Task { until(parts.stop) };
    outfit.notices = Box::new(notices);
    let error = within("the end", run(file(dir.path(), &shelf()), outfit, std::future::pending())).await.unwrap_err();
    assert_eq!(error.exit_code(), 1);
    assert!(error.to_string().contains("\"web\" ended: the pages fell over"), "{error}");
}

/// "Seen by a person, and written down" is true also of what was said in the daemon's last moment.
#[tokio::test]
async fn what_became_of_messages_by_the_end_is_written_down() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(dir.path()).await;
    // The disk is busy, so that they wait.
    let disk = rusqlite::Connection::open(dir.path().join("warmend.db")).unwrap();
    disk.execute_batch("BEGIN IMMEDIATE").unwrap();
    let (mut handed_in, mut refused) = (0, 0);
    while refused < 1_000 {
        let at = daemon.web.clock.now();
        let delivery =
            Delivery { change: None, way: "mail".to_owned(), attempt: handed_in, at, outcome: "seen".to_owned() };
        match daemon.notices.sent.try_send(Sent { delivery, failing: false }) {
            Ok(()) => handed_in += 1,
            Err(_) => {
                refused += 1;
                tokio::task::yield_now().await;
            }
        }
    }
    disk.execute_batch("ROLLBACK").unwrap();
    let path = daemon.web.history.clone();
    daemon.stop().await;
    assert!(handed_in as usize > SENT_WAITING, "{handed_in}");
    let ever = Timestamp::from_unix_ms(0)..Timestamp::from_unix_ms(i64::MAX);
    assert_eq!(Reader::open(&path).unwrap().deliveries(ever).unwrap().len(), handed_in as usize);
}

/// Else the first page would say of a way that was proved that nobody has seen a test message by it.
#[tokio::test]
async fn no_page_answers_before_it_is_known_what_was_told_and_proved() {
    let dir = tempfile::tempdir().unwrap();
    let known = Arc::new(std::sync::atomic::AtomicBool::new(false));
    let (says, asks) = (Arc::clone(&known), known);
    let (found, was_known) = oneshot::channel();
    let mut outfit = outfit().0;
    outfit.open = None;
    outfit.web = Box::new(move |_| {
        found.send(asks.load(std::sync::atomic::Ordering::SeqCst)).unwrap();
        Box::pin(async { anyhow::bail!("that is all") })
    });
    outfit.notices = Box::new(move |parts| {
        says.store(true, std::sync::atomic::Ordering::SeqCst);
        until(parts.stop)
    });
    within("the end", run(file(dir.path(), &shelf()), outfit, std::future::pending())).await.unwrap_err();
    assert!(was_known.await.unwrap());
}
