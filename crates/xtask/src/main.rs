//! What a contributor runs.
fn main() {}
