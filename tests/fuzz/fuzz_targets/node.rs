//! Any bytes, as what a node hears from probes, memory and daemon: nothing panics, and nothing becomes leave to heat.
#![no_main]

use libfuzzer_sys::fuzz_target;
use node::probe::{ds18b20, lm75, sht};
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
    let _ = Settings::decode(bytes);
    assert!(node::settings::Notes::begin(&mut Given(bytes), false).is_none());
    for topic in ["warmend/oak-node/stored", "warmend/oak-node/permit"] {
        let order = orders::read(("warmend", "oak-node", 7), Some(&[1; 32]), topic, bytes);
        assert!(!matches!(order, orders::Order::Permit(Ok(_))));
    }
});
