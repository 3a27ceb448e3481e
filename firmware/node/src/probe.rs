//! Probes: what to say to them, and what their answers mean.
//!
//! Each is told to measure ([`Probe::start`]) and asked for the result after [`Probe::wait_ms`]: whoever calls sleeps in
//! between, so that one slow probe holds up nothing else.
pub mod any;
pub mod bme280;
pub mod crc8;
pub mod ds18b20;
pub mod lm75;
pub mod sht;

use embedded_hal::i2c::I2c;

use crate::Fault;

/// What a probe said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Said {
    /// Temperature, hundredths of a degree Celsius.
    pub centi_c: i16,
    /// Relative humidity, hundredths of a percent, 0 to 10 000; of probes that measure it.
    pub centi_rh: Option<i16>,
}

/// A probe on an I²C bus.
pub trait Probe {
    /// How long it measures, ms.
    fn wait_ms(&self) -> u32;

    /// Tells it to measure.
    ///
    /// # Errors
    /// [`Fault::Silent`] if it does not answer.
    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault>;

    /// Fetches what it measured.
    ///
    /// # Errors
    /// [`Fault`].
    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault>;
}

/// A probe on a line of its own.
pub trait Alone {
    /// How long it measures, ms.
    const WAIT_MS: u32;

    /// Tells it to measure.
    ///
    /// # Errors
    /// [`Fault::Silent`] if it does not answer.
    fn start(&mut self) -> Result<(), Fault>;

    /// Fetches what it measured.
    ///
    /// # Errors
    /// [`Fault`].
    fn fetch(&mut self) -> Result<Said, Fault>;
}

/// No line of its own: there is none of this.
#[derive(Clone, Copy, Debug)]
pub enum Nothing {}

impl Alone for Nothing {
    const WAIT_MS: u32 = 0;

    fn start(&mut self) -> Result<(), Fault> {
        match *self {}
    }

    fn fetch(&mut self) -> Result<Said, Fault> {
        match *self {}
    }
}

/// Divides and rounds to the nearest, halves away from zero.
pub(crate) const fn divide(dividend: i64, divisor: i64) -> i64 {
    let half = divisor / 2;
    if dividend < 0 { (dividend - half) / divisor } else { (dividend + half) / divisor }
}

/// Makes an `i16` of what lies within by its formula.
pub(crate) fn narrow(centi: i64) -> Result<i16, Fault> {
    i16::try_from(centi).map_err(|_| Fault::Implausible)
}

#[cfg(test)]
pub(crate) mod tests {
    extern crate std;
    use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
    use std::vec::Vec;

    /// A bus with one device on it that says what is prepared, and remembers what it was told.
    #[derive(Default)]
    pub(crate) struct Bus {
        pub(crate) address: u8,
        pub(crate) answer: Vec<u8>,
        pub(crate) told: Vec<Vec<u8>>,
    }

    impl ErrorType for Bus {
        type Error = ErrorKind;
    }

    impl I2c for Bus {
        fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
            if address != self.address {
                return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
            }
            for operation in operations {
                match operation {
                    Operation::Write(bytes) => self.told.push(bytes.to_vec()),
                    Operation::Read(buffer) => {
                        for (slot, byte) in buffer.iter_mut().zip(self.answer.iter().chain(std::iter::repeat(&0xff))) {
                            *slot = *byte;
                        }
                    }
                }
            }
            Ok(())
        }
    }
}
