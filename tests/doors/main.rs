//! The doors in, from outside: real files in real folders, a real broker. One binary, so that it links once.
#![allow(clippy::unwrap_used)]

mod folder;
mod mqtt;
mod speed;
#[path = "../stands/mod.rs"]
mod stands;
