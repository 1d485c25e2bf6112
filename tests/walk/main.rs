//! The whole walk with the real program: a file or an MQTT message in, a push message or a mail out; servers that
//! fail, a broker that goes away, a daemon that is killed.
#![allow(clippy::unwrap_used, unreachable_pub)]

mod ahead;
mod answers;
mod broker;
mod broker_day;
mod clock;
mod crash;
mod example;
mod file;
mod hang;
mod install;
mod kills;
mod limits;
mod lookout;
mod others;
mod page;
mod parts;
mod read_only;
mod report;
mod running;
#[path = "../stands/mod.rs"]
mod stands;
mod typed;
mod visits;
