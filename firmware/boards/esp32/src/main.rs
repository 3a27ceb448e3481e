//! The node on the Wi-Fi chips ESP32-C3 and ESP32-C6. Built, linked and imaged; nothing here was tried on silicon.
#![no_std]
#![no_main]

mod memory;

use core::cell::RefCell;
use core::fmt::Arguments;

use app::Node;
use app::places::{CHANNELS, PLACES, places};
use critical_section::Mutex;
use embassy_executor::Spawner;
use embassy_futures::select::{Either, select};
use embassy_net::{Config, Runner, Stack, StackResources};
use embassy_time::{Duration, Instant, Timer};
use esp_hal::gpio::{Level, Output, OutputConfig};
use esp_hal::i2c::master::{Config as BusConfig, I2c};
use esp_hal::interrupt::Priority;
use esp_hal::peripherals::GPIO10;
use esp_hal::ram;
use esp_hal::rng::Rng;
use esp_hal::rtc_cntl::{Rtc, Rwdt, RwdtStage, SocResetReason, reset_reason};
use esp_hal::system::Cpu;
use esp_hal::timer::PeriodicTimer;
use esp_hal::timer::systimer::SystemTimer;
use esp_hal::timer::timg::TimerGroup;
use esp_hal::{Blocking, time};
use esp_println::println;
use esp_radio::wifi::sta::StationConfig;
use esp_radio::wifi::{AuthenticationMethodConfig, Config as RadioConfig, Interface, WifiController};
use esp_storage::FlashStorage;
use memory::Flash;
use node::outbox::Outbox;
use node::probe::Nothing;
use node::radio::Radio;
use node::settings::{Notes, RADIO, SETTINGS, Settings};
use static_cell::StaticCell;

esp_bootloader_esp_idf::esp_app_desc!();

/// 16 hours of readings every 10 s, or four days of one a minute.
const ROOM: usize = 6000;
const CHANNELS_MANY: usize = CHANNELS.len();
type Board = Node<PLACES, CHANNELS_MANY, ROOM>;
type Bus = I2c<'static, Blocking>;

/// The guard is asked so often, ms.
const TICK_MS: u64 = 10;
/// The watchdog bites after so long, s.
const WATCHDOG_S: u64 = 4;
/// Between two tries to join the network, s.
const JOIN_EVERY_S: u64 = 5;
/// How strong the radio hears is looked at so often, s.
const SIGNAL_EVERY_S: u64 = 30;

static OUTBOX: app::Shared<Outbox<ROOM, CHANNELS_MANY>> = app::outbox();
static NODE: StaticCell<Board> = StaticCell::new();
static GUARDED: Mutex<RefCell<Option<Guarded>>> = Mutex::new(RefCell::new(None));

/// What the timer interrupt holds.
struct Guarded {
    node: &'static Board,
    pad: Output<'static>,
    timer: PeriodicTimer<'static, Blocking>,
}

