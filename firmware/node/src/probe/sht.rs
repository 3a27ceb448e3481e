//! SHT3x and SHT4x: temperature and humidity, each word with a check of its own. By their datasheets.
use embedded_hal::i2c::I2c;

use super::{Probe, Said, crc8, divide, narrow};
use crate::Fault;

/// Which of the two families.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// SHT30, SHT31, SHT35.
    Sht3x,
    /// SHT40, SHT41, SHT45.
    Sht4x,
}

/// One of them on a bus.
#[derive(Clone, Copy, Debug)]
pub struct Sht {
    /// Which family.
    pub family: Family,
    /// Its address: 0x44, or 0x45 where that can be chosen.
    pub address: u8,
}

/// The largest raw value.
const FULL: i64 = 65_535;

impl Probe for Sht {
    /// The longest a measurement of high repeatability takes is 15.5 ms (SHT3x) and 8.3 ms (SHT4x).
    fn wait_ms(&self) -> u32 {
        match self.family {
            Family::Sht3x => 17,
            Family::Sht4x => 10,
        }
    }

    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        // High repeatability; SHT3x without clock stretching, which not every controller bears.
        let command: &[u8] = match self.family {
            Family::Sht3x => &[0x24, 0x00],
            Family::Sht4x => &[0xfd],
        };
        bus.write(self.address, command).map_err(|_| Fault::Silent)
    }

    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault> {
        let mut answer = [0; 6];
        bus.read(self.address, &mut answer).map_err(|_| Fault::Silent)?;
        decode(self.family, answer)
    }
}

/// Reads an answer.
///
/// # Errors
/// [`Fault::Garbled`] if a check does not fit; [`Fault::Implausible`] at either end of the scale, where a broken
/// element or line stands.
pub fn decode(family: Family, [t0, t1, t_check, h0, h1, h_check]: [u8; 6]) -> Result<Said, Fault> {
    if crc8::sht(&[t0, t1]) != t_check || crc8::sht(&[h0, h1]) != h_check {
        return Err(Fault::Garbled);
    }
    let (t, h) = (i64::from(u16::from_be_bytes([t0, t1])), i64::from(u16::from_be_bytes([h0, h1])));
    if t == 0 || t == FULL {
        return Err(Fault::Implausible);
    }
    let centi_rh = match family {
        Family::Sht3x => divide(10_000 * h, FULL),
        // The datasheet: values beyond 0 and 100 %RH are to be cut off.
        Family::Sht4x => (divide(12_500 * h, FULL) - 600).clamp(0, 10_000),
    };
    Ok(Said { centi_c: narrow(divide(17_500 * t, FULL) - 4500)?, centi_rh: Some(narrow(centi_rh)?) })
}

#[cfg(test)]
mod tests {
    use super::super::tests::Bus;
    use super::*;

    fn answer(t: u16, h: u16) -> [u8; 6] {
        let ([t0, t1], [h0, h1]) = (t.to_be_bytes(), h.to_be_bytes());
        [t0, t1, crc8::sht(&[t0, t1]), h0, h1, crc8::sht(&[h0, h1])]
    }

    /// Values by the datasheets' formulas, evaluated apart from this program.
    #[test]
    fn raw_words_become_what_the_datasheets_formulas_give() {
        for (raw, centi_c, rh3x, rh4x) in [
            (0x4000, -125, 2500, 2525),
            (0x6666, 2500, 4000, 4400),
            (0x8000, 4250, 5000, 5650),
            (0xbeef, 8552, 7458, 8723),
        ] {
            let said = |family| decode(family, answer(raw, raw)).unwrap();
            assert_eq!(said(Family::Sht3x), Said { centi_c, centi_rh: Some(rh3x) });
            assert_eq!(said(Family::Sht4x), Said { centi_c, centi_rh: Some(rh4x) });
        }
        assert_eq!(decode(Family::Sht4x, answer(0x6666, 0)).unwrap().centi_rh, Some(0));
        assert_eq!(decode(Family::Sht4x, answer(0x6666, 0xffff)).unwrap().centi_rh, Some(10_000));
    }

    #[test]
    fn it_is_told_to_measure_and_what_it_says_is_checked() {
        let mut probe = Sht { family: Family::Sht3x, address: 0x44 };
        let mut bus = Bus { address: 0x44, answer: answer(0x6666, 0x8000).to_vec(), ..Bus::default() };
        probe.start(&mut bus).unwrap();
        assert_eq!(bus.told, [[0x24, 0x00]]);
        assert_eq!(probe.fetch(&mut bus), Ok(Said { centi_c: 2500, centi_rh: Some(5000) }));
        bus.answer[4] ^= 1;
        assert_eq!(probe.fetch(&mut bus), Err(Fault::Garbled));
        // A line that is stuck high or low is no temperature: all ones has no fitting check, all zeros neither.
        bus.answer.clear();
        assert_eq!(probe.fetch(&mut bus), Err(Fault::Garbled));
        assert_eq!(decode(Family::Sht3x, [0; 6]), Err(Fault::Garbled));
        assert_eq!(decode(Family::Sht3x, answer(0xffff, 0x8000)), Err(Fault::Implausible));
        probe.address = 0x45;
        assert_eq!(probe.start(&mut bus), Err(Fault::Silent));
    }

    proptest::proptest! {
        #[test]
        fn any_answer_is_refused_or_within_the_scale(bytes: [u8; 6], t: u16, h: u16, newer: bool) {
            let family = if newer { Family::Sht4x } else { Family::Sht3x };
            for bytes in [bytes, answer(t, h)] {
                if let Ok(said) = decode(family, bytes) {
                    proptest::prop_assert!((-4500..=13_000).contains(&said.centi_c));
                    proptest::prop_assert!(said.centi_rh.is_some_and(|rh| (0..=10_000).contains(&rh)));
                }
            }
        }
    }
}
