//! rowfall (crate documentation follows).
pub mod bibliography;
pub mod finding;
pub mod grid;
pub mod methods;
pub mod units;
