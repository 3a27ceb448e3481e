//! BME280: temperature and humidity by the maker's trim values. By its datasheet, whose integer formulas these are.
//!
//! It sends no check. So the trim values are read twice, and with each result the settings are read back: a wire that
//! is stuck, or a part that lost its supply, does not say what it was told.
use embedded_hal::i2c::I2c;

use super::{Probe, Said, divide, narrow};
use crate::Fault;

/// One of them on a bus.
#[derive(Clone, Copy, Debug)]
pub struct Bme280 {
    /// Its address: 0x76, or 0x77.
    pub address: u8,
    trim: Option<Trim>,
}

/// What its maker measured of this one part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Trim {
    t1: i64,
    t2: i64,
    t3: i64,
    h1: i64,
    h2: i64,
    h3: i64,
    h4: i64,
    h5: i64,
    h6: i64,
}

const ID: u8 = 0xd0;
/// Of a BME280; the BMP280 beside it in the catalogues has 0x58 and no humidity.
const IS_BME280: u8 = 0x60;
const TRIM_LOW: u8 = 0x88;
const TRIM_HIGH: u8 = 0xe1;
/// From the humidity's setting to the last result.
const RESULT: u8 = 0xf2;
/// Humidity once.
const HUMIDITY: [u8; 2] = [0xf2, 0x01];
/// Temperature once, no pressure, one measurement.
const MEASURE: [u8; 2] = [0xf4, 0x21];
/// As the register stands once it has measured.
const MEASURED: u8 = 0x20;
const MEASURING: u8 = 0x08;
/// What a result holds that was never measured.
const NEVER: (i64, i64) = (0x8_0000, 0x8000);

impl Bme280 {
    /// One at `address`.
    #[must_use]
    pub const fn new(address: u8) -> Self {
        Self { address, trim: None }
    }

    fn trim<B: I2c>(&self, bus: &mut B) -> Result<Trim, Fault> {
        let mut read = || {
            let (mut low, mut high) = ([0; 26], [0; 7]);
            bus.write_read(self.address, &[TRIM_LOW], &mut low).map_err(|_| Fault::Silent)?;
            bus.write_read(self.address, &[TRIM_HIGH], &mut high).map_err(|_| Fault::Silent)?;
            Ok((low, high))
        };
        let (first, second) = (read()?, read()?);
        if first == second { trim_of(&first.0, &first.1) } else { Err(Fault::Garbled) }
    }
}

impl Probe for Bme280 {
    /// One of each takes 6.4 ms at most (1.25 + 2.3 + 2.3 + 0.575, the datasheet's sum).
    fn wait_ms(&self) -> u32 {
        10
    }

    fn start<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        if self.trim.is_none() {
            let mut id = [0];
            bus.write_read(self.address, &[ID], &mut id).map_err(|_| Fault::Silent)?;
            if id != [IS_BME280] {
                return Err(Fault::Garbled);
            }
            self.trim = Some(self.trim(bus)?);
        }
        // The humidity's setting counts from the next write of the other.
        let told = bus.write(self.address, &HUMIDITY).and_then(|()| bus.write(self.address, &MEASURE));
        told.map_err(|_| Fault::Silent)
    }

    fn fetch<B: I2c>(&mut self, bus: &mut B) -> Result<Said, Fault> {
        let mut answer = [0; 13];
        let read = bus.write_read(self.address, &[RESULT], &mut answer).map_err(|_| Fault::Silent);
        let said = read.and_then(|()| self.trim.ok_or(Fault::Silent)).and_then(|trim| decode(&trim, &answer));
        if said.is_err() {
            // Another part may hang there now.
            self.trim = None;
        }
        said
    }
}

fn trim_of(low: &[u8; 26], high: &[u8; 7]) -> Result<Trim, Fault> {
    let [t1l, t1h, t2l, t2h, t3l, t3h, .., h1] = *low;
    let [h2l, h2h, h3, h4h, h45, h5h, h6] = *high;
    let word = |low, high| i64::from(i16::from_le_bytes([low, high]));
    // Twelve bits each, that share a byte; the upper eight have the sign.
    let twelve = |upper: u8, lower: u8| i64::from(upper.cast_signed()) << 4 | i64::from(lower & 0xf);
    let trim = Trim {
        t1: i64::from(u16::from_le_bytes([t1l, t1h])),
        t2: word(t2l, t2h),
        t3: word(t3l, t3h),
        h1: h1.into(),
        h2: word(h2l, h2h),
        h3: h3.into(),
        h4: twelve(h4h, h45),
        h5: twelve(h5h, h45 >> 4),
        h6: h6.cast_signed().into(),
    };
    // A wire that is stuck says all zeros or all ones, and no part is trimmed to that.
    let stuck = |bytes: &[u8]| bytes.iter().all(|byte| *byte == 0) || bytes.iter().all(|byte| *byte == 0xff);
    if stuck(low) || stuck(high) || trim.t1 == 0 || trim.t2 == 0 { Err(Fault::Garbled) } else { Ok(trim) }
}

