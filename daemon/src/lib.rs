//! The shell of warmend: everything that touches a socket, a disk or a clock.
pub mod broker;
pub mod clock;
pub mod demo;
pub mod history;
pub mod intake;
pub mod pipeline;
pub mod replay;
pub mod run;
pub mod shelf_file;
pub mod snapshot;
pub mod supervise;
pub mod unpack;

#[cfg(test)]
mod mqtt_probe;
