//! The node on an RP2040 with a W5500 for Ethernet. The very image that is flashed runs in an emulator in the tests;
//! nothing here was tried on silicon.
#![no_std]
#![no_main]

use core::cell::RefCell;
use core::fmt::{Arguments, Write as _};

use app::Node;
use app::places::{CHANNELS, PLACES, places};
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{ExceptionFrame, exception};
use critical_section::Mutex;
use embassy_executor::Spawner;
use embassy_net::{Config, Runner, Stack, StackResources};
use embassy_net_wiznet::chip::W5500;
use embassy_net_wiznet::{Device, Runner as ChipRunner, State};
use embassy_rp::gpio::{Input, Level, Output, OutputOpenDrain, Pin, Pull};
use embassy_rp::i2c::{self, I2c};
use embassy_rp::peripherals::{DMA_CH0, DMA_CH1, I2C1, PIN_15, SPI0};
use embassy_rp::spi::{self, Spi};
use embassy_rp::uart::{self, UartTx};
use embassy_rp::watchdog::{ResetReason, Watchdog};
use embassy_rp::{Peri, bind_interrupts, clocks, dma, pac};
use embassy_time::{Delay, Duration, Instant, Timer};
use embedded_hal_bus::i2c::RefCellDevice;
use embedded_hal_bus::spi::ExclusiveDevice;
use node::at24::At24;
use node::outbox::Outbox;
use node::probe::ds18b20::{self, Quiet};
use node::schedule::seed_of;
use node::settings::{Notes, SETTINGS, Settings};
use node::store::Memory;
use static_cell::StaticCell;

bind_interrupts!(struct Irqs {
    DMA_IRQ_0 => dma::InterruptHandler<DMA_CH0>, dma::InterruptHandler<DMA_CH1>;
});

/// 22 hours of readings every 10 s, or five days of one a minute.
const ROOM: usize = 8000;
const CHANNELS_MANY: usize = CHANNELS.len();
type Board = Node<PLACES, CHANNELS_MANY, ROOM>;
type Bus = RefCellDevice<'static, I2c<'static, I2C1, i2c::Blocking>>;
type Eeprom = At24<Bus, Delay>;
type Line = ds18b20::Wire<OutputOpenDrain<'static>, Delay, Masked>;
type Wire = ExclusiveDevice<Spi<'static, SPI0, spi::Async>, Output<'static>, Delay>;
type Chip = ChipRunner<'static, W5500, Wire, Input<'static>, Output<'static>>;

/// The guard is asked so often, times a second.
const TICKS_PER_S: u32 = 100;
/// The watchdog bites after so long, s; 8 is the most that it can.
const WATCHDOG_S: u64 = 4;
/// Stands in the scratch register that the boot ROM writes when it is its watchdog that restarts the chip, as after
/// flashing: only a bite in the midst of this program leaves the mark.
const RUNNING: u32 = 0x5EED_CAFE;
const MARK_AT: usize = 4;
/// A board that cannot do its work tries anew so seldom: each start is a write to its memory, s.
const ANEW_S: u64 = 600;
/// And feeds its watchdog meanwhile so often, s.
const FEED_EVERY_S: u64 = 2;
/// The wire to the chip, Hz: it bears 33 MHz on any board.
const WIRE_HZ: u32 = 20_000_000;
/// Bytes that are set aside for settings.
const WRITTEN_BYTES: usize = 4096;

static OUTBOX: app::Shared<Outbox<ROOM, CHANNELS_MANY>> = app::outbox();
static NODE: StaticCell<Board> = StaticCell::new();
static GUARDED: Mutex<RefCell<Option<(&'static Board, Output<'static>)>>> = Mutex::new(RefCell::new(None));
static LOG: Mutex<RefCell<Option<UartTx<'static, uart::Blocking>>>> = Mutex::new(RefCell::new(None));

/// The settings, at the end of the flash, where a person wrote them beside the program.
struct Written(&'static [u8; WRITTEN_BYTES]);

impl Written {
    fn find() -> Self {
        unsafe extern "C" {
            #[link_name = "WRITTEN_SETTINGS"]
            static WRITTEN: [u8; WRITTEN_BYTES];
        }
        // SAFETY: the memory map sets these bytes aside; nothing writes flash while the program runs.
        Self(unsafe { &WRITTEN })
    }
}

impl Memory for Written {
    type Error = ();

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), ()> {
        let at = usize::try_from(at).map_err(|_| ())?;
        let end = at.checked_add(bytes.len()).ok_or(())?;
        bytes.copy_from_slice(self.0.get(at..end).ok_or(())?);
        Ok(())
    }

    fn write(&mut self, _: u32, _: &[u8]) -> Result<(), ()> {
        Err(())
    }
}

