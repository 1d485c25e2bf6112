//! Everything that comes in, taken as an enemy would send it; and everything that goes out, looked through for secrets
//! and for what another program could take as a command.
#![allow(clippy::unwrap_used, unreachable_pub)]

mod events;
mod files;
mod journal;
mod licences;
mod mutate;
mod program;
mod secrets;
#[path = "../stands/mod.rs"]
mod stands;
