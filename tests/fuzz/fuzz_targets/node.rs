//! Any bytes, as what a node hears from probes, memory and daemon: nothing panics, and nothing becomes leave to heat.
#![no_main]

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};
use libfuzzer_sys::fuzz_target;
use node::probe::bme280::Bme280;
use node::probe::{Probe as _, ds18b20, lm75, sht};
use node::radio::Radio;
use node::settings::Settings;
use node::{orders, store};

/// Memory that holds what the fuzzer says, and takes nothing.
struct Given<'a>(&'a [u8]);

impl store::Memory for Given<'_> {
    type Error = ();

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), ()> {
        for (place, byte) in bytes.iter_mut().enumerate() {
            *byte = self.0.get(at as usize + place).copied().unwrap_or(0xff);
        }
        Ok(())
    }

    fn write(&mut self, _: u32, _: &[u8]) -> Result<(), ()> {
        Ok(())
    }
}

/// A bus on which whatever is asked says what the fuzzer says, register by register.
struct Says<'a>(&'a [u8]);

impl ErrorType for Says<'_> {
    type Error = ErrorKind;
}

impl I2c for Says<'_> {
    fn transaction(&mut self, _: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let mut at = 0;
        for operation in operations {
            match operation {
                Operation::Write(bytes) => at = bytes.first().map_or(0, |register| usize::from(*register)),
                Operation::Read(bytes) => {
                    for (place, byte) in bytes.iter_mut().enumerate() {
                        *byte = self.0.get(at + place).copied().unwrap_or(0);
                    }
                }
            }
        }
        Ok(())
    }
}

fuzz_target!(|bytes: &[u8]| {
    if let Some(answer) = bytes.first_chunk() {
        let _ = (sht::decode(sht::Family::Sht3x, *answer), sht::decode(sht::Family::Sht4x, *answer));
    }
    if let Some(scratchpad) = bytes.first_chunk() {
        let _ = ds18b20::decode(*scratchpad);
    }
    if let Some(word) = bytes.first_chunk() {
        let _ = lm75::decode(*word);
    }
    let (mut bme280, mut bus) = (Bme280::new(0x76), Says(bytes));
    if let Ok(said) = bme280.start(&mut bus).and_then(|()| bme280.fetch(&mut bus)) {
        assert!((-4000..=8500).contains(&said.centi_c) && said.centi_rh.is_some_and(|rh| (0..=10_000).contains(&rh)));
    }
    let _ = (Settings::decode(bytes), Radio::decode(bytes));
    assert!(wire::read_proof(bytes, "oak-node", &[1; 32]).is_none());
    assert!(node::settings::Notes::begin(&mut Given(bytes), false).is_none());
    for topic in ["warmend/oak-node/stored", "warmend/oak-node/permit"] {
        let order = orders::read(("warmend", "oak-node", Some(7)), Some(&[1; 32]), topic, bytes);
        assert!(!matches!(order, orders::Order::Permit(Ok(_))));
    }
});
