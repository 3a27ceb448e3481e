//! The shell of warmend: everything that touches a socket, a disk or a clock.
pub mod shelf_file;
pub mod replay;
