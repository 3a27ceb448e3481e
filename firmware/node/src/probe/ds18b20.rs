//! DS18B20: temperature over one wire. By its datasheet.
//!
//! The wire is one open-drain pin with a pull-up; its slots are microseconds, kept by the board's delay, and by its word
//! that no interrupt comes in between ([`Quiet`]). Were a slot stretched all the same, the check would fail, and the
//! reading be refused, never wrong.
use core::marker::PhantomData;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};

use super::{Alone, Said, crc8, divide, narrow};
use crate::Fault;

/// The 64 bits that name one probe, in the order they are sent.
pub type Rom = [u8; 8];

/// How long 12 bits take at most, ms.
pub const WAIT_MS: u32 = 750;

const FAMILY: u8 = 0x28;
const MATCH_ROM: u8 = 0x55;
const SKIP_ROM: u8 = 0xcc;
const READ_ROM: u8 = 0x33;
const CONVERT: u8 = 0x44;
const READ_SCRATCHPAD: u8 = 0xbe;
/// What the register holds until the first measurement, 85 °C.
const POWER_ON: u16 = 0x0550;

/// Keeps interrupts out while a slot runs.
pub trait Quiet {
    /// Does something that takes a tenth of a millisecond at most.
    fn quietly<T>(f: impl FnOnce() -> T) -> T;
}

/// A wire with probes on it.
#[derive(Debug)]
pub struct Wire<P, D, Q> {
    pin: P,
    delay: D,
    quiet: PhantomData<Q>,
}

impl<P: InputPin + OutputPin, D: DelayNs, Q: Quiet> Alone for Wire<P, D, Q> {
    const WAIT_MS: u32 = WAIT_MS;

    fn start(&mut self) -> Result<(), Fault> {
        Self::start(self)
    }

    fn fetch(&mut self) -> Result<Said, Fault> {
        Self::fetch(self, None)
    }
}

impl<P: InputPin + OutputPin, D: DelayNs, Q: Quiet> Wire<P, D, Q> {
    /// The wire on an open-drain `pin`.
    pub const fn new(pin: P, delay: D) -> Self {
        Self { pin, delay, quiet: PhantomData }
    }

    /// Tells all probes on the wire to measure; the result is there after [`WAIT_MS`].
    ///
    /// # Errors
    /// [`Fault::Silent`] if nobody answers.
    pub fn start(&mut self) -> Result<(), Fault> {
        self.reset()?;
        self.send(&[SKIP_ROM, CONVERT])
    }

    /// Fetches what one probe measured; without `rom`, what the only one did.
    ///
    /// # Errors
    /// [`Fault`].
    pub fn fetch(&mut self, rom: Option<&Rom>) -> Result<Said, Fault> {
        self.reset()?;
        match rom {
            Some(rom) => {
                self.send(&[MATCH_ROM])?;
                self.send(rom)?;
            }
            None => self.send(&[SKIP_ROM])?,
        }
        self.send(&[READ_SCRATCHPAD])?;
        decode(self.receive()?)
    }

    /// Asks the only probe on the wire for its name.
    ///
    /// # Errors
    /// [`Fault`]; [`Fault::Garbled`] also where two answer at once.
    pub fn name(&mut self) -> Result<Rom, Fault> {
        self.reset()?;
        self.send(&[READ_ROM])?;
        let rom: Rom = self.receive()?;
        if crc8::one_wire(&rom) != 0 || rom[0] != FAMILY { Err(Fault::Garbled) } else { Ok(rom) }
    }

    /// Pulls the wire down for 480 µs and more; a probe answers by pulling it down 15 to 60 µs after. A delay that counts
    /// microseconds may be one short, here and below.
    fn reset(&mut self) -> Result<(), Fault> {
        self.low(500)?;
        let answered = Q::quietly(|| {
            self.delay.delay_us(70);
            self.pin.is_low().map_err(|_| Fault::Silent)
        })?;
        self.delay.delay_us(410);
        let released = self.pin.is_high().map_err(|_| Fault::Silent)?;
        if answered && released { Ok(()) } else { Err(Fault::Silent) }
    }

