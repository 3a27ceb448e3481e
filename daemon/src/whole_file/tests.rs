use super::*;
use std::cell::Cell;

pub(crate) const STEPS: [Step; 5] = [Step::Beginning, Step::Writing, Step::Syncing, Step::Naming, Step::SyncingName];

thread_local! {
    /// The step that fails on this thread.
    static FAILS: Cell<Option<Step>> = const { Cell::new(None) };
}

/// What `work` gives while `step` fails, as on a full disk.
pub(crate) fn failing<T>(step: Step, work: impl FnOnce() -> T) -> T {
    FAILS.set(Some(step));
    let done = work();
    FAILS.set(None);
    done
}

pub(super) fn fault(step: Step) -> io::Result<()> {
    if FAILS.get() == Some(step) { Err(ErrorKind::StorageFull.into()) } else { Ok(()) }
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[cfg(unix)]
fn mode(path: &Path) -> u32 {
    std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(path).unwrap().permissions()) & 0o777
}

#[test]
fn whichever_step_fails_the_old_file_or_the_new_one_is_there_whole_and_the_error_says_all_of_it() {
    for new in [false, true] {
        for step in STEPS {
            let dir = tempfile::tempdir().unwrap();
            let path = dir.path().join("month.csv");
            if !new {
                std::fs::write(&path, "before").unwrap();
            }
            // Left over from a crash: it stands in nobody's way.
            std::fs::write(beside(&path, PART), "half of it").unwrap();
            let error = failing(step, || save(&path, Readers::AsBefore, b"after").unwrap_err());
            assert_eq!((error.step, error.why.kind()), (step, ErrorKind::StorageFull));
            let text = error.to_string();
            assert!(text.contains(&path.display().to_string()) && text.contains("no storage space"), "{text}");
            let todo = if step == Step::SyncingName { "Check the disk" } else { "Free some space" };
            assert!(text.contains(todo), "{text}");
            let wanted: Option<&[u8]> = match (step, new) {
                (Step::SyncingName, _) => Some(b"after"),
                (_, false) => Some(b"before"),
                (_, true) => None,
            };
            assert_eq!(std::fs::read(&path).ok().as_deref(), wanted, "{step:?}");
            // Where nothing could be begun, nothing could be tidied either.
            let left = names(dir.path()).iter().any(|name| name.ends_with(PART));
            assert_eq!(left, step == Step::Beginning, "{step:?}");
            save(&path, Readers::AsBefore, b"at last").unwrap();
            assert_eq!(std::fs::read(&path).unwrap(), b"at last");
            assert_eq!(names(dir.path()), ["month.csv"], "{step:?}");
        }
    }
}

#[test]
fn what_the_filler_says_comes_back_and_leaves_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("month.csv");
    let why = write(&path, Readers::AsBefore, |out| -> anyhow::Result<()> {
        out.write_all(b"half")?;
        anyhow::bail!("the history ended")
    });
    assert_eq!(why.unwrap_err().to_string(), "the history ended");
    assert!(names(dir.path()).is_empty());
}

#[test]
fn each_refusal_of_the_system_says_what_helps_against_it() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("file");
    std::fs::write(&file, "").unwrap();
    for (path, todo) in [
        (dir.path().join("none/x"), "directory"),
        (file.join("x"), "directory"),
        (dir.path().to_owned(), "another name"),
        (Path::new("/proc/self/x").to_owned(), ""),
    ] {
        let error = save(&path, Readers::AsBefore, b"after").unwrap_err();
        assert_eq!(error.step, Step::Beginning, "{error}");
        let text = error.to_string();
        assert!(text.contains(&path.display().to_string()) && text.contains(todo), "{text}");
    }
    assert_eq!(names(dir.path()), ["file"]);
}

#[cfg(unix)]
#[test]
fn nobody_reads_it_who_could_not_before_and_a_secret_is_its_owners_from_the_first_byte() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let (secret, shared, usual) = (dir.path().join("secret"), dir.path().join("shared"), dir.path().join("usual"));
    File::create(&usual).unwrap();
    for half in [false, true] {
        if half {
            // What a crash left may have been open to all.
            std::fs::write(beside(&secret, PART), "half").unwrap();
            std::fs::set_permissions(beside(&secret, PART), PermissionsExt::from_mode(0o666)).unwrap();
        }
        let part = Part::begin(&secret, Readers::Owner).unwrap();
        assert_eq!(mode(part.name()), 0o600);
        part.put().unwrap();
        assert_eq!(mode(&secret), 0o600);
        // Somebody opened the one before: the next is its owner's again.
        std::fs::set_permissions(&secret, PermissionsExt::from_mode(0o644)).unwrap();
    }
    save(&shared, Readers::AsBefore, b"new").unwrap();
    assert_eq!(mode(&shared), mode(&usual), "what is new is as the system has it");
    for bits in [0o600, 0o640, 0o444] {
        std::fs::set_permissions(&shared, PermissionsExt::from_mode(bits)).unwrap();
        let part = Part::begin(&shared, Readers::AsBefore).unwrap();
        assert_eq!(mode(part.name()), 0o600, "not while it is half");
        part.put().unwrap();
        assert_eq!(mode(&shared), bits);
        save(&usual, Readers::Of(&shared), b"like that").unwrap();
        assert_eq!(mode(&usual), bits);
    }
}

#[cfg(unix)]
#[test]
fn a_link_stays_a_link_and_what_is_no_file_is_written_to_as_it_stands() {
    let dir = tempfile::tempdir().unwrap();
    let (file, link) = (dir.path().join("elsewhere"), dir.path().join("link"));
    std::fs::write(&file, "before").unwrap();
    std::os::unix::fs::symlink(&file, &link).unwrap();
    save(&link, Readers::AsBefore, b"after").unwrap();
    assert_eq!((std::fs::read(&file).unwrap(), link.is_symlink()), (b"after".to_vec(), true));
    let nothing = Path::new("/dev/null");
    save(nothing, Readers::AsBefore, b"after").unwrap();
    assert!(!nothing.is_file());
    let full = save(Path::new("/dev/full"), Readers::AsBefore, b"after").unwrap_err();
    assert_eq!((full.step, full.why.kind()), (Step::Writing, ErrorKind::StorageFull), "{full}");
}

#[test]
fn two_that_make_one_file_at_once_never_mix_and_the_second_is_told_of_the_first() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("month.csv");
    let first = Part::begin(&path, Readers::AsBefore).unwrap();
    let second = Part::begin(&path, Readers::AsBefore).unwrap_err();
    assert_eq!((second.step, second.why.kind()), (Step::Beginning, ErrorKind::ResourceBusy));
    assert!(second.to_string().contains("Another command is making this file"), "{second}");
    (&first.file).write_all(b"whole").unwrap();
    first.put().unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), b"whole");
    save(&path, Readers::AsBefore, b"after").unwrap();
    assert_eq!(names(dir.path()), ["month.csv"]);
}

#[cfg(unix)]
#[test]
fn half_a_file_of_another_is_neither_given_the_name_nor_removed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("month.csv");
    let own = Part::begin(&path, Readers::AsBefore).unwrap();
    std::fs::remove_file(own.name()).unwrap();
    std::fs::write(own.name(), "another's").unwrap();
    assert_eq!(own.put().unwrap_err().step, Step::Naming);
    assert_eq!(names(dir.path()), ["month.csv.part"]);
}
