use super::*;
use crate::http_probe::{DEADLINE, Probe};
use crate::notices::{Occasion, compose, samples, test_message};
use enclosure::{Alarm, Event};
use std::path::PathBuf;

fn letter() -> Letter {
    let context = samples::context();
    let mut told = samples::told(Alarm::ProbeHot, Event::Raised, "oak");
    told.change.probe = Some("oak-node:warm".to_owned());
    Letter::of(&told, compose(&told, &context, Occasion::default()), &context, None)
}

fn hook(probe: &Probe, token_file: Option<PathBuf>) -> Carrier {
    Carrier::new(&Way::Webhook { url: probe.url("/heat"), token_file, secret_file: None }, None)
}

fn command(words: &[&str]) -> Carrier {
    Carrier::new(&Way::Command { command: words.iter().map(|w| (*w).to_owned()).collect() }, None)
}

#[tokio::test]
async fn a_webhook_posts_the_contracts_object() {
    let mut probe = Probe::start(&[(200, "ok")]).await;
    assert_eq!(hook(&probe, None).send(&letter(), DEADLINE).await, Sent::Done);
    let request = probe.request().await;
    let head = request.head.to_lowercase();
    assert!(head.starts_with("post /heat http/1.1") && head.contains("content-type: application/json"), "{head}");
    assert!(!head.contains("authorization"));
    let json = request.json();
    let fields = [
        ("t", json!(1_772_366_400.0)),
        ("nest", json!("oak")),
        ("alarm", json!("probe-hot")),
        ("priority", json!("danger")),
        ("event", json!("raised")),
        ("probe", json!("oak-node:warm")),
        ("shelf", json!("study")),
        ("where", json!("study, oak board")),
    ];
    for (key, value) in fields {
        assert_eq!(json[key], value, "{key}");
    }
    let text = json["text"].as_str().expect("a text");
    assert!(text.starts_with(json["title"].as_str().expect("a title")) && text.contains("Smoke, flame"), "{text}");
}

#[tokio::test]
async fn a_test_letter_has_every_field_a_receiver_may_count_on() {
    let context = samples::context();
    let letter = Letter::test(Timestamp::from_unix_ms(5_000), test_message(&context, "12345678", None), &context);
    for key in ["t", "nest", "alarm", "priority", "event", "text"] {
        assert!(letter.json.get(key).is_some(), "{key}");
    }
}

#[tokio::test]
async fn the_token_is_read_at_each_sending_and_never_logged_as_an_error() {
    let mut probe = Probe::start(&[]).await;
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("token");
    let way = hook(&probe, Some(path.clone()));
    let missing = way.send(&letter(), DEADLINE).await;
    assert!(matches!(&missing, Sent::Unreachable(why) if why.contains("token")), "{missing:?}");
    for token in ["first", "second"] {
        std::fs::write(&path, format!("{token}\n")).expect("written");
        assert_eq!(way.send(&letter(), DEADLINE).await, Sent::Done);
        assert!(probe.request().await.head.contains(&format!("Bearer {token}")));
    }
}

#[tokio::test]
async fn answers_are_told_apart_by_who_is_at_fault() {
    for (status, refused) in
        [(301, true), (400, true), (404, true), (408, false), (429, false), (500, false), (503, false)]
    {
        let probe = Probe::start(&[(status, "no")]).await;
        let sent = hook(&probe, None).send(&letter(), DEADLINE).await;
        match sent {
            Sent::Refused(why) => assert!(refused && why.contains(&status.to_string()), "{status}: {why}"),
            Sent::Unreachable(why) => assert!(!refused && why.contains(&status.to_string()), "{status}: {why}"),
            Sent::Done => panic!("{status} taken for success"),
        }
    }
}

#[tokio::test]
async fn nobody_there_is_said_without_the_address_that_may_hold_a_secret() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let url = format!("http://{}/hook/s3cret", listener.local_addr().expect("its address"));
    drop(listener);
    let sent =
        Carrier::new(&Way::Webhook { url, token_file: None, secret_file: None }, None).send(&letter(), DEADLINE).await;
    assert!(matches!(&sent, Sent::Unreachable(why) if !why.contains("s3cret")), "{sent:?}");
}

#[tokio::test]
async fn a_server_that_never_answers_is_cut_off() {
    let mut probe = Probe::start(&[(0, "")]).await;
    let sent = hook(&probe, None).send(&letter(), Duration::from_millis(500)).await;
    assert!(matches!(&sent, Sent::Unreachable(why) if why.contains("cut off")), "{sent:?}");
    probe.request().await;
}

#[tokio::test]
async fn a_command_gets_the_object_on_its_input() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("letter.json");
    let script = format!("cat > {}", path.display());
    assert_eq!(command(&["sh", "-c", &script]).send(&letter(), DEADLINE).await, Sent::Done);
    let text = std::fs::read_to_string(&path).expect("written by the command");
    assert_eq!(serde_json::from_str::<Value>(&text).expect("JSON"), letter().json);
}

#[tokio::test]
async fn a_command_that_fails_is_said_so() {
    for (words, refused, part) in [
        (&["sh", "-c", "cat >/dev/null; exit 3"][..], true, "3"),
        (&["sh", "-c", "exit 4"], true, "4"),
        (&["no-such-program-here"], false, "starting no-such-program-here"),
    ] {
        match command(words).send(&letter(), DEADLINE).await {
            Sent::Refused(why) => assert!(refused && why.contains(part), "{why}"),
            Sent::Unreachable(why) => assert!(!refused && why.contains(part), "{why}"),
            Sent::Done => panic!("{words:?} taken for success"),
        }
    }
}

