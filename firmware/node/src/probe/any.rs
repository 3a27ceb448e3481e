//! Any of the probes on an I²C bus, and how a board finds out which of them hangs there.
use embedded_hal::i2c::I2c;

use super::bme280::Bme280;
use super::lm75::Lm75;
use super::sht::Sht;
use super::{Probe, Said};
use crate::Fault;

/// A probe on an I²C bus.
#[derive(Clone, Copy, Debug)]
pub enum Any {
    /// SHT3x, SHT4x.
    Sht(Sht),
    /// LM75, TMP75, TMP105 …
    Lm75(Lm75),
    /// BME280.
    Bme280(Bme280),
}

impl Probe for Any {
    fn wait_ms(&self) -> u32 {
        match self {
            Self::Sht(probe) => probe.wait_ms(),
            Self::Lm75(probe) => probe.wait_ms(),
            Self::Bme280(probe) => probe.wait_ms(),
        }
    }

    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        match self {
            Self::Sht(probe) => probe.start(bus),
            Self::Lm75(probe) => probe.start(bus),
            Self::Bme280(probe) => probe.start(bus),
        }
    }

    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault> {
        match self {
            Self::Sht(probe) => probe.fetch(bus),
            Self::Lm75(probe) => probe.fetch(bus),
            Self::Bme280(probe) => probe.fetch(bus),
        }
    }
}

/// The probe of one place: the first of some kinds that gives a good reading there. From then on it is that one, until
/// the next start: a place whose probe fell silent must not become another's.
#[derive(Clone, Copy, Debug)]
pub struct Seek<const K: usize> {
    kinds: [Any; K],
    at: usize,
    found: bool,
}

impl<const K: usize> Seek<K> {
    /// There is one to be found.
    const SOME: () = assert!(K > 0, "a place without a probe");

    /// One of `kinds`.
    #[must_use]
    pub const fn new(kinds: [Any; K]) -> Self {
        let () = Self::SOME;
        Self { kinds, at: 0, found: false }
    }

    /// How often it is worth asking in one turn.
    #[must_use]
    pub const fn tries(&self) -> usize {
        if self.found { 1 } else { K }
    }

    /// Whether one of them gave a good reading.
    #[must_use]
    pub const fn is_found(&self) -> bool {
        self.found
    }

    fn chosen(&mut self) -> Option<&mut Any> {
        self.kinds.get_mut(self.at)
    }

    /// Goes on to the next kind where none was found yet.
    const fn heard(&mut self, well: bool) {
        if well {
            self.found = true;
        } else if !self.found {
            self.at = (self.at + 1) % K;
        }
    }
}

impl<const K: usize> Probe for Seek<K> {
    fn wait_ms(&self) -> u32 {
        self.kinds.get(self.at).map_or(0, Probe::wait_ms)
    }

    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        let started = self.chosen().map_or(Err(Fault::Silent), |probe| probe.start(bus));
        if started.is_err() {
            self.heard(false);
        }
        started
    }

    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault> {
        let said = self.chosen().map_or(Err(Fault::Silent), |probe| probe.fetch(bus));
        self.heard(said.is_ok());
        said
    }
}

#[cfg(test)]
mod tests {
    use super::super::lm75::Bits;
    use super::super::sht::Family;
    use super::super::tests::Bus;
    use super::*;

    #[test]
    fn a_place_finds_its_probe_and_stays_with_it() {
        let sht = Sht { family: Family::Sht4x, address: 0x44 };
        let mut seek =
            Seek::new([Any::Sht(sht), Any::Bme280(Bme280::new(0x76)), Any::Lm75(Lm75::new(0x48, Bits::Twelve))]);
        let mut bus = Bus { address: 0x48, answer: [0x1a, 0x80].to_vec(), ..Bus::default() };
        let mut turn = |bus: &mut Bus| {
            let mut said = Err(Fault::Silent);
            for _ in 0..seek.tries() {
                said = seek.start(bus).and_then(|()| seek.fetch(bus));
                if said.is_ok() {
                    break;
                }
            }
            said
        };
        assert_eq!(turn(&mut bus).map(|said| said.centi_c), Ok(2650));
        // Another that comes to the bus when its own is gone is not taken for it.
        bus.address = 0x44;
        bus.answer = [0x66, 0x66, 0x93, 0x66, 0x66, 0x93].to_vec();
        assert_eq!(turn(&mut bus), Err(Fault::Silent));
        assert_eq!(seek.tries(), 1);
        let mut fresh = Seek::new([Any::Sht(sht)]);
        fresh.start(&mut bus).unwrap();
        assert_eq!(fresh.fetch(&mut bus).map(|said| said.centi_c), Ok(2500));
    }
}
