//! The command `tintfall`.
fn main() {}
