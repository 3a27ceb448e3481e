//! An emulated RP2040 with the node's firmware, the very image that is flashed: rp2040js (npm, pinned) with our own models
//! of the chips around it (`tests/rp2040`), and QEMU as nothing but the network between it and the broker.
use crate::board::{EEPROM_BYTES, EMULATOR, build, written};
use crate::program::root;
use crate::{SOON, wait};
use node::settings::Settings;
use serde_json::{Value, json};
use std::fs::File;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex, OnceLock};

fn image() -> &'static Path {
    static IMAGE: OnceLock<PathBuf> = OnceLock::new();
    IMAGE.get_or_init(|| build("rp2040", "thumbv6m-none-eabi"))
}

/// What it said so far.
#[derive(Debug, Default)]
struct Said {
    log: String,
    pad: bool,
    /// The pad's switch, and when, ms of the board's time since its start.
    switched: Vec<(bool, u64)>,
}

impl Said {
    /// When the switch opened after it was closed last.
    fn opened_at_ms(&self) -> Option<u64> {
        self.switched.iter().rev().take_while(|(closed, _)| !closed).last().map(|(_, at)| *at)
    }
}

/// A board under power, and its network; both are killed by their handles when it is dropped.
#[derive(Debug)]
pub struct Flashed {
    network: Child,
    emulator: Child,
    told: ChildStdin,
    said: Arc<Mutex<Said>>,
    dir: PathBuf,
}

impl Flashed {
    /// Gives power to a board with `settings` in its flash, whose connections lead to `broker`; `probes` is told to it
    /// first. What it noted in its EEPROM under `dir` is there again. `pump` is the program of that name.
    pub fn power(dir: &Path, settings: &Settings, (broker, pump): (SocketAddr, &str), probes: &Value) -> Self {
        let harness = root().join("tests/rp2040");
        let installed = harness.join("node_modules/rp2040js/package.json");
        assert!(installed.is_file(), "{} is missing: tests/run installs it, or npm ci there", installed.display());
        let dir = dir.join(format!("{}-flashed", settings.node));
        std::fs::create_dir_all(&dir).unwrap();
        let path = |name: &str| dir.join(name).to_string_lossy().into_owned();
        std::fs::write(path("broker"), broker.to_string()).unwrap();
        std::fs::write(path("settings"), written(settings)).unwrap();
        if !dir.join("eeprom").exists() {
            std::fs::write(path("eeprom"), vec![0xff; EEPROM_BYTES]).unwrap();
        }
        drop(std::fs::remove_file(path("frames")));
        let mut network = Command::new(EMULATOR);
        network.args(["-M", "none", "-display", "none", "-monitor", "none", "-serial", "none", "-netdev"]);
        let forward = format!("guestfwd=tcp:10.0.2.100:1883-cmd:{pump} {}", path("broker"));
        network.args([&format!("user,id=u,restrict=on,{forward}"), "-netdev"]);
        network.arg(format!("stream,id=s,server=on,addr.type=unix,addr.path={}", path("frames")));
        for (id, other) in [("h1", "u"), ("h2", "s")] {
            network.args(["-netdev", &format!("hubport,id={id},hubid=0,netdev={other}")]);
        }
        let errors = |name| File::create(path(name)).unwrap();
        network.stdin(Stdio::null()).stdout(Stdio::null()).stderr(errors("network"));
        let network =
            network.spawn().unwrap_or_else(|e| panic!("{EMULATOR} does not start: {e}; tests/run installs it"));
        wait("the network is there", SOON, || dir.join("frames").exists().then_some(()));
        let mut emulator = Command::new("node");
        emulator.arg(harness.join("board.js")).arg(image());
        emulator.args(["settings", "eeprom", "frames"].map(path));
        let child = emulator.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(errors("errors")).spawn();
        let mut emulator = child.unwrap_or_else(|e| panic!("node does not start: {e}; tests/run installs it"));
        let said = Arc::new(Mutex::new(Said::default()));
        let (lines, own) = (BufReader::new(emulator.stdout.take().unwrap()), Arc::clone(&said));
        // It ends with the emulator's output.
        std::thread::spawn(move || lines.lines().map_while(Result::ok).for_each(|line| take(&own, &line)));
        let told = emulator.stdin.take().unwrap();
        let mut board = Self { network, emulator, told, said, dir };
        board.tell(probes);
        board
    }

    /// Tells the world around it something, as `tests/rp2040/board.js` says.
    pub fn tell(&mut self, what: &Value) {
        writeln!(self.told, "{what}").unwrap();
    }

    /// Sets the probe at the warm end, °C and %RH.
    pub fn warm(&mut self, celsius: f64, humidity: f64) {
        self.tell(&json!({ "warm": [celsius, humidity] }));
    }

    /// Whether the pad's switch is closed.
    pub fn pad(&self) -> bool {
        self.said.lock().unwrap().pad
    }

    /// How often the switch closed, and when first, ms of the board's time.
    pub fn closed_at_ms(&self) -> Vec<u64> {
        self.said.lock().unwrap().switched.iter().filter(|(closed, _)| *closed).map(|(_, at)| *at).collect()
    }

    /// When the switch opened last, ms of the board's time.
    pub fn opened_at_ms(&self) -> Option<u64> {
        self.said.lock().unwrap().opened_at_ms()
    }

    /// When it was hung last, the switch opened after that, and the watchdog bit, ms of that start's time.
    pub fn hung_opened_bitten_ms(&self) -> [Option<u64>; 3] {
        let said = self.said.lock().unwrap();
        let last = |what: &str| said.log.lines().rev().find_map(|line| line.strip_prefix(what)?.parse().ok());
        [last("hanging at "), said.opened_at_ms(), last("the watchdog bites at ")]
    }

    /// What it logged.
    pub fn log(&self) -> String {
        self.said.lock().unwrap().log.clone()
    }

    /// Board time of the first line in the log that says `what`, ms.
    pub fn logged_at_ms(&self, what: &str) -> Option<u64> {
        let log = self.log();
        let line = log.lines().find(|line| line.contains(what))?;
        line.strip_prefix('[')?.split(' ').next()?.parse().ok()
    }

    /// Waits until it logs something.
    #[track_caller]
    pub fn logs(&self, what: &str) {
        wait(&format!("it logs {what:?}"), SOON, || self.log().contains(what).then_some(()));
    }
}

fn take(said: &Mutex<Said>, line: &str) {
    let mut said = said.lock().unwrap();
    match line.split_once(' ') {
        Some(("log", text)) => said.log.extend([text, "\n"]),
        Some(("watchdog", at)) => said.log.extend(["the watchdog bites at ", at, "\n"]),
        Some(("pad", rest)) => {
            let (state, at) = rest.split_once(' ').unwrap_or((rest, ""));
            said.pad = state == "1";
            said.switched.push((state == "1", at.parse().unwrap_or(0)));
        }
        _ => {}
    }
}

impl Drop for Flashed {
    fn drop(&mut self) {
        // If they have ended already there is nothing to end.
        for child in [&mut self.emulator, &mut self.network] {
            drop(child.kill());
            drop(child.wait());
        }
        if std::thread::panicking() {
            let read = |name: &str| std::fs::read_to_string(self.dir.join(name)).unwrap_or_default();
            eprintln!("--- the board's log\n{}--- the emulators'\n{}{}", self.log(), read("errors"), read("network"));
        }
    }
}
