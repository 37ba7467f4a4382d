//! The `plumeline` command.
fn main() {}
