//! The shell of warmend: everything that touches a socket, a disk or a clock.
pub mod history;
pub mod replay;
pub mod shelf_file;