#[embassy_executor::main]
async fn main(spawner: Spawner) {
    let chip = embassy_rp::init(embassy_rp::config::Config::default());
    // Before anything else: the switch is open.
    let pad = Output::new(chip.PIN_15, Level::Low);
    let serial = UartTx::new_blocking(chip.UART0, chip.PIN_0, uart::Config::default());
    critical_section::with(|cs| LOG.borrow_ref_mut(cs).replace(serial));
    let mut watchdog = Watchdog::new(chip.WATCHDOG);
    let (by_watchdog, by_brown_out) = began(&mut watchdog);
    watchdog.start(Duration::from_secs(WATCHDOG_S));
    // Before a start is counted: a board that waits for its settings must not wear its memory out.
    let settings = SETTINGS.load(&mut Written::find()).ok().flatten();
    let Some(settings) = settings.and_then(|bytes| Settings::decode(&bytes).ok()) else {
        idle(watchdog, "no settings: write them first").await
    };

    static BUS: StaticCell<RefCell<I2c<'static, I2C1, i2c::Blocking>>> = StaticCell::new();
    let bus = I2c::new_blocking(chip.I2C1, chip.PIN_7, chip.PIN_6, i2c::Config::default());
    let bus: &'static RefCell<_> = BUS.init(RefCell::new(bus));
    let mut eeprom = At24::new(RefCellDevice::new(bus), Delay, 0x50);
    let notes = Notes::begin(&mut eeprom, by_watchdog);
    log(format_args!("start {:?} by watchdog {by_watchdog}", notes.map(|notes| notes.boot)));
    // Which boot it is makes the ports of one start other than those of the last.
    let name = seed_of(&settings.node);
    let seed = name ^ notes.unwrap_or_default().boot.wrapping_mul(0x9E37_79B9);
    let node: &'static Board =
        NODE.init_with(|| Node::new(settings, notes, (CHANNELS, &OUTBOX), (by_watchdog, by_brown_out), log));
    watch_over(node, pad);

    let mut wire_config = spi::Config::default();
    wire_config.frequency = WIRE_HZ;
    let wire =
        Spi::new(chip.SPI0, chip.PIN_18, chip.PIN_19, chip.PIN_16, chip.DMA_CH0, chip.DMA_CH1, Irqs, wire_config);
    let select = Output::new(chip.PIN_17, Level::High);
    let (interrupt, reset) = (Input::new(chip.PIN_21, Pull::Up), Output::new(chip.PIN_20, Level::High));
    static STATE: StaticCell<State<4, 4>> = StaticCell::new();
    let state = STATE.init(State::new());
    // The chip comes without an address: a local one, by the node's name.
    let [a, b, c, d] = name.to_be_bytes();
    let Ok(wire) = ExclusiveDevice::new(wire, select, Delay);
    let Ok((device, runner)) = embassy_net_wiznet::new([2, 0x57, a, b, c, d], state, wire, interrupt, reset).await
    else {
        idle(watchdog, "the Ethernet chip does not answer").await
    };
    static RESOURCES: StaticCell<StackResources<3>> = StaticCell::new();
    let resources = RESOURCES.init(StackResources::new());
    let (stack, network_runner) = embassy_net::new(device, Config::dhcpv4(Default::default()), resources, seed.into());
    let tasks = [
        read(node, bus, [line(chip.PIN_2), line(chip.PIN_3)], eeprom).map(|task| spawner.spawn(task)),
        ethernet(runner).map(|task| spawner.spawn(task)),
        network(network_runner).map(|task| spawner.spawn(task)),
        speak(node, stack, seed).map(|task| spawner.spawn(task)),
    ];
    if tasks.iter().any(Result::is_err) {
        idle(watchdog, "a task does not start").await
    }
    node.beat(|| watchdog.feed(Duration::from_secs(WATCHDOG_S))).await
}

