//! Faulty worlds and invented cats around the same turn, from a seed.

pub mod cat;