/// Reads the registers from the humidity's setting to the last result.
///
/// # Errors
/// [`Fault::Garbled`] if the settings are not those that were told; [`Fault::Implausible`] for what was never measured,
/// and beyond −40 to 85 °C, which is all that the part is specified for.
fn decode(trim: &Trim, answer: &[u8; 13]) -> Result<Said, Fault> {
    let &[humidity, status, measure, _, _, _, _, _, t0, t1, t2, h0, h1] = answer;
    if humidity & 7 != HUMIDITY[1] || status & MEASURING != 0 || measure != MEASURED {
        return Err(Fault::Garbled);
    }
    let raw_t = i64::from(u32::from_be_bytes([0, t0, t1, t2]) >> 4);
    let raw_h = i64::from(u16::from_be_bytes([h0, h1]));
    if raw_t == NEVER.0 || raw_h == NEVER.1 {
        return Err(Fault::Implausible);
    }
    let fine = fine(trim, raw_t);
    let centi_c = (fine * 5 + 128) >> 8;
    if !(-4000..=8500).contains(&centi_c) {
        return Err(Fault::Implausible);
    }
    let centi_rh = divide(humidity_1024ths(trim, raw_h, fine) * 100, 1024);
    Ok(Said { centi_c: narrow(centi_c)?, centi_rh: Some(narrow(centi_rh)?) })
}

/// The datasheet's `t_fine`, 5120ths of a degree Celsius.
const fn fine(trim: &Trim, raw: i64) -> i64 {
    let coarse = (raw >> 3) - (trim.t1 << 1);
    let off = (raw >> 4) - trim.t1;
    ((coarse * trim.t2) >> 11) + ((((off * off) >> 12) * trim.t3) >> 14)
}

