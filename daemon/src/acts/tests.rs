use super::*;
use crate::clock::{ManualClock, SystemClock};
use crate::history::{AlarmRecord, Batch};
use crate::http_probe::Probe;
use crate::notices::samples;
use enclosure::{Alarm, Event};
use std::path::Path;

const NOW: Timestamp = Timestamp::from_unix_ms(1_772_366_400_000);

fn name(text: &str) -> AlarmName {
    told::read(text).expect("a name")
}

fn shelf(dir: &Path) -> ShelfFile {
    let mut file = samples::shelf();
    file.history.path = dir.join("warmend.db");
    file
}

/// A history in which a mat of oak was raised, and another alarm cleared.
fn stored(file: &ShelfFile, state: State) -> Store {
    let mut store = Store::open(&file.history.path, NOW).expect("a new history").store;
    let mut changes: Vec<AlarmRecord> = [Alarm::BroodHot, Alarm::HeaterStuckOn]
        .into_iter()
        .map(|alarm| samples::told(alarm, Event::Raised, "oak").change)
        .collect();
    changes[0].state = State::Normal;
    changes[1].state = state;
    let batch = Batch { changes, ..Batch::default() };
    assert!(store.commit(&[batch]).is_ok_and(|done| done[0].is_ok()));
    store
}

async fn standing(file: &ShelfFile) -> Vec<(String, State)> {
    let all = Keeper::find(file, NOW).expect("a history").standing().await.expect("read");
    all.into_iter().filter(|s| is_shown(s.state)).map(|s| (written(&s.name), s.state)).collect()
}

#[tokio::test]
async fn without_a_daemon_the_history_itself_is_asked_and_changed() {
    let dir = tempfile::tempdir().expect("a directory");
    let file = shelf(dir.path());
    drop(stored(&file, State::Unacknowledged));
    let alarm = "heater-stuck-on@oak";
    assert_eq!(standing(&file).await, [(alarm.to_owned(), State::Unacknowledged)]);
    let act = |act, text: &str| {
        let (file, name) = (file.clone(), name(text));
        async move {
            Keeper::find(&file, NOW).expect("a history").act(act, &name, "", NOW).await.map_err(|e| format!("{e:#}"))
        }
    };
    assert!(act(AlarmAct::Reset, alarm).await.is_err_and(|why| why.contains("still holds")));
    assert_eq!(act(AlarmAct::Acknowledge, alarm).await, Ok(()));
    assert_eq!(standing(&file).await, [(alarm.to_owned(), State::Acknowledged)]);
    assert!(act(AlarmAct::Acknowledge, alarm).await.is_err_and(|why| why.contains("answered already")));
    assert!(act(AlarmAct::Shelve(60), alarm).await.is_err_and(|why| why.contains("1 to 30 minutes")));
    assert_eq!(act(AlarmAct::Shelve(30), alarm).await, Ok(()));
    assert_eq!(standing(&file).await, [(alarm.to_owned(), State::Shelved)]);
    assert_eq!(act(AlarmAct::Unshelve, alarm).await, Ok(()));
    assert!(act(AlarmAct::Acknowledge, "brood-cold@oak").await.is_err_and(|why| why.contains("there is no alarm")));
}

#[tokio::test]
async fn a_latched_alarm_is_reset_without_a_daemon() {
    let dir = tempfile::tempdir().expect("a directory");
    let file = shelf(dir.path());
    drop(stored(&file, State::Latched));
    let mut keeper = Keeper::find(&file, NOW).expect("a history");
    keeper.act(AlarmAct::Reset, &name("heater-stuck-on@oak"), "", NOW).await.expect("reset");
    drop(keeper);
    assert_eq!(standing(&file).await, []);
}

#[tokio::test]
async fn a_note_written_without_a_daemon_is_found_again() {
    let dir = tempfile::tempdir().expect("a directory");
    let file = shelf(dir.path());
    drop(stored(&file, State::Unacknowledged));
    let clock = ManualClock::new(NOW);
    let new = NewNote {
        nest: "oak".to_owned(),
        kind: "brood".to_owned(),
        at_mm: Some(60.0),
        when: Some(Moment::Back(Span::from_h(2))),
        text: vec!["a heap of".to_owned(), "cocoons".to_owned()],
    };
    notes(NoteCommand::Add(new), &file, &clock).await.expect("written");
    let found =
        Keeper::find(&file, NOW).expect("a history").notes(NOW.minus(Span::from_h(3))..NOW).await.expect("read");
    let want = Written {
        at: NOW.minus(Span::from_h(2)),
        nest: Some("oak".to_owned()),
        kind: "brood".to_owned(),
        at_mm: Some(60.0),
        text: "a heap of cocoons".to_owned(),
    };
    assert_eq!(found, [want]);
}

#[test]
fn a_note_about_nowhere_or_the_future_is_refused() {
    let file = samples::shelf();
    let new =
        |nest: &str, at_mm, when| NewNote { nest: nest.to_owned(), kind: "fed".to_owned(), at_mm, when, text: vec![] };
    let later = Moment::At(NOW.plus(Span::from_min(1)));
    for (note, part) in [
        (new("elm", None, None), "oak, plaster"),
        (new("oak", Some(241.0), None), "240 mm"),
        (new("oak", None, Some(later)), "what will be"),
    ] {
        let why = checked(note, &file, NOW).expect_err("refused").to_string();
        assert!(why.contains(part), "{why}");
    }
    assert!(checked(new("oak", Some(240.0), None), &file, NOW).is_ok());
}

