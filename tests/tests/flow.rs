//! One fault from end to end: nodes over real MQTT, receipts, judgement, history, messages, pages, the keeper's answer.
use serde_json::Value;
use std::time::Duration;
use tests::daemon::Daemon;
use tests::http::Post;
use tests::{SOON, history, minute_now_s, seed, shelf, story, wait};
use world::{Fault, FaultKind, World};

/// The story so far: longer than the nest's first time, in which only danger is raised.
const BEFORE_H: f64 = 14.0;
/// From the fault to now.
const SINCE_H: f64 = 1.5;
/// A pad that sticks is to be told of before this long has passed, in the story's own time.
const MESSAGE_WITHIN: Duration = Duration::from_secs(60);

fn fields(letter: &Value) {
    for (key, kind) in [("t", "number"), ("nest", "text"), ("alarm", "text"), ("priority", "text"), ("event", "text")] {
        let sound =
            if kind == "number" { letter[key].is_f64() || letter[key].is_i64() } else { letter[key].is_string() };
        assert!(sound, "{key} is no {kind}: {letter}");
    }
    let text = letter["text"].as_str().unwrap_or("");
    assert!(text.contains("oak") && text.contains("heating mat") && text.contains("nplug"), "{text}");
}

fn stuck(letters: &[Value]) -> Option<Value> {
    letters.iter().find(|l| l["alarm"] == "heater-stuck-on" && l["event"] == "raised").cloned()
}

#[test]
fn a_pad_that_sticks_is_found_told_shown_kept_and_answered() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let webhook = Post::open();
    let letters = dir.join("letters.jsonl");
    let script = format!("cat >> '{0}' && echo >> '{0}'", letters.display());
    let now_s = minute_now_s();
    let mut spec = story::oak(now_s - (BEFORE_H + SINCE_H) * 3600.0);
    // It begins cold: a first warm-up is part of the story.
    spec.settle_s = 0.0;
    spec.faults.push(Fault::new(FaultKind::StuckOn, 0, now_s - SINCE_H * 3600.0));
    let notices = shelf::notices(webhook.at, &["sh", "-c", &script]);
    shelf::write(dir, &[&shelf::of(&spec), shelf::SERVICES, &notices]);
    let daemon = Daemon::run(dir);
    assert_eq!(daemon.now()["nests"][0]["t"], Value::Null);

    let mut world = World::new(&spec, seed(11));
    let mut nodes = story::Teller::new(&["oak-node", "room"], daemon.broker);
    nodes.tell(&mut world, now_s - SINCE_H * 3600.0);
    assert_eq!(daemon.alarm("oak", "heater-stuck-on"), None);
    nodes.tell(&mut world, now_s);
    let bites_s = world.faults()[0].bites_s.expect("the pad stuck");

    // The page of now for machines: the profile, near the truth, and the alarm.
    let alarm = wait("heater-stuck-on stands", SOON, || daemon.alarm("oak", "heater-stuck-on"));
    assert_eq!((&alarm["state"], &alarm["priority"]), (&"unacknowledged".into(), &"danger".into()));
    let nest = daemon.now()["nests"][0].clone();
    let list = |key: &str| nest[key].as_array().unwrap().iter().filter_map(Value::as_f64).collect::<Vec<_>>();
    let (at_mm, mean_c, sd_c) = (list("at_mm"), list("mean_c"), list("sd_c"));
    assert!(at_mm.len() >= 41 && mean_c.len() == at_mm.len() && sd_c.iter().all(|sd| *sd > 0.0));
    let truth = world.truth("oak").unwrap();
    let off = at_mm.iter().zip(&mean_c).map(|(x, c)| (truth.temp_at(*x) - c).powi(2)).sum::<f64>() / at_mm.len() as f64;
    assert!(off.sqrt() < 2.0, "the profile is {:.2} K off", off.sqrt());

    // Told by both ways, and on the page in words.
    let letter = wait("the webhook is told", MESSAGE_WITHIN, || stuck(&webhook.came()));
    fields(&letter);
    let told = wait("the program is told", MESSAGE_WITHIN, || {
        let text = std::fs::read_to_string(&letters).ok()?;
        stuck(&text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect::<Vec<_>>())
    });
    fields(&told);
    assert!(told["text"].as_str().is_some_and(|text| text.starts_with("DANGER")), "{told}");
    let page = daemon.get("/");
    assert!(
        page.contains("class=\"danger\">Danger in oak") && page.contains("the heating mat will not switch off"),
        "{page}"
    );
    assert!(daemon.get("/nest/oak").contains("<svg"));

    // Kept: every temperature once, also those from before the fault.
    let stored = history::temperatures(&dir.join("warmend.db"));
    assert!(stored.values().all(|times| *times == 1));
    let before =
        stored.keys().filter(|(source, t)| source == "oak-node:warm" && (*t as f64) < bites_s * 1000.0).count();
    assert!(before as f64 > (BEFORE_H * 60.0) * 0.95, "{before}");

    // The keeper answers, and writes down what they saw.
    let listed = daemon.command(&["alarms", "list"]);
    assert!(listed.code == 0 && listed.out.contains("heater-stuck-on@oak"), "{listed:?}");
    let answered = daemon.command(&["alarms", "ack", "heater-stuck-on@oak"]);
    assert_eq!(answered.code, 0, "{answered:?}");
    wait("it is acknowledged", SOON, || {
        (daemon.alarm("oak", "heater-stuck-on")?["state"] == "acknowledged").then_some(())
    });
    let note = ["note", "add", "--nest", "oak", "--kind", "brood", "--at-mm", "60", "cocoons", "by", "the", "mat"];
    assert_eq!(daemon.command(&note).code, 0);
    let notes = daemon.command(&["note", "list"]);
    assert!(notes.code == 0 && notes.out.contains("cocoons by the mat") && notes.out.contains("60"), "{notes:?}");

    assert_eq!(daemon.stop(), 0);
}
