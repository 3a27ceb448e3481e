//! An emulated board with the node's firmware: QEMU's lm3s6965evb, with probes, EEPROM, network and a pad's switch.
use crate::program::root;
use crate::{SOON, wait};
use node::settings::{SETTINGS, Settings};
use node::store::Memory;
use serde_json::{Value, json};
use std::fs::File;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::SocketAddr;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

/// The emulator, Debian's package qemu-system-arm.
pub(crate) const EMULATOR: &str = "qemu-system-arm";
/// Where the board believes its broker to be.
pub const BROKER: ([u8; 4], u16) = ([10, 0, 2, 100], 1883);
/// Bit 0 of port B is the pad's switch: what it is, and whether the chip drives it.
const PAD_REGISTER: u32 = 0x4000_5004;
const PAD_DIRECTION: u32 = 0x4000_5400;
/// Why the chip was reset, and the bit of a low supply.
const RESET_CAUSE: u32 = 0x400F_E05C;
const BROWN_OUT: u32 = 1 << 2;
pub(crate) const EEPROM_BYTES: usize = 4096;

/// The firmware's image, built once.
fn image() -> &'static Path {
    static IMAGE: OnceLock<PathBuf> = OnceLock::new();
    IMAGE.get_or_init(|| build("lm3s6965evb", "thumbv7m-none-eabi"))
}

/// Builds a board's firmware.
pub(crate) fn build(board: &str, triple: &str) -> PathBuf {
    let (home, target) = (root().join("firmware/boards").join(board), root().join("target/boards"));
    let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    // What sets the host's build does not set the board's.
    for (name, _) in std::env::vars_os() {
        let text = name.to_string_lossy();
        if text.starts_with("CARGO_") && text != "CARGO_HOME" || text.starts_with("RUSTFLAGS") {
            cargo.env_remove(&name);
        }
    }
    cargo.current_dir(&home).args(["build", "--release", "--locked", "--quiet", "--target-dir"]).arg(&target);
    assert!(cargo.status().unwrap().success(), "the firmware of {board} cannot be built");
    target.join(triple).join("release").join(board)
}

/// An EEPROM of 4 KiB with these settings at its start.
pub(crate) fn written(settings: &Settings) -> Vec<u8> {
    let mut cells = Cells(vec![0xff; EEPROM_BYTES]);
    assert!(SETTINGS.save(&mut cells, &settings.encode().unwrap()).unwrap());
    cells.0
}

/// An EEPROM as a file.
struct Cells(Vec<u8>);

impl Memory for Cells {
    type Error = std::convert::Infallible;

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        bytes.copy_from_slice(&self.0[at as usize..][..bytes.len()]);
        Ok(())
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.0[at as usize..][..bytes.len()].copy_from_slice(bytes);
        Ok(())
    }
}

/// A board's world outside of its chip: it outlives power cuts.
#[derive(Debug)]
pub struct Bench {
    dir: PathBuf,
    mac: u8,
    pump: &'static str,
    /// How much faster than the wall its time may run, by skipping what it would sleep through.
    pub hurried: bool,
    /// Each reset leaves the trace of a low supply.
    pub dim: bool,
    /// Its EEPROM can be read, and takes nothing.
    pub worn: bool,
}

impl Bench {
    /// Lays out an EEPROM with `settings`. `pump` is the program of that name.
    pub fn new(dir: &Path, mac: u8, settings: &Settings, pump: &'static str) -> Self {
        let dir = dir.join(settings.node.as_str());
        std::fs::create_dir_all(&dir).unwrap();
        std::fs::write(dir.join("eeprom"), written(settings)).unwrap();
        Self { dir, mac, pump, hurried: false, dim: false, worn: false }
    }

    /// Leads the board's connections to `broker` from now on.
    pub fn lead_to(&self, broker: SocketAddr) {
        // In one step: a connection that begins meanwhile finds the one or the other.
        std::fs::write(self.dir.join("broker.new"), broker.to_string()).unwrap();
        std::fs::rename(self.dir.join("broker.new"), self.dir.join("broker")).unwrap();
    }

