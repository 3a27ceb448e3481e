//! Serial EEPROM of the 24C32 kind and larger: addresses of 16 bits, pages of 32 bytes or more. By their datasheets.
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use crate::Fault;
use crate::store::Memory;

/// The least page of those with addresses of 16 bits: one write stays within it.
const PAGE: usize = 32;
/// A write takes 5 ms (10 ms with old parts); the part does not answer meanwhile.
const BUSY_MS: u32 = 12;

/// One of them on a bus.
#[derive(Debug)]
pub struct At24<B, D> {
    bus: B,
    delay: D,
    address: u8,
}

impl<B: I2c, D: DelayNs> At24<B, D> {
    /// The one at `address`, 0x50 to 0x57.
    pub const fn new(bus: B, delay: D, address: u8) -> Self {
        Self { bus, delay, address }
    }

    fn page(&mut self, at: u16, bytes: &[u8]) -> Result<(), Fault> {
        let mut frame = heapless::Vec::<u8, { 2 + PAGE }>::new();
        let fits = frame.extend_from_slice(&at.to_be_bytes()).and_then(|()| frame.extend_from_slice(bytes));
        fits.map_err(|_| Fault::Implausible)?;
        self.bus.write(self.address, &frame).map_err(|_| Fault::Silent)?;
        // It answers again once the page stands.
        for _ in 0..BUSY_MS {
            if self.bus.write(self.address, &at.to_be_bytes()).is_ok() {
                return Ok(());
            }
            self.delay.delay_ms(1);
        }
        Err(Fault::Silent)
    }
}

impl<B: I2c, D: DelayNs> Memory for At24<B, D> {
    type Error = Fault;

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Fault> {
        let at = u16::try_from(at).map_err(|_| Fault::Implausible)?;
        self.bus.write_read(self.address, &at.to_be_bytes(), bytes).map_err(|_| Fault::Silent)
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Fault> {
        let (mut at, mut rest) = (usize::try_from(at).map_err(|_| Fault::Implausible)?, bytes);
        while !rest.is_empty() {
            let (page, more) = rest.split_at((PAGE - at % PAGE).min(rest.len()));
            self.page(u16::try_from(at).map_err(|_| Fault::Implausible)?, page)?;
            (at, rest) = (at + page.len(), more);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::settings::Notes;
    use embedded_hal::i2c::{ErrorKind, ErrorType, NoAcknowledgeSource, Operation};
    use std::vec::Vec;

    /// A part that wraps within its page, as the datasheets say, and is busy for some asks after a write.
    struct Part {
        cells: Vec<u8>,
        pointer: usize,
        busy: u32,
    }

    impl ErrorType for Part {
        type Error = ErrorKind;
    }

    impl I2c for Part {
        fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
            if address != 0x50 || self.busy > 0 {
                self.busy = self.busy.saturating_sub(1);
                return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
            }
            for operation in operations {
                match operation {
                    Operation::Write(bytes) => {
                        let (head, data) = bytes.split_first_chunk::<2>().unwrap();
                        self.pointer = usize::from(u16::from_be_bytes(*head)) % self.cells.len();
                        let page = self.pointer / PAGE * PAGE;
                        for (i, byte) in data.iter().enumerate() {
                            self.cells[page + (self.pointer - page + i) % PAGE] = *byte;
                        }
                        self.busy = if data.is_empty() { 0 } else { 5 };
                    }
                    Operation::Read(bytes) => {
                        for byte in bytes.iter_mut() {
                            *byte = self.cells[self.pointer];
                            self.pointer = (self.pointer + 1) % self.cells.len();
                        }
                    }
                }
            }
            Ok(())
        }
    }

    struct NoWait;
    impl DelayNs for NoWait {
        fn delay_ns(&mut self, _: u32) {}
    }

    #[test]
    fn what_is_written_over_pages_stands_there() {
        let part = Part { cells: std::vec![0xff; 4096], pointer: 0, busy: 0 };
        let mut memory = At24::new(part, NoWait, 0x50);
        let bytes: Vec<u8> = (0..=255).collect();
        memory.write(500, &bytes).unwrap();
        let mut back = [0; 256];
        memory.read(500, &mut back).unwrap();
        assert_eq!(back, bytes[..]);
        assert_eq!(Notes::begin(&mut memory, false).map(|notes| notes.boot), Some(1));
        assert_eq!(Notes::begin(&mut memory, true).map(|notes| (notes.boot, notes.bites)), Some((2, 1)));
    }

    #[test]
    fn a_part_that_is_not_there_or_stays_busy_is_said_to_be_silent() {
        let absent = Part { cells: std::vec![0; 64], pointer: 0, busy: 1000 };
        let mut memory = At24::new(absent, NoWait, 0x50);
        assert_eq!(memory.read(0, &mut [0]), Err(Fault::Silent));
        assert_eq!(memory.write(0, &[0]), Err(Fault::Silent));
        assert!(Notes::begin(&mut memory, false).is_none());
    }
}
