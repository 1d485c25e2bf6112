//! Everything that comes in, taken as an enemy would send it; and everything that goes out, looked through for secrets
//! and for what another program could take as a command.
#![allow(clippy::unwrap_used, unreachable_pub)]

mod config;
mod driver;
mod events;
mod files;
mod journal;
mod licences;
mod log;
mod mqtt;
mod mutate;
mod page;
mod program;
mod replies;
mod secrets;
#[path = "../stands/mod.rs"]
mod stands;
mod tokens;