#[esp_rtos::main]
async fn main(spawner: Spawner) -> ! {
    let chip = esp_hal::init(esp_hal::Config::default());
    // Before anything else: the switch is open.
    let pad = Output::new(chip.GPIO10, Level::Low, OutputConfig::default());
    esp_alloc::heap_allocator!(#[ram(reclaimed)] size: 64 * 1024);
    esp_alloc::heap_allocator!(size: 36 * 1024);
    let (by_watchdog, by_brown_out) = began();
    let mut watchdog = Rtc::new(chip.RTC_TIMER).rwdt;
    watchdog.set_timeout(RwdtStage::Stage0, time::Duration::from_secs(WATCHDOG_S));
    watchdog.enable();
    esp_rtos::start(TimerGroup::new(chip.TIMG0).timer0, chip.FROM_CPU_INTR0);

    let mut flash = Flash::new(FlashStorage::new(chip.FLASH));
    let notes = Notes::begin(&mut flash, by_watchdog);
    log(format_args!("start {:?} by watchdog {by_watchdog}", notes.map(|notes| notes.boot)));
    let settings = SETTINGS.load(&mut flash).ok().flatten().and_then(|bytes| Settings::decode(&bytes).ok());
    let radio = RADIO.load(&mut flash).ok().flatten().and_then(|bytes| Radio::decode(&bytes).ok());
    let (Some(settings), Some(radio)) = (settings, radio) else {
        idle(watchdog, "no settings, or none of the radio: write them first").await
    };
    let bus = I2c::new(chip.I2C0, BusConfig::default()).map(|bus| bus.with_sda(chip.GPIO6).with_scl(chip.GPIO7));
    let controller = WifiController::new(chip.WIFI, Default::default());
    let (Ok(bus), Ok(controller)) = (bus, controller) else { idle(watchdog, "bus or radio does not start").await };

    let node: &'static Board =
        NODE.init_with(|| Node::new(settings, notes, (CHANNELS, &OUTBOX), (by_watchdog, by_brown_out), log));
    watch_over(node, pad, PeriodicTimer::new(SystemTimer::new(chip.SYSTIMER).alarm0));
    let seed = Rng::new().random();
    static RESOURCES: StaticCell<StackResources<3>> = StaticCell::new();
    let resources = RESOURCES.init(StackResources::new());
    let more = u64::from(Rng::new().random()) << 32 | u64::from(seed);
    let (stack, runner) = embassy_net::new(Interface::station(), Config::dhcpv4(Default::default()), resources, more);
    let started = [
        read(node, bus, flash).map(|task| spawner.spawn(task)),
        join(node, controller, radio).map(|task| spawner.spawn(task)),
        network(runner).map(|task| spawner.spawn(task)),
        speak(node, stack, seed).map(|task| spawner.spawn(task)),
    ];
    if started.iter().any(Result::is_err) {
        idle(watchdog, "a task does not start").await
    }
    node.beat(|| watchdog.feed()).await
}

/// Whether watchdog or low supply began this start.
fn began() -> (bool, bool) {
    use SocResetReason::{
        CoreMwdt0, CoreMwdt1, CoreRtcWdt, Cpu0Mwdt0, Cpu0Mwdt1, Cpu0RtcWdt, SysBrownOut, SysRtcWdt, SysSuperWdt,
    };
    let why = reset_reason(Cpu::ProCpu);
    let bites = [CoreMwdt0, CoreMwdt1, CoreRtcWdt, Cpu0Mwdt0, Cpu0Mwdt1, Cpu0RtcWdt, SysRtcWdt, SysSuperWdt];
    (why.is_some_and(|why| bites.contains(&why)), why == Some(SysBrownOut))
}

/// Says again and again what is the matter; the switch stays open.
async fn idle(mut watchdog: Rwdt, what: &str) -> ! {
    loop {
        log(format_args!("{what}"));
        watchdog.feed();
        Timer::after(Duration::from_secs(2)).await;
    }
}

/// Begins to ask the guard in the timer interrupt.
fn watch_over(node: &'static Board, pad: Output<'static>, mut timer: PeriodicTimer<'static, Blocking>) {
    timer.set_interrupt_handler(tick);
    // A period of 10 ms is one that the timer can keep; were it not, nothing would ever be driven.
    let started = timer.start(time::Duration::from_millis(TICK_MS));
    critical_section::with(|cs| {
        timer.listen();
        GUARDED.borrow_ref_mut(cs).replace(Guarded { node, pad, timer })
    });
    if started.is_err() {
        log(format_args!("the guard's timer does not start: nothing is driven"));
    }
}

#[esp_hal::handler(priority = Priority::Priority3)]
fn tick() {
    critical_section::with(|cs| {
        if let Some(guarded) = GUARDED.borrow_ref_mut(cs).as_mut() {
            guarded.timer.clear_interrupt();
            let on = guarded.node.tick(Instant::now().as_millis());
            guarded.pad.set_level(if on { Level::High } else { Level::Low });
        }
    });
}

#[embassy_executor::task]
async fn read(node: &'static Board, mut bus: Bus, mut flash: Flash) {
    node.read(&mut bus, &mut places::<Nothing>([None, None]), &mut flash).await;
}

#[embassy_executor::task]
async fn network(mut runner: Runner<'static, Interface>) {
    runner.run().await;
}

#[embassy_executor::task]
async fn speak(node: &'static Board, stack: Stack<'static>, seed: u32) {
    node.speak(stack, seed).await;
}

/// Joins the network whenever it is there.
#[embassy_executor::task]
async fn join(node: &'static Board, mut controller: WifiController<'static>, radio: Radio) {
    let Some(config) = station(&radio) else {
        log(format_args!("no network can be called that"));
        return;
    };
    loop {
        let set = controller.set_config(&config).is_ok();
        if set && controller.connect_async().await.is_ok() {
            log(format_args!("joined"));
            loop {
                node.radio(controller.rssi().ok());
                let look = Timer::after(Duration::from_secs(SIGNAL_EVERY_S));
                if let Either::First(_) = select(controller.wait_for_disconnect_async(), look).await {
                    break;
                }
            }
            node.radio(None);
        }
        log(format_args!("no network"));
        Timer::after(Duration::from_secs(JOIN_EVERY_S)).await;
    }
}

fn station(radio: &Radio) -> Option<RadioConfig> {
    let way = if radio.password.is_empty() {
        AuthenticationMethodConfig::Open
    } else {
        AuthenticationMethodConfig::Wpa2Personal(radio.password.as_str().try_into().ok()?)
    };
    let station = StationConfig::default().with_ssid(radio.network.as_str().try_into().ok()?).with_authentication(way);
    Some(RadioConfig::Station(station))
}

fn log(what: Arguments<'_>) {
    println!("[{} ms] {what}", Instant::now().as_millis());
}

/// Opens the switch and waits for the watchdog.
#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    critical_section::with(|_| {
        // SAFETY: nobody else runs any more.
        let pin = unsafe { GPIO10::steal() };
        let _pad = Output::new(pin, Level::Low, OutputConfig::default());
        println!("{info}");
        loop {
            core::hint::spin_loop();
        }
    })
}