    /// Gives it power, with its probes at these temperatures, °C.
    pub fn power(&self, warm_c: f64, cool_c: f64) -> Board {
        let mut board = self.at_rest(warm_c, cool_c);
        board.go_on();
        board
    }

    /// The same before the first of its instructions.
    pub fn at_rest(&self, warm_c: f64, cool_c: f64) -> Board {
        let path = |name: &str| self.dir.join(name).to_string_lossy().into_owned();
        for socket in ["qmp", "trial"] {
            // It is there only after a power cut.
            drop(std::fs::remove_file(path(socket)));
        }
        let network = format!(
            "user,id=n0,model=stellaris,mac=52:54:00:12:34:{:02x},restrict=on,guestfwd=tcp:10.0.2.100:1883-cmd:{} {}",
            self.mac,
            self.pump,
            path("broker")
        );
        let mut emulator = Command::new(EMULATOR);
        emulator.args(["-M", "lm3s6965evb", "-S", "-display", "none", "-monitor", "none", "-kernel"]).arg(image());
        emulator.args(["-serial", &format!("file:{}", path("log"))]);
        emulator.args(["-serial", &format!("unix:{},server=on,wait=off", path("trial"))]);
        emulator.args(["-qmp", &format!("unix:{},server=on,wait=off", path("qmp"))]);
        emulator.args(["-nic", &network]);
        emulator.args(["-device", "tmp105,id=t0,address=0x48", "-device", "tmp105,id=t1,address=0x49"]);
        emulator.args(["-drive", &format!("if=none,id=ee,format=raw,file={}", path("eeprom"))]);
        let writable = if self.worn { "off" } else { "on" };
        emulator.args(["-device", &format!("at24c-eeprom,address=0x50,rom-size=4096,drive=ee,writable={writable}")]);
        if self.dim {
            emulator.args(["-device", &format!("loader,addr={RESET_CAUSE:#x},data={BROWN_OUT},data-len=4")]);
        }
        if self.hurried {
            emulator.args(["-icount", "shift=4,sleep=off"]);
        }
        let errors = File::create(path("errors")).unwrap();
        let child = emulator.stdin(Stdio::null()).stdout(Stdio::null()).stderr(errors).spawn();
        let child = child.unwrap_or_else(|e| panic!("{EMULATOR} does not start: {e}; tests/run installs it"));
        let mut board = Board { child, dir: self.dir.clone(), control: None };
        let socket = wait("the emulator can be told", SOON, || UnixStream::connect(path("qmp")).ok());
        socket.set_read_timeout(Some(SOON)).unwrap();
        board.control = Some(BufReader::new(socket));
        board.line();
        board.tell("qmp_capabilities", &json!({}));
        board.warm(warm_c);
        board.cool(cool_c);
        board
    }
}

/// A board under power; killed by its handle when it is dropped, as a power cut does.
#[derive(Debug)]
pub struct Board {
    child: Child,
    dir: PathBuf,
    control: Option<BufReader<UnixStream>>,
}

