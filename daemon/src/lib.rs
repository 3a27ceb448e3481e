//! The shell of warmend: everything that touches a socket, a disk or a clock.
pub mod broker;
pub mod clock;
pub mod history;
pub mod intake;
pub mod replay;
pub mod review;
pub mod shelf_file;
pub mod snapshot;
pub mod unpack;
pub mod views;
pub mod web;

#[cfg(test)]
mod mqtt_probe;
