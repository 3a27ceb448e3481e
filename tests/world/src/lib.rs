//! A simulated shelf with its own clock: nests in two dimensions, pads, thermostats, probes that lie.
//!
//! It is a truth for judging what is estimated, and therefore shares nothing with the estimator: other physics (layers,
//! contact, films that depend on temperature), finer cells, its own random numbers. Pure: no input, no output, no clock;
//! [`World::advance`] is told how far to go.
//!
//! Left out, and small: evaporation's own cooling, and heat across the width except through the sides.

mod body;
mod control;
mod fault;
mod film;
mod heat;
mod material;
mod nest;
mod probe;
mod rng;
mod room;
mod shelf_file;
mod spec;
mod vapour;
mod world;

pub use fault::{Fault, FaultKind, FaultRecord};
pub use material::{Material, Numbers};
pub use rng::Rng;
pub use shelf_file::{Band, shelf_toml};
pub use spec::{
    Control, Cover, Event, EventKind, NestSpec, PadSpec, ProbeSpec, Report, RoomSpec, Thermostat, WorldSpec,
};
pub use vapour::saturation_pa;
pub use world::{STEP_S, Sample, Truth, Value, World};
