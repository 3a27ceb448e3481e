//! A running daemon: started, asked, stopped, killed.
use crate::program::{self, Ended};
use crate::{SOON, http, wait};
use serde_json::Value;
use std::fs::File;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command};
use std::time::Duration;

/// A daemon or a demonstration, killed by its handle when it is dropped.
#[derive(Debug)]
pub struct Daemon {
    child: Child,
    /// Where its broker is.
    pub broker: SocketAddr,
    /// Where its pages are.
    pub page: SocketAddr,
    dir: PathBuf,
}

impl Daemon {
    /// `warmend run` on `dir/shelf.toml`, open and connected.
    pub fn run(dir: &Path) -> Self {
        let shelf = dir.join("shelf.toml");
        Self::start(dir, &["run", "--shelf", &shelf.to_string_lossy()], SOON)
    }

    /// The same with files of at most so many KiB each: what is written beyond fails, as on a full disk, until
    /// [`Self::lift_limit_of_files`].
    pub fn run_with_files_of(dir: &Path, kib: u32) -> Self {
        // Without the signal the write itself says that it failed (setrlimit(2), RLIMIT_FSIZE).
        Self::run_after(dir, &format!("trap '' XFSZ; ulimit -S -f {kib}"))
    }

    /// The same in a shell that was prepared: with limits, or with its files elsewhere.
    pub fn run_after(dir: &Path, preparing: &str) -> Self {
        let script = format!("{preparing}; exec \"$0\" run --shelf \"$1\"");
        let mut bash = Command::new("bash");
        bash.args(["-c", &script]).arg(program::binary()).arg(dir.join("shelf.toml"));
        Self::of(dir, &mut bash, SOON)
    }

    /// Lets its files grow again.
    pub fn lift_limit_of_files(&self) {
        let lifted = Command::new("prlimit").args(["--pid", &self.id().to_string(), "--fsize=unlimited"]).status();
        assert!(lifted.expect("prlimit (util-linux) is there").success());
    }

    /// Any call that prints where its broker and its page are.
    ///
    /// # Panics
    /// If it does not within `limit`.
    pub fn start(dir: &Path, args: &[&str], limit: Duration) -> Self {
        Self::of(dir, &mut program::call(args), limit)
    }

    fn of(dir: &Path, command: &mut Command, limit: Duration) -> Self {
        let file = |name: &str| File::create(dir.join(name)).unwrap();
        let mut child = command.current_dir(dir).stdout(file("out.log")).stderr(file("err.log")).spawn().unwrap();
        let (broker, page) = wait("both addresses are printed", limit, || {
            if let Some(status) = child.try_wait().unwrap() {
                panic!("it ended with {status}: {}", read(dir, "err.log"));
            }
            let out = read(dir, "out.log");
            let find = |head: &str| out.lines().find_map(|line| line.strip_prefix(head)).map(str::to_owned);
            // A half-written line is no address yet.
            let page = find("page http")?;
            let page = page.trim_start_matches('s').strip_prefix("://")?.strip_suffix('/')?.parse().ok()?;
            Some((find("broker mqtt://")?.parse().ok()?, page))
        });
        Self { child, broker, page, dir: dir.to_owned() }
    }

    /// Its process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Its directory.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// What it logged.
    pub fn log(&self) -> String {
        read(&self.dir, "err.log")
    }

    /// Whether it still runs.
    pub fn lives(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// A page that must be there.
    pub fn get(&self, path: &str) -> String {
        let (status, body) = http::get(self.page, path);
        assert_eq!(status, 200, "{path}: {body}");
        body
    }

    /// `/now.json`.
    pub fn now(&self) -> Value {
        serde_json::from_str(&self.get("/now.json")).unwrap()
    }

    /// The standing alarm `alarm` of a nest.
    pub fn alarm(&self, nest: &str, alarm: &str) -> Option<Value> {
        let now = self.now();
        let nest = now["nests"].as_array()?.iter().find(|n| n["nest"] == nest)?;
        nest["alarms"].as_array()?.iter().find(|a| a["alarm"] == alarm).cloned()
    }

    /// A counter of `/metrics`, as `refused_total{reason="form"}`.
    pub fn metric(&self, name: &str) -> Option<f64> {
        let name = format!("warmend_{name} ");
        self.get("/metrics").lines().find_map(|line| line.strip_prefix(&name)?.parse().ok())
    }

    /// Memory that it holds, MiB (`VmRSS`); Linux tells.
    pub fn memory_mib(&self) -> f64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.id())).unwrap();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        let kib: f64 = line.trim().trim_end_matches("kB").trim().parse().unwrap();
        kib / 1024.0
    }

    /// A command about the same shelf, `alarms list` as one text.
    pub fn command(&self, args: &[&str]) -> Ended {
        let shelf = self.dir.join("shelf.toml");
        program::run(args.iter().copied().chain(["--shelf", &shelf.to_string_lossy()]))
    }

    /// Asks it to end (SIGTERM) and gives its exit code.
    pub fn stop(mut self) -> i32 {
        let asked = Command::new("kill").args(["-TERM", &self.id().to_string()]).status().unwrap();
        assert!(asked.success());
        wait("it ends", SOON, || self.child.try_wait().unwrap()).code().unwrap_or(-1)
    }

    /// Ends it as a power cut does.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Waits until it ends by itself.
    pub fn ends(mut self, limit: Duration) -> i32 {
        wait("it ends by itself", limit, || self.child.try_wait().unwrap()).code().unwrap_or(-1)
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // If it has ended already there is nothing to end.
        drop(self.child.kill());
        drop(self.child.wait());
        if std::thread::panicking() {
            eprintln!("--- the daemon's log\n{}", self.log());
        }
    }
}

fn read(dir: &Path, name: &str) -> String {
    String::from_utf8_lossy(&std::fs::read(dir.join(name)).unwrap_or_default()).into_owned()
}
