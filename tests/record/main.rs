//! The record from outside: real files in a temporary folder, damaged in the ways that disks and power cuts do.
#![allow(clippy::unwrap_used)]

mod crash;
mod disk;
mod export;
mod journal_1;
mod journal_full;
mod long;
mod sift;
mod store;
mod world;
