//! The shell of warmend: everything that touches a socket, a disk or a clock.
pub mod broker;
pub mod clock;
pub mod intake;
pub mod unpack;

#[cfg(test)]
mod mqtt_probe;
