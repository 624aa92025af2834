//! The `lampwright` program: parses, calls the library, prints.

fn main() {}
