//! Any of the probes on an I²C bus, for boards that have several kinds.
use embedded_hal::i2c::I2c;

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
}

impl Probe for Any {
    fn wait_ms(&self) -> u32 {
        match self {
            Self::Sht(probe) => probe.wait_ms(),
            Self::Lm75(probe) => probe.wait_ms(),
        }
    }

    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        match self {
            Self::Sht(probe) => probe.start(bus),
            Self::Lm75(probe) => probe.start(bus),
        }
    }

    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault> {
        match self {
            Self::Sht(probe) => probe.fetch(bus),
            Self::Lm75(probe) => probe.fetch(bus),
        }
    }
}
