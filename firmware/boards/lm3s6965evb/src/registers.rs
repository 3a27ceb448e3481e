//! The chip's registers: the one place that touches memory by its address.
//!
//! Addresses and bits are those of the LM3S6965's datasheet. Every register is named here, so that none but these can
//! be touched; reads and writes of them have no effect on memory that Rust knows.

/// One register.
#[derive(Clone, Copy)]
pub struct Register(usize);

impl Register {
    /// Reads it.
    pub fn read(self) -> u32 {
        // SAFETY: the constants below are the only ones of this type, and each is a mapped, aligned register.
        unsafe { (self.0 as *const u32).read_volatile() }
    }

    /// Writes it.
    pub fn write(self, value: u32) {
        // SAFETY: as for reading; none of them makes the hardware touch memory by itself.
        unsafe { (self.0 as *mut u32).write_volatile(value) }
    }
}

macro_rules! registers {
    ($($(#[$doc:meta])* $name:ident = $at:expr;)*) => { $($(#[$doc])* pub const $name: Register = Register($at);)* };
}

registers! {
    /// Why the chip was reset: bit 2 brown-out, bit 3 watchdog.
    RESC = 0x400F_E05C;
    /// Clock gates.
    RCGC0 = 0x400F_E100;
    RCGC1 = 0x400F_E104;
    RCGC2 = 0x400F_E108;
    /// Watchdog.
    WD_LOAD = 0x4000_0000;
    WD_CTL = 0x4000_0008;
    WD_ICR = 0x4000_000C;
    WD_LOCK = 0x4000_0C00;
    /// Port B, bit 0 alone: the pad's switch.
    PAD = 0x4000_5004;
    PORT_B_DIR = 0x4000_5400;
    PORT_B_DEN = 0x4000_551C;
    /// UART0: the log. UART1: what tests tell the node.
    LOG_DATA = 0x4000_C000;
    LOG_FLAGS = 0x4000_C018;
    LOG_LINE = 0x4000_C02C;
    LOG_CTL = 0x4000_C030;
    TRIAL_DATA = 0x4000_D000;
    TRIAL_FLAGS = 0x4000_D018;
    TRIAL_LINE = 0x4000_D02C;
    TRIAL_CTL = 0x4000_D030;
    /// I²C.
    I2C_ADDRESS = 0x4002_0000;
    I2C_CONTROL = 0x4002_0004;
    I2C_DATA = 0x4002_0008;
    I2C_PERIOD = 0x4002_000C;
    I2C_SETTINGS = 0x4002_0020;
    /// Ethernet.
    MAC_STATUS = 0x4004_8000;
    MAC_MASK = 0x4004_8004;
    MAC_RX = 0x4004_8008;
    MAC_TX = 0x4004_800C;
    MAC_DATA = 0x4004_8010;
    MAC_ADDRESS_LOW = 0x4004_8014;
    MAC_ADDRESS_HIGH = 0x4004_8018;
    MAC_WAITING = 0x4004_8034;
    MAC_SEND = 0x4004_8038;
}