impl Board {
    fn line(&mut self) -> Value {
        let mut line = String::new();
        self.control.as_mut().unwrap().read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|e| panic!("the emulator says {line:?}: {e}"))
    }

    /// Tells the emulator something (QMP).
    pub fn tell(&mut self, what: &str, with: &Value) -> Value {
        let request = json!({ "execute": what, "arguments": with });
        writeln!(self.control.as_mut().unwrap().get_mut(), "{request}").unwrap();
        loop {
            let mut answer = self.line();
            assert!(answer.get("error").is_none(), "{what}: {answer}");
            if let Some(result) = answer.get_mut("return") {
                return result.take();
            }
        }
    }

    fn probe(&mut self, id: &str, celsius: f64) {
        let milli = (celsius * 1000.0).round() as i64;
        self.tell(
            "qom-set",
            &json!({ "path": format!("/machine/peripheral/{id}"), "property": "temperature", "value": milli }),
        );
    }

    /// Sets the probe at the warm end, °C.
    pub fn warm(&mut self, celsius: f64) {
        self.probe("t0", celsius);
    }

    /// Sets the probe at the cool end, °C.
    pub fn cool(&mut self, celsius: f64) {
        self.probe("t1", celsius);
    }

    /// Lets it run, from where it is.
    pub fn go_on(&mut self) {
        self.tell("cont", &json!({}));
    }

    /// Lets its time stand still.
    pub fn freeze(&mut self) {
        self.tell("stop", &json!({}));
    }

    /// Bit 0 of a register.
    fn bit(&mut self, at: u32) -> bool {
        let said = self.tell("human-monitor-command", &json!({ "command-line": format!("xp /1xw {at:#x}") }));
        let text = said.as_str().unwrap_or_default().trim().to_owned();
        let digit = text.chars().last().and_then(|c| c.to_digit(16));
        digit.unwrap_or_else(|| panic!("no register: {text:?}")) & 1 == 1
    }

    /// Whether the pad's switch is closed.
    pub fn pad(&mut self) -> bool {
        self.bit(PAD_REGISTER)
    }

    /// Whether the chip drives the switch at all; where not, the resistor holds it open.
    pub fn drives(&mut self) -> bool {
        self.bit(PAD_DIRECTION)
    }

    /// Plugs the network cable in, or pulls it.
    pub fn cable(&mut self, plugged: bool) {
        self.tell("set_link", &json!({ "name": "n0", "up": plugged }));
    }

    /// Hangs its program, or with `wholly` its interrupts, too.
    pub fn hang(&mut self, wholly: bool) {
        self.tried(if wholly { b"H" } else { b"h" }, "hanging");
    }

    /// Lets it come upon an instruction that it has not.
    pub fn fault(&mut self) {
        self.tried(b"f", "faulting");
    }

    fn tried(&self, what: &[u8], says: &str) {
        let mut trial = UnixStream::connect(self.dir.join("trial")).unwrap();
        trial.write_all(what).unwrap();
        // The emulator drops what it was sent before it looked, if the other end is gone by then.
        self.logs(says);
    }

    /// Its own time since its start, ms.
    pub fn time_ms(&self) -> u64 {
        const ASKED: &str = "asked for the time";
        let before = self.log().matches(ASKED).count();
        let mut trial = UnixStream::connect(self.dir.join("trial")).unwrap();
        trial.write_all(b"t").unwrap();
        wait("it says its time", SOON, || {
            let log = self.log();
            let line = log.lines().filter(|line| line.ends_with(ASKED)).nth(before)?;
            line.strip_prefix('[')?.split(' ').next()?.parse().ok()
        })
    }

    /// What it logged since it was built.
    pub fn log(&self) -> String {
        String::from_utf8_lossy(&std::fs::read(self.dir.join("log")).unwrap_or_default()).into_owned()
    }

    /// Waits until it logs something.
    #[track_caller]
    pub fn logs(&self, what: &str) {
        wait(&format!("it logs {what:?}"), SOON, || self.log().contains(what).then_some(()));
    }

    /// Guest time of the first line in the log that says `what`, ms.
    pub fn logged_at_ms(&self, what: &str) -> Option<u64> {
        let log = self.log();
        let line = log.lines().find(|line| line.contains(what))?;
        line.strip_prefix('[')?.split(' ').next()?.parse().ok()
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        // If it has ended already there is nothing to end.
        drop(self.child.kill());
        drop(self.child.wait());
        if std::thread::panicking() {
            let errors = std::fs::read_to_string(self.dir.join("errors")).unwrap_or_default();
            eprintln!("--- the board's log\n{}--- the emulator's\n{errors}", self.log());
        }
    }
}