/// Whether the watchdog or a low supply began this start. The chip's brown-out detector resets it as switching on does,
/// and leaves the same trace: each such start counts as a low supply, which has to settle.
fn began(watchdog: &mut Watchdog) -> (bool, bool) {
    let bitten = watchdog.reset_reason() == Some(ResetReason::TimedOut) && watchdog.get_scratch(MARK_AT) == RUNNING;
    watchdog.set_scratch(MARK_AT, RUNNING);
    (bitten, pac::VREG_AND_CHIP_RESET.chip_reset().read().had_por())
}

/// Says again and again what is the matter, and after a while tries anew; the switch stays open.
async fn idle(mut watchdog: Watchdog, what: &str) -> ! {
    for _ in 0..ANEW_S / FEED_EVERY_S {
        log(format_args!("{what}"));
        watchdog.feed(Duration::from_secs(WATCHDOG_S));
        Timer::after(Duration::from_secs(FEED_EVERY_S)).await;
    }
    watchdog.trigger_reset();
    halt()
}

/// Begins to ask the guard in the timer interrupt.
fn watch_over(node: &'static Board, pad: Output<'static>) {
    critical_section::with(|cs| GUARDED.borrow_ref_mut(cs).replace((node, pad)));
    // SAFETY: nobody else uses the core's own timer.
    let mut timer = unsafe { cortex_m::Peripherals::steal() }.SYST;
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(clocks::clk_sys_freq() / TICKS_PER_S - 1);
    timer.clear_current();
    timer.enable_counter();
    timer.enable_interrupt();
}

/// What the chip cannot go on from; the watchdog starts it anew.
#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    halt()
}

#[exception]
fn SysTick() {
    critical_section::with(|cs| {
        if let Some((node, pad)) = GUARDED.borrow_ref_mut(cs).as_mut() {
            pad.set_level(node.tick(Instant::now().as_millis()).into());
        }
    });
}

/// Keeps interrupts out, the guard's as well: for a slot of a wire, 75 µs at most.
struct Masked;

impl Quiet for Masked {
    fn quietly<T>(f: impl FnOnce() -> T) -> T {
        critical_section::with(|_| f())
    }
}

/// A wire for one DS18B20; the pin's own pull-up keeps it from floating where there is none.
fn line(pin: Peri<'static, impl Pin>) -> Option<Line> {
    let mut pin = OutputOpenDrain::new(pin, Level::High);
    pin.set_pullup(true);
    Some(Line::new(pin, Delay))
}

#[embassy_executor::task]
async fn read(
    node: &'static Board,
    bus: &'static RefCell<I2c<'static, I2C1, i2c::Blocking>>,
    lines: [Option<Line>; PLACES],
    mut eeprom: Eeprom,
) {
    node.read(&mut RefCellDevice::new(bus), &mut places(lines), &mut eeprom).await;
}

#[embassy_executor::task]
async fn ethernet(runner: Chip) {
    runner.run().await;
}

#[embassy_executor::task]
async fn network(mut runner: Runner<'static, Device<'static>>) {
    runner.run().await;
}

#[embassy_executor::task]
async fn speak(node: &'static Board, stack: Stack<'static>, seed: u32) {
    node.speak(stack, seed).await;
}

struct Log<'a>(&'a mut UartTx<'static, uart::Blocking>);

impl core::fmt::Write for Log<'_> {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        self.0.blocking_write(text.as_bytes()).map_err(|_| core::fmt::Error)
    }
}

fn log(what: Arguments<'_>) {
    critical_section::with(|cs| {
        // One that is under way, as in a panic within it, is not broken into.
        let Ok(mut serial) = LOG.borrow(cs).try_borrow_mut() else { return };
        if let Some(serial) = serial.as_mut() {
            // A log that fails has nobody to tell.
            let _ = writeln!(Log(serial), "[{} ms] {what}", Instant::now().as_millis());
        }
    });
}

/// Opens the switch.
fn open() {
    cortex_m::interrupt::disable();
    // SAFETY: nobody else runs any more.
    let pin: Peri<'static, PIN_15> = unsafe { PIN_15::steal() };
    core::mem::forget(Output::new(pin, Level::Low));
}

/// Opens the switch and waits for the watchdog.
fn halt() -> ! {
    open();
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    open();
    log(format_args!("{info}"));
    halt()
}
