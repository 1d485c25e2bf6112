//! The program `lowtide`.
fn main() {}
