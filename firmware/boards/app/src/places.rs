//! The two places of a board that takes whatever breakout hangs on its bus: one warm, one cool, each with the address
//! that its kind has for it.
use node::outbox::{Channel, Kind};
use node::probe::any::{Any, Seek};
use node::probe::bme280::Bme280;
use node::probe::lm75::{Bits, Lm75};
use node::probe::sht::{Family, Sht};

use crate::Place;

/// Places.
pub const PLACES: usize = 2;
/// Kinds that may hang at each.
pub const KINDS: usize = 4;
/// What such a node says: humidity only where the probe measures it.
pub const CHANNELS: [Channel; 5] = [
    Channel { name: "warm", kind: Kind::Celsius },
    Channel { name: "warm", kind: Kind::Humidity },
    Channel { name: "cool", kind: Kind::Celsius },
    Channel { name: "cool", kind: Kind::Humidity },
    Channel { name: "pad", kind: Kind::Duty },
];

/// The places, nothing found yet, with a line for each that has one. The kinds with a check of their own are asked first.
#[must_use]
pub fn places<W>([warm, cool]: [Option<W>; PLACES]) -> [Place<KINDS, W>; PLACES] {
    let place =
        |probe, alone, celsius, humidity| Place { probe, alone, is_alone: false, celsius, humidity: Some(humidity) };
    [place(one_of(0x44, 0x76, 0x48), warm, 0, 1), place(one_of(0x45, 0x77, 0x49), cool, 2, 3)]
}

const fn one_of(sht: u8, bme280: u8, lm75: u8) -> Seek<KINDS> {
    Seek::new([
        Any::Sht(Sht { family: Family::Sht4x, address: sht }),
        Any::Sht(Sht { family: Family::Sht3x, address: sht }),
        Any::Bme280(Bme280::new(bme280)),
        Any::Lm75(Lm75::new(lm75, Bits::Twelve)),
    ])
}
