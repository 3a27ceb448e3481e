//! The node on the emulated board lm3s6965evb: for tests, no product. Nothing here was tried on silicon.
#![no_std]
#![no_main]

mod bus;
mod ethernet;
mod registers;
mod time;

use core::cell::RefCell;
use core::fmt::{Arguments, Write as _};
use core::sync::atomic::{AtomicBool, Ordering};

use app::{Node, Place};
use bus::Bus;
use cortex_m_rt::{ExceptionFrame, entry, exception};
use critical_section::Mutex;
use embassy_executor::Spawner;
use embassy_executor::raw::Executor;
use embassy_net::{Config, Runner, Stack, StackResources};
use embassy_time::{Duration, Timer};
use embedded_hal::delay::DelayNs;
use ethernet::Ethernet;
use node::at24::At24;
use node::outbox::{Channel, Kind, Outbox};
use node::probe::Nothing;
use node::probe::any::{Any, Seek};
use node::probe::lm75::{Bits, Lm75};
use node::settings::{Notes, SETTINGS, Settings};
use registers as r;
use static_cell::StaticCell;

const PROBES: usize = 2;
const CHANNELS: [Channel; 3] = [
    Channel { name: "warm", kind: Kind::Celsius },
    Channel { name: "cool", kind: Kind::Celsius },
    Channel { name: "pad", kind: Kind::Duty },
];
/// A day of readings every minute, and a little.
const ROOM: usize = 1500;
type Board = Node<PROBES, 3, ROOM>;
type Eeprom = At24<Bus, Wait>;

/// The watchdog's first half, cycles: 2 s; it resets after both.
const WATCHDOG: u32 = 25_000_000;
const UNLOCK: u32 = 0x1ACC_E551;

static OUTBOX: app::Shared<Outbox<ROOM, 3>> = app::outbox();
static NODE: StaticCell<Board> = StaticCell::new();
static GUARDED: Mutex<RefCell<Option<&'static Board>>> = Mutex::new(RefCell::new(None));
/// As the pad's switch was at the last tick: for the log.
static CLOSED: AtomicBool = AtomicBool::new(false);
/// Somebody wants to run.
static PENDING: AtomicBool = AtomicBool::new(false);

/// Waits by counting cycles.
struct Wait;

impl DelayNs for Wait {
    fn delay_ns(&mut self, ns: u32) {
        cortex_m::asm::delay(ns / 80 + 1);
    }
}

#[entry]
fn main() -> ! {
    let Some(mut core) = cortex_m::Peripherals::take() else { halt() };
    r::RCGC0.write(1 << 3);
    r::RCGC1.write(1 | 1 << 1 | 1 << 12);
    r::RCGC2.write(1 << 1 | 1 << 28 | 1 << 30);
    r::PORT_B_DIR.write(1);
    r::PORT_B_DEN.write(1);
    r::PAD.write(0);
    for (line, ctl) in [(r::LOG_LINE, r::LOG_CTL), (r::TRIAL_LINE, r::TRIAL_CTL)] {
        line.write(0x70);
        ctl.write(0x301);
    }
    let cause = r::RESC.read();
    r::RESC.write(0);
    // The emulator forgets the cause; what survives in memory tells as well: only a watchdog resets a running node.
    let by_watchdog = cause & 1 << 3 != 0 || trace::was_running();
    trace::run();
    watchdog_begin();
    time::begin(core.SYST);
    let bus = Bus::begin();
    let mut eeprom = At24::new(bus, Wait, 0x50);
    let notes = Notes::begin(&mut eeprom, by_watchdog);
    log(format_args!("start {:?} by watchdog {by_watchdog}", notes.map(|notes| notes.boot)));
    let settings = SETTINGS.load(&mut eeprom).ok().flatten().and_then(|bytes| Settings::decode(&bytes).ok());
    let Some(settings) = settings else {
        log(format_args!("no settings: write them first"));
        halt();
    };
    let node: &'static Board =
        NODE.init_with(|| Node::new(settings, notes, (CHANNELS, &OUTBOX), (by_watchdog, cause & 1 << 2 != 0), log));
    critical_section::with(|cs| GUARDED.borrow_ref_mut(cs).replace(node));
    let [.., a, b, c, d] = Ethernet::address();
    let seed = u32::from_le_bytes([a, b, c, d]) ^ notes.unwrap_or_default().boot.wrapping_mul(0x9E37_79B9);
    let ethernet = Ethernet::begin();
    enable(&mut core.NVIC);

    static EXECUTOR: StaticCell<Executor> = StaticCell::new();
    let executor = EXECUTOR.init(Executor::new(core::ptr::null_mut()));
    static RESOURCES: StaticCell<StackResources<3>> = StaticCell::new();
    let resources = RESOURCES.init(StackResources::new());
    let (stack, runner) = embassy_net::new(ethernet, Config::dhcpv4(Default::default()), resources, seed.into());
    spawn(executor.spawner(), node, (stack, runner, seed), (bus, eeprom));
    run(executor)
}

fn spawn(
    spawner: Spawner,
    node: &'static Board,
    (stack, runner, seed): (Stack<'static>, Runner<'static, Ethernet>, u32),
    (bus, eeprom): (Bus, Eeprom),
) {
    let tasks = [beat(node).map(|t| spawner.spawn(t)), read(node, bus, eeprom).map(|t| spawner.spawn(t))];
    let more = [network(runner).map(|t| spawner.spawn(t)), speak(node, stack, seed).map(|t| spawner.spawn(t))];
    if tasks.iter().chain(&more).chain(&[trial().map(|t| spawner.spawn(t))]).any(Result::is_err) {
        log(format_args!("a task does not start"));
        halt();
    }
}

