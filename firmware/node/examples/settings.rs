//! Makes a memory image with a node's settings, to be written into its EEPROM or flash:
//!
//! ```sh
//! cargo run -p node --example settings -- --node oak-node --broker 192.168.1.10:1883 --key-file oak.key --out oak.bin
//! ```
//!
//! Of a key file the first 64 hexadecimal digits count; without one the node never heats. A node with a radio also needs
//! `--wifi NAME` and `--wifi-password-file FILE`.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a tool for one's own hand ends with what is wrong")]

use node::radio::Radio;
use node::settings::{Name, RADIO, SETTINGS, Settings};
use node::store::Memory;
use std::net::SocketAddrV4;

/// An image of 4 KiB, empty.
struct Image(Vec<u8>);

impl Memory for Image {
    type Error = std::convert::Infallible;

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        bytes.copy_from_slice(&self.0[at as usize..][..bytes.len()]);
        Ok(())
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.0[at as usize..][..bytes.len()].copy_from_slice(bytes);
        Ok(())
    }
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let value = |key: &str| words.iter().position(|word| word == key).and_then(|at| words.get(at + 1));
    let name = |key: &str, usual: &str| Name::try_from(value(key).map_or(usual, String::as_str)).unwrap();
    let number = |key: &str, usual: f64| value(key).map_or(usual, |text| text.parse().unwrap());
    let broker: SocketAddrV4 =
        value("--broker").unwrap_or_else(|| panic!("--broker ADDRESS:PORT is missing")).parse().unwrap();
    let key = value("--key-file").map(|path| {
        let text = std::fs::read_to_string(path).unwrap();
        let digits: Vec<u32> = text.chars().filter_map(|c| c.to_digit(16)).take(64).collect();
        let bytes: Vec<u8> = digits.chunks_exact(2).map(|pair| (pair[0] * 16 + pair[1]) as u8).collect();
        bytes.try_into().unwrap_or_else(|_| panic!("{path} has no 64 hexadecimal digits"))
    });
    let settings = Settings {
        node: name("--node", ""),
        prefix: name("--prefix", "warmend"),
        broker: (broker.ip().octets(), broker.port()),
        user: name("--user", ""),
        password: heapless::String::try_from(value("--password").map_or("", String::as_str)).unwrap(),
        key,
        every_s: number("--every-s", 10.0) as u16,
        limit_centi_c: (number("--limit-c", 40.0) * 100.0).round() as i16,
        duty_permille: (number("--duty", 1.0) * 1000.0).round() as u16,
    };
    let bytes = settings.encode().unwrap();
    assert_eq!(Settings::decode(&bytes).as_ref(), Ok(&settings), "the settings do not hold together");
    let mut image = Image(vec![0xff; 4096]);
    assert!(SETTINGS.save(&mut image, &bytes).unwrap());
    if let Some(network) = value("--wifi") {
        let password = value("--wifi-password-file").map(|path| std::fs::read_to_string(path).unwrap());
        let radio = Radio {
            network: heapless::String::try_from(network.as_str()).unwrap(),
            password: heapless::String::try_from(password.as_deref().unwrap_or("").trim_end()).unwrap(),
        };
        assert!(RADIO.save(&mut image, &radio.encode().unwrap()).unwrap());
    }
    std::fs::write(value("--out").unwrap_or_else(|| panic!("--out FILE is missing")), image.0).unwrap();
    println!("{settings:?}");
}
