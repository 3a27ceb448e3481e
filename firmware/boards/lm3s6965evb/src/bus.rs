//! I²C by the chip's own controller.
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::registers::{I2C_ADDRESS, I2C_CONTROL, I2C_DATA, I2C_PERIOD, I2C_SETTINGS};

const RUN: u32 = 1;
const START: u32 = 2;
const STOP: u32 = 4;
const ACK: u32 = 8;
const BUSY: u32 = 1;
const ERROR: u32 = 2;
/// A transfer of a byte takes a tenth of a millisecond; this many looks are far more.
const LOOKS: u32 = 100_000;

/// The bus.
#[derive(Clone, Copy)]
pub struct Bus(());

impl Bus {
    /// Switches the controller on, at 100 kHz with the clock at 12.5 MHz.
    pub fn begin() -> Self {
        I2C_SETTINGS.write(0x10);
        I2C_PERIOD.write(6);
        Self(())
    }

    fn go(self, command: u32) -> Result<(), ErrorKind> {
        I2C_CONTROL.write(command);
        for _ in 0..LOOKS {
            let state = I2C_CONTROL.read();
            if state & BUSY == 0 {
                if state & ERROR == 0 {
                    return Ok(());
                }
                I2C_CONTROL.write(STOP);
                return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown));
            }
        }
        Err(ErrorKind::Bus)
    }

    fn send(self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        I2C_ADDRESS.write(u32::from(address) << 1);
        for (i, byte) in bytes.iter().enumerate() {
            I2C_DATA.write((*byte).into());
            self.go(RUN | at(i, bytes.len()))?;
        }
        Ok(())
    }

    fn receive(self, address: u8, bytes: &mut [u8]) -> Result<(), ErrorKind> {
        I2C_ADDRESS.write(u32::from(address) << 1 | 1);
        let many = bytes.len();
        for (i, byte) in bytes.iter_mut().enumerate() {
            let more = if i + 1 < many { ACK } else { 0 };
            self.go(RUN | more | at(i, many))?;
            *byte = I2C_DATA.read().to_le_bytes()[0];
        }
        Ok(())
    }
}

/// Begins with the first byte, ends with the last.
const fn at(i: usize, many: usize) -> u32 {
    let start = if i == 0 { START } else { 0 };
    if i + 1 == many { start | STOP } else { start }
}

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    /// Ends each part with a stop: the emulator knows no repeated start, and TMP105, SHT4x and EEPROM need none.
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        operations.iter_mut().try_for_each(|operation| match operation {
            Operation::Write(bytes) => self.send(address, bytes),
            Operation::Read(bytes) => self.receive(address, bytes),
        })
    }
}