/// Turns the executor; sleeps where the emulator and the chip sleep, which is in `wfi`.
fn run(executor: &'static Executor) -> ! {
    loop {
        PENDING.store(false, Ordering::Relaxed);
        // SAFETY: only here, and never from within a task.
        unsafe { executor.poll() };
        // An interrupt that comes between the look and the sleep ends the sleep at once.
        cortex_m::interrupt::free(|_| {
            if !PENDING.load(Ordering::Relaxed) {
                cortex_m::asm::wfi();
            }
        });
    }
}

#[unsafe(export_name = "__pender")]
fn pender(_: *mut ()) {
    PENDING.store(true, Ordering::Relaxed);
}

#[exception]
fn SysTick() {
    time::interrupt();
    let on = critical_section::with(|cs| *GUARDED.borrow_ref(cs)).is_some_and(|node| node.tick(time::now()));
    r::PAD.write(on.into());
    if CLOSED.swap(on, Ordering::Relaxed) != on {
        log(format_args!("the switch is {}", if on { "closed" } else { "open" }));
    }
}

/// What the chip cannot go on from; the watchdog starts it anew.
#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    r::PAD.write(0);
    log(format_args!("faulted, the switch is open"));
    halt()
}

#[exception]
unsafe fn DefaultHandler(irq: i16) {
    if irq == ethernet::IRQ {
        ethernet::interrupt();
    }
}

/// Lets the Ethernet controller's interrupt in.
fn enable(nvic: &mut cortex_m::peripheral::NVIC) {
    let irq = ethernet::IRQ.cast_unsigned();
    // SAFETY: no critical section is built on this interrupt being masked.
    unsafe { nvic.iser[usize::from(irq / 32)].write(1 << (irq % 32)) };
}

fn watchdog_begin() {
    r::WD_LOCK.write(UNLOCK);
    r::WD_LOAD.write(WATCHDOG);
    r::WD_CTL.write(3);
}

fn watchdog_feed() {
    r::WD_ICR.write(1);
}

#[embassy_executor::task]
async fn beat(node: &'static Board) {
    node.beat(watchdog_feed).await;
}

#[embassy_executor::task]
async fn read(node: &'static Board, mut bus: Bus, mut eeprom: Eeprom) {
    let place = |address, celsius| {
        let probe = Seek::new([Any::Lm75(Lm75::new(address, Bits::Twelve))]);
        Place { probe, alone: None::<Nothing>, is_alone: false, celsius, humidity: None }
    };
    let mut places = [place(0x48, 0), place(0x49, 1)];
    node.read(&mut bus, &mut places, &mut eeprom).await;
}

#[embassy_executor::task]
async fn network(mut runner: Runner<'static, Ethernet>) {
    runner.run().await;
}

#[embassy_executor::task]
async fn speak(node: &'static Board, stack: Stack<'static>, seed: u32) {
    node.speak(stack, seed).await;
}

/// What tests tell the node over the second line: `h` hangs the program, `H` the whole chip, `f` is
/// an instruction that it has not, `t` asks for its time.
#[embassy_executor::task]
async fn trial() {
    loop {
        if r::TRIAL_FLAGS.read() & 0x10 == 0 {
            match r::TRIAL_DATA.read().to_le_bytes()[0] {
                b'h' => {
                    log(format_args!("hanging"));
                    loop {
                        cortex_m::asm::nop();
                    }
                }
                b'H' => {
                    log(format_args!("hanging for good"));
                    cortex_m::interrupt::disable();
                    loop {
                        cortex_m::asm::nop();
                    }
                }
                b'f' => {
                    log(format_args!("faulting"));
                    cortex_m::asm::udf();
                }
                b't' => log(format_args!("asked for the time")),
                _ => {}
            }
        }
        Timer::after(Duration::from_millis(100)).await;
    }
}

struct Log;

impl core::fmt::Write for Log {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        for byte in text.bytes() {
            while r::LOG_FLAGS.read() & 0x20 != 0 {}
            r::LOG_DATA.write(byte.into());
        }
        Ok(())
    }
}

fn log(what: Arguments<'_>) {
    // A line stays whole: the timer's interrupt has something to say, too. A log that fails has nobody to tell.
    critical_section::with(|_| {
        let _ = writeln!(Log, "[{} ms] {what}", time::now());
    });
}

/// Opens the switch and waits for the watchdog.
fn halt() -> ! {
    cortex_m::interrupt::disable();
    r::PAD.write(0);
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    r::PAD.write(0);
    log(format_args!("{info}"));
    halt()
}

/// A mark in memory that a reset leaves as it is and a power cut does not.
mod trace {
    use core::mem::MaybeUninit;

    #[unsafe(link_section = ".uninit.mark")]
    static mut MARK: MaybeUninit<u32> = MaybeUninit::uninit();
    const RUNNING: u32 = 0x5EED_CAFE;

    pub fn was_running() -> bool {
        // SAFETY: any bits are a number; volatile, so that the compiler takes none for granted. Before any interrupt.
        unsafe { (&raw const MARK).cast::<u32>().read_volatile() == RUNNING }
    }

    pub fn run() {
        // SAFETY: as above.
        unsafe { (&raw mut MARK).cast::<u32>().write_volatile(RUNNING) }
    }
}
