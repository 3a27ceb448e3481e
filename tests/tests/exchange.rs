//! Keepers take their data along: out of a running daemon, into another, and a backup back.
use tests::daemon::Daemon;
use tests::node::Node;
use tests::story::warmth;
use tests::{minute_now_s, program, shelf};

#[test]
fn what_a_running_daemon_writes_out_another_takes_in_and_a_backup_puts_back() {
    let dir = tempfile::tempdir().unwrap();
    shelf::write(dir.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let daemon = Daemon::run(dir.path());
    let mut node = Node::new("oak-node", 1);
    node.connect(daemon.broker);
    let from_s = minute_now_s() - 7_200.0;
    for k in 0..60 {
        let t = from_s + 60.0 * f64::from(k);
        node.say(&[warmth("oak-node", "warm", t, 25.0 + f64::from(k) / 100.0), warmth("oak-node", "cool", t, 21.0)]);
    }
    node.answered(0);
    let (text, copy) = (dir.path().join("out.senml"), dir.path().join("copy.db"));
    let [text, copy] = [&text, &copy].map(|path| path.to_string_lossy().into_owned());
    let out = daemon.command(&["export", "--format", "sensml", "--out", &text]);
    assert_eq!((out.code, out.err.lines().next()), (0, Some("120 readings")), "{}", out.err);
    let backup = daemon.command(&["export", "--backup", &copy]);
    assert_eq!(backup.code, 0, "{}", backup.err);
    // History is held: nothing can be put in beneath the daemon.
    for line in [&["import", "--format", "sensml", &text][..], &["import", "--backup", &copy]] {
        let refused = daemon.command(line);
        assert!(refused.code == 1 && refused.err.contains("another warmend uses it"), "{refused:?}");
    }
    assert_eq!(daemon.stop(), 0);

    let other = tempfile::tempdir().unwrap();
    shelf::write(other.path(), &[shelf::PLAIN, shelf::SERVICES]);
    let on = |args: &[&str]| {
        let shelf = other.path().join("shelf.toml");
        program::run(args.iter().copied().chain(["--shelf", &shelf.to_string_lossy()]))
    };
    let taken = on(&["import", "--format", "sensml", &text]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    assert!(taken.err.contains("120 readings stored, 0 were there already"), "{}", taken.err);
    let again = on(&["export", "--format", "sensml"]);
    assert_eq!(again.out, std::fs::read_to_string(&text).unwrap());
    let put = on(&["import", "--backup", &copy]);
    assert_eq!(put.code, 0, "{}", put.err);
    assert_eq!(on(&["export", "--format", "sensml"]).out, again.out);
    let daemon = Daemon::run(other.path());
    assert_eq!(daemon.metric("up"), Some(1.0));
    assert_eq!(daemon.stop(), 0);
    // Called wrongly is 2, an empty file 1.
    assert_eq!(on(&["export"]).code, 2);
    assert_eq!(on(&["import", "--format", "toml", &text]).code, 2);
    assert_eq!(on(&["export", "--format", "csv", "--backup", "x"]).code, 2);
}
