//! The `anacurve` command.
fn main() {}
