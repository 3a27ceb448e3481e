//! LM75 and those that read like it (TMP75, TMP105, TMP275 …): a register of 9 to 12 bits, left-justified. By their
//! datasheets. They send no check: a wire that is stuck must be told by what they say.
use embedded_hal::i2c::I2c;

use super::{Probe, Said, divide, narrow};
use crate::Fault;

/// One of them on a bus.
#[derive(Clone, Copy, Debug)]
pub struct Lm75 {
    /// Its address, 0x48 to 0x4F.
    pub address: u8,
    /// Bits that it is set to; those of the first LM75 have 9 only, and no setting.
    pub bits: Bits,
    set: bool,
}

/// How finely it measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bits {
    /// Half a degree: the first LM75, and what the others start with.
    Nine,
    /// A sixteenth of a degree: TMP75, TMP105 and later.
    Twelve,
}

/// Register of the temperature.
const TEMPERATURE: u8 = 0;
/// Register of the settings, and the one that sets 12 bits, running freely.
const SETTINGS: [u8; 2] = [1, 0x60];

impl Lm75 {
    /// One at `address`.
    #[must_use]
    pub const fn new(address: u8, bits: Bits) -> Self {
        Self { address, bits, set: false }
    }
}

impl Probe for Lm75 {
    /// It measures by itself: 12 bits take 220 ms and more (TMP105: 220 typical, 300 at most), but that is only waited
    /// for after it was set.
    fn wait_ms(&self) -> u32 {
        if self.set { 0 } else { 350 }
    }

    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        if self.bits == Bits::Nine {
            self.set = true;
        }
        if !self.set {
            bus.write(self.address, &SETTINGS).map_err(|_| Fault::Silent)?;
        }
        Ok(())
    }

    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault> {
        let mut word = [0; 2];
        let read = bus.write_read(self.address, &[TEMPERATURE], &mut word).map_err(|_| Fault::Silent);
        // One that comes back may have lost its power and its setting.
        self.set = read.is_ok();
        read.and_then(|()| decode(word))
    }
}

/// Reads the register: 1/256 °C, whatever the number of bits, as those that are not measured are 0.
///
/// # Errors
/// [`Fault::Implausible`] for all ones, which is what a wire that nobody pulls down says, and no measured value of
/// 12 bits or fewer.
pub fn decode(word: [u8; 2]) -> Result<Said, Fault> {
    let raw = i16::from_be_bytes(word);
    // The lowest four bits are 0 in all of the family.
    if raw & 0xf != 0 {
        return Err(Fault::Implausible);
    }
    Ok(Said { centi_c: narrow(divide(i64::from(raw) * 100, 256))?, centi_rh: None })
}

#[cfg(test)]
mod tests {
    use super::super::tests::Bus;
    use super::*;

    /// The datasheets' own tables (TMP105 with 12 bits, LM75 with 9), rounded to hundredths.
    #[test]
    fn registers_become_what_the_datasheets_tables_say() {
        for (raw, centi_c) in [
            (0x7ff0_u16, 12_794),
            (0x5000, 8000),
            (0x4b00, 7500),
            (0x1900, 2500),
            (0x0080, 50),
            (0x0040, 25),
            (0x0000, 0),
            (0xffc0, -25),
            (0xff80, -50),
            (0xe700, -2500),
            (0xc900, -5500),
        ] {
            assert_eq!(decode(raw.to_be_bytes()), Ok(Said { centi_c, centi_rh: None }), "{raw:04x}");
        }
        assert_eq!(decode([0xff, 0xff]), Err(Fault::Implausible));
    }

    #[test]
    fn it_is_set_once_and_again_after_it_was_away() {
        let mut probe = Lm75::new(0x48, Bits::Twelve);
        let mut bus = Bus { address: 0x48, answer: [0x1a, 0x80].to_vec(), ..Bus::default() };
        assert_eq!(probe.wait_ms(), 350);
        probe.start(&mut bus).unwrap();
        assert_eq!(probe.fetch(&mut bus).map(|said| said.centi_c), Ok(2650));
        probe.start(&mut bus).unwrap();
        assert_eq!((&bus.told[0][..], &bus.told[1][..], bus.told.len()), (&SETTINGS[..], &[TEMPERATURE][..], 2));
        bus.address = 0x49;
        assert_eq!(probe.fetch(&mut bus), Err(Fault::Silent));
        assert_eq!(probe.wait_ms(), 350);
        let mut first = Lm75::new(0x49, Bits::Nine);
        bus.told.clear();
        first.start(&mut bus).unwrap();
        assert!(bus.told.is_empty() && first.wait_ms() == 0);
    }

    proptest::proptest! {
        #[test]
        fn any_register_is_refused_or_within_the_scale(word: [u8; 2]) {
            if let Ok(said) = decode(word) {
                proptest::prop_assert!((-12_800..=12_800).contains(&said.centi_c));
            }
        }
    }
}