#[tokio::test]
async fn a_command_that_does_not_read_still_counts_by_its_exit_code() {
    assert_eq!(command(&["true"]).send(&letter(), DEADLINE).await, Sent::Done);
}

#[tokio::test]
async fn a_command_that_overruns_is_killed() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("pid");
    let script = format!("echo $$ > {0}.part; mv {0}.part {0}; exec sleep 600", path.display());
    let sent = command(&["sh", "-c", &script]).send(&letter(), Duration::from_secs(2)).await;
    assert!(matches!(&sent, Sent::Unreachable(why) if why.contains("cut off")), "{sent:?}");
    let pid = std::fs::read_to_string(&path).expect("its pid");
    let process = PathBuf::from(format!("/proc/{}/stat", pid.trim()));
    let gone = tokio::time::timeout(DEADLINE, async {
        // A zombie is dead too; its state stands behind the program's name.
        while std::fs::read_to_string(&process).is_ok_and(|stat| !stat.contains(") Z")) {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    });
    gone.await.expect("the program was killed");
}

#[tokio::test]
async fn what_cannot_be_used_says_so_instead_of_keeping_quiet() {
    let way = Way::Mqtt { topic: "study/messages".to_owned() };
    assert!(matches!(Carrier::new(&way, None).send(&letter(), DEADLINE).await, Sent::Refused(_)));
}

#[tokio::test]
async fn a_signed_message_can_be_checked_by_whoever_has_the_key_and_is_read_from_its_own_bytes() {
    let mut probe = Probe::start(&[]).await;
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("secret");
    std::fs::write(&path, "a key of the keeper's\n").expect("written");
    let way = Way::Webhook { url: probe.url("/heat"), token_file: None, secret_file: Some(path) };
    assert_eq!(Carrier::new(&way, None).send(&letter(), DEADLINE).await, Sent::Done);
    let request = probe.request().await;
    let header = |name: &str| {
        let line = request.head.lines().find(|line| line.to_lowercase().starts_with(&format!("{name}:")));
        line.and_then(|line| line.split_once(':')).map(|(_, value)| value.trim().to_owned()).expect("the header")
    };
    let at = header(TIME_HEADER);
    let signature = hex(&sign(b"a key of the keeper's", &[format!("{at}.{}", request.body).as_bytes()]));
    assert_eq!(header(SIGNATURE_HEADER), format!("sha256={signature}"));
    // RFC 3339, section 5.6, and the moment of the change.
    let moment: jiff::Timestamp = at.parse().expect("RFC 3339");
    assert_eq!(moment.as_second(), 1_772_366_400);
    assert!(at.len() == 20 && at.ends_with('Z') && at.as_bytes()[10] == b'T', "{at}");
}

#[tokio::test]
async fn without_its_key_a_message_is_not_sent_unsigned() {
    let probe = Probe::start(&[]).await;
    let way = Way::Webhook { url: probe.url("/"), token_file: None, secret_file: Some(PathBuf::from("no-such-key")) };
    let sent = Carrier::new(&way, None).send(&letter(), DEADLINE).await;
    assert!(matches!(&sent, Sent::Unreachable(why) if why.contains("no-such-key")), "{sent:?}");
    assert!(!probe.has_more());
}

#[tokio::test]
async fn a_mail_server_that_is_not_there_refuses_or_hangs_is_told_apart() {
    let way = |server: String| Way::Mail {
        server,
        from: "shelf@example.org".to_owned(),
        to: vec!["keeper@example.org".to_owned()],
        user: None,
        password_file: None,
        ca_file: None,
    };
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let at = listener.local_addr().expect("its address");
    let server = std::thread::spawn(move || {
        use std::io::{BufRead as _, Write as _};
        let (mut stream, _) = listener.accept().expect("a caller");
        stream.write_all(b"220 here\r\n").expect("greeted");
        let mut lines = std::io::BufReader::new(stream.try_clone().expect("a second hand")).lines();
        while let Some(Ok(line)) = lines.next() {
            let answer: &[u8] = match line.get(..4) {
                Some("RCPT") => b"550 nobody of that name\r\n",
                Some("QUIT") => b"221 bye\r\n",
                _ => b"250 ok\r\n",
            };
            if stream.write_all(answer).is_err() {
                return;
            }
        }
    });
    let refused = Carrier::new(&way(format!("smtp://{at}")), None).send(&letter(), DEADLINE).await;
    assert!(matches!(&refused, Sent::Refused(why) if why.contains("nobody of that name")), "{refused:?}");
    server.join().expect("the server ended");
    let gone = Carrier::new(&way(format!("smtp://{at}")), None).send(&letter(), DEADLINE).await;
    assert!(matches!(gone, Sent::Unreachable(_)), "{gone:?}");
    // One that takes the call and never says a word.
    let mute = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let at = mute.local_addr().expect("its address");
    let cut = Carrier::new(&way(format!("smtp://{at}")), None).send(&letter(), Duration::from_millis(500)).await;
    assert!(matches!(&cut, Sent::Unreachable(why) if why.contains("cut off")), "{cut:?}");
}
