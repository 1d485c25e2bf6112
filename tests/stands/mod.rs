//! Stand-ins for the servers that Lowtide talks to, and real ones started for a test: they listen on loopback, on
//! a free port, and end with the test. And one household with the real program.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used)]

pub mod certificate;
pub mod house;
pub mod mosquitto;
pub mod ntfy;
mod ntfy_rules;
pub mod smtp;
