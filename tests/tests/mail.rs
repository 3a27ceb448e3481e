//! Mail by a real server, in every way in which one is spoken to; and a danger from the probe to the answer behind the
//! link in the mail.
use serde_json::Value;
use std::net::TcpListener;
use std::path::Path;
use tests::daemon::Daemon;
use tests::mail::{MailServer, Security};
use tests::node::Node;
use tests::story::warmth;
use tests::{SOON, http, minute_now_s, program, shelf, wait};

fn notice(server: &str, more: &str) -> String {
    format!(
        "[[notice]]\nway = \"mail\"\nserver = \"{server}\"\nfrom = \"shelf@example.org\"\nto = [\"keeper@example.org\"]\n{more}"
    )
}

fn part<'a>(mail: &'a Value, kind: &str) -> &'a Value {
    let parts = mail["parts"].as_array().unwrap();
    parts.iter().find(|part| part["type"] == kind).unwrap_or_else(|| panic!("no {kind} in {mail}"))
}

/// `alarms test` with this way alone: the exit code and what was said.
fn tested(dir: &Path, notice: &str) -> program::Ended {
    shelf::write(dir, &[shelf::PLAIN, shelf::SERVICES, notice]);
    program::run(["alarms", "test", "--shelf", &dir.join("shelf.toml").to_string_lossy()])
}

#[test]
fn mail_goes_out_in_the_clear_on_this_machine_and_encrypted_and_named_elsewhere() {
    let names = "user = \"shelf\"\npassword_file = \"password\"\nca_file = \"mail.pem\"\n";
    for (security, scheme, keys) in [
        (Security::Plain, "smtp", ""),
        (Security::StartTls, "smtp", names),
        (Security::Tls, "smtps", "ca_file = \"mail.pem\"\n"),
    ] {
        let dir = tempfile::tempdir().unwrap();
        let server = MailServer::open(dir.path(), security);
        std::fs::write(dir.path().join("password"), "a long word\n").unwrap();
        let at = format!("{scheme}://127.0.0.1:{}", server.port);
        let ended = tested(dir.path(), &notice(&at, keys));
        assert_eq!(ended.code, 0, "{security:?}: {ended:?}");
        assert!(ended.out.contains("mail: sent, and accepted"), "{security:?}: {ended:?}");
        assert!(ended.out.contains("last seen by a person never"), "{security:?}: {ended:?}");
        let mail = server.titled("Test ");
        assert_eq!(mail["defects"], serde_json::json!([]), "{mail}");
        let head = |name: &str| mail["head"][name].as_str().unwrap_or_else(|| panic!("{name} in {mail}"));
        assert_eq!((head("From"), head("To")), ("shelf@example.org", "keeper@example.org"));
        assert_eq!(head("Auto-Submitted"), "auto-generated");
    }
}

#[test]
fn a_password_or_certificate_that_is_wrong_is_said_and_nothing_is_sent() {
    let dir = tempfile::tempdir().unwrap();
    let server = MailServer::open(dir.path(), Security::StartTls);
    let at = format!("smtp://127.0.0.1:{}", server.port);
    std::fs::write(dir.path().join("password"), "a wrong word\n").unwrap();
    let names = "user = \"shelf\"\npassword_file = \"password\"\n";
    for (keys, why) in [(format!("{names}ca_file = \"mail.pem\"\n"), "535"), (names.to_owned(), "")] {
        let ended = tested(dir.path(), &notice(&at, &keys));
        assert!(ended.code == 1 && ended.out.contains("not accepted") && ended.out.contains(why), "{ended:?}");
    }
    assert!(server.came().is_empty(), "nothing was sent");
}

#[test]
fn a_danger_comes_by_mail_with_its_picture_and_is_answered_by_its_link() {
    let dir = tempfile::tempdir().unwrap();
    let server = MailServer::open(dir.path(), Security::Tls);
    // A port of its own, so that the link can name it.
    let web = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let services = shelf::SERVICES
        .replace("[web]\nlisten = \"127.0.0.1:0\"", &format!("[web]\nlisten = \"{web}\"\nurl = \"http://{web}\""));
    let way = notice(&format!("smtps://127.0.0.1:{}", server.port), "ca_file = \"mail.pem\"\n");
    shelf::write(dir.path(), &[shelf::PLAIN, &services, &way]);
    let daemon = Daemon::run(dir.path());
    assert!(daemon.get("/").contains("Nobody has yet seen a test message by mail"), "the page asks for a proof");

    let mut node = Node::new("oak-node", 7);
    node.connect(daemon.broker);
    let now_s = minute_now_s();
    for (i, c) in [28.0, 28.0, 45.0, 45.2, 45.1, 45.3].into_iter().enumerate() {
        node.say(&[warmth("oak-node", "warm", now_s - 180.0 + 30.0 * i as f64, c)]);
    }
    node.answered(0);
    let mail = server.titled("DANGER: nest oak, ");
    let (text, picture) = (part(&mail, "text/plain"), part(&mail, "image/png"));
    let text = text["text"].as_str().unwrap();
    for wanted in
        ["Smoke, flame or a burning smell", "How sure: ", "Now: Warmth along oak", "To answer, or to pass it on"]
    {
        assert!(text.contains(wanted), "{wanted} is not in:\n{text}");
    }
    assert_eq!(picture["head"], "89504e470d0a1a0a", "PNG's signature (W3C PNG, section 5.2)");
    let html = part(&mail, "text/html")["text"].as_str().unwrap();
    assert!(html.contains("cid:profile") && html.contains("alt=\"Warmth along oak"), "{html}");
    assert_eq!(mail["head"]["Importance"], "high");

    // The page behind the link: looking does nothing, the button answers.
    let path = text.lines().find_map(|line| line.split_once(&format!("http://{web}"))).expect("a link").1.trim();
    let (status, page) = http::get(web, path);
    assert!(status == 200 && page.contains("I am there, I am seeing to it"), "{status}: {page}");
    let states = || -> Vec<Value> {
        let now = daemon.now();
        let alarms = now["nests"][0]["alarms"].as_array().unwrap();
        alarms.iter().filter(|a| a["priority"] == "danger").map(|a| a["state"].clone()).collect()
    };
    assert!(states().iter().all(|state| state == "unacknowledged"), "{:?}", states());
    let (status, page) = http::post(web, path, "do=here");
    assert_eq!(status, 200, "{page}");
    wait("it is acknowledged", SOON, || states().contains(&"acknowledged".into()).then_some(()));
    assert_eq!(http::get(web, path).0, 410, "the link works once");

    // The test's third step, by the code in the mail.
    let ended = daemon.command(&["alarms", "test"]);
    assert_eq!(ended.code, 0, "{ended:?}");
    let title = server.titled("Test ")["head"]["Subject"].as_str().unwrap().to_owned();
    let code = title.get(5..13).unwrap();
    let seen = daemon.command(&["alarms", "test", "--seen", code]);
    assert!(seen.code == 0 && seen.out.contains("mail: seen by a person"), "{seen:?}");
    wait("the page asks no more", SOON, || (!daemon.get("/").contains("Nobody has yet seen")).then_some(()));
    assert_eq!(daemon.stop(), 0);

    // What was proved stays proved; what was told and answered is not told as new.
    let mails = server.came().len();
    let daemon = Daemon::run(dir.path());
    assert!(!daemon.get("/").contains("Nobody has yet seen"), "it is proved still");
    assert_eq!(server.came().len(), mails);
    assert_eq!(daemon.stop(), 0);
}
