//! Faulty worlds and invented cats around the same turn, from a seed.
//!
//! [`simulate`] runs days of an invented household through [`crate::turn::turn`] in seconds, with whatever can go
//! wrong around it: late, doubled, missing and future-dated readings, clocks that are set wrong and right, boards that start without the time, carriers that refuse,
//! stall, lose the answer or are down, people who answer late, never or twice, crashes at any moment. After each
//! turn it checks that nothing false has happened, and in the end that everything has come to its end. Not
//! covered: real disks, sockets and the async shell around the turn.

pub mod cat;
mod check;
mod clock;
mod driver;
mod many;
mod plunge;
mod report;
mod swarm;
mod village;
mod world;

pub use many::{Sum, simulate_many};
pub use report::{Bug, Failure, Report, SimulateOptions, Tally};
pub use world::simulate;
