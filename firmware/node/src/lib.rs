//! What a node does, whatever the board: reads probes, keeps readings until the daemon has them, and drives a pad
//! only while it has leave to.
//!
//! Everything here is handed its time (milliseconds since the node's start) and its bus; nothing knows a board, a
//! network stack or an executor. The board owns those and calls in:
//!
//! ```text
//! timer interrupt ──► Guard::tick ──► the pad's pin          whatever else hangs
//! probe task ──► probe::* ──► Guard::probe, Outbox::push     at the moments that Schedule names
//! network task ──► Outbox::next_pack ──► broker; receipts and permits come back
//! memory ◄──► store                                           settings, starts, what a person has to reset
//! ```
//!
//! Software is never the protective device: a pad has a thermal cut-off of its own, and a resistor that holds its
//! switch open while the controller is off, in reset or starting.
#![no_std]

pub mod at24;
pub mod decide;
pub mod guard;
pub mod health;
pub mod orders;
pub mod outbox;
pub mod plausible;
pub mod probe;
pub mod radio;
pub mod schedule;
pub mod settings;
pub mod store;

/// Milliseconds since the node's start.
pub type Millis = u64;

/// What is the matter with a probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Fault {
    /// It does not answer, or the bus is broken.
    Silent,
    /// Its answer is not what it sent: the check does not fit.
    Garbled,
    /// It says what cannot be.
    Implausible,
}
