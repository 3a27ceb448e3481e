//! What the daemon learned of a nest, from outside: kept over restarts, listed, put back, taken along.
use serde_json::Value;
use std::path::Path;
use tests::daemon::Daemon;
use tests::program::{self, Ended};
use tests::{SOON, minute_now_s, shelf, story, wait};

fn on(dir: &Path, args: &[&str]) -> Ended {
    let shelf = dir.join("shelf.toml");
    program::run(args.iter().copied().chain(["--shelf", &shelf.to_string_lossy()]))
}

#[track_caller]
fn done(ended: &Ended) -> &str {
    assert_eq!(ended.code, 0, "{ended:?}");
    &ended.out
}

/// The fits that are kept.
#[track_caller]
fn fits(dir: &Path) -> Vec<Value> {
    done(&on(dir, &["fit", "--list", "--json"])).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// The number of the one in force.
fn in_force(fits: &[Value]) -> Option<i64> {
    fits.iter().find(|f| f["in_force"] == true)?["number"].as_i64()
}

#[test]
fn fits_outlive_restarts_are_put_back_and_go_where_the_backup_goes() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let spec = story::oak(minute_now_s() - 30.0 * 3600.0);
    shelf::write(dir, &[&shelf::of(&spec), shelf::SERVICES]);
    let text = dir.join("days.senml").to_string_lossy().into_owned();
    std::fs::write(&text, story::recording(&spec, 5, 29.9)).unwrap();
    done(&on(dir, &["import", "--format", "sensml", &text]));
    assert_eq!(fits(dir), [] as [Value; 0]);

    // What a day and a half teaches is learned at the start, and kept.
    let daemon = Daemon::run(dir);
    let first = wait("its fits are kept", SOON, || Some(fits(dir)).filter(|fits| fits.len() >= 4));
    let newest = in_force(&first).unwrap();
    let page = daemon.get("/");
    assert!(page.contains("how it carries heat, up to") && page.contains("warmend fit --nest oak"), "{page}");
    // A former one is put back while it runs, and stays over a kill.
    let former = first.iter().find(|f| f["refused"].is_null() && f["number"] != newest).unwrap();
    let former = former["number"].as_i64().unwrap();
    let put_back = ["fit", "--put-back", &former.to_string(), "--nest", "oak", "--why", "the lid was off"];
    assert!(done(&on(dir, &put_back)).contains("is in force"));
    assert_eq!(in_force(&fits(dir)), Some(former));
    let unknown = on(dir, &["fit", "--put-back", "9999", "--nest", "oak"]);
    assert!(unknown.code == 1 && unknown.err.contains("has no fit 9999"), "{unknown:?}");
    assert!(done(&on(dir, &["note", "list"])).contains("the lid was off"));
    let one = done(&on(dir, &["fit", "--show", &newest.to_string(), "--json"])).to_owned();
    let file = dir.join("fit.json").to_string_lossy().into_owned();
    std::fs::write(&file, &one).unwrap();
    let take = ["fit", "--take", &file, "--nest", "oak"];
    let refused = on(dir, &take);
    assert!(refused.code == 1 && refused.err.contains("Stop it first"), "{refused:?}");
    daemon.kill();
    let daemon = Daemon::run(dir);
    let after = fits(dir);
    assert_eq!(in_force(&after), Some(former));
    let copy = dir.join("copy.db").to_string_lossy().into_owned();
    done(&daemon.command(&["export", "--backup", &copy]));
    assert_eq!(daemon.stop(), 0);

    // One that was written out is taken in again, under another number.
    done(&on(dir, &take));
    let taken = fits(dir);
    assert_eq!((taken.len(), in_force(&taken)), (after.len() + 1, taken.last().unwrap()["number"].as_i64()));
    // The backup brings back what it saw.
    done(&on(dir, &["import", "--backup", &copy]));
    assert_eq!(fits(dir), after);
}

#[test]
fn history_teaches_without_a_daemon_in_words_and_for_machines() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let spec = story::oak(minute_now_s() - 20.0 * 3600.0);
    shelf::write(dir, &[&shelf::of(&spec), shelf::SERVICES]);
    let text = dir.join("day.senml").to_string_lossy().into_owned();
    std::fs::write(&text, story::recording(&spec, 5, 19.0)).unwrap();
    done(&on(dir, &["import", "--format", "sensml", &text]));
    let words = on(dir, &["fit"]);
    for part in
        ["nest oak: learned from", "heat of the mat into the nest", "brood place's mean", "not a safety assessment"]
    {
        assert!(done(&words).contains(part), "{part}: {}", words.out);
    }
    let json: Value = serde_json::from_str(done(&on(dir, &["fit", "--nest", "oak", "--json"]))).unwrap();
    let known = json["known"].as_array().unwrap();
    assert!(known.iter().any(|k| k["what"] == "pad-heat" && k["unit"] == "W/m²" && k["told"] == true), "{json}");
    assert!(json["best_place"]["at_mm"].is_f64() && json["fit"]["covariance"].as_array().unwrap().len() > 100);
    // Kept, it is there for the daemon's start.
    assert!(done(&on(dir, &["fit", "--nest", "oak", "--keep"])).contains("in force"));
    assert_eq!(in_force(&fits(dir)), Some(1));
    for (code, args) in [
        (2, &["fit", "--nest", "elm"][..]),
        (2, &["fit", "--from", "monday"]),
        (2, &["fit", "--keep"]),
        (2, &["fit", "--list", "--show", "1"]),
        (2, &["fit", "--from", "1h", "--to", "2h"]),
        (1, &["fit", "--show", "7"]),
        (1, &["fit", "--from", "30m", "--nest", "oak"]),
        (1, &["fit", "--take", &text, "--nest", "oak"]),
    ] {
        let ended = on(dir, args);
        assert_eq!(ended.code, code, "{args:?}: {ended:?}");
    }
}