/// Relative humidity, 1024ths of a percent, 0 to 100 %.
fn humidity_1024ths(trim: &Trim, raw: i64, fine: i64) -> i64 {
    let off = fine - 76_800;
    let level = ((raw << 14) - (trim.h4 << 20) - trim.h5 * off + (1 << 14)) >> 15;
    let bend = ((off * trim.h6) >> 10) * (((off * trim.h3) >> 11) + (1 << 15));
    let slope = (((bend >> 10) + (1 << 21)) * trim.h2 + (1 << 13)) >> 14;
    let straight = level * slope;
    let curved = straight - (((((straight >> 15) * (straight >> 15)) >> 7) * trim.h1) >> 4);
    curved.clamp(0, 100 << 22) >> 12
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use embedded_hal::i2c::{ErrorKind, ErrorType, NoAcknowledgeSource, Operation};
    use proptest::prelude::*;

    /// Temperature's, and what comes of them, as in the maker's worked example (datasheet of its sibling BMP280, from
    /// memory); humidity's as of a part, invented.
    const LOW: [u8; 26] = {
        let mut low = [0x55; 26];
        [low[0], low[1]] = 27_504_u16.to_le_bytes();
        [low[2], low[3]] = 26_435_i16.to_le_bytes();
        [low[4], low[5]] = (-1000_i16).to_le_bytes();
        low[25] = 75;
        low
    };
    /// H2 = 370, H3 = 0, H4 = 309, H5 = 50, H6 = 30.
    const HIGH: [u8; 7] = [0x72, 0x01, 0x00, 0x13, 0x25, 0x03, 0x1e];

    fn registers(raw_t: u32, raw_h: u16) -> [u8; 13] {
        let ([_, t0, t1, t2], [h0, h1]) = ((raw_t << 4).to_be_bytes(), raw_h.to_be_bytes());
        [HUMIDITY[1], 0, MEASURED, 0, 0, 0x80, 0, 0, t0, t1, t2, h0, h1]
    }

    #[test]
    fn the_makers_worked_example_comes_out() {
        let trim = trim_of(&LOW, &HIGH).unwrap();
        assert_eq!((trim.h1, trim.h2, trim.h3, trim.h4, trim.h5, trim.h6), (75, 370, 0, 309, 50, 30));
        assert_eq!(fine(&trim, 519_888), 128_422);
        assert_eq!(decode(&trim, &registers(519_888, 28_000)).unwrap().centi_c, 2508);
        // Negative ones of twelve bits.
        let trim = trim_of(&LOW, &[0x72, 0x01, 0x00, 0xff, 0x0f, 0xf0, 0x1e]).unwrap();
        assert_eq!((trim.h4, trim.h5), (-1, -256));
    }

    /// The datasheet's other formula, in floating point (from memory).
    fn humidity_float(trim: &Trim, raw: i64, fine: i64) -> f64 {
        let [h1, h2, h3, h4, h5, h6] = [trim.h1, trim.h2, trim.h3, trim.h4, trim.h5, trim.h6].map(|v| v as f64);
        let off = fine as f64 - 76_800.0;
        let level = raw as f64 - (h4 * 64.0 + h5 / 16_384.0 * off);
        let per = 67_108_864.0;
        let straight = level * (h2 / 65_536.0 * (1.0 + h6 / per * off * (1.0 + h3 / per * off)));
        (straight * (1.0 - h1 * straight / 524_288.0)).clamp(0.0, 100.0)
    }

    proptest! {
        #[test]
        fn both_of_the_datasheets_formulas_for_humidity_agree(
            raw in 20_000_i64..50_000, centi_c in -1000_i64..6000, h1: u8, h2 in 300_i64..450, h3: u8,
            h4 in 200_i64..400, h5 in -60_i64..60, h6 in -40_i64..60,
        ) {
            let trim = Trim { h1: h1.into(), h2, h3: h3.into(), h4, h5, h6, ..trim_of(&LOW, &HIGH).unwrap() };
            let fine = centi_c * 5120 / 100;
            let whole = humidity_1024ths(&trim, raw, fine) as f64 / 1024.0;
            prop_assert!((whole - humidity_float(&trim, raw, fine)).abs() < 0.05, "{whole}");
        }

        #[test]
        fn any_answer_of_any_part_is_refused_or_within_the_scale(
            low: [u8; 26], high: [u8; 7], answer: [u8; 13], raw_t in 0_u32..1 << 20, raw_h: u16,
        ) {
            let Ok(trim) = trim_of(&low, &high) else { return Ok(()) };
            for answer in [answer, registers(raw_t, raw_h)] {
                if let Ok(said) = decode(&trim, &answer) {
                    prop_assert!((-4000..=8500).contains(&said.centi_c));
                    prop_assert!(said.centi_rh.is_some_and(|rh| (0..=10_000).contains(&rh)));
                }
            }
        }
    }

    /// A part: it measures when it is told to, and forgets its settings without power.
    struct Part {
        registers: [u8; 256],
        absent: bool,
    }

    impl Part {
        fn new() -> Self {
            let mut registers = [0; 256];
            registers[usize::from(ID)] = IS_BME280;
            registers[0x88..0x88 + 26].copy_from_slice(&LOW);
            registers[0xe1..0xe1 + 7].copy_from_slice(&HIGH);
            registers[0xf7..0xff].copy_from_slice(&[0x80, 0, 0, 0x80, 0, 0, 0x80, 0]);
            Self { registers, absent: false }
        }
    }

    impl ErrorType for Part {
        type Error = ErrorKind;
    }

    impl I2c for Part {
        fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
            if address != 0x76 || self.absent {
                return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
            }
            let mut at = 0;
            for operation in operations {
                match operation {
                    Operation::Write([register]) => at = usize::from(*register),
                    Operation::Write([register, value]) => {
                        self.registers[usize::from(*register)] = *value;
                        if *register == MEASURE[0] && value & 3 == 1 {
                            self.registers[0xf4] = value & !3;
                            self.registers[0xf7..0xff].copy_from_slice(&registers(519_888, 28_000)[5..]);
                        }
                    }
                    Operation::Write(_) => panic!("it is told one register at a time"),
                    Operation::Read(bytes) => {
                        let from = self.registers.get(at..).unwrap_or_default();
                        bytes.copy_from_slice(&from[..bytes.len()]);
                    }
                }
            }
            Ok(())
        }
    }

    #[test]
    fn it_is_asked_what_it_is_told_to_measure_and_what_it_says_is_checked() {
        let (mut probe, mut part) = (Bme280::new(0x76), Part::new());
        probe.start(&mut part).unwrap();
        let said = probe.fetch(&mut part).unwrap();
        let fine = fine(&trim_of(&LOW, &HIGH).unwrap(), 519_888);
        let rh = humidity_float(&trim_of(&LOW, &HIGH).unwrap(), 28_000, fine);
        assert!(said.centi_c == 2508 && (f64::from(said.centi_rh.unwrap()) / 100.0 - rh).abs() < 0.05, "{said:?} {rh}");
        // Without power for a moment it has forgotten what it was told.
        part = Part::new();
        assert_eq!(probe.fetch(&mut part), Err(Fault::Garbled));
        probe.start(&mut part).unwrap();
        assert!(probe.fetch(&mut part).is_ok());
        part.absent = true;
        assert_eq!((probe.start(&mut part), probe.fetch(&mut part)), (Err(Fault::Silent), Err(Fault::Silent)));
        part.absent = false;
        part.registers[usize::from(ID)] = 0x58;
        assert_eq!(probe.start(&mut part), Err(Fault::Garbled));
        for stuck in [0, 0xff] {
            part.registers = [stuck; 256];
            part.registers[usize::from(ID)] = IS_BME280;
            assert_eq!(probe.start(&mut part), Err(Fault::Garbled));
        }
    }

    #[test]
    fn what_was_never_measured_or_cannot_be_is_refused() {
        let trim = trim_of(&LOW, &HIGH).unwrap();
        for raw in [(0x8_0000, 28_000), (519_888, 0x8000), (0, 28_000), (0xf_ffff, 28_000)] {
            assert_eq!(decode(&trim, &registers(raw.0, raw.1)), Err(Fault::Implausible), "{raw:?}");
        }
        let mut still = registers(519_888, 28_000);
        still[1] = MEASURING;
        assert_eq!(decode(&trim, &still), Err(Fault::Garbled));
    }
}
