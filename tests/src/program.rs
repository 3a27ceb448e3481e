//! The program itself: where it is, and one call of it.
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

/// The variable that names the program to be tested.
pub const VARIABLE: &str = "WARMEND_BIN";

/// The program: [`VARIABLE`], or built once in the profile of the tests.
pub fn binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| match std::env::var_os(VARIABLE) {
        Some(path) => std::fs::canonicalize(&path).unwrap_or_else(|e| panic!("{VARIABLE} is {}: {e}", path.display())),
        None => build(),
    })
}

fn build() -> PathBuf {
    // target/<profile>/deps/<this test>
    let own = std::env::current_exe().unwrap();
    let profile = own.ancestors().nth(2).unwrap();
    let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    cargo.current_dir(root()).args(["build", "-p", "warmend", "--bin", "warmend", "--locked", "--quiet"]);
    if profile.ends_with("release") {
        cargo.arg("--release");
    }
    assert!(cargo.status().unwrap().success(), "warmend cannot be built");
    profile.join("warmend")
}

/// The repository.
pub fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

/// A call of the program, not yet started: nothing of the caller's environment sets it.
pub fn call(args: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Command {
    let mut command = Command::new(binary());
    let own = std::env::vars_os().filter(|(name, _)| name.to_string_lossy().starts_with("WARMEND_"));
    for (name, _) in own {
        command.env_remove(name);
    }
    command.args(args).stdin(Stdio::null());
    command
}

/// What a call of the program came to.
#[derive(Debug)]
pub struct Ended {
    /// Its exit code.
    pub code: i32,
    /// What it said.
    pub out: String,
    /// What it complained of.
    pub err: String,
}

impl From<Output> for Ended {
    fn from(output: Output) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        Self { code: output.status.code().unwrap_or(-1), out: text(&output.stdout), err: text(&output.stderr) }
    }
}

/// Calls the program and waits for its end.
pub fn run(args: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Ended {
    call(args).output().unwrap().into()
}
