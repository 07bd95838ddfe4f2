//! temporary
fn main() {}
