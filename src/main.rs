//! The `eightclap` program.

fn main() {}
