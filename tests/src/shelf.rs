//! Shelf files. All numbers are invented.
use argon2::password_hash::{PasswordHasher, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};
use std::fmt::Write as _;
use std::path::Path;
use world::WorldSpec;

/// One bare nest with two probes, `oak-node:warm` and `oak-node:cool`.
pub const PLAIN: &str = include_str!("../../daemon/src/shelf_file/oak.toml");

/// Broker, pages and history, each with any free port.
pub const SERVICES: &str = r#"
[broker]
embedded = "127.0.0.1:0"
[web]
listen = "127.0.0.1:0"
[history]
path = "warmend.db"
commit_s = 0.05
"#;

/// Writes `dir/shelf.toml` of these parts.
pub fn write(dir: &Path, parts: &[&str]) {
    std::fs::write(dir.join("shelf.toml"), parts.join("\n")).unwrap();
}

/// The shelf file of a simulated shelf, without services.
pub fn of(spec: &WorldSpec) -> String {
    world::shelf_toml("trial", spec, world::Band::default())
}

/// The ways by which a test is told.
pub fn notices(webhook: std::net::SocketAddr, command: &[&str]) -> String {
    let mut text = format!("[[notice]]\nway = \"webhook\"\nurl = \"http://{webhook}/heat\"\n");
    let _ = writeln!(text, "[[notice]]\nway = \"command\"\ncommand = {command:?}");
    text
}

/// A line of a users file.
pub fn user(name: &str, password: &str) -> String {
    // As cheap as it may be: the tests are about rights.
    let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::new(8, 1, 1, None).unwrap());
    let salt = SaltString::from_b64("c2FsdHNhbHQ").unwrap();
    format!("{name}:{}\n", argon2.hash_password(password.as_bytes(), &salt).unwrap())
}