    fn low(&mut self, us: u32) -> Result<(), Fault> {
        self.pin.set_low().map_err(|_| Fault::Silent)?;
        self.delay.delay_us(us);
        self.pin.set_high().map_err(|_| Fault::Silent)
    }

    fn send(&mut self, bytes: &[u8]) -> Result<(), Fault> {
        for byte in bytes {
            for bit in 0..8 {
                let (low_us, high_us) = if byte >> bit & 1 == 1 { (6, 64) } else { (65, 10) };
                Q::quietly(|| self.low(low_us))?;
                self.delay.delay_us(high_us);
            }
        }
        Ok(())
    }

    fn receive<const N: usize>(&mut self) -> Result<[u8; N], Fault> {
        let mut bytes = [0; N];
        for byte in &mut bytes {
            for bit in 0..8 {
                // 1 µs at least, and looked at before 15 are over: the pin and the look take some time, too.
                let high = Q::quietly(|| {
                    self.low(2)?;
                    self.delay.delay_us(7);
                    self.pin.is_high().map_err(|_| Fault::Silent)
                })?;
                *byte |= u8::from(high) << bit;
                self.delay.delay_us(55);
            }
        }
        Ok(bytes)
    }
}

/// Reads a scratchpad.
///
/// # Errors
/// [`Fault::Garbled`] if the check does not fit; [`Fault::Implausible`] for what it holds before it ever measured, and
/// for all zeros, whose check fits though a wire held low says nothing.
pub fn decode(scratchpad: [u8; 9]) -> Result<Said, Fault> {
    if scratchpad == [0; 9] {
        return Err(Fault::Implausible);
    }
    if crc8::one_wire(&scratchpad) != 0 {
        return Err(Fault::Garbled);
    }
    let [low, high, _, _, settings, ..] = scratchpad;
    let raw = u16::from_le_bytes([low, high]);
    // A true 85 °C, 16 K above what a nest survives, is refused along with it: that counts against heat, not for it.
    if raw == POWER_ON {
        return Err(Fault::Implausible);
    }
    // Bits that the setting leaves out are undefined.
    let unused = 3 - (settings >> 5 & 3);
    let raw = raw & (u16::MAX << unused);
    let sixteenths = i64::from(raw.cast_signed());
    // −55 to 125 °C is what it can say.
    if !(-880..=2000).contains(&sixteenths) {
        return Err(Fault::Implausible);
    }
    Ok(Said { centi_c: narrow(divide(sixteenths * 100, 16))?, centi_rh: None })
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use embedded_hal::digital::ErrorType;
    use std::cell::RefCell;
    use std::rc::Rc;
    use std::vec::Vec;

    fn scratchpad(raw: u16) -> [u8; 9] {
        let [low, high] = raw.to_le_bytes();
        let mut pad = [low, high, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10, 0];
        pad[8] = crc8::one_wire(&pad[..8]);
        pad
    }

    /// The datasheet's table of temperatures, in hundredths.
    #[test]
    fn registers_become_what_the_datasheets_table_says() {
        for (raw, centi_c) in [
            (0x07d0, 12_500),
            (0x0191, 2506),
            (0x00a2, 1013),
            (0x0008, 50),
            (0x0000, 0),
            (0xfff8, -50),
            (0xff5e, -1013),
            (0xfe6f, -2506),
            (0xfc90, -5500),
        ] {
            assert_eq!(decode(scratchpad(raw)), Ok(Said { centi_c, centi_rh: None }), "{raw:04x}");
        }
        assert_eq!(scratchpad(0x0550)[8], 0x1c);
        assert_eq!(scratchpad(0x0191)[8], 0x70);
        assert_eq!(decode(scratchpad(0x0550)), Err(Fault::Implausible));
        assert_eq!(decode([0; 9]), Err(Fault::Implausible));
        assert_eq!(decode([0xff; 9]), Err(Fault::Garbled));
        assert_eq!(decode(scratchpad(0x7fff)), Err(Fault::Implausible));
    }

    /// A probe at the other end of the wire: it counts the microseconds and answers in its slots.
    #[derive(Default)]
    struct Far {
        now_us: u64,
        fell_us: Option<u64>,
        heard: Vec<bool>,
        answer: Vec<bool>,
        low_until_us: u64,
        rom: Rom,
        pad: Vec<u8>,
    }

    #[derive(Clone)]
    struct End(Rc<RefCell<Far>>);

    impl Far {
        fn rose(&mut self, low_us: u64) {
            if low_us >= 480 {
                self.heard.clear();
                self.answer.clear();
                self.low_until_us = self.now_us + 100;
            } else if self.answer.is_empty() {
                self.heard.push(low_us < 15);
                self.obey();
            } else if !self.answer.remove(0) {
                self.low_until_us = self.now_us - low_us + 30;
            }
        }

        fn obey(&mut self) {
            let bytes: Vec<u8> = self
                .heard
                .chunks_exact(8)
                .map(|bits| bits.iter().rev().fold(0, |byte, bit| byte << 1 | u8::from(*bit)))
                .collect();
            let mine = [&[MATCH_ROM][..], &self.rom, &[READ_SCRATCHPAD]].concat();
            let says = match bytes.as_slice() {
                [READ_ROM] => self.rom.to_vec(),
                [SKIP_ROM, READ_SCRATCHPAD] => self.pad.clone(),
                told if told == mine => self.pad.clone(),
                _ => return,
            };
            self.answer = says.iter().flat_map(|byte| (0..8).map(move |bit| byte >> bit & 1 == 1)).collect();
        }
    }

    impl ErrorType for End {
        type Error = core::convert::Infallible;
    }
    impl OutputPin for End {
        fn set_low(&mut self) -> Result<(), Self::Error> {
            let mut far = self.0.borrow_mut();
            far.fell_us = Some(far.now_us);
            Ok(())
        }
        fn set_high(&mut self) -> Result<(), Self::Error> {
            let mut far = self.0.borrow_mut();
            if let Some(fell_us) = far.fell_us.take() {
                let low_us = far.now_us - fell_us;
                far.rose(low_us);
            }
            Ok(())
        }
    }
    impl InputPin for End {
        fn is_high(&mut self) -> Result<bool, Self::Error> {
            let far = self.0.borrow();
            Ok(far.fell_us.is_none() && far.now_us >= far.low_until_us)
        }
        fn is_low(&mut self) -> Result<bool, Self::Error> {
            self.is_high().map(|high| !high)
        }
    }
    impl DelayNs for End {
        fn delay_ns(&mut self, ns: u32) {
            self.0.borrow_mut().now_us += u64::from(ns / 1000);
        }
    }

    /// Nothing interrupts a test.
    struct Unheard;
    impl Quiet for Unheard {
        fn quietly<T>(f: impl FnOnce() -> T) -> T {
            f()
        }
    }

    #[test]
    fn over_the_wire_it_is_named_told_to_measure_and_read() {
        // The check is computed; the family code is the datasheet's.
        let mut rom = [FAMILY, 1, 2, 3, 4, 5, 6, 0];
        rom[7] = crc8::one_wire(&rom[..7]);
        let far = Far { rom, pad: scratchpad(0x0191).to_vec(), ..Far::default() };
        let end = End(Rc::new(RefCell::new(far)));
        let mut wire = Wire::<_, _, Unheard>::new(end.clone(), end.clone());
        assert_eq!(wire.name(), Ok(rom));
        assert_eq!(wire.start(), Ok(()));
        assert_eq!(wire.fetch(None).map(|said| said.centi_c), Ok(2506));
        assert_eq!(wire.fetch(Some(&rom)).map(|said| said.centi_c), Ok(2506));
        // Nobody of that name: the wire stays high.
        assert_eq!(wire.fetch(Some(&[FAMILY; 8])), Err(Fault::Garbled));
        end.0.borrow_mut().pad[0] ^= 4;
        assert_eq!(wire.fetch(None), Err(Fault::Garbled));
    }

    proptest::proptest! {
        #[test]
        fn any_scratchpad_is_refused_or_within_the_scale(bytes: [u8; 9], raw: u16) {
            for pad in [bytes, scratchpad(raw)] {
                if let Ok(said) = decode(pad) {
                    proptest::prop_assert!((-5500..=12_500).contains(&said.centi_c));
                }
            }
        }
    }
}