#[tokio::test]
async fn a_running_daemon_is_asked_and_the_file_left_alone() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut file = shelf(dir.path());
    let _held = stored(&file, State::Unacknowledged);
    let alarms = r#"{"t":1,"alarms":[{"alarm":"probe-silent","nest":"oak","probe":"oak-node:warm","state":"unacknowledged",
        "since":1772366400.5,"priority":"warning","detail":"Nothing for 12 min."}],"past":[],"left_out":0}"#;
    let mut probe = Probe::start(&[(200, alarms), (200, r#"{"done":true}"#)]).await;
    file.web.listen = probe.address;
    assert_eq!(standing(&file).await, [("probe-silent@oak/oak-node:warm".to_owned(), State::Unacknowledged)]);
    assert!(probe.request().await.head.starts_with("GET /alarms.json "));
    let shelve = AlarmsCommand::Shelve {
        alarm: Named { name: name("probe-silent@oak/oak-node:warm") },
        length: Span::from_s(90 * 60 + 1),
        why: Some("the cable is being mended".to_owned()),
    };
    super::alarms(&shelve, &file, &SystemClock::new()).await.expect("done");
    let request = probe.request().await;
    assert!(request.head.starts_with("POST /act "));
    let want = serde_json::json!({
        "do": "shelve", "alarm": "probe-silent", "nest": "oak", "probe": "oak-node:warm", "minutes": 91,
        "by": "the command line", "why": "the cable is being mended"
    });
    assert_eq!(request.json(), want);
}

#[tokio::test]
async fn a_daemon_that_declines_is_quoted() {
    let probe = Probe::start(&[(409, r#"{"done":false,"why":"brood-hot is not raised"}"#), (500, "oops")]).await;
    let daemon = remote::Daemon::at(probe.address, None).expect("a client");
    for part in ["brood-hot is not raised", "500"] {
        let why = daemon.act(AlarmAct::Acknowledge, &name("brood-hot@oak"), "").await.expect_err("declined");
        assert!(why.to_string().contains(part), "{why:#}");
    }
}

#[tokio::test]
async fn notes_of_a_running_daemon_are_asked_for_by_their_span() {
    let notes =
        r#"{"t":1,"notes":[{"t":1772366000,"nest":"oak","kind":"fed","at_mm":null,"text":"crickets"}],"left_out":0}"#;
    let mut probe = Probe::start(&[(200, notes)]).await;
    let daemon = remote::Daemon::at(probe.address, None).expect("a client");
    let found = daemon.notes(NOW.minus(Span::from_h(1))..NOW).await.expect("read");
    assert_eq!(found.iter().map(|n| n.text.as_str()).collect::<Vec<_>>(), ["crickets"]);
    let head = probe.request().await.head;
    assert!(head.starts_with("GET /notes.json?from=2026-03-01T11%3A00%3A00Z&to=2026-03-01T12%3A00%3A00Z "), "{head}");
}

#[tokio::test]
async fn without_a_history_it_says_what_to_do() {
    let dir = tempfile::tempdir().expect("a directory");
    let file = shelf(dir.path());
    let why = alarms(&AlarmsCommand::List, &file, &SystemClock::new()).await.expect_err("no history");
    assert!(why.to_string().contains("warmend run"), "{why:#}");
    assert!(!file.history.path.exists());
}

#[test]
fn nothing_in_a_list_reaches_the_terminal_as_a_command() {
    let hostile = "\u{1b}[2J\nx".to_owned();
    let note =
        Written { at: NOW, nest: Some(hostile.clone()), kind: hostile.clone(), at_mm: None, text: hostile.clone() };
    let alarm = Standing { name: name("broker-lost"), state: State::Unacknowledged, since: NOW, detail: hostile };
    assert!(!format!("{}{}", note_line(&note), standing_line(&alarm, "warning")).contains('\u{1b}'));
    assert_eq!(note_line(&note).lines().count(), 1);
}

#[tokio::test]
async fn what_a_keeper_did_stands_in_history_with_when_by_which_way_and_why() {
    let dir = tempfile::tempdir().expect("a directory");
    let file = shelf(dir.path());
    drop(stored(&file, State::Unacknowledged));
    let until = NOW.plus(Span::from_h(24 * 90));
    let mut keeper = Keeper::find(&file, NOW).expect("a history");
    let no_heat = name("heater-no-heat@oak");
    keeper.act(AlarmAct::TakeOut(Some(until)), &no_heat, "unplugged for the summer", NOW).await.expect("done");
    let refused = keeper.act(AlarmAct::TakeOut(None), &name("heater-stuck-on@oak"), "", NOW).await;
    assert!(refused.is_err_and(|why| why.to_string().contains("stays in service")));
    drop(keeper);
    let keeper = Keeper::find(&file, NOW).expect("a history");
    let notes = keeper.notes(NOW..NOW.plus(Span::from_s(1))).await.expect("read");
    let text = "heater-no-heat@oak until 2026-05-30T12:00:00Z, by the command line: unplugged for the summer";
    assert_eq!(
        notes.iter().map(|n| (n.kind.as_str(), n.text.as_str())).collect::<Vec<_>>(),
        [("out-of-service", text)]
    );
    drop(keeper);
    let standing = standing(&file).await;
    assert!(standing.contains(&("heater-no-heat@oak".to_owned(), State::OutOfService)), "{standing:?}");
}
