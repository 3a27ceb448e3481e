//! The tree itself: what every file owes its readers.
use std::path::{Path, PathBuf};
use std::process::Command;
use tests::program::root;

/// Lines of a file before its tests: more than one thought does not fit on some screens.
const LINES: usize = 400;
/// Files that are longer, and why.
const LONGER: [(&str, &str); 0] = [];

/// Every file that is or would be in the repository, by its path from the root.
fn files() -> Vec<String> {
    let args = ["ls-files", "--cached", "--others", "--exclude-standard"];
    let listed = Command::new("git").args(args).current_dir(root()).output().unwrap();
    assert!(listed.status.success(), "git does not list the files: {}", String::from_utf8_lossy(&listed.stderr));
    let names = String::from_utf8(listed.stdout).unwrap();
    names.lines().filter(|name| root().join(name).is_file()).map(str::to_owned).collect()
}

fn read(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn rust() -> Vec<String> {
    files().into_iter().filter(|name| name.ends_with(".rs")).collect()
}

/// A module that is nothing but the tests of the one above it.
fn is_tests_of_another(name: &str) -> bool {
    name.contains("/src/") && (name.ends_with("/tests.rs") || name.ends_with("_tests.rs"))
}

#[test]
fn every_module_says_what_it_is_for() {
    let silent: Vec<_> =
        rust().into_iter().filter(|name| !is_tests_of_another(name) && !read(name).starts_with("//!")).collect();
    assert!(silent.is_empty(), "no //! at the head of {silent:?}");
}

#[test]
fn files_are_short() {
    let length = |name: &str| {
        let text = read(name);
        let lines: Vec<&str> = text.lines().collect();
        let tests = lines.windows(2).position(|two| two[0] == "#[cfg(test)]" && two[1].contains("mod tests {"));
        tests.unwrap_or(lines.len())
    };
    let excused = |name: &str| LONGER.iter().any(|(longer, _)| *longer == name);
    let ours = rust().into_iter().filter(|name| !is_tests_of_another(name));
    let long: Vec<_> =
        ours.map(|name| (length(&name), name)).filter(|(lines, name)| *lines > LINES && !excused(name)).collect();
    assert!(long.is_empty(), "over {LINES} lines before their tests: {long:?}");
    for (name, why) in LONGER {
        assert!(length(name) > LINES, "{name} needs no excuse any more ({why})");
    }
}

#[test]
fn the_developers_page_names_every_place() {
    let page = read("DEVELOPERS.md");
    let named = |name: &str| {
        let words = page.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '-'));
        words.into_iter().any(|word| word == name)
    };
    let mut places: Vec<String> = rust()
        .iter()
        .filter_map(|name| {
            let dir = Path::new(name).parent()?;
            let in_source = dir.ancestors().skip(1).any(|above| above.ends_with("src"));
            let top = dir.ancestors().nth(1).is_some_and(|above| above.ends_with("src"));
            (in_source && top).then(|| dir.file_name().unwrap().to_string_lossy().into_owned())
        })
        .collect();
    places.sort();
    places.dedup();
    let missing: Vec<_> = places.into_iter().filter(|name| !named(name)).collect();
    assert!(missing.is_empty(), "DEVELOPERS.md does not name {missing:?}");
    for member in ["daemon", "daemon/enclosure", "dashboards", "firmware/node", "firmware/wire", "tests/world", "tests"]
    {
        assert!(page.contains(&format!("`{member}")), "DEVELOPERS.md does not name {member}");
    }
}

#[test]
fn the_readme_begins_with_two_commands_and_its_links_lead_somewhere() {
    let readme = read("README.md");
    let block = readme.split("```").nth(1).and_then(|block| block.strip_prefix("sh\n")).unwrap_or("");
    let commands: Vec<&str> = block.lines().map(|line| line.split('#').next().unwrap_or("").trim()).collect();
    assert_eq!(commands, ["cargo run --release -- demo", "tests/run"]);
    for page in ["README.md", "DEVELOPERS.md"] {
        let text = read(page);
        let links = text.split("](").skip(1).filter_map(|rest| rest.split_once(')').map(|(link, _)| link));
        for link in links.filter(|link| !link.contains("://")) {
            let file = link.split('#').next().unwrap_or("");
            assert!(file.is_empty() || root().join(file).exists(), "{page} leads to {file}, which is not there");
        }
    }
}

#[test]
fn nothing_speaks_of_where_it_was_made_or_of_what_is_to_be_done() {
    // In pieces, so that this file is not its own finding.
    let words = [
        concat!("TO", "DO"),
        concat!("FIX", "ME"),
        concat!("/", "work/"),
        concat!("/", "root/"),
        concat!("/", "home/"),
        concat!("/", "tmp/wt"),
    ];
    for name in files() {
        let Ok(text) = String::from_utf8(std::fs::read(root().join(&name)).unwrap()) else { continue };
        for (i, line) in text.lines().enumerate() {
            let found = words.iter().find(|word| line.contains(**word));
            assert!(found.is_none(), "{name}:{}: {line}", i + 1);
        }
    }
    // Every dependency comes from the public registry.
    let lock = read("Cargo.lock");
    let public = "source = \"registry+https://github.com/rust-lang/crates.io-index\"";
    for line in lock.lines().filter(|line| line.starts_with("source = ")) {
        assert_eq!(line, public);
    }
}

#[test]
fn licences_are_there_and_scripts_can_be_run() {
    for licence in [".licences/MIT.txt", ".licences/Apache-2.0.txt", "dashboards/font/LICENCE.txt"] {
        assert!(read(licence).len() > 500, "{licence}");
    }
    let scripts: Vec<PathBuf> = ["tests/run", "tests/soak", ".ci/run"].iter().map(|name| root().join(name)).collect();
    for script in scripts {
        let sound = Command::new("bash").arg("-n").arg(&script).status().unwrap();
        assert!(sound.success(), "{} is no bash", script.display());
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = std::fs::metadata(&script).unwrap().permissions().mode();
            assert!(mode & 0o111 != 0, "{} cannot be run", script.display());
        }
    }
}
