//! The shell of warmend: everything that touches a socket, a disk or a clock.
pub mod acts;
mod aside;
pub mod broker;
pub mod cli;
pub mod clock;
pub mod commands;
pub mod demo;
pub mod evidence;
pub mod exchange;
pub mod fit;
pub mod history;
pub mod intake;
pub mod listen;
pub mod log;
pub mod mirror;
pub mod notices;
pub mod permit;
mod picture_file;
pub mod pipeline;
pub mod plan;
pub mod replay;
pub mod report;
pub mod review;
pub mod run;
pub mod shelf_file;
mod small_file;
pub mod snapshot;
pub mod supervise;
pub mod times;
pub mod told;
pub mod trim;
pub mod unpack;
pub mod views;
pub mod web;
pub mod whole_file;
pub mod wrong_call;

#[cfg(test)]
mod http_probe;
#[cfg(test)]
mod mqtt_probe;
#[cfg(test)]
mod outside_tests;
